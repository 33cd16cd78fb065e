"""What may be wrong with a log: named by its line, nothing dropped in silence."""

from __future__ import annotations

import numpy as np
import pytest

from treatsim.errors import RequestError
from treatsim.report.logbook_text import grouped
from treatsim.running.log_checks import read_log
from treatsim.running.timed_table import Column

KNOWN = {
    "ro.feed.pressure": Column("pressure", low=0.0),
    "ro.permeate.flow": Column("flow"),
    "ro.permeate.conductivity": Column("conductivity"),
    "water.temperature": Column("temperature"),
    "hour_meter": Column("duration"),
}
WORDS = {"permeate ec": "ro.permeate.conductivity", "remark": "event"}
HEAD = "time,ro.feed.pressure [bar],ro.permeate.flow [m3/h],ro.permeate.conductivity [uS/cm],event"


def rows(count=30):
    """Sound rows, hour by hour."""
    return [f"2031-03-{1 + n // 24:02d} {n % 24:02d}:00,12.0{n % 3},0.94,55.{n % 7},"
            for n in range(count)]  # fmt: skip


def read(folder, lines, head=HEAD, raw=None):
    path = folder / "log.csv"
    text = "\n".join([head, *lines]) + "\n"
    path.write_bytes(text.encode() if raw is None else raw)
    return read_log(str(path), KNOWN, WORDS)


def cell(lines, number, place, text):
    """Return the rows with one cell replaced; the header is line 1."""
    parts = lines[number - 2].split(",")
    parts[place] = text
    return [*lines[: number - 2], ",".join(parts), *lines[number - 1 :]]


def test_a_sound_log_has_no_fault(tmp_path):
    log = read(tmp_path, rows())
    assert log.faults == ()
    assert log.notes == ()
    assert log.time.size == log.rows == 30
    np.testing.assert_allclose(log.columns["ro.feed.pressure"][:3], [12.00e5, 12.01e5, 12.02e5])
    np.testing.assert_allclose(np.diff(log.time), 3600.0)


BAD = [
    # line, place in the row, what stands there, what is said
    (7, 1, "174.2", "about 14.5 times the others: psi under a head in bar"),
    (7, 1, "1203", "kPa under a head in bar"),
    (7, 1, "1.2", "MPa under a head in bar"),
    (7, 1, "-3", "ro.feed.pressure is negative: -3 bar"),
    (7, 1, "much", 'ro.feed.pressure = "much"'),
    (7, 1, "nan", "no number"),
    (7, 1, "inf", "no number"),
    (7, 1, "12 foot", 'ro.feed.pressure = "12 foot"'),
    (7, 2, "4.14", "gal/min under a head in m3/h"),
    (7, 2, "15.67", "L/min under a head in m3/h"),
    (7, 2, "940", "L/h under a head in m3/h"),
    (7, 2, "0.261", "L/s under a head in m3/h"),
    (7, 2, "-0.8", "ro.permeate.flow is negative"),
    (7, 2, "0", "ro.permeate.flow is 0 beside other readings"),
    (7, 3, "0.0551", "uS read as mS, or a meter in the wrong range"),
    (7, 3, "55100", "if the meter is right, the water is salty: check it before anyone drinks"),
    (7, 3, "0", "ro.permeate.conductivity is 0 beside other readings"),
    (7, 0, "yesterday", 'time = "yesterday" is no time'),
    (7, 0, "", "is no time"),
    (7, 0, "2031-03-01 04:00", "the time of line 6 again, other readings"),
    (7, 0, "2031-03-01 02:30", "the time runs back by"),
    (7, 0, "2031-04-01 05:00", "the time runs ahead of the rows that follow"),
    (7, 0, "2031-03-01 05:00+02:00", "time with an offset, unlike the others"),
]


@pytest.mark.parametrize(("line", "place", "text", "says"), BAD)
def test_a_bad_row_is_named_by_its_line_and_left_out(tmp_path, line, place, text, says):
    log = read(tmp_path, cell(rows(), line, place, text))
    told = [fault for fault in log.faults if fault.line == line]
    assert any(says in fault.what and fault.dropped for fault in told), log.faults
    assert line not in log.line
    assert log.rows == 30
    assert {fault.line for fault in log.faults if fault.dropped} == {line}


def test_every_row_is_used_or_named(tmp_path):
    """Twenty bad rows among thirty: what is used and what is named are all there were."""
    lines = rows()
    for number, (_, place, text, _) in enumerate(BAD[:20], 5):
        lines = cell(lines, number, place, text)
    lines[1] = "2031-03-01 01:00,12.0"
    log = read(tmp_path, lines)
    named = {fault.line for fault in log.faults if fault.dropped}
    assert named.isdisjoint(log.line.tolist())
    assert named | set(log.line.tolist()) == set(range(2, 32))
    assert 3 in named  # too few cells


def test_a_cell_with_its_own_unit_is_read_by_it_and_told(tmp_path):
    log = read(tmp_path, cell(rows(), 7, 1, "174.0 psi"))
    (fault,) = log.faults
    assert (fault.line, fault.dropped) == (7, False)
    assert "read by its own unit, not [bar]" in fault.what
    np.testing.assert_allclose(log.columns["ro.feed.pressure"][5], 174.0 * 6894.757, rtol=1e-6)


def test_a_day_of_zeros(tmp_path):
    lines = rows(72)
    for number in range(26, 50):
        lines = cell(cell(cell(lines, number, 1, "0"), number, 2, "0"), number, 3, "0")
    log = read(tmp_path, lines)
    dropped = [fault.line for fault in log.faults if fault.dropped]
    assert dropped == list(range(26, 50))
    assert all("every reading is 0" in fault.what for fault in log.faults if fault.dropped)
    (gap,) = [fault for fault in log.faults if not fault.dropped]
    assert (gap.line, "25 h since line 25" in gap.what) == (50, True)


def test_a_row_that_stands_twice(tmp_path):
    lines = rows()
    log = read(tmp_path, [*lines[:10], lines[9], *lines[10:]])
    (fault,) = log.faults
    assert (fault.line, fault.dropped) == (12, True)
    assert "the same readings" in fault.what


def test_a_clock_that_was_set_back_loses_no_row_in_silence(tmp_path):
    """An hour back in autumn: the rows of that hour cannot be told apart, and are named."""
    lines = rows()
    back = [f"2031-03-01 {n - 2:02d}:00{lines[n][16:]}" for n in range(12, 20)]
    log = read(tmp_path, [*lines[:12], *back])
    named = [fault.line for fault in log.faults if fault.dropped]
    assert named == [14, 15]
    assert all("time" in fault.what for fault in log.faults)


def test_a_clock_with_its_offset_does_no_harm(tmp_path):
    lines = [line.replace(":00,", ":00+02:00,", 1) for line in rows(12)]
    later = [f"2031-03-01 {n - 1:02d}:00+01:00{rows()[n][16:]}" for n in range(12, 20)]
    log = read(tmp_path, [*lines, *later])
    assert log.faults == ()
    np.testing.assert_allclose(np.diff(log.time), 3600.0)


@pytest.mark.parametrize(("pace", "told"), [(1.02, True), (1.0, False), (0.5, False)])
def test_a_clock_that_drifts_against_the_hour_meter(tmp_path, pace, told):
    """A meter may stand, but no machine runs 1.02 h in an hour: every date may be off by 2 %."""
    lines = [f"{line}{pace * n:.3f}" for n, line in enumerate(rows())]
    log = read(tmp_path, lines, HEAD.replace("event", "hour meter [h]").replace(" m", "_m"))
    assert any("one of them drifts" in note and "2.0%" in note for note in log.notes) == told


@pytest.mark.parametrize(
    ("behind", "metered", "says"),
    [
        (
            48,
            True,
            "it had lost 11.8 h against the hour meter and was set forward; dates from line 2",
        ),
        (12, True, "it had lost 2.75 h against the hour meter"),
        (48, False, "nothing noted for 12.8 h since line 49, or the clock was set forward"),
    ],
)
def test_a_slow_clock_set_forward(tmp_path, behind, metered, says):
    """The clock goes 0.75 h in each hour; no row is missing, and the meter alone can know."""
    lines = []
    for n in range(72):
        minutes = 60 * n - (15 * n if n < behind else 0)
        day, minutes = divmod(minutes, 1440)
        stamp = f"2031-03-{1 + day:02d} {minutes // 60:02d}:{minutes % 60:02d}"
        lines.append(f"{stamp},12.0{n % 3},0.94,55.{n % 7},{n if metered else ''}")
    log = read(tmp_path, lines, HEAD.replace("event", "hour_meter [h]" if metered else "event"))
    told = [f for f in log.faults if says in f.what]
    assert [(f.line, f.dropped) for f in told] == [(behind + 2, False)], log.faults
    assert log.time.size == 72


def test_a_meter_that_stood_tells_missing_rows(tmp_path):
    """A stop of the unit is no fault of the clock."""
    lines = [f"{line}{min(n, 10) + max(n - 50, 0)}" for n, line in enumerate(rows(72))]
    log = read(tmp_path, lines[:10] + lines[50:], HEAD.replace("event", "hour_meter [h]"))
    assert [f.what for f in log.faults] == ["nothing noted for 41 h since line 11"]


def test_many_alike_are_told_in_one_line(tmp_path):
    """Forty lines of the same fault must not hide the one that is not."""
    lines = [line.replace(",0.94,", f",-0.{n + 10},") if n > 1 else line
             for n, line in enumerate(rows(40))]  # fmt: skip
    log = read(tmp_path, cell(lines, 3, 1, "-3"))
    told = [text for text, _, _ in grouped(log.faults)]
    assert told[1:] == ["lines 4 to 41: ro.permeate.flow is negative: -0.12 m3/h, and so on"], told
    assert told[0] == "line 3: ro.feed.pressure is negative: -3 bar"


def test_degrees_of_another_scale(tmp_path):
    """Who is hurt: 46 degC for a well of 8 hides a membrane that lost half of its water."""
    head = HEAD.replace("event", "water.temperature [degC]")
    lines = [f"{line}{41.2 if 5 < n < 9 else 5.1 + n % 2}" for n, line in enumerate(rows())]
    log = read(tmp_path, lines, head)
    assert {f.line for f in log.faults if "degF under a head in degC" in f.what} == {8, 9, 10}
    assert not {8, 9, 10} & set(log.line.tolist())


@pytest.mark.parametrize(
    ("head", "says"),
    [
        (HEAD.replace("time,", "when,"), 'no column "time"'),
        (HEAD.replace("[bar]", "[bra]"), '"bra" is not a unit known here'),
        (HEAD.replace("[bar]", "[m3/h]"), "is no unit of gauge pressure"),
        (HEAD.replace("[bar]", "[ppm]"), "ambiguous"),
        (HEAD.replace("ro.permeate.flow [m3/h]", "ro.feed.pressure [psi]"), "two columns are"),
    ],
)
def test_a_head_that_cannot_be_read(tmp_path, head, says):
    with pytest.raises(RequestError) as caught:
        read(tmp_path, rows(), head)
    assert any(says in line and "log.csv:1: " in line for line in caught.value.problems)


def test_a_column_that_nobody_knows_is_told_with_the_nearest(tmp_path):
    log = read(tmp_path, rows(), HEAD.replace("ro.permeate.flow", "ro.permeat.flow"))
    (note,) = log.notes
    assert '"ro.permeat.flow [m3/h]" is not used; "ro.permeate.flow" would be' in note
    assert not log.has("ro.permeate.flow")


def test_words_of_the_trade_and_other_separators(tmp_path):
    head = "time;ro.feed.pressure (bar);ro.permeate.flow [m3/h];Permeate EC (uS/cm);Remark"
    lines = [line.replace(",", ";") for line in rows()]
    log = read(tmp_path, [lines[0] + "valve turned", *lines[1:]], head)
    assert log.has("ro.permeate.conductivity")
    assert log.events == ((0.0, "valve turned"),)
    assert log.faults == ()


def test_decimal_commas_are_told_as_such(tmp_path):
    head = HEAD.replace(",", ";")
    lines = [line.replace(",", ";").replace(".", ",") for line in rows()]
    with pytest.raises(RequestError, match=r'line 2: .*a decimal comma: write "12.00"'):
        read(tmp_path, lines, head)


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "empty"),
        (b"\n\n# remark\n", "empty"),
        (HEAD.encode() + b"\n", "a heading and a row for each reading belong here"),
        (b"\xff\xfe" + HEAD.encode("utf-16-le"), "UTF-8"),
        (HEAD.encode() + "\n2031-03-01 00:00,12,1,55,gew\u00e4ssert\n".encode("latin-1"), "UTF-8"),
    ],
)
def test_a_file_that_is_no_log(tmp_path, raw, says):
    with pytest.raises(RequestError, match=says):
        read(tmp_path, [], raw=raw)


def test_a_mark_before_the_text_does_no_harm(tmp_path):
    text = "\n".join([HEAD, *rows()])
    assert read(tmp_path, [], raw=b"\xef\xbb\xbf" + text.encode()).time.size == 30


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(RequestError, match="no such file"):
        read_log(str(tmp_path / "none.csv"), KNOWN, WORDS)


def test_where_every_row_is_bad_nothing_is_judged(tmp_path):
    lines = rows()
    for number in range(2, 32):
        lines = cell(lines, number, 1, "12,0".replace(",", "."))
        lines = cell(lines, number, 2, "none")
    with pytest.raises(RequestError, match=r"no row is left to judge: line 2: ro.permeate.flow"):
        read(tmp_path, lines)


def test_blanks_are_no_fault_of_the_row(tmp_path):
    """What was not noted is not a number; the units say which rows they cannot use."""
    log = read(tmp_path, cell(rows(), 7, 3, ""))
    assert log.faults == ()
    assert np.isnan(log.columns["ro.permeate.conductivity"][5])


METERS = [
    # rows of the permeate's conductivity, how it reads there, lines left out, what is said
    (range(8, 20), lambda v: v / 10, range(10, 22), "a meter in the wrong range"),
    (
        range(8, 20),
        lambda v: 199.9,
        range(10, 22),
        "a logger that hangs; if the meter is right, the water is salty",
    ),
    (range(8, 20), lambda v: 54.3, range(10, 22), "stands still to the last digit over 12 rows"),
    (range(8, 20), lambda v: v * 10, (), ""),  # a torn element may do that: believed
    (range(8, 40), lambda v: v / 10, (), ""),  # its repair too
    (range(8, 18), lambda v: 54.3, (), ""),
]


@pytest.mark.parametrize(("where", "reads", "lines", "says"), METERS)
def test_a_meter_in_another_range_or_one_that_hangs(tmp_path, where, reads, lines, says):
    """Who is hurt: who drinks on while the meter that should tell salt is at its end."""
    log = rows(40)
    for n in range(40):
        true = 55 + 0.13 * ((7 * n) % 23)
        text = f"{reads(true) if n in where else true:.4g}"
        log = cell(log, n + 2, 3, text)
    found = read(tmp_path, log)
    left_out = [fault for fault in found.faults if fault.dropped]
    assert [fault.line for fault in left_out] == list(lines)
    assert all(says in fault.what for fault in left_out)


def test_a_flow_by_the_day_is_no_salty_water(tmp_path):
    log = read(tmp_path, cell(rows(), 7, 2, "22.6"))
    (fault,) = log.faults
    assert "m3/d under a head in m3/h" in fault.what
    assert "salty" not in fault.what
