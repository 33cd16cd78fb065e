"""The waters of many points that differ in pH or salinity, from a few waters on a fixed lattice.

The lattice hangs on no point, so a point has the same answer in any company; between its waters
what chemistry tells is a cubic in the pH and in the logarithm of the salt.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from treatsim.water.analysis import WaterAnalysis

FEW = 3  # waters, or temperatures, that are each worked out themselves
PH_STEP = 0.25  # with the next 1e-3 in an index, measured (tests/validation)
SALT_STEP = 0.4  # of the logarithm of salt per kg of water
OFFSETS = np.arange(-1, 3)  # of the four neighbours, from the one below


def waters(analysis: WaterAnalysis, shape: tuple[int, ...]) -> tuple[list[WaterAnalysis], Any]:
    """Return the waters that stand for those of the points, and the share of each at every point.

    Parameters
    ----------
    analysis : WaterAnalysis
        The water, with `own` where points differ in it. [-]
    shape : tuple of int
        Of what is asked for; the points are its last axis.

    Returns
    -------
    list of WaterAnalysis, ndarray
        Each one water; shares of shape (waters, entries), of sum 1. [1]

    Validity
    --------
    Points of one composition: ions, or sea salt. Up to `FEW` different waters are their own.

    Source
    ------
    definition (cubics of Lagrange on even nodes)
    """
    if analysis.own is None:
        return [analysis], np.ones((1, int(np.prod(shape))))
    ph, salinity = np.broadcast_arrays(*analysis.own)
    found, shares = _standing(analysis, np.ravel(ph), np.ravel(salinity))
    axes = (1,) * (len(shape) - ph.ndim) + ph.shape
    spread = np.broadcast_to(shares.reshape(len(found), *axes), (len(found), *shape))
    return found, spread.reshape(len(found), -1)


def _standing(analysis: WaterAnalysis, ph, salinity) -> tuple[list[WaterAnalysis], np.ndarray]:
    """The waters, and the share of each at every point."""
    pairs, owner = np.unique(np.array([ph, salinity]), axis=1, return_inverse=True)
    if pairs.shape[1] <= FEW:
        shares = owner.ravel() == np.arange(pairs.shape[1])[:, None]
        return [_one(analysis, *pair) for pair in pairs.T], shares.astype(float)
    salt = _lattice(np.log(salinity / (1 - salinity)), SALT_STEP)
    own, shares = [], []
    for at_ph, share in zip(*_lattice(ph, PH_STEP), strict=True):
        for at_salt, part in zip(*salt, strict=True):
            if np.any(share * part):
                ratio = np.exp(at_salt)
                own.append(_one(analysis, at_ph, ratio / (1 + ratio)))
                shares.append(share * part)
    return own, np.array(shares)


def _lattice(values: np.ndarray, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes that values lie between, and the weight of each at every value."""
    if np.ptp(values) == 0:
        return values[:1], np.ones((1, values.size))
    below = np.floor(values / step).astype(int)
    part = values / step - below
    first = int(below.min()) + OFFSETS[0]
    weights = np.zeros((int(below.max()) + OFFSETS[-1] - first + 1, values.size))
    for offset in OFFSETS:
        others = OFFSETS[offset != OFFSETS]
        cubic = np.prod((part - others[:, None]) / (offset - others[:, None]), axis=0)
        weights[below + offset - first, np.arange(values.size)] = cubic
    return (first + np.arange(len(weights))) * step, weights


def _one(analysis: WaterAnalysis, ph: float, salinity: float) -> WaterAnalysis:
    alone = dataclasses.replace(analysis, ph=float(ph), own=None)
    if analysis.kind != "seawater":
        return alone
    return dataclasses.replace(alone, mass_fraction=float(salinity), mass_concentration=None)
