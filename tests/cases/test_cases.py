"""The case files in cases/: all load and solve; key numbers are pinned."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases, quantities
from treatsim.safety.verdict import judge

FOLDER = Path(__file__).resolve().parents[2] / "cases"
PATHS = sorted(FOLDER.glob("*.toml"))
GALLON = quantities.read("1 gal/min", "flow")

# regression: what these cases gave when they were written; no outside source
PINNED = {
    "river": {
        "product.flow": (6.784, "m3/h"),
        "uv.dose_mean": (105.6, "mJ/cm2"),
        "uv.dose_credited": (13.40, "mJ/cm2"),
        "lift_pump.power": (752.2, "W"),
    },
    "river_beyond": {"product.flow": (10.39, "m3/h"), "uv.dose_credited": (9.473, "mJ/cm2")},
    "small_unit": {"product.flow": (0.6, "m3/h"), "uv.dose_credited": (14.82, "mJ/cm2")},
    "brackish_well": {"product.flow": (0.885, "m3/h"), "ro.recovery": (36.87, "%")},
    "sea": {
        "product.flow": (0.716, "m3/h"),
        "energy.specific": (7.135, "kWh/m3"),
        "ro.permeate.concentration": (560.7, "mg/L"),
    },
    "sea_recovery": {"energy.specific": (3.435, "kWh/m3"), "ro.recovery": (30.91, "%")},
}


@cache
def verdict_of(name: str):
    case = cases.load(FOLDER / f"{name}.toml")
    return judge(case.solve())


@cache
def river():
    return cases.load(FOLDER / "river.toml")


def test_there_are_cases():
    assert {"river", "sea", "brackish_well"} <= {path.stem for path in PATHS}


@pytest.mark.parametrize("name", [path.stem for path in PATHS])
def test_every_case_solves(name):
    verdict = verdict_of(name)
    assert verdict.result.solved.all(), verdict.result.reason()
    assert "invented" in verdict.result.context.title
    assert max(verdict.result.balances.values()) <= 1e-9
    for address, item in verdict.values.items():
        assert not np.any(np.isnan(np.asarray(item.value, float))), address


@pytest.mark.parametrize("name", sorted(PINNED))
def test_regression(name):
    values = verdict_of(name).result.values
    for address, (number, unit) in PINNED[name].items():
        item = values[address]
        shown, shown_unit = quantities.show(np.squeeze(item.value), item.quantity)
        assert shown_unit == unit
        assert_allclose(shown, number, rtol=2e-3, err_msg=address)


def at_flow(*flows):
    """Solve the river case with its dial set for each flow [m3/s]."""
    from treatsim.flowsheet.hold import Hold, operate

    results = []
    for flow in flows:
        hold = (Hold("lift_pump.speed", "product.flow", flow),)
        results.append(judge(operate(river().flowsheet(), 1, hold)))
    return results


def test_the_river_train_meets_its_dose_at_30_gallons_and_not_at_45():
    """Common practice: a train sized for 30 gal/min has no business at half as much again."""
    usual, much = at_flow(30 * GALLON, 45 * GALLON)
    for verdict, meets in ((usual, True), (much, False)):
        assert verdict.result.solved[0], verdict.result.reason()
        dose = next(c for c in verdict.limits if c.address == "uv.dose_credited")
        assert bool(np.all(dose.meets)) is meets
        assert bool(verdict.broken[0]) is not meets


def test_the_largest_flow_is_where_the_dose_is_just_met():
    largest = float(np.squeeze(verdict_of("river").value("uv.largest_flow").value))
    assert 30 * GALLON < largest < 45 * GALLON
    (there,) = at_flow(largest)
    dose = next(c for c in there.limits if c.address == "uv.dose_credited")
    assert_allclose(np.squeeze(dose.value), np.squeeze(dose.limit), rtol=1e-6)


def test_dose_falls_as_the_dial_is_turned_up():
    speed = np.linspace(0.5, 1.2, 15)
    result = river().solve({"lift_pump.speed": speed})
    assert result.solved.all()
    assert np.all(np.diff(result.value("product.flow").value) > 0)
    for address in ("uv.dose_mean", "uv.dose_min", "uv.dose_credited"):
        assert np.all(np.diff(result.value(address).value) < 0)


def test_dose_rises_with_clearer_water_and_a_newer_lamp():
    clear = river().solve({"water.uv_transmittance": np.linspace(0.6, 0.98, 9)})
    assert np.all(np.diff(clear.value("uv.dose_credited").value) > 0)
    young = river().solve({"uv.ageing_factor": np.linspace(0.5, 1.0, 6)})
    assert np.all(np.diff(young.value("uv.dose_credited").value) > 0)


def test_nothing_flows_below_the_dead_speed_and_the_message_says_so():
    dead = np.sqrt((2.0 + 4.0) / 38.0)  # lift and rise over the shut-off head
    speed = dead * np.array([0.9, 0.999, 1.01, 1.1])
    result = river().solve({"lift_pump.speed": speed})
    np.testing.assert_array_equal(result.solved, [False, False, True, True])
    assert "nothing flows" in result.reason(0)
    assert "raise the pump's speed" in result.reason(0)


def test_changes_are_read_like_the_file():
    case = cases.load(FOLDER / "river.toml", {"lift_pump.speed": "85 %", "bags.elements": "3"})
    assert case.parameters["lift_pump"].speed == 0.85
    assert case.parameters["bags"].elements == 3


def test_many_inputs_at_once_equal_one_by_one():
    arrays = {
        "lift_pump.speed": np.array([0.6, 0.8, 1.0]),
        "water.uv_transmittance": np.array([0.7, 0.9, 0.95]),
        "water.temperature": np.array([275.0, 290.0, 305.0]),
        "bags.captured_mass": np.array([0.0, 0.2, 0.4]),
    }
    whole = river().solve(arrays)
    for point in range(3):
        alone = river().solve({key: value[[point]] for key, value in arrays.items()})
        for address in (
            "product.flow",
            "uv.dose_credited",
            "bags.pressure_drop",
            "lift_pump.power",
        ):
            assert_allclose(
                whole.value(address).value[point], alone.value(address).value[0], rtol=1e-10
            )
