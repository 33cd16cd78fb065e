"""Each element against each limit: the saturations are PHREEQC's, and what is over says so."""

import json
import tomllib

import numpy as np
import pytest
from command import ROOT

from treatsim import cases, cli
from treatsim.report.element_text import percent
from treatsim.safety.element_shares import HELD, binding, element_shares, share_of
from treatsim.safety.verdict import judge
from treatsim.water import scaling

SEA, WELL = (str(ROOT / "cases" / name) for name in ("sea.toml", "brackish_well.toml"))


def verdict(path=SEA, **changes):
    return judge(cases.load(path, {f"ro.{key}": v for key, v in changes.items()}).solve())


@pytest.fixture(scope="module")
def sea():
    return verdict()


def number(found, address):
    return float(np.ravel(found.value(address).value)[0])


@pytest.mark.parametrize("path", [SEA, WELL])
def test_saturation_of_an_element_is_that_of_phreeqc_at_its_membrane(path):
    """PHREEQC itself at the element's salinity; 0.005 in an index is five times the series'.

    Calcite apart: along a vessel its carbon dioxide leaves, which that function does not follow.
    """
    found = verdict(path)
    table = found.result.sheet.source.water
    for element in (1, 4):
        start = f"ro.element_{element}"
        factor = float(table.concentration_factor(number(found, f"{start}.membrane_salinity_max")))
        temperature = float(np.ravel(found.result.streams["ro", "feed"].temperature)[0])
        direct = scaling.saturation(table.analysis, factor, temperature)
        assert "gypsum" in direct.indices
        for mineral in set(direct.indices) - {"calcite"}:
            ours = np.log10(number(found, f"{start}.saturation.{mineral}"))
            assert ours == pytest.approx(direct.indices[mineral], abs=0.005), mineral


def test_the_worst_element_is_the_vessel(sea):
    """What is told of the vessel is the worst of its elements, so neither hides from the other.

    The index stands on the bulk's salinity, which the march's fitted density gives to 1e-5.
    """
    for limit in sea.limits:
        if not limit.address.startswith("ro.") or limit.key not in HELD:
            continue
        rows = [number(sea, f"ro.element_{n}.{HELD[limit.key][0]}") for n in range(1, 6)]
        worst = max(rows) if limit.relation == "<=" else min(rows)
        assert float(np.ravel(limit.value)[0]) == pytest.approx(
            worst, rel=1e-4 if limit.key == "carbonate_index" else 1e-9
        ), limit.key


def test_each_element_takes_what_the_one_before_leaves(sea):
    for n in range(1, 5):
        for entering, leaving in (("feed_flow", "concentrate_flow"),
                                  ("feed_pressure", "concentrate_pressure")):  # fmt: skip
            assert number(sea, f"ro.element_{n + 1}.{entering}") == pytest.approx(
                number(sea, f"ro.element_{n}.{leaving}"), rel=1e-12
            )


@pytest.mark.parametrize(
    ("entry", "limit", "key", "elements"),
    [
        ("largest_lead_flux", "20 L/(m2 h)", "flux", {1, 2}),
        ("largest_recovery", "8 %", "recovery", {1, 2}),
        ("largest_polarisation", 1.1, "polarisation_max", {1, 2, 3}),
        ("largest_pressure", "51.5 bar", "feed_pressure", {1, 2}),
        ("largest_drop", "0.3 bar", "pressure_drop", {1}),
        ("largest_feed_flow", "1.9 m3/h", "feed_flow", {1, 2}),
        ("smallest_concentrate_flow", "1.6 m3/h", "concentrate_flow", {4, 5}),
    ],
)
def test_an_element_beyond_its_limit_says_no(entry, limit, key, elements):
    """A promise kept by the vessel's mean and broken by one element must not look kept."""
    found = verdict(element={"class": "seawater-4in", entry: limit})
    row = next(row for row in element_shares(found, "ro") if row.key == key)
    assert {n + 1 for n in range(5) if row.share[n, 0] > 1} == elements
    assert row.limit.state() == "not_met"
    worst = int(np.argmax(row.share[:, 0]))
    assert binding([row], worst, 0) is row


def test_scale_beyond_its_limit_says_no():
    found = judge(cases.load(SEA, {"high_pressure_pump.outlet_pressure": "68 bar"}).solve())
    row = next(r for r in element_shares(found, "ro") if r.key == "carbonate_index")
    over = row.share[:, 0] > 1
    assert over.tolist() == [False, False, False, True, True]
    assert row.limit.state() == "not_met"
    assert np.all(over == (row.value[:, 0] > np.ravel(row.limit.limit)[0]))


def test_what_is_not_judged_of_the_vessel_is_not_judged_of_an_element(tmp_path, capsys):
    text = (ROOT / "cases/sea.toml").read_text("utf-8").replace("ph = 8.1\n", "")
    dry = tmp_path / "dry.toml"
    dry.write_text(text, "utf-8")
    found = judge(cases.load(dry).solve())
    assert not any(row.key.startswith("saturation") for row in element_shares(found, "ro"))
    cli.main(["solve", str(dry), "--full"])
    assert "not judged by element: scale, for want of the chemistry" in capsys.readouterr().out


def test_a_shorter_vessel_of_a_sweep_has_no_elements_beyond_its_end():
    case = cases.load(SEA)
    found = judge(case.solve({"ro.elements_in_series": np.array([2, 5])}))
    for row in element_shares(found, "ro"):
        assert np.isnan(row.share[2:, 0]).all()
        assert np.isfinite(row.share[:, 1]).all()
    assert binding(element_shares(found, "ro"), 3, 0) is None


def test_a_point_without_an_answer_has_no_shares():
    found = judge(cases.load(SEA).solve({"high_pressure_pump.outlet_pressure": [20e5, 52e5]}))
    shares = element_shares(found, "ro")
    assert all(np.isnan(row.share[:, 0]).all() for row in shares)
    assert all(np.isfinite(row.share[:, 1]).all() for row in shares)


def test_limits_are_those_of_the_case():
    """An override counts; what is waived is shown and binds nothing."""
    data = tomllib.loads((ROOT / "cases/sea.toml").read_text("utf-8"))
    data["units"]["ro"]["limits"] = {
        "polarisation_max": "1.05",
        "carbonate_index": {"waived": "jar-tested, invented"},
    }
    shares = {row.key: row for row in element_shares(
        judge(cases.interpret(data, "own.toml").solve()), "ro")}  # fmt: skip
    assert shares["polarisation_max"].share[0, 0] == pytest.approx(
        (shares["polarisation_max"].value[0, 0] - 1) / 0.05
    )
    assert shares["carbonate_index"].limit.waived
    assert binding([shares["carbonate_index"]], 4, 0) is None


def test_a_share_by_hand():
    """By definition: half a limit; a tenfold saturation; a limit of nothing is used up."""
    assert share_of("recovery", 0.1, 0.2, "<=") == 0.5
    assert share_of("element_concentrate_flow_min", 4.0, 1.0, ">=") == 0.25
    assert share_of("carbonate_index", 1.2, 0.2, "<=") == pytest.approx(10)
    assert share_of("polarisation_max", 1.1, 1.2, "<=") == pytest.approx(0.5)
    assert share_of("polarisation_max", 1.1, 1.0, "<=") == np.inf
    assert share_of("element_concentrate_flow_min", 0.0, 1.0, ">=") == np.inf


@pytest.mark.parametrize(
    ("share", "text"), [(0.999, "99 %"), (1.0, "100 %"), (1.001, "101 %"), (np.inf, "beyond")]
)
def test_only_what_is_on_its_limit_reads_100(share, text):
    assert percent(share) == text


def test_text_and_json_tell_the_same(capsys):
    cli.main(["solve", SEA, "--full"])
    page = capsys.readouterr().out
    cli.main(["solve", SEA, "--json"])
    told = json.loads(capsys.readouterr().out)
    assert [row["element"] for row in told["elements"]] == [f"ro.element_{n}" for n in range(1, 6)]
    assert all(row["binds"] in told["values"] for row in told["elements"])
    last = told["elements"][-1]
    share = next(r["share"] for r in last["limits"] if r["address"] == last["binds"])
    assert last["binds"] == "ro.element_5.carbonate_index"
    assert "element 5 binds first" in page
    assert percent(share) in page.partition("ELEMENT BY ELEMENT")[2].partition("LOG CREDIT")[0]
