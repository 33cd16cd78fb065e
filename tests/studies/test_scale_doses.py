"""The acid a recovery takes: solved with the dose told, the case stands on the limit.

Who is hurt: who doses too little and loses the membranes, or so much that the water bites.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from command import treatsim
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.errors import NoSolutionError
from treatsim.safety.verdict import judge
from treatsim.studies import scale_doses as scale_doses_module
from treatsim.studies.scale_doses import scale_doses
from treatsim.studies.throughout import Conditions, conditions_of

WELL = cases.load("cases/well_sulfate.toml")
ACID = """
[units.acid]
kind = "chemical_dosing"
chemical = "{acid}"
dose = "{dose!r} mg/L"
strength = "30 %"
stock_density = "1150 kg/m3"
"""


def value(verdict, address):
    return float(np.ravel(verdict.value(address).value)[0])


def levels(vessel):
    return {scale.mineral: scale.levels for scale in vessel.scales}


def test_as_it_runs_it_is_what_solve_tells():
    (vessel,) = scale_doses(WELL, None, Conditions())
    verdict = judge(WELL.solve())
    for scale in vessel.scales:
        key = "carbonate_index" if scale.mineral == "calcite" else f"saturation.{scale.mineral}"
        assert_allclose(scale.levels[0], value(verdict, f"ro.{key}"), rtol=1e-9, atol=1e-12)
        for found, name in ((scale.recovery_bare, "recovery_limit"),
                            (scale.recovery_held, "recovery_limit_antiscalant")):  # fmt: skip
            told = value(verdict, f"ro.{name}.{scale.mineral}")
            assert_allclose(min(found, vessel.searched), told, rtol=1e-12)
    assert vessel.dosed
    assert not vessel.beyond


def test_a_scale_that_no_chemistry_tells_is_no_scale_that_is_kept(monkeypatch):
    """Who is hurt: who reads "neither acid nor antiscalant is needed" of a number that is none."""
    nothing = np.array([np.nan]), np.array([False]), None
    monkeypatch.setattr(scale_doses_module.scale, "carbonate", lambda *given: nothing)
    with pytest.raises(NoSolutionError, match="no chemistry tells calcite"):
        scale_doses(WELL, None, Conditions())


def test_at_the_highest_recovery_a_scale_stands_on_its_limit():
    (vessel,) = scale_doses(WELL, None, Conditions())
    for scale in vessel.scales:
        if 0.05 < scale.recovery_held < vessel.searched:
            (there,) = scale_doses(WELL, scale.recovery_held, Conditions())
            found, _, held = levels(there)[scale.mineral]
            # a straight line between two of the 400 factors that are looked at
            assert_allclose(found, held, rtol=2e-3, atol=2e-3)


@pytest.mark.parametrize("acid", ["hydrochloric_acid", "sulfuric_acid"])
def test_the_case_that_doses_what_is_told_stands_on_the_limit(tmp_path, acid):
    (vessel,) = scale_doses(WELL, None, Conditions())
    (dose,) = [d for d in vessel.doses if d.acid == acid and not d.antiscalant]
    text = Path("cases/well_sulfate.toml").read_text("utf-8")
    head, _, links = text.partition("[flowsheet]")
    links = links.replace('> ro"', '> acid > ro"', 1)
    assert "acid" in links
    path = tmp_path / "dosed.toml"
    path.write_text(head + ACID.format(acid=acid, dose=1e3 * dose.dose) + "\n[flowsheet]" + links,
                    "utf-8")  # fmt: skip
    dosed = cases.load(str(path))
    verdict = judge(dosed.solve())
    assert_allclose(value(verdict, "ro.carbonate_index"), 0.0, atol=2e-3)
    assert_allclose(value(verdict, "acid.ph_behind"), dose.ph, atol=2e-3)
    assert_allclose(value(verdict, "ro.saturation.gypsum"), dose.gypsum, rtol=2e-3)
    (again,) = scale_doses(dosed, None, Conditions())
    left = [d.dose for d in again.doses if d.acid == acid and not d.antiscalant]
    assert left[0] < 0.01 * dose.dose  # on top of what is dosed, nothing more


def test_more_recovery_takes_more_acid_and_sulfate_counts():
    doses = []
    for recovery in (0.3, 0.5, 0.7):
        (vessel,) = scale_doses(WELL, recovery, Conditions())
        doses.append({d.acid: d for d in vessel.doses if not d.antiscalant})
    for acid in doses[0]:
        assert np.all(np.diff([d[acid].dose for d in doses]) > 0)
        assert np.all(np.diff([d[acid].ph for d in doses]) < 0)
    assert doses[1]["sulfuric_acid"].gypsum > doses[1]["hydrochloric_acid"].gypsum
    # equivalents are the same: 49.04 against 36.46 g, by atomic weights
    ratio = doses[1]["sulfuric_acid"].dose / doses[1]["hydrochloric_acid"].dose
    assert_allclose(ratio, 98.079 / 2 / 36.461, rtol=0.01)


def test_the_worst_condition_is_told_and_both_are_solved():
    texts = ["water.temperature=15 degC,30 degC"]
    cold, warm = scale_doses(WELL, 0.5, conditions_of(WELL, texts, ()))
    assert levels(warm)["calcite"][0] > levels(cold)["calcite"][0]
    assert levels(cold)["silica"][0] > levels(warm)["silica"][0]
    run = treatsim("scaling", "cases/well_sulfate.toml", "--recovery", "50 %", "--throughout",
                   texts[0])  # fmt: skip
    assert run.status == 0
    line = next(line for line in run.out.splitlines() if line.startswith(" calcite"))
    assert "30 degC" in line
    assert f"{levels(warm)['calcite'][0]:.3g}" in line


@pytest.mark.parametrize(
    ("case", "recovery", "words"),
    [
        ("cases/river.toml", None, "no membranes"),
        ("cases/sea_two_pass.toml", "40 %", "is of one vessel"),
        ("cases/well_sulfate.toml", "99.9 %", "lies beyond the chemistry"),
        ("cases/well_sulfate.toml", "0 %", "above 0 and below 100 %"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_a_line(case, recovery, words):
    more = () if recovery is None else ("--recovery", recovery)
    run = treatsim("scaling", case, *more)
    assert run.status == 2
    assert words in run.err
    assert "Traceback" not in run.err


def test_beyond_a_limit_is_no_success():
    run = treatsim("scaling", "cases/sea.toml", "--recovery", "45 %", "--json")
    assert run.status == 1  # nothing is dosed there
    assert json.loads(run.out)["vessels"][0]["beyond_limits"]
