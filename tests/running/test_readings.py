"""Logs of pressure drop: what is wrong with them by line, and what they give back."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from treatsim import cases
from treatsim.correlations.solids.filtration import (
    blocked_resistance,
    blocking_constant,
    element_loss,
)
from treatsim.errors import RequestError
from treatsim.running.filter_line import stated
from treatsim.running.readings import Water, read_log
from treatsim.running.update import LIFE_SCATTER, learnt
from treatsim.water.properties import viscosity

RIVER = "cases/river.toml"
WATER = Water(297.15, 0.007, 0.007 / 4.5)
HEAD = "time,hours [h],product.flow [m3/h],cartridges.pressure_drop [bar]"
GOOD = [
    "2026-05-01T08:00,0,6.5,0.24",
    "2026-05-01T10:00,2,6.5,0.25",
    "2026-05-01T12:00,4,6.4,0.26",
    "2026-05-01T14:00,6,6.4,0.27",
]


@pytest.fixture(scope="module")
def filters():
    return stated(cases.load(RIVER))[0]


def log(folder, rows, head=HEAD):
    path = folder / "log.csv"
    path.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    return str(path)


def test_a_sound_log_is_read(tmp_path, filters):
    found = read_log(log(tmp_path, GOOD), filters, WATER)
    assert found.lines == (2, 3, 4, 5)
    np.testing.assert_allclose(found.drop["cartridges"], [24e3, 25e3, 26e3, 27e3])
    np.testing.assert_allclose(found.running, np.array([0, 2, 4, 6]) * 3600.0)
    assert any("neither turbidity" in note for note in found.notes)


@pytest.mark.parametrize(
    ("line", "row", "words"),
    [
        (4, "2026-05-01T10:00,4,6.4,0.26", "the time of line 3 again: a reading stands twice"),
        (4, "2026-05-01T09:00,4,6.4,0.26", "1 h before line 3: times run back"),
        (4, "2026-05-01T11:00,9,6.4,0.26", "the clock was changed, or a meter exchanged"),
        (4, "2026-05-01T12:00,1,6.4,0.26", "the meter runs back by 1 h since line 3"),
        (4, "2026-05-01T12:00,4,-6.4,0.26", "product.flow = -6.4: a number above 0"),
        (4, "2026-05-01T12:00,4,6.4,much", 'cartridges.pressure_drop = "much"'),
        (4, "2026-05-01T12:00,4,6.4,3.8", "is the unit right?"),
        (4, "2026-05-01T12:00,4,0,0.26", "product.flow = 0: a number above 0 belongs here"),
        (4, "2026-05-01T12:00,4,6.4,0.14", "no change is noted"),
        (4, "2026-05-01T12:00,4,6.4,0.14", "boil what is drunk until a test is clear"),
        (4, "1 May,4,6.4,0.26", "write it as 2026-05-01T08:00"),
        (4, "2026-05-01T12:00,,6.4,0.26", "hours is missing"),
        (4, "2026-05-01T12:00,nan,6.4,0.26", "a number not below 0"),
    ],
)
def test_a_bad_row_is_named_by_its_line(tmp_path, filters, line, row, words):
    rows = list(GOOD)
    rows[line - 2] = row
    with pytest.raises(RequestError) as caught:
        read_log(log(tmp_path, rows), filters, WATER)
    assert any(f"log.csv:{line}: " in text and words in text for text in caught.value.problems)


def test_negative_turbidity_is_named(tmp_path, filters):
    rows = [f"{row},{ntu}" for row, ntu in zip(GOOD, (4, -1, 4, 4), strict=True)]
    with pytest.raises(RequestError, match=r"log.csv:3: water.turbidity = -1"):
        read_log(log(tmp_path, rows, f"{HEAD},water.turbidity [NTU]"), filters, WATER)


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (HEAD.replace(" [bar]", ""), "a unit is missing"),
        (HEAD.replace("[bar]", "[m3/h]"), "no unit of"),
        (HEAD.replace("cartridges", "cartridge"), 'did you mean "cartridges.pressure_drop"'),
        (HEAD.replace("hours [h],", "changed,"), "column hours is missing"),
        (HEAD + ",time", "column time stands twice"),
    ],
)
def test_a_bad_heading_is_named(tmp_path, filters, head, words):
    with pytest.raises(RequestError, match=r"log.csv:1: ") as caught:
        read_log(log(tmp_path, GOOD, head), filters, WATER)
    assert words in str(caught.value)


def test_every_fault_is_told_at_once(tmp_path, filters):
    rows = [GOOD[0], "x,2,6.5,0.25", "2026-05-01T12:00,y,6.4,0.26"]
    with pytest.raises(RequestError) as caught:
        read_log(log(tmp_path, rows), filters, WATER)
    assert len(caught.value.problems) == 2


def test_gaps_and_blanks_are_told_not_dropped_in_silence(tmp_path, filters):
    rows = [*GOOD[:2], "2026-05-01T12:00,4,6.4,", "2026-05-03T14:00,52,6.2,0.30"]
    found = read_log(log(tmp_path, rows), filters, WATER)
    assert any("log.csv:4: cartridges.pressure_drop was not read" in n for n in found.notes)
    assert any("log.csv:5: 48 h of running since line 4" in n for n in found.notes)


def synthetic(folder, filters, capacity, exponent, lives=4, seed=2):
    """Write a log of cartridges that hold `capacity` [kg], read to 3 %, and changed in time."""
    draw, g = np.random.default_rng(seed), filters.names.index("cartridges")
    clean, ratio = filters.clean[g], filters.ratio[g]
    constant = blocking_constant(clean, clean * ratio, capacity, exponent)
    sticky, rows = float(viscosity(WATER.temperature)), []
    mass, hour, changes, note = float(filters.captured[g]), 0, 0, ""
    while changes < lives:
        flow = 6.5 / 3600
        resistance = float(blocked_resistance(mass, clean, constant, exponent))
        drop = float(element_loss(flow / 2, resistance, sticky, filters.quadratic[g]))
        at = datetime(2026, 5, 1) + timedelta(hours=hour)
        read = drop * np.exp(0.03 * draw.standard_normal()) / 1e5
        rows.append(f"{at.isoformat()},{hour},6.5,{read:.5f},{note}")
        mass += 0.8 * 0.45 * 0.007 * flow / 2 * 3600.0
        hour, note = hour + 1, ""
        if mass > 0.95 * capacity:
            mass, changes, note = 0.0, changes + 1, "cartridges"
    return log(folder, rows, f"{HEAD},changed")


@pytest.mark.parametrize(("capacity", "exponent"), [(0.15, 0.8), (0.25, 1.0), (0.40, 1.3)])
def test_a_synthetic_log_gives_its_parameters_back(tmp_path, filters, capacity, exponent):
    path = synthetic(tmp_path, filters, capacity, exponent)
    found = read_log(path, filters, WATER)
    spreads = (np.log(1.5), 0.3)
    rows, beliefs = learnt(found, filters, np.array([1.0, 0.45]), spreads, 0.03)
    assert [row.name for row in rows] == ["cartridges"]
    told = rows[0]
    assert told.lives == 4
    assert abs(np.log(told.posterior[0] / capacity)) < 2 * told.posterior[1]
    assert abs(np.log(told.posterior[0] / capacity)) < 0.12
    assert abs(told.posterior[2] - exponent) < max(2 * told.posterior[3], 0.1)
    assert LIFE_SCATTER / np.sqrt(told.lives) / 2 < told.posterior[1] < spreads[0] / 2
    belief = beliefs["cartridges"]
    np.testing.assert_allclose(np.mean(np.log(belief.capacity)), np.log(told.posterior[0]),
                               atol=0.01)  # fmt: skip


def test_many_readings_of_one_life_are_one_witness(tmp_path, filters):
    """However often one element is read, its capacity is not known closer than lives scatter."""
    found = read_log(synthetic(tmp_path, filters, 0.25, 1.0, lives=1), filters, WATER)
    told = learnt(found, filters, np.array([1.0, 0.45]), (np.log(1.5), 0.0), 0.001)[0][0]
    assert told.readings > 20
    assert told.posterior[1] > 0.9 * LIFE_SCATTER / np.hypot(1, LIFE_SCATTER / np.log(1.5))


def test_readings_far_from_the_case_are_doubted(tmp_path, filters):
    found = read_log(synthetic(tmp_path, filters, 0.10, 1.0), filters, WATER)
    assert learnt(found, filters, np.array([1.0, 0.45]), (np.log(1.2), 0.0), 0.03)[0][0].surprised


def test_nothing_to_learn_is_said(tmp_path, filters):
    found = read_log(log(tmp_path, GOOD), filters, WATER)
    with pytest.raises(RequestError, match="the capacity is known"):
        learnt(found, filters, np.ones(2), (0.0, 0.0), 0.05)
    short = read_log(log(tmp_path, GOOD[:2]), filters, WATER)
    with pytest.raises(RequestError, match="2 readings of its drop; 3 or more"):
        learnt(short, filters, np.ones(2), (0.4, 0.0), 0.05)
