"""Invented logs: the model element by element with stated wear, and noise of stated instruments.

    python tests/logs.py            # writes the logs of the demo cases anew

Each element has its own permeabilities and friction, so what is wrong sits at the front, in the
tail or at a seal; the logbook knows one vessel only.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim import cases
from treatsim.correlations.ro.solution_line import concentration_at, density_at, fraction_at
from treatsim.correlations.ro.vessel import Membrane, VesselFeed, solve_vessel
from treatsim.running.membrane_log import plant_of

ROOT = Path(__file__).resolve().parents[1]
START = datetime(2031, 3, 3, 6, 0)
FEED_SOLIDS, PERMEATE_SOLIDS = 6.6, 5.5  # kg/m3 per S/m: those of the demo case
HEAD = (
    "time", "ro.feed.pressure [bar]", "ro.concentrate.pressure [bar]", "ro.feed.flow [m3/h]",
    "ro.permeate.flow [m3/h]", "ro.feed.conductivity [uS/cm]", "ro.permeate.conductivity [uS/cm]",
    "water.temperature [degC]", "event",
)  # fmt: skip


class Wear(NamedTuple):
    """State of the elements (elements, rows) over new, and leak of feed into the permeate."""

    water: np.ndarray
    salt: np.ndarray
    drop: np.ndarray
    leak: np.ndarray  # share of the permeate
    past: np.ndarray  # share of the feed that runs past the elements


class Noise(NamedTuple):
    """Standard errors."""

    flow: float = 0.01
    pressure: float = 0.04e5
    conductivity: float = 0.01
    temperature: float = 0.2


NONE = Noise(0.0, 0.0, 0.0, 0.0)


def fresh(rows: int, elements: int = 4, water: float = 0.92, salt: float = 1.15) -> Wear:
    """Return elements that do not change."""
    one = np.ones((elements, rows))
    return Wear(water * one, salt * one, one.copy(), np.zeros(rows), np.zeros(rows))


def vessel_log(
    hours: np.ndarray,
    wear: Wear,
    noise: Noise = NONE,
    seed: int = 1,
    warmth: Callable[[np.ndarray], np.ndarray] = lambda hours: 24.0 + 0 * hours,
    salt: Callable[[np.ndarray], np.ndarray] = lambda hours: 2.45 + 0 * hours,
    pressure: float = 12e5,
) -> dict[str, np.ndarray]:
    """Return readings by the head of their column, in SI."""
    case = cases.load(ROOT / "cases/worn_well.toml")
    flowsheet = case.flowsheet()
    plant = plant_of(flowsheet.units["ro"], flowsheet.source.water)
    kelvin = 273.15 + warmth(hours)
    line, new = plant.line(kelvin), plant.membrane(kelvin)
    concentration = salt(hours)
    fraction = fraction_at(line, concentration)
    flow = np.full(hours.size, 2.4 / 3600)
    mass = flow * density_at(line, fraction)
    past = wear.past * mass
    mass, here, at = mass - past, fraction, np.full(hours.size, pressure)
    product = product_salt = 0.0
    for element in range(wear.water.shape[0]):
        part = solve_vessel(
            VesselFeed(mass, here, at, 0.0),
            Membrane(
                new.water_permeability * wear.water[element],
                new.salt_permeability * wear.salt[element],
            ),
            plant.channel, line, 1, plant.law,
        )  # fmt: skip
        product = product + part.permeate_mass_flow
        product_salt = product_salt + part.permeate_mass_flow * part.permeate_fraction
        drop = (at - part.concentrate_pressure) * wear.drop[element]
        mass, here, at = part.concentrate_mass_flow, part.concentrate_fraction, at - drop
    leak = wear.leak * product
    total = product + leak
    inside = (product_salt + leak * fraction) / total
    rows = {
        HEAD[1]: np.full(hours.size, pressure), HEAD[2]: at, HEAD[3]: flow,
        HEAD[4]: total / density_at(line, inside), HEAD[5]: concentration / FEED_SOLIDS,
        HEAD[6]: concentration_at(line, inside) / PERMEATE_SOLIDS, HEAD[7]: kelvin,
    }  # fmt: skip
    random = np.random.default_rng(seed)
    sizes = (noise.pressure, noise.pressure, noise.flow, noise.flow, noise.conductivity,
             noise.conductivity, noise.temperature)  # fmt: skip
    for head, size in zip(HEAD[1:8], sizes, strict=True):
        shift = size * random.standard_normal(hours.size)
        relative = "flow" in head or "conductivity" in head
        rows[head] = rows[head] * (1 + shift) if relative else rows[head] + shift
    return rows


SHOWN = {"bar": (1e-5, 0.0, 3), "m3/h": (3600.0, 0.0, 4), "uS/cm": (1e4, 0.0, 2),
         "degC": (1.0, -273.15, 2), "%": (100.0, 0.0, 2), "W/m2": (1.0, 0.0, 2)}  # fmt: skip


def as_rows(hours: np.ndarray, columns: dict[str, np.ndarray], events=None, digits=0) -> list[list]:
    """Return the cells of a log, without its header."""
    cells = []
    for head, values in columns.items():
        factor, offset, places = SHOWN[head.partition("[")[2].rstrip("]")]
        shown = [f"{v * factor + offset:.{places + digits}f}" for v in values]
        cells.append(["" if text == "nan" else text for text in shown])
    clock = [(START + timedelta(hours=float(h))).strftime("%Y-%m-%d %H:%M") for h in hours]
    notes = [(events or {}).get(i, "") for i in range(hours.size)]
    return [list(row) for row in zip(clock, *cells, notes, strict=True)]


def as_csv(head, rows, *comments: str) -> str:
    """Return the text of a log."""
    lines = [f"# {comment}" for comment in comments]
    return "\n".join([*lines, ",".join(head), *(",".join(row) for row in rows)]) + "\n"


def front_fouling(wear: Wear, share: np.ndarray) -> Wear:
    """Return wear with the first element losing water and gaining drop, the second a little."""
    water, drop = wear.water.copy(), wear.drop.copy()
    for element, weight in ((0, 1.0), (1, 0.5)):
        water[element] *= 1 - 0.5 * weight * share
        drop[element] *= 1 + 1.6 * weight * share
    return wear._replace(water=water, drop=drop)


def tail_scale(wear: Wear, share: np.ndarray) -> Wear:
    """Return wear with the last elements losing water and holding back less salt."""
    water, salt = wear.water.copy(), wear.salt.copy()
    for element, weight in ((3, 1.0), (2, 0.6)):
        water[element] *= 1 - 0.7 * weight * share
        salt[element] *= 1 + 2.0 * weight * share
    return wear._replace(water=water, salt=salt)


def worn_well() -> str:
    """Return the demo: fouling at the front for a season, an O-ring that fails near its end."""
    hours = np.arange(0.0, 84 * 24, 2.0)
    share = np.clip(hours / hours[-1], 0, 1)
    wear = front_fouling(fresh(hours.size), 0.55 * share)
    wear = wear._replace(leak=np.where(hours >= 76 * 24, 0.012, 0.0))
    columns = vessel_log(
        hours, wear, Noise(), 20310303,
        warmth=lambda h: 24 + 1.5 * np.sin(2 * np.pi * h / (60 * 24)),
        salt=lambda h: 2.45 * (1 + 0.02 * np.sin(2 * np.pi * h / (30 * 24))),
    )  # fmt: skip
    rows = as_rows(hours, columns, {20 * 12: "cartridge changed", 50 * 12: "meter cleaned"})
    for row in rows[33 * 12 : 34 * 12]:  # a day on which the logger was off
        row[1:8] = ["0"] * 7
    for number in (140, 141, 502):  # a meter in the wrong range
        rows[number][6] = f"{float(rows[number][6]) / 1000:.4f}"
    rows[310][1] = f"{float(rows[310][1]) * 14.5038:.1f} psi"
    rows[420][4] = "-0.8"
    rows[611][0] = rows[610][0]
    comment = "Readings of an invented unit, computed with stated wear and noise; nobody read them."
    return as_csv(HEAD, rows, comment)


RIVER_HEAD = (
    "time", "lift_pump.speed [%]", "lift_pump.outlet.pressure [bar]", "product.flow [m3/h]",
    "bags.pressure_drop [bar]", "cartridges.pressure_drop [bar]", "water.temperature [degC]",
    "water.uv_transmittance [%]", "uv.sensor [W/m2]", "event",
)  # fmt: skip


class Line(NamedTuple):
    """State of the river's units over the rows."""

    bags: np.ndarray  # captured mass of an element, kg
    cartridges: np.ndarray
    bypass: np.ndarray  # factor on the drop of the cartridges
    head: np.ndarray  # shut-off head over new
    light: np.ndarray  # over the lamp and sleeve of the case
    clear: np.ndarray  # transmittance
    kelvin: np.ndarray


def new_line(rows: int) -> Line:
    """Return a line that does not change."""
    one = np.ones(rows)
    return Line(0.06 * one, 0.02 * one, one, one, 1.25 * one, 0.86 * one, 297.15 * one)


def river_readings(line: Line, noise: Noise = NONE, seed: int = 1) -> dict[str, np.ndarray]:
    """Return the readings of a river line that the case solves point by point, in SI."""
    case = cases.load(ROOT / "cases/river_log.toml")
    p = case.parameters["lift_pump"]
    lost = (1 - line.head) * p.shutoff_head
    result = case.solve(
        {
            "bags.captured_mass": line.bags,
            "cartridges.captured_mass": line.cartridges,
            "lift_pump.shutoff_head": p.shutoff_head - lost,
            "lift_pump.rated_head": p.rated_head - lost,
            "water.uv_transmittance": line.clear,
            "water.temperature": line.kelvin,
        }
    )
    assert result.solved.all()
    values = {key: np.asarray(item.value) for key, item in result.values.items()}
    pressure = values["lift_pump.head"] - p.suction_lift
    random = np.random.default_rng(seed)

    def read(value, relative: float, absolute: float = 0.0):
        scatter = random.standard_normal((2, line.head.size))
        return value * (1 + relative * scatter[0]) + absolute * scatter[1]

    part = 0.25 * noise.pressure
    return {
        RIVER_HEAD[1]: np.full(line.head.size, float(p.speed)),
        RIVER_HEAD[2]: read(pressure * 998.0 * 9.80665, 0.0, part),
        RIVER_HEAD[3]: read(values["product.flow"], 1.5 * noise.flow),
        RIVER_HEAD[4]: read(values["bags.pressure_drop"], 0.0, part),
        RIVER_HEAD[5]: read(values["cartridges.pressure_drop"] * line.bypass, 0.0, part),
        RIVER_HEAD[6]: read(line.kelvin, 0.0, 1.5 * noise.temperature),
        RIVER_HEAD[7]: line.clear,
        RIVER_HEAD[8]: read(values["uv.wall_irradiance"] * line.light, 2 * noise.flow),
    }


def river_log() -> str:
    """Return the demo: bags load, a cartridge is bypassed, the pump wears, the sleeve fouls."""
    hours = np.arange(0.0, 42 * 24, 4.0)
    days, s = hours / 24, hours / hours[-1]
    wiped = days >= 28
    line = new_line(hours.size)._replace(
        bags=0.06 + 0.50 * s,
        cartridges=0.02 + 0.06 * s,
        bypass=np.where(days >= 37, 0.55, 1.0),
        head=1 - 0.07 * s,
        light=1.25 * np.exp(-0.010 * np.where(wiped, days - 28, days)),
        clear=np.round(0.86 - 0.03 * np.sin(2 * np.pi * days / 17), 3),
        kelvin=297.15 + 1.5 * np.sin(2 * np.pi * days / 30),
    )
    columns = river_readings(line, Noise(), 20310304)
    rows = as_rows(hours, columns, {28 * 6: "sleeve wiped"})
    comment = "Readings of an invented unit, computed with stated wear and noise; nobody read them."
    return as_csv(RIVER_HEAD, rows, comment)


if __name__ == "__main__":
    (ROOT / "cases/river_log.csv").write_text(river_log(), "utf-8")
    (ROOT / "cases/worn_well.csv").write_text(worn_well(), "utf-8")
