"""Every pair of two sizes that is just enough: how much battery saves how much array.

Of each size of the second a ladder is tried, of the first the least is looked for on every rung;
all pairs see the same drawn years. What a pair costs or weighs is for who builds it to judge: the
masses that a case states are carried in proportion to the sizes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.arrays import Array
from treatsim.errors import RequestError
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
    is_tank,
    limit_of,
    of_parts,
    results_at,
)

ARRAY, TANK = "array.peak_power", "operation.tank"
REACH, RUNGS, PLACES, INSIDE = 8.0, 7, 7, 6
ROUNDS = 3  # steps of the first size: twofold, 10.4 %, 1.4 % in the end
DIGITS = 3


class Pair(NamedTuple):
    """The least first size on one rung of the second."""

    second: float  # SI
    first: float  # SI; NaN where none is enough
    below: bool  # whether the smallest one tried is enough, so that less may be
    results: Mapping[str, float]  # asked for, at this pair, SI
    draws: Mapping[str, tuple[float, float]]  # of these, in other draws of years, SI
    mass: float | None  # of both, where the case states masses [kg]


@dataclass(frozen=True)
class Pairs:
    """The curve of pairs that are just enough."""

    addresses: tuple[str, str]
    kinds: tuple[str, str]
    now: tuple[float, float]  # SI
    largest: float  # of the first size tried, SI
    targets: tuple[Target, ...]
    pairs: tuple[Pair, ...]
    missed: tuple[str, ...]  # limits of the water missed at the setting in the case
    open: tuple[str, ...]  # not judged there

    @property
    def found(self) -> bool:
        """Whether any pair is enough, for water that misses no limit."""
        return not self.missed and any(np.isfinite(pair.first) for pair in self.pairs)

    @property
    def lightest(self) -> int | None:
        """Place of the pair with the least mass, None where masses are not stated."""
        masses = [np.inf if p.mass is None or np.isnan(p.first) else p.mass for p in self.pairs]
        return int(np.argmin(masses)) if np.isfinite(min(masses)) else None

    def _first(self, pair: Pair, system: str) -> str:
        """Return the least first size, rounded up."""
        if np.isnan(pair.first):
            return f"none to {self._size(self.largest, 0, system)}"
        number, unit = quantities.show(pair.first, self.kinds[0], system)
        scale = 10.0 ** (np.floor(np.log10(number)) - DIGITS + 1)
        told = scale * np.ceil(number / scale * (1 - 1e-9))
        return f"{'up to ' if pair.below else ''}{told:.{DIGITS + 2}g} {unit}"

    def _size(self, value: float, place: int, system: str) -> str:
        return quantities.text(value, self.kinds[place], system, DIGITS)

    def _rows(self, system: str) -> list[list[str]]:
        """Return the table, its heads first."""
        names = [target.address for target in self.targets]
        weighed = self.lightest is not None
        heads = [*reversed(self.addresses), *names, "in other draws"]
        rows = [heads + ["mass"] * weighed]
        for pair in self.pairs:
            told = [quantities.text(pair.results[n], RESULTS[n], system, DIGITS)
                    if pair.results else "" for n in names]  # fmt: skip
            draws = "; ".join(
                " to ".join(quantities.text(end, RESULTS[n], system, DIGITS) for end in ends)
                for n, ends in pair.draws.items()
            )
            row = [self._size(pair.second, 1, system), self._first(pair, system), *told, draws]
            heavy = "" if pair.mass is None else quantities.text(pair.mass, "weight", system, 2)
            rows.append(row + [heavy] * weighed)
        return rows

    def lines(self, system: str = "si") -> list[str]:
        """Return the answer in words."""
        first, second = self.addresses
        asked = " and ".join(target.text for target in self.targets)
        rows = self._rows(system)
        widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
        now = [self._size(value, n, system) for n, value in enumerate(self.now)]
        found = [f"least {first} for each {second}; {asked}"]
        found += ["  " + "  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=True))
                  for row in rows]  # fmt: skip
        if self.lightest is not None:
            light = self.pairs[self.lightest]
            found.append(f"  lightest of these: {self._first(light, system)} with "
                         f"{self._size(light.second, 1, system)}")  # fmt: skip
        elif {first, second} == {ARRAY, CAPACITY}:
            found.append("  state array.mass and battery.mass, and each pair is told with its mass")
        grow = "; charge and discharge power grow with the battery" * (CAPACITY in self.addresses)
        found.append(f"  the case has {now[0]} and {now[1]}; everything else as in the case{grow}")
        found.append(f"  {NO_CLOUDS}")
        found.append("  all see the same years; the first size is at most 1.4 % more than enough, "
                     "and no jump of starts between two tried ones is seen")  # fmt: skip
        found += [f"  NOT MET at the setting in the case: {words}; no size makes this water fit"
                  for words in self.missed]  # fmt: skip
        if self.open:
            found.append("  NOT JUDGED at the setting in the case: " + ", ".join(self.open))
        return found

    def document(self, system: str = "si") -> dict[str, Any]:
        """Return everything as plain data."""

        def show(value: float, quantity: str) -> dict[str, Any]:
            told, unit = quantities.show(float(value), quantity, system)
            return {"value": told, "unit": unit}

        first, second = self.addresses
        rows = [
            {second: show(p.second, self.kinds[1]),
             first: None if np.isnan(p.first) else show(p.first, self.kinds[0]),
             "less_may_do": p.below,
             "results": {name: show(value, RESULTS[name]) for name, value in p.results.items()},
             "between_draws": {name: [show(end, RESULTS[name]) for end in ends]
                               for name, ends in p.draws.items()},
             "mass": None if p.mass is None else show(p.mass, "weight")}
            for p in self.pairs
        ]  # fmt: skip
        return {
            "treatsim": treatsim.__version__,
            "adjust": list(self.addresses),
            "found": self.found,
            "now": {first: show(self.now[0], self.kinds[0]),
                    second: show(self.now[1], self.kinds[1])},
            "until": [target.text for target in self.targets],
            "pairs": rows,
            "not_met_in_case": list(self.missed),
            "not_judged": list(self.open),
        }  # fmt: skip


class _Rung:
    """One size of the second, and the first sizes tried with it, rising."""

    def __init__(self, second: float, tried: Array) -> None:
        self.second, self.next = second, tried
        self.sizes, self.met = np.zeros(0), np.zeros(0, bool)
        self.told: list[tuple[dict[str, float], Array]] = []

    def add(self, met: Array, told: list[tuple[dict[str, float], Array]]) -> None:
        """Sort in what was tried, and say what to try next."""
        order = np.argsort(np.append(self.sizes, self.next))
        self.sizes = np.append(self.sizes, self.next)[order]
        self.met = np.append(self.met, met)[order]
        self.told = [(self.told + told)[n] for n in order]
        edge = self.edge
        inside = 0 < edge < len(self.sizes)
        low, high = self.sizes[edge - 1 : edge + 1].tolist() if inside else (1.0, 1.0)
        self.next = np.geomspace(low, high, INSIDE + 2)[1:-1] if inside else np.zeros(0)

    @property
    def edge(self) -> int:
        """Place of the first size from which all are enough; their number if none is."""
        return len(self.met) - int(np.argmin(np.append(self.met[::-1], False)))


def find_pairs(
    case: Any, addresses: Sequence[str], wanted: Sequence[Target],
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Pairs:  # fmt: skip
    """Find the pairs of two sizes for which the years of a case just meet what is asked.

    Parameters
    ----------
    case : Case
        With the tables that `treatsim year` needs.
    addresses : sequence of str
        Two of array, battery and tank: the first is found, the second laid out in seven sizes from
        an eighth to eight times that of the case.
    wanted : sequence of Target
        Targets of results of the year.
    progress : callable
        Called with steps done and steps in all.

    Returns
    -------
    Pairs

    Raises
    ------
    RequestError
        Sizes or a result that this cannot be asked of.
    NoSolutionError
        The train has no answer at its setting.
    """
    limits = [limit_of(target) for target in wanted]
    (one, now_one), (two, now_two) = (_size_of(case, address) for address in addresses)
    if len({*addresses}) < 2:
        raise RequestError(f"--adjust {addresses[0]}: stands twice; two sizes belong here")
    ready = prepared(case, Path(case.path).parent)
    rungs = [_Rung(float(size), _ladder(one, now_one, PLACES))
             for size in _ladder(two, now_two, RUNGS)]  # fmt: skip
    for number in range(ROUNDS):
        own = [rung for rung in rungs for _ in rung.next]
        firsts = np.concatenate([rung.next for rung in rungs])
        if not own:
            break
        sizes = [{addresses[0]: float(size), addresses[1]: rung.second}
                 for rung, size in zip(own, firsts, strict=True)]  # fmt: skip
        tried = results_at(case, ready, sizes, partial(of_parts, progress, number, ROUNDS))
        demand_told(wanted, tried.results)
        met = are_met(wanted, limits, tried.results)
        for address, values in zip(addresses, (firsts, [r.second for r in own]), strict=True):
            met &= fits(case, address, np.asarray(values)) > 0
        shown = [{t.address: float(tried.results[t.address][n]) for t in wanted}
                 for n in range(len(own))]  # fmt: skip
        told = list(zip(shown, tried.water, strict=True))
        for rung in rungs:
            mine = [n for n, other in enumerate(own) if other is rung]
            rung.add(met[mine], [told[n] for n in mine])
    nows = (now_one, now_two)
    return Pairs(
        (addresses[0], addresses[1]), (one.metadata["kind"], two.metadata["kind"]), nows,
        float(_ladder(one, now_one, PLACES)[-1]), tuple(wanted),
        tuple(_pair(case, rung, tuple(addresses), nows) for rung in rungs), ready.missed,
        ready.open,
    )  # fmt: skip


def _size_of(case: Any, address: str) -> tuple[Any, float]:
    """Return declaration and value of a size, RequestError if more of it may be less."""
    if address not in (ARRAY, CAPACITY, TANK) and not is_tank(case, address):
        raise RequestError(
            f"--adjust {address}: over years two of {ARRAY}, {CAPACITY} and the volume of the tank "
            "are found together; another input is adjusted alone"
        )
    return adjusted(case, address)


def _ladder(item: Any, now: float, places: int) -> Array:
    """Return sizes around the present one that may be written."""
    sizes = np.geomspace(now / REACH, now * REACH, places)
    return sizes[[field_problem(item, float(size)) is None for size in sizes]]


def _pair(case: Any, rung: _Rung, addresses: tuple[str, ...], now: tuple[float, float]) -> Pair:
    """Return the least first size of a rung, with what it gives."""
    edge = rung.edge
    if edge == len(rung.sizes):
        return Pair(rung.second, float("nan"), False, {}, {}, None)
    first, (results, water) = float(rung.sizes[edge]), rung.told[edge]
    draws = of_other_draws(water, case.sections.get("people"))
    mass = _mass(case, dict(zip(addresses, (first / now[0], rung.second / now[1]), strict=True)))
    own = {name: ends for name, ends in draws.items() if name in results}
    return Pair(rung.second, first, edge == 0, results, own, mass)


def _mass(case: Any, grown: Mapping[str, float]) -> float | None:
    """Return the mass of array and battery by what they grow to, None if it is not stated. [kg]"""
    masses = [case.sections[table].mass for table in ("array", "battery")]
    if set(grown) != {ARRAY, CAPACITY} or None in masses:
        return None
    return float(masses[0] * grown[ARRAY] + masses[1] * grown[CAPACITY])
