"""Where the light of a lamp goes, term by term: a check on the sums of the field."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.correlations.uv.collimated_beam import depth_average
from treatsim.correlations.uv.lamp_field import lamp_field
from treatsim.correlations.uv.lamp_geometry import LampGeometry, ray_entering, ray_through, trace
from treatsim.correlations.uv.lamp_sums import axial_limits, axial_overlap, pieces
from treatsim.errors import require

NODES = 48  # per smooth piece
LAST_RAY = 20.0  # x beyond which a share of 1e-17 of the light remains


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
    absorbed = absorption * lamp_field(geometry, power, absorption).mean * geometry.volume
    wall, ends, bore, sleeve = (
        power * share for share in _leaving(geometry, np.asarray(absorption)[..., None])
    )
    total = absorbed + wall + ends + bore + sleeve
    absorbed, wall, ends, bore, sleeve = np.broadcast_arrays(absorbed, wall, ends, bore, sleeve)
    return PowerBudget(absorbed, wall, ends, bore, sleeve, total / power - 1)


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


def wall_irradiance(geometry: LampGeometry, power: float, absorption):
    """Irradiance on a flat cosine sensor flush with the wall at mid-length.

    The projection on the sensor cancels the cosine of the ray tube, by which a fluence rate is
    divided.

    Parameters
    ----------
    geometry : LampGeometry
        Lamp and chamber. [m]
    power : float
        Ultraviolet output of the lamp. [W]
    absorption : array_like, shape (n,)
        Napierian absorption of the water. [1/m]

    Returns
    -------
    ndarray, shape (n,)
        Irradiance. [W/m2]

    Validity
    --------
    As `local_fluence_rate`; no port recess, full acceptance angle.

    Source
    ------
    bolton_2000; liu_2004.
    """
    size, choices = geometry.dimensions(1), (geometry.emission, geometry.interfaces)
    through = ray_through(size, choices[1], size.radius, size.arc / 2)
    entering = ray_entering(size, choices[1], size.radius, size.chamber / 2)
    top = np.minimum(through, entering)
    x, step = pieces([-top, 0.0 * top, top], NODES)
    rays = trace(size, *choices, x)
    shining = rays.emitted * rays.transmitted * step
    shining = shining * np.exp(
        -np.asarray(absorption)[..., None] * (size.radius - size.sleeve) / rays.cosine
    )
    return power * np.sum(shining / (2 * np.pi * size.radius * size.arc), axis=-1)
