"""A membrane that lets part of the salt through with the water: the law of Spiegler and Kedem.

    J = A (P - P_p - s (pi_m - pi_p))        1 - c_p / c_m = s (1 - F) / (1 - s F)

with F = exp(-J (1 - s) / B) and the reflection coefficient s. Solved for c_p / c_m it reads as
solution-diffusion does, c_p / c_m = B_e / (J + B_e), with a permeability that rises with the flux,

    B_e = (B / s) x / (1 - exp(-x)),        x = J (1 - s) / B,

so that one march serves both laws: s = 1 gives B_e = B, and at high flux c_p / c_m tends to 1 - s.
"""

from __future__ import annotations

import numpy as np

LEAST = 1e-30  # of x, where B_e = B / s and its slope is 0 to the last digit
SERIES = 1e-3  # of x, below which the slope is summed: its closed form would lose digits


def with_reflection(problem, reflection):
    """Return a path whose membrane has a reflection coefficient.

    Parameters
    ----------
    problem : Problem
        Of solution-diffusion. [-]
    reflection : array_like
        s, over the points. [1]

    Returns
    -------
    Problem
        The same one where s = 1 everywhere. [-]

    Validity
    --------
    Checked by the caller.

    Source
    ------
    spiegler_kedem_1966
    """
    if np.all(np.equal(reflection, 1)):
        return problem
    felt = {
        name: tuple(reflection * c for c in getattr(problem, name))
        for name in ("osmotic", "osmotic_slope")
    }
    return problem._replace(**felt, reflection=reflection)


def permeability_at(xp, salt_permeability, reflection, J):
    """Salt permeability as solution-diffusion would have it at a flux, and its slope.

    Parameters
    ----------
    xp : Arrays or Floats
        Operations of the kernel. [-]
    salt_permeability, reflection : float or ndarray
        B and s. [m/s], [1]
    J : float or ndarray
        Flux. [m/s]

    Returns
    -------
    tuple
        B_e, and d ln B_e / d ln J. [m/s], [1]

    Validity
    --------
    J > 0, B > 0 and 0 < s <= 1; finite throughout.

    Source
    ------
    spiegler_kedem_1966
    """
    x = xp.maximum(J * (1 - reflection) / salt_permeability, LEAST)
    lost = -xp.expm1(-x)
    ratio = x / lost
    slope = xp.where(x < SERIES, x * (0.5 - x / 12), 1 - ratio * (1 - lost))
    return salt_permeability / reflection * ratio, slope


def answers(at, J, beta, psi, own):
    """Relative answers of the mass fractions to the flux, where B rises with it.

    Parameters
    ----------
    at : Local
        The place. [-]
    J, beta : float or ndarray
        State there. [m/s], [1]
    psi, own : float or ndarray
        Answer of the permeate, and of the membrane beyond it, at constant B. [s/m]

    Returns
    -------
    tuple
        The two with B that rises. [s/m]

    Validity
    --------
    As `permeability_at`.

    Source
    ------
    definition
    """
    relative = at.rise / J
    steep = relative * at.salt_permeability
    through_film = steep * (at.film * (1 - beta) + beta * at.scale)
    return psi - through_film + relative, own * (1 + steep) - relative
