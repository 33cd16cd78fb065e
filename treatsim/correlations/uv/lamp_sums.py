"""Ray sums of a lamp in an annulus: nodes, weights and paths, before any absorption is known.

value(absorption) = exp(-absorption depth) sum over rays of weight exp(-absorption extra path)
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from treatsim.correlations.uv.lamp_geometry import (
    LampGeometry,
    ray_entering,
    ray_through,
    trace,
)


@lru_cache(maxsize=16)
def _gauss(nodes):
    node, weight = np.polynomial.legendre.leggauss(nodes)
    return 0.5 * (1 + node), 0.5 * weight


def radii(inner, outer, nodes, interfaces):
    """Gauss nodes over the radius, and the share of the cross-section each stands for.

    Parameters
    ----------
    inner, outer : float or ndarray, shape (..., 1)
        Radii of the annulus. [m]
    nodes : int
        Number of nodes.
    interfaces : str
        Model choice of `LampGeometry`.

    Returns
    -------
    tuple of two ndarray, shape (..., nodes)
        Radius [m] and share of the area [1], which sums to 1.

    Validity
    --------
    Exact for polynomials of the radius up to degree nodes - 2.

    Source
    ------
    Gauss-Legendre rule.
    """
    node, weight = _gauss(nodes)
    power = POWER[interfaces]
    radius = inner + (outer - inner) * node**power
    stretch = power * node ** (power - 1)
    return radius, 2 * radius * stretch * weight / (outer + inner)


# Power of the substitution over the radius: straight rays of a long lamp make the field at the
# sleeve behave like depth times its logarithm, so nodes must crowd there; refracted rays do not.
POWER = {"refracting": 1, "straight": 2}


class RaySums(NamedTuple):
    """Weights and extra paths of rays: value = exp(-a depth) sum(weight exp(-a extra))."""

    depth: np.ndarray  # (..., n + 1)
    weight: np.ndarray  # (..., n + 1, rays)
    extra: np.ndarray  # (..., n + 1, rays)
    irradiance: np.ndarray  # (..., rays), weights of the flat sensor


def evaluate_sums(sums: RaySums, absorption):
    """Field per watt at given absorption.

    Parameters
    ----------
    sums : RaySums
        Result of `ray_sums` for one geometry, or for one per point.
    absorption : ndarray, shape (N, 1, 1)
        Napierian absorption. [1/m]

    Returns
    -------
    ndarray, shape (N, n + 3)
        Per watt: axial integral at n radii and at the wall [1/m], fluence rate and irradiance at
        the wall [1/m2].

    Validity
    --------
    As `ray_sums`.

    Source
    ------
    bolton_2000; liu_2004.
    """
    attenuation = np.exp(-absorption * sums.extra)
    value = np.sum(sums.weight * attenuation, axis=-1)
    sensor = np.sum(sums.irradiance * attenuation[..., -1, :], axis=-1)
    absorption = absorption[..., 0]
    value = value * np.exp(-absorption * sums.depth)
    sensor = sensor * np.exp(-absorption[..., 0] * sums.depth[..., -1])
    return np.concatenate([value, sensor[..., None]], axis=-1)


def ray_sums(geometry: LampGeometry, radial_nodes: int, angle_nodes: int) -> RaySums:
    """Weights and paths for the axial integrals at n radii and the wall, and the wall's mid-length.

    Parameters
    ----------
    geometry : LampGeometry
        One geometry, or one per point in arrays of shape (N,).
    radial_nodes, angle_nodes : int
        Nodes over the radius, and over the rays of one smooth piece.

    Returns
    -------
    RaySums
        Per watt of lamp power.

    Validity
    --------
    Line source on the axis, black wall, single pass.

    Source
    ------
    bolton_2000; liu_2004; overlap of arc and chamber computed.
    """
    size = geometry.dimensions(2)
    inner, outer = (np.asarray(v)[..., 0] if np.ndim(v) else v for v in (size.sleeve, size.radius))
    radius, _ = radii(inner, outer, radial_nodes, geometry.interfaces)
    wall = np.broadcast_to(outer, (*radius.shape[:-1], 1))
    radius = np.concatenate([radius, wall], axis=-1)[..., None]
    kink, end = axial_limits(size, geometry.interfaces, radius)
    x, step = pieces([np.zeros_like(kink), kink, end], angle_nodes)
    rays = trace(size, geometry.emission, geometry.interfaces, x)
    strength = 2 * rays.emitted * rays.transmitted * step / rays.cosine
    overlap = axial_overlap(size, rays, radius)
    weight = strength * overlap / (2 * np.pi * radius * size.arc)
    local_x, local_step = _wall_rays(size, geometry.interfaces, radius[..., -1:, :], angle_nodes)
    local = trace(size, geometry.emission, geometry.interfaces, local_x)
    at_wall = 2 * local.emitted * local.transmitted * local_step
    at_wall = at_wall / (2 * np.pi * radius[..., -1:, :] * size.arc)
    depth = radius - size.sleeve
    extra = depth * (1 / rays.cosine - 1)
    local_extra = depth[..., -1:, :] * (1 / local.cosine - 1)
    return RaySums(
        np.concatenate([depth, depth[..., -1:, :]], axis=-2)[..., 0],
        _stack(weight, at_wall / local.cosine),
        _stack(extra, local_extra),
        _stack(weight[..., :0, :], at_wall)[..., 0, :],
    )


def _stack(above, below):
    """Rows of unequal numbers of rays; the shorter get rays of no weight."""
    width = max(above.shape[-1], below.shape[-1])
    grown = [
        np.pad(a, [(0, 0)] * (a.ndim - 1) + [(0, width - a.shape[-1])]) for a in (above, below)
    ]
    return np.concatenate(grown, axis=-2)


def _wall_rays(size, interfaces, radius, nodes):
    end = ray_through(size, interfaces, radius, size.arc / 2)
    enter = ray_entering(size, interfaces, radius, size.chamber / 2)
    return pieces([np.zeros_like(end), np.minimum(end, enter)], nodes)


def pieces(edges, nodes):
    """Gauss nodes on consecutive intervals.

    Parameters
    ----------
    edges : list of ndarray, shape (..., 1)
        Ends of the intervals, not falling.
    nodes : int
        Nodes per interval.

    Returns
    -------
    tuple of two ndarray, shape (..., nodes * intervals)
        Abscissae and weights; intervals empty for every point are left out.

    Validity
    --------
    Exact for polynomials of degree 2 nodes - 1 in each interval.

    Source
    ------
    Gauss-Legendre rule.
    """
    node, weight = _gauss(nodes)
    spans = [(low, high - low) for low, high in pairwise(edges)]
    spans = [span for span in spans if np.any(span[1] > 0)] or spans[:1]
    x = np.concatenate([low + width * node for low, width in spans], axis=-1)
    return x, np.concatenate([width * weight for _, width in spans], axis=-1)


def axial_limits(size, interfaces, radius):
    """Rays at which the overlap of `axial_overlap` has its kink and its end.

    Parameters
    ----------
    size : Dimensions
        Lengths that broadcast against `radius`. [m]
    interfaces : str
        Model choice of `LampGeometry`.
    radius : ndarray
        Radius in the water. [m]

    Returns
    -------
    tuple of two ndarray
        x of the kink and of the end, shape of the broadcast. [1]

    Validity
    --------
    Chamber longer or shorter than the arc.

    Source
    ------
    Computed.
    """
    half_gap = 0.5 * np.abs(size.chamber - size.arc)
    reach = ray_through(size, interfaces, radius, 0.5 * (size.chamber + size.arc))
    inner_kink = ray_through(size, interfaces, radius, half_gap)
    sleeve_kink = ray_through(size, interfaces, size.sleeve, half_gap)
    across = ray_entering(size, interfaces, radius, size.chamber + 0 * radius)
    short = size.chamber < size.arc
    kink = np.where(short, np.minimum(sleeve_kink, across), inner_kink)
    return kink, np.where(short & (across < sleeve_kink), across, np.maximum(reach, kink))


def axial_overlap(size, rays, radius):
    """Length of chamber in which a ray's point, its entry into the water and its source all lie.

    Parameters
    ----------
    size : Dimensions
        Lengths. [m]
    rays : Rays
        Rays with x of at least 0.
    radius : ndarray
        Radius in the water. [m]

    Returns
    -------
    ndarray
        Length. [m]

    Validity
    --------
    Light that enters the sleeve's water side outside the chamber is blocked by the end plate.

    Source
    ------
    Computed.
    """
    drift = (radius - size.sleeve) * rays.tangent
    shift = rays.entry + drift
    upper = np.minimum(size.chamber / 2, size.arc / 2 + shift)
    lower = np.maximum(shift - size.arc / 2, drift - size.chamber / 2)
    return np.maximum(upper - lower, 0.0)
