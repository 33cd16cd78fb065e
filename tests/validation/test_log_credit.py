"""The ledger of log credit, the rules of barriers, and the targets."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from treatsim.errors import DomainError
from treatsim.operations import kinds, unit_class
from treatsim.safety import barriers, cautions, log_credit, log_targets
from treatsim.safety.log_credit import CLASSES, Barrier, Term
from treatsim.safety.uv_barrier import UvBox, uv_barrier

MG = 1e-3
LITRE = 1e-3
MINUTE = 60.0


def uv(**changes):
    terms = {
        "validated_dose": 400.0,
        "flow": 1e-3,
        "transmittance": 0.80,
        "box": UvBox(1e-3, 0.80),
        "turbidity": 0.5,
        "sensor_in_range": True,
        "certificate": True,
    }
    return uv_barrier(**(terms | changes))


def chlorine(**changes):
    terms = {
        "residual_end": 0.5 * MG,
        "contact_time": 30 * MINUTE,
        "temperature": 288.15,
        "ph": 7.5,
        "turbidity": 0.5,
    }
    return barriers.chlorine_barrier(**(terms | changes))


def test_cartridge_rules(agree):
    agree("P68_single", barriers.cartridge_log_credit([3.2, 2.7, 0.9]))
    agree("P68_series", barriers.cartridge_log_credit([3.4, 2.6], in_series=True))


def test_reverse_osmosis(agree):
    agree("P70_ro", barriers.ro_log_credit([5.0, 0.5, 1.0], [0.05, 0.015, 0.02]))
    assert barriers.ro_log_credit(5.0, 5e-4) == 2.0
    assert barriers.ro_log_credit(0.1, 0.2) == 0.0
    assert barriers.ro_barrier(5.0, 0.05, False).earned("giardia") == 0


def test_uv_by_the_dose_table(agree):
    forty = uv()
    credit = [forty.earned(name) for name in ("cryptosporidium", "giardia", "virus")]
    agree("P65_forty", [*credit, *uv(validated_dose=np.array([579.0, 580.0])).earned("virus")])
    assert forty.earned("bacteria") == 4
    assert uv(validated_dose=399.0).earned("bacteria") == 0


def test_surface_water_bins(agree):
    bins = np.array([2, 3, 4])
    agree("P67_totals", log_targets.cryptosporidium_target(bins, "alternative"))
    agree("P67_conventional", log_targets.cryptosporidium_target(bins, "conventional"))
    agree("P67_direct", log_targets.cryptosporidium_target(bins, "direct"))
    found = log_targets.cryptosporidium_bin(np.array([0, 74, 75, 999, 1000, 2999, 3000]))
    assert list(found) == [1, 1, 2, 2, 3, 3, 4]


def test_tolerable_burden(agree):
    sources = {"cryptosporidium": 10, "campylobacter": 100, "rotavirus": 10}  # per litre
    bands = [
        log_targets.required_log_band(name, each / LITRE, each / LITRE)
        for name, each in sources.items()
    ]
    agree("P71_needed_logs", [band.high for band in bands])


def test_tolerable_burden_by_direct_simulation():
    """The needed log, put back into a year of daily exposures, gives the burden asked for."""
    for name, organism in log_targets.REFERENCE_PATHOGENS.items():
        band = log_targets.required_log_band(name, 1e2, 1e5)
        assert np.all(band.low < band.high)
        swallowed = 1e5 * 1e-3 * 10.0**-band.high
        healthy = np.prod(np.full(365, np.exp(-organism.infection * swallowed)))
        burden = (1 - healthy) * organism.illness * organism.burden * organism.susceptible
        assert_allclose(burden, 1e-6, rtol=1e-6, atol=0)
    assert log_targets.required_log_band("rotavirus", 1e-9, 1e-9).high == 0


def test_survivals_are_averaged_not_logs(agree):
    agree("F06_ten_minutes", log_credit.part_time(4.0, 10 / 1440))
    agree("F06_gasket", log_credit.part_time(3.0, 0.01))
    equal = log_credit.in_parallel([0.3, 0.7], [2.0, 2.0])
    assert_allclose(equal, 2.0, rtol=1e-14, atol=0)


def test_mixture_agrees_with_counting_organisms():
    rng = np.random.default_rng(7)
    logs, shares = rng.uniform(0, 3, 4), np.array([0.1, 0.2, 0.3, 0.4])
    organisms = shares * 1e7
    left = rng.binomial(organisms.astype(int), 10.0**-logs).sum()
    counted = -np.log10(left / organisms.sum())
    assert_allclose(log_credit.in_parallel(list(shares), list(logs)), counted, rtol=5e-3, atol=0)


def test_household_tiers():
    totals = {"bacteria": [4, 4, 2, 2, 0, 2], "virus": [5, 3, 3, 3, 0, 0],
              "giardia": [4, 4, 2, 0, 0, 2], "cryptosporidium": [4, 4, 3, 4, 4, 0]}  # fmt: skip
    assert list(log_targets.household_tier(totals)) == [3, 2, 2, 1, 0, 0]


def test_ledger_of_uv_and_chlorine():
    """Neither is enough alone, together they are; the weakest link is named."""
    target = log_targets.SURFACE_WATER
    alone = log_credit.ledger([uv()], target)
    assert not alone.meets
    assert alone.weakest_class == "virus"
    only_chlorine = log_credit.ledger([chlorine()], target)
    assert not only_chlorine.meets
    assert only_chlorine.weakest_class in ("giardia", "cryptosporidium")
    both = log_credit.ledger([uv(), chlorine()], target)
    assert both.meets
    assert_allclose(both.totals["virus"], 4.5, rtol=1e-15, atol=0)
    assert both.totals["giardia"] > 4
    assert both.weakest_barrier == "free chlorine"


def test_virus_is_capped_per_barrier():
    strong = Barrier("long wait", {"virus": 9.0}, "definition")
    assert log_credit.in_series([strong])["virus"] == 4.0
    assert log_credit.in_series([chlorine(contact_time=1e6)])["virus"] == 4.0


def test_dependent_barriers_do_not_add():
    bag = barriers.cartridge_barrier(2.7, 1.0, 1.0, 1.0, 1.0)
    cartridge = barriers.cartridge_barrier(3.2, 1.0, 1.0, 1.0, 1.0)
    assert log_credit.in_series([bag, cartridge])["cryptosporidium"] == 2.0
    pair = barriers.cartridge_barrier(3.2, 1.0, 1.0, 1.0, 1.0, in_series=True)
    assert log_credit.in_series([pair])["cryptosporidium"] == 2.5


@pytest.mark.parametrize(
    ("barrier", "words"),
    [
        (uv(certificate=False), "validation report"),
        (uv(flow=1.01e-3), "validated flow"),
        (uv(sensor_in_range=False), "set point"),
        (uv(turbidity=5.1), "turbidity"),
        (chlorine(turbidity=6.0), "turbidity"),
        (barriers.cartridge_barrier(3.0, 1.1, 1.0, 1.0, 1.0), "flow"),
        (barriers.cartridge_barrier(3.0, 1.0, 1.0, 2.0, 1.0), "pressure drop"),
        (barriers.ro_barrier(5.0, 0.05, False), "every day"),
    ],
)
def test_a_broken_term_voids_the_credit_and_says_why(barrier, words):
    assert all(barrier.earned(name) == 0 for name in CLASSES)
    assert words in " ".join(barrier.broken())


def test_what_earns_nothing_says_what_is_missing():
    nominal = barriers.cartridge_barrier(None, 1.0, 1.0, 1.0, 1.0)
    for barrier in (nominal, barriers.settling_barrier()):
        assert all(barrier.earned(name) == 0 for name in CLASSES)
        assert barrier.missing
    assert "challenge test" in nominal.missing[0]
    assert chlorine(contact_time=1e6).earned("cryptosporidium") == 0
    assert "1 NTU" in " ".join(chlorine(turbidity=2.0).missing)
    assert "1 NTU" not in " ".join(chlorine(turbidity=0.9).missing)


def test_strong_chlorine_counts_as_the_end_of_its_table():
    """The table ends at 3 mg/L: more earns what 3 mg/L would over the same time, and says so."""
    strong, end = chlorine(residual_end=4 * MG), chlorine(residual_end=3 * MG)
    assert_allclose(strong.earned("giardia"), end.earned("giardia"), rtol=1e-12)
    assert 0 < end.earned("giardia") < 3
    assert strong.earned("virus") == 4
    assert not strong.broken()
    assert "above 3 mg/L" in strong.missing[-1]
    assert not any("3 mg/L" in words for words in end.missing)


def test_challenge_results_of_many_filters():
    assert barriers.challenge_log([3.0, 2.5, 3.5], 1e4, 1.0) == 2.5
    many = np.linspace(2.0, 4.0, 21)
    assert_allclose(barriers.challenge_log(many, 1e4, 1.0), 2.2, rtol=1e-12, atol=0)
    with pytest.raises(DomainError, match="10 000"):
        barriers.challenge_log([3.0], 2e4, 1.0)


def test_arrays_equal_single_points():
    flow, turbidity = np.array([0.9e-3, 1.1e-3, 1e-3]), np.array([0.5, 0.5, 7.0])
    pH = np.array([7.0, 8.0, 9.5])
    together = log_credit.ledger(
        [uv(flow=flow, turbidity=turbidity), chlorine(ph=pH, turbidity=turbidity)],
        log_targets.SURFACE_WATER,
    )
    for i in range(3):
        alone = log_credit.ledger(
            [uv(flow=flow[i], turbidity=turbidity[i]), chlorine(ph=pH[i], turbidity=turbidity[i])],
            log_targets.SURFACE_WATER,
        )
        for name in CLASSES:
            total = np.broadcast_to(together.totals[name], 3)[i]
            assert_allclose(total, alone.totals[name], rtol=0, atol=0)
        assert np.broadcast_to(together.meets, 3)[i] == alone.meets
        assert together.weakest_class[i] == alone.weakest_class
        assert together.weakest_barrier[i] == alone.weakest_barrier


conditions = st.fixed_dictionaries(
    {
        "flow": st.floats(1e-4, 2e-3),
        "turbidity": st.floats(0.0, 10.0),
        "temperature": st.floats(274.0, 300.0),
        "ph": st.floats(6.0, 9.5),
        "bypass": st.floats(0.0, 1.0),
    }
)


def past(barrier, share):
    """The barrier when a share of the water passes it by."""
    credits = {
        name: log_credit.part_time(np.minimum(value, log_credit.BARRIER_CAP), share)
        for name, value in barrier.credits.items()
    }
    return dataclasses.replace(barrier, credits=credits)


def train(state):
    """Credit of a train whose contact time shrinks with the flow."""
    water = {key: state[key] for key in ("turbidity", "temperature", "ph")}
    contact = 2.0 / state["flow"] * 0.1
    lamp = uv(flow=state["flow"], turbidity=state["turbidity"])
    steps = [
        past(lamp, state["bypass"]),
        chlorine(contact_time=contact, **water),
        barriers.cartridge_barrier(3.0, state["flow"], 1.5e-3, 1.0, 1.0),
    ]
    return np.array([log_credit.in_series(steps)[name] for name in CLASSES])


@given(state=conditions, change=st.floats(0.0, 1.0))
def test_credit_never_rises_when_anything_gets_worse(state, change):
    before = train(state)
    worse = {
        "flow": state["flow"] * (1 + change),
        "turbidity": state["turbidity"] + 5 * change,
        "temperature": max(state["temperature"] - 20 * change, 273.15),
        "ph": state["ph"] + 2 * change,
        "bypass": state["bypass"] + (1 - state["bypass"]) * change,
    }
    for name, value in worse.items():
        assert np.all(train(state | {name: value}) <= before + 1e-12), name


@given(
    logs=st.lists(st.floats(0.0, 6.0), min_size=2, max_size=5),
    weights=st.lists(st.floats(0.01, 1.0), min_size=5, max_size=5),
)
def test_mixture_lies_between_worst_and_mean_of_logs(logs, weights):
    shares = np.array(weights[: len(logs)])
    shares = list(shares / shares.sum())
    mixed = log_credit.in_parallel(shares, logs)
    assert min(logs) - 1e-9 <= mixed <= np.dot(shares, logs) + 1e-9


def test_cautions_fit_the_train():
    general = cautions.cautions_for([])
    assert any("boil" in item.text for item in general)
    whole = cautions.cautions_for(["uv", "chlorine", "ro", "electricity"])
    assert whole[: len(general)] == general
    assert len(set(whole)) == len(whole)
    for words in ("Lamps hold mercury", "Hypochlorite", "polyamide", "residual-current"):
        assert any(words in item.text for item in whole)
        assert not any(words in item.text for item in general)
    from treatsim import sources

    groups = {group for kind in kinds() for group in unit_class(kind).hazards}
    for item in cautions.cautions_for(groups):
        assert item.source == cautions.PRACTICE or item.source in sources.load()
        assert " safe." not in item.text


@pytest.mark.parametrize(
    "call",
    [
        lambda: Barrier("x", {"worms": 1.0}, "definition"),
        lambda: Barrier("x", {"virus": -1.0}, "definition"),
        lambda: log_credit.in_parallel([0.5, 0.4], [1.0, 1.0]),
        lambda: log_credit.in_parallel([1.0], [1.0, 1.0]),
        lambda: log_credit.part_time(1.0, 1.1),
        lambda: log_credit.ledger([], {}),
        lambda: log_credit.ledger([], {"worms": 1.0}),
        lambda: log_targets.cryptosporidium_target(5, "direct"),
        lambda: log_targets.cryptosporidium_target(2.5, "direct"),
        lambda: log_targets.cryptosporidium_target(2, "slow sand"),
        lambda: log_targets.household_tier({"virus": 1.0}),
        lambda: log_targets.required_log_band("prion", 1.0, 2.0),
        lambda: log_targets.required_log_band("rotavirus", 2.0, 1.0),
        lambda: barriers.ro_log_credit(0.0, 1.0),
        lambda: barriers.cartridge_log_credit(-1.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()


def test_empty_train_earns_nothing():
    found = log_credit.ledger([], log_targets.SURFACE_WATER)
    assert not found.meets
    assert found.weakest_class == "virus"
    assert found.weakest_barrier == ""
    assert Term("x", True).classes == CLASSES
