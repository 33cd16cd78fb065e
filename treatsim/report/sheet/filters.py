"""Pressure drop of the filters: clean, at which to change, and what the cold does to it."""

from __future__ import annotations

import numpy as np

from treatsim import quantities
from treatsim.errors import NoSolutionError, RequestError
from treatsim.report.sheet.blocks import Block, Grid, Words
from treatsim.report.sheet.facts import Facts, column, untold
from treatsim.water.properties import viscosity

HEAD = "5 PRESSURE DROP OF THE FILTERS"
TEMPERATURES = (5.0, 10.0, 15.0, 20.0, 25.0, 30.0)  # degC
ONE_DEGREE = 0.25  # K: nearer to the water's own temperature, a round one is left out


def filter_block(facts: Facts) -> Block | None:
    """Return the table of the filters; None where there are none."""
    if not facts.filters:
        return None
    rows = tuple(_row(facts, name) for name in facts.filters)
    unit = quantities.shown("pressure_difference", facts.system)[0]
    words = ("clean", "now", "full by mass", "CHANGE AT, never above")
    heads = ("filter", facts.head("flow each", "flow"), *(f"{one} [{unit}]" for one in words))
    text = (
        "At the setting of this sheet. Write down the drop of fresh elements: it is "
        "what every later one is held against. A drop that falls by itself: stop (fault table)."
    )
    try:
        cold = _by_temperature(facts)
    except (RequestError, NoSolutionError) as error:
        return Block(HEAD, (Grid(heads, rows), Words(text), Words(untold(error))))
    more = (
        "Factor: viscosity against the water of this sheet. Divide a drop by it before you compare "
        "it with today's; the clean drops are solved at each temperature, at the same dial."
    )
    return Block(HEAD, (Grid(heads, rows), Words(text), cold, Words(more)))


def _row(facts: Facts, name: str) -> tuple[str, ...]:
    def drop(value) -> str:
        return facts.number(value, "pressure_difference")

    limit = facts.limit(f"{name}.pressure_drop")
    change = "not judged" if limit is None else drop(limit.limit)
    if limit is not None and limit.waived:
        change += " (waived)"
    return (
        name,
        facts.number(facts.value(f"{name}.element_flow").value, "flow"),
        drop(facts.value(f"{name}.clean_pressure_drop").value),
        drop(facts.value(f"{name}.pressure_drop").value),
        _full(facts, name),
        change,
    )


def _full(facts: Facts, name: str) -> str:
    """Return the drop at which an element holds all it can, at the same dial."""
    capacity = facts.field(f"{name}.capacity")[1]
    if capacity is None:
        return "not known"
    try:
        found = facts.solved({f"{name}.captured_mass": np.array([capacity])})
    except (RequestError, NoSolutionError):
        return "no flow"
    value = column(found, f"{name}.pressure_drop")[0]
    return "no flow" if np.isnan(value) else facts.number(value, "pressure_difference")


def temperatures(facts: Facts) -> tuple[np.ndarray, int]:
    """Return round temperatures and that of the water, rising, and its place. [K]"""
    now = facts.field("water.temperature")[1]
    if now is None:
        raise RequestError("water.temperature is not stated")
    zero = quantities.conversion("degC", "K")[1]
    found = np.array(TEMPERATURES) + zero
    found = np.sort(np.append(found[np.abs(found - now) > ONE_DEGREE], now))
    return found, int(np.argmin(np.abs(found - now)))


def _by_temperature(facts: Facts) -> Grid:
    warm, own = temperatures(facts)
    verdict = facts.solved({"water.temperature": warm})
    factor = viscosity(warm) / viscosity(warm[own])
    drops = [column(verdict, f"{name}.clean_pressure_drop") for name in facts.filters]
    rows = tuple(
        (
            facts.number(warm[n], "temperature"),
            f"{factor[n]:.2f}",
            *(_or_none(facts, drop[n]) for drop in drops),
        )
        for n in range(warm.size)
    )
    heads = (
        facts.head("water", "temperature"),
        "factor",
        *(facts.head(f"{name} clean", "pressure_difference") for name in facts.filters),
    )
    return Grid(heads, rows, loud=(own,))


def _or_none(facts: Facts, value: float) -> str:
    return "no flow" if np.isnan(value) else facts.number(value, "pressure_difference")
