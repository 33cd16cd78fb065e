"""What may not stand in any file, nor in anything printed."""

from __future__ import annotations

import ast
import re
import subprocess

import pytest
from package import ROOT, modules

MACHINE = re.compile(
    r"(?<![\w.])/(?:work|root|home|Users|tmp)/\w|[A-Z]:\\\\?Users|/dev/shm/|/mnt/\w"
)
CALLS_SAFE = re.compile(
    r"\b(?:water|it|this|result|tank)\s+(?:is|are|will be|becomes|stays)\s+(?:now\s+)?safe\b"
    r"|\bsafe (?:to drink|drinking water|water)\b|^\s*safe\.?\s*$|\bpotable\b",
    re.IGNORECASE,
)
BEFORE = re.compile(r"\b(?:not|never|no|whether|until|nor)\b[^.]*$", re.IGNORECASE)
TEXT = {".py", ".toml", ".md", ".txt", ".csv", ".svg", ".cfg", ".yml", ".yaml", ".typed", ""}


def tracked() -> list:
    """Return the text files that git tracks; a history is not needed, a list of files is."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode:
        pytest.skip("not a git work tree")
    paths = [ROOT / name for name in listed.stdout.split("\0") if name]
    return [p for p in paths if p.is_file() and p.suffix in TEXT]


def test_no_path_of_a_machine_in_any_file():
    here = ROOT / "tests/architecture/test_words.py"  # which holds the pattern
    files = tracked()
    assert len(files) > 30
    bad = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in files
        if path != here
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if MACHINE.search(line)
    ]
    assert not bad


def strings(tree: ast.AST):
    """Yield the texts of a module that are no docstrings, joined parts of an f-string as one."""
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value


def declares_safe(text: str) -> bool:
    found = CALLS_SAFE.search(text)
    return bool(found) and not BEFORE.search(text[: found.start()])


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("this water is safe", True),
        ("safe to drink", True),
        ("Safe", True),
        ("seconds until the water is safe", False),
        ("does not say that water is safe", False),
        ("a safeguard", False),
        ("fail-safe valve", False),
    ],
)
def test_the_pattern_itself(text, verdict):
    assert declares_safe(text) is verdict


def test_no_text_declares_water_safe():
    bad = [
        (name, text)
        for name, tree in modules().items()
        for text in strings(tree)
        if declares_safe(text)
    ]
    assert not bad


def test_no_text_in_a_data_file_declares_water_safe():
    bad = [
        f"{path.name}: {line.strip()}"
        for path in (ROOT / "treatsim").rglob("*.toml")
        for line in path.read_text("utf-8").splitlines()
        if declares_safe(line)
    ]
    assert not bad
