"""One water at one temperature, along its mass fraction of salt: smooth, fast, with slopes."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np

OSMOTIC_DEGREE = 6  # in the root of the mass fraction, because of Debye and Hueckel
DENSITY_DEGREE = 3
TRANSPORT_DEGREE = 4
WIDEST = 0.12  # kg/kg; a wider line is less exact, see fit_solution_line
SHARED = 4  # points for each temperature from which lines are made once for all of them
SUBSTITUTIONS = 24  # the error falls about fivefold each time
NODES = 20  # several times the coefficients, so that the fit is a smooth least-squares one


class SolutionLine(NamedTuple):
    """Polynomials of one water at one temperature, lowest power first.

    A coefficient is a float, or an array over operating points where each has its own temperature.
    Beyond `fraction_max` users continue pressure and density in a straight line and say so: a
    polynomial has no meaning outside its range.
    """

    osmotic: tuple  # (pi / Pa) / w against sqrt(w), w = mass fraction
    density: tuple  # rho / (kg/m3) against w
    log_density: tuple  # ln(rho / (kg/m3)) against w
    log_viscosity: tuple  # ln(mu / Pa s) against w
    log_diffusivity: tuple  # ln(D / (m2/s)) against w
    fraction_max: float


def fit_solution_line(
    osmotic_pressure: Callable,
    density: Callable,
    viscosity: Callable,
    diffusivity: Callable,
    fraction_max: float,
) -> SolutionLine:
    """Fit the polynomials of a water to its property functions.

    Parameters
    ----------
    osmotic_pressure, density, viscosity, diffusivity : callable
        Each takes mass fractions, shape (n, 1), and gives values of shape (n, 1), or (n, N) for N
        operating points with their own temperatures. [Pa], [kg/m3], [Pa s], [m2/s]
    fraction_max : float
        Largest mass fraction of dissolved salt to cover. [kg/kg]

    Returns
    -------
    SolutionLine
        Coefficients are floats for (n, 1) values, else arrays of shape (N,).

    Validity
    --------
    0 to fraction_max. To 0.12 kg/kg the fits to sodium chloride and sea salt are good to 6e-5 in
    osmotic pressure, 4e-5 in density and 5e-5 in viscosity (the tests hold them to that).

    Source
    ------
    definition
    """
    fraction = fraction_max * _nodes()[:, None]
    squeezed = fraction_max * _nodes()[:, None] ** 2
    mass = _fit(density(fraction), DENSITY_DEGREE, fraction_max)
    return SolutionLine(
        _fit(osmotic_pressure(squeezed) / squeezed, OSMOTIC_DEGREE, fraction_max**0.5),
        mass,
        # of the polynomial, not of the water: one density throughout
        _fit(np.log(polynomial(mass, fraction)), TRANSPORT_DEGREE, fraction_max),
        _fit(np.log(viscosity(fraction)), TRANSPORT_DEGREE, fraction_max),
        _fit(np.log(diffusivity(fraction)), TRANSPORT_DEGREE, fraction_max),
        float(fraction_max),
    )


def line_of_water(water, temperature, fraction_max: float | None = None) -> SolutionLine:
    """Line of a water from its property table.

    Parameters
    ----------
    water : WaterTable
        Or anything with its methods `along` and `diffusivity`, and a `salinity_range`. [-]
    temperature : array_like
        One for all, or one for each of N operating points. [K]
    fraction_max : float, optional
        Largest mass fraction to cover; the table's end, at most WIDEST, if not given. [kg/kg]

    Returns
    -------
    SolutionLine
        Coefficients are floats for one temperature, arrays of shape (N,) for many. [-]

    Validity
    --------
    As `fit_solution_line`; temperatures as the table.

    Source
    ------
    definition
    """
    if fraction_max is None:
        fraction_max = min(WIDEST, float(water.salinity_range.high))
    T = np.asarray(temperature, dtype=float).ravel()
    kelvin, owner = np.unique(T, return_inverse=True)
    if kelvin.size == 1:
        return _line_at(water, float(kelvin[0]), fraction_max)
    if kelvin.size <= T.size // SHARED:
        return take_line(_line_of(water, kelvin, fraction_max), owner)
    return _line_of(water, T, fraction_max)


@lru_cache(maxsize=64)  # it stays while the temperature does
def _line_at(water, temperature: float, fraction_max: float) -> SolutionLine:
    return _line_of(water, np.array([temperature]), fraction_max)


def _line_of(water, kelvin, fraction_max: float) -> SolutionLine:
    nodes = fraction_max * _nodes()
    squeezed, even = tuple((nodes * _nodes()).tolist()), tuple(nodes.tolist())
    pressure = water.along(squeezed, kelvin)[0]
    _, density, viscosity = water.along(even, kelvin)
    return fit_solution_line(
        lambda w: pressure,
        lambda w: density,
        lambda w: viscosity,
        lambda w: water.diffusivity(kelvin) + 0.0 * w,
        fraction_max,
    )


def take_line(line: SolutionLine, index) -> SolutionLine:
    """Pick operating points.

    Parameters
    ----------
    line : SolutionLine
        With coefficients per point, or common to all. [-]
    index : slice or ndarray
        Which points. [-]

    Returns
    -------
    SolutionLine
        Of the chosen points; common coefficients stay as they are. [-]

    Validity
    --------
    Any index into the points.

    Source
    ------
    definition
    """

    def pick(value):
        return value[index] if isinstance(value, np.ndarray) else value

    polynomials = [tuple(pick(value) for value in item) for item in line[:-1]]
    return SolutionLine._make([*polynomials, line.fraction_max])


def polynomial(coefficients: tuple, x):
    """Value of a polynomial, lowest power first.

    Parameters
    ----------
    coefficients : tuple
        Floats or arrays. [any]
    x : array_like
        Argument. [any]

    Returns
    -------
    float or ndarray
        Broadcast shape of x and the coefficients. [any]

    Validity
    --------
    Any argument.

    Source
    ------
    definition
    """
    value = coefficients[-1]
    for coefficient in coefficients[-2::-1]:
        value = value * x + coefficient
    return value


def slope(coefficients: tuple) -> tuple:
    """Coefficients of the derivative of a polynomial.

    Parameters
    ----------
    coefficients : tuple
        Lowest power first. [any]

    Returns
    -------
    tuple
        One entry fewer. [any]

    Validity
    --------
    Degree one or more.

    Source
    ------
    definition
    """
    return tuple(power * coefficient for power, coefficient in enumerate(coefficients))[1:]


def osmotic_slope_coefficients(line: SolutionLine) -> tuple:
    """Coefficients of the slope of osmotic pressure over mass fraction, against its root.

    Parameters
    ----------
    line : SolutionLine
        Water at its temperature. [-]

    Returns
    -------
    tuple
        Lowest power first. [Pa]

    Validity
    --------
    Exact derivative of the line's own osmotic pressure.

    Source
    ------
    definition
    """
    return tuple((1 + 0.5 * power) * value for power, value in enumerate(line.osmotic))


def osmotic_pressure(line: SolutionLine, fraction):
    """Osmotic pressure on the line.

    Parameters
    ----------
    line : SolutionLine
        Water at its temperature. [-]
    fraction : array_like
        Mass fraction of dissolved salt. [kg/kg]

    Returns
    -------
    ndarray
        Osmotic pressure, broadcast shape. [Pa]

    Validity
    --------
    Continued in a straight line beyond line.fraction_max.

    Source
    ------
    definition
    """
    fraction = np.asarray(fraction, dtype=float)
    inside = np.minimum(fraction, line.fraction_max)
    root = np.sqrt(inside)
    beyond = polynomial(osmotic_slope_coefficients(line), root) * (fraction - inside)
    return inside * polynomial(line.osmotic, root) + beyond


def density_at(line: SolutionLine, fraction):
    """Density on the line.

    Parameters
    ----------
    line : SolutionLine
        Water at its temperature. [-]
    fraction : array_like
        Mass fraction of dissolved salt. [kg/kg]

    Returns
    -------
    ndarray
        Density, broadcast shape. [kg/m3]

    Validity
    --------
    Continued in a straight line beyond line.fraction_max.

    Source
    ------
    definition
    """
    fraction = np.asarray(fraction, dtype=float)
    inside = np.minimum(fraction, line.fraction_max)
    beyond = polynomial(slope(line.density), inside) * (fraction - inside)
    return polynomial(line.density, inside) + beyond


def concentration_at(line: SolutionLine, fraction):
    """Mass concentration at a mass fraction.

    Parameters
    ----------
    line : SolutionLine
        Water at its temperature. [-]
    fraction : array_like
        Mass fraction of dissolved salt. [kg/kg]

    Returns
    -------
    ndarray
        Concentration, broadcast shape. [kg/m3]

    Validity
    --------
    As `density_at`.

    Source
    ------
    definition
    """
    return np.asarray(fraction, dtype=float) * density_at(line, fraction)


def fraction_at(line: SolutionLine, concentration):
    """Mass fraction at a mass concentration.

    Parameters
    ----------
    line : SolutionLine
        Water at its temperature. [-]
    concentration : array_like
        Dissolved salt. [kg/m3]

    Returns
    -------
    ndarray
        Mass fraction, broadcast shape. [kg/kg]

    Validity
    --------
    As `density_at`; solved to round-off up to 300 kg/m3.

    Source
    ------
    definition
    """
    concentration = np.asarray(concentration, dtype=float)
    fraction = concentration / line.density[0]
    for _ in range(SUBSTITUTIONS):
        fraction = concentration / density_at(line, fraction)
    return fraction


def _fit(values, degree: int, top: float) -> tuple:
    return _unscaled(_transform(degree) @ values, top)


def _unscaled(coefficients, top: float) -> tuple:
    coefficients = coefficients / top ** np.arange(len(coefficients))[:, None]
    if coefficients.shape[1] == 1:
        return tuple(coefficients[:, 0].tolist())
    return tuple(coefficients)


@cache
def _nodes() -> np.ndarray:
    """Chebyshev nodes on 0 to 1."""
    return 0.5 - 0.5 * np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES)


@cache
def _transform(degree: int) -> np.ndarray:
    """Matrix from values at the nodes to the powers of the least-squares polynomial."""
    return np.linalg.pinv(_nodes()[:, None] ** np.arange(degree + 1))
