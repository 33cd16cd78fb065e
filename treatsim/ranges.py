"""Fitted ranges of formulas, and the record of points that lie outside one."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt


class Range(NamedTuple):
    """Range in which a formula was fitted or is stated to hold."""

    name: str  # argument
    low: float
    high: float
    unit: str  # SI
    formula: str  # which formula, in words


class Excursion(NamedTuple):
    """Points at which a formula was used outside its range: computed, not clipped, and said."""

    range: Range
    outside: np.ndarray  # bool, one per point
    worst: float  # value farthest outside


def excursions(limits: Range, value: npt.ArrayLike) -> list[Excursion]:
    """Return one Excursion if any entry of `value` lies outside `limits`, else an empty list.

    What is not a number, as at points without an answer, lies neither inside nor outside.
    """
    value = np.asarray(value, dtype=float)
    beyond = np.maximum(limits.low - value, value - limits.high)
    outside = beyond > 0
    if not np.any(outside):
        return []
    return [Excursion(limits, outside, float(value.flat[int(np.nanargmax(beyond))]))]
