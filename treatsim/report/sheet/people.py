"""Water for people at this setting: litres, taps, and how long the last of a queue waits."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.constants import LITRE
from treatsim.report.sheet.blocks import Block, Grid, Words
from treatsim.report.sheet.facts import Facts
from treatsim.safety.parts.people import ASSUMED
from treatsim.safety.people import (
    LONGEST_FILLING,
    LONGEST_QUEUE,
    WATER_POINTS,
    basic_needs,
    queue_time,
    volume_at_point,
    water_points,
)

HEAD = "PEOPLE AND TAPS"
CAN = 20 * LITRE  # m3, a container
OPEN = 8 * 3600.0  # s a day, where the case states no time of drawing; common practice


def people_block(facts: Facts) -> Block:
    """Return litres, people and taps, by quantity alone."""
    if not facts.has("product.people_served"):
        return Block(HEAD, (Words("NOT TOLD: no product leaves this train"),))
    plan: Any = facts.section("people") or ASSUMED
    stated = facts.section("people") is not None
    served = float(np.ravel(facts.value("product.people_served").value)[0])
    number = served if plan.number is None else min(float(plan.number), served)
    each = float(plan.each)
    rows = [
        ("product", facts.told("product.flow")),
        ("water a day", facts.told("product.daily_volume")),
        (f"people served, {facts.text(each, 'volume')} each", f"{served:.0f}"),
        ("people asked for", "not stated" if plan.number is None else f"{plan.number:.0f}"),
    ]
    low, high = (facts.text(need, "volume") for need in basic_needs())
    notes = [f"By quantity alone. A person needs {low} to {high} a day (sphere_2011)."]
    if not stated:
        hours = facts.text(plan.running_time, "duration")
        notes.append(f"No table [people]: {hours} of running a day is assumed.")
    if number > 0:
        rows += taps(facts, plan, number, each)
        longest = facts.text(LONGEST_QUEUE, "short_duration")
        filling = facts.text(LONGEST_FILLING, "short_duration")
        notes.append(f"Aim: no wait above {longest}, no can above {filling} (sphere_2011).")
    return Block(HEAD, (Grid(("", ""), tuple(rows), left=2), Words(" ".join(notes))))


def taps(facts: Facts, plan: Any, number: float, each: float) -> list[tuple[str, str]]:
    """Return taps needed, what one gives, and the wait if all come with a can at once."""
    most, flow = WATER_POINTS["tap"]
    open_time = OPEN if plan.drawing_time is None else float(plan.drawing_time)
    points = float(water_points(number, each, flow, open_time, most))
    given = volume_at_point(number / points, flow, open_time)
    together = int(LONGEST_QUEUE // (CAN / flow))
    queue = queue_time(together, 1, CAN, flow)
    return [
        (
            f"taps for {number:.0f} people",
            f"{points:.0f} ({most} people, {_rate(facts, flow)} each)",
        ),
        ("a tap gives at most", f"{facts.text(given, 'volume')} a person and day"),
        (
            "let no more wait at a tap than",
            f"{together}: the last has a can of {facts.text(CAN, 'volume')} after "
            f"{facts.text(queue, 'short_duration')}",
        ),
    ]


def _rate(facts: Facts, flow: float) -> str:
    return f"{facts.text(60 * flow, 'volume')}/min"
