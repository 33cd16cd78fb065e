"""How large array, battery or tank must be for what is asked of the years of a case.

All sizes tried see the same drawn years, so that a larger one is never worse by chance of the draw.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.arrays import Array
from treatsim.operations.parameters import field_problem
from treatsim.running.prepared import prepared
from treatsim.running.year import RESULTS, of_other_draws
from treatsim.studies.requirements import Target
from treatsim.studies.year_sizes import (
    CAPACITY,
    NO_CLOUDS,
    adjusted,
    are_met,
    demand_told,
    fits,
    limit_of,
    of_parts,
    results_at,
)

PREFIX = "year."
FIT = "fit"  # whether a size of a unit misses no limit that is met now
PLACES = 13  # sizes tried at once
REACH = 8.0  # times and parts of the present size that are looked at
ROUNDS = 3  # each cuts the step to a twelfth: 41 %, 2.9 %, 0.24 % in the end
DIGITS = 3


@dataclass(frozen=True)
class Sizes:
    """What sizes meet what is asked: from one up, up to one, all, or none."""

    address: str
    quantity: str
    now: float  # SI
    targets: tuple[Target, ...]
    tried: Array  # SI, rising
    results: dict[str, Array]  # address -> at these, SI
    met: Array  # whether they meet everything
    missed: tuple[str, ...]  # limits of the water missed at the setting in the case
    open: tuple[str, ...]  # not judged there
    fit: Any  # whether a size of a unit misses no limit that is met at its present one
    # result at the edge -> between what it lies in other draws of years, SI
    draws: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def edge(self) -> int | None:
        """Place of the last size that meets everything, before those that do not; None: no edge."""
        if self.met.all() or not self.met.any():
            return None
        if self.met[-1]:
            return int(len(self.met) - np.argmin(self.met[::-1]))
        return int(np.argmin(self.met) - 1) if self.met[0] else None

    @property
    def found(self) -> bool:
        """Whether a size is found, for water that misses no limit."""
        return not self.missed and (bool(self.met.all()) or self.edge is not None)

    def _shown(self, value: float, system: str) -> str:
        return quantities.text(float(value), self.quantity, system, DIGITS)

    def lines(self, system: str = "si") -> list[str]:
        """Return the answer in words."""
        ends = [self._shown(self.tried[n], system) for n in (0, -1)]
        now = self._shown(self.now, system)
        edge, asked = self.edge, " and ".join(target.text for target in self.targets)
        if edge is not None:
            up = bool(self.met[-1])
            words = f"met from {self._rounded(edge, up, system)} {'up' if up else 'down'}"
        elif self.met.all():
            words = f"met everywhere from {ends[0]} to {ends[1]}"
        else:
            words = f"met by no size from {ends[0]} to {ends[1]}"
        found = [f"{self.address}: {words} (now {now}); {asked}"]
        for place in {edge if edge is not None else 0: 0, len(self.tried) - 1: 0}:
            told = "; ".join(
                f"{name} = {quantities.text(float(row[place]), RESULTS[name], system, DIGITS)}"
                for name, row in self.results.items()
            )
            size = self._shown(self.tried[place], system)
            if place == edge:
                size = self._rounded(place, bool(self.met[-1]), system)
            found.append(f"  at {size}: {told}")
            if place == edge:
                found += [f"    in other draws of years {low} to {high}"
                          for low, high in self._scatter(system)]  # fmt: skip
        if not self.fit.all():
            found.append("  sizes that miss a limit which is met in the case count as not met")
        kept = "everything else as in the case, the other sizes too"
        if self.address == CAPACITY:
            kept += "; charge and discharge power grow with the battery"
        found += [f"  {kept}; all see the same years", f"  {NO_CLOUDS}"]
        found += [f"  NOT MET at the setting in the case: {words}; no size makes this water fit"
                  for words in self.missed]  # fmt: skip
        if self.open:
            found.append("  NOT JUDGED at the setting in the case: " + ", ".join(self.open))
        return found

    def _scatter(self, system: str) -> list[list[str]]:
        """Return between what the results at the edge lie in other draws of years."""
        return [[quantities.text(end, RESULTS[name], system, DIGITS) for end in ends]
                for name, ends in self.draws.items()]  # fmt: skip

    def _rounded(self, edge: int, up: bool, system: str) -> str:
        """Return the edge, rounded to the side that meets what is asked."""
        number, unit = quantities.show(float(self.tried[edge]), self.quantity, system)
        scale = 10.0 ** (np.floor(np.log10(abs(number))) - DIGITS + 1)
        places = number / scale
        told = scale * (np.ceil(places * (1 - 1e-9)) if up else np.floor(places * (1 + 1e-9)))
        return f"{told:.{DIGITS + 2}g} {unit}".strip()

    def document(self, system: str = "si") -> dict[str, Any]:
        """Return everything as plain data."""

        def show(value: float, quantity: str) -> dict[str, Any]:
            told, unit = quantities.show(float(value), quantity, system)
            return {"value": told, "unit": unit}

        edge = self.edge
        rows = [
            {"setting": show(size, self.quantity), "met": bool(met)}
            | {name: show(row[n], RESULTS[name]) for name, row in self.results.items()}
            for n, (size, met) in enumerate(zip(self.tried, self.met, strict=True))
        ]
        return {
            "treatsim": treatsim.__version__,
            "adjust": self.address,
            "found": self.found,
            "now": show(self.now, self.quantity),
            "until": [target.text for target in self.targets],
            "edge": None if edge is None else show(self.tried[edge], self.quantity),
            "met": "everywhere" if self.met.all() else "nowhere" if edge is None
            else "above" if self.met[-1] else "below",
            "tried": rows,
            "between_draws": {
                name: [show(end, RESULTS[name]) for end in ends]
                for name, ends in self.draws.items()
            },
            "not_met_in_case": list(self.missed),
            "not_judged": list(self.open),
        }  # fmt: skip


def find_year(
    case: Any, address: str, wanted: Sequence[Target],
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Sizes:  # fmt: skip
    """Find the size of something for which the years of a case meet what is asked.

    Parameters
    ----------
    case : Case
        With the tables that `treatsim year` needs.
    address : str
        One input of [array], [battery], [operation] or [loads], or the volume of a storage tank.
    wanted : sequence of Target
        Targets of results of the year.
    progress : callable
        Called with steps done and steps in all.

    Returns
    -------
    Sizes

    Raises
    ------
    RequestError
        An input or a result that this cannot be asked of.
    NoSolutionError
        The train has no answer at its setting.
    """
    limits = [limit_of(target) for target in wanted]
    item, now = adjusted(case, address)
    ready = prepared(case, Path(case.path).parent)
    low, high = (
        max(now / REACH, item.metadata["low"]), min(now * REACH, item.metadata["high"]),
    )  # fmt: skip
    tried = np.unique(np.append(np.geomspace(max(low, now * 1e-3), high, PLACES), now))
    tried = tried[[field_problem(item, float(v)) is None for v in tried]]
    water: list[Array] = []
    sizes, found = np.zeros(0), {name: np.zeros(0) for name in (*(t.address for t in wanted), FIT)}
    for number in range(ROUNDS):
        at_sizes = results_at(
            case, ready, [{address: float(size)} for size in tried],
            partial(of_parts, progress, number, ROUNDS),
        )  # fmt: skip
        rows = at_sizes.results
        rows[FIT] = fits(case, address, tried)
        demand_told(wanted, rows)
        order = np.argsort(np.append(sizes, tried), kind="stable")
        sizes = np.append(sizes, tried)[order]
        water = [(water + at_sizes.water)[n] for n in order]
        found = {name: np.append(found[name], rows[name])[order] for name in found}
        fit = np.asarray(found[FIT] > 0)
        met = are_met(wanted, limits, found) & fit
        shown = {name: row for name, row in found.items() if name != FIT}
        told = Sizes(address, item.metadata["kind"], now, tuple(wanted), sizes, shown, met,
                     ready.missed, ready.open, fit)  # fmt: skip
        if told.edge is None:
            return told
        other = told.edge + (-1 if met[-1] else 1)
        ends = sorted((float(sizes[told.edge]), float(sizes[other])))
        tried = np.geomspace(ends[0], ends[1], PLACES)[1:-1]
    assert told.edge is not None
    draws = of_other_draws(water[told.edge], case.sections.get("people"))
    return dataclasses.replace(told, draws={k: v for k, v in draws.items() if k in told.results})
