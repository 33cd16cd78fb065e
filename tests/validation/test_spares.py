"""Filters over months and what to bring: reference values.

What is read off a gauge in the field stands in words, not in numbers, and is held elsewhere: a drop
that falls without a change is a burst or a bypass (tests/running/test_readings.py), a drop in the
cold is set off by the viscosity (there), flow falls and drop rises at a fixed dial
(tests/running/test_filter_run.py). Not among the rows, and why: makers' lives of lamps and quartz
are theirs to state; losses in handling (5 %) are common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from filter_runs import HOUR, constant_line, followed, law_of, rules_of, steady_clock

from treatsim import cases
from treatsim.running import stock
from treatsim.running.filter_run import Run
from treatsim.running.filter_state import CAUSES, bank_of
from treatsim.running.filter_stretch import Clock
from treatsim.running.forecast import forecast
from treatsim.running.spares import plan_for, simulate


def causes(history) -> set[str]:
    return {CAUSES[int(n)] for n in history.column("cause")}


def test_poisson_values(agree):
    """Common tables: chance of three or fewer at a mean of 3, and so on."""
    agree(
        "P78_chance",
        [stock.poisson_level(*one) for one in ((3, 3), (1, 1), (1, 4))],
    )
    agree("P78_stock", [stock.poisson_stock(m, level) for m, level in
                        ((3, 0.95), (3, 0.99), (10, 0.95), (40, 0.95))])  # fmt: skip


def counted(correlation: float, days=180, scenarios=4000, width=0.7, mean=24.4) -> np.ndarray:
    """Changes in so many days, their loads log-AR(1) from day to day, by the run itself."""
    draw = np.random.default_rng(11)
    x = draw.standard_normal((scenarios, days))
    for n in range(1, days):
        x[:, n] = correlation * x[:, n - 1] + np.sqrt(1 - correlation**2) * x[:, n]
    solids = np.repeat(np.exp(width * x - width**2 / 2) / 24, 24, axis=1)  # a day's mean is 1
    edges = np.concatenate([np.zeros((scenarios, 1)), np.cumsum(solids * HOUR, axis=1)], axis=1)
    clock = Clock(edges, np.broadcast_to(np.arange(edges.shape[1]) * HOUR, edges.shape))
    capacity = days / mean
    line = constant_line(1 / HOUR, capacity=capacity, ratio=1.5, largest_drop=1e9)
    law = law_of(line, capacity=np.full((scenarios, 1), capacity))
    history = followed(line, clock, law=law, every=days * 24)
    return np.bincount(history.column("scenario").astype(int), minlength=scenarios)


def test_correlated_water_takes_more_and_poisson_does_not_know(agree):
    stocks = [stock.quantile(counted(one), 0.95) for one in (0.0, 0.8, 0.95)]
    agree("S1_correlated_stock", stocks)
    agree("S1_poisson_stock", stock.poisson_stock(24.4, 0.95))


def test_doubling_the_area_of_a_cake(agree):
    """1 m3/h on one element of half a square metre, then on two of them: the row's hours."""
    area, lives = 0.5, []
    clean, slope = 2e9 / area, 1e12 / area**2  # R = (Rm + alpha m / A) / A
    capacity = 0.5
    for elements in (1, 2):
        line = constant_line(1 / HOUR, elements=elements, clean=clean, capacity=capacity,
                             ratio=1 + slope * capacity / clean)  # fmt: skip
        history = followed(line, steady_clock(0.02, 60))
        assert causes(history) == {"pressure drop"}
        lives.append(history.column("life")[0])
    agree("P24_time", lives)
    agree("P24_ratio", lives[1] / lives[0])


def test_loads_of_unequal_elements_drift_together(agree):
    """R = 0.3 + 0.02 m, masses 0 and 100 g, until 500 g are in: by the run's own steps."""
    clean, capacity = 3e8, 1.0
    line = constant_line(1 / HOUR, elements=2, clean=clean, capacity=capacity,
                         ratio=1 + 0.02 * 1000 / 0.3, largest_drop=1e9)  # fmt: skip
    clock = steady_clock(0.4 / 10, 10)  # 400 g in ten hours at 1 m3/h
    bank = bank_of(line.filters.elements, np.array([False]))
    run = Run(line, bank, law_of(line, False), clock, rules_of(line, 10))
    run.mass[:] = [[0.0, 0.1]]
    run.run()
    agree("P28_masses", 1e3 * run.mass[0])


def test_hours_by_mass(agree):
    """300 g, 1 m3/h, 40 mg/L, capture 0.8."""
    line = constant_line(1 / HOUR, capacity=0.3, capture=0.8, ratio=2.0)
    history = followed(line, steady_clock(0.040, 20))
    assert causes(history) == {"mass"}
    agree("P27_hours", round(float(history.column("life")[0]) / HOUR, 9))


HOLD = '\n[[hold]]\nadjust = "lift_pump.speed"\nuntil = "product.flow"\nequals = "1 m3/h"\n'
CAKE = {  # row P24 as a cartridge of the river: Rm / A, alpha m / A^2, 1 bar
    "water.suspended_solids": "20 mg/L",
    "water.temperature": "20 degC",
    "bags.capture_fraction": "0 %",
    "cartridges.resistance": "4e9 1/m3",
    "cartridges.quadratic_loss": "0 Pa h2/m6",
    "cartridges.loading_exponent": "0",
    "cartridges.capture_fraction": "100 %",
    "cartridges.captured_mass": "0 g",
    "cartridges.largest_drop": "1 bar",
    "spares.capacity_spread": "1",
    "spares.exponent_spread": "0",
    "spares.lead_time": "0 d",
}


def river_of_cake(folder, elements: int):
    """The river with that cake, its pump turned up as it loads, in water that stays as it is."""
    path = folder / f"cake{elements}.toml"
    path.write_text(Path("cases/river.toml").read_text("utf-8") + HOLD, "utf-8")
    law = {"capacity": f"{0.1 * elements} kg", "terminal_ratio": str(1 + 100 * elements)}
    given = CAKE | {f"cartridges.{key}": text for key, text in law.items()}
    case = cases.load(str(path), given | {"cartridges.elements": str(elements)})
    case = case.changed(sections={**case.sections, "source": None, "pit": None})
    plan = plan_for(case, 6)
    return forecast(case, plan, simulate(plan, 20), 0.5).filters[-1]


def test_doubling_the_housings_of_the_river(agree, tmp_path):
    one, two = (river_of_cake(tmp_path, elements) for elements in (1, 2))
    for found in (one, two):
        assert max(found.causes, key=lambda cause: found.causes[cause]) == "pressure drop"
    agree("P24_time", [one.life[1], two.life[1]])
    agree("P24_river", two.life[1] / one.life[1])
    agree("P24_river_used", [one.mean, two.mean])
