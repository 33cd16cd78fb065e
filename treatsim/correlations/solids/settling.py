"""Settling of particles: terminal velocity, basins, scour."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.constants import GRAVITY
from treatsim.errors import DomainError, require
from treatsim.numerics import find_roots
from treatsim.ranges import Range

DRAG_RANGE = Range("particle_reynolds_number", 0.0, 800.0, "1", "Schiller-Naumann drag")


def stokes_velocity(
    diameter: ArrayLike, particle_density: ArrayLike, density: ArrayLike, viscosity: ArrayLike
) -> Array:
    """Return the settling velocity of a small sphere.

    Parameters
    ----------
    diameter : array_like
        Diameter. [m]
    particle_density : array_like
        Density of the particle; 1020 to 1200 for floc, 2650 for silt grains. [kg/m3]
    density : array_like
        Density of the water. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]

    Returns
    -------
    ndarray, broadcast shape
        Velocity, negative if it rises. [m/s]

    Validity
    --------
    Particle Reynolds number up to 0.3, where it is 6 % too fast; threefold at 130.
    DomainError for impossible sizes.

    Source
    ------
    stokes_1851.
    """
    diameter = require("diameter", diameter, 0.0, np.inf, "m")
    viscosity = require("viscosity", viscosity, 0.0, np.inf, "Pa s", open_low=True)
    excess = np.asarray(particle_density, dtype=float) - density
    return GRAVITY * excess * diameter**2 / (18 * viscosity)


def terminal_velocity(
    diameter: ArrayLike, particle_density: ArrayLike, density: ArrayLike, viscosity: ArrayLike
) -> Array:
    """Return the settling velocity of a sphere by the drag law of Schiller and Naumann.

    Parameters
    ----------
    diameter : array_like
        Diameter. [m]
    particle_density : array_like
        Density of the particle. [kg/m3]
    density : array_like
        Density of the water. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]

    Returns
    -------
    ndarray, broadcast shape
        Velocity, negative if it rises. [m/s]

    Validity
    --------
    DRAG_RANGE on `particle_reynolds_number`; force balance solved to 1e-12. DomainError for
    impossible sizes. An older law still in print, 24/Re + 3/Re^0.5 + 0.34, settles some 16 % faster
    near Re 45.

    Source
    ------
    schiller_naumann_1933.
    """
    stokes = stokes_velocity(diameter, particle_density, density, viscosity)
    reynolds = np.asarray(particle_reynolds_number(stokes, diameter, density, viscosity))
    slower = np.ones(reynolds.shape)
    moving = reynolds > 0
    slower[moving] = _share_of_stokes(reynolds[moving])
    return stokes * slower


def particle_reynolds_number(
    velocity: ArrayLike, diameter: ArrayLike, density: ArrayLike, viscosity: ArrayLike
) -> Array:
    """Return the Reynolds number of a settling sphere.

    Parameters
    ----------
    velocity : array_like
        Velocity relative to the water. [m/s]
    diameter : array_like
        Diameter. [m]
    density : array_like
        Density of the water. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]

    Returns
    -------
    ndarray, broadcast shape
        Reynolds number, never negative. [1]

    Validity
    --------
    DomainError for a viscosity that is not above 0.

    Source
    ------
    definition.
    """
    viscosity = require("viscosity", viscosity, 0.0, np.inf, "Pa s", open_low=True)
    return np.abs(velocity) * np.asarray(diameter, dtype=float) * density / viscosity


def basin_removal(velocity: ArrayLike, surface_loading: ArrayLike, tanks: ArrayLike) -> Array:
    """Return the share of one particle size that a real basin holds back.

    Parameters
    ----------
    velocity : array_like
        Settling velocity of the size. [m/s]
    surface_loading : array_like
        Flow over plan area. [m/s]
    tanks : array_like
        Tanks in series that mix like the basin: 1 poor, 2 to 3 usual, 8 very good; infinity is
        allowed. [1]

    Returns
    -------
    ndarray, broadcast shape
        Share held back. [1]

    Validity
    --------
    Velocity and loading not negative, tanks from 1; DomainError otherwise. No loading holds
    everything back. Scour is not included: see `scour_velocity`.

    Source
    ------
    hazen_1904.
    """
    ratio = _velocity_ratio(velocity, surface_loading)
    tanks = require("tanks", tanks, 1.0, np.inf, "1")
    finite = np.where(np.isinf(tanks), 1.0, tanks)
    exponent = np.where(np.isinf(tanks), ratio, finite * np.log1p(ratio / finite))
    return -np.expm1(-exponent)


def column_test_removal(
    velocities: ArrayLike, share_slower: ArrayLike, surface_loading: ArrayLike
) -> Array:
    """Return the mass share that an ideal basin holds back, from a settling-column test.

    Parameters
    ----------
    velocities : array_like, shape (n,)
        Settling velocities, rising from 0. [m/s]
    share_slower : array_like, shape (n,)
        Mass share that settles slower than each; straight lines between. [1]
    surface_loading : array_like
        Flow over plan area. [m/s]

    Returns
    -------
    ndarray, shape of surface_loading
        Mass share held back. [1]

    Validity
    --------
    DomainError for a curve that does not rise from velocity 0, or a loading beyond its end.
    Discrete settling: a floc that grows on its way needs depth too.

    Source
    ------
    camp_1946, integrated by parts: one minus the mean share over velocities up to the loading.
    """
    v = np.asarray(velocities, dtype=float)
    share = require("share_slower", share_slower, 0.0, 1.0, "1")
    if v.ndim != 1 or v.shape != share.shape or v.size < 2 or v[0] != 0:
        raise DomainError("settling curve: give velocities from 0 on, with one share for each")
    if np.any(np.diff(v) <= 0) or np.any(np.diff(share) < 0):
        raise DomainError("settling curve: velocities and shares must rise")
    loading = require("surface_loading", surface_loading, 0.0, v[-1], "m/s", open_low=True)
    area = np.concatenate([[0.0], np.cumsum(0.5 * (share[1:] + share[:-1]) * np.diff(v))])
    piece = np.clip(np.searchsorted(v, loading, side="right") - 1, 0, v.size - 2)
    last = 0.5 * (share[piece] + np.interp(loading, v, share)) * (loading - v[piece])
    return 1 - (area[piece] + last) / loading


def scour_velocity(
    diameter: ArrayLike,
    specific_gravity: ArrayLike,
    cohesion: ArrayLike = 0.05,
    friction_factor: ArrayLike = 0.025,
) -> Array:
    """Return the horizontal velocity that lifts settled particles again.

    Parameters
    ----------
    diameter : array_like
        Diameter. [m]
    specific_gravity : array_like
        Particle over water density. [1]
    cohesion : array_like
        Camp's constant, 0.04 for single grains to 0.06 for sticky matter. [1]
    friction_factor : array_like
        Darcy friction factor of the basin floor, 0.02 to 0.03. [1]

    Returns
    -------
    ndarray, broadcast shape
        Velocity. [m/s]

    Validity
    --------
    Specific gravity from 1, DomainError below. A rough guide: keep well under it.

    Source
    ------
    camp_1946, constants from memory.
    """
    excess = require("specific_gravity", specific_gravity, 1.0, 25.0, "1") - 1
    friction = require("friction_factor", friction_factor, 0.0, np.inf, "1", open_low=True)
    diameter = require("diameter", diameter, 0.0, np.inf, "m")
    return np.sqrt(8 * np.asarray(cohesion) * excess * GRAVITY * diameter / friction)


def _velocity_ratio(velocity: ArrayLike, surface_loading: ArrayLike) -> Array:
    velocity = require("velocity", velocity, 0.0, np.inf, "m/s")
    loading = require("surface_loading", surface_loading, 0.0, np.inf, "m/s")
    still = loading == 0
    return np.where(still, np.inf, velocity / np.where(still, 1.0, loading))


def _drag_over_stokes(reynolds: ArrayLike) -> Array:
    """Drag coefficient times Re / 24: 1 for creeping flow."""
    return 1 + 0.15 * reynolds**0.687


def _share_of_stokes(stokes_reynolds: Array) -> Array:
    """Velocity over Stokes' velocity: the root of x * drag(x * Re) = 1, in ln x."""

    def excess(log_share: Array, index: Array) -> Array:
        reynolds = stokes_reynolds[index] * np.exp(log_share)
        return log_share + np.log(_drag_over_stokes(reynolds))

    lowest = -np.log(_drag_over_stokes(stokes_reynolds))
    return np.exp(find_roots(excess, 0.6 * lowest, lowest, 0.0, ftol=1e-13).x)
