"""Whether a basin pays: geometry against integration, and when the answer must be no."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import integrate

from treatsim.errors import DomainError
from treatsim.running.basin_worth import Digging, Pit, basin_worth, digging, sludge_time

HOUR = 3600.0
RATE = 0.5 / HOUR  # one person in firm ground: common practice, no source
DUG = Digging(np.array(12.0), np.array(30.0), np.array(24 * HOUR))


@pytest.mark.parametrize("slope", [0.0, 0.5, 1.0])
def test_pit_against_integration(slope):
    pit = Pit(6.0, 3.0, 1.2, slope)
    volume = integrate.quad(lambda z: (6 - 2 * slope * z) * (3 - 2 * slope * z), 0, 1.2)[0]
    walls = integrate.quad(lambda z: 2 * (9 - 4 * slope * z) * np.hypot(1, slope), 0, 1.2)[0]
    floor = (6 - 2.4 * slope) * (3 - 2.4 * slope)
    found = digging(pit, RATE)
    assert_allclose(found, [volume, walls + floor, volume / RATE], rtol=1e-12)


def test_a_pit_whose_walls_meet_is_refused():
    with pytest.raises(DomainError, match="floor"):
        digging(Pit(6.0, 2.0, 1.2, 1.0), RATE)
    with pytest.raises(DomainError, match="rate"):
        digging(Pit(6.0, 2.0, 1.2, 0.0), 0.0)


def test_elements_saved_by_hand():
    """60 kg, 80 % of it held, 0.25 kg an element: 192; behind half of it at 70 %: 84."""
    found = basin_worth(60.0, 0.5, (0.8, 0.7), 0.25, DUG, HOUR)
    assert (found.elements_without, found.elements_with, found.elements_saved) == (192, 84, 108)
    assert_allclose(found.digging_per_element, 24 * HOUR / 108)
    assert found.worth_it


@pytest.mark.parametrize(
    ("mass", "settled", "each", "told"),
    [
        (0.1, 0.9, HOUR, "saves no element"),  # one is bought either way
        (0.0, 0.9, HOUR, "saves no element"),
        (60.0, 0.5, 0.1 * HOUR, "costs more"),
        (2.0, 0.5, HOUR, "costs more"),
    ],
)
def test_it_must_say_no(mass, settled, each, told):
    found = basin_worth(mass, settled, (0.8, 0.7), 0.25, DUG, each)
    assert not found.worth_it
    assert told in str(found.reason)


def test_a_basin_that_holds_nothing_saves_nothing():
    found = basin_worth(60.0, 0.0, (0.8, 0.8), 0.25, DUG, HOUR)
    assert not found.worth_it
    assert "saves no element" in str(found.reason)


def test_points_broadcast():
    found = basin_worth([0.0, 60.0], 0.5, (0.8, 0.8), 0.25, DUG, HOUR)
    assert list(found.worth_it) == [False, True]
    assert np.isinf(found.digging_per_element[0])


def test_sludge_by_hand():
    """40 g/m3 of 2 m3/h, half settled: 40 g/h; 1 m3 of sludge at 50 kg/m3 takes 1250 h."""
    assert_allclose(sludge_time(0.040, 2 / HOUR, 0.5, 1.0, 50.0), 1250 * HOUR)
    assert np.isinf(sludge_time(0.0, 2 / HOUR, 0.5, 1.0, 50.0))
