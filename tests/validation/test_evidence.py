"""The rows of reference values are written by one scheme, and the README counts them right."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest
from evidence import CHECKS, KINDS, KNOWN, deviation, faults
from package import source_keys

README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
SUBJECTS = {
    "ultraviolet light": "uv",
    "osmotic pressure, density, viscosity": "osmosis",
    "water chemistry": "chemistry",
    "reverse osmosis": "ro",
    "normalisation": "normalisation",
    "hydraulics, settling, filters": "pretreatment",
    "disinfection credit, chlorine, people": "safety",
    "reports, data sheets, bench readings": "papers",
    "sun, weather, array": "sun",
    "battery, dispatch": "battery",
    "start-up": "startup",
    "bounds of what may be typed in": "quantities",
}
PROGRAMS = {  # what may have computed the value of a second program
    "independent_vessel",
    "independent quadrature",
    "independent ion interaction",
    "parkhurst_appelo_2013",  # PHREEQC itself
    "fluids_library",
    "CoolProp library",
    "gsw library",
    "pvlib library",
    "independent_dispatch",
    "independent_solar_year",
    "scipy library",
}
NO_PAPER = {"definition", "common practice"}
COLUMNS = [*KINDS, "all", "from memory", "findings"]


def test_every_row_is_written_by_the_scheme():
    assert [fault for key, row in CHECKS.items() for fault in faults(key, row)] == []


def test_a_source_is_a_key_a_program_or_a_citation_with_its_year():
    known = source_keys() | PROGRAMS | NO_PAPER
    cited = {row["source"] for row in CHECKS.values()} - known
    loose = [text for text in cited if not re.search(r"\b(?:19|20)\d\d\b", text)]
    assert sorted(loose) == [
        "Ali et al. field study (research-fund summary)",
        "CRC Handbook, electrical conductivity of aqueous solutions",
        "New Zealand brigade field test, post in a professional forum",
        "Saunders, MSPH thesis, University of North Carolina",
        "design example, wastewater-engineering text",
        "measurements collected in usgs-coupled/phreeqc3",
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_and_how_it_is_known_agree(kind):
    for key, row in CHECKS.items():
        if row["kind"] != kind:
            continue
        if kind == "second program":
            assert row["source"] in PROGRAMS, key
            assert "computed" in row["known"], key
        else:
            assert row["source"] not in PROGRAMS, key
        if kind in ("regulation", "measurement", "worked example"):
            assert row["known"] != "computed", f"{key}: who printed or measured it?"


def test_kinds_and_ways_of_knowing_are_explained_and_used():
    assert {row["kind"] for row in CHECKS.values()} == set(KINDS)
    assert {row["known"] for row in CHECKS.values()} == set(KNOWN)


def test_no_band_is_drawn_around_a_result():
    for key, row in CHECKS.items():
        words = " ".join(str(row.get(name, "")) for name in ("why", "note"))
        assert not re.search(r"\bband of\b|our (?:own )?(?:result|value)", words), key


@pytest.mark.parametrize(
    ("row", "computed", "share"),
    [
        ({"expected": 2.0, "atol": 0.5}, 2.25, 0.5),
        ({"expected": 2.0, "rtol": 0.1}, 1.6, 2.0),
        ({"expected": 2.0, "range": [1.0, 4.0]}, 3.0, 0.5),
        ({"expected": 2.0, "range": [1.0, 4.0]}, 0.5, 1.5),
        ({"expected": 2.0, "rtol": 0, "bound": "at most"}, 1.0, 0.0),
        ({"expected": 2.0, "atol": 1.0, "bound": "at least"}, 0.0, 2.0),
        ({"expected": [1.0, 2.0], "rtol": 0}, [1.0, 2.1], float("inf")),
        ({"expected": 1.0, "rtol": 0.1}, float("nan"), float("inf")),
    ],
)
def test_how_a_deviation_is_counted(row, computed, share):
    assert deviation(row, computed) == pytest.approx(share)


def test_a_badly_written_row_is_told():
    row = {"quantity": "x", "expected": 1.0, "unit": "1", "source": "a", "kind": "b", "known": "c"}
    told = " ".join(faults("Z1", row | {"colour": "red"}))
    for word in ("colour", "one of atol", "kind 'b'", "known 'c'"):
        assert word in told
    assert "expected is missing" in " ".join(faults("Z2", {}))


def counts(subject):
    rows = [row for row in CHECKS.values() if row["file"] == subject]
    kinds = Counter(row["kind"] for row in rows)
    memory = sum(row["known"].startswith("memory") for row in rows)
    findings = sum("finding" in row for row in rows)
    return [*(kinds[kind] for kind in KINDS), len(rows), memory, findings]


def test_the_evidence_counts_of_the_readme_are_those_of_the_data():
    header, _, *lines = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in README[README.index("| subject |") :].split("\n\n")[0].splitlines()
    ]
    assert header == ["subject", *COLUMNS]
    told = {name: [int(cell) for cell in cells] for name, *cells in lines}
    wanted = {name: counts(stem) for name, stem in SUBJECTS.items()}
    assert {row["file"] for row in CHECKS.values()} == set(SUBJECTS.values())
    wanted["all"] = [sum(column) for column in zip(*wanted.values(), strict=True)]
    assert told == wanted


def test_the_readme_tells_every_finding():
    """One bullet for each reason, with its number of rows; doubtful references in one bullet."""
    reasons = Counter(
        "doubtful" if "doubtful side" in row["finding"] else row["finding"]
        for row in CHECKS.values()
        if "finding" in row
    )
    section = README.split("**What measurements say against us.**")[1].split("\n## ")[0]
    bullets = [part.split("\n\n")[0] for part in re.split(r"^- ", section, flags=re.MULTILINE)[1:]]
    told = [int(number) for text in bullets for number in re.findall(r"\((\d+) rows?\)", text)]
    assert len(told) == len(bullets)
    assert sorted(told) == sorted(reasons.values())
