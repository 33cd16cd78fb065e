"""The five lines of Python that a notebook needs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

import treatsim
from treatsim import errors

RIVER = Path(__file__).parents[2] / "cases" / "river.toml"


@pytest.fixture(scope="module")
def case():
    return treatsim.load(RIVER)


def test_solve(case):
    point = treatsim.solve(case)
    assert not point.meets
    assert point.state == "not_judged"
    assert point.text("uv.dose_credited").endswith("mJ/cm2")
    frame = point.to_pandas().set_index("address")
    assert_allclose(
        frame.loc["uv.dose_credited", "value"] * 10, point["uv.dose_credited"], rtol=1e-12
    )
    assert point.to_pandas("us").set_index("address").loc["product.flow", "unit"] == "gal/min"
    assert "UV dose for 3 log" in point._repr_html_()


def test_no_solution_is_raised():
    with pytest.raises(errors.NoSolutionError, match="nothing flows"):
        treatsim.solve(treatsim.load(RIVER, {"hose.rise": "200 m"}))


def test_sweep_and_find(case):
    table = treatsim.sweep(case, {"lift_pump.speed": "50 %:100 %:11"})
    frame = table.to_pandas()
    assert len(frame) == len(table) == 11
    assert frame["status"].iloc[-1].startswith("not met")
    assert table._repr_html_().count("<tr>") == 12
    found = treatsim.find(case, "lift_pump.speed", "uv.dose_credited >= 12 mJ/cm2")
    assert_allclose(found.to_pandas()["to [%]"], [100 * found.largest], rtol=1e-12)
    assert "<table>" in found._repr_html_()
    best = treatsim.find(case, "lift_pump.speed", best="largest product.flow")
    assert best.to_pandas()["address"].tolist() == ["lift_pump.speed", "product.flow"]
    assert "product.flow" in best._repr_html_()


def test_html_is_escaped():
    case = treatsim.load(RIVER)
    object.__setattr__(case, "title", "<script>alert(1)</script>")
    shown = treatsim.sweep(case, {"lift_pump.speed": "60 %,70 %"})._repr_html_()
    assert "<script>" not in shown


def test_unknown_name():
    with pytest.raises(AttributeError, match="no attribute 'solved'"):
        treatsim.solved  # noqa: B018
    assert {"load", "solve", "sweep", "find"} <= set(dir(treatsim))


def test_help_loads_no_numerical_library():
    code = (
        "import sys, treatsim.cli\n"
        "try: treatsim.cli.main(['sweep', '--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'pandas', 'pint', 'rich'} & set(sys.modules)\n"
        "sys.exit(bool(heavy))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0
