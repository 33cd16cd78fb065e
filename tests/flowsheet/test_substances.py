"""Dissolved substances followed along the links, against balances written down by hand."""

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from plant import ROOT

from treatsim import cases
from treatsim.flowsheet import substances
from treatsim.flowsheet.substances import follow
from treatsim.safety.additions import Additions
from treatsim.safety.parts.product import product
from treatsim.safety.product_water import product_water
from treatsim.water.acidity import CARBON

CLOSE = {"rtol": 1e-9, "atol": 0}
PASS = 0.2


def let_pass(share):
    return lambda name, feed: dict.fromkeys(feed, share)


def flow(result, unit, port):
    return result.streams[unit, port].flow


def amount(result, found, *ports):
    return sum(flow(result, *port) * found[port]["x"] for port in ports)


def train(units, links, points=None):
    case = ro_plant.case(ro_plant.salt(3.0), units, links)
    result = case.solve(points)
    assert result.solved.all(), result.reason()
    return result


def test_a_blend_holds_what_the_bypass_brings():
    units = {"intake": {"kind": "intake", "flow": "3 m3/h", "pressure": "2 bar"},
             "split": {"kind": "dividing_tee", "fraction": "45 %"}, "pump": ro_plant.pump(None, 12),
             "ro": ro_plant.vessel("brackish-4in"), "let": ro_plant.VALVE, "valve": ro_plant.VALVE,
             "mix": {"kind": "combining_tee"}}  # fmt: skip
    links = ["intake > split", "split.run > pump > ro", "ro.permeate > mix.run",
             "split.branch > valve > mix.branch", "mix > tank",
             "ro.concentrate > let > outfall"]  # fmt: skip
    result = train(units, links)
    found = follow(result, {"x": 6.0}, let_pass(PASS)).ports
    through, past = (flow(result, *port) for port in (("ro", "permeate"), ("valve", "outlet")))
    expected = 6.0 * (PASS * through + past) / flow(result, "mix", "outlet")
    assert_allclose(found["mix", "outlet"]["x"], expected, **CLOSE)
    taken = amount(result, found, ("intake", "inlet"))
    assert_allclose(amount(result, found, ("mix", "outlet"), ("let", "outlet")), taken, **CLOSE)


def test_two_passes_multiply():
    units = {"pump": ro_plant.pump(2.2, 14), "first": ro_plant.vessel("brackish-4in", 4),
             "again": ro_plant.pump(None, 8), "second": ro_plant.vessel("brackish-4in", 2),
             "valve": ro_plant.VALVE, "let": ro_plant.VALVE}  # fmt: skip
    links = ["pump > first", "first.concentrate > valve > outfall",
             "first.permeate > again > second", "second.permeate > tank",
             "second.concentrate > let > drain"]  # fmt: skip
    result = train(units, links)
    shares = {"first": 0.3, "second": 0.4}
    found = follow(result, {"x": 5.0}, lambda name, feed: dict.fromkeys(feed, shares[name])).ports
    assert_allclose(found["second", "permeate"]["x"], 5.0 * 0.3 * 0.4, **CLOSE)


@pytest.mark.parametrize("back", [0.1, 0.42, 0.8])
def test_a_recycle_is_closed_at_once(back):
    """Concentrate sent round again: two balances, three unknowns, solved by hand."""
    case = cases.load(ROOT / "cases/brackish_well.toml", {"concentrate_tee.fraction":
                                                          f"{100 * back} %"})  # fmt: skip
    result = case.solve()
    assert result.solved.all(), result.reason()
    found = follow(result, {"x": 1.0}, let_pass(PASS)).ports
    new, whole, permeate, left, again = (
        flow(result, *port) for port in (("mix", "run"), ("mix", "outlet"), ("ro", "permeate"),
                                         ("ro", "concentrate"), ("mix", "branch"))
    )  # fmt: skip
    source = flow(result, "well_pump", "inlet") / new  # the same water, densities apart
    # whole f = new + again c;  whole f = permeate s f + left c
    ratio = (flow(result, "ro", "feed") - permeate * PASS) / left
    feed = new * source / (whole - again * ratio)
    assert_allclose(found["ro", "feed"]["x"], feed, rtol=1e-5)
    taken = amount(result, found, ("well_pump", "inlet"))
    out = amount(result, found, ("ro", "permeate"), ("concentrate_valve", "outlet"))
    assert_allclose(out, taken, **CLOSE)


def test_an_exchanger_gives_some_back():
    result = cases.load(ROOT / "cases/sea_recovery.toml").solve()
    found = follow(result, {"x": 4.7}, let_pass(PASS)).ports
    high, low = found["exchanger", "high_in"]["x"], found["exchanger", "low_in"]["x"]
    assert_allclose(found["exchanger", "high_out"]["x"], low + 0.05 * (high - low), **CLOSE)
    assert found["ro", "feed"]["x"] > 4.7
    out = amount(result, found, ("ro", "permeate"), ("exchanger", "low_out"))
    assert_allclose(out, amount(result, found, ("feed_pump", "inlet")), **CLOSE)


def test_an_intensifier_keeps_its_sides_apart():
    units = {"pump": ro_plant.pump(2.2), "intensifier": {"kind": "pressure_intensifier",
             "recovery": 0.2, "efficiency": 0.92, "exhaust_pressure": "0 bar"},
             "ro": ro_plant.vessel()}  # fmt: skip
    links = ["pump > intensifier.low_in", "intensifier.high_out > ro", "ro.permeate > tank",
             "ro.concentrate > intensifier.high_in", "intensifier.low_out > outfall"]  # fmt: skip
    result = ro_plant.case(ro_plant.sea(35.0), units, links).solve()
    found = follow(result, {"x": 4.7}, let_pass(PASS)).ports
    assert_allclose(found["ro", "feed"]["x"], 4.7, **CLOSE)
    assert found["intensifier", "low_out"]["x"] == found["ro", "concentrate"]["x"]


def test_a_passage_that_depends_on_the_feed_settles_and_points_do_not_meet():
    case = cases.load(ROOT / "cases/brackish_well.toml")
    fractions = np.array([0.2, 0.42, 0.7])

    def passing(name, feed):
        return {"x": 0.1 + 0.2 * feed["x"] / (1 + feed["x"])}

    many = case.solve({"concentrate_tee.fraction": fractions})
    together = follow(many, {"x": 1.0}, passing).ports["ro", "permeate"]["x"]
    for value, fraction in zip(together, fractions, strict=True):
        one = case.solve({"concentrate_tee.fraction": np.array([fraction])})
        alone = follow(one, {"x": 1.0}, passing).ports
        assert_allclose(value, alone["ro", "permeate"]["x"][0], rtol=1e-7)
        feed = alone["ro", "feed"]["x"][0]
        assert_allclose(value, (0.1 + 0.2 * feed / (1 + feed)) * feed, rtol=1e-7)


def test_without_a_membrane_nothing_dissolved_is_lost():
    result = cases.load(ROOT / "cases/river.toml").solve()
    found = follow(result, {"nitrate": 0.06}, let_pass(0.0)).ports
    for (_, port), held in found.items():
        if port == "outlet":
            assert_allclose(held["nitrate"], 0.06, rtol=1e-6)


def test_what_returns_settles_however_much_does_and_in_any_company():
    """A fixed point, found again from its own answer; between 90 and 99 % plain passes swing.

    Nothing that returns is a case of its own: what would be returned is the concentrate.
    """
    case = cases.load(ROOT / "cases" / "brackish_well.toml")
    shares = np.array([0.0, 0.42, 0.9, 0.95, 0.99])
    many = product_water(case.solve({"concentrate_tee.fraction": shares})).ports
    for point, share in enumerate(shares):
        alone = product_water(case.solve({"concentrate_tee.fraction": np.full(2, share)})).ports
        for port in (("mix", "branch"), ("ro", "permeate")):
            for symbol, held in alone[port].items():
                assert_allclose(many[port][symbol][point], held[0], **CLOSE)
    carbon, result = (
        many["ro", "concentrate"][CARBON],
        case.solve({"concentrate_tee.fraction": 0.9}),
    )
    assert_allclose(many["mix", "branch"][CARBON], carbon, **CLOSE)
    whole = product_water(result).ports
    fed, left = (
        sum(whole[port][CARBON] * result.streams[port].flow for port in ports)
        for ports in ([("well_pump", "inlet")], [("ro", "permeate"), ("concentrate_tee", "run")])
    )
    assert_allclose(left, fed, rtol=1e-9)


def test_what_did_not_settle_is_not_met(monkeypatch):
    """With too few rounds a point of much return says so, one that returns nothing does not."""
    case = cases.load(ROOT / "cases" / "brackish_well.toml")
    result = case.solve({"concentrate_tee.fraction": np.array([0.0, 0.95])})
    assert result.solved.all()
    monkeypatch.setattr(substances, "ROUNDS", 3)
    limits = product(result, Additions()).limits
    (said,) = (one for one in limits if one.address == "product.settling")
    assert np.asarray(said.meets).tolist() == [True, False]
    monkeypatch.undo()
    assert not [one for one in product(result, Additions()).limits if "settle" in one.name]


def test_where_nothing_is_solved_all_may_come_back():
    """A balance of which nothing leaves has no answer; its neighbours do not notice."""
    case = cases.load(ROOT / "cases" / "brackish_well.toml")
    result = case.solve({"concentrate_tee.fraction": np.array([0.42, 1.0])})
    assert result.solved.tolist() == [True, False]
    left = {("mix", "run"), ("ro", "permeate"), ("concentrate_tee", "run"),
            ("concentrate_valve", "inlet"), ("concentrate_valve", "outlet")}  # fmt: skip
    for port, stream in result.streams.items():  # round and round, nothing in, nothing out
        kept = np.where(result.solved, stream.flow, 0.0 if port in left else 1.0)
        object.__setattr__(stream, "flow", kept)
    found = follow(result, {"x": 1.0}, let_pass(0.0)).ports
    alone = follow(case.solve(), {"x": 1.0}, let_pass(0.0)).ports
    assert_allclose(found["ro", "feed"]["x"][0], alone["ro", "feed"]["x"], **CLOSE)
