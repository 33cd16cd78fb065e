"""A value with a dimension has a quantity that carries it."""

from __future__ import annotations

import dataclasses
import re

import pytest

from treatsim import operations, quantities
from treatsim.case_sections import SECTIONS
from treatsim.operations.ro_element import RoElementParameters

RECORDS = {kind: operations.parameters_class(kind) for kind in operations.kinds()} | SECTIONS
RECORDS["ro_element"] = RoElementParameters
UNIT = re.compile(
    r"(?<![\w/])(?:kg|g|mg|ug|mol|m|mm|cm|um|nm|m2|m3|L|mL|s|min|h|d|Pa|bar|J|kJ|mJ|W|kW|V|A|K|NTU)"
    r"(?:[23]?(?:/|\s(?=(?:Pa|s|h|m2))))"
    r"|\bin (?:kg|g|mg|bar|Pa|m|mm|m2|m3|W|J|mJ|K|s|h|degC)\b|\bper (?:cm|m|s|h|kg|K)\b"
)
# whose words name a unit though the number has none, and why
PLAIN = {
    "array.low_light_loss": "a share, at an irradiance that is named",
    "validated_uv_reactor.coefficient_a": "an exponent of ten, as the report's equation has it",
    "validated_uv_reactor.coefficient_b": "an exponent, of absorbance per centimetre",
}


@pytest.mark.parametrize("name", sorted(RECORDS))
def test_no_plain_number_hides_a_unit(name):
    """What is declared without a dimension does not name a unit in its words."""
    for item in dataclasses.fields(RECORDS[name]):
        kind = item.metadata["kind"]
        if kind in ("text", "choice") or quantities.QUANTITIES[kind].si != "1":
            continue
        hidden = bool(UNIT.search(item.metadata["meaning"])) and kind not in quantities.BASED
        assert hidden == (f"{name}.{item.name}" in PLAIN), f"{item.name}: {item.metadata}"


def test_the_search_finds_a_hidden_unit():
    assert UNIT.search("density of the particles in kg/m3; grains 2650, flocs 1020 to 1200")
    assert not UNIT.search("K of the clean strainer, on the bore; 1 to 3")


@pytest.mark.parametrize("name", sorted(quantities.QUANTITIES))
def test_units_shown_are_those_of_the_quantity(name):
    """What is shown is read back as the same number, in both systems."""
    for system in ("si", "us"):
        number, unit = quantities.show(0.25, name, system)
        if unit not in ("", "people", "log"):
            factor, offset = quantities.conversion(unit, quantities.QUANTITIES[name].si)
            assert factor * number + offset == pytest.approx(0.25, rel=1e-12)
