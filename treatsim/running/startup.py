"""From switching on to water that meets its dose, and what passes when something fails."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from treatsim.correlations.hydraulics.friction import closing_surge, surge_head, velocity
from treatsim.running.start_events import Event, one_lamp_each
from treatsim.running.start_run import Run, lights_of, solve_run
from treatsim.running.start_train import Train, train_of
from treatsim.running.washout import (
    RTOL,
    Course,
)

NOTHING = 1e-9  # m3; a microlitre under dose is rounding


@dataclass(frozen=True)
class Startup:
    """What `treatsim startup` answers."""

    case: Any
    train: Train
    clean: Run  # nothing happens
    run: Run  # with the events

    @property
    def opens(self) -> float:
        """Moment from which on the product valve opens and stays so; inf if it never does. [s]"""
        stays = self.clean.valve.opens and float(self.clean.valve.at(self.clean.end)) > 0
        return self.clean.valve.opens[-1] if stays else float(np.inf)

    @property
    def before_met(self) -> float:
        """What comes out before the dose is met: the least that must go to waste. [m3]"""
        return sum(self.clean.between(0.0, min(self.clean.met, self.clean.end)))

    @property
    def wasted(self) -> float:
        """What the valve leads to waste until it stands open. [m3]"""
        return self.clean.passage().waste

    @property
    def judged(self) -> bool:
        """Whether a dose is asked for."""
        return self.train.judged

    @cached_property
    def under_dose(self) -> float:
        """Water under dose that reaches the product, at the start or after what happens. [m3]"""
        told = (self.clean.passage().under_dose, self.run.passage().under_dose)
        return max((value or 0.0) for value in told)

    @property
    def endless(self) -> bool:
        """Whether water under dose still reaches the product when the time looked at is over."""
        return any(
            run.under and run.under[-1][1] >= run.end and float(run.valve.at(run.end)) > 0
            for run in (self.clean, self.run)
        )

    @property
    def meets(self) -> bool:
        """Whether the dose is met, the valve opens, and no water under dose reaches the product."""
        comes = np.isfinite(self.clean.met) and np.isfinite(self.opens)
        return bool(comes) and self.under_dose <= NOTHING

    @cached_property
    def surge(self) -> tuple[float, float, float] | None:
        """Head if the flow stops at once, head by the valve's time [m], and the wave's return [s].

        None where no hose or no speed of the wave is known.
        """
        speed, pipe = self.train.start.wave_speed, self.train.pipe
        if speed is None or pipe is None:
            return None
        lost = velocity(self.run.flow(self.run.end), pipe[1]).item()
        if not self.run.events:
            lost = velocity(self.train.flows("flow", 1.0), pipe[1]).item()
        slow = closing_surge(lost, speed, pipe[0], self.train.start.valve_time or 0.0)
        return float(surge_head(lost, speed)), float(slow), 2 * pipe[0] / speed

    @cached_property
    def energy(self) -> float:
        """Electricity of lamp and pumps until the valve begins to open. [J]"""
        from scipy.integrate import quad

        end = self.opens
        if not np.isfinite(end):
            return end
        knots = sorted({t for t in self.clean.plan.knots if 0 < t < end} | {0.0, end})
        pump = sum(
            quad(lambda t: float(self.train.flows("power", self.clean.plan.dial(t))), a, b)[0]
            for a, b in pairwise(knots)
        )
        return float(self.train.lamp_power * end + pump)


def startup(case: Any, events: Sequence[Event] = (), *, rtol: float = RTOL) -> Startup:
    """Return the start of a case, and what passes when something happens.

    Parameters
    ----------
    case : Case
        With its table [startup].
    events : sequence of Event
        In the order of their times.

    Returns
    -------
    Startup

    Validity
    --------
    Reactors in line or side by side, each with its flow and lamp and the same start of it; flow
    quasi-steady at the dial of the moment. An empty line fills at the flow of the full one, which
    is told too slow; a chamber counts as unlit until it is full. A dose is asked of each reactor
    on its own, as the verdict asks it. A reactor told by its report has that of the moment, and its
    chamber is one mixed tank. Of several lamps one fails: the one named, or that whose failure
    lets most pass.

    Raises
    ------
    RequestError
        The case has no such reactor or leaves out what the start or an event needs.
    NoSolutionError
        The case has no operating point.
    """
    train = train_of(case, events)
    meant = one_lamp_each(events, [reactor.name for reactor in train.reactors])
    lights = lights_of(train, events)
    single = all(light is None or light.one_water for light in lights)
    kept: dict[Any, Course] = {}
    clean = solve_run(train, lights if single else lights_of(train, ()), (), rtol=rtol)
    runs = [solve_run(train, lights, each, kept, rtol=rtol) for each in meant] if events else []
    return Startup(case, train, clean, max(runs, key=_harm, default=clean))


def _harm(run: Run) -> tuple[float, float]:
    """Return what tells which of several lamps must not fail: what passes, and how near it is."""
    closest = (run.remedy(event).valve_time for event in run.events if run.train.judged)
    return run.passage().under_dose or 0.0, -min((t for t in closest if t), default=np.inf)
