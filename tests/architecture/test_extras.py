"""What the tests import is what pyproject.toml installs for them, and no more."""

from __future__ import annotations

import ast
import re
import sys
import tomllib

from package import ROOT, imports

TESTS = sorted((ROOT / "tests").rglob("*.py"))
OURS = {path.stem for path in TESTS} | {path.parent.name for path in TESTS} | {"treatsim"}
OF_THE_COMMAND = {"pytest-xdist"}  # the README runs the tests on every core
OF_UNCERTAINTY = {"SALib"}  # reached through the command
OF_PAGE = {"bokeh"}  # reached through the command
OF_FAST = {"numba"}  # reached through the march
IMPORTED_AS = {"PIL": "pillow", "xdist": "pytest-xdist"}  # name in an import -> name of the package
OF_TABLES = {"pandas", "pyarrow", "openpyxl", "xarray"}  # reached through sweep files


def names(requirements) -> set[str]:
    return {re.match(r"[\w.-]+", text)[0] for text in requirements}


def test_imports_of_the_tests_are_declared_and_used():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = {key: names(value) for key, value in project["optional-dependencies"].items()}
    found = set()
    for path in TESTS:
        found |= {name.split(".")[0] for name in imports(ast.parse(path.read_text("utf-8")), set())}
    foreign = found - set(sys.stdlib_module_names) - OURS
    foreign = {IMPORTED_AS.get(name, name) for name in foreign}
    assert foreign <= names(project["dependencies"]) | extras["test"]
    known = OF_TABLES | OF_PAGE | OF_UNCERTAINTY | OF_THE_COMMAND | OF_FAST
    assert extras["test"] <= foreign | known
    assert extras["tables"] == OF_TABLES
    assert extras["uncertainty"] == OF_UNCERTAINTY
    assert extras["fast"] == OF_FAST
