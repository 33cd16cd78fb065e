"""Readings of the source: every bad row named by its line, nothing dropped in silence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import treatsim
from treatsim.errors import RequestError
from treatsim.running.source import (
    SourceParameters,
    absorption_series,
    solids_series,
    source_notes,
    turbidity_series,
)
from treatsim.running.source_readings import read_readings

HEAD = "time, turbidity [NTU]"
ROWS = ["2026-03-01 08:00, 10", "2026-03-02 08:00, 20", "2026-03-03 08:00, 30"]


def written(folder: Path, *rows: str, head: str = HEAD) -> Path:
    path = folder / "readings.csv"
    path.write_text("\n".join([head, *rows]), "utf-8")
    return path


def told(path: Path) -> str:
    with pytest.raises(RequestError) as caught:
        read_readings(path)
    return str(caught.value)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("2026-03-02 08:00, -1", "5: turbidity = -1: a number from 0 NTU to"),
        ("2026-03-04 08:00, nan", "5: turbidity = nan: a number from"),
        ("2026-03-04 08:00, 5000", "5: turbidity = 5000: a number from"),
        ("2026-03-04 08:00, clear", '5: turbidity = "clear": a number belongs here'),
        ("2026-03-04 08:00,", "5: turbidity is missing"),
        ("2026-03-04 08:00, 3,5", "5: 3 cells where the head has 2; a decimal comma?"),
        ("2026-03-03 08:00, 3", "5: the time of line 4 again"),
        ("2026-03-03 07:00, 3", "5: 1 h before line 4: times run back; was the clock set back?"),
        ("4 March, 3", '5: time = "4 March": write it as 2026-05-01T08:00'),
        ("2026-03-04 08:00+01:00, 3", "5: times with and without their offset"),
    ],
)
def test_a_bad_row_is_named_by_its_line(tmp_path, row, expected):
    assert f"readings.csv:{expected}" in told(written(tmp_path, *ROWS, row))


def test_all_bad_rows_at_once(tmp_path):
    text = told(written(tmp_path, ROWS[0], "2026-03-02 08:00, -1", *ROWS[2:], "x, 2"))
    assert [line.split(":")[1] for line in text.splitlines()] == ["3", "5"]


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        ("time, turbidity [mg/L]", "readings.csv:1: "),
        ("time, turbidity", "a unit is missing"),
        ("time, clarity [NTU]", 'no such column "clarity"'),
        ("when, turbidity [NTU]", 'no such column "when"'),
        ("time; turbidity [NTU]", "parted by commas"),
    ],
)
def test_a_wrong_head(tmp_path, head, expected):
    assert expected in told(written(tmp_path, *ROWS, head=head))


def test_no_file_no_rows_and_too_short(tmp_path):
    assert "no such file" in told(tmp_path / "none.csv")
    assert "a day or more" in told(written(tmp_path, ROWS[0]))
    assert "a day or more" in told(written(tmp_path, ROWS[0], "2026-03-01 20:00, 3"))
    empty = tmp_path / "empty.csv"
    empty.write_text("# nothing\n\n", "utf-8")
    assert "empty" in told(empty)


def test_hours_are_means_of_straight_lines(tmp_path):
    found = read_readings(written(tmp_path, "# invented", *ROWS))
    assert_allclose(found.turbidity, 10 + (np.arange(48) + 0.5) * 20 / 48, rtol=1e-12)
    assert len(found.notes) == 1


def test_a_gap_and_a_changed_clock_are_told(tmp_path):
    rows = [f"2026-03-{day:02d} 08:00+0{1 + (day > 4)}:00, {day}" for day in (1, 2, 3, 5, 6)]
    notes = read_readings(written(tmp_path, *rows)).notes
    assert any("readings.csv:5: no reading for 47 h" in note for note in notes)
    assert any("readings.csv:5: the clock was changed" in note for note in notes)


def test_solids_give_a_rating(tmp_path):
    """An exact power law is given back, units of the head included."""
    turbidity = [2.0, 5.0, 9.0, 20.0, 50.0, 80.0]
    rows = [f"2026-03-{d + 1:02d} 08:00, {t}, {1e-3 * 1.5 * t**1.1!r}, 68"
            for d, t in enumerate(turbidity)]  # fmt: skip
    head = f"{HEAD}, suspended_solids [g/L], temperature [degF]"
    path = written(tmp_path, *rows, head=head)
    found = read_readings(path)
    assert_allclose(found.rating.curve[:3], [1.5, 1.1, 1.0], rtol=1e-9)
    assert any("20.0 degC" in note or "20 degC" in note for note in found.notes)
    source = SourceParameters(readings="readings.csv").beside(tmp_path)
    solids = solids_series(source, np.array([[7.0, 30.0]]), None, 0)
    assert_allclose(solids, 1e-3 * 1.5 * np.array([[7.0, 30.0]]) ** 1.1, rtol=1e-9)
    assert source_notes(source) == found.notes


def test_replayed_series_keep_the_values_of_the_record(tmp_path):
    rng = np.random.default_rng(1)
    rows = [f"2026-03-{1 + h // 24:02d} {h % 24:02d}:00, {v:.3f}"
            for h, v in enumerate(rng.lognormal(1, 0.7, 24 * 20))]  # fmt: skip
    path = written(tmp_path, *rows)
    record = read_readings(path).turbidity
    source = SourceParameters(readings=str(path), solids_spread=1.5, solids_scatter=1.2)
    series = turbidity_series(source, None, 24 * 60, 400, seed=1)
    assert set(np.unique(series)) <= set(record)
    assert_allclose(series.mean(), record.mean(), rtol=0.02)
    assert_allclose(np.median(series), np.median(record), rtol=0.03)
    assert not np.allclose(series[0], series[1])


RIVER = Path(__file__).parents[2] / "cases" / "river.toml"


def case_with(folder: Path, table: str) -> Path:
    text = RIVER.read_text("utf-8").split("[source]")
    rest = text[1].split("\n[", 1)[1] if len(text) > 1 else ""
    path = folder / "camp.toml"
    path.write_text(f"{text[0]}{table}\n[{rest}", "utf-8")
    return path


def test_a_case_finds_its_readings_beside_it_and_tells_their_faults(tmp_path):
    table = '[source]\nreadings = "readings.csv"\nsolids_spread = 1.5\nsolids_scatter = 1.2\n'
    path = case_with(tmp_path, table)
    with pytest.raises(RequestError, match=r"source: \"readings.csv\": no such file"):
        treatsim.load(path)
    written(tmp_path, *ROWS, "2026-03-04 08:00, -1")
    with pytest.raises(RequestError, match=r"source: readings.csv:5: turbidity = -1"):
        treatsim.load(path)
    written(tmp_path, *ROWS)
    source = treatsim.load(path).sections["source"]
    assert turbidity_series(source, None, 5, 2, 0).shape == (2, 5)
    short = case_with(tmp_path, '[source]\nreadings = "readings.csv"\n')
    with pytest.raises(RequestError, match="source: solids_spread is missing"):
        treatsim.load(short)


SHADED = "time, turbidity [NTU], uv_transmittance [%]"


def test_transmittance_is_read_by_the_hour_and_blanks_are_named(tmp_path):
    """Straight lines in absorption, in which light dies away: 100/m at 37 % per cm."""
    rows = ["2026-03-01 00:00, 10, 90", "2026-03-01 20:00, 12,", "2026-03-02 16:00, 14, 60"]
    found = read_readings(written(tmp_path, *rows, head=SHADED))
    ends = -100 * np.log([0.9, 0.6])
    hours = (np.arange(40) + 0.5) / 40
    assert_allclose(found.absorption, ends[0] + hours * (ends[1] - ends[0]), rtol=1e-12)
    told = "\n".join(found.notes)
    assert "transmittance as read, 60 % to 90 %" in told
    assert "no transmittance in line 3; a straight line is drawn over" in told
    assert read_readings(written(tmp_path, *ROWS)).absorption is None


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("2026-03-04 08:00, 10, -5", "5: uv_transmittance = -5: a number from 1 % to 100 %"),
        ("2026-03-04 08:00, 10, 101", "5: uv_transmittance = 101: a number from 1 % to 100 %"),
        ("2026-03-04 08:00, 10, 0.86", "5: uv_transmittance = 0.86: a number from 1 % to 100 %"),
        ("2026-03-04 08:00, 10, dark", '5: uv_transmittance = "dark": a number belongs here'),
    ],
)
def test_a_transmittance_that_cannot_be_is_named(tmp_path, row, expected):
    """0.86 under [%] is a fraction in the wrong unit; water of 1 % is not treated by light."""
    rows = [f"{one}, 80" for one in ROWS]
    assert f"readings.csv:{expected}" in told(written(tmp_path, *rows, row, head=SHADED))


@pytest.mark.parametrize(
    ("column", "expected"),
    [
        ("uv_transmittance", "a unit is missing"),
        ("uv_transmittance [NTU]", "readings.csv:1: uv_transmittance"),
        ("transmittance [%]", 'did you mean "uv_transmittance"?'),
    ],
)
def test_a_transmittance_without_its_unit_is_refused(tmp_path, column, expected):
    rows = [f"{one}, 80" for one in ROWS]
    head = f"time, turbidity [NTU], {column}"
    assert expected in told(written(tmp_path, *rows, head=head))


def test_turbidity_and_transmittance_are_replayed_in_the_same_hours(tmp_path):
    """A record in which one tells the other: so do the series."""
    hours = [f"2026-03-{1 + n // 24:02d} {n % 24:02d}:00, {5 + n}, {90 - n / 4:g}"
             for n in range(96)]  # fmt: skip
    path = written(tmp_path, *hours, head=SHADED)
    source = SourceParameters(readings=str(path), solids_spread=1.5, solids_scatter=1.2)
    found = read_readings(path)
    place = {round(t, 9): a for t, a in zip(found.turbidity, found.absorption, strict=True)}
    turbid = turbidity_series(source, None, 400, 5, seed=3)
    dark = absorption_series(source, 400, 5, seed=3)
    expected = np.vectorize(lambda value: place[round(value, 9)])(turbid)
    assert_allclose(dark, expected, rtol=1e-12)
    assert absorption_series(None, 400, 5, seed=3) is None


def test_transmittance_and_a_muddy_sample_say_it_twice(tmp_path):
    written(tmp_path, *[f"{one}, 80" for one in ROWS], head=SHADED)
    muddy = {"muddy_turbidity": 60.0, "muddy_transmittance": 0.7, "muddy_spread": 1.5}
    source = SourceParameters(readings="readings.csv", solids_spread=1.5, solids_scatter=1.2,
                              **muddy)  # fmt: skip
    with pytest.raises(RequestError, match="muddy_spread: the readings give it too; keep one"):
        source.beside(tmp_path)
