"""Help and the examples in it; where the numbers come from."""

from __future__ import annotations

import shlex

import pytest
from command import ROOT, treatsim

from treatsim import __version__, cli, sources


def test_help_names_every_command():
    run = treatsim("--help")
    assert run.status == 0
    for name in cli.COMMANDS:
        assert name in run.out
    assert "does not replace testing" in run.out


def test_version():
    assert treatsim("--version").out == f"treatsim {__version__}\n"


# run by test_readme.py if the README shows it, and these in rooms of their own
ELSEWHERE = {"figures": "tests/figures", "page": "tests/page"}
README = (ROOT / "README.md").read_text("utf-8")


@pytest.mark.parametrize("name", list(cli.COMMANDS))
def test_every_example_runs(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "cases").symlink_to(ROOT / "cases")
    example = cli.COMMANDS[name][2]
    assert example in treatsim(name, "--help").out
    program, *arguments = shlex.split(example)
    assert program == "treatsim"
    if name in ELSEWHERE or f"$ {example}\n" in README:
        assert cli.parser().parse_args(arguments).run is cli.COMMANDS[name][0]
        return
    run = treatsim(*arguments)
    assert run.status in (0, 1), run.err
    assert "Traceback" not in run.err


def test_every_option_is_used_and_explained():
    used = {option for command in cli.COMMANDS.values() for option in command[3]} | {"--debug"}
    assert used == set(cli.OPTIONS)
    assert all(settings["help"] for _, settings in cli.OPTIONS.values())


def test_sources():
    run = treatsim("sources")
    assert run.status == 0
    assert len(run.out.splitlines()) == len(sources.load())
    one = treatsim("sources", "cfr_141_720")
    assert one.out.startswith("cfr_141_720  ")
    assert one.out in run.out.replace("  ", " ") or "141.720" in one.out


def test_a_source_says_what_is_from_memory():
    assert "(constants from memory)" in treatsim("sources", "morris_1966").out


def test_an_unknown_source_names_the_nearest():
    run = treatsim("sources", "cfr_141_721")
    assert run.status == 2
    assert 'no source "cfr_141_721"; near: ' in run.err
    assert "cfr_141_720" in run.err


def test_every_source_of_a_solve_can_be_looked_up():
    import json

    from command import RIVER

    for key in json.loads(treatsim("solve", RIVER, "--json").out)["sources"]:
        assert sources.cite(key)
