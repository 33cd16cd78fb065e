"""Flux and density ratio at the inlet of a vessel, from a cold start."""

from __future__ import annotations

from functools import partial

from treatsim.correlations.ro.solution_line import polynomial
from treatsim.correlations.ro.vessel_kernel import TINY_FLUX, Problem, slopes

MAX_NEWTON = 60
ROUNDING = 4e-16


def first_flux(xp, p: Problem, P, rates=None):
    """Flux and density ratio at the inlet from a cold start.

    Parameters
    ----------
    xp : Arrays or Floats
        Operations. [-]
    p : Problem
        What is fixed. [-]
    P : float or ndarray
        Feed pressure, above the permeate's. [Pa]
    rates : callable, optional
        A quicker way to the slopes of this problem. [-]

    Returns
    -------
    tuple
        J and beta, to 1e-12. [m/s], [1]

    Validity
    --------
    One root exists for every pressure above the permeate's; a guarded Newton iteration finds it in
    about four evaluations from the harmonic sum of the film-free and the film-limited flux.

    Source
    ------
    definition
    """
    rates = rates or partial(slopes, xp, p)
    J, ceiling, floor = first_guess(xp, p, P)
    zero = xp.zeros(P)
    beta, low, high, done = 1.0 + zero, zero, ceiling, False
    for _ in range(MAX_NEWTON):
        state, off = (J, beta, low, high), rates(zero, zero, P, J, beta, True)[5:]
        new, turned, low, high, still = newton_step(xp, state, (ceiling, floor), off)
        # a point that is done stays as it is, so that no answer depends on the company
        J, beta, done = xp.where(done, J, new), xp.where(done, beta, turned), done | still
        if xp.all(done):
            break
    return J, beta


def newton_step(xp, state, limits, off):
    """One guarded Newton step for the flux and density ratio at the inlet.

    Parameters
    ----------
    xp : Arrays or Floats
        Operations. [-]
    state : tuple
        J, beta and the bracket of J. [m/s], [1], [m/s], [m/s]
    limits : tuple
        Flux without osmotic pressure, and what rounding leaves of a flux. [m/s], [m/s]
    off : tuple
        Newton corrections of J and beta. [m/s], [1]

    Returns
    -------
    tuple
        The next state, and whether the step after it would be below round-off.

    Validity
    --------
    As `first_flux`.

    Source
    ------
    definition
    """
    (J, beta, low, high), (ceiling, floor), (step, turn) = state, limits, off
    # a tenth of room, since F is not exact before beta is
    low, high = xp.where(step > 0, 0.9 * J, low), xp.where(step > 0, high, 1.1 * J)
    new, beta = J + step, beta + turn
    wrong = (new < low) | (new > xp.minimum(high, ceiling))
    J = xp.maximum(xp.where(wrong, 0.5 * (low + xp.minimum(high, ceiling)), new), TINY_FLUX)
    # the step after this one would be the square of it
    still = (abs(step) <= 1e-7 * J + floor) & (abs(turn) <= 1e-7)
    return J, beta, low, high, still


def first_guess(xp, p: Problem, P):
    """Flux to start from: the harmonic sum of the film-free and the film-limited flux.

    Parameters
    ----------
    xp : Arrays or Floats
        Operations. [-]
    p : Problem
        What is fixed. [-]
    P : float or ndarray
        Feed pressure, above the permeate's. [Pa]

    Returns
    -------
    tuple
        Flux; flux without osmotic pressure; what rounding leaves of a flux. [m/s], [m/s], [m/s]

    Validity
    --------
    As `first_flux`.

    Source
    ------
    definition
    """
    A, B, push = p.water_permeability, p.salt_permeability, P - p.permeate_pressure
    w = xp.minimum(p.feed_fraction + xp.zeros(P), p.fraction_max)
    s = w * polynomial(p.osmotic, xp.sqrt(w)) + 1e-12 * push
    half = 0.5 * (B + A * (s - push))
    reach = xp.sqrt(half * half + A * push * B)
    larger = abs(half) + reach
    free = xp.where(half > 0, A * push * B / larger, larger)
    limited = xp.exp(-polynomial(p.log_resistance, w)) * xp.log1p(push / s)
    return free * limited / (free + limited), A * push, ROUNDING * A * (abs(P) + s)
