"""What to bring: which way it moves, by how much, the same wherever it ran, and when to say no."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from command import ROOT, treatsim

from treatsim import cases
from treatsim.errors import RequestError
from treatsim.running.forecast import counts_of, forecast
from treatsim.running.outlook import outlook
from treatsim.running.spares import piece_of, plan_for, simulate, swift

RIVER = "cases/river.toml"
FEW = 600


@pytest.fixture(autouse=True)
def _at_the_root(monkeypatch):
    monkeypatch.chdir(ROOT)


def told(changes=None, months=2.0, scenarios=FEW, level=None):
    case = cases.load(RIVER, changes)
    plan = plan_for(case, months)
    return forecast(case, plan, simulate(plan, scenarios), level)


@pytest.fixture(scope="module")
def river():
    return told()


def mean(found) -> np.ndarray:
    return np.array([row.mean for row in found.filters])


def test_half_the_solids_half_the_elements(river):
    """By mass balance: what is caught is flow x solids, and an element holds what it holds."""
    half = told({"water.turbidity": "2.25 NTU", "water.suspended_solids": "3.5 mg/L"})
    np.testing.assert_allclose(mean(half) / mean(river), 0.5, atol=0.04)


def test_twice_the_housings_more_water_for_as_many_elements(river):
    """At a fixed dial the flow gains; where mass ends a life, an element serves its cubic metres.

    (Where pressure ends it, a cake lasts 4.02 times as long: row P24.)
    """
    wide = told({"bags.elements": "4", "cartridges.elements": "4"})
    assert wide.volume[1] > 1.1 * river.volume[1]
    served = [one.volume[1] / mean(one) for one in (river, wide)]
    np.testing.assert_allclose(served[1] / served[0], 1.0, atol=0.12)  # sets of four left half used
    assert all(
        b.life[1] > 1.4 * a.life[1] for a, b in zip(river.filters, wide.filters, strict=True)
    )


def test_what_a_stage_ahead_takes_out_the_next_is_spared(river, tmp_path):
    """The solids that still arrive, over those of the source, are the elements still used."""
    text = Path(RIVER).read_text("utf-8")
    text = text.replace('capture_fraction = "55 %"', 'capture_fraction = "77.5 %"')
    path = tmp_path / "basin.toml"  # what is ahead passes half as much
    path.write_text(text, "utf-8")
    case = cases.load(path)
    plan = plan_for(case, 2.0)
    found = forecast(case, plan, simulate(plan, FEW), None)
    assert found.filters[1].mean / river.filters[1].mean == pytest.approx(0.5, abs=0.06)


def test_more_doubt_more_to_bring(river):
    sure = told({"spares.capacity_spread": "1", "spares.exponent_spread": "0"})
    doubt = told({"spares.capacity_spread": "2"})
    bring = [[row.bring for row in one.items[:2]] for one in (sure, river, doubt)]
    assert np.all(np.diff(np.array(bring), axis=0) > 0)


def test_the_level_asked_for_is_reached_and_more_takes_more(river):
    assert river.joint >= river.level == 0.95
    high = told(level=0.98)
    assert high.joint >= 0.98
    assert all(a.bring >= b.bring for a, b in zip(high.items, river.items, strict=True))


def test_fresh_draws_keep_the_promise(river):
    """Scenarios that the packing list has never seen: nothing runs out in as many as said."""
    case = cases.load(RIVER)
    plan = plan_for(case, 2.0, seed=977)
    other = forecast(case, plan, simulate(plan, FEW), 0.5)
    assert river.items[0].bring >= other.filters[0].quantiles[1]
    piece = piece_of(plan, 5, FEW)
    for g, item in enumerate(river.items[:2]):
        own = piece.changes["filter"] == g
        used = np.bincount(piece.changes["scenario"][own].astype(int),
                           piece.changes["elements"][own], minlength=FEW)  # fmt: skip
        assert np.mean(used <= (item.bring + item.stock) * 0.95) >= 0.95


def test_packs_pairs_and_stock(river):
    for item in river.items[:2]:
        assert item.bring % item.pack == 0
        assert (item.bring + item.stock) * 0.95 >= item.needed
        assert item.order_at is not None
    assert river.items[0].needed % 2 == 0  # both of a pair


def test_balance_and_stated_error(river):
    assert river.miss < 1e-9
    assert river.error < 1e-4


def test_the_same_numbers_on_a_cluster():
    from distributed import LocalCluster

    plan = plan_for(cases.load(RIVER), 0.5)
    here = simulate(plan, 1200)
    with LocalCluster(n_workers=1, threads_per_worker=1, processes=False,
                      dashboard_address=None) as cluster:  # fmt: skip
        there = simulate(plan, 1200, cluster.scheduler_address)
    assert [len(piece.volume) for piece in there] == [400, 400, 400]
    for one, two in zip(here, there, strict=True):
        assert all(np.array_equal(one.changes[key], two.changes[key]) for key in one.changes)
        assert np.array_equal(one.product, two.product)


def test_a_scheduler_that_is_none_is_named():
    plan = plan_for(cases.load(RIVER), 0.5)
    with pytest.raises(RequestError, match="no scheduler answers there"):
        simulate(plan, 10, "nowhere:1:2")


@pytest.mark.parametrize(
    ("changes", "months", "words"),
    [
        ({}, 0.0, "above 0 and not above 24"),
        ({"spares.filters.sand": "{}"}, 1.0, "a table belongs here"),
        ({"water.suspended_solids": "0 mg/L"}, 1.0, "above 0 are needed"),
    ],
)
def test_what_the_forecast_rests_on_is_asked_for(changes, months, words):
    with pytest.raises(RequestError, match=words):
        plan_for(cases.load(RIVER, changes), months)


def test_too_few_scenarios_are_refused():
    with pytest.raises(RequestError, match="scenarios or more"):
        told(scenarios=50)


def test_without_the_table_nothing_is_guessed():
    run = treatsim("spares", "cases/river_chlorine.toml", "--months", "6")
    assert run.status == 2
    assert "[spares] is missing" in run.err


def test_a_dose_that_is_missed_is_no_success():
    """Fresh elements pass most water: there the lamp does not reach its dose."""
    seen = outlook(cases.load(RIVER, {"lift_pump.speed": "100 %"}), 0.5, scenarios=FEW)
    assert not seen.meets
    assert any(row.worst == "not_met" and row.quantity == "dose" for row in seen.limits)


def test_filters_that_hold_all_turbidity_back_leave_no_turbid_hour():
    plan = plan_for(cases.load(RIVER, {"cartridges.turbidity_removal": "100 %"}), 0.5)
    assert plan.turbidity_left == 0
    assert plan.turbid
    assert np.all(piece_of(plan, 0, 5).turbid == 0)


def test_pages_files_and_documents(tmp_path):
    """The tap is shut in muddy water: left open, hours of it miss limits, which is status 1."""
    short = ("spares", RIVER, "--months", "1", "--scenarios", str(FEW), "--set",
             "spares.stop_above=5 NTU")  # fmt: skip
    page = treatsim(*short)
    assert page.status == 0, page.err
    assert "not judged: germs" in page.out
    document = json.loads(treatsim(*short, "--json").out)
    volume = document["product_volume"]
    assert volume["p5"]["value"] < volume["p50"]["value"] < volume["p95"]["value"]
    running = document["seconds_running"]
    assert 0 < running["mean"] < running["planned"]  # the tap was shut in muddy water
    assert any("1.56 mg/L of solids for 1 NTU" in note for note in document["notes"])
    assert document["joint_level"] >= document["level"]
    for suffix in (".csv", ".xlsx"):
        out = tmp_path / f"list{suffix}"
        assert treatsim(*short, "--out", str(out)).status == 0
    rows = list(csv.DictReader((tmp_path / "list.csv").read_text("utf-8").splitlines()))
    listed = document["items"] + document["not_judged"]
    assert [row["item"] for row in rows] == [row["name"] for row in listed]
    assert treatsim(*short, "--strict").status == 1  # germs are not judged
    assert treatsim(*short, "--level", "many").status == 2


def test_no_source_and_no_capacity_are_told_on_the_list(tmp_path):
    text = Path(RIVER).read_text("utf-8")
    for line in ('captured_mass = "60 g"', 'capacity = "250 g"', "terminal_ratio = 12",
                 "loading_exponent = 1.0"):  # fmt: skip
        place = text.rindex(line)
        text = text[:place] + text[place + len(line) :]
    for line in ('cartridges = { pack = 6, stock = 4, change = "both", longest_use = "60 d" }',
                 'cartridge_o_rings = { law = "change", of = "cartridges", number = 0.5, '
                 "pack = 10 }"):  # fmt: skip
        assert line in text
        text = text.replace(line, "")
    path = tmp_path / "half.toml"
    path.write_text(text, "utf-8")
    run = treatsim("spares", str(path), "--months", "1", "--scenarios", str(FEW), "--json")
    document = json.loads(run.out)
    assert not document["complete"]
    assert {"name": "cartridges", "needs": "cartridges.capacity"} in document["not_judged"]
    assert [row["name"] for row in document["filters"]] == ["bags"]


def test_a_doser_without_its_product_is_told():
    run = treatsim("spares", "cases/river_chlorine.toml", "--months", "1", "--scenarios", str(FEW),
                   "--set", "spares.capacity_spread=1.5", "--json")  # fmt: skip
    notes = json.loads(run.out)["notes"]
    assert any("chlorine: product to bring NOT JUDGED" in note for note in notes)


def test_fewer_scenarios_where_elements_are_changed_one_by_one():
    """Told on the screen with how well means are known: 1.96 s / sqrt(n), by the scenarios."""
    one = {"spares.filters": {"cartridges": {"change": "one"}}}
    assert swift(plan_for(cases.load(RIVER, one), 0.25))  # all are full at once, by their mass
    case = cases.load(RIVER, one | {"cartridges.largest_drop": "0.5 bar"})
    case = case.changed(sections={**case.sections, "pit": None})
    plan = plan_for(case, 0.25)
    assert not swift(plan)
    assert swift(plan_for(cases.load(RIVER), 0.25))
    pieces = simulate(plan, 40)
    used = counts_of(plan, pieces)[0][:, 1]
    error = forecast(case, plan, pieces, 0.5).filters[1].error
    assert error * used.mean() == pytest.approx(1.96 * used.std() / np.sqrt(40), rel=1e-9)
