"""Cases with one thing changed that could bring a missed limit nearer."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.operations.chlorine_dosing import ChlorineDosingParameters
from treatsim.operations.outcome import at
from treatsim.operations.storage_tank import WAIT, StorageTankParameters
from treatsim.safety.evidence import YES_NO
from treatsim.safety.verdict import Verdict

RESIDUAL = 0.5e-3  # kg/m3 kept in a closed tank; common practice
CHALLENGE_LOG = 3.0  # what a challenge test must show for the full credit of one stage
ROOM_TEMPERATURE = 293.15  # K; without decay it does not matter
CHLORINE_RULE, FILTER_RULE, LIGHT_RULE = "awaits_contact", "challenge_test", "design_dose"
ROOM = 1.001  # a setting that just meets a limit is told a thousandth beyond it
YES = YES_NO[0]


class Change(NamedTuple):
    """A changed case and the change in words."""

    text: str
    case: Any


class Setting(NamedTuple):
    """An input to be moved from its value to an end, and the words for where it lands."""

    text: str  # with {address}, {value} and {flow}
    address: str
    start: float
    end: float
    quantity: str


def changed(case, changes: Mapping[str, Any]):
    """Return the case with some inputs, by address, replaced."""
    sections, parameters = dict(case.sections), dict(case.parameters)
    for address, value in changes.items():
        owner, _, name = address.partition(".")
        home = sections if owner in sections else parameters
        home[owner] = dataclasses.replace(home[owner], **{name: value})
    return case.changed(sections=sections, parameters=parameters)


def changes(case, verdict: Verdict) -> Iterator[Change]:
    """Yield every single change worth trying in this train."""
    units = verdict.result.sheet.units
    for name, unit in units.items():
        for mend in unit.mends():
            yield Change(mend.words, changed_unit(case, name, **mend.changes))
    yield from _clearer(case, verdict)
    if not any(name for name, unit in units.items() if unit.earns.rule == CHLORINE_RULE):
        yield from _chlorine(case, verdict)
    yield from _proof(case, verdict)


def _clearer(case, verdict: Verdict) -> Iterator[Change]:
    """Yield settling, a finer last stage, and a challenge test."""
    over = _turbidity_over(verdict)
    if over > 1 and case.sections["water"].turbidity is not None:
        less = case.sections["water"].turbidity / over
        yield Change(f"settle out {100 * (1 - 1 / over):.0f} % of the turbidity ahead of all else",
                     changed(case, {"water.turbidity": less}))  # fmt: skip
    units = verdict.result.sheet.units
    for name in [n for n, unit in units.items() if unit.earns.rule == FILTER_RULE][-1:]:
        removal = case.parameters[name].turbidity_removal
        finer = 1 - (1 - removal) / max(over, 1.0)
        if finer > removal:
            yield Change(f"a finer filter in {name}, that takes out {100 * finer:.0f} % of the "
                         f"turbidity instead of {100 * removal:.0f} %",
                         changed(case, {f"{name}.turbidity_removal": finer}))  # fmt: skip
        yield from _challenged(case, verdict, name)


def _challenged(case, verdict: Verdict, name: str) -> Iterator[Change]:
    health = case.sections.get("health")
    if health is None or name in (health.challenge_tests or {}):
        return
    values = verdict.result.details(name).values
    test = {
        "log": CHALLENGE_LOG,
        "flow": f"{float(at(values['element_flow'].value, 0)) * ROOM!r} m3/s",
        "pressure_drop": f"{float(at(values['pressure_drop'].value, 0)) * ROOM!r} Pa",
    }
    tests = {**(health.challenge_tests or {}), name: test}
    yield Change(f"elements in {name} with a challenge test of {CHALLENGE_LOG:g} log, run at this "
                 "flow and pressure drop",
                 changed(case, {"health.challenge_tests": tests}))  # fmt: skip


def _turbidity_over(verdict: Verdict) -> float:
    """Return by how much the worst turbidity at a disinfectant exceeds its limit."""
    shares = [
        float(at(c.value, 0) / at(c.limit, 0)) * ROOM
        for c in verdict.limits
        if c.quantity == "turbidity" and not at(c.meets, 0)
    ]
    return max(shares, default=1.0)


def _chlorine(case, verdict: Verdict) -> Iterator[Change]:
    """Yield chlorine and a closed tank behind all else, where there is none."""
    units = verdict.result.sheet.units
    tanks = [name for name, unit in units.items() if unit.ends_product]
    with_chlorine = _with_chlorine(case, tanks, float(at(verdict.value("product.flow").value, 0)))
    if with_chlorine is not None:
        yield Change(
            f"chlorine that leaves {RESIDUAL * 1e3:g} mg/L for {WAIT / 60:.0f} min in a "
            "closed tank behind all else",
            with_chlorine,
        )


def changed_unit(case, name: str, **fields):
    """Return the case with several fields of one unit replaced together."""
    record = dataclasses.replace(case.parameters[name], **fields)
    return case.changed(parameters={**case.parameters, name: record})


def _with_chlorine(case, tanks: list[str], flow: float):
    """Return the case with a dosing unit and a closed tank at the product's end. flow [m3/s]"""
    dosing = ChlorineDosingParameters(
        dose=RESIDUAL, demand=0.0, form="liquid", strength=0.01, strength_known="measured"
    )
    old = tanks[0] if tanks else "tank"
    volume = case.parameters[old].volume if tanks else 1.0
    names = ("added_chlorine", "added_tank")
    links = [_relinked(link, old, names) for link in case.links]
    if sum(new != link for new, link in zip(links, case.links, strict=True)) != 1:
        return None  # where several lines reach the product, no one place is behind all else
    kinds = {n: k for n, k in case.kinds.items() if n != old}
    kinds |= dict(zip(names, ("chlorine_dosing", "storage_tank"), strict=True))
    parameters = {n: p for n, p in case.parameters.items() if n != old}
    tank = StorageTankParameters(
        volume=volume, draw_off="fill_and_draw", waiting_time=WAIT, decay_rate=0.0,
        decay_temperature=ROOM_TEMPERATURE, warmest_temperature=ROOM_TEMPERATURE,
        draw_flow=flow, time_to_tap=0.0,
    )  # fmt: skip
    parameters |= dict(zip(names, (dosing, tank), strict=True))
    return case.changed(kinds=kinds, parameters=parameters, links=tuple(links))


def _relinked(link: str, old: str, names: tuple[str, str]) -> str:
    steps = [step.strip() for step in link.split(">")]
    if steps[-1] != old:
        return link
    return " > ".join([*steps[:-1], *names])


def _proof(case, verdict: Verdict) -> Iterator[Change]:
    """Yield proof that is missing, and the end of a bypass."""
    units, health = verdict.result.sheet.units, case.sections.get("health")
    if health is None:
        return
    reactors = [name for name, unit in units.items() if unit.earns.rule == LIGHT_RULE]
    said = (health.uv_certificate, health.uv_sensor_in_range)
    box = (health.uv_validated_flow, health.uv_validated_transmittance)
    if reactors and (said != (YES, YES) or None in box):
        inlet = verdict.result.streams[reactors[0], "inlet"]
        flow = float(at(inlet.flow, 0)) * ROOM
        clear = float(np.exp(-0.01 * at(inlet.contents["absorption"], 0))) / ROOM
        proven = {"uv_certificate": YES, "uv_validated_flow": flow,
                  "uv_validated_transmittance": clear, "uv_sensor_in_range": YES}  # fmt: skip
        sections = {**case.sections, "health": dataclasses.replace(health, **proven)}
        words = "a validation report that covers this flow and water, and a sensor inside its range"
        yield Change(words, case.changed(sections=sections))
    if any(unit.treated for unit in units.values()) and health.ro_conductivity_read != YES:
        yield Change("read the conductivity of feed and permeate every day",
                     changed(case, {"health.ro_conductivity_read": YES}))  # fmt: skip
    if np.any(np.asarray(health.untreated_time) > 0):
        yield Change("let no water pass untreated (lamp cold, bypass open)",
                     changed(case, {"health.untreated_time": 0.0}))  # fmt: skip


def settings(case, verdict: Verdict) -> Iterator[Setting]:
    """Yield the inputs worth moving, each from its value towards its useful end."""
    for name, unit in verdict.result.sheet.units.items():
        for move in unit.moves():
            address = f"{name}.{move.field}"
            item, stated = case.field(address)
            if stated is not None:  # what the solver found is not the user's to turn
                yield Setting(move.words, address, move.start, move.end, item.metadata["kind"])
    if (people := case.sections.get("people")) is not None:
        words = "run longer: {address} = {value} a day"
        yield Setting(words, "people.running_time", people.running_time, 86400.0, "duration")
