"""Input that is broken on purpose, and outputs that fail: a line, the right status, no harm."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time

import pytest
from command import RIVER, ROOT, river, treatsim

from treatsim.errors import RequestError
from treatsim.power.weather_files import read_hours

SMALL = ROOT / "cases/small_unit.toml"
SEA = ROOT / "cases/sea.toml"
WELL = ROOT / "cases/brackish_well.toml"
CODE = "import sys; from treatsim.cli import main; sys.exit(main())"
MANY = "9" * 5000
SOLVE_EACH = (
    "import sys; from treatsim.cli import main\n"
    "for path in sys.argv[1:]: print(main(['solve', path]))"
)
HOLD = '\n[[hold]]\nadjust = "lift_pump.speed"\nuntil = "product.flow"\nequals = "{}"\n'

SETTINGS = [
    (RIVER, "health.challenge_tests=x", "a table of filter units"),
    (RIVER, f"uv.tanks_in_series={MANY}", "no number with a unit"),
    (RIVER, f"uv.target.log={MANY}", "target.log"),
    (RIVER, f"lift_pump.speed={MANY}", "speed"),
    (SMALL, "intake.flow=1e9 m3/s", "no number of this size belongs here"),
    (SMALL, "intake.flow=1e-20 m3/s", "no number of this size belongs here"),
    (RIVER, "lift_pump.rated_flow=1e-20 m3/s", "1e-06 m3/h to 1000 m3/h"),
    (RIVER, "lift_pump.pump_efficiency=1e-20", "not below 1 % and not above 100 %"),
    (RIVER, "lift_pump.motor_efficiency=0.9 %", 'write "90 %" or 0.9'),
    (ROOT / "cases/river_chlorine.toml", "chlorine.stock_age=280000 h", "of this size"),
    (SEA, "ro.permeate_pressure=1e9 bar", "of this size"),
    (SEA, "ro.salt_permeability_ratio=1e-10", "not below 0.01 and not above 100"),
    (SEA, "ro.water_permeability_ratio=1e-10", "not below 0.01 and not above 3"),
]


@pytest.mark.parametrize(("case", "setting", "words"), SETTINGS, ids=lambda v: str(v)[-40:])
def test_a_setting(case, setting, words):
    run = treatsim("solve", case, "--set", setting)
    assert (run.status, run.out) == (2, "")
    assert words in run.err, run.err
    assert max(map(len, run.lines)) < 2100


@pytest.mark.parametrize("flow", ["900 m3/h", "2 mL/h"])
def test_a_flow_at_the_end_of_what_is_typed_in(flow):
    """Remedies that are tried do not leave the range either."""
    run = treatsim("solve", SMALL, "--set", f"intake.flow={flow}")
    assert run.status in (0, 1, 3)
    assert "array" not in run.err


def test_a_membrane_nobody_makes(tmp_path):
    """A standard test that asks for a water permeability near 1e-10 m/(s Pa)."""
    text = (ROOT / "cases/sea.toml").read_text("utf-8")
    table = (
        '{ area = "7 m2", length = "1 m", channel_height = "0.7 mm", spacer_porosity = 0.89, '
        'test_permeate_flow = "70 m3/d", test_rejection = 0.99, test_feed = "500 mg/L", '
        'test_pressure = "8 bar", test_recovery = 0.5, water_activation = "20 kJ/mol", '
        'salt_activation = "25 kJ/mol" }'
    )
    path = tmp_path / "membrane.toml"
    path.write_text(text.replace('element = "seawater-4in"', f"element = {table}"), "utf-8")
    run = treatsim("solve", path)
    assert run.status in (0, 1, 2, 3), run.err
    assert "Warning" not in run.err


def test_an_organism_that_is_a_list(tmp_path):
    old = 'organism = "cryptosporidium"'
    run = treatsim("solve", river(tmp_path, (old, 'organism = ["cryptosporidium"]')))
    assert run.status == 2
    assert "target.organism = ['cryptosporidium']: one name; known: ms2" in run.err


def test_a_count_of_thousands_of_digits(tmp_path):
    old = 'tanks_in_series = { value = 10, source = "guess" }'
    for digits in (1500, 5000):  # what TOML still reads, and what it does not
        path = river(tmp_path, (old, f"tanks_in_series = {digits * '9'}"))
        run = treatsim("solve", path)
        assert (run.status, run.out) == (2, "")
        assert "a number of thousands of digits; this is no case file" in run.err


@pytest.mark.parametrize("value", ["1e400 mJ/cm2", "1e400", "1e308 mJ/cm2", "-1e400 mJ/cm2"])
def test_a_target_without_end(value):
    run = treatsim("find", RIVER, "--adjust", "lift_pump.speed", "--until",
                   f"uv.dose_credited >= {value}")  # fmt: skip
    assert (run.status, run.out) == (2, "")
    assert "no number of this size belongs here" in run.err
    assert "Warning" not in run.err


@pytest.mark.parametrize("value", ["1e400 m3/h", "inf m3/h", "1e305 m3/h"])
def test_a_hold_without_end(value, tmp_path):
    path = tmp_path / "held.toml"
    path.write_text(RIVER.read_text("utf-8") + HOLD.format(value), "utf-8")
    run = treatsim("solve", path)
    assert run.status == 2
    assert "hold.equals" in run.err


def in_a_row(count: int) -> str:
    hose = 'kind = "hose"\nlength = "1 m"\nbore = "50 mm"\nroughness = "0 mm"\nrise = "0 m"\n'
    units = "".join(f"[units.h{n}]\n{hose}fittings = 0\n" for n in range(count))
    row = " > ".join(f"h{n}" for n in range(count))
    return (
        'title = "x"\n[water]\nkind = "fresh"\nsalinity = "0.3 g/L"\ntemperature = "20 degC"\n'
        '[units.i]\nkind = "intake"\nflow = "1 m3/h"\npressure = "9 bar"\n'
        f'{units}[flowsheet]\nlinks = ["i > {row} > tank"]\n'
    )


@pytest.mark.parametrize(("count", "statuses"), [(190, (0, 1)), (1500, (2,))])
def test_units_in_a_row(count, statuses, tmp_path):
    path = tmp_path / "many.toml"
    path.write_text(in_a_row(count), "utf-8")
    run = treatsim("solve", path)
    assert run.status in statuses, run.err
    if run.status == 2:
        assert "1501 units; at most 200 are solved" in run.err


LARGE = {
    "dotted key": ".".join(["a"] * 20_000) + "=1\n",
    "dotted quoted key": ".".join(['"a"'] * 20_000) + "=1\n",
    "dotted table": "[" + ".".join(["a"] * 20_000) + "]\n",
    "dotted key in a table": "x = {" + ".".join(["a"] * 20_000) + "=1}\n",
    "link": RIVER.read_text("utf-8").replace("links = [", f'links = ["{"uv > " * 30_000}uv",'),
    "text without end": 'a = "' + '\\"' * 200_000,
    "blanks": f'title = "x"\na = "1{" " * 300_000}m"\n',
    "header without end": "a = '''\n[" + " " * 300_000 + "\n'''\n",
    "long key": "a" * 300_000 + " = 1\n",
}


def test_what_is_large_costs_little(tmp_path):
    """One process, so that its memory and its time are bounds on each."""
    paths = [tmp_path / f"{name.replace(' ', '_')}.toml" for name in LARGE]
    for path, text in zip(paths, LARGE.values(), strict=True):
        path.write_text(text, "utf-8")
    begun = time.monotonic()
    run = limited(*paths, "/dev/zero", code=SOLVE_EACH)
    assert run.returncode == 0, run.stderr
    assert time.monotonic() - begun < 40
    assert run.stdout.split() == [b"2"] * (len(paths) + 1), run.stderr
    assert max(map(len, run.stderr.splitlines())) < 2100
    told = run.stderr.decode()
    assert all(f"{path}:" in told for path in paths)
    assert "at most 1 MB is read" in told


@pytest.mark.parametrize(
    "words",
    [("logbook", ROOT / "cases/worn_well.toml", "/dev/zero"),
     ("spares", RIVER, "--months", "1", "--readings", "/dev/zero")],
    ids=lambda words: words[0],
)  # fmt: skip
def test_readings_without_end(words):
    run = limited(*words)
    assert run.returncode == 2, run.stderr
    assert b"/dev/zero: larger than 20 MB" in run.stderr


def test_hours_that_are_no_plain_file(tmp_path):
    os.mkfifo(tmp_path / "hours.epw")
    with pytest.raises(RequestError, match="no plain file"):
        read_hours(tmp_path / "hours.epw")


def limited(*arguments, code=CODE):
    """Run in a process that may not take more than 1.5 GB."""
    size = 1_500_000_000
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True,
        timeout=60,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (size, size)),
    )


def test_control_letters_are_shown_and_not_sent(tmp_path):
    path = tmp_path / "control.toml"
    path.write_text(
        'title = "x"\n"a\\u001b[31mb" = 1\n[water]\nkind = "fresh"\n"q\\u0007" = 1\n'
        '[units."b\\nc"]\nkind = "h\\u001bose"\n[units.d]\nkind = "\\u001b[2J"\n'
        '[flowsheet]\nlinks = ["d\\u001b[2J > e"]\n"\\u009b" = 1\n',
        "utf-8",
    )
    run = treatsim("solve", path)
    assert run.status == 2
    assert all(line.isprintable() for line in run.err.split("\n"))
    for shown in (r"a\x1b[31mb", r"q\x07", r"b\nc", r"\x9b"):
        assert shown in run.err, run.err


@pytest.mark.parametrize("command", [["new", "river"], ["sources"], ["solve", RIVER]], ids=str)
def test_a_long_name_of_a_file_to_write(command, tmp_path):
    run = treatsim(*command, "--out", tmp_path / ("n" * 300))
    assert run.status == 2
    assert "file name too long" in run.err


def test_a_long_name_of_a_table_to_write(tmp_path):
    run = treatsim("sweep", RIVER, "--vary", "lift_pump.speed=70 %:80 %:2", "--out",
                   tmp_path / f"{'n' * 300}.csv")  # fmt: skip
    assert run.status == 2
    assert "file name too long" in run.err


def test_a_long_name_of_a_case():
    assert "file name too long" in treatsim("solve", f"{'n' * 300}.toml").err


def shell(line: str, **environment) -> subprocess.CompletedProcess:
    command = line.replace("treatsim ", f"{sys.executable} -c '{CODE}' ")  # no part of a path
    return subprocess.run(
        ["sh", "-c", command],
        capture_output=True,
        timeout=120,
        check=False,
        env={**os.environ, **environment},
    )


def test_letters_outside_the_encoding(tmp_path):
    path = tmp_path / "dépôt.toml"
    path.write_text(RIVER.read_text("utf-8").replace('title = "', 'title = "Ōsa '), "utf-8")
    run = shell(f"treatsim solve {path}", PYTHONIOENCODING="ascii")
    assert run.returncode == 0, run.stderr
    assert rb"\u014csa" in run.stdout
    assert rb"d\xe9p\xf4t.toml" in run.stdout.replace(b"\n", b"")  # a long path is wrapped


STREAMS = [  # line, status, on standard output, on standard error
    (f"treatsim solve {RIVER} >&-", 2, b"", b"standard output is closed"),
    (f"treatsim solve {RIVER} > /dev/full", 2, b"", b"no space left on device"),
    ("treatsim sources > /dev/full", 2, b"", b"no space left on device"),
    ("treatsim --help > /dev/full", 2, b"", b"no space left on device"),
    ("treatsim solve --help > /dev/full", 2, b"", b"no space left on device"),
    ("treatsim --version > /dev/full", 2, b"", b"no space left on device"),
    ("treatsim solve none.toml 2> /dev/full", 2, b"", b""),
    ("treatsim solve none.toml 2>&-", 2, b"", b""),
    ("treatsim slove 2>&-", 2, b"", b""),
    (f"treatsim solve {RIVER} >&- 2>&-", 2, b"", b""),
]


@pytest.mark.parametrize(("line", "status", "out", "err"), STREAMS, ids=lambda v: str(v)[-30:])
def test_streams_that_fail(line, status, out, err):
    run = shell(line)
    assert run.returncode == status, run.stderr
    assert run.stdout == out
    assert err in run.stderr
    assert b"Traceback" not in run.stderr
    if b"space" in err:
        assert run.stderr.endswith(b"1 problem; nothing was written\n")


def test_a_document_where_chemistry_fails():
    run = treatsim("solve", WELL, "--json", "--set", "water.ph=13.9")
    assert run.status == 3
    told = json.loads(run.out)
    assert (told["solved"], told["meets"], told["values"]) == (False, False, {})
    assert told["reason"].startswith("PHREEQC found no equilibrium")
    assert told["reason"][:60] in run.err


def hearing() -> None:
    """Hear every signal, also where the tests themselves run in the background or under nohup."""
    for number in (signal.SIGHUP, signal.SIGINT):
        signal.signal(number, signal.SIG_DFL)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_sweep_ended_from_outside_keeps_what_is_done(number, tmp_path):
    out = tmp_path / "table.csv"
    command = [sys.executable, "-c", CODE, "sweep", str(SMALL), "--out", str(out), "--vary",
               "intake.flow=0.2 m3/h:0.9 m3/h:200000"]  # fmt: skip
    with subprocess.Popen(
        command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, preexec_fn=hearing
    ) as process:
        part = out.with_name("table.csv.partial")
        begun = time.monotonic()
        while not part.exists() and time.monotonic() - begun < 60:
            time.sleep(0.02)
        time.sleep(0.1)
        process.send_signal(number)
        error = process.stderr.read().decode()
        assert process.wait(timeout=60) == 128 + number, error
    assert part.exists()
    assert not out.exists()
    assert "points are kept in" in error
    assert ("interrupted" if number == signal.SIGINT else f"ended by {number.name}") in error


@pytest.mark.parametrize(
    ("command", "case", "setting", "suffix"),
    [
        ("page", "river_chlorine", "chlorine.dose=0.05 mg/L", "html"),  # a dial left as stated
        ("page", "brackish_well", "high_pressure_pump.outlet_pressure=38 bar", "html"),
        ("sheet", "sea", "high_pressure_pump.outlet_pressure=29 bar", "pdf"),  # no start at all
    ],
)
def test_what_nobody_would_drink_is_said_on_paper_too(tmp_path, command, case, setting, suffix):
    """A page of a train that misses its limits is made, and the status says so."""
    run = treatsim(command, ROOT / f"cases/{case}.toml", "--set", setting, "--out",
                   tmp_path / f"out.{suffix}")  # fmt: skip
    assert run.status == 1, run.err
