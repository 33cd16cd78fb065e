"""Dated guideline values, the reading of analytes, and the check before and after treatment."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim.errors import DomainError, RequestError
from treatsim.safety import analytes, guideline_values

MG = 1e-3
VALUES = guideline_values.guidelines()
CHECKED = (
    "arsenic", "barium", "cadmium", "chromium", "copper", "lead", "manganese", "mercury",
    "antimony", "fluoride", "nitrate", "boron", "nitrite", "uranium", "nickel", "selenium",
    "free_chlorine", "chlorate", "bromate", "microcystin_lr",
)  # fmt: skip


@pytest.mark.parametrize("analyte", CHECKED)
def test_health_values(agree, analyte):
    agree(f"G_{analyte}", VALUES["health", analyte].limit / MG)


def test_every_value_is_dated_and_has_its_origin():
    from treatsim import sources

    for guideline in VALUES.values():
        assert guideline.edition >= 2011
        assert guideline.source in sources.load()
        assert guideline.known in ("read", "memory")


# Every health row, apart from the data file: whether the edition of 2022 marks it provisional, and
# how that is known. "read": the mark stood beside the value in a copy; the others from memory.
MARKS = {
    "antimony": (False, "read"), "arsenic": (True, "read"), "barium": (False, "read"),
    "boron": (False, "read"), "bromate": (True, "memory"), "cadmium": (False, "read"),
    "chlorate": (True, "memory"), "free_chlorine": (False, "memory"), "chromium": (False, "read"),
    "copper": (False, "read"), "fluoride": (False, "read"), "lead": (True, "read"),
    "manganese": (True, "read"), "mercury": (False, "read"), "microcystin_lr": (True, "memory"),
    "nickel": (False, "memory"), "nitrate": (False, "read"), "nitrite": (False, "memory"),
    "selenium": (True, "memory"), "uranium": (True, "memory"), "e_coli": (False, "memory"),
}  # fmt: skip


def test_provisional_marks_are_those_of_the_edition():
    rows = {name: value for (kind, name), value in VALUES.items() if kind == "health"}
    assert {name: (row.provisional, row.known) for name, row in rows.items()} == MARKS
    assert {(row.source, row.edition) for row in rows.values()} == {("who_gdwq_2022", 2022)}
    assert not any(value.provisional for (kind, _), value in VALUES.items() if kind == "taste")
    assert "0.012 mg/L" in rows["microcystin_lr"].note  # the value for some weeks is another


def test_reading_text():
    assert_allclose(analytes.read_analyte("arsenic", "12 ug/L"), 12e-6, rtol=1e-12, atol=0)
    assert_allclose(analytes.read_analyte("turbidity", "3 NTU"), 3.0, rtol=0, atol=0)
    for text in ("3 per 100 mL", "3 CFU/100 mL", "30 1/L"):
        assert_allclose(analytes.read_analyte("e_coli", text), 3e4, rtol=1e-12, atol=0)


def test_nitrate_as_nitrogen_is_another_number():
    as_nitrate = analytes.read_analyte("nitrate", "50 mg/L as NO3")
    as_nitrogen = analytes.read_analyte("nitrate", "50 mg/L as N")
    assert_allclose(as_nitrogen / as_nitrate, 62.0049 / 14.0067, rtol=1e-12, atol=0)
    within = guideline_values.check({"nitrate": analytes.read_analyte("nitrate", "11.2 mg/L as N")})
    above = guideline_values.check({"nitrate": analytes.read_analyte("nitrate", "11.4 mg/L as N")})
    assert not within[0].exceeds
    assert above[0].exceeds
    assert_allclose(
        analytes.read_analyte("ammonia", "1 mg/L as N"), 17.0305 / 14.0067 * MG, rtol=1e-12, atol=0
    )


@pytest.mark.parametrize(
    ("analyte", "text", "words"),
    [
        ("nitrate", "45 mg/L", "basis is missing"),
        ("nitrate", "45 mg/L as NO2", "not known"),
        ("nitrite", "1 mg/L", "basis is missing"),
        ("ammonia", "1 mg/L", "basis is missing"),
        ("hardness", "120 mg/L", "basis is missing"),
        ("iron", "1 mg/L as Fe2O3", "no meaning"),
        ("arsenic", "0.01", "unit is missing"),
        ("arsenic", 0.01, "unit is missing"),
        ("arsenic", "1 ppm", "ambiguous"),
        ("arsenic", "1 bar", "wrong dimension"),
        ("turbidity", "3 mg/L", "wrong dimension"),
        ("lead", "-1 ug/L", "allowed"),
        ("lead", "some", "number"),
    ],
)
def test_analytes_refused(analyte, text, words):
    with pytest.raises(RequestError, match=words):
        analytes.read_analyte(analyte, text)


def test_check_over_points():
    found = guideline_values.check({"arsenic": np.array([0.009, 0.010, 0.011]) * MG})
    assert len(found) == 1
    assert list(found[0].exceeds) == [False, False, True]
    assert_allclose(found[0].share, [0.9, 1.0, 1.1], rtol=1e-12, atol=0)
    counts = guideline_values.check({"e_coli": np.array([0.0, 1e4])})[0]
    assert list(counts.exceeds) == [False, True]
    assert list(counts.share) == [0, np.inf]
    both = guideline_values.check({"manganese": 0.09 * MG})
    assert [(item.guideline.kind, bool(item.exceeds)) for item in both] == [
        ("health", True),
        ("taste", False),
    ]


def test_unknown_or_negative_analyte_is_refused():
    with pytest.raises(DomainError, match="kryptonite"):
        guideline_values.check({"kryptonite": 1.0})
    with pytest.raises(DomainError):
        guideline_values.check({"arsenic": -1.0})


def test_before_and_after():
    before = {"nitrate": 60 * MG, "arsenic": 0.02 * MG, "fluoride": 1.0 * MG, "boron": 4.5 * MG}
    after = {"nitrate": 30 * MG, "boron": 2.5 * MG, "fluoride": 0.9 * MG, "lead": 0.02 * MG}
    found = guideline_values.compare(before, after)
    remarks = {item.guideline.analyte: item.remark for item in found}
    assert "depends on the treatment" in remarks["nitrate"]
    assert "not measured after" in remarks["arsenic"]
    assert remarks["arsenic"].startswith("above")
    assert remarks["boron"] == "above the value after treatment"
    assert remarks["fluoride"].startswith("within")
    assert "not measured before" in remarks["lead"]


def test_national_values_override(tmp_path):
    path = tmp_path / "national.toml"
    path.write_text(
        '[health.boron]\nlimit = "1.5 mg/L"\nedition = 2020\nsource = "national"\nknown = "read"\n'
        '[health.nitrate]\nlimit = "10 mg/L"\nbasis = "N"\nedition = 2020\nsource = "national"\n'
        'known = "read"\n'
    )
    national = guideline_values.guidelines(path)
    assert len(national) == len(VALUES)
    assert_allclose(national["health", "boron"].limit, 1.5 * MG, rtol=1e-12, atol=0)
    assert_allclose(national["health", "nitrate"].limit, 44.268 * MG, rtol=1e-4, atol=0)
    assert VALUES["health", "boron"].limit > national["health", "boron"].limit
    assert guideline_values.check({"boron": 2 * MG}, national)[0].exceeds
    assert not guideline_values.check({"boron": 2 * MG})[0].exceeds


@pytest.mark.parametrize(
    "text",
    [
        '[health.boron]\nlimit = "1.5"\nedition = 2020\nsource = "x"\nknown = "read"\n',
        '[health.nitrate]\nlimit = "50 mg/L"\nedition = 2020\nsource = "x"\nknown = "read"\n',
        '[health.boron]\nlimit = "1.5 mg/L"\nsource = "x"\nknown = "read"\n',
        '[health.boron]\nlimit = "1 mg/L"\nedition = 2020\nsource = "x"\nknown = "read"\nodd = 1\n',
        '[odour.boron]\nlimit = "1 mg/L"\nedition = 2020\nsource = "x"\nknown = "read"\n',
    ],
)
def test_faulty_national_file_is_refused(tmp_path, text):
    path = tmp_path / "national.toml"
    path.write_text(text)
    with pytest.raises(RequestError):
        guideline_values.guidelines(path)


def test_nitrate_and_nitrite_count_together():
    share = guideline_values.nitrate_nitrite_share(25 * MG, np.array([0.0, 1.5, 3.0]) * MG)
    assert_allclose(share, [0.5, 1.0, 1.5], rtol=1e-12, atol=0)


def test_taste_panel():
    words = guideline_values.taste_class(np.array([0.3, 0.31, 0.6, 0.9, 1.2, 1.21]))
    expected = ["excellent", "good", "good", "fair", "poor", "unacceptable"]
    assert list(words) == expected


def test_what_no_stage_removes():
    none, part = guideline_values.not_removed(False)
    assert {"arsenic", "fluoride", "nitrate", "pesticides", "salt", "fuel", "pfas"} <= set(none)
    assert not part
    none, part = guideline_values.not_removed(True)
    assert {"boron", "nitrate", "ammonia", "arsenic"} <= set(part)
    assert "hydrogen_sulfide" in none
    assert not set(none) & set(part)
