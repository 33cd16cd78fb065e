"""Counts to bring: packs, sets, levels, and where the answer must be no."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import poisson

from treatsim.errors import DomainError
from treatsim.running import stock


@pytest.mark.parametrize("mean", [0.0, 0.04, 1.0, 7.3, 40.0, 900.0])
@pytest.mark.parametrize("level", [0.5, 0.95, 0.999])
def test_poisson_against_scipy(mean, level):
    assert stock.poisson_stock(mean, level) == poisson.ppf(level, mean)


@pytest.mark.parametrize(("mean", "level"), [(-1.0, 0.9), (1.0, 1.0), (1.0, 0.0)])
def test_impossible_counts_are_refused(mean, level):
    with pytest.raises(DomainError):
        stock.poisson_stock(mean, level)


def test_a_lamp_goes_by_its_hours_not_by_chance():
    hour = 3600.0
    assert stock.worn_out(4000 * hour, 9000 * hour, 2500 * hour, 1) == 0
    assert stock.worn_out(4000 * hour, 9000 * hour, 5001 * hour, 1) == 1
    assert stock.worn_out(20000 * hour, 9000 * hour, 0.0, 2) == 4


def test_packs_sets_and_losses_round_up():
    assert stock.to_bring(10, 0.0, 0, 2, 6) == 12
    assert stock.to_bring(11, 0.0, 0, 2, 1) == 12  # a pair is not broken
    assert stock.to_bring(100, 0.05, 4, 2, 10) == 110  # 106 with those spoiled, less 4, in tens
    assert stock.to_bring(3, 0.0, 8, 2, 6) == 0


def test_a_quantile_is_a_count_that_occurs_and_errs_to_more():
    counts = np.arange(1, 1001)
    assert stock.quantile(counts, 0.95) == 950
    assert stock.quantile(counts, 0.95, sure=True) > 955
    assert stock.quantile(counts, 0.9999, sure=True) == 1000


def test_rare_cases_take_many_scenarios():
    assert stock.least_scenarios(0.95) > 100
    assert stock.least_scenarios(0.999) > 5000


def test_jointly_is_less_than_each():
    first, second = np.arange(100) < 95, np.arange(100) >= 5
    assert stock.joint_level([first, second], [0.9]) == pytest.approx(0.9 * 0.9)
