"""Battery formulas against published ones, and the dispatch against hand and a second program."""

from __future__ import annotations

import numpy as np
import power_plant as plant
import pytest
from power_plant import dispatch
from scipy.integrate import solve_ivp

from treatsim.power import ageing, battery, kinetic
from treatsim.power.battery import Bank
from treatsim.running.plant import Needs, Rules, Train, start_cost

KWH, HOUR, AH = plant.KWH, plant.HOUR, 3600.0
INVERTER, STANDBY = 0.9723, 0.00625  # a straight line through the curve, by least squares
TWO_HOURS = kinetic.wells_of(2.0, 0.35, 0.5)  # in hours and 1/h


def test_peukert(agree):
    time = battery.peukert_time(100 * AH, 20 * HOUR, 1.2, 20.0)
    charge = battery.peukert_charge(100 * AH, 20 * HOUR, 1.2, time)
    agree("B01_peukert", np.array([time / HOUR, charge / AH]))


def test_kinetic_model(agree):
    times = np.array([0.5, 1, 5, 10, 20, 100])
    agree("B02_kinetic_capacity", kinetic.capacity_in(100.0, times, 0.35, 0.5))
    agree("B03_kinetic_step", np.array(kinetic.after(28.0, 52.0, 12.0, TWO_HOURS)))


@pytest.mark.parametrize("current", [-8.0, 0.0, 12.0])
def test_kinetic_step_solves_its_equations(current):
    """The two wells as differential equations, by SciPy."""
    c, k = 0.35, 0.5

    def slopes(_, q):
        across = k * c * (1 - c) * (q[1] / (1 - c) - q[0] / c)
        return [-current + across, -across]

    found = solve_ivp(slopes, (0, 2), [28.0, 52.0], rtol=1e-10, atol=1e-12).y[:, -1]
    assert np.allclose(kinetic.after(28.0, 52.0, current, TWO_HOURS), found, rtol=1e-8)


def test_the_largest_currents_empty_and_fill_the_well_at_hand():
    most = kinetic.most_out(28.0, 52.0, TWO_HOURS)
    assert kinetic.after(28.0, 52.0, most, TWO_HOURS)[0] == pytest.approx(0.0, abs=1e-12)
    into = kinetic.most_in(28.0, 42.0, 100.0, TWO_HOURS)
    assert kinetic.after(28.0, 42.0, -into, TWO_HOURS)[0] == pytest.approx(35.0, rel=1e-12)


def test_cycles(agree):
    counted = dict.fromkeys((3.0, 4.0, 6.0, 8.0, 9.0), 0.0)
    for depth, cycles in ageing.rainflow([-2, 1, -3, 5, -1, 3, -4, 4, -2]):
        counted[depth] += cycles
    agree("B06_rainflow", np.array(list(counted.values())))


def test_rest_and_window(agree):
    agree("B07_self_discharge", battery.kept(0.03, 30 * 24 * HOUR))
    agree("B08_usable", battery.usable_energy(10.0, 1.0, 0.35, 0.97, 0.94))


def test_twelve_hours_by_hand(agree):
    sun = np.array([0, 0, 1, 2, 4, 4, 2, 0.5, 0, 0, 0, 0])[:, None] * 1e3
    places, flows = np.array([[0.0, 1e3]]), np.array([[0.0, 1 / HOUR]])
    train = Train(places, flows, 500.0, 1e3, 0.1 * KWH, 360.0)
    full = 4 * KWH
    trace = dispatch(
        sun, Bank(full, 1.0, 1.0, 2e3, 2e3, 1.0), train, Needs(np.full((12, 1), 100.0)),
        Rules(0.1 * full, 0.3 * full, 0.6 * full, 1e3), step=HOUR,
    )  # fmt: skip
    agree("L01_water", trace.water[:, 0])
    agree("L01_charge", trace.stored[:, 0] / full)
    product = (trace.train - trace.starting).sum()
    parts = [sun.sum(), product, trace.starting.sum(), trace.served.sum(), trace.curtailed.sum()]
    change = (trace.stored[-1, 0] - 0.5 * full) / KWH
    agree("L01_energy", np.array([*(part / 1e3 for part in parts), change]))


def test_the_sun_fills_the_reserve_before_the_train_takes_any():
    """A train that eats all sun of the day must not leave the radio without power at night."""
    sun = np.r_[np.full(6, 800.0), np.zeros(6)][:, None]
    needs = Needs(np.full((12, 1), 50.0))  # 300 Wh in the six hours of dark
    reserve = np.r_[np.full(6, 0.3 * KWH), 0.3 * KWH - 180e3 * np.arange(1, 7)][:, None]
    big = Train(np.array([[0.0, 1e3]]), np.array([[0.0, 1 / HOUR]]), 100.0, 1e3)
    store = Bank(2 * KWH, 1.0, 1.0, 2e3, 2e3, 1.0)

    def run(kept):
        rules = Rules(0.0, reserve, reserve + KWH, 100.0, reserve=kept)
        return dispatch(sun, store, big, needs, rules, step=HOUR, first=0.0)

    held, eaten = run(reserve), run(None)
    assert eaten.unserved.sum() == pytest.approx(300.0)
    assert held.unserved.sum() == pytest.approx(0.0, abs=1e-9)
    assert eaten.water.sum() - held.water.sum() == pytest.approx(0.3)  # its 300 Wh, at 1 kWh/m3


def test_start(agree):
    energy, time = start_cost(180.0, 120.0, 0.025, 1.5 / HOUR, 620.0)
    agree("L02_start", energy / KWH)
    assert time == pytest.approx(180 + 60)


def test_quick_litres(agree):
    """A train as large as the sun, no losses but the performance ratio: water is energy over e."""
    sun = np.repeat([0.0, 750.0, 0.0], [9, 5, 10])[:, None]
    places, flows = np.array([[0.0, 2e3]]), np.array([[0.0, 2e3 / (1.5 * KWH)]])
    trace = dispatch(
        sun, Bank(KWH, 1.0, 1.0, 1e3, 1e3, 1.0), Train(places, flows, 10.0, 2e3),
        Needs(np.zeros((24, 1))), Rules(KWH, KWH, 2 * KWH, 10.0), step=HOUR,
    )  # fmt: skip
    agree("L03_quick_litres", trace.water.sum() * 1000)


def cloudy(markov: tuple[float, float], days: int) -> np.ndarray:
    """Days that are cloudy: chance after a clear day, chance after a cloudy one."""
    draw = np.random.default_rng(11).random(days)
    found = np.zeros(days, bool)
    for n in range(1, days):
        found[n] = draw[n] < markov[int(found[n - 1])]
    return found


def runs_deviation(after_clear: float, after_cloudy: float, store: int, days: int) -> float:
    """Return the standard deviation of the share of days that end a cloudy run longer than a store.

    Two such days k apart share days of one run, or meet again after a chain of k - store days; the
    variance of a mean of correlated draws is summed over k.
    """
    fade = after_cloudy - after_clear
    cloudy = after_clear / (1 - fade)
    share = cloudy * after_cloudy**store
    near = [share * after_cloudy**k for k in range(1, store + 1)]
    far = [
        share * (cloudy + (1 - cloudy) * fade ** (k - store)) * after_cloudy**store
        for k in range(store + 1, store + 60)
    ]
    variance = share * (1 - share) + 2 * sum(both - share**2 for both in near + far)
    return float(np.sqrt(variance / days))


@pytest.mark.parametrize(
    ("row", "markov"), [("L04_independent", (0.2, 0.2)), ("L04_markov", (0.2, 0.5))]
)
def test_days_unserved_as_derived(agree, row, markov):
    """A clear day fills the bank for two days of load; a cloudy one gives nothing."""
    from evidence import CHECKS

    days, load = 60_000, 100.0
    assert CHECKS[row]["atol"] <= 3 * runs_deviation(*markov, 2, days)
    need = load * 86400.0
    dark = cloudy(markov, days)
    sun = np.where(dark, 0.0, 1e5)[:, None]
    trace = dispatch(
        sun, Bank(2 * need, 1.0, 1.0, 1e6, 1e6, 1.0),
        Train(np.array([[0.0, 1.0]]), np.array([[0.0, 0.0]]), 1e9, 1e9),
        Needs(np.full((days, 1), load)), Rules(0.0, np.inf, np.inf, np.inf), step=86400.0,
    )  # fmt: skip
    agree(row, float(np.mean(trace.unserved > 1e-9)))


@pytest.mark.parametrize("name", list(plant.TRAINS))
def test_a_year_of_equal_days(agree, name):
    trace = plant.run(name)
    agree(f"D1_{name}", trace.water.sum())


@pytest.mark.parametrize("name", list(plant.TRAINS))
def test_half_the_water_for_twice_the_energy_and_twice_the_plant_twice_the_water(agree, name):
    usual, dear = plant.run(name, days=60), plant.run(name, days=60, specific=2.0)
    agree("T1_half", dear.water.sum() / usual.water.sum())
    assert np.array_equal(dear.stored, usual.stored)
    twice = plant.run(name, days=60, size=2.0)
    agree("T2_twice", twice.water.sum() / usual.water.sum())
    assert np.allclose(twice.stored / 2, usual.stored, rtol=1e-12)


def test_bus_power_has_the_shape_of_a_measured_inverter(agree):
    """A fixed efficiency and a standby that is always there, against a curve over the load."""
    share = np.array([0.05, 0.1, 0.25, 0.5, 0.75, 1.0])
    agree("P04_inverter", share / (share / INVERTER + STANDBY))


def test_starts_of_a_year(agree):
    agree("D1_starts", np.array([plant.run(name).starts.sum() for name in plant.TRAINS]))


def test_starts_of_a_day_are_counted_and_bounded():
    """Sun every second hour, nothing stored: each pulse is a start, and the fifth is not there."""
    steps = np.arange(48)
    sun = np.where(steps % 2 == 0, 1e3, 0.0)[:, None] * np.ones(2)
    fresh = (steps % 24 == 0)[:, None]
    train = Train(np.array([[0.0, 1e3]]), np.array([[0.0, 1 / HOUR]]), 500.0, 1e3)

    def run(most, sun):
        rules = Rules(0.0, 1 * KWH, 2 * KWH, 500.0, most_starts=most, fresh=fresh)
        store = Bank(1 * KWH, 1.0, 1.0, 1e-9, 1e-9, 1.0)
        return dispatch(sun, store, train, Needs(np.zeros((48, 1))), rules, step=HOUR, first=0.0)

    trace = run(np.array([4.0, np.inf]), sun)
    assert trace.starts.reshape(2, 24, 2).sum(axis=1).tolist() == [[4, 12], [4, 12]]
    assert np.flatnonzero(trace.starts[:, 0]).tolist() == [0, 2, 4, 6, 24, 26, 28, 30]
    assert trace.water.sum(axis=0).tolist() == pytest.approx([8.0, 24.0])
    through = run(np.full(2, 1.0), np.full((48, 2), 1e3))  # running past midnight is no start
    assert through.starts.sum(axis=0).tolist() == [1, 1]
    assert through.water.sum(axis=0).tolist() == pytest.approx([48.0, 48.0])
