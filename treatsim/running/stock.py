"""How many to bring: laws of what is used up, packs and sets, and the level of all jointly."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.errors import DomainError, require

SURE = 1.645  # standard errors: the count is read at the upper end of what sampling leaves open
ROUNDING = 1e-9  # a count this close to a whole number is that number


def poisson_stock(mean: float, level: float) -> int:
    """Return the smallest stock that a Poisson count exceeds with no more than the chance left.

    Parameters
    ----------
    mean : float
        Expected count: hours x parts / mean time between failures. [1]
    level : float
        Chance that the stock suffices, above 0 and below 1. [1]

    Returns
    -------
    int
        Stock. [1]

    Validity
    --------
    Failures that do not depend on age or on one another: breakages. Not filters, whose loads go
    with the same river; not lamps, which wear out. DomainError for an impossible value.

    Source
    ------
    definition.
    """
    from scipy.special import pdtr

    mean = float(require("mean", mean, 0.0, 1e9, ""))
    if not 0 < level < 1:
        raise DomainError(f"level = {level}: above 0 and below 1")
    low, high = -1, 1
    while pdtr(high, mean) < level:
        low, high = high, 2 * high + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if pdtr(middle, mean) >= level else (middle, high)
    return int(high) if pdtr(0, mean) < level else 0


def poisson_level(mean: float, stock: float) -> float:
    """Return the chance that a stock suffices a Poisson count. mean, stock [1] -> [1]"""
    from scipy.special import pdtr

    return float(pdtr(math.floor(stock + ROUNDING), mean)) if stock >= 0 else 0.0


def worn_out(hours: float, life: float, used: float, number: float) -> int:
    """Return how many parts reach the end of their rated life. hours, life, used [s] -> [1]"""
    life = float(require("life", life, 0.0, np.inf, "s", open_low=True))
    return int(math.floor((used + hours) / life * (1 + ROUNDING)) * number)


def quantile(counts: Array, level: float, sure: bool = False) -> float:
    """Return the count that simulated ones do not exceed with a chance.

    `sure` reads it at the upper end of the sampling error of so many scenarios.
    """
    ordered = np.sort(np.asarray(counts, float))
    rank = level * ordered.size
    if sure:
        rank += SURE * math.sqrt(ordered.size * level * (1 - level))
    return float(ordered[min(max(math.ceil(rank - ROUNDING), 1), ordered.size) - 1])


def least_scenarios(level: float) -> int:
    """Return how many scenarios a level needs: five beyond it, with their sampling error."""
    return math.ceil(5.0 * (1 + SURE / math.sqrt(5.0)) / (1 - level))


def to_bring(needed: float, loss: float, stock: float, set_of: float, pack: int) -> int:
    """Return whole packs that hold what is needed beyond the store.

    needed, stock [parts]; loss, share spoiled [1]; set_of, parts changed at once; pack, parts in
    a pack -> parts [1]
    """
    whole = math.ceil(needed / (1 - loss) - ROUNDING)
    sets = math.ceil(whole / set_of - ROUNDING) * set_of
    return max(math.ceil((sets - stock) / pack - ROUNDING) * pack, 0)


def joint_level(suffices: Sequence[Flags], chances: Sequence[float]) -> float:
    """Return the chance that nothing runs out.

    suffices, of each simulated part, by scenario [bool]; chances of those independent of the
    scenarios and of one another [1] -> [1]
    """
    together = float(np.mean(np.all(np.stack(suffices), axis=0))) if suffices else 1.0
    return together * math.prod(chances)
