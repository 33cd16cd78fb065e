"""The bounds of the table of quantities, each with what sets it."""

from __future__ import annotations

import pytest
from evidence import CHECKS

from treatsim.everyday import UNLIKE
from treatsim.quantities import (
    EVERYDAY,
    INF,
    QUANTITIES,
    SIZES,
    WrongDimensionError,
    _by_units,
    conversion,
)

BELOW_ZERO = {  # may be negative without end: differences, flows of energy, signed heights
    "energy_per_volume", "flux", "head", "power", "pressure_difference",
}  # fmt: skip
BOUNDED = {name for name, q in QUANTITIES.items() if {q.low, q.high} - {0, INF, -INF}}


def test_bounds(agree):
    rows = [key for key in CHECKS if key.startswith("Q_")]
    assert {key.removeprefix("Q_") for key in rows} == BOUNDED
    for key in rows:
        quantity = QUANTITIES[key.removeprefix("Q_")]
        agree(key, [quantity.low, quantity.high])


def test_sizes(agree):
    rows = [key for key in CHECKS if key.startswith("S_")]
    assert {key.removeprefix("S_") for key in rows} == set(SIZES)
    for key in rows:
        agree(key, list(SIZES[key.removeprefix("S_")]))


@pytest.mark.parametrize("name", sorted(set(QUANTITIES) - BOUNDED))
def test_what_has_no_end(name):
    """An amount, a rate or a size is not negative; a difference may be."""
    assert QUANTITIES[name].high == INF
    assert QUANTITIES[name].low == (-INF if name in BELOW_ZERO else 0)


@pytest.mark.parametrize(("unit", "si"), [*EVERYDAY, ("degC", "K"), ("C", "K")], ids=str)
def test_units_of_every_day_are_those_of_the_unit_library(unit, si):
    """pint as a second program; the sixteenth digit is the rounding of its chain of factors."""
    factor, offset = conversion(unit, si)
    expected = _by_units({"kg/cm2": "kgf/cm2"}.get(unit, unit), si)  # of force, on gauges
    assert factor == pytest.approx(expected[0], rel=4e-15)
    assert offset == expected[1]


@pytest.mark.parametrize(("unit", "si"), UNLIKE, ids=str)
def test_units_known_to_be_unlike_are_so_to_the_unit_library(unit, si):
    for judge in (conversion, _by_units):
        with pytest.raises(WrongDimensionError):
            judge(unit, si)
