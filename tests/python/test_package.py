"""The names of the package, its examples, its pages that run, and its two ways to be started."""

from __future__ import annotations

import ast
import doctest
import importlib
import subprocess
import sys
from importlib import resources

import pytest
from blocks import blocks, run
from package import ROOT, modules, texts

import treatsim

TUTORIAL = ROOT / "cases/tutorial.md"
EXAMPLES = sorted(name for name, text in texts().items() if ">>> " in text)
SHOWN = {"treatsim", "treatsim.cases", "treatsim.building", "treatsim.amounts"}


def test_every_name_is_there_and_typed():
    (only_for_types,) = (n for n in modules()["treatsim"].body if isinstance(n, ast.If))
    typed = {alias.asname or alias.name: n.module for n in only_for_types.body for alias in n.names}
    assert typed == treatsim._HOMES
    for name in treatsim.__all__:
        assert getattr(treatsim, name) is not None
        assert name == "__version__" or name in (treatsim.__doc__ or "") or _is_unit(name)
    assert (resources.files("treatsim") / "py.typed").is_file()


def _is_unit(name: str) -> bool:
    return treatsim._HOMES[name].startswith("treatsim.operations.")


@pytest.mark.parametrize("module", EXAMPLES)
def test_examples_of_docstrings_run(module, monkeypatch):
    monkeypatch.chdir(ROOT)
    found = doctest.testmod(importlib.import_module(module), optionflags=doctest.ELLIPSIS)
    assert found.attempted
    assert not found.failed


def test_there_are_examples():
    assert set(EXAMPLES) >= SHOWN


def test_the_tutorial_runs(monkeypatch):
    monkeypatch.chdir(ROOT)
    run(TUTORIAL)
    assert sum(bool(shown) for _, shown in blocks(TUTORIAL)) >= 5


def test_a_page_that_shows_something_else_fails(tmp_path):
    page = tmp_path / "page.md"
    page.write_text("```python\nprint(1)\n```\n\n```text\n2\n```\n", "utf-8")
    with pytest.raises(AssertionError, match="print"):
        run(page)


def test_it_starts_as_a_module():
    done = subprocess.run(
        [sys.executable, "-m", "treatsim", "--version"], capture_output=True, text=True, check=True
    )
    assert treatsim.__version__ in done.stdout
    wrong = subprocess.run(
        [sys.executable, "-m", "treatsim", "solve", "nowhere.toml"], capture_output=True, text=True
    )
    assert wrong.returncode == 2
    assert "nowhere.toml" in wrong.stderr
