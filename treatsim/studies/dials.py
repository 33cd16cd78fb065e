"""The dials of a case: what a person turns or reads, over which range, and what turning helps."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from treatsim.operations.declarations import Mend
from treatsim.operations.outcome import at
from treatsim.operations.parameters import field_problem
from treatsim.safety.verdict import Verdict

READ = (  # of the water; what a person measures beside the unit
    "water.temperature",
    "water.uv_transmittance",
    "water.turbidity",
    "water.salinity",
)
# quantity -> ends of its range in SI; clear and dark, cold and warm water as it is met in the field
USUAL = {"temperature": (278.15, 308.15), "uv_transmittance": (0.70, 0.97)}
# quantity -> ends over what stands in the case
SPANS = {"speed": (0.75, 1.35), "mass_fraction": (0.8, 1.2), "pressure": (0.8, 1.25)}
USUAL_SPAN = (0.7, 1.4)
LEAST_FACTOR = 0.5  # of light left: below, a lamp or a sleeve is long due
OVER_LIMIT = 1.1  # a dial that has a limit of its own goes a tenth past it, to be told no


class Dial(NamedTuple):
    """An input that can be turned."""

    address: str
    words: str  # what it is
    quantity: str
    low: float  # SI
    high: float
    now: float  # as the case states it
    read: bool  # measured, not turned


class Turn(NamedTuple):
    """A dial worth turning where a limit is missed."""

    words: str  # with {address}, {value} and {flow}
    address: str
    upward: bool


def dials(case: Any, verdict: Verdict) -> list[Dial]:
    """Return every dial of a case, those that are turned first.

    Parameters
    ----------
    case : Case
        Units declare which of their inputs are turned.
    verdict : Verdict
        The case solved and judged at its settings.

    Returns
    -------
    list of Dial
        Inputs that are stated as a number and that no hold sets. [SI]

    Validity
    --------
    The ranges are only where to begin: what has no answer in them is cut off by `carried`.

    Source
    ------
    common practice
    """
    held = {hold.adjust for hold in case.holds}
    found = []
    for address in [*_turned(verdict), *READ]:
        owner, _, name = address.partition(".")
        item, value = _stated(case, owner, name)
        if item is None or value is None or address in held or np.size(value) != 1:
            continue
        now = float(at(value, 0))
        low, high = _range(item, address, now, verdict)
        if low < high:
            words, kind = item.metadata["meaning"], item.metadata["kind"]
            found.append(Dial(address, words, kind, low, high, now, address in READ))
    return found


def turns(verdict: Verdict, found: Sequence[Dial]) -> list[Turn]:
    """Return the turns that units declare as worth trying, for the dials found."""
    known = {dial.address for dial in found}
    told = []
    for name, unit in _part_worn(verdict, found):
        for move in unit.moves():
            address = f"{name}.{move.field}"
            if address in known and move.start != move.end:
                told.append(Turn(move.words, address, move.end > move.start))
    return told


def mends(verdict: Verdict, found: Sequence[Dial]) -> list[Mend]:
    """Return the changes that restore a unit and that are turns of the dials found."""
    known = {dial.address: dial for dial in found}
    told = []
    for name, unit in _part_worn(verdict, found):
        for mend in unit.mends():
            changes = {f"{name}.{field}": value for field, value in mend.changes.items()}
            if all(a in known and known[a].low <= v <= known[a].high for a, v in changes.items()):
                told.append(Mend(mend.words, changes))
    return told


def _turned(verdict: Verdict) -> Iterator[str]:
    units = verdict.result.sheet.units
    for moves_water in (True, False):  # what sets the flow stands first
        for name, unit in units.items():
            if unit.moves_water == moves_water:
                yield from (f"{name}.{field}" for field in unit.dials)


def _stated(case: Any, owner: str, name: str) -> tuple[dataclasses.Field | None, Any]:
    record = case.sections.get(owner) or case.parameters.get(owner)
    items = {item.name: item for item in dataclasses.fields(record)} if record else {}
    if name not in items or items[name].metadata["kind"] in ("choice", "text", "count"):
        return None, None
    return items[name], getattr(record, name)


def _range(item: Any, address: str, now: float, verdict: Verdict) -> tuple[float, float]:
    """Return the range to begin with: around what is stated, inside what is legal."""
    meta: Mapping[str, Any] = item.metadata
    own = [limit for limit in verdict.limits if limit.address == address]
    if own:
        low, high = 0.0, OVER_LIMIT * float(at(own[0].limit, 0))
    elif meta["kind"] in USUAL:
        low, high = USUAL[meta["kind"]]
    elif meta["kind"] == "factor" and meta["high"] == 1:
        low, high = LEAST_FACTOR, 1.0
    else:
        span = SPANS.get(meta["kind"], USUAL_SPAN)
        low, high = span[0] * now, span[1] * now
    if meta["kind"] == "speed":
        high = max(1.0, now)  # full speed; more only where the case has more
    low, high = max(min(low, now), meta["low"]), min(max(high, now), meta["high"])
    legal = [end for end in (low, high) if field_problem(item, end) is None]
    return (low, high) if len(legal) == 2 else (now, now)


def _part_worn(verdict: Verdict, found: Sequence[Dial]) -> Iterator[tuple[str, Any]]:
    """Yield the units with their dials half way, so that either way is told."""
    for name, unit in verdict.result.sheet.units.items():
        half = {
            dial.address.partition(".")[2]: 0.5 * (dial.low + dial.high)
            for dial in found
            if dial.address.partition(".")[0] == name
        }
        yield name, unit.with_parameters(**half) if half else unit
