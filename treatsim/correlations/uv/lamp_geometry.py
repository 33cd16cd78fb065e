"""A tubular lamp on the axis of a cylindrical chamber: dimensions, and the rays that leave it.

Lamp and chamber are centred on each other. Rays of a source on the axis stay in meridional planes,
so sleeve and water act as plane layers. A ray is named by x with tan(angle in air) = sinh(x): in x
every quantity is smooth on the scale of one, whether the ray is normal or nearly along the axis.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.uv.optics import (
    INDEX_AIR,
    INDEX_QUARTZ,
    INDEX_WATER,
    check_choice,
    refracted_cosine,
    transmittance_unpolarised,
)
from treatsim.errors import DomainError, require

EMISSIONS = ("isotropic", "cosine")
INTERFACES = ("refracting", "straight")


class Dimensions(NamedTuple):
    """Lengths [m] and quartz absorption [1/m], each a float or an array shaped for the nodes."""

    arc: Any
    chamber: Any
    radius: Any
    sleeve: Any
    bore: Any
    quartz_absorption: Any


@dataclass(frozen=True)
class LampGeometry:
    """Lamp, sleeve and chamber. Each number may be an array over operating points.

    Parameters
    ----------
    arc_length : float or array_like
        Length of the luminous arc. [m]
    chamber_length : float or array_like
        Length of the water space, centred on the arc. [m]
    chamber_radius : float or array_like
        Inner radius of the chamber. [m]
    sleeve_outer_radius, sleeve_inner_radius : float or array_like
        Radii of the quartz sleeve. [m]
    quartz_absorption : float or array_like
        Napierian absorption of the quartz. [1/m]
    emission : str
        "isotropic" (every point radiates evenly) or "cosine" (optically thick arc).
    interfaces : str
        "refracting" (Snell and Fresnel at both faces, reflected light lost) or "straight" (no
        bending, no reflection; quartz still absorbs).

    Validity
    --------
    Black wall. DomainError unless 0 < inner <= outer sleeve radius < chamber radius and all
    lengths are positive.

    Source
    ------
    bolton_2000; liu_2004.
    """

    arc_length: Any
    chamber_length: Any
    chamber_radius: Any
    sleeve_outer_radius: Any
    sleeve_inner_radius: Any
    quartz_absorption: Any = 0.0
    emission: str = "isotropic"
    interfaces: str = "refracting"

    def __post_init__(self):
        check_choice("emission", self.emission, EMISSIONS)
        check_choice("interfaces", self.interfaces, INTERFACES)
        for name in Dimensions._fields[:5]:
            label = _LABELS[name]
            require(label.replace("_", " "), getattr(self, label), 0.0, 1e3, "m", open_low=True)
        require("quartz absorption", self.quartz_absorption, 0.0, 1e6, "1/m")
        inner, outer = np.asarray(self.sleeve_inner_radius), np.asarray(self.sleeve_outer_radius)
        if np.any(inner > outer) or np.any(outer >= np.asarray(self.chamber_radius)):
            raise DomainError("radii must rise from sleeve bore over sleeve to chamber")

    @property
    def is_scalar(self) -> bool:
        """Whether every dimension is a single number."""
        return all(np.ndim(value) == 0 for value in self._numbers())

    @property
    def flow_area(self):
        """Cross-section of the water. [m2]"""
        outer, inner = np.asarray(self.chamber_radius), np.asarray(self.sleeve_outer_radius)
        return np.pi * (outer - inner) * (outer + inner)

    @property
    def volume(self):
        """Water in the chamber. [m3]"""
        return self.flow_area * np.asarray(self.chamber_length)

    def _numbers(self):
        return [getattr(self, field.name) for field in fields(self)[:6]]

    def key(self) -> tuple:
        """Hashable content of a scalar geometry."""
        return (*(float(value) for value in self._numbers()), self.emission, self.interfaces)

    def rows(self, shape) -> np.ndarray:
        """Dimensions broadcast to `shape` and flattened, shape (N, 6)."""
        columns = [np.broadcast_to(value, shape).ravel() for value in self._numbers()]
        return np.stack(columns, axis=-1).astype(float)

    def dimensions(self, trailing: int) -> Dimensions:
        """Dimensions with `trailing` axes of length one behind those of the points."""
        arrays = (np.asarray(value, dtype=float) for value in self._numbers())
        return Dimensions(*(a.reshape(a.shape + (1,) * trailing) if a.ndim else a for a in arrays))


_LABELS = dict(zip(Dimensions._fields, (f.name for f in fields(LampGeometry)), strict=False))


class Rays(NamedTuple):
    """Rays at given x; arrays of one shape."""

    emitted: np.ndarray  # share of the lamp power per unit of x, one side of the normal
    transmitted: np.ndarray  # share that enters the water
    cosine: np.ndarray  # of the angle in water
    tangent: np.ndarray  # of the angle in water
    entry: np.ndarray  # axial way from the source to the outer face of the sleeve, m


def trace(size: Dimensions, emission: str, interfaces: str, x) -> Rays:
    """Follow rays from the axis into the water.

    Parameters
    ----------
    size : Dimensions
        Lengths that broadcast against `x`. [m]
    emission, interfaces : str
        Model choices of `LampGeometry`.
    x : ndarray
        Rays, tan(angle in air) = sinh(x). [1]

    Returns
    -------
    Rays
        Same shape as `x` broadcast with the dimensions.

    Validity
    --------
    Any real x. The emitted share integrates to one half over x from 0 to infinity.

    Source
    ------
    bolton_2000 (Snell, Fresnel); ioa_2007 paper page 3 (normalisation of the cosine law).
    """
    cos_air, sin_air, tan_air = 1.0 / np.cosh(x), np.tanh(x), np.sinh(x)
    quartz, water = _ratios(interfaces)
    cos_quartz, cos_water = refracted_cosine(cos_air, quartz), refracted_cosine(cos_air, water)
    # dt = cos t dx
    emitted = cos_air**2 / 2 if emission == "isotropic" else 2 / np.pi * cos_air**3
    wall = size.sleeve - size.bore
    transmitted = np.exp(-size.quartz_absorption * wall / cos_quartz)
    if interfaces == "refracting":
        transmitted = transmitted * transmittance_unpolarised(sin_air, cos_air)
    entry = size.bore * tan_air + wall * sin_air / (quartz * cos_quartz)
    return Rays(emitted, transmitted, cos_water, sin_air / (water * cos_water), entry)


def ray_through(size: Dimensions, interfaces: str, radius, shift):
    """The ray that has moved `shift` along the axis when it reaches `radius`.

    Parameters
    ----------
    size : Dimensions
        Lengths that broadcast against `radius` and `shift`. [m]
    interfaces : str
        Model choice of `LampGeometry`.
    radius : array_like
        Radius in the water, from the sleeve's outer radius. [m]
    shift : array_like
        Axial way from the source; its sign is kept. [m]

    Returns
    -------
    ndarray
        x of the ray. [1]

    Validity
    --------
    The way is a rising, concave function of the tangent, so Newton's method from below is
    monotone; converged to round-off.

    Source
    ------
    bolton_2000 (Snell).
    """
    quartz, water = _ratios(interfaces)
    wall, layer, target = size.sleeve - size.bore, radius - size.sleeve, np.abs(shift)
    tangent = target / (size.bore + wall / quartz + layer / water)
    for _ in range(40):
        root_q = np.sqrt(quartz**2 + (quartz**2 - 1) * tangent**2)
        root_w = np.sqrt(water**2 + (water**2 - 1) * tangent**2)
        way = tangent * (size.bore + wall / root_q + layer / root_w)
        slope = size.bore + wall * quartz**2 / root_q**3 + layer * water**2 / root_w**3
        step = (target - way) / slope
        tangent = np.maximum(tangent + step, 0.0)
        if np.all(np.abs(step) <= 1e-14 * tangent):
            break
    return np.copysign(np.arcsinh(tangent), shift)


def ray_entering(size: Dimensions, interfaces: str, radius, shift):
    """The ray that moves `shift` along the axis between the sleeve's outer face and `radius`.

    Parameters
    ----------
    size : Dimensions
        Lengths that broadcast against `radius` and `shift`. [m]
    interfaces : str
        Model choice of `LampGeometry`.
    radius : array_like
        Radius in the water. [m]
    shift : array_like
        Axial way in the water; its sign is kept. [m]

    Returns
    -------
    ndarray
        x of the ray; infinite where no ray is that oblique in the water. [1]

    Validity
    --------
    Closed form.

    Source
    ------
    bolton_2000 (Snell).
    """
    _, water = _ratios(interfaces)
    layer = np.maximum(radius - size.sleeve, 1e-300)
    with np.errstate(over="ignore", divide="ignore"):
        ratio = np.abs(shift) / layer
        room = 1.0 - (water**2 - 1) * np.minimum(ratio, 1e150) ** 2
        tangent = np.where(room > 0, water * ratio / np.sqrt(np.maximum(room, 1e-300)), np.inf)
    return np.copysign(np.arcsinh(tangent), shift)


def _ratios(interfaces):
    if interfaces == "straight":
        return 1.0, 1.0
    return INDEX_QUARTZ / INDEX_AIR, INDEX_WATER / INDEX_AIR
