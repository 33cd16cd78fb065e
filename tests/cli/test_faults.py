"""Faults of a case, each with its line and its words, all at once; and random damage."""

from __future__ import annotations

import re

import pytest
from command import RIVER, river, treatsim
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

FAULTS = {
    "missing unit": (
        'length = "15 m"',
        'length = "15"',
        'units.hose.length = "15": a unit is missing',
    ),
    "bare number": ('length = "15 m"', "length = 15", "a bare number; write a text with its unit"),
    "wrong dimension": ('length = "15 m"', 'length = "15 bar"', '"bar" is no unit of length'),
    "unknown unit": ('length = "15 m"', 'length = "15 mtr"', '"mtr" is not a unit known here'),
    "ambiguous unit": (
        '"7 mg/L", spread',
        '"7 ppm", spread',
        '"ppm" is ambiguous: say mg/L or mg/kg',
    ),
    "unknown key": ("screen_area", "scren_area", 'no such key; did you mean "screen_area"?'),
    "missing key": ('screen_area = "0.06 m2"\n', "", "units.strainer.screen_area is missing"),
    "transmittance 0": ('value = "86 %"', 'value = "0 %"', "a uv transmittance lies above 0 %"),
    "transmittance 105": ('value = "86 %"', 'value = "105 %"', "not above 100 %"),
    "negative flow": (
        'rated_flow = "9.0 m3/h"',
        'rated_flow = "-9 m3/h"',
        "a rated flow lies above 0",
    ),
    "no number": ('rated_flow = "9.0 m3/h"', 'rated_flow = "much"', "no number with a unit"),
    "boiling water": (
        'temperature = "24 degC"',
        'temperature = "90 degC"',
        "a temperature lies not below",
    ),
    "unknown kind": ('kind = "strainer"', 'kind = "straner"', 'did you mean "strainer"?'),
    "unknown table": ("[site]", "[sitee]", 'no such table; did you mean "site"?'),
    "ageing": (
        "ageing_factor = 0.80",
        'ageing_factor = "160 %"',
        "an ageing factor lies above 0 and not",
    ),
    "whole number": ("{ value = 10, source", "{ value = 2.5, source", "a whole number"),
    "truth value": ("ph = 7.4", "ph = true", "a number or a text with a unit belongs here"),
    "organism": ('organism = "cryptosporidium"', 'organism = "frogs"', 'target.organism = "frogs"'),
    "no links": ("links = [", "link = [", "flowsheet.links is missing"),
    "end misspelt": ("> uv >", "> uvv >", 'no unit "uvv"; did you mean "uv"?'),
    "unfed inlet": ("> bags > cartridges", "> cartridges", "bags.inlet is not fed by any link"),
    "loop": ("uv > tank", "uv > hose", "already fed by"),
    "spread": ('spread = "3 %"', 'sprad = "3 %"', "unknown sprad"),
    "rising curve": ('rated_head = "29 m"', 'rated_head = "39 m"', "a curve that rises is refused"),
    "title with control letters": ('title = "', 'title = "\\u001b[31m', "one line that says"),
    "too long a hose": ('length = "15 m"', 'length = "1e9 m"', "and not above 100000 m"),
    "several things": ('losses = "15 %"', 'losses = "-1 %"', "losses lie not below 0 %"),
    "truth for a word": ('done = "yes"', "done = true", "survey_done = true: survey done is one"),
    "huge unit": ('length = "15 m"', 'length = "1 9**9**9 m"', "is not a unit known here"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault(name, tmp_path):
    old, new, words = FAULTS[name]
    path = river(tmp_path, (old, new))
    run = treatsim("solve", path)
    assert run.status == 2
    assert run.out == ""
    assert "Traceback" not in run.err
    assert words in run.err, run.err
    assert re.match(rf"{re.escape(str(path))}(:\d+)?: ", run.lines[0])
    assert re.fullmatch(r"(1 problem|\d+ problems); nothing was run", run.lines[-1])


def test_the_line_is_told(tmp_path):
    path = river(tmp_path, ("ageing_factor = 0.80", 'ageing_factor = "160 %"'))
    number = path.read_text("utf-8").split("ageing_factor")[0].count("\n") + 1
    run = treatsim("solve", path)
    assert run.lines[0] == (
        f'{path}:{number}: units.uv.ageing_factor = "160 %": an ageing factor lies above 0 and '
        "not above 1"
    )


def test_all_problems_at_once(tmp_path):
    names = ("missing unit", "wrong dimension", "unknown key", "ageing", "negative flow")
    changes = [FAULTS[name][:2] for name in names if name != "wrong dimension"]
    run = treatsim("solve", river(tmp_path, *changes))
    assert run.status == 2
    assert run.lines[-1] == f"{len(run.lines) - 1} problems; nothing was run"
    for name in names:
        if name != "wrong dimension":
            assert FAULTS[name][2] in run.err
    assert len(set(run.lines)) == len(run.lines)


def with_holds(tmp_path, *holds):
    rows = ('[[hold]]\nadjust = "{}"\nuntil = "{}"\nequals = "{}"\n'.format(*h) for h in holds)
    path = tmp_path / "held.toml"
    path.write_text(f"{RIVER.read_text('utf-8')}\n{''.join(rows)}", "utf-8")
    return treatsim("solve", path)


def test_two_holds_never_share_an_input_or_a_result(tmp_path):
    run = with_holds(tmp_path, *2 * [("lift_pump.speed", "product.flow", "5 m3/h")])
    assert run.status == 2
    for words in ("is adjusted by an earlier hold", "is held by an earlier hold"):
        assert re.search(rf"held\.toml:\d+: hold\..*{words}", run.err), run.err


def test_a_hold_turns_a_unit_and_no_water(tmp_path):
    run = with_holds(tmp_path, ("water.temperature", "product.flow", "5 m3/h"))
    assert run.status == 2
    assert re.search(r'held\.toml:\d+: hold\.adjust: "water\.temperature" is no input', run.err)


def test_a_mark_before_the_text_is_passed_over(tmp_path):
    path = tmp_path / "marked.toml"
    path.write_bytes(b"\xef\xbb\xbf" + RIVER.read_bytes())
    assert treatsim("solve", path).status == 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("lift_pump.sped=85 %", 'did you mean "speed"'),
        ("lift_pump.speed", "write ADDRESS=VALUE"),
        ("=3", "write ADDRESS=VALUE"),
        ("pump.speed=85 %", 'no input has the address "pump.speed"'),
        ("speed=85 %", 'no input has the address "speed"'),
        ("lift_pump.speed=", "no number with a unit"),
        ("uv.target.log=40", "target.log = 40"),
    ],
)
def test_faults_of_set(change, words):
    run = treatsim("solve", RIVER, "--set", change)
    assert run.status == 2
    assert words in run.err
    assert run.out == ""


def test_a_file_that_is_not_there(tmp_path):
    run = treatsim("solve", tmp_path / "none.toml")
    assert (run.status, run.out) == (2, "")
    assert "cannot be read: no such file or directory" in run.err


def test_a_directory(tmp_path):
    assert "this is a directory; name a case file" in treatsim("solve", tmp_path).err


def test_a_path_that_is_too_long():
    run = treatsim("solve", "x" * 5000)
    assert run.status == 2
    assert "cannot be read" in run.err


CONTENTS = {
    "empty": (b"", "water.kind is missing"),
    "binary": (bytes(range(256)) * 50, "no UTF-8 text"),
    "syntax": (b'title = "x"\n[units.a\n', ":2: write the table as [units.a]"),
    "twice": (b'title = "x"\ntitle = "y"\n', "not readable as TOML"),
    "deep": (b"a=" + b"[" * 5000 + b"]" * 5000, "nested too deep"),
    "dotted": (b".".join([b"a"] * 3000) + b"=1", "a key of more than 20 parts"),
    "long number": (b"a=" + b"9" * 5000, "a number of thousands of digits"),
    "units a text": (b'title="x"\nunits="none"\n', "a table [units] belongs here"),
    "hold of numbers": (b'title="x"\nhold=[1]\n', "hold: needs exactly adjust, until and equals"),
    "hold a table": (b'title="x"\n[hold]\na=1\n', "hold: write it as [[hold]]"),
    "a word": (b"hello", "not readable as TOML"),
}


@pytest.mark.parametrize("name", CONTENTS)
def test_odd_contents(name, tmp_path):
    raw, words = CONTENTS[name]
    path = tmp_path / "odd.toml"
    path.write_bytes(raw)
    run = treatsim("solve", path)
    assert run.status == 2, run.err
    assert words in run.err
    assert "Traceback" not in run.err
    assert run.lines[-1].endswith("nothing was run")
    assert max(map(len, run.lines)) < 600


def test_a_file_far_too_large(tmp_path):
    path = tmp_path / "large.toml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    run = treatsim("solve", path)
    assert run.status == 2
    assert "50 MB is no case file" in run.err


TEXT = RIVER.read_text("utf-8")
LINES = TEXT.splitlines()
VALUES = st.one_of(
    st.sampled_from(
        [
            '"0 m"',
            '"1e308 m"',
            '"-1 bar"',
            '"1e-300 m3/h"',
            '"50 %"',
            "0",
            "-1",
            "1e300",
            "nan",
            "inf",
            "true",
            '""',
            "[]",
            "{}",
            '"5 kg"',
            "1979-05-27",
            '"200 %"',
            "3",
            "0.5",
            '"1e9 m3/h"',
            '{ value = "3 m" }',
            '"3 m as CaCO3"',
            "'''x'''",
            '"10 m"',
            '"1 mm"',
            '"0.001 g"',
            "9" * 400,
            "0x" + "f" * 4000,
        ]
    ),
    st.floats(allow_nan=False).map(lambda x: f'"{x:g} m3/h"'),
    st.floats(min_value=0, max_value=1e6).map(lambda x: f'"{x:g} m"'),
    st.floats(min_value=0, max_value=2).map(repr),
    st.text(max_size=8).map(lambda t: '"' + t.replace("\\", "").replace('"', "") + '"'),
)
ASSIGNED = [number for number, line in enumerate(LINES) if re.match(r"\w+ = ", line)]


@st.composite
def damaged(draw):
    """The river case with a few values replaced, lines lost, moved or mangled."""
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.sampled_from(ASSIGNED))
        key = LINES[place].split(" = ")[0]
        lines[place] = f"{key} = {draw(VALUES)}"
    deed = draw(st.sampled_from(["none", "none", "lose", "double", "cut", "insert"]))
    place = draw(st.integers(0, len(lines) - 1))
    if deed == "lose":
        del lines[place]
    elif deed == "double":
        lines.insert(place, lines[draw(st.integers(0, len(lines) - 1))])
    elif deed == "cut":
        lines[place] = lines[place][: draw(st.integers(0, 12))]
    elif deed == "insert":
        lines.insert(place, draw(st.text(max_size=12)))
    return "\n".join(lines)


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(text=damaged())
def test_random_damage_never_breaks_the_program(text, tmp_path):
    path = tmp_path / "damaged.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    run = treatsim("solve", path, "--json")
    assert run.status in (0, 1, 2, 3), run.err
    assert "Traceback" not in run.err
    assert "Warning" not in run.err
    if run.status == 2:
        assert run.out == ""
        assert run.lines[-1].endswith("nothing was run")
    else:
        assert "NaN" not in run.out
        assert "Infinity" not in run.out
