"""Twenty years of hours of a unit against a plain loop over them, after the same litres.

    PYTHONPATH=tests python -m benchmarks.bench_year

The loop does for one hour after the other what the walk does: self-discharge, loads, reserve, start
and its cost, train, battery. It is written with plain numbers and no arrays, and what of an hour is
known beforehand is laid out for it before its time is taken. Times are those of the processor,
libraries loaded, on both sides. The goal is two hundred times the loop around a solve of the train
in every hour in which it runs, at the dial of that hour, which it is given; both make the water of
twenty years as the case is. Beside it: the whole answer, which walks those years again with one
bound after the other lifted, against the same loop, and the trial of passing clouds that the
command adds; and the loop over a curve that is there already.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from treatsim import cases
from treatsim.constants import DAY
from treatsim.running.cloudy import clouds_of
from treatsim.running.plan import Change, plan_of, scenario, walked
from treatsim.running.prepared import prepared
from treatsim.running.together import without_bounds, year_together
from treatsim.running.year import LIFTS, WARM_UP, year_of
from treatsim.safety.verdict import judge

CASES = ("cases/sea.toml", "cases/river.toml")
MOST = 5.0  # s for twenty years, start-up left out
GOAL = 200.0

pytestmark = pytest.mark.benchmark


def interpolated(x: float, places: list[float], values: list[float]) -> float:
    """Return a value between places, as a plain program finds it."""
    if x <= places[0]:
        return values[0]
    for n in range(1, len(places)):
        if x <= places[n]:
            share = (x - places[n - 1]) / (places[n] - places[n - 1])
            return values[n - 1] + share * (values[n] - values[n - 1])
    return values[-1]


def plain(side, year: int, step: float) -> tuple[float, float]:
    """Return the water of one year, hour after hour [m3], and the seconds it took."""
    _, bank, train, needs, rules, _, first = side
    steps = len(side.sun)

    def row(values, n):
        array = np.asarray(values, float)
        if array.ndim == 2:
            line = array[n if array.shape[0] == steps else 0]
            return float(line[year if line.size > 1 else 0])
        return float(array if array.ndim == 0 else array[year])

    hours = [tuple(row(v, n) for v in (side.sun, needs.always, needs.deferrable, rules.floor,
             rules.reserve, rules.stop, rules.start, rules.open, rules.charging, train.low,
             train.full)) for n in range(steps)]  # fmt: skip
    places, flows = train.power[0].tolist(), train.flow[0].tolist()
    at, dearer, slower = (column.tolist() for column in train.starts_at)
    cap, eta_in = float(bank.capacity[year]), bank.charge_efficiency
    eta_out = bank.discharge_efficiency
    keep = float(bank.keep)
    stored, running, owed, water = row(first, 0) * cap, False, 0.0, 0.0
    began = time.process_time()
    for hour in hours:
        sun, always, later, floor, reserve, stop, start, open_, charging, low, full = hour
        stored *= keep
        gap = max(always - sun, 0.0)
        rest = max(sun - always, 0.0)
        by_sun = min(rest, later)
        spare = rest - by_sun
        most = bank.discharge_power
        gap = min(gap, max(stored - floor, 0.0) * eta_out / step, most)
        left = most - gap
        above = max(max(stored - reserve, 0.0) * eta_out / step - gap, 0.0)
        more = min(later - by_sun, above, left)
        held = max(stored - stop, 0.0) * eta_out / step - gap - more
        held = min(max(held, 0.0), left - more)
        wants = (running or stored >= start or sun - always - later >= low) and open_ > 0
        into_most = min(bank.charge_power * charging, max(cap - stored, 0.0) / step / eta_in)
        due = min(max(reserve - stored, 0.0) / step / eta_in, into_most, spare)
        power = min(full, spare - due + held)
        runs = wants and power >= low * (1 - 1e-12) and power > 0
        power = power if runs else 0.0
        owed = (1.0 if not running else owed) if runs else 0.0
        lost = 0.0
        if owed > 0:
            more_energy, more_time = (interpolated(power, at, more) for more in (dearer, slower))
            energy, took = train.start_energy * more_energy, train.start_time * more_time
            cost = max(energy / (power * step), took / step)
            paid = min(owed, 1 / max(cost, 1e-300))
            lost, owed = min(paid * cost, 1.0), owed - paid
        if runs:
            water += interpolated(power, places, flows) * step * (1 - lost)
        into = min(max(spare - power, 0.0), into_most)
        out = gap + more + max(power - spare, 0.0)
        stored = max(stored - (out / eta_out - into * eta_in) * step, 0.0)
        running = runs
    return water, time.process_time() - began


def spent(work, rounds: int = 3) -> float:
    """Return the least processor time of some rounds [s]: a busy machine adds, never takes."""
    times = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def measured(path: str) -> dict[str, float]:
    """Return seconds of processor time, and ratios."""
    case = cases.load(path)
    judge(case.solve({}))

    def planned():
        ready = prepared(case, Path(case.path).parent)
        return ready, plan_of(case, case.sections, ready.weather, ready.curve)

    ready, plan = planned()
    trace = year_of(plan).trace  # libraries and tables are there
    whole = spent(lambda: year_of(planned()[1]))
    same = spent(lambda: year_together([scenario(planned()[1])], plan.step))
    clouds = spent(lambda: clouds_of(case, ready, plan, trace), 1)
    side, before = scenario(plan), round(WARM_UP * DAY / plan.step)
    began = time.process_time()
    changes = (Change(), *LIFTS.values())
    sides = [[scenario(plan, c) for c in changes if c.bank is bank] for bank in (True, False)]
    year_together(sides[0], plan.step)
    without_bounds(sides[1], plan.step, before)
    walk = time.process_time() - began
    own = np.concatenate([piece.water for piece in walked([side], plan.step, before)])
    water, seconds = plain(side, 0, plan.step)
    first = np.concatenate([piece.water for piece in walked([side], plan.step, 0)])[:, 0].sum()
    assert water == pytest.approx(first, rel=1e-9)
    scenarios = len(changes) * own.shape[1]
    loop = seconds * (1 + before / len(plan.sun))
    curve, power = plan.curve, trace.train[trace.water > 0] * plan.inverter
    hours = np.interp(np.random.default_rng(1).choice(power, 30), curve.power[0], curve.setting[0])
    solve = spent(lambda: [case.solve({curve.dial: dial}) for dial in hours]) / len(hours)
    solving = own.shape[1] * loop + power.size * solve
    return {
        "twenty years, as the case is [s]": same,
        "twenty years, whole answer [s]": whole,
        "trial of passing clouds [s]": clouds,
        "one solve of the train [ms]": 1e3 * solve,
        "walk of all scenarios [s]": walk,
        "times a loop over the curve": scenarios * loop / walk,
        "whole answer: times one loop that solves the train": solving / whole,
        "times a loop that solves the train in every hour it runs": solving / same,
    }


@pytest.mark.parametrize("path", CASES)
def test_twenty_years(path):
    found = measured(path)
    assert found["twenty years, whole answer [s]"] < MOST
    assert found["times a loop that solves the train in every hour it runs"] > GOAL


if __name__ == "__main__":
    for path in CASES:
        print(path)
        for what, value in measured(path).items():
            print(f"{what:60} {value:10.3g}")
