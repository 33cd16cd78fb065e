"""What is dissolved: detected or not, tested for health or for taste only, and salt at the valve.

Who is hurt: who drinks arsenic that a weak method could not see, or water that was tested for iron
alone and is called judged.
"""

from functools import cache

import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.safety.verdict import judge

DETECTED = "arsenic in the product"
UNSEEN = "arsenic in the product, at most its limit of detection"


@cache
def river():
    return cases.load("cases/river_chlorine.toml")


def judged(analytes, after=None):
    table = analytes | ({"after": after} if after else {})
    return judge(cases.interpret({**river().data, "analytes": table}, "river.toml").solve())


def rows(verdict):
    return {limit.name: limit.state() for limit in verdict.limits}


@pytest.mark.parametrize(
    ("source", "after", "name", "state"),
    [  # who_gdwq_2022: 0.01 mg/L
        ("0.0099 mg/L", None, DETECTED, "met"),
        ("0.0101 mg/L", None, DETECTED, "not_met"),
        ("< 0.005 mg/L", None, UNSEEN, "met"),
        ("< 0.02 mg/L", None, UNSEEN, "not_judged"),
        ("0.02 mg/L", "< 0.02 mg/L", UNSEEN, "not_judged"),
        ("0.02 mg/L", "< 0.005 mg/L", UNSEEN, "met"),
        ("< 0.02 mg/L", "0.005 mg/L", DETECTED, "met"),
        ("< 0.02 mg/L", "0.02 mg/L", DETECTED, "not_met"),
    ],
)
def test_what_was_not_detected_is_met_only_where_its_limit_of_detection_is(
    source, after, name, state
):
    found = judged({"arsenic": source}, {"arsenic": after} if after else None)
    own = {key: value for key, value in rows(found).items() if key.startswith("arsenic")}
    assert own == {name: state}
    assert any("not detected: arsenic" in words for words in found.choices) == (name == UNSEEN)


def test_a_water_tested_for_taste_alone_is_not_judged():
    for analytes, judged_at_all in (({"iron": "0.1 mg/L"}, False), ({"lead": "1 ug/L"}, True)):
        found = judged(analytes)
        assert ("what is dissolved" not in rows(found)) == judged_at_all
        assert judged_at_all or found.state() != "met"


@pytest.mark.parametrize(("iron", "told"), [("0.1 mg/L", 0), ("5 mg/L", 1), ("< 5 mg/L", 0)])
def test_taste_is_told_of_what_was_found_and_of_nothing_else(iron, told):
    found = judged({"iron": iron, "arsenic": "0.02 mg/L"})
    noticed = [words for words in found.told() if "may be noticed" in words]
    assert len(noticed) == told
    assert all("iron of 5 mg/L" in words for words in noticed)


def test_nitrate_and_nitrite_count_together():
    """who_gdwq_2022: 50 and 3 mg/L; 30/50 + 1.5/3 = 1.1, though each is within its value."""
    found = judged({"nitrate": "30 mg/L as NO3", "nitrite": "1.5 mg/L as NO2"})
    assert_allclose(found.value("analytes.nitrate_and_nitrite").value, 1.1, rtol=1e-6)
    assert [limit.name for limit in found.of_state("not_met") if limit.quantity == "factor"] == [
        "nitrate and nitrite together"
    ]
    assert "nitrate and nitrite together" not in rows(judged({"nitrate": "30 mg/L as NO3"}))


def test_the_share_of_time_untreated_is_told_where_there_is_any():
    """Of 8 h: held against the twentieth that a month may fall outside (cfr_141_720)."""
    for seconds, shown in (([0.0], False), ([600.0], True), ([0.0, 600.0], True)):
        found = judge(river().solve({"health.untreated_time": seconds}))
        assert ("health.treated_share" in found.values) == shown
        assert any(row.address == "health.treated_share" for row in found.limits) == shown
    assert {"cfr_141_74", "cfr_141_720"} <= set(found.sources)
