"""A whole year at once: its stretches walked side by side, and joined where they meet.

What a battery holds is soon forgotten: full, or drawn to its reserve, it no longer tells what it
held before. So each stretch of the year is walked from some days before it, from a battery half
full, together with all others; where the state with which one begins is not that with which the
one before ends, it is walked again from there, until all meet. The first one follows the last.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.errors import TreatsimError
from treatsim.running.dispatch import Trace, begin, closed, product, run_up, stretch
from treatsim.running.plan import joined
from treatsim.running.plant import Scenario, over_time
from treatsim.running.walk import State

SPAN, BEFORE = 5, 10  # days of a stretch, at least, and of running before it
WIDEST = 2_000  # stretches and scenarios side by side: more take longer than the steps they save
CELLS = 100_000  # steps and scenarios told at once: small enough for the processor's memory
MEETS = 1e-12  # of a battery, a tank or a start: rounding
FOLLOWED = 730  # days for which the end of the year is followed into its beginning, at most

Progress = Callable[[int, int], None]


def year_together(
    scenarios: Sequence[Scenario], step: float, progress: Progress = lambda done, total: None
) -> tuple[Trace, Array]:
    """Walk scenarios through a year that begins as it ends.

    Parameters
    ----------
    scenarios : sequence of Scenario
        Of equally many steps, whole days.
    step : float
        Length of a step. [s]
    progress : callable
        Called with steps done and steps in all.

    Returns
    -------
    tuple of Trace and ndarray
        What happened in the first scenario, (steps, its years); the water of all, one after the
        other on the last axis. [m3]

    Raises
    ------
    TreatsimError
        Energy is not `closed`: a fault of this program.

    Validity
    --------
    As `stretch`. A battery or a tank that forgets nothing in FOLLOWED days begins the year as
    these leave it.

    Source
    ------
    Energy balance.
    """
    return _Year(scenarios, step, progress).walked()


def without_bounds(scenarios: Sequence[Scenario], step: float, before: int) -> tuple[Array, Array]:
    """Walk scenarios whose battery holds everything and loses nothing, with no load but the train.

    Parameters
    ----------
    scenarios : sequence of Scenario
        With the bounds of `Change(bank=False)` lifted; of their records only sun, train, battery
        and the charge at the start count.
    step : float
        Length of a step. [s]
    before : int
        Steps from the end of the year that are walked first, and not told.

    Returns
    -------
    tuple of ndarray
        Water, (steps, scenarios) [m3]; what the battery holds more at the end of the year, of all
        scenarios. [J]

    Validity
    --------
    As `year_together`.

    Source
    ------
    Energy balance.
    """
    whole = joined(scenarios)
    sun, steps = whole.sun, len(whole.sun)
    low, full = (
        np.broadcast_to(a, (steps, np.shape(a)[-1]))
        for a in (np.asarray(whole.train.low) * (1 - 1e-12), whole.train.full)
    )
    power = np.empty(sun.shape)
    stored, first = begin(whole).stored.total / step, np.zeros(sun.shape[1])
    for n in range(-before, steps):
        if n == 0:
            first = stored
        have = stored + sun[n]
        taken = np.minimum(full[n], have)
        taken *= taken >= low[n]
        power[n] = taken
        stored = have - taken
    open_ = np.abs(np.sum(sun - power, axis=0) - (stored - first)) * step
    if not closed(open_, np.sum(sun, axis=0) * step):
        raise TreatsimError(f"energy of a year is open by {np.max(open_):.3g} J")
    return product(power, whole.train.power, whole.train.flow) * step, (stored - first) * step


def parts_of(days: int, lanes: int) -> int:
    """Return into how many equal stretches of whole days a year is parted."""
    most = min(days // SPAN, WIDEST // lanes)
    return max(k for k in range(1, max(most, 1) + 1) if days % k == 0)


class _Year:
    """The stretches of a year on the first of two axes, scenarios on the last."""

    def __init__(self, scenarios: Sequence[Scenario], step: float, progress: Progress) -> None:
        self.scenarios, self.step, self.progress = tuple(scenarios), step, progress
        self.steps, self.per_day = len(scenarios[0].sun), round(DAY / step)
        self.lanes = sum(side.sun.shape[1] for side in scenarios)
        self.parts = parts_of(self.steps // self.per_day, self.lanes)
        self.length = self.steps // self.parts
        shape = (self.parts, self.length)
        self.own = scenarios[0].sun.shape[1]
        self.told = Trace(*(np.empty((*shape, self.own)) for _ in Trace._fields))
        self.water = np.empty((*shape, self.lanes))

    def walked(self) -> tuple[Trace, Array]:
        """Walk all stretches until they meet, and return what happened."""
        begins = self._run_up()
        ends, rounds = self._tell(begins), 0
        capacity = self._piece(0, 1).bank.capacity
        while True:
            before = _each(lambda a: np.roll(a, 1, axis=0), ends)
            apart = ~_meet(before, begins, capacity)
            apart[0] &= rounds * self.length < FOLLOWED * self.per_day
            pairs = np.nonzero(apart)
            if pairs[0].size == 0:
                break
            own = _at(before, pairs)
            begins, ends = _put(begins, own, pairs), _put(ends, self._tell(own, pairs), pairs)
            rounds += 1
        self._hold(begins, ends)
        told = Trace(*(row.reshape(self.steps, self.own) for row in self.told))
        return told, self.water.reshape(self.steps, self.lanes)

    def _piece(self, first: int, last: int) -> Scenario:
        """Return some rows of every stretch, scenarios on the last axis."""
        starts = np.arange(self.parts) * self.length
        rows = (np.arange(first, last)[:, None] + starts) % self.steps
        return joined(over_time(self.scenarios, self.steps, rows))

    def _pieces(self, first: int, last: int, width: int) -> list[tuple[int, int]]:
        size = max(CELLS // width // self.per_day, 1) * self.per_day
        return [(n, min(n + size, last)) for n in range(first, last, size)]

    def _run_up(self) -> State:
        """Return the state before every stretch, as some days of running leave it."""
        state = begin(self._piece(0, 1))
        for first, last in self._pieces(-BEFORE * self.per_day, 0, self.parts * self.lanes):
            state = run_up(self._piece(first, last), state, self.step)
        return state

    def _tell(self, state: State, pairs: Any = None) -> State:
        """Walk stretches, all or pairs of stretch and scenario; return the states at their ends.

        What happens is put down. Pairs lie on the first of the two axes of a state, alone.
        """
        state = state._replace(open=np.zeros_like(state.level))
        width = self.parts * self.lanes if pairs is None else pairs[0].size
        for first, last in self._pieces(0, self.length, width):
            side = self._piece(first, last)
            if pairs is not None:
                side = _picked(side, *pairs)
            trace, state = stretch(side, state, self.step)
            for own, rows in zip((*self.told, self.water), (*trace, trace.water), strict=True):
                if pairs is None:
                    own[:, first:last] = np.moveaxis(rows[..., : own.shape[-1]], 0, 1)
                else:
                    told = pairs[1] < own.shape[-1]
                    own[pairs[0][told], first:last, pairs[1][told]] = rows[:, told, 0].T
            if pairs is None:
                self.progress(self.steps * last // self.length, self.steps)
        return state

    def _hold(self, begins: State, ends: State) -> None:
        """Hold the energy of the year to its balance, what is open at the joints included."""
        joints = np.abs(begins.stored.total[1:] - ends.stored.total[:-1])
        joints[joints <= MEETS * self._piece(0, 1).bank.capacity] = 0.0  # they have met
        open_ = np.abs(np.sum(ends.open, axis=0)) + np.sum(joints, axis=0)
        sun = np.concatenate([np.sum(side.sun, axis=0) for side in self.scenarios])
        if not closed(open_, sun * self.step):
            raise TreatsimError(f"energy of a year is open by {np.max(open_):.3g} J")


def _each(change: Callable[[Array], Array], state: Any) -> Any:
    """Return a state with every array changed."""
    if isinstance(state, tuple):
        return type(state)._make(_each(change, part) for part in state)  # type: ignore[attr-defined]
    return change(state)


def _at(state: State, pairs: Any) -> State:
    """Return pairs of stretch and scenario of a state, each alone on the last axis."""
    found: State = _each(lambda a: a[pairs][:, None], state)
    return found


def _put(state: Any, part: Any, pairs: Any) -> Any:
    """Return a state that is another one at some pairs."""
    if isinstance(state, tuple):
        found = (_put(own, new, pairs) for own, new in zip(state, part, strict=True))
        return type(state)._make(found)  # type: ignore[attr-defined]
    state = np.array(state)
    state[pairs] = part[:, 0]
    return state


def _picked(side: Scenario, parts: Array, lanes: Array) -> Scenario:
    """Return pairs of stretch and scenario, each alone on the last axis."""
    curve = [a[:, parts] if a.ndim > 2 else a for a in (side.train.power, side.train.flow)]
    none: dict[str, Any] = {"power": None, "flow": None, "starts_at": None}
    found = _pairs_of(side._replace(train=side.train._replace(**none)), parts, lanes)
    told = {"power": curve[0], "flow": curve[1], "starts_at": side.train.starts_at}
    return found._replace(train=found.train._replace(**told))


def _pairs_of(record: Any, parts: Array, lanes: Array) -> Any:
    if isinstance(record, tuple):
        return type(record)._make(_pairs_of(part, parts, lanes) for part in record)  # type: ignore[attr-defined]
    if not isinstance(record, np.ndarray) or record.ndim == 0:
        return record
    own = lanes if record.shape[-1] > 1 else 0 * lanes
    return (record[:, parts, own] if record.ndim > 2 else record[..., own])[..., None]


def _meet(end: State, start: State, capacity: Array) -> Any:
    """Tell of each stretch and scenario whether a state is the other, but for rounding."""
    near = [
        np.abs(a - b) <= MEETS * most
        for a, b, most in (
            (end.stored.total, start.stored.total, capacity),
            (end.stored.available, start.stored.available, capacity),
            (end.level, start.level, np.maximum(end.level, 1e-3)),
            (end.owed, start.owed, 1.0),
            (end.left, start.left, 1.0),
        )
    ]
    return np.all([*near, end.running == start.running, end.begun == start.begun], axis=0)
