"""Filter elements: clean loss, blocking and cake, life by captured mass.

All blocking laws are one: resistance R grows with the load x (filtrate per area, or captured mass)
as dR/dx = k R^n, with n = 2 complete, 1.5 standard, 1 intermediate blocking and 0 cake. R depends
on the load alone, however the pump ran; the hydraulic solver finds the flow.
"""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import DomainError, require

BLOCKING_EXPONENTS = {"complete": 2.0, "standard": 1.5, "intermediate": 1.0, "cake": 0.0}


def element_loss(
    flow: ArrayLike, resistance: ArrayLike, viscosity: ArrayLike, quadratic: ArrayLike = 0.0
) -> Array:
    """Return the pressure lost in an element and its housing.

    Parameters
    ----------
    flow : array_like
        Flow, signed. [m3/s]
    resistance : array_like
        Hydraulic resistance r of the medium; inversely proportional to element length. [1/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    quadratic : array_like
        Loss of core, ports and housing over the square of the flow. [Pa s2/m6]

    Returns
    -------
    ndarray, broadcast shape
        Loss r mu Q + k Q |Q|; infinite for flow through a blocked element. [Pa]

    Validity
    --------
    DomainError for a negative resistance.

    Source
    ------
    Darcy's law (definition); the quadratic term is common practice.
    """
    resistance = require("resistance", resistance, 0.0, np.inf, "1/m3")
    quadratic = require("quadratic", quadratic, 0.0, np.inf, "Pa s2/m6")
    flow = np.asarray(flow, dtype=float)
    still = flow == 0
    laminar = np.where(still, 0.0, np.where(still, 0.0, resistance) * viscosity * flow)
    return laminar + quadratic * flow * np.abs(flow)


def fit_element(flow: ArrayLike, loss: ArrayLike, viscosity: ArrayLike) -> tuple[float, float]:
    """Return both loss terms of an element from catalogue points.

    Parameters
    ----------
    flow : array_like, shape (n,)
        Flows through one element, two or more. [m3/s]
    loss : array_like, shape (n,)
        Clean pressure losses. [Pa]
    viscosity : float
        Dynamic viscosity of the catalogue's water. [Pa s]

    Returns
    -------
    resistance, quadratic : float
        As `element_loss` takes them: through two points, by least squares of the relative misses
        for more. [1/m3], [Pa s2/m6]

    Validity
    --------
    Loss must grow at least with the flow and less than with its square; DomainError otherwise,
    which mostly means that a point was misread.

    Source
    ------
    definition.
    """
    flow = require("flow", flow, 0.0, np.inf, "m3/s", open_low=True).ravel()
    loss = require("loss", loss, 0.0, np.inf, "Pa", open_low=True).ravel()
    if flow.size < 2 or loss.shape != flow.shape or np.unique(flow).size < flow.size:
        raise DomainError("element loss: give two points of different flow, or more")
    largest = flow.max()
    matrix = np.column_stack([flow / loss, flow**2 / (largest * loss)])
    laminar, quadratic = np.linalg.lstsq(matrix, np.ones_like(flow), rcond=None)[0]
    if quadratic < -1e-9 * laminar or laminar <= 0:
        raise DomainError(
            "element loss: between the points it must grow at least with the flow "
            "and less than with its square"
        )
    return float(laminar / viscosity), float(max(quadratic / largest, 0.0))


def blocked_resistance(
    load: ArrayLike, clean: ArrayLike, constant: ArrayLike, exponent: ArrayLike
) -> Array:
    """Return the resistance of a medium that has taken up a load.

    Parameters
    ----------
    load : array_like
        Load x: filtrate per area, or captured mass. [m or kg]
    clean : array_like
        Resistance R0 at no load. [any, u]
    constant : array_like
        k of dR/dx = k R^n. [u^(1-n) per unit of load]
    exponent : array_like
        n, from 0 to 2: BLOCKING_EXPONENTS. [1]

    Returns
    -------
    ndarray, broadcast shape
        Resistance; infinite from `blocking_limit` on. [u]

    Validity
    --------
    DomainError for negative load or constant, or an exponent outside 0 to 2. String-wound
    elements follow n near 1, pleated ones begin near 1 and end near 0 (common experience): fit k
    and n to logged pressures.

    Source
    ------
    hermia_1982, integrated.
    """
    load, clean, constant, n = _blocking(load, clean, constant, exponent)
    return grown_resistance(constant * load * clean ** (n - 1), clean, n)


def grown_resistance(growth: Array, clean: ArrayLike, exponent: Array) -> Array:
    """Return the resistance at a load in the units of its law, for who asks for many loads.

    Parameters
    ----------
    growth : ndarray
        x k R0^(n-1) of a load x. [1]
    clean : array_like
        Resistance R0 at no load. [any, u]
    exponent : ndarray
        n, from 0 to 2. [1]

    Returns
    -------
    ndarray, broadcast shape
        As `blocked_resistance`. [u]

    Validity
    --------
    Growth of 0 or more, an exponent from 0 to 2: not looked at here, as in an inner loop.

    Source
    ------
    hermia_1982, integrated.
    """
    bend = 1 - exponent
    turned = bend * growth
    with np.errstate(divide="ignore", invalid="ignore"):
        log_ratio = np.where(bend == 0, growth, np.log1p(turned) / bend)
        return np.where(turned > -1, clean * np.exp(log_ratio), np.inf)


def load_at_resistance(
    resistance: ArrayLike, clean: ArrayLike, constant: ArrayLike, exponent: ArrayLike
) -> Array:
    """Return the load at which a medium reaches a resistance.

    Parameters
    ----------
    resistance : array_like
        Resistance; infinity gives the load of full blocking. [u]
    clean : array_like
        Resistance at no load. [u]
    constant : array_like
        k of dR/dx = k R^n. [u^(1-n) per unit of load]
    exponent : array_like
        n, from 0 to 2. [1]

    Returns
    -------
    ndarray, broadcast shape
        Load; infinite if never reached. [m or kg]

    Validity
    --------
    Resistance not below clean, constant above 0; DomainError otherwise.

    Source
    ------
    hermia_1982, integrated.
    """
    constant = require("constant", constant, 0.0, np.inf, "", open_low=True)
    return _growth(resistance, clean, exponent) / (constant * clean ** (exponent - 1.0))


def blocking_limit(clean: ArrayLike, constant: ArrayLike, exponent: ArrayLike) -> Array:
    """Return the load at which a medium is blocked for good.

    Parameters
    ----------
    clean : array_like
        Resistance at no load. [u]
    constant : array_like
        k of dR/dx = k R^n. [u^(1-n) per unit of load]
    exponent : array_like
        n, from 0 to 2. [1]

    Returns
    -------
    ndarray, broadcast shape
        Load; infinite for n up to 1. [m or kg]

    Validity
    --------
    As `load_at_resistance`.

    Source
    ------
    hermia_1982, integrated.
    """
    return load_at_resistance(np.inf, clean, constant, exponent)


def blocking_constant(
    clean: ArrayLike, terminal: ArrayLike, load: ArrayLike, exponent: ArrayLike
) -> Array:
    """Return the constant that takes a medium from clean to terminal over a known load.

    Parameters
    ----------
    clean : array_like
        Resistance at no load. [u]
    terminal : array_like
        Resistance at change-out. [u]
    load : array_like
        Load at change-out, such as the dirt capacity. [m or kg]
    exponent : array_like
        n, from 0 to 2. [1]

    Returns
    -------
    ndarray, broadcast shape
        k of dR/dx = k R^n. [u^(1-n) per unit of load]

    Validity
    --------
    Terminal finite and not below clean, load above 0; DomainError otherwise.

    Source
    ------
    hermia_1982, integrated.
    """
    load = require("load", load, 0.0, np.inf, "", open_low=True)
    terminal = require("terminal resistance", terminal, 0.0, np.finfo(float).max, "")
    return _growth(terminal, clean, exponent) / (load * clean ** (exponent - 1.0))


def constant_pressure_flux(
    time: ArrayLike, first_flux: ArrayLike, constant: ArrayLike, exponent: ArrayLike
) -> Array:
    """Return the flux under constant pressure.

    Parameters
    ----------
    time : array_like
        Time. [s]
    first_flux : array_like
        Flux at time 0. [m/s]
    constant : array_like
        k of dJ/dt = -k J^(3-n). [SI]
    exponent : array_like
        n, from 0 to 2. [1]

    Returns
    -------
    ndarray, broadcast shape
        Flux. [m/s]

    Validity
    --------
    DomainError for impossible values. The filtrate so far is `load_at_resistance` with 1 / flux
    for the resistances and the same constant.

    Source
    ------
    hermia_1982.
    """
    time = require("time", time, 0.0, np.inf, "s")
    flux = require("first_flux", first_flux, 0.0, np.inf, "m/s", open_low=True)
    n = require("exponent", exponent, 0.0, 2.0, "1")
    decay = np.asarray(constant) * time * flux ** (2 - n)
    bend = np.where(n == 2, 1.0, 2 - n)
    return flux * np.exp(-np.where(n == 2, decay, np.log1p(bend * decay) / bend))


def life_by_mass(
    capacity: ArrayLike, flow: ArrayLike, solids: ArrayLike, capture: ArrayLike
) -> Array:
    """Return the running time in which an element takes up its capacity.

    Parameters
    ----------
    capacity : array_like
        Mass at change-out; of natural silt 0.3 to 0.5 of the test-dust figure. [kg]
    flow : array_like
        Flow through the element. [m3/s]
    solids : array_like
        Suspended solids. [kg/m3]
    capture : array_like
        Share of the solids held back. [1]

    Returns
    -------
    ndarray, broadcast shape
        Time; infinite without load. [s]

    Validity
    --------
    DomainError for negative values. A mass balance: true only while flow and solids hold, and it
    misses that half the flux more than doubles the life of a cake.

    Source
    ------
    definition.
    """
    capacity = require("capacity", capacity, 0.0, np.inf, "kg")
    flow = require("flow", flow, 0.0, np.inf, "m3/s")
    solids = require("solids", solids, 0.0, np.inf, "kg/m3")
    rate = flow * solids * require("capture", capture, 0.0, 1.0, "1")
    return np.where(rate > 0, capacity / np.where(rate > 0, rate, 1.0), np.inf)


def _blocking(
    load: ArrayLike, clean: ArrayLike, constant: ArrayLike, exponent: ArrayLike
) -> tuple[Array, Array, Array, Array]:
    load = require("load", load, 0.0, np.inf, "")
    clean = require("clean resistance", clean, 0.0, np.inf, "", open_low=True)
    constant = require("constant", constant, 0.0, np.inf, "")
    return load, clean, constant, require("exponent", exponent, 0.0, 2.0, "1")


def _growth(resistance: ArrayLike, clean: ArrayLike, exponent: ArrayLike) -> Array:
    """Load in units of 1 / (k R0^(n-1)) that takes a medium from clean to `resistance`."""
    clean = require("clean resistance", clean, 0.0, np.inf, "", open_low=True)
    ratio = require("resistance over clean", resistance / clean, 1.0, np.inf, "1")
    n = require("exponent", exponent, 0.0, 2.0, "1")
    bend = np.where(n == 1, 1.0, 1 - n)
    logarithm = np.log(ratio)
    return np.where(n == 1, logarithm, np.expm1(bend * logarithm) / bend)
