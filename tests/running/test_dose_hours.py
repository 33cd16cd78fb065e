"""Hours below the dose in muddy water: against the train itself, and what is not judged."""

from __future__ import annotations

import dataclasses
import json
import pickle
from pathlib import Path

import numpy as np
import pytest
from command import treatsim
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.errors import CaseError, RequestError
from treatsim.running.dose_hours import DoseLimit, Mud, darkness, hours_under
from treatsim.running.filter_stretch import Clock
from treatsim.running.outlook import outlook
from treatsim.running.source import turbidity_series
from treatsim.running.spares import piece_of, plan_for
from treatsim.safety.verdict import judge

RIVER = "cases/river.toml"
HOUR = 3600.0


@pytest.fixture(scope="module")
def case():
    return cases.load(RIVER)


@pytest.fixture(scope="module")
def plan(case):
    return plan_for(case, 3)


def test_the_limit_is_where_the_train_itself_misses_the_dose(case, plan):
    """At its absorption the dose is reached, 1 % darker it is not: fresh and half-full elements."""
    names, clean = plan.line.filters.names, plan.line.filters.clean
    for grow in (1.0, 4.0):
        points = {f"{n}.resistance": np.full(2, grow * c)
                  for n, c in zip(names, clean, strict=True)}  # fmt: skip
        points |= {f"{n}.captured_mass": np.zeros(2) for n in names}
        flow = float(case.solve(points).value("product.flow").value[0])
        dark = np.interp(flow, plan.dose.flow, plan.dose.absorption) * np.array([0.99, 1.01])
        verdict = judge(case.solve(points | {"water.uv_transmittance": np.exp(-dark / 100)}))
        (limit,) = [row for row in verdict.limits if row.quantity == "dose"]
        assert limit.state(0) == "met"
        assert limit.state(1) == "not_met"


def test_hours_are_counted_one_by_one():
    """A storm, a standstill and a change within an hour, counted by hand."""
    limit = DoseLimit(np.array([1.0, 2.0]), np.array([30.0, 20.0]), None)
    running = np.array([[1, 1, 0, 1, 1, 1]]) * HOUR
    turbidity = np.array([[5.0, 16.0, 99.0, 24.0, 16.0, 26.0]])
    dark = darkness(Mud(5.0, 10.0, 1.0, 0.0), turbidity, np.random.default_rng(0))
    assert_allclose(dark, [[10, 21, 104, 29, 21, 31]])
    edges = np.concatenate([[[0.0]], np.cumsum(running, axis=1)], axis=1)
    clock = Clock(edges.copy(), edges)
    one = hours_under(limit, dark, clock,
                      (np.array([0]), np.array([0.0]), np.array([1.0])))  # fmt: skip
    assert_allclose(one, HOUR)  # at the lower flow only the last is too dark
    changed = (np.array([0, 0]), np.array([0.0, 2.5 * HOUR]), np.array([1.0, 2.0]))
    two = hours_under(limit, dark, clock, changed)
    assert_allclose(two, 3 * HOUR)  # 24 NTU while it is changed, and both after


def test_muddier_water_is_longer_under_the_dose_and_clear_water_never(case, plan):
    def hours(slope):
        dose = plan.dose._replace(mud=plan.dose.mud._replace(slope=slope, spread=0.0))
        return piece_of(dataclasses.replace(plan, dose=dose), 0, 40).under.mean() / HOUR

    clear, some, much = (hours(slope) for slope in (0.0, 0.2, 0.8))
    assert clear == 0
    assert 0 < some < much


def test_without_a_relation_it_is_not_judged_and_the_key_is_named(case):
    source = dataclasses.replace(
        case.sections["source"],
        muddy_turbidity=None,
        muddy_transmittance=None,
        muddy_spread=None,
    )
    sections = {**case.sections, "source": source, "pit": None}
    seen = outlook(case.changed(sections=sections), 1, level=0.9, scenarios=200)
    assert seen.told.under is None
    assert not seen.complete
    assert any("source.muddy_transmittance" in needs for _, needs in seen.unjudged)
    whole = outlook(case.changed(sections={**case.sections, "pit": None}), 1, level=0.9,
                    scenarios=200)  # fmt: skip
    assert whole.told.under[0] > 0
    assert whole.told.under[1] >= whole.told.under[0]
    assert "dose in muddy water" not in dict(whole.unjudged)


def test_half_a_relation_is_asked_for(case):
    data = dict(case.data)
    data["source"] = {k: v for k, v in data["source"].items() if k != "muddy_spread"}
    with pytest.raises(CaseError, match="muddy_spread is missing"):
        cases.interpret(data, "river")


@pytest.mark.parametrize(
    ("key", "value"), [("muddy_turbidity", "4 NTU"), ("muddy_transmittance", "90 %")]
)
def test_a_second_sample_no_muddier_than_the_first_is_refused(key, value):
    with pytest.raises(RequestError, match="more turbid and darker"):
        plan_for(cases.load(RIVER, {f"source.{key}": value}), 1)


def test_hours_of_mud_are_limits_not_met_until_the_tap_is_shut(tmp_path):
    """The train meets every limit in the water of the case; storms are what people drink too."""
    short = ("spares", RIVER, "--months", "1", "--scenarios", "400", "--level", "80 %")
    run = treatsim(*short, "--json")
    told = json.loads(run.out)
    assert all(row["state"] != "not_met" for row in told["limits"])
    assert run.status == 1
    assert told["meets"] is False
    names = {row["name"]: row["seconds_mean"] for row in told["missed_in_hours"]}
    assert set(names) == {"dose of the light", "at most 1 NTU behind the filters",
                          "at most 5 NTU behind the filters"}  # fmt: skip
    assert names["at most 1 NTU behind the filters"] > names["at most 5 NTU behind the filters"] > 0
    page = treatsim(*short)
    assert page.status == 1
    assert page.out.count("NOT MET in muddy water") == 3
    shut = treatsim(*short, "--json", "--set", "spares.stop_above=5 NTU")
    told = json.loads(shut.out)
    assert told["missed_in_hours"] == []
    assert told["meets"] is True
    assert shut.status == 0


def test_turbid_hours_are_counted_by_the_source(plan):
    """0.1925 of the turbidity is left: above 5 NTU from 26 NTU in the source, above 1 from 5.2."""
    assert_allclose(plan.turbidity_left, 0.55 * 0.35, rtol=1e-9)
    assert plan.turbid == (1.0, 5.0)
    piece = piece_of(plan, 0, 20)
    seeds = np.random.SeedSequence([plan.seed, 0]).generate_state(3)
    raw = turbidity_series(plan.source, plan.turbidity, plan.on.size, 20, int(seeds[0]), 4)
    for n, most in enumerate(plan.turbid):
        hours = np.sum(plan.on * (raw * 0.1925 > most), axis=1, where=np.arange(raw.shape[1]) <
                       plan.hours)  # fmt: skip
        assert_allclose(piece.turbid[:, n], HOUR * hours, rtol=1e-9)


def test_the_dose_follows_the_transmittance_that_was_read(tmp_path):
    """Two days in three of clear water, one too dark at any flow: a third of the running hours."""
    text = Path(RIVER).read_text("utf-8")
    start = text.index("[source]")
    text = text[:start] + (
        '[source]\nreadings = "river.csv"\nsolids_spread = 1.5\nsolids_scatter = 1.3\n\n'
    ) + text[text.index("[people]"):]  # fmt: skip
    text = text[: text.index("[pit]")] + text[text.index("[units.strainer]") :]
    (tmp_path / "river.toml").write_text(text, "utf-8")
    shades = ["90"] * 48 + ["40"] * 24
    rows = [f"2026-03-{1 + n // 24:02d} {n % 24:02d}:00, 4.5, {shade}"
            for n, shade in enumerate(shades)]  # fmt: skip
    log = tmp_path / "river.csv"
    log.write_text("\n".join(["time, turbidity [NTU], uv_transmittance [%]", *rows]), "utf-8")
    case = cases.load(tmp_path / "river.toml")
    plan = plan_for(case, 6)
    assert plan.dose.mud is None
    piece = piece_of(plan, 0, 200)
    assert_allclose(piece.under.mean() / piece.running.mean(), 1 / 3, rtol=0.05)
    kept = pickle.loads(pickle.dumps(plan))  # as it travels to machines without the file
    log.rename(tmp_path / "elsewhere.csv")
    assert_allclose(piece_of(kept, 0, 200).under, piece.under)
    (tmp_path / "elsewhere.csv").rename(log)
    seen = outlook(case, 1, level=0.8, scenarios=100)
    assert any(row.name == "dose of the light" for row in seen.missed)
    assert any("transmittance as read, 40 % to 90 %" in note for note in seen.notes)
    log.write_text(log.read_text("utf-8").replace(", 40", ", 90"), "utf-8")
    assert piece_of(plan_for(case, 6), 0, 20).under.max() == 0
