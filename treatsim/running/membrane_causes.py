"""What changes of water and salt permeability and of pressure drop, slow or sudden, speak for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.running.records import Cause, moment, near_event, percent, slowly
from treatsim.running.trends import Step, Trend

HALF = 0.5  # of a trigger: less is not called a change
RAW = 0.05  # change of a raw reading that someone will ask about, as a logarithm
WARMTH = 1.5  # K
WORDS = {
    "water": "water permeability",
    "salt": "salt permeability",
    "drop": "pressure drop of the feed channel",
}
BRINE_SEAL = "brine seal, feed runs past the elements"
O_RING = "O-ring, interconnector or torn element"
STOP = "stop giving out this water until it is checked: measure the permeate of every vessel and "
STOP += "element (probe along the permeate tube), then seals and interconnectors"


class Conditions(NamedTuple):
    """Raw readings at the start and at the end, and what warmth and feed alone would do."""

    flow: float  # ln of raw permeate flow, end over start
    passage: float  # ln of raw permeate concentration
    pressure: float  # ln of feed pressure
    feed: float  # ln of feed concentration
    warmth: float  # K
    flow_by_conditions: float  # ln, by the model with the membrane of the start
    passage_by_conditions: float


class Pattern(NamedTuple):
    """Slow and sudden changes beyond notice, as -1, 0 or 1, with the words for them."""

    slow: Mapping[str, int]
    sudden: Mapping[str, int]
    crept: tuple[str, ...]  # words for what came slowly
    jumped: tuple[str, ...]  # words for what came at once and nobody noted
    explained: tuple[str, ...]  # steps beside an event of the log
    open_steps: Mapping[str, tuple[Step, ...]]  # those beside no event


def pattern_of(
    trends: Mapping[str, Trend], notice: Mapping[str, float], time: Array, events, start
) -> Pattern:
    """Part each trend into what came at once and what came slowly."""
    slow, sudden, steps = dict[str, int](), dict[str, int](), dict[str, tuple[Step, ...]]()
    crept, jumped, explained = [], [], []
    for key, words in WORDS.items():
        trend, sudden[key] = trends[key], 0
        noted = {s: near_event(events, time, s.place) for s in trend.steps}
        steps[key] = tuple(s for s in trend.steps if not noted[s])
        for step, event in noted.items():
            said = f"{words} {percent(np.expm1(step.size))} at once at "
            said += moment(start, time[step.place])
            if event:
                explained.append(f'{said}, beside "{event}"')
            elif abs(step.size) >= notice[key]:
                sudden[key] = int(np.sign(step.size))
                jumped.append(said)
        change, bound = trend.slow()[0], trend.bound(notice[key])
        slow[key] = int(np.sign(change)) if abs(change) > bound else 0
        least = percent(np.expm1(bound)).lstrip("+")
        crept.append(
            f"{words} {slowly(trend)}: "
            + ("fell", f"no change beyond {least}", "rose")[slow[key] + 1]
        )
    return Pattern(slow, sudden, tuple(crept), tuple(jumped), tuple(explained), steps)


def causes_of(pattern: Pattern, conditions: Conditions) -> tuple[Cause, ...]:
    """Return what the pattern speaks for, the most urgent first."""
    found = [*_sudden(pattern, conditions), *_slow(pattern)]
    if not found:
        found = [_outside(pattern, conditions)]
    return tuple(found)


def _sudden(pattern: Pattern, conditions: Conditions) -> list[Cause]:
    jump, said = pattern.sudden, pattern.jumped
    if jump["salt"] > 0:
        feed = f"the feed's salt is {percent(np.expm1(conditions.feed))} against the start and is "
        said = (*said, feed + "reckoned with: it is not the feed")
        if jump["drop"] < 0:
            name, also = BRINE_SEAL, "less pressure drop and more salt at the same time"
        else:
            name, also = O_RING, "salt came at once while the pressure drop did not fall"
        return [Cause(name, "suspected", (*said, also), STOP, stop=True)]
    if jump["drop"] < 0:
        name = "brine seal, or the gauges of the pressure drop"
        do = "read both gauges with one gauge; probe the permeate of each element"
        also = "less pressure drop at once, salt not more at once"
        return [Cause(name, "cannot tell", (*said, also), do)]
    if any(jump.values()):
        do = "check gauges and meters, valves, and what was done that day"
        return [Cause("a sudden change of the membrane side", "cannot tell", said, do)]
    return []


def _slow(pattern: Pattern) -> list[Cause]:
    key = (pattern.slow["water"], pattern.slow["salt"], pattern.slow["drop"])
    if key == (0, 0, 0):
        return []
    name, verdict, why, do = SLOW.get(key, NO_ROW)
    return [Cause(name, verdict, (*pattern.crept, *([why] if why else [])), do)]


NO_ROW = (
    "a slow change that fits no one pattern",
    "cannot tell",
    "",
    "calibrate the meters, then look at the first and the last element",
)
# slow change of water permeability, salt permeability, pressure drop -> what it speaks for
SLOW: Mapping[tuple[int, int, int], tuple[str, str, str, str]] = {
    (-1, 0, 1): (
        "fouling at the front: particles, film of germs",
        "suspected",
        "particles and germs settle in the first element: they cost water and block its channel",
        "check silt density and the last cartridge; weigh and look at the first element; clean "
        "alkaline first",
    ),
    (-1, 1, 0): (
        "scale in the tail",
        "suspected",
        "scale grows where the water is saltiest: it costs water and lets salt through, and leaves "
        "the channel open",
        "check recovery, hardness and antiscalant against the saturations of solve --full; weigh "
        "the last element; clean acid first",
    ),
    (-1, 1, 1): (
        "fouling at the front or scale in the tail",
        "cannot tell",
        "the three together speak for both",
        "weigh the first and the last element, measure the pressure drop per stage",
    ),
    (-1, 0, 0): (
        "a film on the membrane, or compaction",
        "cannot tell",
        "organic or colloidal film and a pressed membrane look alike",
        "a cleaning tells: what comes back was film",
    ),
    (-1, -1, 0): (
        "compaction, or a dense film",
        "cannot tell",
        "a pressed membrane passes less of both, and so does a dense film",
        "a cleaning tells: what comes back was film",
    ),
    (-1, -1, 1): (
        "fouling at the front: particles, film of germs",
        "suspected",
        "particles and germs settle in the first element; a film may hold salt back too",
        "check silt density and the last cartridge; look at the first element",
    ),
    (0, 0, 1): (
        "fouling at the front, in the channel so far",
        "suspected",
        "the channel closes before the membrane does",
        "check silt density, slime and the last cartridge; look at the first element",
    ),
    (1, 1, 0): (
        "membrane attacked, as by chlorine",
        "suspected",
        "the barrier itself is thinner",
        "measure chlorine ahead of the membranes; what is lost does not come back by cleaning",
    ),
    (0, 1, 0): (
        "ageing, an early leak, or the conductivity meter",
        "cannot tell",
        "salt alone: membrane, seal and meter look alike",
        "calibrate both conductivity meters, then probe the permeate tube",
    ),
}


def _outside(pattern: Pattern, conditions: Conditions) -> Cause:
    """Say why raw readings moved although nothing of the membrane did."""
    said = pattern.crept
    c = conditions
    raw = [
        f"raw permeate flow {percent(np.expm1(c.flow))}, of which temperature, pressure and "
        f"feed make {percent(np.expm1(c.flow_by_conditions))} by the model",
        f"raw permeate salt {percent(np.expm1(c.passage))}, of which they make "
        f"{percent(np.expm1(c.passage_by_conditions))}",
    ]
    moved = max(abs(c.flow), abs(c.passage), abs(c.pressure)) >= RAW
    warm, fed = abs(c.warmth) >= WARMTH, abs(c.feed) >= RAW
    seen = (f"temperature {c.warmth:+.1f} K", f"feed salt {percent(np.expm1(c.feed))}")
    if moved and warm and not fed:
        return Cause(
            "temperature only",
            "nothing",
            (*raw, seen[0], *said),
            "no cleaning: normalised, nothing changed",
        )
    if moved and fed and not warm:
        return Cause(
            "the feed changed",
            "nothing",
            (*raw, seen[1], *said),
            "the membranes are as they were; ask why the source changed",
        )
    if moved and fed and warm:
        return Cause(
            "temperature and feed changed",
            "nothing",
            (*raw, *seen, *said),
            "the membranes are as they were; ask why the source changed",
        )
    return Cause(
        "no change beyond what these instruments show",
        "nothing",
        tuple(said),
        "go on reading every day",
    )
