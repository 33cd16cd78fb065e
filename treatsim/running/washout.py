"""A reactor washed out while flow, light and water change: equal tanks in series, over time.

States: what was pumped so far, and in every tank the survival of the two germs whose doses are
credited and the absorption of the water. SciPy integrates from one change of course to the next;
the moments at which a dose or a sensor passes its mark are its events. Until the line is full the
water in the chamber counts as water without light: the start is told too late, not too early.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.operations.uv_exposure import FAINT, Exposure
from treatsim.running.schedule import Schedule
from treatsim.running.start_flow import spline

RTOL = 1e-7
LEAST = 1e-18  # of a survival, absolute: far below any that a dose asks for, and no smaller steps
SHADES = 9  # absorptions at which the light of clear to dull water is worked out
LEAST_STEPS = 50  # of a piece in which only what was pumped is followed
LEAST_STEP = 1e-9  # s; of two changes of course nearer than this, one


Flow = Callable[[float], float]


class Light(NamedTuple):
    """What the warm lamp does, in one water or in waters from clear to dull, one at a time."""

    rate: Callable[[float], float]  # mean fluence rate, W/m2
    reading: Callable[[float], float]  # of the sensor, over that in the case's own water
    # logarithm of the survival of each germ at the required dose
    most: Callable[[float], tuple[float, float]]
    one_water: bool
    shades: tuple[float, float]  # absorption of the case's water and of dull water, 1/m


class Arrivals(NamedTuple):
    """When what comes from the source has come to a reactor."""

    full: float = 0.0  # s; 0 if the line stood full
    shades: tuple[tuple[float, str], ...] = ()  # (s, "dull" or "clear"), by time


class Reported(NamedTuple):
    """A chamber told by a report of steady run: what water leaves it is told by the moment.

    Bad water counts as there at once, good water when the chamber is washed out.
    """

    volume: float  # m3
    credited: Callable[[Any, Any], Array]  # dose over flow [m3/s] and share of light, J/m2
    tanks: int = 0  # whose states are followed


class Watched(NamedTuple):
    """Marks whose passing is an event; None for what nobody watches."""

    required: float | None  # dose, J/m2
    reading: float | None  # share of the steady reading
    flow: float | None  # of all water, m3/s
    metered: Flow | None = None  # all water over the share of the dial [m3/s]; None for its own


@dataclass(frozen=True)
class Course:
    """A solved transient."""

    pieces: tuple[Any, ...]  # SciPy's dense solutions, each from its first to its last time
    exposure: Exposure | Reported
    signals: dict[str, list[tuple[float, bool]]]  # (time, whether it is as it should be from then)

    @cached_property
    def ends(self) -> Array:
        """Borders of the pieces. [s]"""
        return np.array([self.pieces[0].t_min, *(piece.t_max for piece in self.pieces)])

    def states(self, time) -> Array:
        """Return the states at `time` [s], shape (states, ...)."""
        time = np.atleast_1d(np.asarray(time, float))
        number = np.clip(
            np.searchsorted(self.ends, time, side="right") - 1, 0, len(self.pieces) - 1
        )
        found = np.empty((1 + 3 * self.exposure.tanks, time.size))
        for piece in np.unique(number):
            found[:, number == piece] = self.pieces[piece](time[number == piece])
        return found

    def mean_dose(self, time) -> tuple[Array, Array]:
        """Return mean doses (2, ...) [J/m2] and absorption (...) [1/m] behind the reactor."""
        tanks = self.states(time)[1:].reshape(self.exposure.tanks, 3, -1)
        assert isinstance(self.exposure, Exposure)
        return self.exposure.mean_dose(tanks[-1, :2]), np.max(tanks[:, 2], axis=0)


def light_of(exposure: Exposure, required: float | None, clear: float, dull: float | None) -> Light:
    """Return the light of water between clear and dull. absorption [1/m], required [J/m2]"""
    shades = np.array([clear]) if dull is None or dull <= clear else _shades(clear, dull)
    field = exposure.field(shades)
    mark = np.zeros((2, shades.size))
    if required is not None:  # a dose that no light gives asks for no survival at all
        mark = np.log(np.maximum(exposure.survival(exposure.least_mean(required, shades)), FAINT))
    if shades.size == 1:
        shone, limit = float(field.mean[0]), (float(mark[0, 0]), float(mark[1, 0]))
        return Light(lambda _: shone, lambda _: 1.0, lambda _: limit, True, (clear, clear))
    logs = np.log(field.mean), np.log(field.irradiance_at_wall / field.irradiance_at_wall[0])
    rate, seen, first, second = (spline(shades, row) for row in (*logs, *mark))
    return Light(
        lambda a: math.exp(rate(a)),
        lambda a: math.exp(seen(a)),
        lambda a: (first(a), second(a)),
        False,
        (clear, float(shades[-1])),
    )


def _shades(clear: float, dull: float) -> Array:
    return np.linspace(clear, dull, SHADES)


class _Reactor:
    """The right-hand side and the events, in the order of the states: germ, germ, water."""

    def __init__(self, exposure: Exposure, light: Light, plan: Schedule, flow: Flow,
                 watched: Watched):  # fmt: skip
        self.light, self.plan, self.source, self.tanks = light, plan, flow, exposure.tanks
        self.watched = watched
        self.running, self.absorption = False, 0.0
        self.slope_of_tanks = exposure.tanks / exposure.volume
        self.rates = np.tile([*exposure.rates, 0.0], exposure.tanks)
        self.above = np.empty(3 * exposure.tanks)  # what flows into each tank

    def enter(self, time: float, knot: float) -> None:
        """Look up what holds from `time` to the next knot [s], which belongs to what follows."""
        self.until = math.nextafter(knot, 0.0)
        self.shine, self.dial = self.plan.course(time, self.until)

    def flow(self, time: float) -> float:
        """Return the flow. [m3/s]"""
        return self.source(self.dial(min(time, self.until)))

    def slope(self, time: float, state: Array) -> Array:
        """Return how fast every state changes."""
        flow = self.flow(time)
        change = np.zeros(state.size)
        change[0] = flow
        if not self.running:
            return change
        tanks, above = state[1:], self.above
        above[0] = above[1] = 1.0
        above[2] = self.absorption
        above[3:] = tanks[:-3]
        shone = self.shine(time)
        lit: Any = shone * self.light.rate(tanks[2])
        if not self.light.one_water:
            rates = [self.light.rate(water) for water in tanks[2::3].tolist()]
            lit = shone * np.repeat(rates, 3)
        change[1:] = (above - tanks) * (flow * self.slope_of_tanks) - lit * self.rates * tanks
        return change

    def dose_margin(self, time: float, state: Array) -> float:
        """Logarithm of what may survive over what survives, of the worse germ."""
        first, second = self.light.most(0.0 if self.light.one_water else max(state[3::3].tolist()))
        return min(
            first - math.log(max(state[-3], FAINT)), second - math.log(max(state[-2], FAINT))
        )

    def reading_margin(self, time: float, state: Array) -> float:
        """Sensor's reading less its set point; it looks at the middle of the chamber."""
        middle = float(state[3 * (self.tanks // 2) + 3])
        seen = self.shine(time) * self.light.reading(middle)
        return seen - (self.watched.reading or 0.0)

    def flow_margin(self, time: float, _: Array) -> float:
        """Flow at which the interlock shuts less the flow."""
        metered = self.watched.metered or self.source
        return (self.watched.flow or np.inf) - metered(self.dial(min(time, self.until)))

    def margins(self) -> dict[str, Callable[[float, Array], float]]:
        """Return what is watched, by name: above zero is as it should be."""
        told = {"dose": self.dose_margin, "reading": self.reading_margin, "flow": self.flow_margin}
        marks = zip(told, self.watched[: len(told)], strict=True)
        return {name: told[name] for name, mark in marks if mark is not None}


class _ReportedReactor(_Reactor):
    """A reactor of a report: its only state is what was pumped."""

    def __init__(self, exposure: Reported, plan: Schedule, flow: Flow, watched: Watched):
        self.credited, self.plan, self.source, self.watched = (
            exposure.credited, plan, flow, watched
        )  # fmt: skip
        self.running, self.absorption, self.tanks = False, 0.0, 0

    def slope(self, time: float, state: Array) -> Array:
        """Return the flow."""
        return np.array([self.flow(time)])

    def dose_margin(self, time: float, state: Array) -> float:
        """Dose by the report at this moment over the dose asked for, less one."""
        dose = float(self.credited(self.flow(time), self.shine(time)))
        return dose / (self.watched.required or np.inf) - 1.0

    def reading_margin(self, time: float, state: Array) -> float:
        """Sensor's reading less its set point."""
        return self.shine(time) - (self.watched.reading or 0.0)


def _reactor(exposure, light, plan: Schedule, flow: Flow, watched: Watched) -> _Reactor:
    if isinstance(exposure, Reported):
        return _ReportedReactor(exposure, plan, flow, watched)
    return _Reactor(exposure, light, plan, flow, watched)


def wash_out(
    exposure: Exposure | Reported,
    light: Light | None,
    plan: Schedule,
    flow: Flow,
    arrivals: Arrivals,
    watched: Watched,
    end: float,
    *,
    rtol: float = RTOL,
) -> Course:
    """Return the course of a start and of what happens after it.

    light: of a chamber that is known, None for one told by a report; flow: through it, of a single
    share of the dial -> [m3/s]; end [s]. Integrated to `rtol` of every state.
    """
    reactor = _reactor(exposure, light, plan, flow, watched)
    shades = (0.0, 0.0) if light is None else light.shades
    state = np.concatenate([[0.0], np.tile([1.0, 1.0, shades[0]], exposure.tanks)])
    reactor.running, reactor.absorption = arrivals.full <= 0, shades[0]
    marks = sorted([(arrivals.full, "full"), *arrivals.shades])
    time, pieces = 0.0, []
    signals: dict[str, list[tuple[float, bool]]] = {name: [] for name in reactor.margins()}
    knots = [*sorted({k for k in (*plan.knots, *(t for t, _ in marks)) if 0 < k < end}), end]
    for knot in knots:
        if knot - time <= LEAST_STEP:
            continue
        while marks and marks[0][0] - time <= LEAST_STEP:
            _pass(reactor, marks.pop(0)[1], shades)
        reactor.enter(time, knot)
        piece = _piece(reactor, (time, knot), state, rtol)
        _note(signals, reactor, piece, time, state)
        pieces.append(piece.sol)
        time, state = float(piece.t[-1]), piece.y[:, -1]
    return Course(tuple(pieces), exposure, signals)


def _pass(reactor: _Reactor, word: str, shades: tuple[float, float]) -> None:
    """Do what a moment brings: the line is full, dull water arrives or has gone by."""
    if word == "full":
        reactor.running = True
    else:
        reactor.absorption = shades[1] if word == "dull" else shades[0]


def _piece(reactor: _Reactor, span: tuple[float, float], state: Array, rtol: float):
    from scipy.integrate import solve_ivp

    events: list[Any] = list(reactor.margins().values())
    least = np.tile([LEAST, LEAST, 1e-9], reactor.tanks)
    band: dict[str, Any] = {"lband": 3, "uband": 2}
    if not reactor.tanks:  # one smooth state: steps so short that no passing slips between them
        band = {"max_step": (span[1] - span[0]) / LEAST_STEPS}
    return solve_ivp(
        reactor.slope,
        span,
        state,
        "LSODA",
        events=events,
        dense_output=True,
        rtol=rtol,
        atol=np.concatenate([[1e-12], least]),
        **band,
    )


def _note(signals, reactor: _Reactor, piece, time: float, state: Array) -> None:
    """Write down how every signal stands at the start of a piece, and its passings within."""
    for (name, margin), passed in zip(reactor.margins().items(), piece.t_events, strict=True):
        rows = signals[name]
        good = margin(time, state) >= 0 and (name != "dose" or reactor.running)
        if not rows or rows[-1][1] != good:
            rows.append((time, bool(good)))
        for moment in passed:
            if moment > time:
                rows.append((float(moment), not rows[-1][1]))
