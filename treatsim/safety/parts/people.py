"""People that the product serves, at three levels and at the level planned."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.flowsheet.result import Result
from treatsim.operations.composed import Composed
from treatsim.operations.declarations import Told
from treatsim.operations.outcome import Finding, Limit, Value
from treatsim.safety.additions import Additions
from treatsim.safety.composed_credit import single
from treatsim.safety.evidence import PeopleParameters
from treatsim.safety.parts.dose import mover
from treatsim.safety.people import (
    USUAL_LOSSES,
    daily_demand,
    people_at_levels,
    people_served,
    tank_buffer,
)

ASSUMED = PeopleParameters(level="full", losses=sum(USUAL_LOSSES) / 2, running_time=8 * 3600.0)
ASSUMED_WORDS = (
    "people: no table [people], so 8 h of running a day, 15 L for each person and 15 % lost "
    "between tank and cup are assumed"
)
NAMES = {"drink_only": "drinking", "survival": "survival", "full": "full"}
RESULTS = {
    "product.daily_volume": Told("volume", "product of a day"),
    "product.people_served": Told("people", "people served at the level planned"),
    "product.people_served_*": Told("people", "people served, by level"),
    "product.tank_buffer": Told("volume", "tank that bridges running and drawing"),
}


def people(result: Result, earlier: Additions) -> Additions:
    """People served, daily volume and tank buffer.

    Parameters
    ----------
    result : Result
        Solved case; without a table [people] the usual planning figures are taken, and said. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        Values below "product", and the people asked for as a limit; nothing without product.

    Validity
    --------
    Institutions are served first.

    Source
    ------
    sphere_2011; the assumed day is common practice, no source.
    """
    if result.product is None:
        return Additions()
    stated = result.sections.get("people")
    plan = ASSUMED if stated is None else stated
    kept, findings = _mean_flow(result, result.product.flow)
    volume = np.where(result.solved, kept, 0.0) * plan.running_time
    left = np.maximum(volume - daily_demand(1.0, plan.institution_demand, plan.losses), 0.0)
    served = people_served(left, plan.each, plan.losses)
    values = {"daily_volume": Value(volume, "volume"), "people_served": Value(served, "people")}
    for level, count in people_at_levels(left, plan.losses).items():
        values[f"people_served_{NAMES[level]}"] = Value(count, "people")
    if plan.drawing_time is not None:
        values["tank_buffer"] = Value(_buffer(volume, plan), "volume")
    return Additions(
        {f"product.{key}": value for key, value in values.items()},
        _enough(result, plan.number, served),
        tuple(findings),
        (ASSUMED_WORDS,) if stated is None else (),
        ("sphere_2011",),
        composed=_whole_people(volume, plan),
    )


def _whole_people(volume, plan: PeopleParameters) -> dict[str, Composed]:
    """Return how the people served are made of a day's water, which does not move in steps. [m3]"""
    first = daily_demand(1.0, plan.institution_demand, plan.losses)
    spent, share = single(first), single((1.0 - np.asarray(plan.losses)) / plan.each)
    if spent is None or share is None:
        return {}
    read = "product.water of a day"
    tree = ["floor", ["times", share, ["most", 0.0, ["less", read, spent]]]]
    return {"product.people_served": Composed(tree, {read: Value(volume, "volume")})}


def _enough(result: Result, number, served) -> tuple[Limit, ...]:
    """The people asked for, if any are."""
    if number is None:
        return ()
    return (
        Limit(
            "people served at the level planned",
            "product.people_served",
            served,
            ">=",
            number,
            "people",
            "sphere_2011",
            mover(result.sheet),
            "run longer, raise the flow, or plan with less for each",
        ),
    )


def _mean_flow(result: Result, flow) -> tuple[Any, list[Finding]]:
    """Return the flow that the plant can keep up: closed tanks may hold it back. [m3/s]"""
    findings = []
    for name, details in result.all_details.items():
        limit = details.values.get("largest_mean_flow")
        if limit is not None:
            held = np.asarray(limit.value) < np.asarray(flow) * (1 - 1e-9)
            text = (f"{name}: filled, closed and drawn by turns the tanks take {{limit}} at most, "
                    "less than the plant gives: it stops in between, or add a tank")  # fmt: skip
            if np.any(held):
                findings.append(Finding(held, text, {"limit": limit}))
            flow = np.minimum(flow, limit.value)
    return flow, findings


def _buffer(volume, plan):
    """Return the tank that bridges running and drawing, both centred on the same hour. [m3]"""
    run, draw, volume = np.broadcast_arrays(
        np.asarray(plan.running_time, float), np.asarray(plan.drawing_time, float), volume
    )
    inner, outer = np.minimum(run, draw), np.maximum(run, draw)
    edge = np.maximum((outer - inner) / 2, 1e-6)
    steps = np.stack([edge, inner, edge], axis=-1)
    run_steps = np.where((run >= outer)[..., None], [1.0, 1.0, 1.0], [0.0, 1.0, 0.0])
    draw_steps = np.where((draw >= outer)[..., None], [1.0, 1.0, 1.0], [0.0, 1.0, 0.0])
    supply = (volume / np.sum(run_steps * steps, axis=-1))[..., None] * run_steps
    demand = (volume / np.sum(draw_steps * steps, axis=-1))[..., None] * draw_steps
    return tank_buffer(steps, supply, demand).volume
