"""Waters, streams and units to try things on, from one file of states."""

from __future__ import annotations

import dataclasses
import tomllib
from functools import cache
from pathlib import Path

import numpy as np

from treatsim import operations, quantities
from treatsim.case_text import Problems, read_record
from treatsim.flowsheet.flowsheet import Flowsheet
from treatsim.operations.unit import Unit
from treatsim.water import analysis
from treatsim.water.stream import Stream
from treatsim.water.water_table import water_table

ROOT = Path(__file__).resolve().parents[1]
STATES = tomllib.loads((ROOT / "tests/invariants/states.toml").read_text("utf-8"))
KINDS = sorted(set(STATES) - {"water"})
POINTS = 3
HOUR = 3600.0


@cache
def fresh():
    """Return the table of a fresh water."""
    return water_table(analysis.of_salt("fresh", temperature=297.15, mass_concentration=0.3))


def si(texts, quantity: str) -> np.ndarray:
    """Read one text, or a list of them, as an array over the points."""
    texts = [texts] * POINTS if isinstance(texts, str) else texts
    return np.array([quantities.read(text, quantity) for text in texts])


def stream(flow=6.8 / HOUR, pressure=0.0, **changes) -> Stream:
    """Return fresh water; flow [m3/s], pressure [Pa]."""
    contents = {"suspended_solids": 0.02, "turbidity": 14.0, "absorption": 15.0}
    contents |= {key: changes.pop(key) for key in list(changes) if key in contents}
    table = fresh()
    settings = {"temperature": 297.15, "salinity": table.feed_salinity} | changes
    return Stream(table, 1.0, pressure, contents=contents, **settings).with_flow(flow)


def inlets(kind: str) -> dict[str, Stream]:
    """Return the inlet streams of the states of a kind."""
    water = STATES["water"] | STATES[kind].get("water", {})
    contents = {
        "suspended_solids": si(water["suspended_solids"], "concentration"),
        "turbidity": si(water["turbidity"], "turbidity"),
        "absorption": -100 * np.log(si(water["uv_transmittance"], "uv_transmittance")),
    }
    return {
        port: stream(
            si(state["flow"], "flow"),
            si(state["pressure"], "pressure"),
            temperature=si(water["temperature"], "temperature"),
            **contents,
        )
        for port, state in STATES[kind]["inlets"].items()
    }


def parameters(kind: str, **changes):
    """Return the parameters of a kind, as a case file gives them, some changed (SI)."""
    problems = Problems(kind, {})
    table = STATES[kind]["parameters"]
    record = read_record(operations.parameters_class(kind), table, kind, problems)
    assert not problems.found, problems.found
    return dataclasses.replace(record, **changes) if changes else record


def unit(kind: str, name: str = "", **changes) -> Unit:
    """Return a unit of a kind in its usual state, some parameters changed (SI)."""
    return operations.unit_class(kind)(name=name or kind, parameters=parameters(kind, **changes))


def sheet(units, *links: str, **water) -> Flowsheet:
    """Return a flowsheet of units on fresh water."""
    return Flowsheet({u.name: u for u in units}, links, stream(1.0, 0.0, **water))


def resistance(name: str, coefficient: float) -> Unit:
    """Return a valve that loses coefficient * flow^2. [Pa s2/m6]"""
    density = float(np.asarray(stream().density))
    return unit("throttle_valve", name, flow_coefficient=np.sqrt(1e5 * density / 1e3 / coefficient))


def numbers(outcome) -> dict[str, np.ndarray]:
    """Return every number of an outcome by name: streams, added, details."""
    found = {}
    for port, out in outcome.outlets.items():
        for key in ("mass_flow", "pressure", "temperature", "salinity"):
            found[f"{port}.{key}"] = getattr(out, key)
        found |= {f"{port}.{key}": value for key, value in out.contents.items()}
    found |= {f"added.{key}": value for key, value in outcome.added.items()}
    details = outcome.details()
    found |= {f"value.{key}": item.value for key, item in details.values.items()}
    for row in details.limits:
        found |= {f"criterion.{row.name}": row.value, f"limit.{row.name}": row.limit}
    found |= {f"loss.{key}": value for key, value in details.losses.items()}
    return found | {"power": details.power}
