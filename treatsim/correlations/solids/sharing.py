"""How elements side by side share a flow."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require

SHARE_SWEEPS = 60  # Newton from below converges in a handful


def shared_flow(
    total_flow: ArrayLike, resistance: ArrayLike, viscosity: ArrayLike, quadratic: ArrayLike = 0.0
) -> tuple[Array, Array]:
    """Return how parallel elements share a flow, and the loss common to all.

    Parameters
    ----------
    total_flow : array_like, shape (...)
        Flow. [m3/s]
    resistance : array_like, shape (..., elements)
        Hydraulic resistances; infinite when blocked. [1/m3]
    viscosity : array_like, shape (...)
        Dynamic viscosity. [Pa s]
    quadratic : array_like, shape (..., elements) or scalar
        Loss over the square of the flow of one element. [Pa s2/m6]

    Returns
    -------
    flows : ndarray, shape (..., elements)
        Flow of each. [m3/s]
    loss : ndarray, shape (...)
        Common loss; infinite, with no flows, if all are blocked. [Pa]

    Validity
    --------
    Total flow not negative, resistances above 0; DomainError otherwise. Solved to rounding.

    Source
    ------
    definition: the sum of flows is concave in the loss, so Newton from below cannot overshoot; of
    two elements whose housings are alike the difference of both losses is linear in the shares.
    """
    total = require("total_flow", total_flow, 0.0, np.inf, "m3/s")
    resistance = require("resistance", resistance, 0.0, np.inf, "1/m3", open_low=True)
    quadratic = require("quadratic", quadratic, 0.0, np.inf, "Pa s2/m6")
    laminar = resistance * np.asarray(viscosity, dtype=float)[..., None]
    if laminar.shape[-1] == 2 and quadratic.ndim == 0 and np.all(np.isfinite(laminar)):
        return _pair(total, laminar, quadratic)
    conductance = np.sum(1 / laminar, axis=-1)
    blocked = conductance == 0
    loss = np.where(blocked, 0.0, total / np.where(blocked, 1.0, conductance))
    for _ in range(SHARE_SWEEPS):
        root = np.sqrt(laminar**2 + 4 * quadratic * loss[..., None])
        flows = 2 * loss[..., None] / (laminar + root)
        step = (total - flows.sum(axis=-1)) / np.where(blocked, np.inf, np.sum(1 / root, axis=-1))
        loss = loss + step
        if np.all(np.abs(step) <= 1e-9 * loss):  # squared, the next one would be rounding
            break
    return flows, np.where(blocked & (total > 0), np.inf, loss)


def _pair(total: Array, laminar: Array, quadratic: Array) -> tuple[Array, Array]:
    """Share a flow between two elements of equal housings: their squares cancel but for a line."""
    bend = quadratic * total
    first = total * (laminar[..., 1] + bend) / (laminar.sum(axis=-1) + 2 * bend)
    loss = first * (laminar[..., 0] + quadratic * first)
    return np.stack([first, total - first], axis=-1), loss
