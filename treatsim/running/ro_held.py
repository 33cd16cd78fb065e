"""Limits of a start of membranes: salt, gain of pressure, and what a stop draws back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from treatsim.running.ro_start import NOTHING, MembraneStart


class Held(NamedTuple):
    """One limit of a start."""

    key: str
    words: str
    value: float | None  # SI; None where nothing is known
    limit: float | None  # most that is allowed, SI
    quantity: str
    needs: tuple[str, ...] = ()  # entries that would let it be judged
    fails: bool = False  # whatever the value

    @property
    def state(self) -> str:
        """met, not_met or not_judged."""
        if self.needs or self.value is None or self.limit is None:
            return "not_judged"
        return "not_met" if self.fails or not self.value <= self.limit else "met"


def held(found: MembraneStart) -> Iterator[Held]:
    """Yield the limits of a start of membranes."""
    start = found.train.start
    needs = [name for name in ("salt_limit", "opens_when") if getattr(start, name) is None]
    never = not np.isfinite(found.met) or not np.isfinite(found.opens)
    yield Held(
        "over_limit", "over its limit of salt into the product", found.over_limit, NOTHING,
        "volume", tuple(f"startup.{name}" for name in needs), never,
    )  # fmt: skip
    yield Held(
        "pressure_rate", "gain of pressure at the membranes", found.pressure_rate,
        start.largest_pressure_rate, "pressure_rate",
    )  # fmt: skip
    passes = found.train.passes
    for part in passes:
        alone = len(passes) == 1
        key, by = ("", "") if alone else (f"_{'_'.join(part.names)}", f", {_and(part.names)}")
        yield Held(
            f"drawn_back{key}", f"drawn back by osmosis until the flush{by}", found.drawn(part),
            part.behind, "volume", () if start.flush_wait is not None else ("startup.flush_wait",),
        )  # fmt: skip


def _and(names: Sequence[str]) -> str:
    return " and ".join(names)


def state(found: MembraneStart) -> str:
    """Return met, not_met or not_judged of a whole start: its worst limit."""
    states = {row.state for row in held(found)}
    return next(word for word in ("not_met", "not_judged", "met") if word in states)
