"""Single-collector contact efficiency of granular media: how often a particle meets a grain.

Shown, never credited: how many of those that meet a grain stay (attachment, 0.001 to 1) is not
known without a coagulant. For sand and river beds, not for cartridges.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.constants import BOLTZMANN, GRAVITY
from treatsim.errors import require


class Bed(NamedTuple):
    """Grains and the water between them. SI"""

    grain: ArrayLike  # m
    velocity: ArrayLike  # m3/s per m2 of bed
    porosity: ArrayLike
    temperature: ArrayLike  # K
    density: ArrayLike  # kg/m3
    viscosity: ArrayLike  # Pa s


def happel_factor(porosity: ArrayLike) -> Array:
    """Return how much faster diffusion feeds a grain in a bed than one alone.

    Parameters
    ----------
    porosity : array_like
        Void share of the bed. [1]

    Returns
    -------
    ndarray, shape of porosity
        Happel's factor As. [1]

    Validity
    --------
    DomainError outside 0 to 1.

    Source
    ------
    tufenkji_elimelech_2004.
    """
    g = (1 - require("porosity", porosity, 0.0, 1.0, "1")) ** (1 / 3)
    return 2 * (1 - g**5) / (2 - 3 * g + 3 * g**5 - 2 * g**6)


def contact_yao(diameter: ArrayLike, particle_density: ArrayLike, bed: Bed) -> Array:
    """Return the contact efficiency by diffusion, interception and settling alone.

    Parameters
    ----------
    diameter : array_like
        Particle diameter. [m]
    particle_density : array_like
        Particle density. [kg/m3]
    bed : Bed
        Grains and water. [SI]

    Returns
    -------
    ndarray, broadcast shape
        Particles that meet a grain over those that flow towards it. [1]

    Validity
    --------
    Spheres, creeping flow. DomainError for sizes not above 0.

    Source
    ------
    yao_1971.
    """
    diameter = require("diameter", diameter, 0.0, np.inf, "m", open_low=True)
    heat = BOLTZMANN * np.asarray(bed.temperature)
    by_diffusion = 0.9 * (heat / (bed.viscosity * diameter * bed.grain * bed.velocity)) ** (2 / 3)
    by_size = 1.5 * (diameter / bed.grain) ** 2
    excess = np.asarray(particle_density) - bed.density
    by_weight = excess * GRAVITY * diameter**2 / (18 * np.asarray(bed.viscosity) * bed.velocity)
    return by_diffusion + by_size + np.maximum(by_weight, 0.0)


def contact_tufenkji(
    diameter: ArrayLike, particle_density: ArrayLike, hamaker: ArrayLike, bed: Bed
) -> Array:
    """Return the contact efficiency with the attraction and drag near a grain.

    Parameters
    ----------
    diameter : array_like
        Particle diameter. [m]
    particle_density : array_like
        Particle density, not below that of the water. [kg/m3]
    hamaker : array_like
        Hamaker constant, about 1e-20. [J]
    bed : Bed
        Grains and water. [SI]

    Returns
    -------
    ndarray, broadcast shape
        Particles that meet a grain over those that flow towards it. [1]

    Validity
    --------
    Spheres, creeping flow; constants from memory. DomainError for sizes not above 0.

    Source
    ------
    tufenkji_elimelech_2004.
    """
    diameter = require("diameter", diameter, 0.0, np.inf, "m", open_low=True)
    hamaker = require("hamaker", hamaker, 0.0, 1e-18, "J", open_low=True)
    heat, mu = BOLTZMANN * np.asarray(bed.temperature), np.asarray(bed.viscosity)
    factor, size = happel_factor(bed.porosity), diameter / bed.grain
    peclet = bed.velocity * np.asarray(bed.grain) * 3 * np.pi * mu * diameter / heat
    pull = hamaker / heat
    attraction = hamaker / (3 * np.pi * mu * diameter**2 * bed.velocity)
    excess = np.maximum(np.asarray(particle_density) - bed.density, 0.0)
    weight = excess * GRAVITY * diameter**2 / (18 * mu * bed.velocity)
    return (
        2.4 * factor ** (1 / 3) * size**-0.081 * peclet**-0.715 * pull**0.052
        + 0.55 * factor * size**1.675 * attraction**0.125
        + 0.22 * size**-0.24 * weight**1.11 * pull**0.053
    )
