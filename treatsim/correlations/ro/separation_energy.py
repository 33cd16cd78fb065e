"""Least work to separate water from salt, per volume of water drawn."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require

GAUSS_NODES = 24
THINNEST = 1e-9  # of the rest; what a thinner product's own salt gives back is nothing


def product_work(
    osmotic_pressure: Callable,
    feed: ArrayLike,
    product: ArrayLike,
    share: ArrayLike,
    density: Callable,
) -> Array:
    """Least work to draw a product that holds some salt from a feed, per volume of product.

    Parameters
    ----------
    osmotic_pressure : callable
        Of the mass fraction of salt; broadcasts. [Pa]
    feed, product : array_like
        Mass fractions of salt. [kg/kg]
    share : array_like
        Mass of product over mass of feed; the rest leaves as one well-mixed concentrate. [1]
    density : callable
        Of the mass fraction of salt; broadcasts. [kg/m3]

    Returns
    -------
    ndarray
        Work to concentrate all of the feed to the strength of the rest, less that which its own
        salt gives back when the product is thinned again; broadcast shape. [J/m3]

    Validity
    --------
    Product not saltier than the feed, share above 0 and below 0.999, the rest within what the
    osmotic pressure covers. Nothing for a product that is the feed itself. 24 Gauss points in the
    logarithm of the fraction: 1e-6 from 1 mg/kg upwards.

    Source
    ------
    definition: Gibbs-Duhem, water taken out reversibly
    """
    w = require("feed salt fraction", feed, 0.0, 0.5, "kg/kg")
    m = require("share", share, 0.0, 0.999, "", open_low=True)
    p = np.minimum(require("product salt fraction", product, 0.0, 0.5, "kg/kg"), w)
    rest = (w - m * p) / (1 - m)
    pure = density(np.zeros(np.shape(rest)))

    def concentrating(fraction: Array) -> Array:
        """Work to bring a solution to the strength of the rest, per mass of it. [J/kg]"""
        low = np.maximum(fraction, THINNEST * rest)
        span = np.log(np.where(low > 0, rest / np.where(low > 0, low, 1.0), 1.0))
        between = low[..., None] * np.exp(span[..., None] * (0.5 + 0.5 * nodes))
        per_salt = osmotic_pressure(between) / np.where(between > 0, between, 1.0)
        return fraction * span * (per_salt @ (0.5 * weights)) / pure

    nodes, weights = _gauss()
    w, p, m = np.broadcast_arrays(w, p, m)
    work = concentrating(w) - m * concentrating(p)
    return np.maximum(work, 0.0) * density(p) / m


@cache
def _gauss() -> tuple[Array, Array]:
    return np.polynomial.legendre.leggauss(GAUSS_NODES)
