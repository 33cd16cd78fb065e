"""Closed forms of the ultraviolet field: radial model, infinite line, clear water."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.uv.collimated_beam import depth_average
from treatsim.correlations.uv.optics import check_choice
from treatsim.errors import require

_STEP = 0.2
_COSH = np.cosh(_STEP * np.arange(0, 191))  # trapezoid in u; the integrand falls like exp(-u)
_TRAPEZOID = np.where(np.arange(_COSH.size) == 0, 0.5, 1.0) * _STEP


def bickley(order: int, x):
    """Bickley function Ki_n, the attenuation of an isotropic infinite line.

    Parameters
    ----------
    order : int
        Order, 1 or more.
    x : array_like
        Optical depth. [1]

    Returns
    -------
    ndarray
        Ki_n(x). [1]

    Validity
    --------
    x from 0; relative error below 1e-13 up to 100. A negative x raises DomainError.

    Source
    ------
    Definition as an integral; trapezoidal rule, which converges exponentially here.
    """
    x = require("optical depth", x, 0.0, np.inf, "1")
    order = int(require("order", order, 1, 100, "1"))
    return np.sum(_TRAPEZOID * np.exp(-x[..., None] * _COSH) / _COSH**order, axis=-1)


def infinite_line_fluence_rate(power_per_length, absorption, radius, sleeve_radius):
    """Fluence rate around an infinitely long isotropic line, straight rays.

    Parameters
    ----------
    power_per_length : array_like
        Ultraviolet output per length. [W/m]
    absorption : array_like
        Napierian absorption of the water. [1/m]
    radius : array_like
        Distance from the axis. [m]
    sleeve_radius : array_like
        Radius at which the water begins. [m]

    Returns
    -------
    ndarray
        Fluence rate. [W/m2]

    Validity
    --------
    Exact. A radius below the sleeve's, or a value that is not positive, raises DomainError.

    Source
    ------
    blatchley_1997 (line-source integration), limit computed.
    """
    radius = require("radius", radius, 0.0, np.inf, "m", open_low=True)
    depth = require("depth of water", radius - sleeve_radius, 0.0, np.inf, "m")
    return power_per_length / (2 * np.pi * radius) * bickley(1, absorption * depth)


def infinite_line_mean(power_per_length, absorption, sleeve_radius, chamber_radius):
    """Mean fluence rate over an annulus around an infinitely long isotropic line, straight rays.

    Parameters
    ----------
    power_per_length : array_like
        Ultraviolet output per length. [W/m]
    absorption : array_like
        Napierian absorption of the water. [1/m]
    sleeve_radius, chamber_radius : array_like
        Radii of the annulus. [m]

    Returns
    -------
    ndarray
        Mean fluence rate. [W/m2]

    Validity
    --------
    Exact, clear water included. Chamber not wider than the sleeve raises DomainError.

    Source
    ------
    blatchley_1997 (line-source integration), closed form computed.
    """
    depth = np.asarray(chamber_radius, dtype=float) - sleeve_radius
    depth = require("depth of water", depth, 0.0, np.inf, "m", open_low=True)
    optical = np.asarray(absorption * depth)[..., None]
    # (1 - Ki2(x)) / x, written without cancellation
    share = np.sum(_TRAPEZOID * depth_average(optical, _COSH) / _COSH, axis=-1)
    return power_per_length * share / (np.pi * (chamber_radius + np.asarray(sleeve_radius)))


def clear_water_fluence_rate(power, arc_length, radius, height=0.0):
    """Fluence rate around a finite isotropic line in clear water, straight rays.

    Parameters
    ----------
    power : array_like
        Ultraviolet output of the lamp. [W]
    arc_length : array_like
        Length of the arc. [m]
    radius : array_like
        Distance from the axis. [m]
    height : array_like
        Distance from mid-length. [m]

    Returns
    -------
    ndarray
        Fluence rate. [W/m2]

    Validity
    --------
    Exact. A radius or length that is not positive raises DomainError.

    Source
    ------
    blatchley_1997 (line-source integration).
    """
    radius = require("radius", radius, 0.0, np.inf, "m", open_low=True)
    arc_length = require("arc length", arc_length, 0.0, np.inf, "m", open_low=True)
    angles = np.arctan((arc_length / 2 - height) / radius)
    angles = angles + np.arctan((arc_length / 2 + height) / radius)
    return power / (4 * np.pi * arc_length * radius) * angles


def clear_water_infinite_line(power_per_length, radius, emission="isotropic"):
    """Fluence rate around an infinite line in clear water, straight rays.

    Parameters
    ----------
    power_per_length : array_like
        Ultraviolet output per length. [W/m]
    radius : array_like
        Distance from the axis. [m]
    emission : str
        "isotropic", "cosine" or "radial".

    Returns
    -------
    ndarray
        Fluence rate. [W/m2]

    Validity
    --------
    Exact. A radius that is not positive, or an unknown emission, raises DomainError.

    Source
    ------
    ioa_2007, paper page 3; values computed.
    """
    share = {"isotropic": 0.25, "cosine": 2 / np.pi**2, "radial": 0.5 / np.pi}
    check_choice("emission", emission, tuple(share))
    radius = require("radius", radius, 0.0, np.inf, "m", open_low=True)
    return share[emission] * power_per_length / radius


def radial_fluence_rate(power_per_length, absorption, radius, sleeve_radius):
    """Fluence rate if all light left the lamp at right angles to its axis.

    Parameters
    ----------
    power_per_length : array_like
        Ultraviolet output per length. [W/m]
    absorption : array_like
        Napierian absorption of the water. [1/m]
    radius : array_like
        Distance from the axis. [m]
    sleeve_radius : array_like
        Radius at which the water begins. [m]

    Returns
    -------
    ndarray
        Fluence rate. [W/m2]

    Validity
    --------
    A simplification: about 15 to 35 % below an isotropic line. A radius below the sleeve's raises
    DomainError.

    Source
    ------
    ioa_2007, radial model.
    """
    radius = require("radius", radius, 0.0, np.inf, "m", open_low=True)
    depth = require("depth of water", radius - sleeve_radius, 0.0, np.inf, "m")
    return power_per_length / (2 * np.pi * radius) * np.exp(-absorption * depth)


def radial_mean(power_per_length, absorption, sleeve_radius, chamber_radius):
    """Mean fluence rate of the radial model over an annulus.

    Parameters
    ----------
    power_per_length : array_like
        Ultraviolet output per length. [W/m]
    absorption : array_like
        Napierian absorption of the water. [1/m]
    sleeve_radius, chamber_radius : array_like
        Radii of the annulus. [m]

    Returns
    -------
    ndarray
        Mean fluence rate. [W/m2]

    Validity
    --------
    As `radial_fluence_rate`.

    Source
    ------
    ioa_2007, radial model; mean computed.
    """
    depth = np.asarray(chamber_radius, dtype=float) - sleeve_radius
    depth = require("depth of water", depth, 0.0, np.inf, "m", open_low=True)
    share = depth_average(absorption, depth)
    return power_per_length * share / (np.pi * (chamber_radius + np.asarray(sleeve_radius)))
