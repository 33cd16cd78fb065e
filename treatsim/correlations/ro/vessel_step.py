"""One Dormand-Prince 5(4) step of the march: coefficients, error estimate, and what ends a path."""

from __future__ import annotations

import math

from treatsim.correlations.ro.vessel_kernel import LOG_DRY, TINY_FLUX

OK = 0
FEED_BELOW_OSMOTIC = 1
DRY_OUT = 2
CONCENTRATE_BELOW_PERMEATE = 4
NOT_CONVERGED = 8
NO_DRIVING_PRESSURE = 16
BEYOND_LINE = 32

MAX_STEPS = 600
LEAST_PUSH = 1e-6  # Pa at the inlet; where there is less, a status says so
SHORT = 1e-4  # elements; a step this short may end at a limit whatever its estimate
HALF, ONCE, TWICE, FOURFOLD = ((factor / 0.9) ** 5 for factor in (0.5, 1.0, 2.0, 4.0))

A2 = (1 / 5,)
A3 = (3 / 40, 9 / 40)
A4 = (44 / 45, -56 / 15, 32 / 9)
A5 = (19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729)
A6 = (9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656)
ORDER_5 = (35 / 384, 0.0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84)
ERROR = (71 / 57600, 0.0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40)


def estimated(xp, h, error, new, old_y):
    """Largest relative error of recovery, salt, pressure and (a tenth of) flux.

    Parameters
    ----------
    xp : Arrays or Floats
        Operations. [-]
    h : float or ndarray
        Length of the step. [elements]
    error : tuple or ndarray
        Rates of the error of y, m, P, J and beta. [per element]
    new : tuple or ndarray
        State the step leads to. [-]
    old_y : float or ndarray
        Logarithm of the flow it starts from. [1]

    Returns
    -------
    float or ndarray
        Infinite where the new state is unsound. [1]

    Validity
    --------
    Any state; where water came back, or nearly all is gone, it is unsound.

    Source
    ------
    dormand_prince_1980
    """
    y, m, P, J, beta = new
    worst = xp.maximum(abs(error[0]) / (abs(y) + 1e-300), abs(error[1]) / (abs(m) + 1e-300))
    worst = xp.maximum(worst, abs(error[2]) / (abs(P) + 1e-300))
    loose = xp.maximum(abs(error[3]) / (abs(J) + TINY_FLUX), abs(error[4]) / abs(beta))
    worst = h * xp.maximum(worst, 0.1 * loose)
    sound = (y <= old_y) & (J > 0) & (y >= LOG_DRY) & (worst < math.inf)
    return xp.where(sound, worst, math.inf)


def growth(xp, estimate, tolerance: float):
    """Factor to the next step: a power of two, so that a rounding error moves no place.

    Parameters
    ----------
    xp : Arrays or Floats
        Operations. [-]
    estimate : float or ndarray
        Relative error of this step. [1]
    tolerance : float
        Largest allowed. [1]

    Returns
    -------
    float or ndarray
        1/4, 1/2, 1, 2 or 4. [1]

    Validity
    --------
    The fifth root of the room left, with a tenth of reserve, rounded down.

    Source
    ------
    dormand_prince_1980
    """
    room = tolerance / (estimate + 1e-6 * tolerance)
    longer = xp.where(room >= FOURFOLD, 4.0, xp.where(room >= TWICE, 2.0, 1.0))
    return xp.where(room >= ONCE, longer, xp.where(room >= HALF, 0.5, 0.25))


def limit(dry) -> int:
    """Status of a path that came to an end.

    Parameters
    ----------
    dry : bool
        Nearly all water is gone; else the pressure is. [-]

    Returns
    -------
    int
        A bit. [1]

    Validity
    --------
    Any path that ended.

    Source
    ------
    definition
    """
    return DRY_OUT if dry else CONCENTRATE_BELOW_PERMEATE
