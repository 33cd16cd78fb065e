"""Particles by size through stages: closed forms, a published ratio, ratings that hold nothing."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from treatsim.errors import DomainError
from treatsim.running.particle_sizes import (
    carried,
    filtered,
    screened,
    settled,
    size_classes,
)

MEDIAN, SPREAD = 10e-6, 3.0
SIZE, SHARE = size_classes(MEDIAN, SPREAD)
WATER = (998.2, 1.0016e-3)


def below(diameter):
    return stats.norm.cdf(np.log(diameter / MEDIAN) / np.log(SPREAD))


@pytest.mark.parametrize("opening", [2e-6, 10e-6, 50e-6])
def test_a_screen_holds_what_is_larger(opening):
    found = carried(SIZE, SHARE, [screened(SIZE, opening)])
    assert_allclose(found.captured, 1 - below(opening), atol=0.02)
    half = MEDIAN * SPREAD ** stats.norm.ppf(below(opening) / 2)
    assert_allclose(found.median, half, rtol=0.05)


def test_mass_balance_along_the_stages():
    stages = [
        screened(SIZE, 500e-6),
        settled(SIZE, 2650.0, WATER, (0.5 / 3600, 2)),
        filtered(SIZE, [(0.5, 25e-6)]),
        filtered(SIZE, [(0.75, 5e-6), (0.98, 10e-6)]),
    ]
    found = carried(SIZE, SHARE, stages)
    assert_allclose(np.cumprod(1 - found.captured), found.left, rtol=1e-12)
    assert np.all(np.diff(found.left) < 0)
    assert np.all(np.diff(found.median) <= 0)


def test_a_sharp_element_behind_an_ideal_basin():
    """0.5 m/h takes 59 % of the mass, and 4.4-fold of what a sharp 5 um element sees."""
    velocity = 9.80665 * (2650 - WATER[0]) * SIZE**2 / (18 * WATER[1])
    ideal = 1 - np.minimum(1, velocity / (0.5 / 3600))
    element = filtered(SIZE, [(1.0, 5e-6)])
    alone = carried(SIZE, SHARE, [element]).captured[0]
    behind = carried(SIZE, SHARE, [ideal, element]).captured[1]
    left = SHARE @ ideal
    assert_allclose(1 - left, 0.586, atol=0.005)
    assert_allclose(alone / (left * behind), 4.4, rtol=0.02)


def test_an_element_holds_nothing_finer_than_it_was_tested_with():
    passes = filtered(np.array([1e-6, 4.9e-6, 5e-6, 9e-6, 40e-6]), [(0.98, 10e-6), (0.75, 5e-6)])
    assert_allclose(passes, [1, 1, 0.25, 0.25, 0.02])
    assert np.all(filtered(SIZE, [(0.0, 5e-6)]) == 1)  # nominal: no efficiency, nothing held


def test_clay_and_what_floats_do_not_settle():
    basin = (0.5 / 3600, 2)
    assert settled(np.array([0.3e-6]), 2650.0, WATER, basin)[0] > 0.998
    assert settled(np.array([1e-4]), 900.0, WATER, basin)[0] == 1.0


@pytest.mark.parametrize(
    "pairs", [[(1.2, 5e-6)], [(0.5, 0.0)], [(0.5, 5e-6), (0.6, 5e-6)], [(0.9, 5e-6), (0.5, 9e-6)]]
)
def test_efficiencies_that_cannot_be(pairs):
    with pytest.raises(DomainError):
        filtered(SIZE, pairs)
