"""Help answers at once: it loads nothing heavy."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from treatsim import operations

HEAVY = (
    "numpy",
    "scipy",
    "CoolProp",
    "pint",
    "pandas",
    "xarray",
    "matplotlib",
    "rich",
    "gsw",
    "phreeqpython",
    "argcomplete",
)
PROBE = """
import sys
from treatsim import cli
try:
    cli.main({arguments!r})
except SystemExit as end:
    assert not end.code, end.code
print("LOADED", *[name for name in {heavy!r} if name in sys.modules])
"""


@pytest.mark.parametrize(
    "arguments",
    [["--help"], ["--version"], ["solve", "--help"], ["sources", "cfr_141_720"]],
    ids=" ".join,
)
def test_nothing_heavy_is_loaded(arguments):
    code = PROBE.format(arguments=arguments, heavy=HEAVY)
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1].strip() == "LOADED"


@pytest.mark.parametrize("name", ["", *operations.kinds(), "water", "health", "hold", "analytes"])
def test_describe_waits_for_arrays_only(name):
    code = PROBE.format(arguments=["describe", *filter(None, [name])], heavy=HEAVY)
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.splitlines()[-1].split() in (["LOADED"], ["LOADED", "numpy"])


@pytest.mark.parametrize("command", ["describe", "solve"])
def test_a_case_in_everyday_units_waits_for_no_unit_library(command, tmp_path):
    cases = Path(__file__).parents[2] / "cases"
    river = str(shutil.copy(cases / "river.toml", tmp_path))  # no description of it is kept
    code = PROBE.format(arguments=[command, river], heavy=("pint",)).replace("not end.code", "True")
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    assert done.stdout.splitlines()[-1].strip() == "LOADED"


def test_the_package_itself_loads_nothing_heavy():
    code = f"import sys, treatsim; dir(treatsim); assert not set({HEAVY!r}) & set(sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
