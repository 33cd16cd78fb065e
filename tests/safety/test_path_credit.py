"""Credit along the ways of the water: series, parallel, part of the time."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from hypothesis import given
from hypothesis import strategies as some
from numpy.testing import assert_allclose

from treatsim.flowsheet.hold import operate
from treatsim.safety.log_credit import CLASSES, Barrier, in_series, ledger
from treatsim.safety.path_credit import credit, totals_in_product

LOGS = {"virus": 1.0, "giardia": 3.0}


def barrier(name, cause="", **logs):
    return Barrier(name, logs or LOGS, "definition", shared_cause=cause)


def line(*barriers):
    """A row of hoses; each barrier stands at one of them."""
    units = [plant.unit("intake"), *(plant.unit("hose", b.name) for b in barriers)]
    result = operate(plant.sheet(units, " > ".join([u.name for u in units] + ["tank"])))
    flows = {port: s.flow for port, s in result.streams.items()}
    return result.sheet, flows, result.sheet.wiring.ends["tank"], {b.name: b for b in barriers}


def test_a_row_is_what_the_ledger_says():
    rows = [barrier("a"), barrier("b", virus=0.5), barrier("c", cryptosporidium=2.0)]
    totals = totals_in_product(*line(*rows))
    for cls, log in in_series(rows).items():
        assert_allclose(totals[cls], log, rtol=1e-12)
    found = credit(*line(*rows), {"virus": 4.0, "giardia": 3.0})
    asked = ledger(rows, {"virus": 4.0, "giardia": 3.0})
    assert found.weakest_class == asked.weakest_class == "virus"
    assert_allclose(found.margins["virus"], asked.margins["virus"], rtol=1e-12)
    assert found.weakest_barrier == asked.weakest_barrier == "a"


def test_of_one_cause_only_the_best_counts():
    rows = [barrier("a", "same"), barrier("b", "same", virus=2.0)]
    totals = totals_in_product(*line(*rows))
    assert_allclose([totals["virus"], totals["giardia"]], [2.0, 3.0], rtol=1e-12)


@pytest.mark.parametrize("logs", [1.0, 3.0, 4.0])
@pytest.mark.parametrize("share", [0.01, 0.3])
def test_a_branch_past_the_barrier_is_averaged_in_survival(logs, share):
    """A leak of 1 % turns 3 log into 1.96."""
    kinds = (("intake", "intake"), ("dividing_tee", "split"), ("throttle_valve", "by"),
             ("hose", "main"), ("combining_tee", "join"), ("throttle_valve", "end"))  # fmt: skip
    units = [plant.unit(kind, name) for kind, name in kinds]
    units[1] = units[1].with_parameters(fraction=share)
    sheet = plant.sheet(units, "intake > split.run > main > join.run > end > tank",
                        "split.branch > by > join.branch")  # fmt: skip
    flow = {port: 1.0 for u in units for port in [(u.name, p) for p in (*u.inlets, *u.outlets)]}
    for port in ("split", "branch"), ("by", "inlet"), ("by", "outlet"), ("join", "branch"):
        flow[port] = share
    for port in ("split", "run"), ("main", "inlet"), ("main", "outlet"), ("join", "run"):
        flow[port] = 1 - share
    flow = {port: 3.0 * part for port, part in flow.items()}
    end = sheet.wiring.ends["tank"]
    totals = totals_in_product(sheet, flow, end, {"main": barrier("main", virus=logs)})
    assert_allclose(totals["virus"], -np.log10(share + (1 - share) * 10**-logs), rtol=1e-12)


def test_ten_minutes_a_day_untreated():
    """4 log with ten untreated minutes a day are 2.15 log."""
    rows = [barrier("a", virus=4.0)]
    totals = totals_in_product(*line(*rows), untreated_share=10 / 1440)
    assert_allclose(totals["virus"], 2.15, atol=0.005, rtol=0)


@given(some.lists(some.floats(0, 4), min_size=1, max_size=4), some.floats(0, 0.5),
       some.floats(0, 0.5))  # fmt: skip
def test_a_longer_bypass_never_helps(logs, share, more):
    rows = [barrier(f"b{i}", virus=log) for i, log in enumerate(logs)]
    place = line(*rows)
    before = totals_in_product(*place, untreated_share=share)
    after = totals_in_product(*place, untreated_share=share + more)
    for cls in CLASSES:
        assert after[cls] <= before[cls] + 1e-12


def test_without_barriers_nothing_is_earned():
    sheet, flows, end, _ = line(barrier("a"))
    found = credit(sheet, flows, end, {}, {"virus": 4.0})
    assert found.totals["virus"] == 0
    assert found.weakest_barrier == ""
    assert_allclose(found.margins["virus"], -4.0, rtol=1e-12)


def every_port(units):
    return {(u.name, port): 2.0 for u in units for port in (*u.inlets, *u.outlets)}


def test_credit_goes_with_the_permeate_and_not_with_the_concentrate():
    units = [plant.unit("intake"), plant.unit("ro_vessel", "ro")]
    sheet = plant.sheet(units, "intake > ro", "ro.permeate > tank", "ro.concentrate > outfall")
    for port, log in (("permeate", 0.7), ("concentrate", 0.0)):
        own = {"ro": barrier("ro", virus=0.7)}
        assert totals_in_product(sheet, every_port(units), ("ro", port), own)["virus"] == log


def test_what_leaves_an_exchanger_has_the_credit_of_its_worst_inlet():
    units = [plant.unit("intake", "one"), plant.unit("intake", "two"), plant.unit("hose", "h"),
             plant.unit("pressure_exchanger", "px")]  # fmt: skip
    sheet = plant.sheet(units, "one > h > px.high_in", "two > px.low_in", "px.high_out > tank",
                        "px.low_out > outfall")  # fmt: skip
    own = {"h": barrier("h", virus=2.0)}
    flows = every_port(units)
    assert totals_in_product(sheet, flows, ("h", "outlet"), own)["virus"] == 2.0
    for port in ("high_out", "low_out"):
        assert totals_in_product(sheet, flows, ("px", port), own)["virus"] == 0.0


def test_the_weakest_are_told_at_every_point():
    """Losing "a" costs most virus where it earns most of it; Giardia is short at the last point."""
    rows = [
        barrier("a", virus=np.array([3.0, 0.5, 3.0]), giardia=1.0),
        barrier("b", virus=np.array([1.0, 2.0, 3.0]), giardia=np.array([4.0, 4.0, 0.5])),
    ]
    found = credit(*line(*rows), {"virus": 4.0, "giardia": 3.0})
    assert list(found.weakest_barrier) == ["a", "b", "a"]
    assert list(found.weakest_class) == ["virus", "virus", "giardia"]
