"""Bench measurements with ultraviolet light: collimated beam, output of a bare lamp."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.correlations.uv.optics import INDEX_WATER, check_choice
from treatsim.errors import require


def depth_average(absorption: ArrayLike, depth: ArrayLike) -> Array:
    """Mean over a layer of a parallel beam, as a share of its value at the surface (water factor).

    Parameters
    ----------
    absorption : array_like
        Napierian absorption. [1/m]
    depth : array_like
        Depth of the layer. [m]

    Returns
    -------
    ndarray
        Mean over surface value. [1]

    Validity
    --------
    Exact for a parallel beam; 1 for clear water. Negative values raise DomainError.

    Source
    ------
    bolton_linden_2003, water factor.
    """
    optical = require("absorption", absorption, 0.0, np.inf, "1/m") * require(
        "depth", depth, 0.0, np.inf, "m"
    )
    small = optical < 1e-9
    return np.where(small, 1.0 - optical / 2, -np.expm1(-optical) / np.where(small, 1.0, optical))


def reflection_factor(index: ArrayLike = INDEX_WATER) -> Array:
    """Share of light that enters water from air at normal incidence.

    Parameters
    ----------
    index : array_like
        Refractive index of the water. [1]

    Returns
    -------
    ndarray
        Entering share. [1]

    Validity
    --------
    Normal incidence. An index below 1 raises DomainError.

    Source
    ------
    bolton_linden_2003, reflection factor (Fresnel).
    """
    index = require("index", index, 1.0, 10.0, "1")
    return 1.0 - ((index - 1.0) / (index + 1.0)) ** 2


def divergence_factor(distance: ArrayLike, depth: ArrayLike) -> Array:
    """Mean weakening of a slightly diverging beam over the depth of a dish.

    Parameters
    ----------
    distance : array_like
        Lamp to water surface. [m]
    depth : array_like
        Depth of the water. [m]

    Returns
    -------
    ndarray
        Factor on the irradiance. [1]

    Validity
    --------
    First order in depth over distance. A distance that is not positive raises DomainError.

    Source
    ------
    bolton_linden_2003, divergence factor.
    """
    distance = require("distance", distance, 0.0, np.inf, "m", open_low=True)
    return distance / (distance + require("depth", depth, 0.0, np.inf, "m"))


def collimated_beam_irradiance(
    irradiance: ArrayLike,
    petri_factor: ArrayLike,
    absorption: ArrayLike,
    depth: ArrayLike,
    distance: ArrayLike,
    reflection: ArrayLike | None = None,
) -> Array:
    """Mean fluence rate in a stirred dish under a collimated beam.

    Parameters
    ----------
    irradiance : array_like
        Reading at the centre of the dish, at the water surface. [W/m2]
    petri_factor : array_like
        Mean over the dish divided by the centre value. [1]
    absorption : array_like
        Napierian absorption of the suspension. [1/m]
    depth : array_like
        Depth of the suspension. [m]
    distance : array_like
        Lamp to water surface. [m]
    reflection : array_like, optional
        Entering share; that of water at normal incidence if left out. [1]

    Returns
    -------
    ndarray
        Mean fluence rate. [W/m2]

    Validity
    --------
    Dishes with a petri factor of 0.9 or more. Negative values raise DomainError.

    Source
    ------
    bolton_linden_2003, average irradiance.
    """
    irradiance = require("irradiance", irradiance, 0.0, np.inf, "W/m2")
    petri_factor = require("petri factor", petri_factor, 0.0, 1.0, "1")
    entering = reflection_factor() if reflection is None else reflection
    entering = require("reflection factor", entering, 0.0, 1.0, "1")
    surface = irradiance * petri_factor * entering * divergence_factor(distance, depth)
    return surface * depth_average(absorption, depth)


def lamp_power_from_irradiance(
    irradiance: ArrayLike, distance: ArrayLike, arc_length: ArrayLike, emission: str = "cosine"
) -> Array:
    """Ultraviolet output of a bare linear lamp from one irradiance reading in air.

    Parameters
    ----------
    irradiance : array_like
        Reading of a cosine-corrected sensor facing the middle of the lamp. [W/m2]
    distance : array_like
        Sensor to lamp axis. [m]
    arc_length : array_like
        Length of the arc. [m]
    emission : str
        "cosine" (Keitz) or "isotropic".

    Returns
    -------
    ndarray
        Power in the measured band. [W]

    Validity
    --------
    No reflections, distance at least twice the arc for the usual protocol. Values that are not
    positive, or an unknown emission, raise DomainError.

    Source
    ------
    ioa_2007, paper page 6 (cosine); isotropic computed from the point-source law.
    """
    irradiance = require("irradiance", irradiance, 0.0, np.inf, "W/m2")
    distance = require("distance", distance, 0.0, np.inf, "m", open_low=True)
    arc_length = require("arc length", arc_length, 0.0, np.inf, "m", open_low=True)
    check_choice("emission", emission, ("cosine", "isotropic"))
    angle = np.arctan(arc_length / (2 * distance))
    if emission == "cosine":
        share = (2 * angle + np.sin(2 * angle)) / (2 * np.pi**2)
    else:
        share = np.sin(angle) / (2 * np.pi)
    return irradiance * distance * arc_length / share
