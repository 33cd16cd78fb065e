"""What changes of water and salt permeability and of pressure drop, slow or sudden, speak for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.running.records import Cause, moment, near_event, percent, with_interval
from treatsim.running.trends import Trend

HALF = 0.5  # of a trigger: less is not called a change
RAW = 0.05  # change of a raw reading that someone will ask about, as a logarithm
WARMTH = 1.5  # K
WORDS = {
    "water": "water permeability",
    "salt": "salt permeability",
    "drop": "pressure drop of the feed channel",
}
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
    said: tuple[str, ...]
    explained: tuple[str, ...]  # steps beside an event of the log


def pattern_of(
    trends: Mapping[str, Trend], notice: Mapping[str, float], time: Array, events, start
) -> Pattern:
    """Part each trend into what came at once and what came slowly."""
    slow, sudden, said, explained = {}, {}, [], []
    for key, words in WORDS.items():
        trend = trends[key]
        jumps = 0.0
        for step in trend.steps:
            when = moment(start, time[step.place])
            size = percent(np.expm1(step.size))
            if event := near_event(events, time, step.place):
                explained.append(f'{words} {size} at {when}, beside "{event}"')
            elif abs(step.size) >= notice[key]:
                sudden[key] = int(np.sign(step.size))
                said.append(f"{words} {size} at once at {when}")
            jumps += step.size
        rest = trend.now - jumps
        beyond = abs(rest) > max(notice[key], trend.error)
        slow[key] = int(np.sign(rest)) if beyond else 0
        sudden.setdefault(key, 0)
        said.append(f"{words} {with_interval(trend)} since the start")
    return Pattern(slow, sudden, tuple(said), tuple(explained))


def causes_of(pattern: Pattern, conditions: Conditions) -> tuple[Cause, ...]:
    """Return what the pattern speaks for, the most urgent first."""
    found = [*_sudden(pattern, conditions), *_slow(pattern)]
    if not found:
        found = [_outside(pattern, conditions)]
    return tuple(found)


def _sudden(pattern: Pattern, conditions: Conditions) -> list[Cause]:
    jump, found = pattern.sudden, []
    said = [line for line in pattern.said if "at once" in line]
    if jump["salt"] > 0:
        feed = f"the feed's salt is {percent(np.expm1(conditions.feed))} against the start and is "
        said = [*said, feed + "reckoned with: it is not the feed"]
        if jump["drop"] < 0:
            found.append(
                Cause(
                    "brine seal, feed runs past the elements",
                    "suspected",
                    (*said, "less pressure drop and more salt at the same time"),
                    STOP,
                    stop=True,
                )
            )
        else:
            found.append(
                Cause(
                    "O-ring, interconnector or torn element",
                    "suspected",
                    (*said, "salt came at once while the pressure drop did not fall"),
                    STOP,
                    stop=True,
                )
            )
    elif jump["drop"] < 0:
        found.append(
            Cause(
                "brine seal, or the gauges of the pressure drop",
                "cannot tell",
                (*said, "less pressure drop at once, salt unchanged"),
                "read both gauges with one gauge; probe the permeate of each element",
            )
        )
    elif jump["drop"] > 0 or jump["water"] != 0 or jump["salt"] < 0:
        found.append(
            Cause(
                "a sudden change of the membrane side",
                "cannot tell",
                tuple(said),
                "check gauges and meters, valves, and what was done that day",
            )
        )
    return found


def _slow(pattern: Pattern) -> list[Cause]:
    row = SLOW.get((pattern.slow["water"], pattern.slow["salt"], pattern.slow["drop"]))
    if (pattern.slow["water"], pattern.slow["salt"], pattern.slow["drop"]) == (0, 0, 0):
        return []
    said = tuple(line for line in pattern.said if "since the start" in line)
    if row is None:
        return [
            Cause(
                "a slow change that fits no one pattern",
                "cannot tell",
                said,
                "calibrate the meters, then look at the first and the last element",
            )
        ]
    name, verdict, why, do = row
    return [Cause(name, verdict, (*said, why), do)]


# slow change of water permeability, salt permeability, pressure drop -> what it speaks for
SLOW: Mapping[tuple[int, int, int], tuple[str, str, str, str]] = {
    (-1, 0, 1): (
        "fouling at the front: particles, film of germs",
        "suspected",
        "less water and more pressure drop, salt held back as before",
        "check silt density and the last cartridge; weigh and look at the first element; clean "
        "alkaline first",
    ),
    (-1, 1, 0): (
        "scale in the tail",
        "suspected",
        "less water and more salt at a pressure drop that hardly moved",
        "check recovery, hardness and antiscalant against the saturations of solve --full; weigh "
        "the last element; clean acid first",
    ),
    (-1, 1, 1): (
        "fouling at the front or scale in the tail",
        "cannot tell",
        "less water, more salt and more pressure drop speak for both",
        "weigh the first and the last element, measure the pressure drop per stage",
    ),
    (-1, 0, 0): (
        "a film on the membrane, or compaction",
        "cannot tell",
        "less water alone: organic or colloidal film and pressed membrane look alike",
        "a cleaning tells: what comes back was film",
    ),
    (-1, -1, 0): (
        "compaction, or a dense film",
        "cannot tell",
        "less water and less salt at once",
        "a cleaning tells: what comes back was film",
    ),
    (-1, -1, 1): (
        "fouling at the front: particles, film of germs",
        "suspected",
        "less water and more pressure drop, salt held back as well or better",
        "check silt density and the last cartridge; look at the first element",
    ),
    (0, 0, 1): (
        "fouling at the front, in the channel so far",
        "suspected",
        "more pressure drop alone",
        "check silt density, slime and the last cartridge; look at the first element",
    ),
    (1, 1, 0): (
        "membrane attacked, as by chlorine",
        "suspected",
        "more water and more salt: the barrier itself is thinner",
        "measure chlorine ahead of the membranes; what is lost does not come back by cleaning",
    ),
    (0, 1, 0): (
        "ageing, an early leak, or the conductivity meter",
        "cannot tell",
        "more salt alone, slowly",
        "calibrate both conductivity meters, then probe the permeate tube",
    ),
}


def _outside(pattern: Pattern, conditions: Conditions) -> Cause:
    """Say why raw readings moved although nothing of the membrane did."""
    said: Sequence[str] = [line for line in pattern.said if "since the start" in line]
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
