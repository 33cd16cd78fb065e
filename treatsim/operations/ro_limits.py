"""Ratings of reverse-osmosis elements and habits of the trade, as limits of a vessel."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.ro.vessel import ElementResults
from treatsim.operations.declarations import Ruled
from treatsim.operations.outcome import Limit, unjudged
from treatsim.operations.ro_element import RoElementParameters
from treatsim.water.scaling import SCALES
from treatsim.water.stream import Stream

CHLORINE_LIMIT = 1e-4  # kg/m3 on polyamide; typical of published guidance, from memory
DATA_SHEET = "data sheet of the element; of a catalogue class typical, from memory"
HABIT = "habit of the trade, from memory: no source"
RULED = {
    "element_pressure_max": Ruled("pressure", "rating", "largest feed pressure"),
    "element_feed_flow_max": Ruled("flow", "rating", "largest feed flow of a vessel"),
    "element_pressure_drop_max": Ruled(
        "pressure_difference", "rating", "largest pressure drop of an element"
    ),
    "element_concentrate_flow_min": Ruled(
        "flow", "rating", "smallest concentrate flow of an element"
    ),
    "free_chlorine": Ruled("concentration", "rating", "free chlorine that reaches the membrane"),
    "ph_min": Ruled("ph", "rating", "lowest pH that reaches the membrane"),
    "ph_max": Ruled("ph", "rating", "highest pH that reaches the membrane"),
    "element_recovery_max": Ruled("fraction", "practice", "largest recovery of an element"),
    "polarisation_max": Ruled("factor", "practice", "largest polarisation of an element"),
    "flux_first": Ruled("flux", "practice", "mean flux of the first element"),
    "flux_mean": Ruled("flux", "practice", "mean flux of the vessel"),
    **{
        key: Ruled("factor", "practice", f"saturation of {key}")
        for key in SCALES
        if key != "calcite"
    },
    "carbonate_index": Ruled("factor", "practice", "index of calcium carbonate"),
    "scale": Ruled("factor", "practice", "scale, where the chemistry cannot be told"),
    "calcite_contact": Ruled(
        "factor", "practice", "permeate after calcite, where the chemistry cannot be told"
    ),
}


class Rule(NamedTuple):
    """A rating or a habit of the elements."""

    field: str  # of the element
    relation: str
    value: Any  # worst over the elements
    number: Any  # of the element that breaks it most; None where it is one for all
    binding: str  # parameter of the vessel that would have to move
    advice: str


def _worst(rows, relation: str) -> tuple[Any, Any]:
    """The value nearest to its limit, or furthest beyond it, and the number of its element."""
    rows = np.asarray(rows, dtype=float)
    index = np.argmax(rows if relation == "<=" else -rows, axis=0)
    return np.take_along_axis(rows, np.expand_dims(index, 0), axis=0)[0], index + 1


def rules_of(elements: ElementResults, count: Any, feed: Stream) -> dict[str, Rule]:
    """What holds for the elements, by key."""
    more, wider = "elements_in_series", "vessels_in_parallel"
    return {
        "element_pressure_max": Rule(
            "largest_pressure", "<=", feed.pressure, None, "", "less pressure, or other elements"
        ),
        "element_feed_flow_max": Rule(
            "largest_feed_flow", "<=", elements.feed_flow[0], None, wider, "more vessels abreast"
        ),
        "element_pressure_drop_max": Rule(
            "largest_drop", "<=", *_worst(elements.pressure_drop, "<="), wider,
            "less flow through a vessel; of an old one, clean it",
        ),
        "element_concentrate_flow_min": Rule(
            "smallest_concentrate_flow", ">=", *_worst(elements.concentrate_flow, ">="), wider,
            "recover less, or send part of the concentrate round again",
        ),
        "element_recovery_max": Rule(
            "largest_recovery", "<=", *_worst(elements.recovery, "<="), more,
            "recover less, or spread it over more elements",
        ),
        "polarisation_max": Rule(
            "largest_polarisation", "<=", *_worst(elements.polarisation_max, "<="), more,
            "more flow along the membrane, or less through it",
        ),
        "flux_first": Rule(
            "largest_lead_flux", "<=", elements.flux_mean[0], None, more,
            "less pressure and more elements",
        ),
        "flux_mean": Rule(
            "largest_flux", "<=", mean_flux(elements.flux_mean, count), None, more,
            "less pressure and more elements",
        ),
    }  # fmt: skip


def held(name: str, element: RoElementParameters, rules: Mapping[str, Rule]) -> list[Limit]:
    """Return the limits of the elements; a rating the data sheet leaves out is not judged."""
    found = []
    for key, rule in rules.items():
        ruled, limit = RULED[key], getattr(element, rule.field)
        if limit is None:
            if ruled.group == "rating":
                needs = f"{name}.element.{rule.field}"
                found.append(unjudged(ruled.words, needs, address=key, group="rating"))
            continue
        numbers = np.ravel(() if rule.number is None else rule.number)
        alike = numbers.size > 0 and np.all(numbers == numbers[0])
        worst = f"; worst in element {numbers[0]}" if alike else ""
        binding = f"{name}.{rule.binding}" if rule.binding else ""
        source = DATA_SHEET if ruled.group == "rating" else HABIT
        found.append(
            Limit(ruled.words, key, rule.value, rule.relation, limit, ruled.quantity, source,
                  binding, rule.advice + worst, ruled.group)
        )  # fmt: skip
    return found


def chlorine_limit(feed: Stream) -> list[Limit]:
    """Return the limit on free chlorine, where the feed may hold some."""
    if "free_chlorine" not in feed.contents:
        return []
    ruled = RULED["free_chlorine"]
    return [
        Limit(ruled.words, "feed.free_chlorine", feed.contents["free_chlorine"], "<=",
              CHLORINE_LIMIT, ruled.quantity, DATA_SHEET, "",
              "it destroys polyamide membranes: remove it first", ruled.group)
    ]  # fmt: skip


def ph_limits(name: str, element: RoElementParameters, lowest: Any, highest: Any) -> list[Limit]:
    """Return the limits on the pH; NaN where it is not known, which is not judged."""
    found = []
    for key, value, relation, field in (
        ("ph_min", lowest, ">=", "lowest_ph"),
        ("ph_max", highest, "<=", "highest_ph"),
    ):
        ruled, end = RULED[key], getattr(element, field)
        address = f"{name}.{key}"
        known = bool(np.all(np.isfinite(value)))
        if end is None or not known:
            needs = "water.ph" if end is not None else f"{name}.element.{field}"
            found.append(unjudged(ruled.words, needs, address=address, group="rating"))
            continue
        found.append(
            Limit(ruled.words, address, value, relation, end, "ph", DATA_SHEET, "",
                  "dose less acid or base ahead", ruled.group)
        )  # fmt: skip
    return found


def mean_flux(flux, count):
    """Mean over the elements that are there; those that are not have no flux."""
    return np.sum(flux, axis=0) / np.asarray(count)
