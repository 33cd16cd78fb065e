"""Normalisation by ASTM D4516."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim.correlations.ro import normalisation as n
from treatsim.errors import DomainError

HOUR = 3600.0
START = n.OperatingData(55e5, 1.4e5, 0.5e5, 35.0, 0.350, 0.40, 298.15, 1.00 / HOUR)
TODAY = n.OperatingData(58e5, 1.6e5, 0.4e5, 36.0, 0.420, 0.35, 291.15, 0.90 / HOUR)
BOTH = n.OperatingData(*(np.array(pair) for pair in zip(START, TODAY, strict=True)))


def test_example(agree):
    mean = n.feed_brine_concentration(BOTH.feed_concentration, BOTH.conversion)
    agree("N1_feed_brine", mean)
    agree("N1_osmotic", n.astm_osmotic_pressure(mean, BOTH.temperature))
    agree(
        "N1_osmotic_permeate",
        n.astm_osmotic_pressure(BOTH.permeate_concentration, BOTH.temperature),
    )
    agree("N1_driving", n.net_driving_pressure(BOTH))
    agree("N1_temperature", n.flow_temperature_factor(BOTH.temperature))
    agree("N1_flow", n.normalised_flow(TODAY, START))
    passage = TODAY.permeate_concentration / TODAY.feed_concentration
    agree("N1_passage", [passage, n.normalised_salt_passage(TODAY, START)])


def test_start_up_is_its_own_standard():
    assert_allclose(n.normalised_flow(START, START), START.permeate_flow, rtol=1e-14, atol=0)
    assert_allclose(n.normalised_salt_passage(START, START), 0.01, rtol=1e-14, atol=0)


def test_arrays_equal_one_by_one():
    both = n.normalised_flow(BOTH, START)
    single = [n.normalised_flow(START, START), n.normalised_flow(TODAY, START)]
    assert_allclose(both, single, rtol=1e-14, atol=0)


def test_small_conversion_is_the_feed():
    assert_allclose(
        n.feed_brine_concentration(35.0, np.array([0.0, 1e-9])), 35.0, rtol=1e-8, atol=0
    )


def test_own_salt_temperature_factor():
    def salt(temperature):
        return np.exp(3600.0 * (1 / 298.15 - 1 / temperature))

    ratio = n.normalised_salt_passage(
        TODAY, START, salt_temperature_factor=salt
    ) / n.normalised_salt_passage(TODAY, START)
    assert_allclose(ratio, n.flow_temperature_factor(291.15) / salt(291.15), rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    "change",
    [{"feed_pressure": 20e5}, {"conversion": 1.0}, {"feed_concentration": -1.0}],
)
def test_refused(change):
    with pytest.raises(DomainError):
        n.normalised_flow(TODAY._replace(**change), START)
