"""What a solved train hands to the rules of its barriers, and to the pH of its product.

Who is hurt: who drinks light's water that is darker than its report, or a permeate that is told to
have the pH of the well.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from ro_plant import number

from treatsim import cases
from treatsim.safety.barrier_rules import RULES, train_barriers
from treatsim.safety.evidence import HealthParameters
from treatsim.safety.parts.membranes import antiscalant_reaches
from treatsim.safety.verdict import judge

WELL = {"kind": "ions", "temperature": "25 degC", "ph": 7.3,
        "ions": {"Na": "850 mg/L", "Mg": "110 mg/L", "Ca": "210 mg/L", "Cl": "1500 mg/L",
                 "SO4": "520 mg/L", "HCO3": "330 mg/L"}}  # fmt: skip
ACID = {"kind": "chemical_dosing", "chemical": "hydrochloric_acid", "dose": "20 mg/L",
        "strength": "30 %", "stock_density": "1150 kg/m3"}  # fmt: skip


def river(values=None, **changes):
    case = cases.load("cases/river_chlorine.toml", {k.replace("__", "."): v for k, v in
                                                    changes.items()})  # fmt: skip
    return judge(case.solve(values))


def train(water, values=None, acid=False, pressure=12.0):
    element = "brackish-4in" if pressure < 30 else "seawater-4in"
    units = {"pump": ro_plant.pump(2.4, pressure), "valve": ro_plant.VALVE,
             "ro": ro_plant.vessel(element, 4)}  # fmt: skip
    links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
    if acid:
        units |= {"acid": ACID, "intake": {"kind": "intake", "flow": "2.4 m3/h",
                                           "pressure": "2 bar"}}  # fmt: skip
        units["pump"] = ro_plant.pump(None, pressure)
        links[0] = "intake > acid > pump > ro"
    return judge(ro_plant.case(water, units, links).solve(values))


def notes(verdict):
    return [note for note in verdict.added.notes if "eats at metal" in note]


@pytest.mark.parametrize(("clear", "stands"), [("79 %", False), ("81 %", True)])
def test_light_counts_down_to_the_transmittance_of_its_report(clear, stands):
    """The report was made at 80 %."""
    barrier = river(water__uv_transmittance=clear).germs.barriers["uv"]
    assert bool(np.all(barrier.earned("giardia") > 0)) == stands
    assert any("transmittance" in words for words in barrier.broken()) != stands


@pytest.mark.parametrize("kept", ["dark", "daylight"])
def test_water_kept_in_daylight_is_told_what_bacteria_repair(kept):
    barrier = river(health__treated_water_kept=kept).germs.barriers["uv"]
    assert any("repair" in words for words in barrier.missing) == (kept == "daylight")


def test_barriers_that_fail_together_name_each_other_and_nobody_else():
    found = river().germs.barriers
    told = {name: [w for w in b.missing if "cause of failure" in w] for name, b in found.items()}
    assert [name for name, words in told.items() if words] == ["bags", "cartridges"]
    assert "that cartridges does not share" in told["bags"][0]
    assert "that bags does not share" in told["cartridges"][0]


def test_points_without_an_answer_earn_as_little_as_they_disturb():
    found = river({"lift_pump.speed": np.array([0.74, 0.02])})
    assert list(found.result.solved) == [True, False]
    for name, barrier in river().germs.barriers.items():
        many = np.broadcast_to(found.germs.barriers[name].earned("giardia"), (2,))
        assert_allclose(many[0], barrier.earned("giardia"), rtol=1e-9)


@pytest.mark.parametrize(("volumes", "owes"), [((None, None), True), ((None, 2.0), False)])
def test_dosed_chlorine_without_a_tank_earns_nothing_and_asks_for_one(volumes, owes):
    units = {str(n): SimpleNamespace(usable_volume=lambda v=v: v) for n, v in enumerate(volumes)}
    result = SimpleNamespace(sheet=SimpleNamespace(units=units))
    barrier = RULES["awaits_contact"].barrier(result, None, None, None, None)
    assert (barrier is not None) == owes
    assert not owes or ("storage_tank" in barrier.missing[0] and not barrier.earned("virus"))


def test_osmosis_earns_by_conductivity_that_counts_feed_salt_low():
    """Sea water conducts about a quarter less per gram (common practice): 0.74 of the feed's."""
    result = ro_plant.simple(ro_plant.salt(3.0), 2.4, 12.0, ro_plant.vessel("brackish-4in", 4))
    proof = HealthParameters(survey_done="yes", ro_conductivity_read="yes")
    ratio = number(result, "ro.feed.concentration") / number(result, "ro.permeate.concentration")
    earned = train_barriers(result, proof, None)["ro"].earned("virus")
    assert_allclose(earned, np.log10(0.74 * ratio), rtol=1e-9)
    assert earned < 2.0


def test_an_antiscalant_counts_from_its_least_dose():
    for stated, dose, reaches in (("none", 0.0, False), ("none", 0.99, False), ("none", 1.0, True),
                                  ("dosed", 0.0, True)):  # fmt: skip
        view = SimpleNamespace(of_parameter=lambda name, stated=stated: stated)
        assert antiscalant_reaches(view, {"antiscalant": dose}) == reaches


def test_a_permeate_is_told_its_own_ph_and_not_that_of_the_well():
    found = train(WELL)
    assert_allclose(number(found, "product.ph"), number(found, "ro.permeate.ph"), atol=1e-6)
    assert number(found, "product.ph") < 6.0
    assert not [x for x in found.limits if x.address == "product.ph"]
    assert f"pH of {number(found, 'product.ph'):.2f}" in notes(found)[0]
    both = train(WELL, {"pump.outlet_pressure": np.array([8e5, 20e5])})
    low, high = sorted(f"pH of {ph:.2f}" for ph in np.ravel(both.value("product.ph").value))
    assert low < high
    assert low in notes(both)[0]  # the most acid of the points
    assert not notes(train(WELL | {"ph": 8.8}))


def test_the_share_of_a_blend_is_that_of_the_best_taste_class():
    """300 mg/L by mixing; a point without an answer takes it from no other. Feed salt is not told
    below the vessel, nor boron that nobody knows the passage of."""
    found = train(WELL, {"pump.outlet_pressure": np.array([12e5, 1e5])})
    assert list(found.result.solved) == [True, False]
    raw = float(np.ravel(found.result.sheet.source.concentration)[0])
    salt = float(np.ravel(found.value("ro.permeate.concentration").value)[0])
    share = np.ravel(found.value("ro.blend_share").value)[0]
    assert_allclose(share * raw + (1 - share) * salt, 0.3, rtol=1e-9)
    assert "ro.feed.sodium" not in found.values
    assert not any("boric acid" in note for note in found.added.notes)


def test_acid_in_a_water_of_unknown_ph_is_not_judged():
    found = train(ro_plant.sea(35.0), acid=True, pressure=52.0)
    states = {x.address: x.state() for x in found.limits if x.key in ("ph", "ph_min", "ph_max")}
    assert states == dict.fromkeys(("product.ph", "ro.ph_min", "ro.ph_max"), "not_judged")
    assert not set(states) & set(found.values)
    known = train(WELL, acid=True)
    rows = {x.name: x for x in known.limits if x.address == "product.ph"}
    assert rows["lowest pH of the product"].state() == "not_met"
    assert "less base" in rows["highest pH of the product"].advice
