"""Particles by size through strainer, basin, bag and cartridge: what each holds of what it gets.

An offer beside a stated capture fraction, and only by what was measured of a stage: the opening of
a screen, the loading of a basin, the efficiency of an element at stated sizes. A nominal rating
says nothing about removal and has no function here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.correlations.solids.settling import basin_removal, terminal_velocity
from treatsim.correlations.solids.size_distribution import lognormal_classes
from treatsim.errors import DomainError, require

CLASSES = 400  # a sharp edge, as of a screen, falls on a class to 2 % of the mass and better


class Carried(NamedTuple):
    """Mass along the stages."""

    captured: Array  # share of what reaches each stage that it holds, shape (stages,)
    left: Array  # share of the raw water's mass behind each stage, shape (stages,)
    median: Array  # diameter below which half of that mass lies, shape (stages,) [m]


def screened(diameter: Array, opening: float) -> Array:
    """Return the share of each size that passes a screen: all that fits, spheres. [m] -> [1]"""
    opening = float(require("opening", opening, 0.0, 1.0, "m", open_low=True))
    return np.where(diameter <= opening, 1.0, 0.0)


def settled(diameter: Array, density: float, water: tuple[float, float], basin) -> Array:
    """Return the share of each size that passes a basin.

    density of the particles [kg/m3]; water: density [kg/m3] and viscosity [Pa s]; basin: flow over
    area [m/s] and tanks in series.
    """
    velocity = np.maximum(terminal_velocity(diameter, density, *water), 0.0)
    return 1 - basin_removal(velocity, *basin)


def filtered(diameter: Array, efficiencies: Sequence[tuple[float, float]]) -> Array:
    """Return the share of each size that passes an element of stated efficiencies.

    efficiencies: pairs (share held back, diameter [m]), as of a beta ratio in one pass of this
    element. Each holds from its size up to the next; finer than the first all passes. That tells
    the removal too low, so that what follows is not told to last longer than it does; the
    element's own load is then told too low as well: there use its stated capture fraction.
    """
    share, size = np.array(sorted(efficiencies, key=lambda pair: pair[1]), dtype=float).T
    share = require("efficiency", share, 0.0, 1.0, "")
    if np.any(size <= 0) or np.any(np.diff(size) <= 0) or np.any(np.diff(share) < 0):
        raise DomainError("efficiencies: sizes above 0, each once, whose shares do not fall")
    steps = np.concatenate([[0.0], share])
    return 1 - steps[np.searchsorted(size, diameter, side="right")]


def size_classes(median: float, deviation: float) -> tuple[Array, Array]:
    """Return diameters [m] and mass shares of the raw water, for the stages below."""
    return lognormal_classes(median, deviation, CLASSES)


def carried(diameter: Array, shares: Array, passing: Sequence[Array]) -> Carried:
    """Return what stages in a row hold; `passing` has the share of each size that passes each."""
    kept = np.cumprod(np.array(passing, dtype=float), axis=0) * shares
    left = kept.sum(axis=1)
    before = np.concatenate([[shares.sum()], left[:-1]])
    some = before > 0
    captured = np.where(some, 1 - left / np.where(some, before, 1.0), 0.0)
    below = np.cumsum(kept, axis=1)
    middle = np.argmax(below >= 0.5 * left[:, None], axis=1)
    return Carried(captured, left / shares.sum(), np.where(left > 0, diameter[middle], 0.0))
