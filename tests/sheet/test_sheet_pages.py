"""The sheet as files: exactly two pages, every text on them, the same in PDF and HTML, none cut."""

from __future__ import annotations

import dataclasses
import functools
import io
import re
from pathlib import Path

import pypdf
import pytest
from browser import opened, overflowing
from command import ROOT, treatsim

from treatsim import cases
from treatsim.errors import NoSolutionError, RequestError
from treatsim.report.sheet import content, html, paper, pdf, targets
from treatsim.report.sheet.blocks import Sheet
from treatsim.safety.verdict import judge

CASES = ("river", "river_chlorine", "sea", "brackish_well")
BOTH = [(name, size) for name in CASES for size in paper.PAPERS]
each = pytest.mark.parametrize(("name", "size"), BOTH)
DAY = "2026-11-26"


@functools.cache
def sheet_of(name: str, *changes: tuple[str, str]) -> Sheet:
    case = cases.load(ROOT / f"cases/{name}.toml", dict(changes))
    return content.sheet_of(case, judge(case.solve()), "si", DAY)


@functools.cache
def printed_of(name: str, size: str) -> bytes:
    sheet = sheet_of(name)
    return pdf.pdf_bytes(sheet, paper.planned(sheet, size))


def reader(sheet: Sheet) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf.pdf_bytes(sheet, paper.planned(sheet, "a4"))))


def pages_of(name: str, size: str = "a4") -> list[pypdf.PageObject]:
    return list(pypdf.PdfReader(io.BytesIO(printed_of(name, size))).pages)


def letters(text: str) -> str:
    return re.sub(r"\s", "", text)


def in_order(sheet: Sheet, plan: paper.Plan) -> str:
    """Every text of a sheet in the order in which it is laid on the paper."""

    def column(blocks, first):
        return [t for half in paper.halves(blocks, first) for b in half for t in b.texts()]

    front = [sheet.title, sheet.place, *sheet.answer.texts(), *column(sheet.front, plan.front)]
    back = [sheet.title, *column(sheet.back, plan.back), *sheet.log.texts()]
    return letters("".join([*front, sheet.foot, *back, sheet.foot]))


@each
def test_two_pages_with_every_text(name, size):
    sheet = sheet_of(name)
    pages = pages_of(name, size)
    assert len(pages) == 2
    width, height = paper.PAPERS[size]
    for page in pages:
        assert float(page.mediabox.width) == pytest.approx(width, abs=0.01)
        assert float(page.mediabox.height) == pytest.approx(height, abs=0.01)
    found = letters("".join(page.extract_text() for page in pages))
    assert found == in_order(sheet, paper.planned(sheet, size))


@each
def test_nothing_in_the_pdf_leaves_the_paper_or_meets_the_foot(name, size):
    sheet = sheet_of(name)
    plan = paper.planned(sheet, size)
    places: list[tuple[float, float, str]] = []

    def visit(text, matrix, *_):
        if text.strip():
            places.append((matrix[4], matrix[5], text))

    for page in pages_of(name, size):
        places.clear()
        page.extract_text(visitor_text=lambda t, cm, tm, *rest: visit(t, tm))
        low = paper.MARGIN + paper.words_height(
            sheet.foot, paper.PLAIN, plan.size * paper.FOOT, plan.width
        )
        above = [y for _, y, text in places if text.strip() not in sheet.foot]
        assert min(above) >= low
        assert len(above) > 50
        left, right = paper.MARGIN - 0.01, paper.PAPERS[size][0] - paper.MARGIN
        assert all(left <= x <= right for x, *_ in places)


@each
def test_the_browser_prints_two_pages_and_cuts_nothing(name, size, browser, tmp_path):
    sheet = sheet_of(name)
    plan = paper.planned(sheet, size)
    file = tmp_path / "sheet.html"
    file.write_text(html.html_text(sheet, plan), "utf-8")
    with opened(browser, file) as page:
        page.emulate_media(media="print")
        assert overflowing(page) == []
        assert letters(page.evaluate("document.body.textContent")) == in_order(sheet, plan)
        faces = "[...document.fonts].map(f => f.status)"
        assert page.evaluate(faces) == ["loaded", "loaded"]
        printed = pypdf.PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
        assert not page.requests
        assert not page.complaints
    assert len(printed.pages) == 2
    assert float(printed.pages[0].mediabox.height) == pytest.approx(paper.PAPERS[size][1], abs=1.5)


@pytest.mark.parametrize("name", CASES)
def test_black_and_white_and_the_face_is_in_the_file(name):
    for colour in re.findall(r"#[0-9a-fA-F]{3,6}", html.STYLE):
        assert len(set(colour[1:])) == 1, colour
    for page in pages_of(name):
        for picture in page.images:
            assert picture.image.mode == "L"
        for font in page["/Resources"]["/Font"].values():
            face = font.get_object()
            if "DejaVu" in face["/BaseFont"]:
                assert "/FontFile2" in face["/FontDescriptor"].get_object()
        stream = page.get_contents().get_data().decode("latin-1")
        assert not re.search(
            r"[\d.]+ [\d.]+ [\d.]+ (?:rg|RG)\b", re.sub(r"\b0 0 0 (rg|RG)", "", stream)
        )
    sheet = sheet_of(name)
    assert pdf.pdf_bytes(sheet, paper.planned(sheet, "a4")) == printed_of(name, "a4")


def test_stop_rules_stand_first():
    for name in CASES:
        assert sheet_of(name).front[0].head.endswith("STOP RULES")


def test_a_dose_that_is_missed_stands_at_the_top_in_so_many_words():
    sheet = sheet_of("river", ("lift_pump.speed", "100 %"))
    top = list(sheet.answer.texts())
    assert "NOT MET" in top[0]
    assert "NOT fit to be given out at this setting." in top[0]
    assert any(t.startswith("NOT MET: UV dose for 3 log of cryptosporidium") for t in top)
    assert any("start: NEVER" in t for t in top)
    page = reader(sheet).pages[0].extract_text()
    assert page.index("NOT fit to be given out") < page.index("STOP RULES")


def test_what_nobody_judged_stands_at_the_top():
    case = cases.load(ROOT / "cases/river.toml")
    data = {**case.data, "units": {**case.data["units"], "uv": dict(case.data["units"]["uv"])}}
    del data["units"]["uv"]["target"]
    bare = cases.interpret(data, "bare.toml")
    sheet = content.sheet_of(bare, judge(bare.solve()), "si", DAY)
    top = " ".join(sheet.answer.texts())
    assert "Every limit is judged and met" not in top
    for told in ("UV dose (needs uv.target)", "germs (needs health.target)", "what is dissolved"):
        assert told in top
    words = " ".join(sheet.texts())
    assert "NOT JUDGED: no dose is asked for; needs uv.target" in words
    assert len(reader(sheet).pages) == 2


def test_only_a_case_with_everything_met_says_so():
    assert "Every limit is judged and met" in next(iter(sheet_of("river_chlorine").answer.texts()))
    for name in ("river", "sea", "brackish_well"):
        assert "Every limit is judged and met" not in " ".join(sheet_of(name).texts())


def test_a_start_that_no_table_tells_is_said(tmp_path):
    text = (ROOT / "cases/river_chlorine.toml").read_text("utf-8")
    bare = re.sub(r"(?ms)^\[startup\].*?(?=^\[)", "", text)
    assert bare != text
    (tmp_path / "bare.toml").write_text(bare, "utf-8")
    case = cases.load(tmp_path / "bare.toml")
    told = " ".join(content.sheet_of(case, judge(case.solve()), "si", DAY).texts())
    assert "Seconds NOT TOLD: [startup] is missing" in told


def test_what_is_missing_is_said():
    told = " ".join(sheet_of("river_chlorine").texts())
    assert "Seconds NOT TOLD" not in told
    assert "NOT tested, of what has a health value: antimony" in told
    assert "arsenic" not in told.partition("NOT tested")[2].partition("Nothing here takes out")[0]
    assert "No analysis is stated: measure before anyone drinks." in sheet_of("river").texts()


def test_no_operating_point_makes_no_sheet(tmp_path):
    out = tmp_path / "sheet.pdf"
    run = treatsim(
        "sheet", ROOT / "cases/river.toml", "--set", "lift_pump.speed=20 %", "--out", out
    )
    assert run.status == 3
    assert "no operating point" in run.err
    assert not out.exists()
    case = cases.load(ROOT / "cases/river.toml", {"lift_pump.speed": "20 %"})
    with pytest.raises(NoSolutionError):
        content.sheet_of(case, judge(case.solve()), "si", DAY)


MARKUP = 'Camp <b>A</b> & "B" <script>document.title = "ran"</script>'


def test_markup_in_a_title_is_shown_and_never_run(browser, tmp_path):
    sheet = dataclasses.replace(sheet_of("river"), title=MARKUP)
    file = tmp_path / "sheet.html"
    file.write_text(html.html_text(sheet, paper.planned(sheet, "a4")), "utf-8")
    with opened(browser, file) as page:
        assert page.title() == MARKUP
        assert page.evaluate("document.querySelectorAll('script, h1 *').length") == 0
        assert page.evaluate("document.querySelector('h1').textContent") == MARKUP
    assert letters(MARKUP) in letters(reader(sheet).pages[0].extract_text())


@pytest.mark.parametrize("title", ["Лагерь у реки", "河边营地", "مخيم", "Zeltlager Größe", "⛺"])
def test_titles_in_other_scripts(title):
    """Shown where the face has the letters and needs no joining, else as numbers; HTML has all."""
    sheet = dataclasses.replace(sheet_of("river"), title=title)
    found = letters(reader(sheet).pages[0].extract_text())
    kept = title[0] in "ЛZ"
    assert (letters(title) in found) is kept
    assert pdf.escaped(sheet) is not kept
    if not kept:
        assert f"\\u{ord(title[0]):04x}" in found
    assert f"<h1>{title}</h1>" in html.html_text(sheet, paper.planned(sheet, "a4"))


def test_two_passes_and_their_forty_limits_stay_readable():
    case = cases.load(ROOT / "cases/sea_two_pass.toml")
    limits = judge(case.solve()).limits
    sheet = sheet_of("sea_two_pass")
    tables = [block for block in (*sheet.front, *sheet.back) if "TARGETS" in block.head]
    assert len(tables) == 2
    assert sum(len(block.parts[0].rows) for block in tables) == len(limits) > targets.LONG
    for size in paper.PAPERS:
        assert paper.planned(sheet, size).size >= 6.0
        test_two_pages_with_every_text("sea_two_pass", size)


def test_what_does_not_fit_is_refused():
    long = dataclasses.replace(sheet_of("river_chlorine"), title="a long title " * 400)
    with pytest.raises(RequestError, match="does not fit on two sides of a4 paper"):
        paper.planned(long, "a4")


@pytest.fixture
def made(monkeypatch):
    """A sheet that stands at once, whatever it is asked for: what it shows is tested above."""
    sheet = sheet_of("river")
    monkeypatch.setattr(content, "sheet_of", lambda *_: sheet)


def test_the_command_writes_either(tmp_path, made):
    for suffix, begins in ((".pdf", b"%PDF"), (".html", b"<!doctype html>")):
        out = tmp_path / f"sheet{suffix}"
        run = treatsim("sheet", ROOT / "cases/river.toml", "--paper", "letter", "--out", out)
        assert (run.status, run.out, run.err) == (0, "", "")
        assert out.read_bytes().startswith(begins)


def test_us_units(tmp_path):
    out = tmp_path / "sheet.html"
    treatsim("sheet", ROOT / "cases/river.toml", "--units", "us", "--out", out)
    assert "gal/min" in out.read_text("utf-8")


def test_status_and_faults_of_the_command(tmp_path, made):
    case, out = ROOT / "cases/river.toml", tmp_path / "sheet.pdf"
    assert treatsim("sheet", case, "--set", "lift_pump.speed=100 %", "--out", out).status == 1
    assert treatsim("sheet", case, "--strict", "--out", out).status == 1
    for arguments, told in (
        ((), "--out is missing"),
        (("--out", tmp_path / "sheet.txt"), "the name ends in .pdf or .html"),
        (("--paper", "a5", "--out", out), "invalid choice: 'a5'"),
    ):
        run = treatsim("sheet", case, *arguments)
        assert run.status == 2
        assert told in run.err
        assert "Traceback" not in run.err


@pytest.mark.parametrize("text", ["", "a b", " spaces  here ", "word" * 40, "12 m\u00b3/h " * 30])
def test_lines_hold_all_letters_and_keep_to_the_width(text):
    from reportlab.pdfbase.pdfmetrics import stringWidth

    paper.register()
    lines = paper.broken(text, paper.PLAIN, 8.0, 90.0)
    assert letters("".join(lines)) == letters(text)
    assert all(stringWidth(line, paper.PLAIN, 8.0) <= 90.0 for line in lines)
    assert text.strip() == "" or all(lines)


def test_the_plan_leaves_room_for_the_log():
    for name, size in BOTH:
        assert paper.planned(sheet_of(name), size).rows >= paper.FEWEST


def test_the_face_comes_with_a_package():
    from treatsim.report.sheet import fonts

    for name in (fonts.PLAIN, fonts.BOLD):
        assert "matplotlib" in Path(fonts.font_file(name)).parts
