"""The kernel compiled, and where its numbers lie: LANES points abreast in one buffer.

Loaded only with `vessel_compiled`. The functions of the kernel are compiled as they stand, with
operations of their own. The processor takes several points at once because every number is a row
of LANES entries at a constant place in one buffer, so that the compiler sees that no row overlaps
another, because no branch stands in a loop over lanes, and because the exponential is a polynomial
instead of a call.
"""

from __future__ import annotations

import itertools
import math
import types
from functools import partial

import numba
import numpy as np

from treatsim.correlations.ro import solution_line, vessel_inlet, vessel_kernel, vessel_step
from treatsim.correlations.ro.vessel_kernel import COEFFICIENTS, FIXED, Problem, padded

LANES = 64
STATE = FIXED + sum(COEFFICIENTS)  # rows of the buffer: what is fixed, then the state at a place
TRIAL = STATE + 5  # state at a stage
RATES = TRIAL + 5  # slopes of the seven stages
LAST_RATES = RATES + 30
OFF = RATES + 35  # corrections of flux and density ratio
SPARE = OFF + 2  # slopes before they are put in their place; error of a step
STEP = SPARE + 5  # length of a step, its estimate, and room for the search at the inlet
ESTIMATE, LOW, HIGH, CEILING, FLOOR, DONE = range(STEP + 1, STEP + 7)
ROWS = DONE + 1

ROUND = 1.5 * 2.0**52  # added and taken away it rounds to a whole number
LOG2_HIGH, LOG2_LOW = 6.93147180369123816490e-01, 1.90821492927058770002e-10
C0, C1, C2, C3, C4, C5, C6, C7, C8, C9, C10, C11, C12, C13 = (
    1 / math.factorial(n) for n in range(14)
)
LEAST_EXPONENT, LARGEST_EXPONENT = -708.0, 709.0

# products and sums may become one instruction; nothing is reordered, NaN and infinity stay
compiled = partial(numba.njit, error_model="numpy", fastmath={"contract"}, no_cfunc_wrapper=True)
inside = partial(compiled, forceinline=True, no_cpython_wrapper=True)


@inside
def _exp(x):
    """Exponential by 2**n exp(r), |r| <= ln(2) / 2, to 4e-16; keeps NaN."""
    x = LEAST_EXPONENT if x < LEAST_EXPONENT else x
    x = LARGEST_EXPONENT if x > LARGEST_EXPONENT else x
    shifted = x * 1.4426950408889634 + ROUND
    whole = shifted - ROUND
    r = (x - whole * LOG2_HIGH) - whole * LOG2_LOW
    # in pairs: the loop waits for results, not for units that could work on them
    r2 = r * r
    r4 = r2 * r2
    low = (C0 + C1 * r) + (C2 + C3 * r) * r2
    middle = (C4 + C5 * r) + (C6 + C7 * r) * r2
    high = (C8 + C9 * r) + (C10 + C11 * r) * r2
    value = low + r4 * (middle + r4 * (high + r4 * (C12 + C13 * r)))
    bits = np.float64(value).view(np.int64) + (np.float64(shifted).view(np.int64) << 52)
    return np.int64(bits).view(np.float64)


@inside
def _minimum(x, y):
    return x if (x < y) | (x != x) else y  # NaN stays, as in NumPy


@inside
def _maximum(x, y):
    return x if (x > y) | (x != x) else y


@inside
def _where(condition, yes, no):
    return yes if condition else no


@inside
def _zeros(_):
    return 0.0


def _operations() -> types.ModuleType:
    """Gather the operations in a module, since compiled code takes names from nothing else."""
    found = types.ModuleType("operations")
    found.__dict__.update(
        exp=_exp,
        sqrt=np.sqrt,
        log1p=math.log1p,
        minimum=_minimum,
        maximum=_maximum,
        where=_where,
        zeros=_zeros,
    )
    return found


OPERATIONS = _operations()


def _twin(function, **known):
    """Compile a function of the kernel as it stands; `known` are the compiled ones it calls."""
    names = {**function.__globals__, **known}
    code, name = function.__code__, function.__name__
    return inside(types.FunctionType(code, names, name, function.__defaults__))


def _no_reflection() -> types.ModuleType:
    """Stand for the module `reflection`: solution-diffusion is what is compiled."""
    found = types.ModuleType("reflection")
    found.__dict__.update(
        permeability_at=inside(lambda xp, salt_permeability, law, J: (salt_permeability, None)),
        answers=inside(lambda at, J, beta, psi, own: (psi, own)),
    )
    return found


_LAW = _no_reflection()
_horner = _twin(vessel_kernel._horner)
_local = _twin(vessel_kernel.local, _horner=_horner, reflection=_LAW)
slopes = _twin(vessel_kernel.slopes, _horner=_horner, local=_local, reflection=_LAW)
newton_step = _twin(vessel_inlet.newton_step)
_polynomial = _twin(solution_line.polynomial)
first_guess = _twin(vessel_inlet.first_guess, polynomial=_polynomial)
estimated = _twin(vessel_step.estimated)
growth = _twin(vessel_step.growth)


@inside
def problem_of(b, i, ends):
    """Gather what is fixed along the path of a lane.

    Parameters
    ----------
    b : ndarray
        The buffer. [various]
    i : int
        The lane. [1]
    ends : tuple
        The numbers that all points share. [kg/kg], [1], [1]

    Returns
    -------
    Problem
        Of floats. [-]

    Validity
    --------
    In compiled code.

    Source
    ------
    definition
    """
    L = LANES
    r = FIXED * L + i
    return Problem(
        b[i], b[L + i], b[2 * L + i], b[3 * L + i], b[4 * L + i],
        (b[r], b[r + L], b[r + 2 * L], b[r + 3 * L], b[r + 4 * L]),
        (b[r + 5 * L], b[r + 6 * L], b[r + 7 * L], b[r + 8 * L]),
        (b[r + 9 * L], b[r + 10 * L], b[r + 11 * L], b[r + 12 * L], b[r + 13 * L]),
        (b[r + 14 * L], b[r + 15 * L], b[r + 16 * L], b[r + 17 * L]),
        (b[r + 18 * L], b[r + 19 * L], b[r + 20 * L]),
        (b[r + 21 * L], b[r + 22 * L], b[r + 23 * L], b[r + 24 * L], b[r + 25 * L],
         b[r + 26 * L], b[r + 27 * L]),
        (b[r + 28 * L], b[r + 29 * L], b[r + 30 * L], b[r + 31 * L], b[r + 32 * L],
         b[r + 33 * L], b[r + 34 * L]),
        ends[0], ends[1], ends[2], None,
    )  # fmt: skip


def packed(problem: Problem, points: int) -> np.ndarray | None:
    """Lay out what is fixed of each point, with zeros for polynomials of lower degree.

    Parameters
    ----------
    problem : Problem
        Of many points, or of one. [-]
    points : int
        Their number. [1]

    Returns
    -------
    ndarray, shape (STATE, points), or None
        None if the lanes have no room for the coefficients, or the membrane reflects. [various]

    Validity
    --------
    Any problem.

    Source
    ------
    definition
    """
    polynomials = padded(problem)
    if polynomials is None:
        return None
    values = [*problem[:FIXED], *itertools.chain(*polynomials)]
    fixed = np.empty((STATE, points))
    for row, value in zip(fixed, values, strict=True):
        row[...] = value
    return fixed
