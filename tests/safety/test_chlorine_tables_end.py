"""Where the chlorine tables end, nothing is credited, and the end itself still counts.

The ends are those of the tables: 0.5 degC, pH 6 and 9 (cfr_141_74, from memory;
epa_816_r_03_004, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from treatsim.constants import ZERO_CELSIUS
from treatsim.correlations.disinfection.contact_time import MG_MIN_PER_L
from treatsim.errors import DomainError
from treatsim.safety import ct_tables

PLENTY = 1e6 * MG_MIN_PER_L
WARM = ZERO_CELSIUS + 10.0
PH = np.array([5.9, 6.0, 7.5, 9.0, 9.1])


def giardia(ct, temperature, ph):
    return ct_tables.giardia_log_credit(ct, temperature, ph, 1e-3)


def test_no_wait_earns_more_than_the_table_holds():
    assert_array_equal(giardia(PLENTY, WARM, PH), [0, 3, 3, 3, 0])
    assert_array_equal(ct_tables.virus_log_credit(PLENTY, WARM, PH), [0, 4, 4, 4, 0])


def test_below_half_a_degree_nothing_is_earned():
    cold = ZERO_CELSIUS + np.array([0.4, 0.5])
    assert_array_equal(giardia(PLENTY, cold, 7.0), [0, 3])
    assert_array_equal(ct_tables.virus_log_credit(PLENTY, cold, 7.0), [0, 4])


@pytest.mark.parametrize(
    ("temperature", "ph", "words"),
    [([10.0, 0.4], 7.0, "0.5 degC"), (10.0, [7.0, 5.9], "is pH 6"), (10.0, [7.0, 9.1], "is pH 9")],
)
def test_one_refused_point_among_many_is_refused_alone_and_told(temperature, ph, words):
    kelvin = np.asarray(temperature) + ZERO_CELSIUS
    needed, refused, reasons = ct_tables.virus_lookup(kelvin, ph)
    assert_array_equal(refused, [False, True])
    assert np.all(np.isinf(needed[1]))
    (reason,) = reasons
    assert words in reason
    (reason,) = ct_tables.giardia_lookup(kelvin, ph, 1e-3).reasons
    assert words in reason


@pytest.mark.parametrize(
    "bad",
    [(-0.1, WARM, 7.0), (1.0, ZERO_CELSIUS - 0.1, 7.0), (1.0, ZERO_CELSIUS + 100.1, 7.0),
     (1.0, WARM, -0.1), (1.0, WARM, 14.1), (np.nan, WARM, 7.0)],
)  # fmt: skip
def test_what_cannot_be_raises(bad):
    for credit in (giardia, ct_tables.virus_log_credit):
        with pytest.raises(DomainError):
            credit(*bad)


@pytest.mark.parametrize("possible", [(ZERO_CELSIUS + 100, 7.0), (WARM, 0.0), (WARM, 14.0)])
def test_what_can_be_is_answered_with_nothing_or_a_credit(possible):
    assert giardia(0.0, *possible) == ct_tables.virus_log_credit(0.0, *possible) == 0
