"""What filters through months are made of: entries, laws, rules, the state and the history."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, Flags, Index

CAUSES = ("mass", "pressure drop", "flow", "time in water")


class Bank(NamedTuple):
    """Elements as they are followed: equal ones changed together as one entry, else each alone."""

    filter_of: Index  # entry -> filter
    weight: Array  # elements that an entry stands for


class Law(NamedTuple):
    """How elements load, shape (scenarios, entries). SI"""

    clean: Array
    constant: Array
    exponent: Array
    capacity: Array


class Rules(NamedTuple):
    """What ends the life of an element beside its own limits."""

    flow_needed: float  # m3/s; 0 for none
    longest_use: Array  # s of clock, by filter; infinite for none
    stops: Index  # hours at whose end the state is told, the last one the end
    temperature: Array  # K, between the stops
    viscosity: Array  # Pa s, between the stops


class State(NamedTuple):
    """The train at some loads, an entry for each scenario."""

    rate: Array  # kg per exposure into an element of each entry
    fed: Array  # kg per exposure to each filter
    drop: Array  # Pa over each filter
    excess: Array  # by how much each limit is passed, relative: entries, filters, flow
    product: Array  # m3/s
    through: Array  # m3/s, through each filter


@dataclass
class History:
    """What happened: changes in rows, and the state at every stop."""

    changes: dict[str, list[Array]] = field(default_factory=dict)
    product: list[Array] = field(default_factory=list)  # m3/s at each stop, (scenarios,)
    drop: list[Array] = field(default_factory=list)  # Pa, (scenarios, filters)
    fed: Array = field(default_factory=lambda: np.empty(0))  # kg in all, (scenarios, filters)
    held: Array = field(default_factory=lambda: np.empty(0))  # kg in place at the end
    started: Array = field(default_factory=lambda: np.empty(0))  # kg in place at the start
    removed: Array = field(default_factory=lambda: np.empty(0))  # kg carried out with elements

    def column(self, name: str) -> Array:
        """Return one column of the changes: scenario, hour, filter, cause, elements, mass, life."""
        parts = self.changes.get(name, [])
        return np.concatenate(parts) if parts else np.empty(0)


def bank_of(elements: Array, together: Flags) -> Bank:
    """Return the entries of filters with so many elements, changed together or one by one."""
    counts = [1 if one else int(n) for n, one in zip(elements, together, strict=True)]
    weights = [np.full(c, n / c) for c, n in zip(counts, elements, strict=True)]
    return Bank(np.repeat(np.arange(len(counts)), counts), np.concatenate(weights))
