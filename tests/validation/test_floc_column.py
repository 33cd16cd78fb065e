"""A flocculent column: iso-removal by hand, closed forms, what grows, what is refused."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose
from oracles import basins
from scipy import integrate

from treatsim.correlations.solids import size_distribution
from treatsim.correlations.solids.floc_column import column_of, floc_removal
from treatsim.errors import DomainError, RequestError

IDEAL = 1e9  # tanks in series
SIZES = dict.fromkeys(("median_size", "size_deviation", "particle_density"))


def samples(gone, depths, times):
    """Samples of a column in which `gone(depth, time)` of the solids is away."""
    return [(1.0 - float(gone(z, t)), float(t), z) for z in depths for t in times]


def grains(below, depths=(0.5, 1.0, 2.0), velocities=None):
    """A column of grains, of which `below(v)` is slower than v: drawn at the same velocities."""
    speed = np.geomspace(1e-7, 3e-3, 500) if velocities is None else velocities
    return [(float(below(v)), z / float(v), z) for z in depths for v in speed]


def test_iso_removal_by_hand(agree):
    """At the time of the sum the shares gone are 100 % at the surface, then those of the lines."""
    depths, lines = (0.0, 0.20, 0.31, 0.46, 1.0), (1.0, 0.8, 0.7, 0.6, 0.5)

    def gone(z, t):
        return np.round(np.interp(z / t * 3600.0, depths, lines), 3)

    times = 3600.0 / np.linspace(0.02, 1.0, 50)[::-1]
    drawn = [(1 - float(gone(z, t * z)), float(t * z), z) for z in depths[1:] for t in times]
    _, ideal = floc_removal(column_of(drawn), 1.0, 1.0 / 3600.0, IDEAL)
    agree("D_iso_removal", ideal)


def test_grains_have_straight_lines_uniform_velocities():
    """Velocities even from 0 to 1 mm/s: 1 - v0 / (2 vm) below vm, vm / (2 v0) above; any depth."""
    column = column_of(
        grains(lambda v: min(v / 1e-3, 1.0), velocities=np.linspace(2e-6, 2e-3, 400))
    )
    for depth in (0.5, 1.0, 1.7):
        _, slow = floc_removal(column, depth, 4e-4, IDEAL)
        assert_allclose(slow, 1 - 0.2, atol=2e-3)
        _, fast = floc_removal(column, depth, 1.5e-3, IDEAL)
        assert_allclose(fast, 1 / 3, atol=2e-3)


@pytest.mark.parametrize("loading", [1e-5, 1e-4, 5e-4])
def test_grains_of_lognormal_sizes(loading):
    """Camp's integral in closed form, and with tanks the sum over classes. Samples reach far
    down: what is slower than the last one is never credited."""
    median = 9e-5  # of 10 um silt

    def below(v):
        return size_distribution.lognormal_mass_below(1e-5 * np.sqrt(v / median), 1e-5, 3.0)

    column = column_of(grains(below))
    real, ideal = floc_removal(column, 1.3, loading, 2)
    assert_allclose(ideal, basins.lognormal_basin_removal(median, 3.0, loading), atol=4e-3)
    size, share = size_distribution.lognormal_classes(1e-5, 3.0, 4000)
    velocity = median * (size / 1e-5) ** 2
    expected = share @ (1 - (1 + velocity / (2 * loading)) ** -2)
    assert expected - 6e-3 < real < expected + 1e-3  # slower than the last sample: none credited


def flocs(z, t):
    """Lines of equal removal r at z = 2e-7 t^1.5 (1 - r) / r: they bend down."""
    reach = 2e-7 * t**1.5
    return reach / (reach + z)


TIMES = np.geomspace(60.0, 90000.0, 500)


def test_flocs_against_quadrature_and_growing_with_depth():
    column = column_of(samples(flocs, np.geomspace(0.02, 3.0, 40), TIMES))
    found = []
    for depth in (1.0, 2.0, 3.0):
        time = depth / 2.5e-4
        exact = integrate.quad(lambda z, t=time: flocs(z, t), 0, depth)[0] / depth
        _, ideal = floc_removal(column, depth, 2.5e-4, IDEAL)
        assert_allclose(ideal, exact, atol=5e-3)
        found.append(float(ideal))
    assert found[0] + 0.02 < found[1] < found[2] - 0.01
    deeper = floc_removal(column, 5.0, 2.5e-4, 2)
    assert_allclose(deeper, floc_removal(column, 3.0, 2.5e-4, 2), rtol=1e-12)  # nothing is credited


def test_told_too_low_where_nothing_was_drawn():
    few = [(0.6, 600.0, 0.6), (0.3, 2400.0, 0.6), (0.75, 600.0, 1.2), (0.4, 2400.0, 1.2)]
    column = column_of(few)
    for loading in (1e-7, 1e-6, 1e-5):  # for days: never more than the best sample shows
        assert floc_removal(column, 1.2, loading, IDEAL)[1] <= 0.7 + 1e-12
    one_by_one = [floc_removal(column, 1.2, v, 2) for v in (1e-4, 5e-4)]
    together = floc_removal(column, 1.2, np.array([1e-4, 5e-4]), 2)
    assert_allclose(np.array(one_by_one).T, together, rtol=1e-12)
    for loading in np.geomspace(1e-5, 1e-2, 9):
        real, ideal = floc_removal(column, 1.2, loading, 2)
        assert 0 <= real < ideal <= 1


def test_a_basin_reads_it():
    taps = ((0.6, 600.0, 0.6), (0.3, 2400.0, 0.6), (0.75, 600.0, 1.2), (0.4, 2400.0, 1.2))
    basin = plant.unit("settling_basin", tap_readings=taps, depth=1.2, **SIZES)
    values = basin.evaluate(inlet=plant.stream(6e-3)).details().values
    real, ideal = floc_removal(column_of(taps), 1.2, 6e-3 / 12.0, 2)
    assert_allclose(values["solids_captured"].value, real, rtol=1e-12)
    assert_allclose(values["ideal_capture"].value, ideal, rtol=1e-12)
    still = plant.unit(
        "settling_basin", tap_readings=taps, depth=1.2, settling_time=2400.0, **SIZES
    )
    values = still.evaluate(inlet=plant.stream(2e-3)).details().values
    assert_allclose(values["solids_captured"].value, (0.70 + (0.7 + 0.6) / 2) / 2, atol=0.06)
    deep = plant.unit("settling_basin", tap_readings=taps, depth=2.0, **SIZES)
    found = deep.evaluate(inlet=plant.stream(1e-3)).details().excursions
    assert {one.range.name for one in found} == {"depth", "depth over surface_loading"}


@pytest.mark.parametrize(
    ("taps", "words"),
    [
        ([(0.6, 600, 0.6), (0.3, 2400, 0.6)], "two taps"),
        ([(0.6, 600, 0.6), (0.3, 2400, 0.6), (0.7, 600, 1.2)], "two samples"),
        ([(0.3, 600, 0.6), (0.6, 2400, 0.6), (0.7, 600, 1.2), (0.5, 900, 1.2)], "rise with time"),
        ([(0.9, 600, 0.6), (0.6, 2400, 0.6), (0.7, 600, 1.2), (0.5, 900, 1.2)], "mixed up"),
        ([(0.9, 0, 0.6), (0.6, 2400, 0.6), (0.9, 600, 1.2), (0.7, 900, 1.2)], "after the start"),
    ],
)
def test_refused(taps, words):
    with pytest.raises(DomainError, match=words):
        column_of(taps)
    with pytest.raises(RequestError, match=words):
        plant.unit("settling_basin", tap_readings=tuple(taps), **SIZES)
