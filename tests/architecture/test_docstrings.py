"""What every public function has to say, and that what it cites exists."""

from __future__ import annotations

import ast
import dataclasses
import re

import pytest
from package import modules, source_keys

from treatsim import operations
from treatsim.case_sections import SECTIONS

SECTION_NAMES = ("Parameters", "Returns", "Validity", "Source")
FULL = ("water", "correlations", "safety", "power")  # packages whose functions say everything
KEY = re.compile(r"\b[a-z][a-z]*(?:_[a-z0-9]+)*_(?:\d{2,4}[a-z]?|\d+_\d+)\b")
# no unit of its own: counts, texts, containers, functions, and records, which tell theirs
UNITLESS = re.compile(
    r"\b(?:int|str|bool|bytes|dict|list|tuple|set|[Ss]equence|callable|None|[A-Z]\w+)\b"
)
UNIT = re.compile(r"\[[^\]]+\]|\bunits?\b")


def is_public(name: str) -> bool:
    return not name.startswith("_")


def public_functions():
    for module, tree in modules().items():
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and is_public(node.name):
                yield module, node


def in_full(module: str) -> bool:
    parts = module.split(".")
    return len(parts) > 2 and parts[1] in FULL


def sections(doc: str) -> dict[str, str]:
    """Return the sections of a docstring in numpydoc form, in order."""
    parts = re.split(r"^(\w[\w ]*)\n-{3,}\s*$", doc, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def parameters_told(text: str) -> dict[str, tuple[str, str]]:
    """Return name -> (type, description) of a Parameters section."""
    told: dict[str, tuple[str, str]] = {}
    for head, body in re.findall(r"^(\S.*)\n((?:[ \t]+.*\n?|\n)*)", text, flags=re.MULTILINE):
        names, _, kind = head.partition(" : ")
        told |= {name.strip().lstrip("*"): (kind, body) for name in names.split(",")}
    return told


def unsaid(node: ast.FunctionDef):
    """Yield what the docstring of a function lacks."""
    found = sections(ast.get_docstring(node) or "")
    arguments = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
    wanted = [s for s in SECTION_NAMES if s != "Parameters" or arguments or s in found]
    if [s for s in found if s in SECTION_NAMES] != wanted:
        yield f"sections {wanted}, in this order"
    if not arguments:
        return
    told = parameters_told(found.get("Parameters", ""))
    if set(told) != set(arguments):
        yield f"told {list(told)}, taken {arguments}"
    for argument, (kind, body) in told.items():
        if not UNIT.search(kind + body) and not UNITLESS.search(kind):
            yield f"{argument}: no unit in brackets"
    returned = found.get("Returns", "").strip()
    if not UNIT.search(returned) and not UNITLESS.search(returned.partition("\n")[0]):
        yield "the result has a unit in brackets, or is a record that tells its units"


def test_a_formula_says_everything():
    formulas = [(module, node) for module, node in public_functions() if in_full(module)]
    assert len(formulas) > 300
    lacking = {f"{module}.{node.name}": [*unsaid(node)] for module, node in formulas}
    assert not {name: faults for name, faults in lacking.items() if faults}


def test_everything_public_has_a_docstring():
    bare = []
    for module, tree in modules().items():
        if not ast.get_docstring(tree):
            bare.append(module)
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and is_public(node.name):
                bare += [f"{module}.{node.name}"] if not ast.get_docstring(node) else []
            if isinstance(node, ast.ClassDef) and is_public(node.name) and not _protocol(node):
                bare += [
                    f"{module}.{node.name}.{f.name}"
                    for f in node.body
                    if isinstance(f, ast.FunctionDef)
                    and is_public(f.name)
                    and not ast.get_docstring(f)
                ]
    assert not bare


def _protocol(node: ast.ClassDef) -> bool:
    return any(isinstance(base, ast.Name) and base.id == "Protocol" for base in node.bases)


def cited_keys():
    """Yield (place, key) of every key named in a Source section or handed on as a source."""
    for module, node in public_functions():
        text = sections(ast.get_docstring(node) or "").get("Source", "")
        yield from ((f"{module}.{node.name}", key) for key in KEY.findall(text))
    for module, tree in modules().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.keyword) and node.arg in ("source", "sources"):
                for part in ast.walk(node.value):
                    if isinstance(part, ast.Constant) and isinstance(part.value, str):
                        yield from ((module, key) for key in KEY.findall(part.value))


def test_every_source_named_is_in_the_bibliography():
    cited = list(cited_keys())
    assert len(cited) > 100
    missing = sorted({(key, place) for place, key in cited if key not in source_keys()})
    assert not missing


RECORDS = {kind: operations.parameters_class(kind) for kind in operations.kinds()} | SECTIONS


@pytest.mark.parametrize("kind", sorted(RECORDS))
def test_every_parameter_is_declared(kind):
    for item in dataclasses.fields(RECORDS[kind]):
        meta = item.metadata
        assert meta.get("meaning"), f"{item.name}: no meaning"
        assert "source" in meta, f"{item.name}: no source entry"
        if meta["kind"] == "choice":
            assert len(meta["options"]) > 1
        elif meta["kind"] != "text":
            assert meta["low"] < meta["high"], f"{item.name}: no range"


@pytest.mark.parametrize("kind", sorted(operations.kinds()))
def test_every_unit_has_one_form(kind):
    unit = operations.unit_class(kind)
    assert unit.__doc__
    assert unit.__dataclass_params__.frozen
    assert operations.parameters_class(kind).__dataclass_params__.frozen
    assert set(unit.through) <= {*unit.inlets, *unit.outlets}
    assert set(unit.recycles) <= set(unit.inlets)
