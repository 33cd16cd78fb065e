"""Nothing grows out of sight. The lists of exceptions may only shrink."""

from __future__ import annotations

import ast

import pytest
from package import PACKAGE, ROOT, modules

LARGEST_MODULE = 400  # lines
LONGEST_BODY = 50  # lines
MOST_ARGUMENTS = 8

# function -> why it needs more arguments than that
ARGUMENTS: dict[str, str] = {}
# function -> why its body is longer
BODIES: dict[str, str] = {}
FUNCTIONS = {
    f"{module}.{node.name}": node
    for module, tree in modules().items()
    for node in ast.walk(tree)
    if isinstance(node, ast.FunctionDef)
}


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: p.name)
def test_modules_are_short(path):
    lines = path.read_text("utf-8").count("\n")
    assert lines <= LARGEST_MODULE, f"{path.relative_to(ROOT)}: {lines} lines"


def body_lines(function: ast.FunctionDef) -> int:
    """Return the lines of a body without its docstring."""
    body = function.body
    if isinstance(body[0], ast.Expr) and isinstance(body[0].value, ast.Constant):
        body = body[1:]
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


def arguments(function: ast.FunctionDef) -> int:
    given = function.args
    names = [a.arg for a in (*given.posonlyargs, *given.args, *given.kwonlyargs)]
    return len([name for name in names if name not in ("self", "cls")])


def test_functions_are_short():
    long = {name: body_lines(f) for name, f in FUNCTIONS.items() if body_lines(f) > LONGEST_BODY}
    assert set(long) == set(BODIES), f"over {LONGEST_BODY} lines: {long}; listed: {set(BODIES)}"


def test_functions_take_few_arguments():
    many = {name for name, f in FUNCTIONS.items() if arguments(f) > MOST_ARGUMENTS}
    assert many == set(ARGUMENTS), (
        f"not listed: {many - set(ARGUMENTS)}; no longer needed: {set(ARGUMENTS) - many}"
    )
