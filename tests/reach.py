"""What is reached from where: a static walk along the names that functions and records use."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from functools import cache

from package import modules

import treatsim
from treatsim import operations
from treatsim.report import plots

FUNCTION = ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda
COMPREHENSION = ast.ListComp | ast.SetComp | ast.DictComp | ast.GeneratorExp


@cache
def definitions() -> dict[str, list[ast.stmt]]:
    """Return the statements that make each name at the top of a module, by dotted name."""
    found: dict[str, list[ast.stmt]] = {}
    for module, tree in modules().items():
        for node in tree.body:
            for name in made(node):
                found.setdefault(f"{module}.{name}", []).append(node)
    return found


def made(node: ast.stmt) -> list[str]:
    """Return the names a statement at the top of a module makes; imports aside."""
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return [node.name]
    if isinstance(node, ast.Assign | ast.AnnAssign | ast.AugAssign):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        return [n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)]
    return []


def _stored(node: ast.Name) -> bool:
    return isinstance(node.ctx, ast.Store)


def imported(nodes: Iterable[ast.AST]) -> dict[str, str]:
    """Return local name -> dotted name of what import statements bring."""
    found = {}
    for node in nodes:
        if isinstance(node, ast.Import):
            for a in node.names:
                found[a.asname or a.name.partition(".")[0]] = (
                    a.name if a.asname else a.name.partition(".")[0]
                )
        elif isinstance(node, ast.ImportFrom):
            found |= {a.asname or a.name: f"{node.module}.{a.name}" for a in node.names}
    return found


@cache
def names_of(module: str) -> dict[str, str]:
    """Return local name -> dotted name for what the top of a module imports or makes."""
    tree = modules()[module]
    inner = {id(n) for f in ast.walk(tree) if isinstance(f, FUNCTION) for n in ast.walk(f)}
    outside = imported(n for n in ast.walk(tree) if id(n) not in inner)
    own = {name: f"{module}.{name}" for node in tree.body for name in made(node)}
    return outside | own


def bound(node: ast.AST) -> set[str]:
    """Return the names a function or comprehension binds itself: they hide those of the module."""
    found = set()
    for n in ast.walk(node):
        if isinstance(n, ast.arg):
            found.add(n.arg)
        elif isinstance(n, ast.Name) and _stored(n):
            found.add(n.id)
    return found


def uses(node: ast.AST, names: dict[str, str], hidden: frozenset[str] = frozenset()):
    """Yield the dotted names used in a statement, as far as they are known by `names`."""
    if isinstance(node, FUNCTION):
        names = names | imported(ast.walk(node))
        for part in _outside_the_body(node):
            yield from uses(part, names, hidden)
        hidden = hidden | (bound(node) - set(imported(ast.walk(node))))
        body = node.body if isinstance(node.body, list) else [node.body]
        for part in body:
            yield from uses(part, names, hidden)
        return
    if isinstance(node, COMPREHENSION):
        hidden = hidden | bound(node)
    if isinstance(node, ast.Attribute) and (chain := _chain(node)):
        if chain[0] in names and chain[0] not in hidden:
            yield ".".join((names[chain[0]], *chain[1:]))
        return
    if isinstance(node, ast.Name) and not _stored(node):
        if node.id in names and node.id not in hidden:
            yield names[node.id]
        return
    for part in ast.iter_child_nodes(node):
        yield from uses(part, names, hidden)


def _outside_the_body(node) -> Iterator[ast.AST]:
    """Decorators, defaults and annotations: they are read where the function is made."""
    yield from getattr(node, "decorator_list", ())
    yield node.args
    if getattr(node, "returns", None):
        yield node.returns


def _chain(node: ast.AST) -> tuple[str, ...]:
    if isinstance(node, ast.Name):
        return (node.id,)
    if isinstance(node, ast.Attribute) and (head := _chain(node.value)):
        return (*head, node.attr)
    return ()


def home(dotted: str) -> str | None:
    """Return the definition that a dotted name leads to, through imports; None if not ours."""
    for _ in range(10):
        if dotted in definitions():
            return dotted
        parts = dotted.split(".")
        for cut in range(len(parts) - 1, 0, -1):
            module, rest = ".".join(parts[:cut]), parts[cut:]
            if module in modules():
                break
        else:
            return None
        there = names_of(module).get(rest[0])
        if there is None:
            return None
        shorter = f"{module}.{rest[0]}"
        if there == shorter:  # an attribute of a record: the record is reached
            return shorter
        dotted = ".".join((there, *rest[1:]))
    return None


def run_when_loaded(module: str) -> list[ast.stmt]:
    """Return the bare statements of a module, which run when it is imported."""
    plain = ast.Expr | ast.For | ast.With | ast.Assert
    return [node for node in modules()[module].body if isinstance(node, plain)]


def reached(roots: Iterable[str]) -> set[str]:
    """Return every definition that the definitions `roots` lead to, themselves included."""
    todo, seen, loaded = list(roots), set(), set()
    while todo:
        name = todo.pop()
        if name in seen:
            continue
        seen.add(name)
        module = name.rpartition(".")[0]
        nodes = list(definitions()[name])
        if module not in loaded:
            loaded.add(module)
            nodes += run_when_loaded(module)
        for node in nodes:
            todo += [there for used in uses(node, names_of(module)) if (there := home(used))]
    return seen


def roots() -> set[str]:
    """What people can name: commands, public names, kinds, and plots, which are found by name."""
    found = {"treatsim.cli.main", "treatsim.cli.COMMANDS"}
    found |= {f"{module}.{name}" for name, module in treatsim._HOMES.items()}
    for kind in operations.kinds():
        for cls in (operations.unit_class(kind), operations.parameters_class(kind)):
            found.add(f"{cls.__module__}.{cls.__name__}")
    for plot in plots.NAMES:
        names = ("applies", "data", "draw", "CASES", "TOGETHER")
        places = (home(f"treatsim.report.plots.{plot}.{name}") for name in names)
        found |= {place for place in places if place}
    return found


@cache
def from_the_top() -> frozenset[str]:
    """Return every definition that something people can name leads to."""
    return frozenset(reached(roots()))
