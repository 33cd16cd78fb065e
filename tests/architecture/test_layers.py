"""Imports run down one list; every module stands on it."""

from __future__ import annotations

import ast

from package import imports, modules, run_at_import, texts

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
        "case_names",
        "case_settings",
        "case_slips",
        "case_view",
        "building",
    ),
    ("report",),
    ("commands", "cli_options", "console", "completion"),
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
NAMES = set(texts())


def layer(module: str) -> int:
    """Return the level of a module; the package itself holds only its version."""
    parts = module.split(".")
    return -1 if len(parts) == 1 else LEVEL[parts[1]]


def ours(module: str) -> set[str]:
    return {name for name in imports(modules()[module], NAMES) if name.split(".")[0] == "treatsim"}


def at_import(module: str) -> set[str]:
    """What a module imports when it is loaded itself."""
    nodes = run_at_import(modules()[module])
    links = [node for node in nodes if isinstance(node, ast.Import | ast.ImportFrom)]
    return {name for node in links for name in imports(node, NAMES)}


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
    assert not {name for name in at_import("treatsim") if name.split(".")[0] == "treatsim"}


def test_imports_run_down():
    links = [(module, name) for module in NAMES - {"treatsim"} for name in ours(module)]
    unknown = [f"{module} imports {name}" for module, name in links if name not in NAMES]
    assert not unknown, "which do not exist"
    upward = [f"{module} imports {name}" for module, name in links if layer(name) > layer(module)]
    assert not upward, "which lie above"


def test_no_cycles():
    todo = {module: ours(module) - {module, "treatsim"} for module in NAMES - {"treatsim"}}
    while free := [m for m, needs in todo.items() if not needs & set(todo)]:
        for module in free:
            del todo[module]
    assert not todo, f"these import each other in a circle: {sorted(todo)}"


def test_costly_libraries_are_loaded_late():
    early, unknown = {}, {}
    for module, tree in modules().items():
        early[module] = foreign(run_at_import(tree)) & LATE
        known = DECLARED | (COMPILER if module in COMPILED else set())
        unknown[module] = foreign(ast.walk(tree)) - known
    assert not {module: found for module, found in early.items() if found}
    assert not {m: f for m, f in unknown.items() if f}, "libraries that are no dependency"


def test_what_needs_the_compiler_is_loaded_late():
    for module in NAMES - COMPILED:
        assert not at_import(module) & COMPILED, module


def test_the_command_line_loads_no_array_library_at_import():
    assert "numpy" not in foreign(run_at_import(modules()["treatsim.cli"]))
