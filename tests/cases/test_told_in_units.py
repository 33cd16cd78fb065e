"""Numbers in messages: in the unit shown, with the digits that tell unequal ones apart."""

from __future__ import annotations

import numpy as np
import pytest
from command import ROOT, treatsim

from treatsim import quantities
from treatsim.operations.outcome import Finding, Value, excursion_text
from treatsim.ranges import Range, excursions

COLD = ("--set", "water.temperature=3 degC")


@pytest.mark.parametrize(
    ("system", "words"),
    [
        ("si", "temperature 3 degC lies outside 5 to 45 degC"),
        ("us", "temperature 37.4 degF lies outside 41 to 113 degF"),
    ],
)
def test_a_range_left_is_told_in_the_unit_shown(system, words):
    run = treatsim("solve", ROOT / "cases/sea.toml", *COLD, "--units", system)
    assert words in " ".join(run.out.split())


def test_a_number_just_outside_is_told_from_the_edge():
    (beyond,) = excursions(Range("temperature", 278.15, 308.15, "K", "a fit"), 308.150004)
    assert excursion_text(beyond) == "a fit: temperature 35.000004 degC lies outside 5 to 35 degC"


def test_unequal_flows_are_told_apart():
    flows = {"flow": Value(0.0899996 / 3600, "flow"), "least": Value(0.09 / 3600, "flow")}
    told = Finding(np.True_, "{flow} is below {least}", flows)
    assert told.message() == "0.0899996 m3/h is below 0.09 m3/h"


def test_equal_numbers_keep_few_digits():
    assert quantities.apart([1 / 3, 1 / 3], "fraction") == ["33.33 %"] * 2


@pytest.mark.parametrize(
    "vary",
    ["lift_pump.speed=0.7 %,80 %", "lift_pump.speed=0.7 %:0.8 %:2", "uv.fouling_factor=0.8 %"],
)
def test_a_varied_share_is_doubted_as_in_the_file(vary):
    run = treatsim("sweep", ROOT / "cases/river.toml", "--vary", vary)
    assert run.status == 2
    assert 'write "' in run.err
    assert "is 0.00" in run.err
