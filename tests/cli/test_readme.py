"""Every block of the README runs and shows what it says."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest
from blocks import run

from treatsim import cli

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"```console\n(.*?)```", README, re.DOTALL)


def sessions():
    """(command, expected lines) of every console block."""
    for block in BLOCKS:
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, *lines = part.rstrip("\n").split("\n")
            yield command, lines


@pytest.fixture(autouse=True)
def _at_the_root(monkeypatch):
    monkeypatch.chdir(ROOT)


@pytest.mark.parametrize(("command", "expected"), list(sessions()), ids=lambda v: str(v)[:60])
def test_a_session_shows_what_the_readme_says(command, expected, capsys):
    program, *words = shlex.split(command)
    assert program == "treatsim"

    status = cli.main(words)

    shown = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    assert status in (0, 1)
    assert [line for line in expected if line != "..."], "a session without a line to check"
    position, free = 0, False
    for line in expected:
        if line == "...":
            free = True
            continue
        if free:
            assert line in shown[position:], f"not shown: {line}"
            position = shown.index(line, position)
        assert shown[position] == line
        position, free = position + 1, False


def test_the_python_blocks_run_and_show_what_they_say():
    names = run(ROOT / "README.md")

    assert len(names["table"]) == 41
    assert names["result"].solved.all()


def test_every_command_and_exit_status_is_told():
    for name in cli.COMMANDS:
        assert f"`treatsim {name}" in README
    for status in cli.Exit:
        assert re.search(rf"\b{int(status)}\b", README)


def test_every_picture_is_there():
    for picture in re.findall(r"\]\((figures/[^)]+)\)", README):
        assert (ROOT / picture).is_file()


def test_the_python_version_is_the_package_s():
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["requires-python"]
    assert f"Python {asked.removeprefix('>=')}" in README
