"""One start with an event against SciPy's integrator on the same system, written plainly.

    PYTHONPATH=tests python -m benchmarks.bench_startup

The plain way asks the tables of flow, light and shades as SciPy's splines, at every stage, and
finds nothing but the course; ours stops at every change and finds the passings too.
"""

from __future__ import annotations

import time
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from benchmarks.side_by_side import line, side_by_side
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.running.schedule import schedule
from treatsim.running.start_events import read_events
from treatsim.running.start_train import train_of
from treatsim.running.startup import lights_of, solve_run, startup
from treatsim.running.washout import RTOL

CASE = Path(__file__).parents[2] / "cases" / "river.toml"
GOAL = 0.5  # s of the processor, of one transient

pytestmark = pytest.mark.benchmark


def plain(train, light, plan, end):
    """Integrate the same system by solve_ivp, piece by piece; return what survives at the end."""
    from scipy.integrate import solve_ivp

    reactor = train.reactors[0]
    exposure = reactor.exposure
    ahead = sum(train.ways.pipes.values()) + (train.start.housing_volume or 0.0)  # of the one light
    n, full = exposure.tanks, ahead + exposure.volume

    def slope(time, state):
        flow = float(train.flows("flow", plan.dial(time)))
        change = np.zeros(state.size)
        change[0] = flow
        if state[0] < full:
            return change
        tanks = state[1:].reshape(n, 2)
        above = np.vstack([[1.0, 1.0], tanks[:-1]])
        lit = float(plan.light(time)) * light.rate(reactor.absorption) * exposure.rates
        change[1:] = (flow * n / exposure.volume * (above - tanks) - lit * tanks).ravel()
        return change

    state = np.concatenate([[0.0], np.ones(2 * n)])
    knots = [0.0, *(knot for knot in plan.knots if 0 < knot < end), end]
    for first, last in pairwise(knots):
        found = solve_ivp(slope, (first, last), state, "LSODA", rtol=RTOL, atol=1e-15,
                          dense_output=True)  # fmt: skip
        state = found.y[:, -1]
    return state[-2:]


def measured(event: str):
    """Times of the plain way and ours, after the same end."""
    case, events = cases.load(CASE), read_events([event])
    train = train_of(case, events)
    lights = lights_of(train, ())
    run = solve_run(train, lights, events)
    plan = schedule(train.start, events)._replace(dead=train.flows.dead)
    ours = run.courses[0].states(run.end)[-3:-1, 0]
    assert_allclose(ours, plain(train, lights[0], plan, run.end), rtol=1e-3)
    return side_by_side(
        lambda: plain(train, lights[0], plan, run.end),
        lambda: solve_run(train, lights, events),
        plain_items=1, fast_items=1, rounds=3,
    )  # fmt: skip


@pytest.mark.parametrize("event", ["lamp_failure@600s", "power_dip@600s", "pump_step@600s"])
def test_a_transient_is_faster_than_the_plain_way(event):
    times = measured(event)
    print(line(event, times))
    assert times.ratio > 1.0


def test_a_start_with_its_event_takes_half_a_second_of_the_processor():
    case, events = cases.load(CASE), read_events(["dull_water@600s"])
    startup(case, events)
    begun = time.process_time()
    startup(case, events)
    assert time.process_time() - begun < GOAL


if __name__ == "__main__":
    for one in ("lamp_failure@600s", "power_dip@600s", "pump_step@600s"):
        print(line(one, measured(one)))
