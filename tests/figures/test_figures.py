"""The gallery: numbers that still hold, pictures that are the same twice, a complete page."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ElementTree
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from treatsim import cases, cli, quantities, sources
from treatsim.errors import NoSolutionError, RequestError
from treatsim.operations.uv_reactor import MIXINGS
from treatsim.report import gallery, plots
from treatsim.report.plots import layout, style, table, uv_distribution, vessel

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / gallery.GALLERY_FOLDER
RTOL = 1e-6
RENEW = "if the change is meant, run: treatsim figures"
SVG_LIMIT, PNG_LIMIT = 300_000, 150_000  # bytes


# by their files, as loading the cases takes seconds; that these are the gallery is tested below
STEMS = sorted(path.stem for path in FOLDER.glob("*.csv"))
each = pytest.mark.parametrize("stem", STEMS)


@cache
def pictures() -> dict[str, gallery.Picture]:
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(ROOT)
        return {picture.stem: picture for picture in gallery.gallery()}


def data_of(picture: gallery.Picture) -> table.Table:
    module = plots.plot(picture.plot)
    return module.data(picture.cases if plots.together(module) else picture.cases[0])


def committed(stem: str) -> table.Table:
    return table.from_csv((FOLDER / f"{stem}.csv").read_text("utf-8"))


@each
def test_applies(stem):
    picture = pictures()[stem]
    assert all(plots.plot(picture.plot).applies(case) for case in picture.cases)


@each
def test_the_numbers_still_hold(stem):
    now, then = table.from_csv(table.as_csv(data_of(pictures()[stem]))), committed(stem)
    assert list(now) == list(then)
    for head, values in then.items():
        if values.dtype.kind == "f":
            # a pressure at an open end is round-off around zero: the column sets the scale
            slack = 1e-9 * np.max(np.abs(values), initial=1e-300)
            np.testing.assert_allclose(
                now[head], values, rtol=RTOL, atol=slack, err_msg=f"{head}; {RENEW}"
            )
        else:
            assert now[head].tolist() == values.tolist(), head


@each
def test_no_column_lacks_a_number(stem):
    data = committed(stem)
    assert len({len(values) for values in data.values()}) == 1
    for head, values in data.items():
        if values.dtype.kind == "f":
            assert np.all(np.isfinite(values)), head


@each
def test_the_units_in_the_heads_are_known(stem):
    shown = {q.shown for q in quantities.QUANTITIES.values()}
    for head in committed(stem):
        unit = re.fullmatch(r"[^\[]+(?: \[(.+)\])?", head)
        assert unit is not None, head
        assert unit[1] is None or unit[1] in shown, head


@each
def test_the_picture_needs_only_the_numbers_and_is_the_same_twice(stem):
    module, data = plots.plot(pictures()[stem].plot), committed(stem)
    before = table.as_csv(data)
    first, second = (style.render(module.draw(data)) for _ in range(2))
    assert first == second
    assert table.as_csv(data) == before, "drawing changes its data"
    root = ElementTree.parse(io.BytesIO(first)).getroot()
    assert root.tag.endswith("svg")
    assert len(list(root.iter())) > 100


@each
def test_the_caption_is_whole(stem):
    words = gallery.caption(plots.plot(pictures()[stem].plot))
    assert words.lesson.endswith(".")
    assert words.lesson.count(". ") == 0, "one sentence"
    assert len(words.title) < 60
    for key in words.sources.split(", "):
        assert key in sources.load() or key.startswith("computed"), key


def test_every_plot_is_in_the_gallery():
    assert {picture.plot for picture in pictures().values()} == set(plots.NAMES)
    modules = {
        path.stem
        for path in (ROOT / "treatsim/report/plots").glob("*.py")
        if "def draw" in path.read_text("utf-8")
    } - {"style"}
    assert modules == set(plots.NAMES)


def test_the_folder_holds_the_gallery_and_nothing_else():
    wanted = {gallery.PAGE, *gallery.SHOTS}
    for stem, picture in pictures().items():
        wanted |= {f"{stem}.svg", f"{stem}.csv"}
        wanted |= {f"{stem}.png"} if picture.plot in gallery.RASTERED else set()
    assert {path.name for path in FOLDER.iterdir()} == wanted
    told = gallery.page(list(pictures().values()), gallery.SHOTS)
    assert (FOLDER / gallery.PAGE).read_text("utf-8") == told


def test_the_files_are_small():
    for path in FOLDER.iterdir():
        assert path.stat().st_size < (PNG_LIMIT if path.suffix == ".png" else SVG_LIMIT), path.name


def test_the_page_links_to_files_that_exist():
    text = (FOLDER / gallery.PAGE).read_text("utf-8")
    links = re.findall(r"\]\(([^)]+)\)", text)
    assert len(links) == 2 * len(pictures()) + len(gallery.SHOTS)
    assert all((FOLDER / link).is_file() for link in links)


def test_command_draws_one_case(tmp_path, capsys):
    out = tmp_path / "deep" / "pictures"
    assert cli.main(["figures", str(ROOT / "cases/small_unit.toml"), "--out", str(out)]) == 0
    told = capsys.readouterr()
    assert {Path(line).name for line in told.out.splitlines()} == {p.name for p in out.iterdir()}
    assert told.err == ""
    assert (out / "small_unit-uv-dose.svg").is_file()
    assert "## UV dose against flow" in (out / "README.md").read_text("utf-8")


def test_nothing_is_written_if_one_picture_fails(tmp_path, monkeypatch):
    def broken(data):
        raise RequestError("cannot draw")

    monkeypatch.setattr(plots.plot("uv_window"), "draw", broken)
    out = tmp_path / "pictures"
    found = gallery.of_cases([str(ROOT / "cases/small_unit.toml")])
    with pytest.raises(RequestError, match="cannot draw"):
        gallery.write(found, out)
    assert not out.exists()


def test_outside_a_checkout_a_case_is_asked_for(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["figures"]) == 2
    assert "name a case" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_of_the_folder_is_told(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(gallery, "drawn", lambda *_: {})
    (tmp_path / "taken").write_text("x", "utf-8")
    status = cli.main(
        ["figures", str(ROOT / "cases/small_unit.toml"), "--out", str(tmp_path / "taken")]
    )
    assert status == 2
    assert "no directory" in capsys.readouterr().err


def test_a_case_without_an_operating_point_says_why(tmp_path):
    text = (ROOT / "cases/river.toml").read_text("utf-8").replace('"74 %"', '"20 %"')
    (tmp_path / "weak.toml").write_text(text, "utf-8")
    with pytest.raises(NoSolutionError, match="nothing flows"):
        gallery.of_cases([str(tmp_path / "weak.toml")])


def test_two_cases_of_one_name_are_refused(tmp_path):
    path = ROOT / "cases/small_unit.toml"
    (tmp_path / path.name).write_text(path.read_text("utf-8"), "utf-8")
    with pytest.raises(RequestError, match="same file name"):
        gallery.of_cases([str(path), str(tmp_path / path.name)])


def test_table_survives_its_file():
    data = table.table({"name": np.array(["a, b", "c"])}, table.column("flow", [1.0, 2.0], "flow"))
    again = table.from_csv(table.as_csv(data))
    assert list(again) == ["name", "flow [m3/h]"]
    assert again["name"].tolist() == ["a, b", "c"]
    np.testing.assert_allclose(again["flow [m3/h]"], [3600.0, 7200.0], rtol=1e-9)


# the numbers behind the pictures against the results they stand for


def case_of(stem: str):
    return cases.load(ROOT / "cases" / f"{stem}.toml")


def result_of(stem: str, address: str, quantity: str) -> float:
    value = case_of(stem).solve().value(address).value
    return float(np.ravel(quantities.show(np.asarray(value, float), quantity)[0])[0])


def test_dose_at_the_operating_flow_is_that_of_the_solve():
    data = committed("river-uv-dose")
    shades = table.kinds(data, "uv_transmittance")
    rows = table.select(data, "uv_transmittance", shades[1])
    lowest = np.min([table.pick(rows, f"dose.{mixing}") for mixing in MIXINGS], axis=0)
    flow = result_of("river", "uv.inlet.flow", "flow")
    np.testing.assert_allclose(
        np.exp(np.interp(np.log(flow), np.log(table.pick(rows, "flow")), np.log(lowest))),
        result_of("river", "uv.dose_credited", "dose"),
        rtol=2e-3,
    )


def test_window_border_is_the_largest_flow_of_the_verdict():
    from treatsim.safety.verdict import judge

    case = case_of("river")
    largest = float(np.ravel(judge(case.solve()).value("uv.largest_flow").value)[0]) * 3600
    data = committed("river-uv-window")
    rows = table.select(table.select(data, "log_credit", 3.0), "ageing_factor", 0.8)
    shade = float(table.pick(rows, "operating_transmittance")[0])
    shades, flows = (table.pick(rows, n) for n in ("uv_transmittance", "largest_flow"))
    border = np.interp(shade, shades, flows)
    np.testing.assert_allclose(border, largest, rtol=2e-3)


def test_distribution_has_the_mean_and_the_equivalent_dose_of_the_solve():
    data = committed("river-uv-distribution")
    np.testing.assert_allclose(
        table.pick(data, "dose_mean")[0], result_of("river", "uv.dose_mean", "dose"), rtol=1e-4
    )
    for mixing in MIXINGS:
        np.testing.assert_allclose(
            table.pick(data, f"dose_equivalent.{mixing}")[0],
            result_of("river", f"uv.red.cryptosporidium.{mixing}", "dose"),
            rtol=1e-4,
        )
        assert np.all(np.diff(table.pick(data, f"dose.{mixing}")) >= 0)


def test_distribution_of_tanks_is_the_gamma_distribution():
    from scipy.special import gammainc

    data = committed("river-uv-distribution")
    mean = table.pick(data, "dose_mean")[0]
    share = gammainc(10, 10 * table.pick(data, "dose.tanks") / mean)
    np.testing.assert_allclose(share, uv_distribution.SHARES, rtol=0.03)


def test_operating_points_lie_on_pump_and_system_curve():
    data = committed("river-pump-and-system")
    points = table.select(data, "curve", "operating point")
    for setting, flow, head in zip(
        table.pick(points, "setting"),
        table.pick(points, "flow"),
        table.pick(points, "head"),
        strict=True,
    ):
        rows = table.select(table.select(data, "curve", "system"), "setting", setting)
        on_curve = np.interp(flow, table.pick(rows, "flow"), table.pick(rows, "head"))
        np.testing.assert_allclose(head, on_curve, rtol=3e-3)
    np.testing.assert_allclose(
        table.pick(points, "flow")[1], result_of("river", "uv.inlet.flow", "flow"), rtol=1e-6
    )


def test_pieces_of_energy_add_up_to_the_whole():
    data = committed("energy-split")
    for name in table.kinds(data, "case"):
        stem = re.search(r"\((\w+)\.toml\)", name)[1]
        np.testing.assert_allclose(
            table.pick(table.select(data, "case", name), "energy").sum(),
            result_of(stem, "energy.specific", "energy_per_volume"),
            rtol=1e-6,
        )


def test_vessel_profile_agrees_with_its_elements():
    case = case_of("sea")
    result = case.solve()
    state = vessel.along(result, "ro")
    for address, ours in (
        ("ro.flux_inlet", state.flux[0]),
        ("ro.flux_outlet", state.flux[-1]),
        ("ro.concentrate.pressure", state.pressure[-1]),
        ("ro.concentrate.osmotic_pressure", state.osmotic_bulk[-1]),
    ):
        theirs = float(np.ravel(result.value(address).value)[0])
        np.testing.assert_allclose(ours, theirs, rtol=1e-3, err_msg=address)


def test_flowsheet_carries_the_flows_of_the_solve():
    data = committed("river-flowsheet")
    assert table.pick(data, "from").tolist()[0] == "source water"
    np.testing.assert_allclose(
        table.pick(data, "flow"), result_of("river", "uv.inlet.flow", "flow"), rtol=1e-6
    )


def test_saturation_grows_with_recovery():
    data = committed("brackish_well-scale-saturation")
    for scale in ("gypsum", "barite", "silica"):
        rows = table.select(data, "scale", scale)
        assert np.all(np.diff(table.pick(rows, "saturation")) > 0), scale


def test_credit_pieces_are_those_of_the_ledger():
    data = committed("river_chlorine-credit-ledger")
    for name in table.kinds(data, "class"):
        rows = table.select(data, "class", name)
        assert np.all(table.pick(rows, "design") >= table.pick(rows, "earned"))
        assert table.pick(rows, "total")[0] <= table.pick(rows, "earned").sum() + 1e-9


# the layout of flowsheets


@pytest.mark.parametrize("stem", [s for s in STEMS if s.endswith("flowsheet")])
def test_boxes_keep_apart_and_links_run_square(stem):
    data = committed(stem)
    links = [
        layout.Link(a, b, bool(back))
        for a, b, back in zip(
            table.pick(data, "from"),
            table.pick(data, "to"),
            table.pick(data, "returns"),
            strict=True,
        )
    ]
    found = layout.arrange(links)
    boxes = list(found.boxes.values())
    for number, (x, y) in enumerate(boxes):
        for u, v in boxes[number + 1 :]:
            assert abs(x - u) >= layout.BOX or abs(y - v) >= layout.TALL
    for route in found.routes:
        for (x, y), (u, v) in pairwise(route.corners):
            assert x == u or y == v
            assert not any(_crosses((x, y), (u, v), box) for box in boxes)


def _crosses(start, end, box) -> bool:
    """Whether a stretch runs through the inside of a box."""
    (x, y), (u, v) = np.minimum(start, end), np.maximum(start, end)
    edge = 1e-6
    return (
        u > box[0] - layout.BOX / 2 + edge
        and x < box[0] + layout.BOX / 2 - edge
        and v > box[1] - layout.TALL / 2 + edge
        and y < box[1] + layout.TALL / 2 - edge
    )


def test_rows_break_where_one_link_is_cut():
    names = [f"u{n}" for n in range(12)]
    chain = [layout.Link(a, b) for a, b in pairwise(names)]
    found = layout.arrange(chain)
    assert found.width <= layout.COLUMNS * (layout.BOX + layout.GAP)
    assert len({y for _, y in found.boxes.values()}) == 3


@pytest.mark.parametrize("title", ["costs $5, not $6", "--> <b> & ]]>", "مخيم النهر", "x" * 400])
def test_any_title_can_be_drawn(tmp_path, title):
    text = (ROOT / "cases/small_unit.toml").read_text("utf-8")
    text = text.replace("Clinic tap at Fennick, invented", title)
    (tmp_path / "odd.toml").write_text(text, "utf-8")
    for picture in gallery.of_cases([str(tmp_path / "odd.toml")]):
        if picture.plot in ("uv_field", "energy_split"):
            for name, content in gallery.drawn(picture).items():
                if name.endswith(".svg"):
                    ElementTree.fromstring(content)


def test_numbers_stay_where_only_last_digits_differ():
    text = "name,flow [m3/h],pressure [bar]\na,1.76361771,3.6\nb,2.4,{}\n"
    before = text.format("-2.18e-16")
    assert table.alike(before, text.format("0").replace("1.76361771", "1.76361767"))
    assert not table.alike(before, before.replace("1.76361771", "1.76362"))
    assert not table.alike(before, before.replace("b,2.4", "c,2.4"))
    assert not table.alike(before, before + "c,1,1\n")
