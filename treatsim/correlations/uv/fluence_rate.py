"""Local fluence rate of a lamp in an absorbing annulus."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.uv.lamp_geometry import (
    LampGeometry,
    ray_entering,
    ray_through,
    trace,
)
from treatsim.correlations.uv.lamp_sums import pieces
from treatsim.errors import DomainError, require

NODES = 48  # per smooth piece


def local_fluence_rate(geometry: LampGeometry, power, absorption, radius, height=0.0):
    """Fluence rate at a point of the water.

    Parameters
    ----------
    geometry : LampGeometry
        Lamp and chamber. [m]
    power : array_like
        Ultraviolet output of the lamp. [W]
    absorption : array_like
        Napierian absorption of the water. [1/m]
    radius : array_like
        Distance from the axis. [m]
    height : array_like
        Distance from mid-length along the axis. [m]

    Returns
    -------
    ndarray
        Fluence rate, shape of the broadcast arguments. [W/m2]

    Validity
    --------
    Line source on the axis, black wall, single pass; quadrature error below 1e-9. A point outside
    the water, negative power or absorption raise DomainError.

    Source
    ------
    bolton_2000; liu_2004.
    """
    power = require("lamp power", power, 0.0, np.inf, "W")
    absorption = require("absorption", absorption, 0.0, np.inf, "1/m")[..., None]
    size, choices = geometry.dimensions(1), (geometry.emission, geometry.interfaces)
    radius, height = (np.asarray(v, dtype=float)[..., None] for v in (radius, height))
    if np.any(radius < size.sleeve) or np.any(radius > size.radius):
        raise DomainError("radius lies outside the water between sleeve and chamber wall")
    if np.any(np.abs(height) > size.chamber / 2 * (1 + 1e-12)):
        raise DomainError("height lies outside the chamber")
    low, high = _seen(size, choices[1], radius, height)
    x, step = pieces([low, np.clip(0.0, low, high), high], NODES)
    rays = trace(size, *choices, x)
    shining = rays.emitted * rays.transmitted * step / rays.cosine
    shining = shining * np.exp(-absorption * (radius - size.sleeve) / rays.cosine)
    return power * np.sum(shining / (2 * np.pi * radius * size.arc), axis=-1)


def _seen(size, interfaces, radius, height):
    """First and last ray that reach a point from the arc and through the chamber's sleeve."""
    ends = []
    for sign in (-1, 1):
        source = ray_through(size, interfaces, radius, height + sign * size.arc / 2)
        entry = ray_entering(size, interfaces, radius, height + sign * size.chamber / 2)
        ends.append((np.maximum if sign < 0 else np.minimum)(source, entry))
    return ends[0], np.maximum(ends[0], ends[1])
