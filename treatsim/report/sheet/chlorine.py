"""Chlorine of this bottle: mixing the can, millilitres for a volume, and how long to wait."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.constants import LITRE, ZERO_CELSIUS
from treatsim.correlations.disinfection import chlorine, chlorine_decay
from treatsim.errors import DomainError, NoSolutionError, RequestError
from treatsim.operations.chlorine_dosing import HEALTH_LIMIT, LIQUID_DENSITY
from treatsim.operations.outcome import at
from treatsim.operations.storage_tank import LONGEST_WAIT, WAIT, WANTED
from treatsim.report.sheet.blocks import Block, Grid, Part, Words
from treatsim.report.sheet.facts import Facts, untold
from treatsim.report.sheet.filters import temperatures
from treatsim.safety.verdict import NOT_JUDGED, NOT_MET, Verdict

HEAD, WAIT_HEAD = "6 CHLORINE OF THIS BOTTLE", "7 WAITING TIME"
VOLUMES = (20 * LITRE, 200 * LITRE, 1.0)  # m3: a can, a drum, a cubic metre
DOSES = (1.0, 2.0, 3.0, 5.0)  # mg/L, beside that of the case
CAN = 10 * LITRE  # m3 of solution in the recipe
WARM = (20.0, 25.0, 30.0, 35.0)  # degC of the stored water
STEP = 5 * 60.0  # s
WAITS = np.arange(WAIT, LONGEST_WAIT + STEP, STEP)  # s


def chlorine_blocks(facts: Facts) -> list[Block]:
    """Return the blocks of every doser, and of the tank that waits."""
    blocks = [_bottle(facts, name) for name in facts.with_hazard("chlorine")]
    return [*blocks, *(_waiting(facts, name) for name in _tanks(facts))] if blocks else []


def _tanks(facts: Facts) -> list[str]:
    units = facts.sheet.units
    return [name for name, unit in units.items() if unit.usable_volume() is not None]


def _bottle(facts: Facts, name: str) -> Block:
    p: Any = facts.sheet.units[name].parameters
    strength = float(at(p.strength_today, 0))
    known = "as measured" if p.strength_known == "measured" else "ASSUMED: measure it"
    share = facts.told(f"{name}.strength_today")
    text = (
        f"{p.form.capitalize()}, {share} of available chlorine today ({known}; "
        f"{facts.text(p.strength, 'fraction')} when {facts.text(p.stock_age, 'duration')} "
        "younger). Another bottle or another day: another table."
    )
    parts: list[Part] = [Words(text), dose_table(facts, name)]
    parts.append(Words(_dose_words(facts, name)))
    if p.can_strength is not None:
        parts.append(Words(recipe(facts, name, strength)))
    parts += _lasting(facts, name)
    return Block(f"{HEAD} ({name})", tuple(parts))


def dose_table(facts: Facts, name: str) -> Grid:
    """Return what brings a dose into a volume: of the product as it is."""
    p: Any = facts.sheet.units[name].parameters
    own = float(at(p.dose, 0))
    doses = sorted({*(dose * 1e-3 for dose in DOSES), own})
    strength, powder = float(at(p.strength_today, 0)), p.form == "powder"
    kind = "mass" if powder else "small_volume"
    tanks = (facts.sheet.units[tank].usable_volume() for tank in _tanks(facts))
    volumes = sorted({*VOLUMES, *(float(at(volume, 0)) for volume in tanks)})
    heads = (
        facts.head("dose", "concentration"),
        *(facts.head(facts.text(volume, "volume", 4), kind) for volume in volumes),
    )
    rows = tuple(
        (
            facts.number(dose, "concentration"),
            *(facts.number(chlorine.product_for(v, dose, strength), kind) for v in volumes),
        )
        for dose in doses
    )
    return Grid(heads, rows, loud=(doses.index(own),))


def _dose_words(facts: Facts, name: str) -> str:
    most = facts.text(HEALTH_LIMIT, "concentration")
    dose, demand = (facts.field(f"{name}.{key}")[1] for key in ("dose", "demand"))
    text = (
        f"In bold: the dose of this sheet, of which the water takes "
        f"{facts.text(demand, 'concentration')} by its jars. Read the free chlorine of every tank: "
        f"dose more until it holds its target, never above {most}."
    )
    if dose is not None and dose > HEALTH_LIMIT:
        text += f" The dose itself lies above {most}: only the demand brings it down."
    return text


def recipe(facts: Facts, name: str, strength: float) -> str:
    """Return how the can is mixed, and what comes of the recipe read the other way."""
    p: Any = facts.sheet.units[name].parameters
    can, powder = float(at(p.can_strength_today, 0)), p.form == "powder"
    kind = "mass" if powder else "small_volume"
    amount = float(chlorine.product_for(CAN, can, strength))
    held = chlorine.chlorine_mass(amount, strength)
    both = chlorine.stock_strength(held, CAN, 0.0 if powder else amount)
    volume = facts.text(CAN, "volume")
    share = [facts.text(value / LIQUID_DENSITY, "fraction") for value in both]
    text = (
        f"Dosing can: {facts.text(amount, kind)} of product, filled up with water to {volume}, is "
        f"{share[0]}"
    )
    if powder:
        return f"{text}. Water first, then the powder into it."
    parts = float(chlorine.dilution_parts(strength, can))
    return (
        f"{text} (1 part to {parts:.3g} parts of water). Poured onto {volume} of water instead it "
        f"is only {share[1]}: mark the can."
    )


def _lasting(facts: Facts, name: str) -> list[Part]:
    """Return the dose at which every residual asked of the tank holds, by its warmth."""
    for tank in _tanks(facts):
        p: Any = facts.sheet.units[tank].parameters
        if p.untold or not p.decays:
            continue
        inlet = facts.verdict.result.streams[tank, "inlet"]
        age = float(at(facts.sheet.units[tank].contact(inlet)[0], 0))
        doses = lasting_doses(facts, name, p, age)
        heads = tuple(facts.number(ZERO_CELSIUS + warm, "temperature") for warm in WARM)
        texts = tuple(_dose_text(facts, dose) for dose in doses)
        words = f"Least dose at which {tank} holds its targets, by its warmest hour:"
        first = facts.head("store", "temperature")
        rows = ((facts.head("dose", "concentration"), *texts),)
        return [Words(words), Grid((first, *heads), rows)]
    return []


def _dose_text(facts: Facts, dose: float) -> str:
    if not np.isfinite(dose) or dose > HEALTH_LIMIT:
        return "too much"
    return facts.bound(dose, "concentration", up=True)


def lasting_doses(facts: Facts, name: str, tank: Any, age: float) -> list[float]:
    """Return the dose that leaves every residual wanted, at each temperature of WARM. [kg/m3]"""
    demand = facts.field(f"{name}.demand")[1]
    warm = np.array(WARM) + ZERO_CELSIUS
    doses = []
    for wanted in WANTED.values():
        later = getattr(tank, wanted.field) if wanted.field else 0.0
        if later is not None:
            doses.append(
                chlorine_decay.last_cup_dose(
                    wanted.least, demand, tank.rate_read, age + later, warm,
                    tank.decay_temperature, tank.order,
                )
            )  # fmt: skip
    return [float(one) for one in np.max(doses, axis=0)]


def _waiting(facts: Facts, tank: str) -> Block:
    p: Any = facts.sheet.units[tank].parameters
    head = f"{WAIT_HEAD} ({tank})"
    if p.draw_off != "fill_and_draw":
        count = f"{tank}.contact_time_counted"
        text = (
            f"drawn while water comes in: {facts.told(count)} count"
            if facts.has(count)
            else f"NOT JUDGED: needs {tank}.draw_off"
        )
        return Block(head, (Words(text),))
    now = facts.text(p.waiting_time, "short_duration")
    text = f"Outlet closed while it fills, and then for {now} (this sheet)."
    try:
        return Block(head, (Words(text), *waiting_table(facts, tank)))
    except (RequestError, NoSolutionError, DomainError) as error:
        return Block(head, (Words(text), Words(untold(error))))


def waiting_table(facts: Facts, tank: str) -> list[Part]:
    """Return the shortest wait at which credit and residuals hold, by temperature of the water."""
    warm, own = temperatures(facts)
    t, wait = (a.ravel() for a in np.meshgrid(warm, WAITS, indexing="ij"))
    verdict = facts.solved({"water.temperature": t, f"{tank}.waiting_time": wait})
    good, judged = held(verdict, tank)
    good = good.reshape(warm.size, WAITS.size)
    cells = []
    for row in good:
        first = int(np.argmax(row)) if np.any(row) else -1
        cells.append(f"{WAITS[first] / 60:.0f}" if first >= 0 else "NONE")
    heads = (facts.head("water", "temperature"), *(facts.number(k, "temperature") for k in warm))
    grid = Grid(heads, (("wait [min]", *cells),))
    least, most = (f"{wait / 60:.0f}" for wait in (WAITS[0], WAITS[-1]))
    text = (
        f"Shortest wait, {least} at least and looked for up to {most} min, at which {judged} hold, "
        f"in water as stated; this sheet: {facts.number(warm[own], 'temperature')}. NONE: no wait "
        "is enough; do not give it out."
    )
    return [grid, Words(text)]


def held(verdict: Verdict, tank: str) -> tuple[np.ndarray, str]:
    """Return at which points credit and the tank's residuals hold, and what was held in words."""
    points = verdict.result.points
    good = verdict.result.solved.copy()
    credit = [one for one in verdict.limits if one.address.startswith("health.log_credit.")]
    own = [one for one in verdict.limits if one.address.startswith(f"{tank}.")]
    if not credit:
        raise RequestError("germs are not judged: needs health.target")
    for limit in (*credit, *own):
        states = np.broadcast_to(limit.states, (points,))
        good &= (states != NOT_MET) & (states != NOT_JUDGED)
    return good, "the log credits asked for and the free chlorine of the tank"
