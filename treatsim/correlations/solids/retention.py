"""What a filter holds back: beta ratio, silt density index, granular beds."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.errors import require
from treatsim.ranges import Range
from treatsim.water.properties import BOLTZMANN, GRAVITY

PLUGGING_RANGE = Range("plugging", 0.0, 75.0, "%", "silt density index (ASTM D4189)")


class SiltDensity(NamedTuple):
    """Result of a silt density test."""

    value: np.ndarray  # % per minute
    plugging: np.ndarray  # %
    ceiling: np.ndarray  # highest index the test time can show
    repeat_shorter: np.ndarray  # bool: plugging above 75 %, repeat with 10 or 5 minutes


class Collector(NamedTuple):
    """Single-collector contact efficiency and its three parts."""

    diffusion: np.ndarray
    interception: np.ndarray
    gravity: np.ndarray

    @property
    def total(self):
        """Sum of the parts. [1]"""
        return self.diffusion + self.interception + self.gravity


def beta_efficiency(beta):
    """Return the share of particles held back at a beta ratio.

    Parameters
    ----------
    beta : array_like
        Count upstream over count downstream, of a size and larger. [1]

    Returns
    -------
    ndarray, shape of beta
        Share held back. [1]

    Validity
    --------
    Beta from 1, DomainError below. Beta of an oil multipass test does not carry over to one pass
    of river water, and a nominal rating has no beta at all.

    Source
    ------
    iso_16889.
    """
    return 1 - 1 / require("beta", beta, 1.0, np.inf, "1")


def beta_log_removal(beta):
    """Return the log removal at a beta ratio.

    Parameters
    ----------
    beta : array_like
        Count upstream over count downstream. [1]

    Returns
    -------
    ndarray, shape of beta
        log10 of beta. [1]

    Validity
    --------
    As `beta_efficiency`. A measure of particles: credit for pathogens needs a challenge test.

    Source
    ------
    iso_16889.
    """
    return np.log10(require("beta", beta, 1.0, np.inf, "1"))


def beta_from_efficiency(efficiency):
    """Return the beta ratio of a share held back.

    Parameters
    ----------
    efficiency : array_like
        Share held back. [1]

    Returns
    -------
    ndarray, shape of efficiency
        Beta ratio. [1]

    Validity
    --------
    From 0 to just under 1, DomainError outside.

    Source
    ------
    iso_16889.
    """
    return 1 / (1 - require("efficiency", efficiency, 0.0, np.nextafter(1, 0), "1"))


def silt_density_index(first_time, last_time, test_time) -> SiltDensity:
    """Return the silt density index of a membrane feed.

    Parameters
    ----------
    first_time : array_like
        Time to fill the flask (500 mL) at the start. [s]
    last_time : array_like
        Time to fill it after the test time. [s]
    test_time : array_like
        15 minutes; 10 or 5 if the membrane plugs. [s]

    Returns
    -------
    SiltDensity
        Index in % per minute, with plugging and the ceiling of this test time.

    Validity
    --------
    0.45 um, 207 kPa. PLUGGING_RANGE: beyond it the index sticks at its ceiling, says nothing, and
    `repeat_shorter` is set. A gate for feed water, not a rate of fouling. DomainError if the last
    filling is faster than the first.

    Source
    ------
    astm_d4189.
    """
    first = require("first_time", first_time, 0.0, np.inf, "s", open_low=True)
    ratio = require("last over first time", np.asarray(last_time) / first, 1.0, np.inf, "1")
    minutes = require("test_time", test_time, 0.0, np.inf, "s", open_low=True) / 60
    plugging = 100 * (1 - 1 / ratio)
    return SiltDensity(plugging / minutes, plugging, 100 / minutes, plugging > PLUGGING_RANGE.high)


def yao_collector(
    particle, grain, velocity, particle_density, density, viscosity, temperature
) -> Collector:
    """Return the contact efficiency of one grain after Yao.

    Parameters
    ----------
    particle : array_like
        Particle diameter. [m]
    grain : array_like
        Grain diameter. [m]
    velocity : array_like
        Flow over bed area. [m/s]
    particle_density : array_like
        Density of the particle. [kg/m3]
    density : array_like
        Density of the water. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    Collector
        Diffusion, interception and gravity parts. [1]

    Validity
    --------
    Granular beds only, never cartridges. Low by a factor 2 to 4 against `crowded_collector`.
    DomainError for impossible sizes.

    Source
    ------
    yao_1971.
    """
    particle, grain, velocity = _sizes(particle, grain, velocity)
    thermal = BOLTZMANN * np.asarray(temperature)
    diffusion = 0.9 * (thermal / (viscosity * particle * grain * velocity)) ** (2 / 3)
    excess = np.asarray(particle_density) - density
    gravity = excess * GRAVITY * particle**2 / (18 * viscosity * velocity)
    return Collector(diffusion, 1.5 * (particle / grain) ** 2, gravity)


def crowded_collector(
    particle, grain, velocity, excess_density, viscosity, temperature, porosity, hamaker=1e-20
) -> Collector:
    """Return the contact efficiency of one grain in a bed after Tufenkji and Elimelech.

    Parameters
    ----------
    particle : array_like
        Particle diameter. [m]
    grain : array_like
        Grain diameter. [m]
    velocity : array_like
        Flow over bed area. [m/s]
    excess_density : array_like
        Particle density less water density. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    temperature : array_like
        Temperature. [K]
    porosity : array_like
        Void share of the bed. [1]
    hamaker : array_like
        Hamaker constant. [J]

    Returns
    -------
    Collector
        Diffusion, interception and gravity parts. [1]

    Validity
    --------
    Granular beds without repulsion, never cartridges. DomainError for impossible sizes or a
    particle lighter than water.

    Source
    ------
    tufenkji_elimelech_2004, constants from memory.
    """
    particle, grain, velocity = _sizes(particle, grain, velocity)
    excess = require("excess_density", excess_density, 0.0, np.inf, "kg/m3")
    thermal = BOLTZMANN * np.asarray(temperature)
    crowding = happel_parameter(porosity)
    size = particle / grain
    peclet = 3 * np.pi * viscosity * particle * grain * velocity / thermal
    london = hamaker / thermal
    attraction = hamaker / (3 * np.pi * viscosity * particle**2 * velocity)
    fall = excess * GRAVITY * particle**2 / (18 * viscosity * velocity)
    diffusion = 2.4 * crowding ** (1 / 3) * size**-0.081 * peclet**-0.715 * london**0.052
    interception = 0.55 * crowding * size**1.675 * attraction**0.125
    return Collector(diffusion, interception, 0.22 * size**-0.24 * fall**1.11 * london**0.053)


def happel_parameter(porosity):
    """Return Happel's parameter of the flow around grains in a bed.

    Parameters
    ----------
    porosity : array_like
        Void share of the bed. [1]

    Returns
    -------
    ndarray, shape of porosity
        Parameter A_s. [1]

    Validity
    --------
    Porosity above 0 and below 1, DomainError outside.

    Source
    ------
    tufenkji_elimelech_2004, from memory.
    """
    void = require("porosity", porosity, 0.0, np.nextafter(1, 0), "1", open_low=True)
    g = (1 - void) ** (1 / 3)
    return 2 * (1 - g**5) / (2 - 3 * g + 3 * g**5 - 2 * g**6)


def bed_passage(contact, attachment, depth, grain, porosity):
    """Return the share of particles that passes a granular bed.

    Parameters
    ----------
    contact : array_like
        Single-collector contact efficiency. [1]
    attachment : array_like
        Share of contacts that stick, 0.001 to 1: it decides everything and is unknown without a
        coagulant. [1]
    depth : array_like
        Bed depth. [m]
    grain : array_like
        Grain diameter. [m]
    porosity : array_like
        Void share of the bed. [1]

    Returns
    -------
    ndarray, broadcast shape
        Share that passes. [1]

    Validity
    --------
    A clean bed. To be shown, not to be credited. DomainError for impossible values.

    Source
    ------
    yao_1971.
    """
    contact = require("contact", contact, 0.0, np.inf, "1")
    attachment = require("attachment", attachment, 0.0, 1.0, "1")
    void = require("porosity", porosity, 0.0, 1.0, "1")
    grain = require("grain", grain, 0.0, np.inf, "m", open_low=True)
    return np.exp(-1.5 * (1 - void) * attachment * contact * np.asarray(depth) / grain)


def _sizes(particle, grain, velocity):
    return (
        require("particle", particle, 0.0, np.inf, "m", open_low=True),
        require("grain", grain, 0.0, np.inf, "m", open_low=True),
        require("velocity", velocity, 0.0, np.inf, "m/s", open_low=True),
    )
