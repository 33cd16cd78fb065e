"""Imports run down one list; every module stands on it."""

from __future__ import annotations

import ast

import pytest
from package import imports, modules, run_at_import

LAYERS = (
    (
        "arrays",
        "constants",
        "everyday",
        "quantities",
        "spellings",
        "written_numbers",
        "spreads",
        "sources",
        "errors",
        "kept",
        "ranges",
        "numerics",
        "lone_root",
        "normal",
        "amounts",
        "notebook",
    ),
    ("water",),
    ("correlations",),
    ("catalogue",),
    ("operations", "case_text", "case_hints", "given", "examples"),
    ("power",),
    ("flowsheet",),
    ("safety",),
    ("running",),
    ("studies",),
    (
        "cases",
        "case_files",
        "case_sections",
        "case_report",
        "case_checks",
        "case_meant",
        "case_slips",
        "building",
    ),
    ("report",),
    ("commands", "cli_options", "console"),
    ("cli",),
    ("__main__",),
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
LATE = {  # costly to load: only inside the function that needs them
    "scipy",
    "CoolProp",
    "gsw",
    "phreeqpython",
    "pint",
    "rich",
    "matplotlib",
    "pandas",
    "xarray",
    "pyarrow",
    "openpyxl",
    "argcomplete",
    "pvlib",
    "SALib",
    "distributed",
    "reportlab",
    "fontTools",
    "PIL",
    "bokeh",
}
COMPILER = {"numba", "llvmlite"}  # only in what is itself loaded late
COMPILED = {f"treatsim.correlations.ro.vessel_{name}" for name in ("compiled", "kept", "lanes")}
DECLARED = LATE | {"numpy"}
NAMES = set(modules())


def layer(module: str) -> int:
    """Return the level of a module; the package itself holds only its version."""
    parts = module.split(".")
    return -1 if len(parts) == 1 else LEVEL[parts[1]]


def ours(module: str) -> set[str]:
    return {name for name in imports(modules()[module], NAMES) if name.split(".")[0] == "treatsim"}


def foreign(nodes) -> set[str]:
    import sys

    found = set()
    for node in nodes:
        if isinstance(node, ast.Import | ast.ImportFrom):
            found |= {name.split(".")[0] for name in imports(node, NAMES)}
    return found - set(sys.stdlib_module_names) - {"treatsim"}


def test_every_module_stands_in_a_layer():
    assert len(NAMES) > 30
    homeless = [m for m in NAMES if m != "treatsim" and m.split(".")[1] not in LEVEL]
    assert not homeless, f"in no layer: {homeless}"


def test_the_package_itself_loads_nothing_of_its_own():
    """Its few names for programs are looked up when they are asked for."""
    nodes = run_at_import(modules()["treatsim"])
    loaded = {
        n
        for node in nodes
        if isinstance(node, ast.Import | ast.ImportFrom)
        for n in imports(node, NAMES)
    }
    assert not {name for name in loaded if name.split(".")[0] == "treatsim"}


@pytest.mark.parametrize("module", sorted(NAMES - {"treatsim"}))
def test_imports_run_down(module):
    upward = [name for name in ours(module) if layer(name) > layer(module)]
    assert not upward, f"{module} imports {upward}, which lie above it"
    unknown = [name for name in ours(module) if name not in NAMES]
    assert not unknown, f"{module} imports {unknown}, which do not exist"


def test_no_cycles():
    todo = {module: ours(module) - {module, "treatsim"} for module in NAMES - {"treatsim"}}
    while free := [m for m, needs in todo.items() if not needs & set(todo)]:
        for module in free:
            del todo[module]
    assert not todo, f"these import each other in a circle: {sorted(todo)}"


@pytest.mark.parametrize("module", sorted(NAMES))
def test_costly_libraries_are_loaded_late(module):
    tree = modules()[module]
    assert not foreign(run_at_import(tree)) & LATE
    known = DECLARED | (COMPILER if module in COMPILED else set())
    assert not foreign(ast.walk(tree)) - known, "a library that is not a dependency"


@pytest.mark.parametrize("module", sorted(NAMES - COMPILED))
def test_what_needs_the_compiler_is_loaded_late(module):
    nodes = run_at_import(modules()[module])
    loaded = set()
    for node in nodes:
        if isinstance(node, ast.Import | ast.ImportFrom):
            loaded |= imports(node, NAMES)
    assert not loaded & COMPILED


def test_the_command_line_loads_no_array_library_at_import():
    assert "numpy" not in foreign(run_at_import(modules()["treatsim.cli"]))
