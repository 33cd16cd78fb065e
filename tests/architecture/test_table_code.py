"""A stored table belongs to the code that filled it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from package import PACKAGE, imports, modules

from treatsim import kept
from treatsim.water import cache

ASK = (
    "from treatsim.water import analysis; from treatsim.water.water_table import water_table;"
    "t = water_table(analysis.of_salt('sodium_chloride', mass_fraction=0.02));"
    "print(float(t.osmotic_pressure(0.02, 298.15)))"
)


def closure(module: str) -> set[str]:
    """Return every module of the package that a module imports, directly or not."""
    found, todo = set(), {module}
    while todo:
        name = todo.pop()
        found.add(name)
        todo |= {n for n in imports(modules()[name], set(modules())) if n in modules()} - found
    return found


def test_all_that_fills_a_table_is_hashed():
    names = set(modules())
    fillers = [n for n, tree in modules().items() if "treatsim.water.cache" in imports(tree, names)]
    assert {"treatsim.water.properties", "treatsim.water.water_table"} <= set(fillers)
    hashed = {path for pattern in cache.FILLING for path in PACKAGE.glob(pattern)}
    for filler in fillers:
        for name in closure(filler) - {"treatsim", "treatsim.water"}:
            assert PACKAGE.parent / f"{name.replace('.', '/')}.py" in hashed, (filler, name)


@pytest.fixture
def copy(tmp_path):
    ignored = shutil.ignore_patterns("__pycache__")
    yield Path(shutil.copytree(PACKAGE, tmp_path / "treatsim", ignore=ignored))
    kept.fingerprint.cache_clear()


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("constants.py", "8.314462618", "8.480751870"),
        (
            "water/table_samples.py",
            "SODIUM_CHLORIDE_LARGEST = 0.20",
            "SODIUM_CHLORIDE_LARGEST = 0.21",
        ),
        ("numerics.py", "\n", "\n\n"),
    ],
)
def test_a_changed_source_text_changes_the_key(copy, file, old, new):
    before = cache.code_fingerprint(copy)
    assert before == cache.code_fingerprint()
    text = (copy / file).read_text("utf-8")
    assert old in text
    (copy / file).write_text(text.replace(old, new, 1), "utf-8")
    kept.fingerprint.cache_clear()
    assert cache.code_fingerprint(copy) != before


def test_a_module_more_or_renamed_changes_the_key(copy):
    prints = {cache.code_fingerprint(copy)}
    (copy / "water/more.py").write_text("")
    kept.fingerprint.cache_clear()
    prints.add(cache.code_fingerprint(copy))
    (copy / "water/more.py").rename(copy / "water/other.py")
    kept.fingerprint.cache_clear()
    prints.add(cache.code_fingerprint(copy))
    assert len(prints) == 3


def test_another_gas_constant_is_not_hidden_by_a_warm_cache(copy):
    """The osmotic pressure is proportional to the gas constant, so 2 % must show as 2 %."""
    environment = os.environ | {"PYTHONPATH": str(copy.parent), "PYTHONDONTWRITEBYTECODE": "1"}

    def pressure() -> float:
        done = subprocess.run(
            [sys.executable, "-c", ASK],
            cwd=copy.parent,  # the first place that is searched
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        return float(done.stdout)

    right = pressure()
    constants = copy / "constants.py"
    text = constants.read_text("utf-8")
    assert text.count("8.314462618") == 1
    constants.write_text(text.replace("8.314462618", "8.480751870"), "utf-8")
    assert pressure() / right == pytest.approx(1.02, rel=1e-6)


def test_a_test_run_has_tables_of_its_own():
    folder = kept.directory()
    assert folder.name.startswith("treatsim-tests-")
    assert folder.is_dir()
