"""The start of membranes as rows and sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from treatsim import quantities
from treatsim.operations.outcome import weighed
from treatsim.report.startup_rows import DIGITS, Row, finite, litres, watt_hours
from treatsim.running.ro_held import Held, held
from treatsim.running.ro_start import BAND, MembraneStart

NOTES = [
    "Volumes ahead of and behind the membranes, and between passes, each well mixed; flow and "
    "salinity at each moment are those of the solved line at the dial of the moment. Without its "
    "pressure the membrane is told by the osmotic pressure of the whole concentrate: drawn back "
    "fastest.",
    "The gain of pressure is the largest between solved dials, over the time of the ramp; its "
    "limit is common practice, no source: the maker's goes first.",
    "Four dials from 40 % of the setting up are solved; below, flow is carried on straight to "
    "where it ends, and pressure to none at rest: a displacement pump presses sooner, so that its "
    "gain there may be steeper than told.",
]
SEVERAL_PASSES = (
    "While the water between the passes is saltier than in steady run, a later pass of low "
    "pressure makes less than is counted here: go by the conductivity behind it, not by the clock."
)
STATES = {"met": "met", "not_met": "NOT MET", "not_judged": "not judged"}


def membrane_notes(found: MembraneStart) -> list[str]:
    """Return what the start of membranes rests on."""
    return [*NOTES, SEVERAL_PASSES] if len(found.train.passes) > 1 else NOTES


def membrane_rows(found: MembraneStart, system: str) -> Iterator[Row]:
    """Yield what is told of the start of membranes."""
    start = found.train.start
    yield Row("pressure_up", "dials at their setting, pressure up", found.pressure_up, "time")
    if found.judged:
        asked = quantities.text(start.salt_limit or 0.0, "concentration", system, DIGITS)
        yield Row("met", f"product at the valve under {asked}", finite(found.met), "time")
        least = litres(found.made(found.met)) if math.isfinite(found.met) else None
        yield Row("least_waste", "must go to waste: out before that", least, "volume")
    if start.opens_when is not None:
        by = "by its salinity" if start.opens_when == "sensor" else "by a clock"
        yield Row("opens", f"product valve opens, {by}", finite(found.opens), "time")
    yield Row("steady", "product as salty as it stays", found.steady, "time", f"within {BAND:.0%}")
    ready = math.isfinite(found.ready)
    what = "until the valve stands open" if start.opens_when else "until the product is ready"
    yield Row("wasted", f"goes to waste {what}", litres(found.wasted) if ready else None, "volume")
    yield Row("salt", "salinity in steady run", found.salt, "concentration")
    yield Row("saltiest", "saltiest on the way", found.saltiest, "concentration")
    energy = finite(found.energy)
    yield Row("energy", "electricity until then", energy, "", watt_hours(energy))


def stop_rows(found: MembraneStart, system: str) -> Iterator[Row]:
    """Yield what is told of a stop."""
    passes = found.train.passes
    for part in passes:
        alone = len(passes) == 1
        key, by = ("", "") if alone else (f"_{'_'.join(part.names)}", f", {_and(part.names)}")
        behind = quantities.text(part.behind, "volume", system, DIGITS)
        yield Row(f"back_flow{key}", f"drawn back at first{by}", part.back, "flow")
        where = "the membranes" if alone else _and(part.names)
        yield Row(
            f"emptied{key}", f"{behind} behind {where} are gone after", found.emptied(part), "time"
        )
    if found.stop_flush > 0:
        yield Row("stop_flush", "permeate that flushes them, at least", found.stop_flush, "volume")


def _and(names: Sequence[str]) -> str:
    return " and ".join(names)


def held_rows(found: MembraneStart, system: str) -> Iterator[tuple[str, str, str]]:
    """Yield words, value and state of every limit."""
    for row in held(found):
        yield row.words, _told(row, found, system), STATES[row.state]


def _told(row: Held, found: MembraneStart, system: str) -> str:
    if row.needs:
        return "needs " + " and ".join(row.needs)
    if row.key == "over_limit":
        some = litres(row.value)
        told = "none" if not some else quantities.text(some, row.quantity, system, DIGITS)
        if not math.isfinite(found.met):
            return "never under its limit"
        return told if math.isfinite(found.opens) else "the valve never opens"
    if row.value is None or row.limit is None:
        return ""
    if not math.isfinite(row.value):
        return f"at once <= {quantities.text(row.limit, row.quantity, system, DIGITS)}"
    kept = row.value <= row.limit
    value, limit = weighed(row.value, "<=", row.limit, kept, row.quantity, system, DIGITS)
    return f"{value} <= {limit}"


def membrane_answer(found: MembraneStart, system: str) -> list[str]:
    """Return the answer in a few lines."""

    def show(value: float, kind: str) -> str:
        return quantities.text(value, kind, system, DIGITS)

    lines, start = [], found.train.start
    if not found.judged:
        lines.append("NOT JUDGED: no limit of salt is set; state startup.salt_limit")
    elif not math.isfinite(found.met):
        lines.append(
            f"NEVER: the product stays at {show(found.salt, 'concentration')}, "
            f"{show(start.salt_limit or 0.0, 'concentration')} is allowed"
        )
    else:
        lines.append(
            f"{show(found.met, 'time')} from switching on to product under its limit of salt, and "
            f"{show(found.made(found.met), 'volume')} that must go to waste"
        )
        if start.opens_when is None:
            lines.append("NOT JUDGED what reaches the product: state startup.opens_when")
        elif not math.isfinite(found.opens):
            lines.append("the product valve never stays open")
    lines += [
        f"NOT MET: {row.words}, {_told(row, found, system)}"
        for row in held(found)
        if row.state == "not_met" and (row.key != "over_limit" or litres(row.value))
    ]
    if not math.isfinite(found.pressure_rate):
        lines.append("a ramp of no time: state startup.pump_ramp")
    elif found.pressure_rate > start.largest_pressure_rate:
        least = found.train.steepest / start.largest_pressure_rate
        lines.append(f"a ramp of {show(least, 'time')} keeps it")
    return lines
