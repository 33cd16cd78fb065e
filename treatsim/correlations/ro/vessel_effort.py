"""When the march is compiled: where it pays, and never for the first answer of a command.

The compiled march (extra `fast`) is several times faster, but numba takes a good third of a second
to load, and about ten to compile, once on a machine. So the arrays march first, and what they do is
counted. Once that is as much as loading costs, the compiled march takes over: whoever waits as long
as the ticket costs never pays more than twice the least. Where nothing was kept on the disk from
before, it has to be as much as compiling costs.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable

import numpy as np

from treatsim.correlations.ro.vessel_kernel import Problem, take

# in elements of a point among many, of which the arrays do about two million a second
OF_A_CALL = 2500  # besides its points, for each element; the walks of some of them too
OF_A_POINT_ALONE = 40
TO_LOAD = 5e5
TO_COMPILE = 2e7
TRIED = 3  # points that the compiled march must get right before it is believed


class _Effort:
    """What was marched in this process, and the compiled march once it is there."""

    spent = 0.0
    next_look = TO_LOAD
    march: Callable | None = None


def compiled_march(problem: Problem, pressure, elements: int, tolerance: float, alone: Callable):
    """March by the compiled code, if that pays by now and is to be had.

    Parameters
    ----------
    problem : Problem
        What is fixed along each path. [-]
    pressure : ndarray, shape (N,)
        Feed pressure. [Pa]
    elements : int
        In series. [1]
    tolerance : float
        Largest relative error estimate of one step. [1]
    alone : callable
        Takes the same, for few points, and says what the compiled march must give. [-]

    Returns
    -------
    tuple or None
        Nodes, largest estimate and status; None: the arrays have to do it. [-]

    Validity
    --------
    Equal to the arrays within 1e-9, apart from fluxes that are nothing but rounding errors.

    Source
    ------
    definition
    """
    points = pressure.size
    _Effort.spent += elements * min(OF_A_POINT_ALONE * points, OF_A_CALL + points)
    if _Effort.march is None and _Effort.spent >= _Effort.next_look:
        some = slice(0, TRIED)
        trial = take(problem, some), pressure[some], elements, tolerance
        _Effort.march = _prepared(_Effort.spent >= TO_COMPILE, trial, alone)
        _Effort.next_look = TO_COMPILE if _Effort.spent < TO_COMPILE else np.inf
    return _Effort.march and _Effort.march(problem, pressure, elements, tolerance)


def _prepared(build: bool, trial: tuple, alone: Callable) -> Callable | None:
    """Return the compiled march if numba is there, or None; without `build` only a kept one."""
    if importlib.util.find_spec("numba") is None:
        return None
    try:
        from treatsim.correlations.ro import vessel_kept
    except ImportError:  # numba is there, but not for this NumPy
        return None

    def right(march: Callable) -> bool:
        found = march(*trial)
        return found is None or np.allclose(found[0], alone(*trial)[0], rtol=1e-6, atol=1e-12)

    return vessel_kept.prepared(build, right)
