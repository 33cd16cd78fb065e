"""Salt in the product is held in every train, whatever the case asks for.

Who is hurt: who is given salty water as "met" and goes back to the pond. WHO: unpalatable above
1000 mg/L.
"""

from pathlib import Path

import pytest

from treatsim import cases
from treatsim.safety.verdict import judge

TWO = {"second.salt_permeability_ratio": "36"}  # seals gone: thirty times its salt
HELD = [
    ("river", {"water.salinity": "0.99 g/L"}, 1.0, "met"),
    ("river", {"water.salinity": "1.1 g/L"}, 1.0, "not_met"),  # light takes out no salt
    ("sea", {"high_pressure_pump.outlet_pressure": "38 bar"}, 0.8, "not_met"),  # its valve's
    ("sea", {"high_pressure_pump.outlet_pressure": "38 bar", "startup.salt_limit": "3 g/L"}, 1.0,
     "met"),
    ("sea", {"high_pressure_pump.outlet_pressure": "32 bar", "startup.salt_limit": "3 g/L"}, 1.0,
     "not_met"),
    ("sea_two_pass", TWO, 0.25, "not_met"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "changes", "limit", "state"), HELD)
def test_salt_is_held(name, changes, limit, state):
    verdict = judge(cases.load(f"cases/{name}.toml", changes).solve())
    (row,) = [x for x in verdict.limits if x.name == "salt in the product"]
    assert (row.state(), row.group, float(row.limit)) == (state, "health", limit)
    assert (verdict.state() == "not_met") >= (state == "not_met")
    told = [(x.name, x.address) for x in verdict.limits]  # the page knows a limit by both
    assert len(set(told)) == len(told)


@pytest.mark.parametrize(("ph", "missed"), [
    ("6.4", "lowest"), ("6.6", ""), ("9.4", ""), ("9.6", "highest"),
])  # fmt: skip
def test_the_ph_of_water_that_nothing_changes_is_held(ph, missed):
    """WHO's usual range of 6.5 to 9.5, from memory: acid eats pipes, base the skin."""
    verdict = judge(cases.load("cases/river.toml", {"water.ph": ph}).solve())
    found = [x.name for x in verdict.of_state("not_met")]
    assert found == ([f"{missed} pH of the product"] if missed else [])
    rows = [x for x in verdict.limits if x.address == "product.ph"]
    assert len(rows) == 2
    assert all("another source" in row.advice for row in rows)


IRON = """[unpalatable.iron]
limit = "0.1 mg/L"
edition = 2024
source = "invented"
known = "read"
"""


def test_what_a_country_calls_unpalatable_is_held_beside_the_salt(tmp_path):
    """The river has 0.2 mg/L of iron; a line in a file of limits that holds nothing is a trap."""
    (tmp_path / "values.toml").write_text(IRON)
    text = Path("cases/river_chlorine.toml").read_text("utf-8")
    text = text.replace("[analytes]", '[analytes]\nnational_values = "values.toml"', 1)
    text += '\n[analytes.after]\ndissolved_solids = "below 2 g/L"\n'
    (tmp_path / "case.toml").write_text(text)
    verdict = judge(cases.load(tmp_path / "case.toml").solve())
    states = {limit.name: limit.state() for limit in verdict.limits}
    assert states["iron in the product, for its taste"] == "not_met"
    assert states["salt in the product, at most its limit of detection"] == "not_judged"


def test_values_of_the_country_alone_test_no_water():
    """A file of limits is no analysis: what is dissolved stays not judged."""
    verdict = judge(cases.load("cases/sea_two_pass.toml", TWO).solve())
    assert "what is dissolved" in [x.name for x in verdict.of_state("not_judged")]
    assert "boron in the product" in [x.name for x in verdict.of_state("not_met")]
