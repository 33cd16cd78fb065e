"""What barriers earn exactly on their limits and just beyond, and what is no evidence at all.

Who is hurt: who drinks behind a filter credited beyond its test, or behind chlorine that muddy
water used up.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim.errors import DomainError
from treatsim.operations.composed import span_of
from treatsim.safety import barriers as rules

MG = 1e-3
TEST = {"flow": 1e-3, "tested_flow": 1e-3, "pressure_drop": 1e5, "tested_pressure_drop": 1e5}


def chlorine(**changes):
    terms = {"residual_end": 0.5 * MG, "contact_time": 1800.0, "temperature": 288.15, "ph": 7.5,
             "turbidity": 0.5}  # fmt: skip
    return rules.chlorine_barrier(**(terms | changes))


def in_steps(barrier, cls):
    """What the steps of the page make of the same readings."""
    reads = {name: (np.asarray(v, float),) * 2 for name, v in barrier.reads.items()}
    low, high = span_of(barrier.steps[cls], reads)
    assert low == high
    return float(low)


def test_of_up_to_nineteen_filters_the_worst_counts_from_twenty_the_tenth_percentile():
    """cfr_141_719 (a), by number of filters from memory; the worst filter is let go at 20."""
    for count, expected in ((2, 0.25), (19, 0.25), (20, 0.5), (21, 0.75), (41, 1.25)):
        logs = 0.25 * np.arange(1, count + 1)
        assert rules.challenge_log(logs[::-1], 1e3, 1.0) == expected, count


def test_the_feed_of_a_challenge_is_held_to_ten_thousand_times_what_can_be_told():
    assert rules.challenge_log([3.0], 4e3, 0.4) == 3.0
    for feed, least in ((4000.2, 0.4), (5e3, 0.4), (1e4, 0.1)):
        with pytest.raises(DomainError, match="10 000"):
            rules.challenge_log([3.0], feed, least)


@pytest.mark.parametrize(
    "call",
    [
        lambda: rules.challenge_log([-0.5], 1e3, 1.0),
        lambda: rules.challenge_log([], 1e3, 1.0),
        lambda: rules.challenge_log([[3.0, 2.0]], 1e3, 1.0),
        lambda: rules.ro_log_credit(5.0, 0.0),
        lambda: rules.ro_log_credit(5.0, -0.5),
        lambda: rules.turbidity_term(-0.5),
        lambda: rules.turbidity_remarks(-0.5),
        lambda: chlorine(residual_end=-0.5 * MG),
        lambda: chlorine(contact_time=-0.5),
    ],
)
def test_what_no_meter_reads_is_refused(call):
    with pytest.raises(DomainError):
        call()


def test_the_smallest_readings_are_taken_as_they_are():
    assert rules.challenge_log([0.5], 1e3, 1.0) == 0.5
    assert chlorine(contact_time=0.5).earned("virus") == 0


@pytest.mark.parametrize(("turbidity", "stands", "owed"), [
    (1.0, True, False), (1.1, True, True), (5.0, True, True), (5.1, False, False),
])  # fmt: skip
def test_turbidity_voids_disinfection_above_five_and_is_told_above_one(turbidity, stands, owed):
    """who_gdwq_2011, from memory."""
    barrier = chlorine(turbidity=turbidity)
    assert (barrier.earned("virus") > 0) == stands == (in_steps(barrier, "virus") > 0)
    assert any("1 NTU" in words for words in barrier.missing) == owed


def test_one_point_among_many_is_enough_for_a_remark():
    assert rules.turbidity_remarks(np.array([0.5, 2.0]))
    assert any("above 3 mg/L" in w for w in chlorine(residual_end=[1 * MG, 4 * MG]).missing)
    assert not any("above 3 mg/L" in w for w in chlorine(residual_end=3 * MG).missing)


def test_water_outside_a_table_earns_nothing_and_hears_which():
    """cfr_141_74 from memory: Giardia up to pH 9; virus by pH 6 to 9 or 10."""
    far = chlorine(ph=10.5)
    for cls in ("giardia", "virus", "bacteria"):
        assert far.earned(cls) == 0
    told = " | ".join(far.broken())
    assert "inside the Giardia table" in told
    assert "inside the virus table" in told
    assert not chlorine().broken()


def test_steps_earn_what_the_rules_earn():
    """The page credits in steps: never where the rule does not."""
    filters = rules.cartridge_barrier(2.7, **TEST)
    assert in_steps(filters, "cryptosporidium") == filters.earned("cryptosporidium") > 1.6
    for name in ("flow", "pressure_drop"):
        over = rules.cartridge_barrier(2.7, **TEST | {name: 1.01 * TEST[name]})
        assert in_steps(over, "cryptosporidium") == over.earned("cryptosporidium") == 0
    for feed, permeate, read, log in ((5.0, 0.5, True, 1.0), (5.0, 5e-4, True, 2.0),
                                      (0.1, 0.2, True, 0.0), (5.0, 0.5, False, 0.0)):  # fmt: skip
        membrane = rules.ro_barrier(feed, permeate, read)
        assert_allclose([in_steps(membrane, "virus"), membrane.earned("virus")], log, atol=1e-12)
    assert not rules.ro_barrier(5.0, 0.5, np.array([True, False])).steps
    assert not rules.cartridge_barrier([2.7, 3.0], **TEST).steps
