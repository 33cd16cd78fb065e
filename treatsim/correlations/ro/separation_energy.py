"""Least work to separate water from salt, per volume of water drawn."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require

GAUSS_NODES = 24


def least_work(
    osmotic_pressure: Callable, fraction: ArrayLike, recovery: ArrayLike, density: Callable
) -> Array:
    """Least work to draw pure water from a feed, per volume of water drawn.

    Parameters
    ----------
    osmotic_pressure : callable
        Of the mass fraction of salt; broadcasts. [Pa]
    fraction : array_like
        Of the feed. [kg/kg]
    recovery : array_like
        Pure water drawn over feed, by volume. [1]
    density : callable
        Of the mass fraction of salt; broadcasts. [kg/m3]

    Returns
    -------
    ndarray
        Mean of the osmotic pressure while the water is drawn, broadcast shape. [J/m3]

    Validity
    --------
    Recovery 0 (the limit, pi of the feed) to 0.97 and what the osmotic pressure covers;
    DomainError outside. 24 Gauss points: round-off below recovery 0.9.

    Source
    ------
    definition
    """
    w = require("feed salt fraction", fraction, 0.0, 0.5, "kg/kg")
    r = require("recovery", recovery, 0.0, 0.97, "")
    nodes, weights = np.polynomial.legendre.leggauss(GAUSS_NODES)
    w, r = np.broadcast_arrays(w, r)
    drawn = r[..., None] * (0.5 + 0.5 * nodes)  # volume of water per volume of feed
    left = 1 - drawn * (density(np.zeros_like(w)) / density(w))[..., None]  # mass per mass of feed
    return osmotic_pressure(w[..., None] / left) @ (0.5 * weights)
