"""Sweeps: order, units, statuses, refusals, files, interruption."""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases, cli, errors
from treatsim.report import sweep_files, sweep_text
from treatsim.safety.verdict import judge
from treatsim.studies import sweep as sweep_module
from treatsim.studies.partial import SideFile
from treatsim.studies.sweep import Watch, sweep
from treatsim.studies.vary import axes_of, grid_of

ROOT = Path(__file__).parents[2]
RIVER = str(ROOT / "cases" / "river.toml")
SPEED, UVT = "lift_pump.speed", "water.uv_transmittance"


@pytest.fixture(scope="module")
def river():
    return cases.load(RIVER)


@pytest.fixture
def small_chunks(monkeypatch):
    monkeypatch.setattr(sweep_module, "CHUNK", 6)


def alone(case, settings):
    """The verdict of one point, solved by itself."""
    return judge(case.solve({a: np.array([v]) for a, v in settings.items()}))


def test_grid_order_last_changes_fastest(river):
    table = sweep(river, {SPEED: "60 %:80 %:3", UVT: "80 %,90 %"})
    expected = np.array(list(itertools.product([0.6, 0.7, 0.8], [0.8, 0.9])))
    assert_allclose(table[SPEED], expected[:, 0], rtol=1e-14)
    assert_allclose(table[UVT], expected[:, 1], rtol=1e-14)


def test_rows_equal_single_solves(river, small_chunks):
    table = sweep(river, {SPEED: "50 %:110 %:5", UVT: "75 %:92 %:4"}, show=["all"])
    for n in range(len(table)):
        verdict = alone(river, {SPEED: table[SPEED][n], UVT: table[UVT][n]})
        for column in table.results:
            if np.nanmax(np.abs(column.values)) < 1e-6:  # zero but for what the solver leaves
                continue
            value = verdict.value(column.address).value
            assert_allclose(column.values[n], np.ravel(value)[0], rtol=1e-8, err_msg=column.address)
        assert table["state"][n] == verdict.state()


def test_units_of_values_and_headings(river):
    table = sweep(river, {"water.temperature": "50 degF,77 degF"}, show=["product.flow"])
    assert_allclose(table["water.temperature"], [283.15, 298.15], rtol=1e-12)
    assert table.headings() == [
        "water.temperature [degC]",
        "product.flow [m3/h]",
        "state",
        "status",
        "outside",
    ]
    assert table.headings("us")[:2] == ["water.temperature [degF]", "product.flow [gal/min]"]
    frame = table.to_pandas("us")
    assert_allclose(frame["water.temperature [degF]"], [50, 77], rtol=1e-12)


def test_an_array_with_its_unit(river):
    table = sweep(river, {SPEED: (np.linspace(60, 80, 3), "%")})
    assert_allclose(table[SPEED], [0.6, 0.7, 0.8], rtol=1e-14)


def test_statuses_say_why(river):
    table = sweep(river, {SPEED: "20 %,74 %,110 %"})
    idle, good, fast = table["status"]
    assert "nothing flows" in idle
    assert "bar short" in idle
    assert good == "not judged: germs; not judged: what is dissolved"
    assert fast.startswith("not met: UV dose for 3 log of cryptosporidium (uv); not judged: ")
    assert list(table["state"]) == ["no_answer", "not_judged", "not_met"]
    assert np.isnan(table["product.flow"][0])
    assert np.all(np.isfinite(table["product.flow"][1:]))


def test_contradicting_inputs_do_not_spoil_their_neighbours(river):
    table = sweep(river, {"uv.sleeve_outer_radius": "20 mm:100 mm:9"})
    wide = np.asarray(table["uv.sleeve_outer_radius"]) >= 0.075
    assert [("below the radius of the chamber" in s) for s in table["status"]] == wide.tolist()
    assert np.array_equal(np.isnan(table["product.flow"]), wide)


def test_counts_choices_texts_and_keys_are_grouped(river):
    table = sweep(
        river,
        {
            "uv.emission": "isotropic,cosine",
            "uv.tanks_in_series": "5:15:3",
            SPEED: "70 %,80 %",
            "water.salinity": "0.2 g/L:0.4 g/L:2",
            "uv.target.log": "2,4",
        },
        show=["uv.dose_credited", "uv.dose_required", "tank.nothing"][:2],
    )
    assert len(table) == 48
    assert table["uv.tanks_in_series"].tolist()[:24:8] == [5, 10, 15]
    n = 37
    verdict = judge(
        cases.load(
            RIVER,
            {
                "uv.emission": table["uv.emission"][n],
                "water.salinity": f"{table['water.salinity'][n].si} kg/m3",
                "uv.tanks_in_series": str(table["uv.tanks_in_series"][n]),
                "uv.target.log": str(table["uv.target.log"][n]),
                SPEED: f"{table[SPEED][n].si}",
            },
        ).solve()
    )
    for address in ("uv.dose_credited", "uv.dose_required"):
        assert_allclose(table[address][n], np.ravel(verdict.value(address).value)[0], rtol=1e-9)


def test_outside_a_range_is_told_and_strict_refuses_it(river):
    vary = {SPEED: "40 %:110 %:15"}
    table, strict = sweep(river, vary), sweep(river, vary, strict=True)
    beyond = np.array([bool(text) for text in table["outside"]])
    assert np.any(beyond)
    assert not np.all(beyond)
    assert f"{np.sum(beyond)} of 15" in table.outside_note()
    assert all(strict["state"][n] == "not_met" for n in np.flatnonzero(beyond))
    assert all("outside a formula's range" in strict["status"][n] for n in np.flatnonzero(beyond))


@pytest.mark.parametrize(
    ("vary", "says"),
    [
        ({"lift_pump.sped": "1,2"}, 'did you mean "lift_pump.speed"'),
        ({"uv.dose_credited": "1,2"}, "is a result"),
        ({"product.flow": "1,2"}, "is a result"),
        ({SPEED: "50 %:300 %:3"}, "not above 120 %"),
        ({SPEED: "50 %:50 %:3"}, "COUNT is 1"),
        ({SPEED: "50 %:60 %:1"}, "at least 2"),
        ({SPEED: "50 %:60 %:0"}, "COUNT lies between"),
        ({SPEED: "50 %:60 %:x"}, "whole number"),
        ({SPEED: "50 %:60 %"}, "FROM:TO:COUNT"),
        ({SPEED: "1e400:1:3"}, "no number of this size"),
        ({SPEED: [float("nan")]}, "finite"),
        ({"water.temperature": "10 bar:20 bar:3"}, "no unit of temperature"),
        ({"water.temperature": "10:20:3"}, "unit is missing"),
        ({"water.temperature": [290.0]}, "bare number"),
        ({"uv.emission": "isotopic"}, "one of isotropic, cosine"),
        ({"uv.emission": "a:b:3"}, "list them"),
        ({"uv.tanks_in_series": "0:3:4"}, "not below 1"),
        ({SPEED: "0.5:1:9000", UVT: "50 %:90 %:9000"}, "at most 10,000,000"),
        ({}, "nothing is varied"),
    ],
)
def test_refused(river, vary, says):
    with pytest.raises(errors.RequestError, match=says):
        sweep(river, vary)


def test_unknown_result_names_the_nearest(river):
    with pytest.raises(errors.RequestError, match="near: uv"):
        sweep(river, {SPEED: "60 %,70 %"}, show=["uv.dose_credit"])


def test_csv_is_read_back(tmp_path, capsys):
    out = tmp_path / "speeds.csv"
    vary = ["--vary", f"{SPEED}=20 %:100 %:9"]
    assert cli.main(["sweep", RIVER, *vary, "--out", str(out)]) == 0
    with out.open(newline="") as file:
        head, *rows = csv.reader(file)
    assert head[0] == "lift_pump.speed [%]"
    assert [row[0] for row in rows] == [str(n) for n in range(20, 101, 10)]
    assert rows[0][head.index("product.flow [m3/h]")] == ""
    assert rows[0][head.index("state")] == "no_answer"
    assert "nothing flows" in rows[0][head.index("status")]
    assert capsys.readouterr().out == ""
    assert cli.main(["sweep", RIVER, *vary]) == 0
    assert capsys.readouterr().out == out.read_text()


def test_xlsx_and_parquet_round_trip(river, tmp_path):
    openpyxl, parquet = pytest.importorskip("openpyxl"), pytest.importorskip("pyarrow.parquet")
    table = sweep(river, {SPEED: "20 %:100 %:9"})
    sheet, file = tmp_path / "a.xlsx", tmp_path / "a.parquet"
    sheet.write_bytes(sweep_files.encode(table, ".xlsx"))
    file.write_bytes(sweep_files.encode(table, ".parquet"))
    head, *rows = openpyxl.load_workbook(sheet).active.iter_rows(values_only=True)
    flow = head.index("product.flow [m3/h]")
    assert rows[0][flow] is None
    assert_allclose(
        [r[flow] for r in rows[3:]], table.column("product.flow").shown()[3:], rtol=1e-14
    )
    back = parquet.read_table(file).to_pydict()
    assert list(back) == table.headings() == list(head)
    assert back["state"] == list(table["state"])
    assert back["product.flow [m3/h]"][0] is None


def test_an_interrupted_run_is_taken_up(river, tmp_path, small_chunks, monkeypatch):
    vary, out = {SPEED: "50 %:100 %:5", UVT: "75 %:92 %:4"}, tmp_path / "a.csv"
    solved, said = [], []
    original = sweep_module.solve_points

    def counted(case, arrays, points):
        solved.append(points)
        if len(solved) == 2 and not said:
            raise KeyboardInterrupt
        return original(case, arrays, points)

    monkeypatch.setattr(sweep_module, "solve_points", counted)
    with pytest.raises(KeyboardInterrupt):
        sweep(river, vary, keep=out, watch=Watch(tell=said.append))
    assert "6 of 20 points are kept" in said[0]
    assert (tmp_path / "a.csv.partial").exists()
    solved.clear()
    table = sweep(river, vary, keep=out, watch=Watch(tell=said.append))
    assert solved == [6, 6, 2]
    assert "taking up 6 points" in said[1]
    assert not (tmp_path / "a.csv.partial").exists()
    whole = sweep(river, vary)
    assert sweep_files.csv_text(table) == sweep_files.csv_text(whole)


def test_another_request_does_not_take_up_old_chunks(river, tmp_path, small_chunks):
    out, said = tmp_path / "a.csv", []

    def stop(table):
        raise KeyboardInterrupt

    vary = {SPEED: "50 %:100 %:8"}
    with pytest.raises(KeyboardInterrupt):
        sweep(river, vary, keep=out, finish=stop)
    other = cases.load(RIVER, {"uv.ageing_factor": "0.7"})
    sweep(other, vary, keep=out, watch=Watch(tell=said.append))
    assert "another request" in said[0]


def test_a_damaged_side_file_is_read_up_to_the_damage(tmp_path):
    side = SideFile(tmp_path / "a.csv", "key")
    side.add({"x": np.arange(3)})
    side.add({"x": np.arange(4)})
    side.path.write_bytes(side.path.read_bytes()[:-5])
    again = SideFile(tmp_path / "a.csv", "key")
    assert [chunk["x"].size for chunk in again.read()] == [3]
    again.add({"x": np.arange(5)})
    last = SideFile(tmp_path / "a.csv", "key")
    assert [chunk["x"].size for chunk in last.read()] == [3, 5]


def test_interrupt_leaves_no_output(tmp_path, monkeypatch, capsys, small_chunks):
    out = tmp_path / "a.csv"
    out.write_text("before\n")
    calls = itertools.count()
    original = sweep_module.solve_points

    def stops(case, arrays, points):
        if next(calls) == 1:
            raise KeyboardInterrupt
        return original(case, arrays, points)

    monkeypatch.setattr(sweep_module, "solve_points", stops)
    command = ["sweep", RIVER, "--vary", f"{SPEED}=50 %:100 %:9", "--out", str(out)]
    assert cli.main(command) == 130
    assert out.read_text() == "before\n"
    assert "are kept" in capsys.readouterr().err
    assert cli.main(command) == 0
    assert len(out.read_text().splitlines()) == 10
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]


@pytest.mark.parametrize(
    ("name", "says"), [("a.txt", ".csv"), ("nowhere/a.csv", "no directory"), (".", "directory")]
)
def test_files_that_cannot_be_written(tmp_path, capsys, name, says):
    out = str(tmp_path / name)
    assert cli.main(["sweep", RIVER, "--vary", f"{SPEED}=0.5,0.6", "--out", out]) == 2
    assert says in capsys.readouterr().err


def test_too_many_rows(river):
    with pytest.raises(errors.RequestError, match="use --out"):
        sweep_text.check_rows(grid_of(river, axes_of([f"{SPEED}=0.5:1:100001"])).points)
    with pytest.raises(errors.RequestError, match="sheet holds"):
        sweep_files.check_path("a.xlsx", 2_000_000)


def test_exit_statuses(capsys):
    def status(values):
        return cli.main(["sweep", RIVER, "--vary", f"{SPEED}={values}"])

    assert status("20 %,74 %") == 0
    assert status("20 %,110 %") == 1
    assert status("10 %,20 %") == 3
    assert cli.main(["sweep", RIVER, "--vary", SPEED]) == 2
    assert "ADDRESS=FROM:TO:COUNT" in capsys.readouterr().err


def test_terminal_text(river):
    text = sweep_text.sweep_text(sweep(river, {SPEED: "20 %:110 %:10"}, show=["uv.dose_credited"]))
    rows = [line.partition("|")[2] for line in text.splitlines() if "|" in line]
    assert sum(row.count("?") + row.count("x") for row in rows) == 8
    assert "10 points: 0 with every limit met, 3 not, 5 not all judged, 2 without an answer" in text
    assert max(map(len, rows)) <= sweep_text.WIDTH
    table = sweep_text.sweep_text(sweep(river, {SPEED: "60 %,70 %", UVT: "80 %,90 %"}))
    assert "|" not in table


def test_scale_and_boron_are_judged_at_every_point():
    """They took 0.2 s each and were left out of sweeps; now only what was not measured is open."""
    case = cases.load(ROOT / "cases" / "sea.toml")
    table = sweep(case, {"high_pressure_pump.outlet_pressure": "20 bar,50 bar,52 bar,60 bar"})
    assert "osmotic pressure" in table["status"][0]
    assert all("not judged: germs" in text for text in table["status"][1:3])
    assert not any("boron" in text or "scale" in text for text in table["status"][1:3])
    assert "mean flux" in table["status"][3]


@pytest.mark.parametrize("name", ["brackish_well", "sea"])
def test_osmosis_over_pressure(name):
    case = cases.load(ROOT / "cases" / f"{name}.toml")
    now = case.field("high_pressure_pump.outlet_pressure")[1]
    values = (np.linspace(0.9, 1.1, 5) * now, "Pa")
    table = sweep(
        case, {"high_pressure_pump.outlet_pressure": values, "ro.elements_in_series": "2:3:2"}
    )
    flow = table["product.flow"].reshape(5, 2)
    assert np.all(np.diff(flow, axis=0)[np.isfinite(np.diff(flow, axis=0))] > 0)
    assert np.any(np.isfinite(flow))


@pytest.mark.parametrize(
    "address", ["source.season", "source.storms_per_month", "spares.lead_time", "pit.depth"]
)
def test_what_tells_of_months_moves_no_single_point(address):
    """Rows that are all the same would say that storms change nothing."""
    case = cases.load("cases/river.toml")
    with pytest.raises(errors.RequestError, match=r"tells of months.*treatsim spares CASE --set"):
        sweep(case, {address: "1:2:2"})
    with pytest.raises(errors.RequestError, match="tells of months"):
        case.solve({address: np.array([1.0, 2.0])})
