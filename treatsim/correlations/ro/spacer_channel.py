"""Feed channel of a spiral-wound element: geometry, mass transfer and friction.

Every correlation has the same two power laws, Sh = a Re^b Sc^c and f = d Re^e, so that a vessel
can be marched with any of them. They differ by a factor up to 1.5 in the mass-transfer coefficient:
permeabilities must be fitted with the correlation they are used with.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import DomainError, require
from treatsim.ranges import Range


class SpacerCorrelation(NamedTuple):
    """Sh = sherwood_factor Re^reynolds_exponent Sc^schmidt_exponent, f likewise (Darcy)."""

    name: str
    sherwood_factor: float
    reynolds_exponent: float
    schmidt_exponent: float
    friction_factor: float
    friction_exponent: float
    entrance_exponent: float  # of (hydraulic diameter / channel length), 0 but for a slit
    source: str


SCHOCK_MIQUEL = SpacerCorrelation(
    "schock_miquel", 0.065, 0.875, 0.25, 6.23, -0.3, 0.0, "schock_miquel_1987"
)
KOUTSOU_FIRST = SpacerCorrelation(
    "koutsou_karabelas_first", 0.14, 0.64, 0.42, 6.23, -0.3, 0.0, "koutsou_karabelas_2009"
)
KOUTSOU_SECOND = SpacerCorrelation(
    "koutsou_karabelas_second", 0.20, 0.57, 0.40, 6.23, -0.3, 0.0, "koutsou_karabelas_2009"
)
SLIT = SpacerCorrelation("slit", 1.85, 1 / 3, 1 / 3, 96.0, -1.0, 1 / 3, "leveque_1928")

CORRELATIONS = {item.name: item for item in (SCHOCK_MIQUEL, KOUTSOU_FIRST, KOUTSOU_SECOND, SLIT)}
REYNOLDS_RANGE = Range(
    "reynolds_number", 100.0, 1000.0, "1", "spacer channel, Schock and Miquel 1987"
)


class SpacerChannel(NamedTuple):
    """Geometry of one element, floats or arrays over operating points."""

    area: Any  # membrane, m2
    length: Any  # of the element, m
    height: Any  # of the feed channel, m
    porosity: Any  # of the spacer-filled channel


def fouled(law: SpacerCorrelation, ratio: Any) -> SpacerCorrelation:
    """Return a correlation of a channel whose pressure drop is `ratio` times that of a clean one.

    Parameters
    ----------
    law : SpacerCorrelation
        Of the clean channel. [-]
    ratio : array_like
        Above 0, over the points. [1]

    Returns
    -------
    SpacerCorrelation
        With its friction factor times the ratio; mass transfer as it was. [-]

    Validity
    --------
    The same share of blocking along the whole vessel.

    Source
    ------
    definition
    """
    return law._replace(friction_factor=law.friction_factor * ratio)


def correlation(name: str) -> SpacerCorrelation:
    """Find a correlation by its name.

    Parameters
    ----------
    name : str
        A key of CORRELATIONS. [-]

    Returns
    -------
    SpacerCorrelation
        The correlation. [-]

    Validity
    --------
    DomainError lists the names for any other word.

    Source
    ------
    definition
    """
    if name not in CORRELATIONS:
        raise DomainError(f"spacer correlation = {name!r}: one of {', '.join(CORRELATIONS)}")
    return CORRELATIONS[name]


def hydraulic_diameter(
    height: ArrayLike, porosity: ArrayLike, filament_diameter: ArrayLike | None = None
) -> Array:
    """Hydraulic diameter of a spacer-filled channel.

    Parameters
    ----------
    height : array_like
        Channel height. [m]
    porosity : array_like
        Void fraction of the channel. [1]
    filament_diameter : array_like, optional
        Spacer filament; half the height if not given (two crossing layers). [m]

    Returns
    -------
    ndarray
        Four times the free volume over the wetted surface, broadcast shape. [m]

    Validity
    --------
    Height above 0, porosity above 0 to 1; DomainError outside. Porosity 1 is an open slit.

    Source
    ------
    schock_miquel_1987, from memory
    """
    height = require("channel height", height, 0.0, 1.0, "m", open_low=True)
    porosity = require("spacer porosity", porosity, 0.0, 1.0, "", open_low=True)
    if filament_diameter is None:
        filament_diameter = 0.5 * height
    filament = require("filament diameter", filament_diameter, 0.0, 1.0, "m", open_low=True)
    return 4 * porosity / (2 / height + (1 - porosity) * 4 / filament)


def flow_section(channel: SpacerChannel) -> Array:
    """Free cross-section of all leaves of an element.

    Parameters
    ----------
    channel : SpacerChannel
        Geometry; each channel lies between two membranes. [-]

    Returns
    -------
    ndarray
        Section, broadcast shape. [m2]

    Validity
    --------
    Area, length and height above 0, porosity above 0 to 1; DomainError outside.

    Source
    ------
    definition
    """
    area = require("membrane area", channel.area, 0.0, 1e4, "m2", open_low=True)
    length = require("element length", channel.length, 0.0, 100.0, "m", open_low=True)
    height = require("channel height", channel.height, 0.0, 1.0, "m", open_low=True)
    porosity = require("spacer porosity", channel.porosity, 0.0, 1.0, "", open_low=True)
    return area / (2 * length) * height * porosity


def reynolds_number(
    velocity: ArrayLike, diameter: ArrayLike, density: ArrayLike, viscosity: ArrayLike
) -> Array:
    """Reynolds number on the hydraulic diameter and the velocity in the free section.

    Parameters
    ----------
    velocity : array_like
        Mean velocity between the filaments. [m/s]
    diameter : array_like
        Hydraulic diameter. [m]
    density : array_like
        Density. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]

    Returns
    -------
    ndarray
        Broadcast shape. [1]

    Validity
    --------
    Viscosity above 0; DomainError otherwise.

    Source
    ------
    definition
    """
    viscosity = require("viscosity", viscosity, 0.0, np.inf, "Pa s", open_low=True)
    return np.asarray(density) * velocity * diameter / viscosity
