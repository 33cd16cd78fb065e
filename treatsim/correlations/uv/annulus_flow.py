"""Flow along an annulus: mean velocity, Reynolds number, laminar profile, shares of the flow."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import DomainError, require
from treatsim.ranges import Range

LAMINAR_RANGE = Range("reynolds_number", 0.0, 2000.0, "1", "laminar profile in an annulus")


def mean_velocity(flow: ArrayLike, inner_radius: ArrayLike, outer_radius: ArrayLike) -> Array:
    """Flow over cross-section.

    Parameters
    ----------
    flow : array_like
        Flow. [m3/s]
    inner_radius, outer_radius : array_like
        Radii of the annulus. [m]

    Returns
    -------
    ndarray
        Velocity. [m/s]

    Validity
    --------
    Exact. A negative flow, or radii that do not rise, raise DomainError.

    Source
    ------
    Definition.
    """
    inner, outer = _radii(inner_radius, outer_radius)
    flow = require("flow", flow, 0.0, np.inf, "m3/s")
    return flow / (np.pi * (outer - inner) * (outer + inner))


def reynolds_number(
    velocity: ArrayLike,
    inner_radius: ArrayLike,
    outer_radius: ArrayLike,
    kinematic_viscosity: ArrayLike,
) -> Array:
    """Reynolds number with the hydraulic diameter of the annulus, twice its gap.

    Parameters
    ----------
    velocity : array_like
        Mean velocity. [m/s]
    inner_radius, outer_radius : array_like
        Radii of the annulus. [m]
    kinematic_viscosity : array_like
        Kinematic viscosity. [m2/s]

    Returns
    -------
    ndarray
        Reynolds number. [1]

    Validity
    --------
    Definition. A viscosity that is not positive, or radii that do not rise, raise DomainError.

    Source
    ------
    bird_stewart_lightfoot, section 2.4.
    """
    inner, outer = _radii(inner_radius, outer_radius)
    viscosity = require(
        "kinematic viscosity", kinematic_viscosity, 0.0, np.inf, "m2/s", open_low=True
    )
    return 2 * (outer - inner) * require("velocity", velocity, 0.0, np.inf, "m/s") / viscosity


def laminar_profile(radius: ArrayLike, inner_radius: ArrayLike, outer_radius: ArrayLike) -> Array:
    """Local over mean velocity of developed laminar flow in an annulus.

    Parameters
    ----------
    radius : array_like
        Distance from the axis. [m]
    inner_radius, outer_radius : array_like
        Radii of the annulus. [m]

    Returns
    -------
    ndarray
        Velocity ratio, zero at both walls. [1]

    Validity
    --------
    LAMINAR_RANGE; exact for developed flow. A radius outside the annulus raises DomainError.

    Source
    ------
    bird_stewart_lightfoot, section 2.4.
    """
    inner, outer = _radii(inner_radius, outer_radius)
    radius = np.asarray(radius, dtype=float)
    if np.any(radius < inner) or np.any(radius > outer):
        raise DomainError("radius lies outside the annulus")
    ratio, place = inner / outer, radius / outer
    bend = (1 - ratio**2) / np.log(1 / ratio)
    return 2 * (1 - place**2 + bend * np.log(place)) / (1 + ratio**2 - bend)


def _radii(inner_radius: ArrayLike, outer_radius: ArrayLike) -> tuple[Array, Array]:
    inner = require("inner radius", inner_radius, 0.0, np.inf, "m", open_low=True)
    outer = require("outer radius", outer_radius, 0.0, np.inf, "m", open_low=True)
    if np.any(inner >= outer):
        raise DomainError("the inner radius of an annulus must be below the outer one")
    return inner, outer
