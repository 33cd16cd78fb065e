"""The compiled march, kept on the disk between runs and believed only after a trial.

Loaded only where it pays (`vessel_effort`), and only if the extra `fast` (numba) is there. Nothing
here may make a run fail: what cannot be kept is compiled for this process alone.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path

import llvmlite.binding as llvm
import numba
import numpy as np

from treatsim import kept
from treatsim.correlations.ro.vessel_compiled import drive
from treatsim.correlations.ro.vessel_kernel import Problem
from treatsim.correlations.ro.vessel_lanes import packed

CODE = ("correlations/ro/*.py",)  # of what is compiled


def prepared(build: bool, right: Callable) -> Callable | None:
    """Return the compiled march, kept from before or, with `build`, compiled now.

    Parameters
    ----------
    build : bool
        Compile where none was kept; it takes seconds. [-]
    right : callable
        Takes the march and says whether its answer to a trial is right. [-]

    Returns
    -------
    callable or None
        March of a problem, a pressure, a number of elements and a tolerance. [-]

    Validity
    --------
    Never raises: a kept one that is damaged or wrong is thrown away, and one that can't be kept
    is compiled for this process alone.

    Source
    ------
    definition
    """
    folder = _folder()
    before = list(folder.rglob("*.nbi")) if folder else []
    if numba.config.DISABLE_JIT or not (before or build):
        return None
    for place in (folder, None) if folder else (None,):
        with suppress(Exception):  # what a damaged file or a full disk raises is beyond listing
            march = partial(_march, _compiled(place))
            if right(march):
                return march
        with suppress(OSError):
            shutil.rmtree(place) if place else None
        if not build:
            break
    return None


def _folder() -> Path | None:
    """Where a compiled march is kept: one folder for each code, numba, Python and processor."""
    parent = kept.directory()
    if parent is None:
        return None
    processor = numba.config.CPU_NAME, llvm.get_host_cpu_name(), llvm.get_host_cpu_features()
    key = kept.fingerprint(CODE), numba.__version__, sys.version, *map(str, processor)
    folder = parent / f"march-{hashlib.sha256(repr(key).encode()).hexdigest()[:16]}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return folder if os.access(folder, os.W_OK) else None


def _compiled(folder: Path | None) -> Callable:
    """Compile `drive` when it is first called, and keep it in a folder if there is one."""
    if folder is None:
        return numba.njit(error_model="numpy", nogil=True)(drive)
    before, numba.config.CACHE_DIR = numba.config.CACHE_DIR, str(folder)
    try:
        return numba.njit(error_model="numpy", nogil=True, cache=True)(drive)
    finally:
        numba.config.CACHE_DIR = before


def _march(run: Callable, problem: Problem, pressure, elements: int, tolerance: float):
    """Nodes, largest estimate and status, or None if the lanes have no room for the problem."""
    fixed = packed(problem, pressure.size)
    if fixed is None:
        return None
    nodes = np.empty((elements + 1, 5, pressure.size))
    ends = float(problem.fraction_max), problem.transfer_exponent, problem.friction_exponent
    pressure = np.ascontiguousarray(pressure, float)
    worst, status = run(fixed, pressure, ends, float(tolerance), nodes)
    return nodes, worst, status
