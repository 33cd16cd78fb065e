"""The largest and smallest settings: edges, what holds them, and what is said if nothing works."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from treatsim import cases, cli, errors
from treatsim.safety.verdict import judge
from treatsim.studies.find import find
from treatsim.studies.found import inward
from treatsim.studies.sweep import sweep

RIVER = str(Path(__file__).parents[2] / "cases" / "river.toml")
SPEED, DOSE = "lift_pump.speed", "uv.dose_credited >= 12 mJ/cm2"


@pytest.fixture(scope="module")
def river():
    return cases.load(RIVER)


@pytest.fixture(scope="module")
def dose(river):
    return find(river, SPEED, DOSE)


def credited(case, speed):
    result = case.solve({SPEED: np.array([speed])})
    return float(result.value("uv.dose_credited").value[0])


def test_agrees_with_one_by_one_bracketing(river, dose):
    alone = brentq(lambda s: credited(river, s) - 120.0, 0.6, 1.1, rtol=1e-13)
    assert_allclose(dose.largest, alone, rtol=1e-8)


def test_agrees_with_a_sweep(river, dose):
    near = dose.largest * (1 + np.array([-1e-6, 1e-6]))
    table = sweep(river, {SPEED: (near, "")}, show=["uv.dose_credited"])
    met = np.asarray(table["uv.dose_credited"]) >= 120.0
    assert met.tolist() == [True, False]


def test_the_edge_itself_is_met(river, dose):
    assert credited(river, dose.largest) >= 120.0 * (1 - 1e-9)


def test_both_sides_are_explained(dose):
    (interval,) = dose.intervals
    assert interval.high.requirement.address == "uv.dose_credited"
    assert interval.low.requirement is None
    assert "nothing flows" in interval.low.why
    assert dose.now_met


def test_the_end_of_all_operating_points_is_found(river, dose):
    assert_allclose(dose.smallest, dose.intervals[0].low.value, rtol=0)
    below, above = dose.smallest * (1 + np.array([-1e-6, 1e-6]))
    solved = river.solve({SPEED: np.array([below, above])}).solved
    assert solved.tolist() == [False, True]


def test_every_criterion_of_the_case(river):
    whole = find(river, SPEED)
    verdict = judge(river.solve({SPEED: whole.largest * (1 + np.array([-1e-7, 1e-7]))}))
    assert verdict.broken.tolist() == [False, True]


def test_a_step_is_found(river):
    steps = find(river, SPEED, "uv.log_credit.cryptosporidium >= 3")
    near = steps.largest * (1 + np.array([-1e-7, 1e-7]))
    verdict = judge(river.solve({SPEED: near}))
    assert (verdict.value("uv.log_credit.cryptosporidium").value >= 3).tolist() == [
        True,
        False,
    ]


def test_what_else_is_not_met_at_the_edge_is_told(river):
    low = find(river, SPEED, "uv.dose_credited >= 11 mJ/cm2")
    assert low.intervals[0].high.remark.missed == ("UV dose for 3 log of cryptosporidium (uv)",)
    assert any("NOT met" in line for line in low.lines())


def test_whole_numbers(river):
    tanks = find(river, "uv.tanks_in_series", DOSE)
    doses = [
        float(
            np.ravel(
                cases.load(RIVER, {"uv.tanks_in_series": str(n)})
                .solve()
                .value("uv.dose_credited")
                .value
            )[0]
        )
        for n in (int(tanks.smallest) - 1, int(tanks.smallest))
    ]
    assert doses[0] < 120.0 <= doses[1]


def test_nothing_meets(river):
    none = find(river, SPEED, ["uv.dose_credited >= 12 mJ/cm2", "product.flow >= 20 m3/h"])
    assert not none.found
    assert none.nearest.requirement.address == "product.flow"
    assert none.nearest.margin < 0
    assert "is missed by" in none.lines()[1]
    assert not none.nearest.unmoved


def test_a_setting_that_changes_nothing_is_not_called_the_nearest(river):
    none = find(river, SPEED, ["uv.inlet.turbidity <= 0.01 NTU"])
    assert none.nearest.unmoved
    assert "does not change it" in none.lines()[1]


def test_a_narrow_window_is_found(river):
    top = float(credited(river, 0.7371))
    window = find(
        river,
        SPEED,
        [
            f"uv.dose_credited <= {top / 10 * (1 + 1e-4)} mJ/cm2",
            f"uv.dose_credited >= {top / 10 * (1 - 1e-4)} mJ/cm2",
        ],
    )
    (interval,) = window.intervals
    assert interval.low.value < 0.7371 < interval.high.value


def test_no_operating_point_at_all():
    dry = cases.load(RIVER, {"hose.rise": "200 m"})
    with pytest.raises(errors.NoSolutionError, match="nothing flows"):
        find(dry, SPEED)


@pytest.mark.parametrize(
    ("adjust", "until", "says"),
    [
        ("lift_pump.sped", (), 'did you mean "lift_pump.speed"'),
        ("uv.dose_credited", (), "is a result"),
        ("uv.emission", (), "no number"),
        (SPEED, "uv.dose_credited > 12 mJ/cm2", "ADDRESS >= VALUE"),
        (SPEED, "uv.dose_credit >= 12 mJ/cm2", "near: uv.dose_credited"),
        (SPEED, "uv.dose_credited >= 12 bar", "no unit of"),
        (SPEED, "uv.dose_credited >= 12", "unit is missing"),
        ([], (), "nothing is adjusted"),
        ([SPEED, SPEED], (), "adjusted twice"),
        ([SPEED, "uv.tanks_in_series"], (), "whole number"),
    ],
)
def test_refused(river, adjust, until, says):
    with pytest.raises(errors.RequestError, match=says):
        find(river, adjust, until)


def test_one_best_setting_inside_all_limits(river):
    best = find(river, SPEED, best="smallest energy.specific")
    speed = np.linspace(0.5, 0.8, 3001)
    energy = river.solve({SPEED: speed}).value("energy.specific").value
    assert_allclose(best.value, np.min(energy), rtol=1e-6)
    assert_allclose(best.settings[SPEED], speed[np.argmin(energy)], rtol=1e-3)
    assert best.binding == []


def test_several_inputs_reach_the_limit_that_holds_them(river):
    best = find(river, [SPEED, "uv.ageing_factor"])
    # the newest lamp carries most water, up to the dose: one input is at its end, one on the limit
    assert_allclose(best.settings["uv.ageing_factor"], 1.0, rtol=1e-15)  # its end, to round-off
    alone = find(cases.load(RIVER, {"uv.ageing_factor": "1.0"}), SPEED)
    assert_allclose(best.settings[SPEED], alone.largest, rtol=1e-6)
    assert [r.address for r in best.binding] == ["uv.dose_credited"]
    assert best.at_end == ["uv.ageing_factor"]
    assert best.tolerance < 1e-3


def test_several_inputs_of_which_no_setting_works(river):
    none = find(river, [SPEED, "hose.rise"], "product.flow >= 400 m3/h")
    assert not none.found
    assert none.nearest.requirement.address == "product.flow"


def test_command(capsys):
    command = ["find", RIVER, "--adjust", SPEED, "--until", DOSE]
    assert cli.main(command) == 0
    text = capsys.readouterr().out
    assert "met from" in text
    assert "80.8" in text
    assert cli.main([*command, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["found"] is True
    assert_allclose(data["intervals"][0]["high"]["value"], 80.8304, rtol=1e-5)
    assert cli.main([*command, "--until", "product.flow >= 50 m3/h"]) == 1
    assert cli.main(["find", RIVER, "--adjust", SPEED, "--set", "hose.rise=200 m"]) == 3


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [
        (0.398884, 0.925297, ("39.9 %", "92.5 %")),
        (0.398001, 0.925999, ("39.9 %", "92.5 %")),  # 92.6 % would not meet, nor 39.8 %
        (0.4, 0.92, ("40 %", "92 %")),
        (0.74, 0.74, ("74 %", "74 %")),
        (0.74123, 0.74189, ("74.13 %", "74.18 %")),  # three digits would leave nothing between
    ],
)
def test_ends_are_rounded_towards_each_other(low, high, shown):
    assert inward(low, high, "fraction", "si") == shown


def test_ends_of_a_large_flow_and_below_zero():
    assert inward(1234.56 / 3600, 98765.4 / 3600, "flow", "si") == ("1240 m3/h", "98700 m3/h")
    assert inward(-12.345, 0.0, "head", "si") == ("-12.3 m", "0 m")


def test_what_is_not_judged_is_named_once(capsys):
    for words in (["--until", "uv.dose_credited >= 12 mJ/cm2"], ["--best", "largest product.flow"]):
        cli.main(["find", RIVER, "--adjust", "lift_pump.speed", *words])
        text = capsys.readouterr().out
        assert text.count("germs (needs health.target)") == 1
        assert "meets everything" not in text


def test_what_is_missed_now_stands_beside_a_target_that_is_met():
    """Flow enough, light too little: "met" of the one must not be read as the other's."""
    case = cases.load("cases/river.toml", {"uv.ageing_factor": "0.3"})
    found = find(case, "lift_pump.speed", "product.flow >= 5 m3/h")
    assert found.now_met
    assert found.now_missed == ("UV dose for 3 log of cryptosporidium (uv)",)
    assert "met; NOT met now: UV dose" in found.lines()[0]
