"""What would help a membrane train whose limits are missed, each remedy solved anew."""

import numpy as np
import ro_plant

from treatsim import cases
from treatsim.operations.ro_vessel import RoVessel, RoVesselParameters
from treatsim.safety.verdict import judge
from treatsim.studies.remedies import GRID, Remedy, _missed, remedies

LINKS = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]


def helped(pressure, **ro):
    """Texts of what helps a sea-water vessel, by the limits that each meets."""
    units = {"pump": ro_plant.pump(2.2, pressure), "ro": ro_plant.vessel(elements=5, **ro),
             "valve": ro_plant.VALVE}  # fmt: skip
    case = ro_plant.case(ro_plant.sea(36.5, 26.0, ph=8.1), units, LINKS)
    verdict = judge(case.solve())
    assert verdict.broken[0]
    return {found.text: found for found in remedies(case, verdict)}


def test_less_pressure_where_flux_and_recovery_are_too_high():
    found = helped(62.0)
    (less,) = [f for text, f in found.items() if text.startswith("less pressure")]
    assert {"mean flux of the vessel (ro)", "mean flux of the first element (ro)"} <= set(
        less.closes
    )
    (dosed,) = [f for text, f in found.items() if "dose an antiscalant" in text]
    assert dosed.closes == ("index of calcium carbonate, Stiff and Davis (ro)",)
    assert "mean flux of the vessel (ro)" in dosed.leaves


def test_what_meets_nothing_and_moves_little_is_no_remedy(monkeypatch):
    """A clean sleeve takes a third of what the dose lacks, a new lamp three quarters."""
    case = cases.load("cases/river_beyond.toml")
    verdict = judge(case.solve())

    def worth(share):
        monkeypatch.setattr("treatsim.studies.remedies.WORTH", share)
        return [" ".join(found.text.split()[:3]) for found in remedies(case, verdict)]

    assert worth(0.3) == ["slow down: lift_pump.speed", "put a new", "clean the sleeve"]
    assert worth(0.4) == ["slow down: lift_pump.speed", "put a new"]
    assert worth(0.9) == ["slow down: lift_pump.speed"]  # meets the limit: told whatever it moves


def test_all_inputs_are_tried_together(monkeypatch):
    """Two solves of many points, beside one for each change that is no setting."""
    sizes, solve = [], cases.Case.solve

    def counted(case, arrays=None):
        sizes.append(max((np.size(value) for value in (arrays or {}).values()), default=1))
        return solve(case, arrays)

    monkeypatch.setattr(cases.Case, "solve", counted)
    assert any(text.startswith("less pressure") for text in helped(62.0))
    assert len([size for size in sizes if size > 1]) == 2
    assert max(sizes) > 3 * GRID


def test_an_input_left_where_it_stands_is_no_remedy():
    for text in helped(62.0):
        if "outlet_pressure = " in text:
            assert "outlet_pressure = 62 bar" not in text


def test_what_is_done_already_is_not_proposed():
    assert not any("antiscalant" in text for text in helped(62.0, antiscalant="dosed"))
    new, worn = ro_plant.vessel(), ro_plant.vessel(water_permeability_ratio=0.8)
    mends = [
        [mend.words for mend in RoVessel(name="ro", parameters=record(table)).mends()]
        for table in (new, worn)
    ]
    assert not any("new elements" in words for words in mends[0])
    assert "put new elements into ro" in mends[1]


def record(table):
    return RoVesselParameters(**{k: v for k, v in table.items() if k != "kind"})


def test_two_vessels_that_miss_the_same_are_counted_apart():
    """What is met in one and missed in the other is not told as met, and is counted."""
    units = {"pump": ro_plant.pump(2.2, 62.0), "ro": ro_plant.vessel(elements=2),
             "rear": ro_plant.vessel(elements=2), "join": {"kind": "combining_tee"},
             "valve": ro_plant.VALVE}  # fmt: skip
    links = ["pump > ro", "ro.concentrate > rear", "rear.concentrate > valve > outfall",
             "ro.permeate > join.run", "rear.permeate > join.branch", "join > tank"]  # fmt: skip
    case = ro_plant.case(ro_plant.sea(36.5, 26.0, ph=8.1), units, links)
    for found in remedies(case, judge(case.solve())):
        assert not set(found.closes) & set(found.leaves)
        assert {"mean flux of the vessel (ro)", "mean flux of the vessel (rear)"} <= {
            *found.closes, *found.leaves
        }  # fmt: skip


def test_one_limit_for_another_is_no_remedy(monkeypatch):
    """A try by a stranger: a booster turned up broke a third limit and was called help."""
    case = cases.load("cases/brackish_well.toml", {"concentrate_tee.fraction": "80 %"})
    verdict = judge(case.solve())
    (missed,) = _missed(verdict, 0)
    swap = Remedy("swap", (missed,), ("another limit",), 0.0)
    cure = Remedy("cure", (missed,), (), 0.0)
    monkeypatch.setattr("treatsim.studies.remedies._moved", lambda *_: [swap, cure])
    texts = [found.text for found in remedies(case, verdict)]
    assert "cure" in texts
    assert "swap" not in texts
