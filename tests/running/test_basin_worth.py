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
    """192 without, 84 with: 108 saved by a day of digging."""
    found = basin_worth(192.0, 84.0, DUG, HOUR, np.False_)
    assert found.elements_saved == 108
    assert_allclose(found.digging_per_element, 24 * HOUR / 108)
    assert found.worth_it


@pytest.mark.parametrize(
    ("without", "within", "each", "lifted", "told"),
    [
        (1.4, 0.6, HOUR, False, "saves no element"),
        (0.0, 0.0, HOUR, False, "saves no element"),
        (80.0, 90.0, HOUR, False, "saves no element"),
        (192.0, 84.0, 0.1 * HOUR, False, "costs more"),
        (4.0, 1.0, HOUR, False, "costs more"),
        (192.0, 84.0, HOUR, True, "lifts again"),
    ],
)
def test_it_must_say_no(without, within, each, lifted, told):
    found = basin_worth(without, within, DUG, each, np.bool_(lifted))
    assert not found.worth_it
    assert told in str(found.reason)


def test_points_broadcast():
    found = basin_worth([0.0, 60.0], 0.0, DUG, HOUR, np.False_)
    assert list(found.worth_it) == [False, True]
    assert np.isinf(found.digging_per_element[0])


def test_sludge_by_hand():
    """40 g/m3 of 2 m3/h, half settled: 40 g/h; 1 m3 of sludge at 50 kg/m3 takes 1250 h."""
    assert_allclose(sludge_time(0.040, 2 / HOUR, 0.5, 1.0, 50.0), 1250 * HOUR)
    assert np.isinf(sludge_time(0.0, 2 / HOUR, 0.5, 1.0, 50.0))
