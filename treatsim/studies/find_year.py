"""How large array, battery or tank must be for what is asked of the years of a case.

All sizes tried see the same drawn years, so that a larger one is never worse by chance of the draw.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.errors import RequestError
from treatsim.operations.parameters import field_problem
from treatsim.running.dispatch import Trace
from treatsim.running.plan import Plan, plan_of, scenario, walked
from treatsim.running.prepared import Prepared, prepared
from treatsim.running.year import RESULTS, by_day, values
from treatsim.safety.verdict import NOT_MET, judge
from treatsim.studies.requirements import Target

PREFIX = "year."
TABLES = ("array", "battery", "operation", "loads")
OF_THE_TRAIN = ("loads.inverter_efficiency", "operation.least_run")  # change it as a load
PER_DAY = ("/day", "/d")
OF_A_START = ("operation.warm_up", "operation.warm_up_power", "operation.flush")
FIT = "fit"  # whether a size of a unit misses no limit that is met now
PLACES = 13  # sizes tried at once
RUN_UP = 365  # days before the year, which begins as it ends, as `year` tells it
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
        if not self.fit.all():
            found.append("  sizes that miss a limit which is met in the case count as not met")
        found.append(
            "  everything else as in the case, the other sizes too; all see the same years"
        )
        found += [f"  NOT MET at the setting in the case: {words}; no size makes this water fit"
                  for words in self.missed]  # fmt: skip
        if self.open:
            found.append("  NOT JUDGED at the setting in the case: " + ", ".join(self.open))
        return found

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
            "not_met_in_case": list(self.missed),
            "not_judged": list(self.open),
        }  # fmt: skip


def find_year(
    case: Any, addresses: Sequence[str], wanted: Sequence[Target],
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Sizes:  # fmt: skip
    """Find the size of something for which the years of a case meet what is asked.

    Parameters
    ----------
    case : Case
        With the tables that `treatsim year` needs.
    addresses : sequence of str
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
    limits = [_limit(target) for target in wanted]
    if len(addresses) != 1:
        raise RequestError("over years one input is adjusted at a time: give one --adjust")
    address = addresses[0]
    item, now = _adjusted(case, address)
    ready = prepared(case, Path(case.path).parent)
    low, high = (
        max(now / REACH, item.metadata["low"]), min(now * REACH, item.metadata["high"]),
    )  # fmt: skip
    tried = np.unique(np.append(np.geomspace(max(low, now * 1e-3), high, PLACES), now))
    tried = tried[[field_problem(item, float(v)) is None for v in tried]]
    sizes, found = np.zeros(0), {name: np.zeros(0) for name in (*(t.address for t in wanted), FIT)}
    for number in range(ROUNDS):
        rows = _results(
            case, ready, address, tried,
            partial(_of_rounds, progress, number),
        )  # fmt: skip
        rows[FIT] = _fit(case, address, tried)
        _demand_told(wanted, rows)
        order = np.argsort(np.append(sizes, tried), kind="stable")
        sizes = np.append(sizes, tried)[order]
        found = {name: np.append(found[name], rows[name])[order] for name in found}
        fit = np.asarray(found[FIT] > 0)
        met = _met(wanted, limits, found) & fit
        shown = {name: row for name, row in found.items() if name != FIT}
        told = Sizes(address, item.metadata["kind"], now, tuple(wanted), sizes, shown, met,
                     ready.missed, ready.open, fit)  # fmt: skip
        if told.edge is None:
            break
        other = told.edge + (-1 if met[-1] else 1)
        ends = sorted((float(sizes[told.edge]), float(sizes[other])))
        tried = np.geomspace(ends[0], ends[1], PLACES)[1:-1]
    return told


def _of_rounds(progress: Callable[[int, int], None], number: int, done: int, total: int) -> None:
    progress(number * total + done, ROUNDS * total)


def _fit(case: Any, address: str, sizes: Array) -> Array:
    """Return 1 where a size of a unit misses no limit that is met now, and 0 where it does."""
    if address.partition(".")[0] in TABLES:
        return np.ones(sizes.size)
    now = case.field(address)[1]
    verdict = judge(case.solve({address: np.append(sizes, now)}))
    shape = (sizes.size + 1,)
    states = [np.broadcast_to(limit.states, shape) for limit in verdict.limits]
    worse = [row != row[-1] for row in states if row[-1] != NOT_MET]
    return 1.0 - np.any(worse, axis=0)[:-1] if worse else np.ones(sizes.size)


def _met(wanted: Sequence[Target], limits: Sequence[float], found: dict[str, Array]) -> Any:
    met: Any = np.ones(len(next(iter(found.values()))), bool)
    for target, limit in zip(wanted, limits, strict=True):
        row = found[target.address]
        met &= row >= limit if target.relation == ">=" else row <= limit
    return met


def _limit(target: Target) -> float:
    """Return what a target asks for, in SI; RequestError if it is no result of the year."""
    if target.address not in RESULTS:
        raise RequestError(
            f'--until "{target.text}": over years a result of the year is asked for, one of '
            f"{', '.join(RESULTS)}"
        )
    try:
        return float(quantities.read(target.value, RESULTS[target.address]))
    except RequestError as error:
        per_day = RESULTS[target.address] == "volume" and target.value.rstrip().endswith(PER_DAY)
        more = "; it is the water of a day already, so leave /day out" if per_day else ""
        raise RequestError(f'--until "{target.text}": {error}{more}') from error


def _adjusted(case: Any, address: str) -> tuple[dataclasses.Field, float]:
    """Return declaration and value of what is adjusted; RequestError if it cannot be."""
    table = address.partition(".")[0]
    if (table not in TABLES and not _is_tank(case, address)) or address in OF_THE_TRAIN:
        raise RequestError(
            f"--adjust {address}: for results of the year a size of [array], [battery], "
            "[operation] or [loads], or the volume of a storage tank is adjusted, such as "
            "array.peak_power, battery.capacity, operation.tank"
        )
    item = case.numeric(address)
    now = case.field(address)[1]
    if now is None or not np.ndim(now) == 0 or not float(now) > 0:
        raise RequestError(
            f"--adjust {address}: needs a value above 0 in the case, to start from; try --set"
        )
    return item, float(now)


def _is_tank(case: Any, address: str) -> bool:
    """Whether an input of a unit is the volume that it holds."""
    unit = case.flowsheet().units.get(address.partition(".")[0])
    volume = None if unit is None else unit.usable_volume()
    if volume is None:
        return False
    item, value = case.field(address)
    return item.metadata["kind"] == "volume" and value == volume


def _sized(case: Any, address: str, size: float) -> Any:
    """Return the case with a size changed."""
    table, _, name = address.partition(".")
    records = "sections" if table in TABLES else "parameters"
    own = getattr(case, records)
    changed = dataclasses.replace(own[table], **{name: size})
    return case.changed(**{records: {**own, table: changed}})


def _results(
    case: Any, ready: Prepared, address: str, sizes: Array, progress: Callable[[int, int], None]
) -> dict[str, Array]:
    """Return every result of the year at sizes, in one walk."""
    people = case.sections.get("people")
    plans: list[Plan] = []
    for size in sizes:
        own = _sized(case, address, float(size))
        start = plans[0].train if plans and address not in OF_A_START else None
        plans.append(plan_of(own, own.sections, ready.weather, ready.curve, train=start))
    step = plans[0].step
    sides, before = [scenario(plan) for plan in plans], round(RUN_UP * DAY / step)
    pieces = [by_day(piece, step) for piece in walked(sides, step, before, progress)]
    rows = [np.concatenate(parts) for parts in zip(*pieces, strict=True)]
    whole = [np.split(row, len(sizes), axis=1) for row in rows]
    told = [values(plan, Trace(*rows), people)
            for plan, rows in zip(plans, zip(*whole, strict=True), strict=True)]  # fmt: skip
    return {name: np.array([float(t[name].value) for t in told]) for name in told[0]}


def _demand_told(wanted: Sequence[Target], found: dict[str, Array]) -> None:
    """Raise RequestError if the case does not tell a result that is asked for."""
    for target in wanted:
        if target.address not in found:
            raise RequestError(
                f'--until "{target.text}": this case does not tell it; a table [people] is needed, '
                "for days short at the tap also people.number and a tank"
            )
