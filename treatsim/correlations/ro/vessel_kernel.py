"""One point of a reverse-osmosis vessel: the local flux, and how the state changes along the path.

State X = (y, m, P, J, beta): y = ln(feed-side mass flow / feed mass flow), m = salt permeated per
feed mass flow, P = pressure [Pa], J = volume flux of permeate [m/s], beta = density at the membrane
over density of the permeate. Distance counts in elements. J and beta are states although two
algebraic equations fix them: differentiating those along the path leaves nothing to iterate in a
stage, and one Newton correction per step removes what drifts.

Film theory holds in mass fractions w (there the diffusion equation keeps its form at variable
density), solution-diffusion in concentrations: with E = exp(-J/k), D = (J + B - B beta) E + B beta,

    w_m = w (J + B) / D        w_p = w B beta / D
    J = A (P - P_p - pi(w_m) + pi(w_p))        beta = rho(w_m) / rho(w_p)

which never overflows, has one root J in (0, A (P - P_p)], and needs no case for feed below osmotic.
With a reflection coefficient s below 1, B is that of `reflection` at the flux and pi counts s-fold.

The same source runs on arrays and on floats: `xp` is ARRAYS or FLOATS.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.ro import reflection
from treatsim.correlations.ro.solution_line import SolutionLine, osmotic_slope_coefficients, slope
from treatsim.correlations.ro.spacer_channel import (
    SpacerChannel,
    SpacerCorrelation,
    flow_section,
    hydraulic_diameter,
)

LOG_DRY = math.log(0.02)  # the march stops removing water at 98 % of the feed
TINY_FLUX = 1e-30  # m/s; keeps a stage that overshoots finite
SALT_LEFT = 1e-3  # a stage never takes more than 99.9 % of the salt
LEAST_BETA = 0.5
FIXED = 5  # numbers of a Problem ahead of its polynomials
COEFFICIENTS = (5, 4, 5, 4, 3, 7, 7)  # of its polynomials as `solution_line` fits them, in order


class Arrays:
    """Operations of the kernel on arrays."""

    exp, sqrt, log1p, expm1 = np.exp, np.sqrt, np.log1p, np.expm1
    minimum, maximum, where = np.minimum, np.maximum, staticmethod(np.where)
    all = staticmethod(np.all)
    zeros = staticmethod(np.zeros_like)


class Floats:
    """The same on floats: a length-one array would take ten times longer."""

    exp, sqrt, log1p, expm1 = math.exp, math.sqrt, math.log1p, math.expm1
    minimum, maximum = min, max
    where = staticmethod(lambda condition, yes, no: yes if condition else no)
    all = staticmethod(bool)
    zeros = staticmethod(lambda _: 0.0)


ARRAYS, FLOATS = Arrays(), Floats()


class Problem(NamedTuple):
    """Everything fixed along a path; floats, arrays over points, or tuples of these."""

    water_permeability: Any  # A, m/(s Pa)
    salt_permeability: Any  # B, m/s
    feed_fraction: Any
    permeate_pressure: Any  # Pa
    area_per_feed: Any  # element area / feed mass flow, m2 s/kg
    log_resistance: tuple  # ln(1/k / (s/m)) at y = 0 against mass fraction
    log_resistance_slope: tuple
    log_friction: tuple  # ln(pressure lost per element / Pa) at y = 0 against mass fraction
    density: tuple
    density_slope: tuple
    osmotic: tuple  # as the membrane feels it: times the reflection coefficient
    osmotic_slope: tuple
    fraction_max: float
    transfer_exponent: float  # of the mass flow
    friction_exponent: float
    reflection: Any = None  # s; None: solution-diffusion throughout


class Local(NamedTuple):
    """Quantities at one place."""

    swell: Any  # exp(-y), feed mass flow over local mass flow
    bulk: Any  # mass fractions
    inside: Any  # the same up to the end of the line
    membrane: Any
    permeate: Any
    resistance: Any  # 1/k, s/m
    share: Any  # B beta / D = permeate / bulk
    film: Any  # E / D, s/m
    rest: Any  # (J + B - B beta) E / D
    scale: Any  # 1 / D, s/m
    salt_permeability: Any  # B at this flux, m/s
    rise: Any  # d ln B / d ln J; None: solution-diffusion


def build_problem(
    feed_mass_flow,
    feed_fraction,
    permeate_pressure,
    water_permeability,
    salt_permeability,
    channel: SpacerChannel,
    law: SpacerCorrelation,
    line: SolutionLine,
) -> Problem:
    """Collect what is fixed along a path, powers of flow folded into polynomials.

    Parameters
    ----------
    feed_mass_flow, feed_fraction, permeate_pressure : array_like
        Feed and back-pressure. [kg/s], [kg/kg], [Pa]
    water_permeability, salt_permeability : array_like
        A and B. [m/(s Pa)], [m/s]
    channel : SpacerChannel
        Geometry of one element. [-]
    law : SpacerCorrelation
        Mass transfer and friction. [-]
    line : SolutionLine
        Water at its temperature. [-]

    Returns
    -------
    Problem
        Input of the kernel. [-]

    Validity
    --------
    Checked by the caller.

    Source
    ------
    definition
    """
    diameter = hydraulic_diameter(channel.height, channel.porosity)
    mass_flux = feed_mass_flow / flow_section(channel)
    b, c, e = law.reynolds_exponent, law.schmidt_exponent, law.friction_exponent
    entrance = (diameter / channel.length) ** law.entrance_exponent
    transfer = np.log(law.sherwood_factor * entrance / diameter * (mass_flux * diameter) ** b)
    loss = channel.length * law.friction_factor / (2 * diameter) * mass_flux**2
    friction = np.log(loss * (mass_flux * diameter) ** e)
    log_r = _blend(
        ((b - c), line.log_viscosity), ((c - 1), line.log_diffusivity), (c, line.log_density)
    )
    log_f = _blend((-e, line.log_viscosity), (-1.0, line.log_density))
    return Problem(
        water_permeability,
        salt_permeability,
        feed_fraction,
        permeate_pressure,
        channel.area / feed_mass_flow,
        (log_r[0] - transfer, *log_r[1:]),
        slope(log_r),
        (friction + log_f[0], *log_f[1:]),
        line.density,
        slope(line.density),
        line.osmotic,
        osmotic_slope_coefficients(line),
        line.fraction_max,
        b,
        2 + e,
    )


def _blend(*terms) -> tuple:
    """Weighted sum of polynomials of one degree."""
    weight, coefficients = terms[0]
    total = [weight * value for value in coefficients]
    for weight, coefficients in terms[1:]:
        total = [a + weight * value for a, value in zip(total, coefficients, strict=True)]
    return tuple(total)


def take(problem: Problem, index) -> Problem:
    """Pick operating points.

    Parameters
    ----------
    problem : Problem
        Of many points. [-]
    index : int, slice or ndarray
        Which; an int gives a problem of floats. [-]

    Returns
    -------
    Problem
        Of the chosen points. [-]

    Validity
    --------
    Any index into the points.

    Source
    ------
    definition
    """

    def pick(value):
        if type(value) is float:  # most are, and all of a point alone
            return value
        if value is None or isinstance(value, tuple):
            return value and tuple(pick(item) for item in value)
        if isinstance(value, np.ndarray) and value.ndim:
            value = value[index]
        # plain floats: NumPy's own scalars are three times slower
        return float(value) if isinstance(index, int) else value

    return Problem(*(pick(value) for value in problem))


def padded(problem: Problem) -> list[tuple] | None:
    """Polynomials of a problem, filled up with zeros to the degrees of COEFFICIENTS.

    Parameters
    ----------
    problem : Problem
        Of one point, or of many. [-]

    Returns
    -------
    list of tuple, or None
        None if one has a higher degree, or the membrane a reflection coefficient: then only the
        kernel itself will do. [-]

    Validity
    --------
    Any problem.

    Source
    ------
    definition
    """
    found: Any = problem[FIXED : FIXED + len(COEFFICIENTS)]
    if problem.reflection is not None:
        return None
    if any(len(item) > room for item, room in zip(found, COEFFICIENTS, strict=True)):
        return None
    return [
        (*item, *[0.0] * (room - len(item))) for item, room in zip(found, COEFFICIENTS, strict=True)
    ]


def _horner(coefficients, x):
    """Polynomial, lowest power first; in place, since every call makes its own array."""
    value = x * coefficients[-1]
    value += coefficients[-2]
    for coefficient in coefficients[-3::-1]:
        value *= x
        value += coefficient
    return value


def local(xp, p: Problem, y, m, J, beta) -> Local:
    """Mass fractions at one place for a given flux.

    Parameters
    ----------
    xp : Arrays or Floats
        Operations. [-]
    p : Problem
        What is fixed. [-]
    y, m, J, beta : float or ndarray
        State. [1], [kg/kg], [m/s], [1]

    Returns
    -------
    Local
        Same kind as the state. [-]

    Validity
    --------
    Finite for LOG_DRY <= y <= 0, J > 0 and any m; salt left is kept above SALT_LEFT of the feed.

    Source
    ------
    film theory; spiegler_kedem_1966; definition
    """
    B, w0, law = p.salt_permeability, p.feed_fraction, p.reflection
    B, rise = (B, None) if law is None else reflection.permeability_at(xp, B, law, J)
    swell = xp.exp(-y)
    w = xp.maximum(w0 - m, SALT_LEFT * w0) * swell
    inside = xp.minimum(w, p.fraction_max)
    resistance = xp.exp(_horner(p.log_resistance, inside) - p.transfer_exponent * y)
    film = xp.exp(-J * resistance)
    leak, total = B * beta, J + B
    rest = (total - leak) * film
    scale = 1 / (rest + leak)
    share = leak * scale
    w_m, w_p = w * total * scale, w * share
    film, rest = film * scale, rest * scale
    return Local(swell, w, inside, w_m, w_p, resistance, share, film, rest, scale, B, rise)


def slopes(xp, p: Problem, y, m, P, J, beta, correct: bool = False):
    """Slopes of the state along the path, and its drift if asked.

    Parameters
    ----------
    xp : Arrays or Floats
        Operations. [-]
    p : Problem
        What is fixed. [-]
    y, m, P, J, beta : float or ndarray
        State. [1], [kg/kg], [Pa], [m/s], [1]
    correct : bool
        Also give the Newton corrections of J and beta. [-]

    Returns
    -------
    tuple
        dy, dm, dP, dJ, dbeta; then the corrections of J and beta. [per element], [m/s], [1]

    Validity
    --------
    As `local`; y, J and beta are moved inside first.

    Source
    ------
    film theory; spiegler_kedem_1966; definition
    """
    A = p.water_permeability
    y, J = xp.minimum(xp.maximum(y, LOG_DRY), 0.0), xp.maximum(J, TINY_FLUX)
    beta = xp.maximum(beta, LEAST_BETA)
    at = local(xp, p, y, m, J, beta)
    w_m, w_p, share = at.membrane, at.permeate, at.share
    inside_m, inside_p = xp.minimum(w_m, p.fraction_max), xp.minimum(w_p, p.fraction_max)
    rise_m, rise_p = _horner(p.density_slope, inside_m), _horner(p.density_slope, inside_p)
    rho_p = _horner(p.density, inside_p) + rise_p * (w_p - inside_p)
    removal = p.area_per_feed * J * rho_p
    dy, dm = -removal * at.swell, removal * w_p
    dP = -xp.exp(p.friction_exponent * y + _horner(p.log_friction, at.inside))
    w_rel = dy * (share - 1)  # relative slopes of the mass fraction and of 1/k
    r_rel = (
        _horner(p.log_resistance_slope, at.inside) * (at.bulk * w_rel) - p.transfer_exponent * dy
    )
    # how w_m and w_p answer, relatively: both to the place (phi), w_p to the flux (psi), w_m to
    # the flux (psi + own), and both to beta, whose weight in D is q
    phi = w_rel + at.rest * (J * at.resistance) * r_rel
    psi = at.rest * at.resistance - at.film
    own = 1 / (J + at.salt_permeability)
    if at.rise is not None:
        psi, own = reflection.answers(at, J, beta, psi, own)
    q = share - share * at.film / at.scale
    bend_p = w_p * rise_p / rho_p
    bend_m = w_m * rise_m / (beta * rho_p)
    bend = bend_m - bend_p
    damping = 1 / (q * bend + bend_p + 1)
    b_x = bend * phi * damping
    b_J = (bend * psi + bend_m * own) * damping
    root_m, root_p = xp.sqrt(inside_m), xp.sqrt(inside_p)
    grad_m, grad_p = _horner(p.osmotic_slope, root_m), _horner(p.osmotic_slope, root_p)
    steep_m, steep_p = grad_m * w_m, grad_p * w_p
    steep = steep_m - steep_p
    steep_b = q * steep + steep_p
    F_J = 1 + A * (steep * psi + steep_m * own - steep_b * b_J)
    dJ = A * (dP - phi * steep + steep_b * b_x) / F_J
    rates = (dy, dm, dP, dJ, beta * (b_x + b_J * dJ))
    if not correct:
        return (*rates, 0.0, 0.0)
    rho_m = _horner(p.density, inside_m) + rise_m * (w_m - inside_m)
    b_off = (rho_m / (beta * rho_p) - 1) * damping
    pi_m = inside_m * _horner(p.osmotic, root_m) + grad_m * (w_m - inside_m)
    pi_p = inside_p * _horner(p.osmotic, root_p) + grad_p * (w_p - inside_p)
    F = J - A * (P - p.permeate_pressure - pi_m + pi_p + steep_b * b_off)
    J_off = xp.minimum(xp.maximum(-F / F_J, -0.8 * J), A * (P - p.permeate_pressure))
    return (*rates, J_off, beta * (b_off + b_J * J_off))
