"""Mass transfer and friction of a spacer channel, one quantity at a time."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.ro.spacer_channel import SpacerCorrelation
from treatsim.errors import require


def schmidt_number(density, viscosity, diffusivity):
    """Schmidt number.

    Parameters
    ----------
    density : array_like
        Density. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    diffusivity : array_like
        Diffusivity of the dissolved salt. [m2/s]

    Returns
    -------
    ndarray
        Broadcast shape. [1]

    Validity
    --------
    Diffusivity above 0; DomainError otherwise.

    Source
    ------
    definition
    """
    diffusivity = require("diffusivity", diffusivity, 0.0, np.inf, "m2/s", open_low=True)
    return np.asarray(viscosity) / (density * diffusivity)


def sherwood_number(
    law: SpacerCorrelation, reynolds, schmidt, diameter: float = 1.0, length: float = 1.0
):
    """Sherwood number.

    Parameters
    ----------
    law : SpacerCorrelation
        One of CORRELATIONS. [-]
    reynolds, schmidt : array_like
        Reynolds and Schmidt numbers. [1]
    diameter, length : array_like
        Hydraulic diameter and channel length, which only the slit needs. [m]

    Returns
    -------
    ndarray
        Broadcast shape. [1]

    Validity
    --------
    Reynolds number 100 to 1000 (REYNOLDS_RANGE), computed outside; factor 1.5 between correlations.
    Negative numbers raise DomainError.

    Source
    ------
    schock_miquel_1987, koutsou_karabelas_2009, leveque_1928; all from memory
    """
    reynolds = require("Reynolds number", reynolds, 0.0, np.inf, "")
    schmidt = require("Schmidt number", schmidt, 0.0, np.inf, "")
    entrance = (np.asarray(diameter) / length) ** law.entrance_exponent
    return (
        law.sherwood_factor
        * reynolds**law.reynolds_exponent
        * schmidt**law.schmidt_exponent
        * entrance
    )


def mass_transfer_coefficient(sherwood, diffusivity, diameter):
    """Mass-transfer coefficient of the film at the membrane.

    Parameters
    ----------
    sherwood : array_like
        Sherwood number. [1]
    diffusivity : array_like
        Diffusivity of the dissolved salt. [m2/s]
    diameter : array_like
        Hydraulic diameter. [m]

    Returns
    -------
    ndarray
        Broadcast shape. [m/s]

    Validity
    --------
    Diameter above 0; DomainError otherwise.

    Source
    ------
    definition
    """
    diameter = require("hydraulic diameter", diameter, 0.0, np.inf, "m", open_low=True)
    return np.asarray(sherwood) * diffusivity / diameter


def friction_factor(law: SpacerCorrelation, reynolds):
    """Darcy friction factor.

    Parameters
    ----------
    law : SpacerCorrelation
        One of CORRELATIONS; the two of Koutsou and Karabelas give mass transfer only, and take
        the friction of Schock and Miquel. [-]
    reynolds : array_like
        Reynolds number. [1]

    Returns
    -------
    ndarray
        Shape of `reynolds`. [1]

    Validity
    --------
    Reynolds number 100 to 1000 (REYNOLDS_RANGE), computed outside. Not above 0: DomainError.

    Source
    ------
    schock_miquel_1987, from memory
    """
    reynolds = require("Reynolds number", reynolds, 0.0, np.inf, "", open_low=True)
    return law.friction_factor * reynolds**law.friction_exponent


def pressure_gradient(friction, density, velocity, diameter):
    """Pressure lost per length of channel.

    Parameters
    ----------
    friction : array_like
        Darcy friction factor. [1]
    density : array_like
        Density. [kg/m3]
    velocity : array_like
        Mean velocity between the filaments. [m/s]
    diameter : array_like
        Hydraulic diameter. [m]

    Returns
    -------
    ndarray
        Loss, positive, broadcast shape. [Pa/m]

    Validity
    --------
    Diameter above 0; DomainError otherwise.

    Source
    ------
    definition
    """
    diameter = require("hydraulic diameter", diameter, 0.0, np.inf, "m", open_low=True)
    return np.asarray(friction) * density * np.square(velocity) / (2 * diameter)
