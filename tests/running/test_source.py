"""The source over time gives back the statistics that it states, and refuses what is none."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim.errors import RequestError
from treatsim.running.source import (
    MONTH,
    SourceParameters,
    _remembered,
    month_of_hour,
    solids_series,
    source_notes,
    turbidity_series,
)

WAVERING = {
    "turbidity_spread": 2.0,
    "day_correlation": 0.8,
    "solids_spread": 1.0,
    "solids_scatter": 1.0,
}
STORMY = {"storms_per_month": 2.0, "storm_rise": 20.0, "storm_length": 36 * 3600.0}
CALM = WAVERING | {"turbidity_spread": 1.0}


def source(**changes) -> SourceParameters:
    return SourceParameters(**(WAVERING | changes))


def test_without_a_table_the_series_is_constant_and_says_so():
    series = turbidity_series(None, 4.5, 48, 3, seed=1)
    assert series.shape == (3, 48)
    assert np.all(series == 4.5)
    assert np.all(solids_series(None, series, 1.5e-3, seed=1) == 4.5 * 1.5e-3)
    assert "there is no [source]" in source_notes(None)[0]


def test_median_spread_and_correlation_are_those_stated():
    """Bounds: three standard errors of 2000 independent scenarios, from the definitions."""
    rows = 2000
    logs = np.log(turbidity_series(source(), 10.0, 24 * 40, rows, seed=3))
    for hour in (0, 500, 959):  # stationary: the first hour is like any other
        assert abs(logs[:, hour].mean() - np.log(10)) < 3 * np.log(2) / np.sqrt(rows)
        assert abs(logs[:, hour].std() / np.log(2) - 1) < 3 / np.sqrt(2 * rows)
    for lag, expected in ((24, 0.8), (48, 0.64), (240, 0.8**10)):
        error = (1 - expected**2) / np.sqrt(rows)
        assert abs(np.corrcoef(logs[:, 0], logs[:, lag])[0, 1] - expected) < 3 * error


def test_variance_of_a_sum_is_the_closed_form():
    """Var(sum) = m2 * sum_k (n - |k|) (exp(s2 phi^|k|) - 1) of lognormal AR(1) loads."""
    hours, rows, s = 24 * 20, 6000, np.log(1.5)
    total = turbidity_series(source(turbidity_spread=1.5), 1.0, hours, rows, seed=5).sum(axis=1)
    lag = np.arange(-hours + 1, hours)
    mean = np.exp(s**2 / 2)
    kept = np.exp(s**2 * 0.8 ** (np.abs(lag) / 24)) - 1
    variance = mean**2 * np.sum((hours - np.abs(lag)) * kept)
    assert_allclose(total.mean(), hours * mean, rtol=3 * np.sqrt(variance / rows) / (hours * mean))
    assert_allclose(total.var(), variance, rtol=0.08)  # 3 sd of a variance, kurtosis of 1 beyond


def test_storms_come_as_often_and_bring_as_much_as_stated():
    """Campbell's theorem: mean and variance of a sum of pulses at random (Poisson) times."""
    hours, rows, length, rise = 24 * 60, 3000, 36.0, 20.0
    series = turbidity_series(SourceParameters(**CALM, **STORMY), 1.0, hours, rows, seed=7)
    rate = 2.0 / MONTH
    storm = (series - 1) / (rise - 1)
    for part in (storm[:, :24], storm[:, -24:]):  # storms before the start are still felt
        assert_allclose(part.mean(), rate * length, rtol=0.1)
    keep = np.exp(-1 / length)
    fresh = (storm[:, 1:] - keep * storm[:, :-1]) / (length * (1 - keep))
    assert_allclose(fresh, np.round(fresh), atol=1e-9)  # whole storms
    count = fresh.sum(axis=1)
    expected = rate * (hours - 1)
    assert abs(count.mean() - expected) < 3 * np.sqrt(expected / rows)
    assert_allclose(count.var(), expected, rtol=3 * np.sqrt(2 / rows + 1 / (expected * rows)))
    assert_allclose(storm.var(), rate * length / 2, rtol=0.05)


def test_seasons_follow_the_calendar():
    assert list(np.unique(month_of_hour(8760, 1), return_counts=True)[1][:3]) == [744, 672, 744]
    assert list(month_of_hour(24 * 62, 12)[[0, 743, 744, -1]]) == [11, 11, 0, 0]
    season = [1.0] * 11 + [3.0]
    series = turbidity_series(SourceParameters(**CALM, season=season), 2.0, 800, 1, 0, 12)[0]
    assert list(series[[0, 743, 744]]) == [6.0, 6.0, 2.0]


def test_one_seed_one_series():
    stormy = source(**STORMY)
    one, again, other = (turbidity_series(stormy, 5.0, 100, 4, seed=s) for s in (1, 1, 2))
    assert np.all(one == again)
    assert np.all(one != other)


def test_solids_scatter_within_and_between_scenarios():
    rows, hours = 3000, 200
    turbidity = np.full((rows, hours), 8.0)
    rated = source(solids_spread=1.6, solids_scatter=1.3)
    logs = np.log(solids_series(rated, turbidity, 2e-3, seed=2) / (8.0 * 2e-3))
    site = logs.mean(axis=1)
    assert abs(np.median(site)) < 4 * np.log(1.6) / np.sqrt(rows)
    assert_allclose(site.var(), np.log(1.6) ** 2 + np.log(1.3) ** 2 / hours, rtol=0.08)
    assert_allclose((logs - site[:, None]).std(), np.log(1.3), rtol=0.01)


def test_solids_follow_the_exponent_through_the_sample():
    series = np.array([[5.0, 50.0]])
    solids = solids_series(source(solids_exponent=1.2), series, 2e-3, 0, sample_turbidity=5.0)
    assert_allclose(solids, [[0.010, 0.010 * 10**1.2]])
    assert_allclose(solids_series(source(), np.zeros((2, 3)), 2e-3, 0), 0.0)  # clear water has none


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"turbidity_spread": None}, "turbidity_spread is missing"),
        ({"solids_spread": None}, "solids_spread is missing"),
        ({"storms_per_month": 2.0}, "storm_rise is missing"),
        ({"storm_rise": 4.0}, "storms_per_month is missing"),
        ({"season": [1.0] * 11}, "12 numbers"),
        ({"season": [0.0] * 12}, "12 numbers"),
        ({"season": 3.0}, "12 numbers"),
        ({"turbidity_spread": 0.5}, "not below 1"),
        ({"day_correlation": 1.0}, "not above"),
        ({"readings": "r.csv"}, "the readings give it too"),
        ({"readings": " "}, "the name of a file"),
    ],
)
def test_a_table_that_says_too_little_or_too_much(changes, told):
    with pytest.raises(RequestError, match=told):
        source(**changes)


def test_what_the_water_lacks_is_asked_for():
    with pytest.raises(RequestError, match="turbidity is missing"):
        turbidity_series(source(), None, 10, 1, 0)
    with pytest.raises(RequestError, match="suspended_solids"):
        solids_series(source(), np.ones((1, 2)), None, 0)
    with pytest.raises(RequestError, match="start_month"):
        turbidity_series(source(), 1.0, 10, 1, 0, 13)
    assert len(source_notes(source())) == 2


@pytest.mark.parametrize("keep", [0.0, 1e-6, 0.5, 0.9932, 0.999999])
def test_memory_from_hour_to_hour_is_that_of_its_recurrence(keep):
    """Summed at once or hour by hour, from no memory to one of years."""
    pushes = np.random.default_rng(1).standard_normal((3, 3000))
    expected = pushes.copy()
    for n in range(1, 3000):
        expected[:, n] += keep * expected[:, n - 1]
    told = _remembered(pushes.copy(), keep)
    assert_allclose(told, expected, rtol=0, atol=1e-10 * np.abs(expected).max())
