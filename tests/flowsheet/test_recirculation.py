"""Concentrate sent round again: steady states, and settings that have none."""

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from ro_plant import number

LINKS = [
    "intake > mix.run",
    "mix > pump > ro",
    "ro.permeate > tank",
    "ro.concentrate > tee",
    "tee.branch > return_valve > mix.branch",
    "tee.run > valve > outfall",
]


def loop(intake=1.2, flow=None, pressure=12.0, fraction=None, salt=3.0):
    tee = {"kind": "dividing_tee"} | ({} if fraction is None else {"fraction": fraction})
    units = {
        "intake": {"kind": "intake", "flow": f"{intake} m3/h", "pressure": "2 bar"},
        "mix": {"kind": "combining_tee"},
        "pump": ro_plant.pump(flow, pressure),
        "ro": ro_plant.vessel("brackish-4in", 3),
        "tee": tee,
        "return_valve": ro_plant.VALVE,
        "valve": ro_plant.VALVE,
    }
    return ro_plant.case(ro_plant.salt(salt), units, LINKS)


def test_salt_and_water_by_hand():
    """The vessel's feed is the mixture of source and returned concentrate."""
    result = loop(fraction=0.5).solve()
    assert result.solved[0], result.reason()
    flows = {k: number(result, f"{k}.flow") for k in ("intake.outlet", "tee.branch", "ro.feed")}
    salts = {k: number(result, f"{k}.concentration") for k in flows}
    mixed = (
        flows["intake.outlet"] * salts["intake.outlet"] + flows["tee.branch"] * salts["tee.branch"]
    ) / (flows["intake.outlet"] + flows["tee.branch"])
    assert_allclose(salts["ro.feed"], mixed, rtol=1e-3)
    assert max(result.balances.values()) < 1e-9
    share = number(result, "tee.branch.flow") / number(result, "ro.concentrate.flow")
    assert_allclose(share, 0.5, rtol=1e-12)
    # whole unit: what comes in goes out, as permeate and as reject
    salt = number(result, "ro.permeate.flow") * number(result, "ro.permeate.concentration")
    salt += number(result, "valve.outlet.flow") * number(result, "valve.outlet.concentration")
    assert_allclose(salt, flows["intake.outlet"] * salts["intake.outlet"], rtol=1e-9)


def test_a_given_pump_flow_decides_what_returns():
    result = loop(flow=2.4).solve()
    assert result.solved[0], result.reason()
    assert_allclose(number(result, "ro.feed.flow") * 3600, 2.4, rtol=1e-9)
    assert_allclose(
        number(result, "return_valve.outlet.pressure"), number(result, "mix.run.pressure"),
        rtol=1e-9,
    )  # fmt: skip


def test_it_costs_quality():
    fractions = np.array([1e-3, 0.3, 0.6, 0.8])
    result = loop(fraction=0.5).solve({"tee.fraction": fractions})
    assert result.solved.all()
    assert np.all(np.diff(result.value("ro.feed.concentration").value) > 0)
    assert np.all(np.diff(result.value("ro.permeate.concentration").value) > 0)
    for point, fraction in enumerate(fractions):
        one = loop(fraction=0.5).solve({"tee.fraction": np.array([fraction])})
        assert_allclose(
            result.value("product.flow").value[point], number(one, "product.flow"), rtol=1e-7
        )


@pytest.mark.parametrize("fraction", [1.0, 0.99999])
def test_no_steady_state_is_said(fraction):
    """All the concentrate returned: the salt has no way out but the membrane."""
    result = loop(fraction=fraction).solve()
    assert not result.solved[0]
    assert result.reason() == (
        "the recycle has no steady state: what returns keeps growing; return less of it "
        "(tee.fraction) or let more out"
    )


def test_too_much_coming_round_is_said_with_both_flows():
    """1.2 m3/h fresh, 97 % of the concentrate back, hardly any permeate: 0.97 * 1.2 / 0.03."""
    result = loop(fraction=0.97).solve()
    assert not result.solved[0]
    assert_allclose(number(result, "tee.branch.flow") * 3600, 0.97 * 1.2 / 0.03, rtol=0.05)
    assert "has no steady state that its units can pass" in result.reason()
    assert "m3/h comes back to 1.2 m3/h of fresh water" in result.reason()
    assert "return less of it (tee.fraction)" in result.reason()
    assert "-" not in result.reason()


def test_a_share_within_reach_is_not_blamed_on_the_recycle():
    """Too little pressure stops the vessel; what returns has no part in it."""
    result = loop(fraction=0.3, pressure=2.2).solve()
    assert "feed pressure" in result.reason()
    assert "recycle" not in result.reason()
