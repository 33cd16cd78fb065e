"""The package as text: modules, their syntax trees and their imports."""

from __future__ import annotations

import ast
import tomllib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "treatsim"


@cache
def texts() -> dict[str, str]:
    """Return the text of every module of treatsim, by dotted name."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = path.read_text("utf-8")
    return found


@cache
def modules() -> dict[str, ast.Module]:
    """Return the syntax tree of every module; dear, so only a test that runs asks for it."""
    return {name: ast.parse(text) for name, text in texts().items()}


@cache
def source_keys() -> set[str]:
    """Return the keys of the bibliography."""
    return set(tomllib.loads((PACKAGE / "sources.toml").read_text("utf-8")))


def imports(tree: ast.AST, names: set[str]) -> set[str]:
    """Return the dotted names that a tree imports anywhere, as modules where they are known."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports name the package in full"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                found.add(whole if whole in names else node.module)
    return found


def run_at_import(tree: ast.Module):
    """Yield the statements that run when the module is imported."""
    todo = list(tree.body)
    while todo:
        node = todo.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test):
            continue
        yield node
        todo += [child for child in ast.iter_child_nodes(node) if isinstance(child, ast.stmt)]
