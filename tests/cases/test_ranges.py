"""A case that leaves the range of a formula says so, and --strict refuses it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from treatsim import cases, cli
from treatsim.water.analysis import of_salt
from treatsim.water.water_table import water_table

ROOT = Path(__file__).parents[2]
LEFT = [
    ("river", {"water.uv_transmittance": "1.0 %"}, "uv: fluence rate of a lamp in an annulus"),
    ("river", {"water.temperature": "5 degC"}, "uv: lamp output without a temperature factor"),
    ("river_chlorine", {"water.temperature": "2 degC"}, "chlorine: acid constant of HOCl"),
    (
        "river_chlorine",
        {"water.temperature": "2 degC", "chlorine.ph": "7.0"},
        "chlorine: acid constant of HOCl",
    ),
    ("sea", {"water.temperature": "2 degC"}, "ro: temperature correction of membrane"),
    ("sea", {"water.temperature": "2 degC"}, "ro: spacer channel"),
    ("sea", {}, "ro: boric acid constant in sea water: salinity"),
]
KEPT = [
    ("river", {}),
    ("river", {"water.temperature": "5 degC", "uv.temperature_factor": "0.9"}),
    ("river_chlorine", {}),
    ("brackish_well", {}),
]


def strict(case, changes, capsys):
    sets = [part for key, value in changes.items() for part in ("--set", f"{key}={value}")]
    status = cli.main(["solve", str(ROOT / f"cases/{case}.toml"), "--strict", *sets])
    lines = [line for line in capsys.readouterr().err.splitlines() if "lies outside" in line]
    return status, lines


@pytest.mark.parametrize(("case", "changes", "words"), LEFT)
def test_what_leaves_a_range_is_refused(case, changes, words, capsys):
    status, lines = strict(case, changes, capsys)
    assert status == cli.Exit.NOT_MET
    assert any(line.startswith(f"--strict: {words}") for line in lines), lines


@pytest.mark.parametrize(("case", "changes"), KEPT)
def test_what_stays_inside_is_not(case, changes, capsys):
    assert strict(case, changes, capsys)[1] == []


def test_each_of_many_points_is_told_for_itself():
    case = cases.load(str(ROOT / "cases/river.toml"))
    result = case.solve({"water.temperature": np.array([280.0, 290.0, 304.0])})
    ((unit, beyond),) = result.excursions
    assert unit == "uv"
    assert_array_equal(beyond.outside, [True, False, True])
    assert beyond.worst == 280.0


@pytest.mark.parametrize(
    ("kind", "salinity", "words"),
    [
        ("seawater", 0.125, ["TEOS-10 saline water"]),
        ("seawater", 0.16, ["table of seawater", "TEOS-10 saline water", "sea water viscosity"]),
        ("seawater", 0.119, []),
        ("sodium_chloride", 0.19, []),
        ("sodium_chloride", 0.21, ["table of sodium_chloride water"]),
        (
            "sodium_chloride",
            0.27,
            ["table of", "sodium chloride density", "Pitzer"],
        ),
    ],
)
def test_a_water_tells_its_formulas_apart(kind, salinity, words):
    """Where sea salt is concentrated beyond TEOS-10 (0.12 kg/kg) its table still goes on."""
    water = water_table(of_salt(kind, mass_fraction=0.035))
    found = [e.range.formula for e in water.excursions(np.array([0.03, salinity]), 298.0)]
    assert len(found) == len(words)
    assert all(f.startswith(w) for f, w in zip(found, words, strict=True)), found
    (cold,) = water.excursions(0.03, 320.0)
    assert cold.range.name == "temperature"


def test_a_brine_beyond_its_source_has_no_answer():
    """Above 120 g/kg at the membrane the osmotic pressure is no longer TEOS-10's: no numbers."""
    changes = {"water.salinity": "95 g/kg", "high_pressure_pump.outlet_pressure": "119 bar"}
    result = cases.load(str(ROOT / "cases/sea.toml"), changes).solve()
    assert "leaves the range of the water" in result.reason(0)
    assert "TEOS-10 saline water" in [e.range.formula for _, e in result.excursions]
