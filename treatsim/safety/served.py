"""People that the product serves, at three levels and at the level planned."""

from __future__ import annotations

import numpy as np

from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Finding, Limit, Value
from treatsim.safety.evidence import PeopleParameters
from treatsim.safety.people import LEVELS, USUAL_LOSSES, daily_demand, people_served, tank_buffer

ASSUMED = PeopleParameters(level="full", losses=sum(USUAL_LOSSES) / 2, running_time=8 * 3600.0)
ASSUMED_WORDS = (
    "people: no table [people], so 8 h of running a day, 15 L for each person and 15 % lost "
    "between tank and cup are assumed"
)
NAMES = {"drink_only": "drinking", "survival": "survival", "full": "full"}


def served(result: Result, mover: str) -> None:
    """Add people served, daily volume and tank buffer to the result.

    Parameters
    ----------
    result : Result
        Solved case; without a table [people] the usual planning figures are taken, and said.
    mover : str
        Address of the input that sets the flow.

    Returns
    -------
    None

    Validity
    --------
    Nothing is added without product. Institutions are served first.

    Source
    ------
    sphere_2011; the assumed day is common practice, no source.
    """
    plan = result.sections.get("people")
    if result.product is None:
        return
    if plan is None:
        plan = ASSUMED
        result.notes.append(ASSUMED_WORDS)
    flow = np.where(result.solved, _mean_flow(result, result.product.flow), 0.0)
    volume = flow * plan.running_time
    left = np.maximum(volume - daily_demand(1.0, plan.institution_demand, plan.losses), 0.0)
    extra = result.extra
    extra["product.daily_volume"] = Value(volume, "volume")
    extra["product.people_served"] = Value(people_served(left, plan.each, plan.losses), "people")
    for level, name in NAMES.items():
        people = people_served(left, LEVELS[level], plan.losses)
        extra[f"product.people_served_{name}"] = Value(people, "people")
    if plan.drawing_time is not None:
        extra["product.tank_buffer"] = Value(_buffer(volume, plan), "volume")
    if plan.number is not None:
        result.extra_limits.append(
            Limit(
                "people served at the level planned",
                "product.people_served",
                extra["product.people_served"].value,
                ">=",
                plan.number,
                "people",
                "sphere_2011",
                mover,
                "run longer, raise the flow, or plan with less for each",
            )
        )


def _mean_flow(result: Result, flow):
    """Return the flow that the plant can keep up: closed tanks may hold it back. [m3/s]"""
    for name, unit in result.sheet.units.items():
        if type(unit).__name__ != "StorageTank":
            continue
        limit = result.all_details[name].values.get("largest_mean_flow")
        if limit is not None:
            held = np.asarray(limit.value) < np.asarray(flow) * (1 - 1e-9)
            text = (f"{name}: filled, closed and drawn by turns the tanks take {{limit}} at most, "
                    "less than the plant gives: it stops in between, or add a tank")  # fmt: skip
            if np.any(held):
                result.extra_findings.append(Finding(held, text, {"limit": limit}))
            flow = np.minimum(flow, limit.value)
    return flow


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
