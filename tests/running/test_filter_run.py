"""Filters through months: balances, closed forms, and what must not matter."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from filter_runs import HOUR, constant_line, followed, law_of, steady_clock
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from treatsim import cases
from treatsim.correlations.solids import filtration
from treatsim.errors import NoSolutionError, RequestError
from treatsim.running.filter_line import filter_line
from treatsim.running.filter_run import Run
from treatsim.running.filter_state import CAUSES, bank_of
from treatsim.running.filter_stretch import Clock

RIVER = "cases/river.toml"
WARM = 297.15
LAW = "loading_exponent = 1.0"


@pytest.fixture(scope="module")
def river():
    return filter_line(cases.load(RIVER), [WARM])


def storms(scenarios: int, hours: int, seed: int = 5, median: float = 0.007) -> Clock:
    draw = np.random.default_rng(seed)
    solids = median * np.exp(0.8 * draw.standard_normal((scenarios, hours)))
    running = np.broadcast_to((np.arange(hours) % 24 < 8) * HOUR, solids.shape)
    zero = np.zeros((scenarios, 1))
    return Clock(
        np.concatenate([zero, np.cumsum(solids * running, axis=1)], axis=1),
        np.concatenate([zero, np.cumsum(running, axis=1)], axis=1),
    )


def causes(history) -> set[str]:
    return {CAUSES[int(n)] for n in history.column("cause")}


def test_solids_balance_over_six_months(river):
    for together, scenarios in ((True, 20), (False, 5)):
        law = law_of(river) if together else law_of(river, False, *wide(river, scenarios))
        history = followed(river, storms(scenarios, 4380), together=together, law=law)
        caught = history.fed * river.filters.capture
        kept = history.held - history.started + history.removed
        assert np.max(np.abs(caught - kept) / history.fed) < 1e-9
        assert history.column("hour").size > 100
        by_changes = np.zeros(history.removed.shape)
        place = history.column("scenario").astype(int), history.column("filter").astype(int)
        np.add.at(by_changes, place, history.column("mass"))
        assert_allclose(by_changes, history.removed, rtol=1e-12)


def wide(line, scenarios):
    """Return capacities and exponents of scenarios whose elements differ from each other."""
    each = bank_of(line.filters.elements, np.array([False, False])).filter_of
    draw = np.random.default_rng(1)
    capacity = line.filters.capacity[each] * np.exp(
        0.3 * draw.standard_normal((scenarios, each.size))
    )
    return capacity, np.ones_like(capacity)


def test_what_comes_to_the_filters_is_flow_times_solids(river):
    """The solids fed, against a sum hour by hour with the flow of the train itself."""
    clock = steady_clock(0.007, 200)
    history = followed(river, clock, every=1)
    flow = np.concatenate([[river_flow(river, 0)], [p[0] for p in history.product]])
    assert_allclose(history.fed[0, 0], 0.007 * HOUR * np.sum(0.5 * (flow[1:] + flow[:-1])),
                    rtol=2e-2)  # fmt: skip
    assert_allclose(history.fed[0, 1], 0.45 * history.fed[0, 0], rtol=1e-12)


@pytest.mark.parametrize(
    ("exponent", "rules"),
    [(0.0, {}), (1.5, {}), (1.0, {"flow_needed": 6.3 / HOUR}), (1.0, {"longest": 200 * HOUR})],
)
def test_whole_lives_at_once_are_lives_one_by_one(river, monkeypatch, exponent, rules):
    """Muddy water, every law, ends by mass, flow and time: the same changes at the same hours."""
    line = with_exponent(river, exponent)
    clock = storms(4, 500, median=0.03)
    at_once = followed(line, clock, **rules)
    monkeypatch.setattr(Run, "_leap", lambda run, state: np.zeros(0, int))
    one_by_one = followed(line, clock, **rules)
    assert at_once.column("hour").size > 100
    for name, loose in (("filter", 0), ("cause", 0), ("hour", 1e-4), ("mass", 1e-4)):
        told = [h.column(name)[np.lexsort((h.column("filter"), h.column("hour").round(3),
                                           h.column("scenario")))]
                for h in (at_once, one_by_one)]  # fmt: skip
        assert_allclose(told[0], told[1], rtol=loose, err_msg=name)
    assert_allclose(at_once.fed, one_by_one.fed, rtol=1e-5)


def with_exponent(line, exponent: float):
    filters = line.filters._replace(exponent=np.full(2, exponent))
    return type(line)(filters, (), line.response, line.known, False)


def river_flow(line, load) -> float:
    return float(line.flows(np.array([line.filters.clean]) + load, np.array([WARM])).product[0])


@pytest.mark.parametrize("exponent", [0.0, 1.0, 1.5, 2.0])
def test_life_against_direct_integration_through_the_train_itself(exponent):
    """Every blocking law: the hour of the first change, by the flowsheet in an integrator."""
    changes = {"bags.loading_exponent": f"{exponent}", "cartridges.loading_exponent": f"{exponent}",
               "bags.captured_mass": "0 g", "cartridges.captured_mass": "0 g"}  # fmt: skip
    case = cases.load(RIVER, changes)
    line = filter_line(case, [WARM])
    f = line.filters
    constant = filtration.blocking_constant(f.clean, f.clean * f.ratio, f.capacity, f.exponent)

    def rates(_, mass):
        resistance = filtration.blocked_resistance(mass, f.clean, constant, f.exponent)
        point = {f"{n}.resistance": np.array([r]) for n, r in zip(f.names, resistance, strict=True)}
        point |= {f"{n}.captured_mass": np.zeros(1) for n in f.names}
        flow = float(case.solve(point).value("product.flow").value[0])
        return f.capture * np.array([1.0, 0.45]) * 0.007 * flow / 2

    def full(_, mass):
        return mass[1] / f.capacity[1] - 1

    full.terminal = True
    run = solve_ivp(rates, (0, 4e5), [0.0, 0.0], events=full, rtol=1e-7, atol=1e-9)
    history = followed(line, steady_clock(0.007, 100))
    first = history.column("hour")[0]
    assert history.column("filter")[0] == 1
    assert_allclose(first, run.t_events[0][0] / HOUR, rtol=5e-5 if exponent <= 1 else 3e-4)


def test_the_law_does_not_know_how_the_pump_ran(river):
    """Storms first, storms last, or an even river: the same solids give the same loads."""
    clock = storms(1, 2000)
    even = np.linspace(0, clock.exposure[0, -1], 2001)[None]
    turned = np.concatenate([[0], np.cumsum(np.diff(clock.exposure[0])[::-1])])[None]
    runs = [followed(river, Clock(e, clock.running), every=2000)
            for e in (clock.exposure, even, turned)]  # fmt: skip
    for other in runs[1:]:
        assert_allclose(other.column("mass"), runs[0].column("mass"), rtol=1e-9)
        assert list(other.column("filter")) == list(runs[0].column("filter"))
        assert_allclose(other.held, runs[0].held, rtol=1e-6)
    assert not np.allclose(runs[1].column("hour"), runs[0].column("hour"), rtol=1e-3)


def test_speed_changes_the_hours_of_a_life_not_its_mass():
    lines = [
        filter_line(cases.load(RIVER, {"lift_pump.speed": s}), [WARM]) for s in ("60 %", "74 %")
    ]
    slow, fast = (followed(line, steady_clock(0.007, 500)) for line in lines)
    both = [h.column("mass")[h.column("filter") == 1][0] for h in (slow, fast)]
    assert_allclose(both[0], both[1], rtol=1e-9)
    assert slow.column("hour")[0] > 1.15 * fast.column("hour")[0]


def test_flow_falls_at_a_fixed_dial_and_is_held_by_the_speed_while_it_can(tmp_path):
    fixed = filter_line(cases.load(RIVER), [WARM])
    text = Path(RIVER).read_text("utf-8")
    held = tmp_path / "held.toml"
    held.write_text(
        text
        + '\n[[hold]]\nadjust = "lift_pump.speed"\nuntil = "product.flow"\nequals = "7.5 m3/h"\n',
        "utf-8",
    )
    line = filter_line(cases.load(held), [WARM])
    loads = np.linspace(0, 1, 9)[:, None] * (fixed.filters.ratio - 1) * fixed.filters.clean
    falls = fixed.flows(fixed.filters.clean + loads, np.full(9, WARM)).product
    assert np.all(np.diff(falls) < 0)
    kept = line.flows(line.filters.clean + loads, np.full(9, WARM)).product * HOUR
    assert_allclose(kept[:3], 7.5, rtol=1e-12)
    assert kept[-1] < 7.0  # full speed does not do it any more
    with pytest.raises(RequestError, match="one hold is followed"):
        filter_line(cases.load(write_other_hold(tmp_path, text)), [WARM])


def test_speed_and_power_rise_with_the_load_where_a_flow_is_held(tmp_path):
    """The held flow stays while the pump can; dial and power tell the load instead."""
    held = tmp_path / "held.toml"
    held.write_text(
        Path(RIVER).read_text("utf-8")
        + '\n[[hold]]\nadjust = "lift_pump.speed"\nuntil = "product.flow"\nequals = "6 m3/h"\n',
        "utf-8",
    )
    loads = np.array([0.0, 0.25, 0.5, 0.75])
    result = cases.load(held).solve({"bags.captured_mass": 0.7 * loads,
                                     "cartridges.captured_mass": 0.25 * loads})  # fmt: skip
    flow, speed, power = (result.value(name).value for name in
                          ("product.flow", "lift_pump.speed", "lift_pump.power"))  # fmt: skip
    assert_allclose(flow * HOUR, 6.0, rtol=1e-6)
    assert np.all(np.diff(speed) > 0)
    assert np.all(np.diff(power) > 0)
    fixed = cases.load(RIVER).solve({"bags.captured_mass": 0.7 * loads,
                                     "cartridges.captured_mass": 0.25 * loads})  # fmt: skip
    assert np.all(np.diff(fixed.value("product.flow").value) < 0)


def write_other_hold(folder, text):
    path = folder / "dose.toml"
    path.write_text(
        text + '\n[[hold]]\nadjust = "lift_pump.speed"\nuntil = "uv.dose_credited"\n'
        'equals = "12 mJ/cm2"\n',
        "utf-8",
    )
    return path


def test_half_the_solids_twice_the_life(river):
    short, long = (followed(river, steady_clock(c, 400)).column("life")[2] for c in (0.014, 0.007))
    assert_allclose(long / short, 2.0, rtol=1e-6)


def test_each_cause_ends_a_life(river):
    clock = steady_clock(0.007, 400)
    assert causes(followed(river, clock)) == {"mass"}
    assert causes(followed(river, clock, flow_needed=6.2 / HOUR)) == {"flow"}
    assert causes(followed(river, clock, longest=20 * HOUR)) == {"time in water"}
    tight = river.filters._replace(largest_drop=np.array([1e5, 0.5e5]))
    changed = type(river)(tight, (), river.response, river.known, False)
    assert "pressure drop" in causes(followed(changed, clock))


def test_an_element_leaves_after_its_time_even_where_nothing_loads_it():
    line = constant_line(1 / HOUR)
    history = followed(line, steady_clock(1e-9, 400), longest=100 * HOUR)
    assert_allclose(history.column("hour"), [100, 200, 300], rtol=1e-9)


def test_the_drop_at_a_change_is_the_largest_drop(river):
    tight = river.filters._replace(largest_drop=np.array([1e5, 0.5e5]))
    line = type(river)(tight, (), river.response, river.known, False)
    history = followed(line, steady_clock(0.007, 300), every=1)
    drops = np.array(history.drop)[:, 0, 1]
    assert drops.max() <= 0.5e5 * (1 + 1e-6)
    assert drops.max() > 0.48e5


def test_fresh_elements_that_miss_a_limit_are_refused(river):
    tight = river.filters._replace(largest_drop=np.array([1e3, 1e5]))
    line = type(river)(tight, (), river.response, river.known, False)
    with pytest.raises(NoSolutionError, match=r"fresh elements already give .* bar over bags"):
        followed(line, steady_clock(0.007, 100))
    with pytest.raises(NoSolutionError, match="below the 9 m3/h needed"):
        followed(river, steady_clock(0.007, 100), flow_needed=9 / HOUR)


def test_one_of_a_pair_changed_takes_most_of_the_flow():
    line = constant_line(1 / HOUR, elements=2, clean=1e10, capacity=0.1, ratio=12.0, exponent=1.0)
    both = followed(line, steady_clock(0.02, 200))
    one = followed(line, steady_clock(0.02, 200), together=False)
    assert both.column("elements").sum() >= one.column("elements").sum()
    assert np.median(np.diff(one.column("hour"))) < np.median(np.diff(both.column("hour")))


def test_cold_water_costs_flow_and_loads_the_pump():
    cold = filter_line(cases.load(RIVER), [278.15, 298.15])
    loads = cold.filters.clean[None].repeat(2, axis=0) * 8
    flow = cold.flows(loads, np.array([278.15, 298.15])).product
    assert flow[0] < 0.85 * flow[1]
    for warm, told in zip((278.15, 298.15), flow, strict=True):
        points = {"water.temperature": np.array([warm])}
        points |= {f"{n}.resistance": loads[:1, g] for g, n in enumerate(cold.filters.names)}
        points |= {f"{n}.captured_mass": np.zeros(1) for n in cold.filters.names}
        truth = cases.load(RIVER).solve(points).value("product.flow").value[0]
        assert_allclose(told, truth, rtol=1e-5)


def test_no_capacity_is_not_judged(tmp_path):
    text = Path(RIVER).read_text("utf-8")
    for line in (
        'captured_mass = "60 g"',
        'capacity = "250 g"',
        "terminal_ratio = 12\nloading_exponent = 1.0",
    ):
        assert line in text
        place = text.rindex(line)  # the cartridges stand after the bags
        text = text[:place] + text[place + len(line) :]
    path = tmp_path / "half.toml"
    path.write_text(text, "utf-8")
    assert filter_line(cases.load(path), [WARM]).unknown == ("cartridges",)
    for line in (
        'captured_mass = "200 g"    ',
        'capacity = "700 g"',
        "terminal_ratio = 15\nloading_exponent = 1.0",
    ):
        text = text.replace(line, "#")
    path.write_text(text, "utf-8")
    with pytest.raises(RequestError, match=r"not judged: it needs bags.capacity and cartridges"):
        filter_line(cases.load(path), [WARM])


def test_stock_of_correlated_water_in_closed_form():
    """Sums of a log-AR(1) daily load: mean, variance and P95 of the changes."""
    days, scenarios, s, phi = 180, 4000, 0.7, 0.8
    draw = np.random.default_rng(3)
    x = np.empty((scenarios, days))
    x[:, 0] = draw.standard_normal(scenarios)
    for n in range(1, days):
        x[:, n] = phi * x[:, n - 1] + np.sqrt(1 - phi**2) * draw.standard_normal(scenarios)
    daily = np.exp(s * x)  # mean exp(s2/2)
    mean = np.exp(s**2 / 2)
    lag = np.arange(-days + 1, days)
    variance = mean**2 * np.sum((days - np.abs(lag)) * np.expm1(s**2 * phi ** np.abs(lag)))
    flow, capacity = 1 / HOUR, days * mean / 24.4
    solids = np.repeat(daily / 24, 24, axis=1)
    exposure = np.concatenate([np.zeros((scenarios, 1)), np.cumsum(solids * HOUR, axis=1)], axis=1)
    clock = Clock(exposure, np.broadcast_to(np.arange(exposure.shape[1]) * HOUR, exposure.shape))
    line = constant_line(flow, capacity=capacity, ratio=1.5, largest_drop=1e9)
    law = law_of(line, capacity=np.full((scenarios, 1), capacity))
    history = followed(line, clock, law=law, every=days * 24)
    count = np.bincount(history.column("scenario").astype(int), minlength=scenarios)
    total = count + history.held[:, 0] / capacity
    assert_allclose(total.mean(), 24.4, rtol=0.02)
    assert_allclose(total.std(), np.sqrt(variance) / capacity, rtol=0.08)
    width = np.sqrt(np.log1p(variance / (days * mean) ** 2))
    fitted = 24.4 * np.exp(-(width**2) / 2 + 1.645 * width)
    assert abs(np.quantile(count, 0.95) - fitted) <= 1.0
