"""Exit statuses, one by one."""

from __future__ import annotations

import subprocess
import sys

import pytest
from command import RIVER, river, treatsim

from treatsim import cases, cli


def test_0_every_criterion_met():
    run = treatsim("solve", RIVER)
    assert run.status == 0
    assert run.err == ""
    assert "What is judged is met" in run.out


def test_1_a_criterion_not_met():
    run = treatsim("solve", RIVER, "--set", "lift_pump.speed=110 %")
    assert run.status == 1
    assert "NOT met" in run.out
    assert "UV dose" in run.out


def test_1_strict_refuses_what_lies_outside_a_range():
    low = ("--set", "lift_pump.rated_flow=300 m3/h")
    assert treatsim("solve", RIVER, *low).status in (0, 1)
    run = treatsim("solve", RIVER, *low, "--strict")
    assert run.status != 0
    assert any(line.startswith("--strict: lift_pump: parabola") for line in run.lines)


def test_2_a_wrong_request():
    run = treatsim("solve", RIVER, "--set", "lift_pump.speed=110")
    assert run.status == 2
    assert run.lines[-1] == "1 problem; nothing was run"
    assert run.out == ""


@pytest.mark.parametrize(
    "arguments",
    [[], ["solve"], ["solv"], ["solve", RIVER, "--jsn"], ["solve", RIVER, "--units", "metric"]],
    ids=str,
)
def test_2_wrong_usage(arguments):
    run = treatsim(*arguments)
    assert run.status == 2
    assert run.out == ""
    assert "Traceback" not in run.err


def test_3_no_operating_point():
    run = treatsim("solve", RIVER, "--set", "lift_pump.speed=20 %")
    assert run.status == 3
    assert run.lines == [
        "no operating point: nothing flows: with the water at rest the pressure at tank is "
        "0.4382 bar short; raise the pump's speed or lower the lift"
    ]
    assert "No operating point" in run.out


def test_3_of_one_of_several_cases(tmp_path):
    path = tmp_path / "slow.toml"
    path.write_text(RIVER.read_text("utf-8").replace('"74 %"', '"20 %"'), "utf-8")
    run = treatsim("compare", RIVER, path)
    assert run.status == 3
    assert len(run.lines) == 1
    assert run.lines[0].startswith(f"{path}: no operating point: nothing flows")


def test_70_an_internal_error(monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("a\nb")

    monkeypatch.setattr(cases, "load", broken)
    run = treatsim("solve", RIVER)
    assert run.status == 70
    assert run.lines[0] == "internal error: ZeroDivisionError: a"
    assert "--debug" in run.lines[1]
    assert "Traceback" not in run.err
    with pytest.raises(ZeroDivisionError):
        treatsim("solve", RIVER, "--debug")


def test_130_interrupted(monkeypatch):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(cases, "load", stopped)
    run = treatsim("solve", RIVER)
    assert (run.status, run.err) == (130, "interrupted\n")


def test_every_status_has_a_name():
    assert {int(status) for status in cli.Exit} == {0, 1, 2, 3, 70, 129, 130, 143}


def test_a_reader_that_stops_early_is_no_error():
    command = f"{sys.executable} -m treatsim.cli sources"
    code = "import sys; from treatsim.cli import main; sys.exit(main(['sources']))"
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        process.stdout.close()
        error = process.stderr.read()
        assert process.wait(timeout=60) == 0, command
    assert b"Traceback" not in error


def test_the_pump_that_cannot_lift(tmp_path):
    run = treatsim("solve", river(tmp_path, ('rise = "4.0 m"', 'rise = "60 m"')))
    assert run.status == 3
    assert "nothing flows" in run.err
