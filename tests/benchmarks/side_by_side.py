"""Two ways to the same answer, timed in one process, in turn, so that a busy machine hits both.

Processor time, of this process and of those it started: time of day also counts who else runs.
"""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable
from typing import NamedTuple


class Ratio(NamedTuple):
    """Medians and their ratio."""

    plain: float  # s per item
    fast: float
    ratio: float  # of the medians
    low: float  # smallest and largest ratio of one round
    high: float


def spent() -> float:
    return time.process_time() + sum(os.times()[2:4])  # of children that have ended


def seconds(function: Callable[[], object], repeats: int = 1) -> float:
    start = spent()
    for _ in range(repeats):
        function()
    return (spent() - start) / repeats


def side_by_side(
    plain: Callable[[], object],
    fast: Callable[[], object],
    *,
    plain_items: int = 1,
    fast_items: int = 1,
    fast_repeats: int = 1,
    rounds: int = 5,
) -> Ratio:
    """Time `plain` and `fast` alternately; each handles so many items per call."""
    fast()
    pairs = [
        (seconds(plain) / plain_items, seconds(fast, fast_repeats) / fast_items)
        for _ in range(rounds)
    ]
    slow, quick = (statistics.median(column) for column in zip(*pairs, strict=True))
    single = [a / b for a, b in pairs]
    return Ratio(slow, quick, slow / quick, min(single), max(single))


def line(name: str, result: Ratio) -> str:
    """One line of a report."""
    return (
        f"{name:<58} {1e6 * result.plain:>11.2f} us {1e6 * result.fast:>9.3f} us "
        f"{result.ratio:>8.1f}  ({result.low:.0f} to {result.high:.0f})"
    )
