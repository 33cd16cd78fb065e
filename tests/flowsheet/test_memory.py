"""Memory of a large sweep: it is solved in pieces, so that it grows by its table only."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

CASE = Path(__file__).parents[2] / "cases" / "sea.toml"
PROGRAM = """
import resource, sys
from treatsim import cases
from treatsim.studies.sweep import sweep
side = int(sys.argv[2])
table = sweep(cases.load(sys.argv[1]), {
    "high_pressure_pump.outlet_pressure": f"45 bar:65 bar:{side}",
    "water.temperature": f"8 degC:32 degC:{side}",
})
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
MILLION, LIMIT = 1e6, 1.5e6  # points, kB


def peak(side: int) -> float:
    """Return the peak of a sweep of side x side points in a process of its own. [kB]"""
    words = [sys.executable, "-c", PROGRAM, str(CASE), str(side)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env={**os.environ})
    return float(done.stdout)


def test_a_million_points_fit():
    """Two sweeps of several pieces each; what a point adds is carried on to a million."""
    few, many = 130, 230
    low, high = peak(few), peak(many)
    each = (high - low) / (many**2 - few**2)
    assert high + each * (MILLION - many**2) < LIMIT
