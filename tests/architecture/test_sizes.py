"""Nothing grows out of sight. The lists of exceptions may only shrink."""

from __future__ import annotations

import ast
from functools import cache

from package import modules, texts

LARGEST_MODULE = 400  # lines
LONGEST_BODY = 50  # lines
MOST_ARGUMENTS = 8

# function -> why it needs more arguments than that
ARGUMENTS: dict[str, str] = {}
# function -> why its body is longer
BODIES: dict[str, str] = {}


@cache
def functions() -> dict[str, ast.FunctionDef]:
    return {
        f"{module}.{node.name}": node
        for module, tree in modules().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
    }


def test_modules_are_short():
    lines = {module: text.count("\n") for module, text in texts().items()}
    assert not {module: count for module, count in lines.items() if count > LARGEST_MODULE}


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
    lines = {name: body_lines(function) for name, function in functions().items()}
    long = {name: count for name, count in lines.items() if count > LONGEST_BODY}
    assert set(long) == set(BODIES), f"over {LONGEST_BODY} lines: {long}; listed: {set(BODIES)}"


def test_functions_take_few_arguments():
    many = {name for name, f in functions().items() if arguments(f) > MOST_ARGUMENTS}
    assert many == set(ARGUMENTS), (
        f"not listed: {many - set(ARGUMENTS)}; no longer needed: {set(ARGUMENTS) - many}"
    )
