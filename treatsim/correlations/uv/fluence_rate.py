"""Local fluence rate, wall irradiance and power budget of a lamp in an absorbing annulus."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.correlations.uv.collimated_beam import depth_average
from treatsim.correlations.uv.lamp_field import mean_fluence_rate
from treatsim.correlations.uv.lamp_geometry import (
    LampGeometry,
    ray_entering,
    ray_through,
    trace,
)
from treatsim.correlations.uv.lamp_sums import axial_limits, axial_overlap, pieces
from treatsim.errors import DomainError, require

NODES = 48  # per smooth piece
LAST_RAY = 20.0  # x beyond which a share of 1e-17 of the light remains


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
    return _local(geometry, power, absorption, radius, height, flat=False)


def wall_irradiance(geometry: LampGeometry, power, absorption, height=0.0):
    """Irradiance on a flat cosine-corrected sensor flush with the chamber wall.

    Parameters
    ----------
    geometry : LampGeometry
        Lamp and chamber. [m]
    power : array_like
        Ultraviolet output of the lamp. [W]
    absorption : array_like
        Napierian absorption of the water. [1/m]
    height : array_like
        Distance from mid-length along the axis. [m]

    Returns
    -------
    ndarray
        Irradiance, shape of the broadcast arguments. [W/m2]

    Validity
    --------
    As `local_fluence_rate`; no port recess, full acceptance angle.

    Source
    ------
    bolton_2000; liu_2004.
    """
    return _local(geometry, power, absorption, geometry.chamber_radius, height, flat=True)


class PowerBudget(NamedTuple):
    """Where the lamp's output goes; every term computed on its own. Shape of the points. [W]"""

    absorbed: np.ndarray  # by the water
    wall: np.ndarray  # reaches the chamber's wall
    ends: np.ndarray  # leaves the water through the end planes
    bore: np.ndarray  # leaves along the sleeve, beyond the chamber
    sleeve: np.ndarray  # reflected at the sleeve's faces or absorbed in quartz
    residual: np.ndarray  # sum of the above over the lamp's output, less one [1]


def power_budget(geometry: LampGeometry, power, absorption) -> PowerBudget:
    """Energy balance of the light.

    Parameters
    ----------
    geometry : LampGeometry
        Lamp and chamber. [m]
    power : array_like
        Ultraviolet output of the lamp, above zero. [W]
    absorption : array_like
        Napierian absorption of the water. [1/m]

    Returns
    -------
    PowerBudget
        Shape of the broadcast arguments. [W]

    Validity
    --------
    As `lamp_field`; the residual measures the quadrature of all terms together. Power that is not
    positive or negative absorption raise DomainError.

    Source
    ------
    bolton_2000; liu_2004; terms computed.
    """
    power = require("lamp power", power, 0.0, np.inf, "W", open_low=True)
    absorption = require("absorption", absorption, 0.0, np.inf, "1/m")
    absorbed = absorption * mean_fluence_rate(geometry, power, absorption) * geometry.volume
    wall, ends, bore, sleeve = (
        power * share for share in _leaving(geometry, np.asarray(absorption)[..., None])
    )
    total = absorbed + wall + ends + bore + sleeve
    absorbed, wall, ends, bore, sleeve = np.broadcast_arrays(absorbed, wall, ends, bore, sleeve)
    return PowerBudget(absorbed, wall, ends, bore, sleeve, total / power - 1)


def _local(geometry, power, absorption, radius, height, *, flat):
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
    # on a flat sensor the projection cancels the cosine of the ray tube
    tube = 1.0 if flat else rays.cosine
    shining = rays.emitted * rays.transmitted * step / tube
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


def _leaving(geometry, absorption):
    """Shares of the lamp power to wall, end planes, bore and sleeve."""
    size, choices = geometry.dimensions(1), (geometry.emission, geometry.interfaces)
    x, step = pieces(_edges(size, choices[1]), NODES)
    rays = trace(size, *choices, x)
    emitted = 2 * rays.emitted * step
    entering = emitted * rays.transmitted / size.arc
    inside = _entry_length(size, rays.entry)
    depth = size.radius - size.sleeve
    to_wall = np.exp(-absorption * depth / rays.cosine) * axial_overlap(size, rays, size.radius)
    to_ends = _end_length(size, rays, absorption)
    return (
        np.sum(entering * to_wall, axis=-1),
        np.sum(entering * to_ends, axis=-1),
        np.sum(emitted * (1 - inside / size.arc), axis=-1),
        np.sum(emitted * (1 - rays.transmitted) * inside / size.arc, axis=-1),
    )


def _edges(size, interfaces):
    """Rays at which a share of the budget has a kink, rising, all with a trailing axis."""
    half_gap, reach = 0.5 * np.abs(size.chamber - size.arc), 0.5 * (size.chamber + size.arc)
    through = [
        ray_through(size, interfaces, radius, shift)
        for radius in (size.sleeve, size.radius)
        for shift in (half_gap, reach)
    ]
    across = ray_entering(size, interfaces, size.radius, size.chamber)
    marks = np.broadcast_arrays(
        0.0, *through, *axial_limits(size, interfaces, size.radius), across, LAST_RAY
    )
    return list(np.sort(np.minimum(np.stack(np.atleast_1d(*marks)), LAST_RAY), axis=0))


def _entry_length(size, entry):
    """Length of arc whose ray enters the water within the chamber."""
    upper = np.minimum(size.chamber / 2, size.arc / 2 + entry)
    lower = np.maximum(-size.chamber / 2, entry - size.arc / 2)
    return np.maximum(upper - lower, 0.0)


def _end_length(size, rays, absorption):
    """Length of arc whose ray crosses an end plane, each weighted with what is left of it."""
    near = np.maximum(0.0, (size.chamber - size.arc) / 2 - rays.entry)
    far = np.minimum(size.chamber, (size.chamber + size.arc) / 2 - rays.entry)
    far = np.minimum(far, (size.radius - size.sleeve) * rays.tangent)
    length = np.maximum(far - near, 0.0)
    sine = np.maximum(rays.tangent * rays.cosine, 1e-290)
    return length * np.exp(-absorption * near / sine) * depth_average(absorption / sine, length)
