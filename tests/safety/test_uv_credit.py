"""What a UV reactor may be credited with: a computed one only inside its report."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.case_text import line_numbers, parse
from treatsim.operations.outcome import at
from treatsim.safety.log_credit import CLASSES
from treatsim.safety.verdict import judge

FOLDER = Path(__file__).resolve().parents[2] / "cases"
REPORT = """[units.uv]
kind = "validated_uv_reactor"
coefficient_a = 3.30
coefficient_b = -0.62
coefficient_c = 0.95
coefficient_d = 0.88
flow_unit = "1 L/min"
tested_flow_low = "20 L/min"
tested_flow_high = "200 L/min"
tested_transmittance_low = "80 %"
tested_transmittance_high = "98 %"
tested_intensity_low = 0.5
tested_intensity_high = 1.0
intensity_ratio = 0.8
validation_factor = 3.0
lamp_power = "210 W"
target = { organism = "cryptosporidium", log = 3.0 }

[flowsheet]"""


def load(name="river", edit=lambda text: text, **changes):
    source = edit((FOLDER / f"{name}.toml").read_text("utf-8"))
    return cases.interpret(
        parse(source, name),
        str(FOLDER / f"{name}.toml"),
        line_numbers(source),
        {key.replace("__", "."): value for key, value in changes.items()},
    )


def verdict(*args, **changes):
    return judge(load(*args, **changes).solve())


def without(*keys):
    """Return an edit that drops the lines of some keys."""
    return lambda text: "\n".join(line for line in text.splitlines() if not line.startswith(keys))


def by_report(text):
    """Put a reactor by its report in the place of the computed one; the box draws the flow."""
    text = without("uv_validated_flow")(text)
    return text.partition("[units.uv]")[0] + REPORT + text.partition("[flowsheet]")[2]


def earned(found, cls="cryptosporidium"):
    return float(at(found.germs.barriers["uv"].earned(cls), 0))


def design(found, cls="cryptosporidium"):
    return float(at(found.germs.barriers["uv"].credits[cls], 0))


@pytest.mark.parametrize("key", ["uv_validated_flow", "uv_validated_transmittance"])
def test_a_computed_reactor_earns_nothing_without_flow_and_water_of_its_report(key):
    found = verdict(edit=without(key))
    assert [earned(found, cls) for cls in CLASSES] == [0.0] * 4
    assert design(found) == 3.0
    assert any(f"health.{key}" in text for text in found.germs.barriers["uv"].missing)
    assert found.value("uv.log_credit.cryptosporidium").value == 3.0, "the design figure"


@pytest.mark.parametrize(("address", "inside", "outside", "words"), [
    ("health__uv_validated_flow", "6.79 m3/h", "6.78 m3/h", "flow at or below the validated"),
    ("health__uv_validated_transmittance", "85.9 %", "86.1 %", "transmittance at or above"),
])  # fmt: skip
def test_the_case_must_lie_inside_both(address, inside, outside, words):
    """The river flows at 6.784 m3/h through water of 86 %."""
    assert earned(verdict(**{address: inside})) == 3.0
    found = verdict(**{address: outside})
    assert earned(found) == 0.0
    assert any(words in text for text in found.germs.barriers["uv"].broken())


def test_the_edge_of_the_report_is_inside():
    assert earned(verdict(health__uv_validated_transmittance="86 %")) == 3.0
    flow = float(np.squeeze(verdict().value("uv.inlet.flow").value))
    assert earned(verdict(health__uv_validated_flow=f"{flow * 3600!r} m3/h")) == 3.0


@pytest.mark.parametrize(("validated", "expected"), [("7 m3/h", 7.0), ("9.5 m3/h", None)])
def test_the_largest_flow_never_exceeds_the_validated_one(validated, expected):
    found = verdict(health__uv_validated_flow=validated)
    largest = 3600 * float(np.squeeze(found.value("uv.largest_flow").value))
    free = verdict(edit=without("uv_validated_flow")).value("uv.largest_flow").value
    assert_allclose(largest, expected or 3600 * float(np.squeeze(free)), rtol=1e-9)


def test_the_report_of_a_validated_reactor_ends_its_flow():
    found = verdict(edit=by_report, lift_pump__speed="80 %")
    assert earned(found) > 0
    assert_allclose(np.squeeze(found.value("uv.largest_flow").value), 0.2 / 60, rtol=1e-12)
    fast = verdict(edit=by_report, lift_pump__speed="115 %")
    assert at(fast.value("uv.inlet.flow").value, 0) > 0.2 / 60
    assert [earned(fast, cls) for cls in CLASSES] == [0.0] * 4


@pytest.mark.parametrize("edit", [lambda text: text, by_report], ids=["computed", "by report"])
def test_a_reactor_without_a_target_is_asked_for_one(edit):
    found = verdict(edit=lambda text: without("target = ")(edit(text)))
    row = next(limit for limit in found.limits if limit.name == "UV dose")
    assert row.state() == "not_judged"
    assert row.needs == "uv.target"
    assert not found.meets[0]
    assert "uv.largest_flow" not in found.values


def test_a_strong_lamp_earns_what_the_table_holds():
    """cfr_141_720: 4 log at 22 mJ/cm2 for protozoa and 186 for virus; every drop here gets more."""
    found = verdict(uv__lamp_uvc_output="2800 W", uv__lamp_power="9000 W")
    assert at(found.value("uv.dose_min").value, 0) > 10_000.0
    assert [earned(found, cls) for cls in CLASSES] == [4.0] * 4
    weaker = verdict(uv__lamp_uvc_output="2800 W", uv__lamp_power="9000 W",
                     health__uv_virus_factor="2.5")  # fmt: skip
    assert earned(weaker, "virus") < 4.0, "the factor still divides the dose of the virus"


@pytest.mark.parametrize(("output", "ends"), [("2800 W", True), ("5 W", False)])
def test_the_log_of_an_organism_ends_with_its_data(output, ends):
    """epa_ireland_2011, table 4-7: poliovirus 7, 15, 22, 30 mJ/cm2; nothing above 4 log."""
    found = verdict(
        edit=lambda text: text.replace('"cryptosporidium", log = 3.0', '"poliovirus", log = 2.0'),
        uv__lamp_uvc_output=output,
        uv__lamp_power="9000 W",
    )
    log, dose = (
        at(found.value(f"uv.{key}").value, 0) for key in ("log_credit.poliovirus", "dose_credited")
    )
    by_hand = np.interp(dose, [0.0, 70.0, 150.0, 220.0, 300.0], [0.0, 1.0, 2.0, 3.0, 4.0])
    assert_allclose(log, by_hand, rtol=1e-12)
    assert (log == 4.0) is ends
    assert_allclose(found.value("uv.dose_required").value, 150.0, rtol=1e-12)


def test_two_lights_in_line_fail_together():
    """Common practice: logs add between independent causes; dull water reaches both lamps."""

    def twice(text):
        table = text.partition("[units.uv]")[2].partition("\n[")[0]
        text = text.replace("[units.uv]", f"[units.uv_2]{table}\n[units.uv]", 1)
        return text.replace("> uv >", "> uv > uv_2 >")

    found = verdict(edit=twice)
    assert [float(at(found.germs.barriers[name].earned("giardia"), 0)) for name in ("uv", "uv_2")] \
        == [3.0, 3.0]  # fmt: skip
    assert float(at(found.value("health.log_credit.giardia").value, 0)) == 3.0
    assert "only the best counts" in " ".join(found.germs.barriers["uv"].missing)
