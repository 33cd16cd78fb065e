"""Ultraviolet field of a lamp in an absorbing annulus, for many operating points at once.

The field depends on z - z' only, so integrals over the arc and over the chamber collapse into one
over the emission angle, weighted with the length on which a ray's source and its point both lie.
What remains is a sum of weights times exp(-absorption * path). Weights and paths belong to the
geometry. For one geometry the sum is stored as a Chebyshev series in the absorption, with its
error.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from treatsim.correlations.uv.lamp_geometry import LampGeometry
from treatsim.correlations.uv.lamp_sums import evaluate_sums, radii, ray_sums
from treatsim.errors import require
from treatsim.ranges import Range

RADIAL_NODES = 32
ANGLE_NODES = {"refracting": 28, "straight": 72}  # per smooth piece
DEGREE = 40
ABSORPTION_TABLE = 250.0  # 1/m, upper end of the stored series; above it the sum is evaluated
ABSORPTION_RANGE = Range("absorption", 0.0, 460.0, "1/m", "fluence rate of a lamp in an annulus")
CHUNK = 4096
FEW_POINTS = 8  # a geometry with fewer points than this is not worth a series of its own


class LampField(NamedTuple):
    """Field per operating point: (...) has the shape of the points, n is the number of radii.

    With one geometry for all points `radius` and `area_weight` have the shape (n,), else (..., n).
    """

    mean: np.ndarray  # volume mean of the fluence rate, W/m2, (...)
    axial_integral: np.ndarray  # fluence rate integrated over the chamber's length, W/m, (..., n)
    axial_integral_at_wall: np.ndarray  # the same at the chamber's radius, W/m, (...)
    fluence_rate_at_wall: np.ndarray  # at mid-length, W/m2, (...)
    irradiance_at_wall: np.ndarray  # flat cosine sensor at mid-length, W/m2, (...)
    radius: np.ndarray  # m
    area_weight: np.ndarray  # share of the cross-section, sums to 1
    error: float  # estimated largest relative error of the numbers above


def lamp_field(geometry: LampGeometry, power, absorption) -> LampField:
    """Fluence rate in the chamber: mean, axial integrals and wall values.

    Parameters
    ----------
    geometry : LampGeometry
        Lamp and chamber; its numbers may be arrays that broadcast with the points. [m]
    power : array_like
        Ultraviolet output of the lamp at the wavelength of the absorption. [W]
    absorption : array_like
        Napierian absorption of the water. [1/m]

    Returns
    -------
    LampField
        Shapes (...) and (..., 32) for points of shape (...); W/m2 and W/m.

    Validity
    --------
    Line source on the axis, black wall, single pass. Numerical error below 1e-10 for chambers up
    to 100 mm radius and below 1e-6 up to 400 mm within ABSORPTION_RANGE (a few 1e-6 where the
    chamber is shorter than the arc and than its own radius); the estimate is returned as `error`.
    More absorption is computed. Negative power or absorption raises DomainError.

    Source
    ------
    bolton_2000; blatchley_1997; liu_2004; reduction of the integrals computed.
    """
    power = require("lamp power", power, 0.0, np.inf, "W")
    absorption = require("absorption", absorption, 0.0, np.inf, "1/m")
    if geometry.is_scalar:
        shape = np.broadcast_shapes(power.shape, absorption.shape)
        series = field_series(geometry.key())
        unit, error = series.evaluate(np.broadcast_to(absorption, shape).ravel()), series.error
        radius, weight = series.radius, series.area_weight
    else:
        shape = np.broadcast_shapes(power.shape, absorption.shape, *_shapes(geometry))
        rows = geometry.rows(shape)
        choices = (geometry.emission, geometry.interfaces)
        unit, error = _many_geometries(rows, choices, np.broadcast_to(absorption, shape).ravel())
        radius, weight = radii(rows[:, 3:4], rows[:, 2:3], RADIAL_NODES, geometry.interfaces)
        radius, weight = (a.reshape(*shape, RADIAL_NODES) for a in (radius, weight))
    values = unit.reshape(*shape, RADIAL_NODES + 3) * power[..., None]
    integral = values[..., :RADIAL_NODES]
    mean = np.sum(integral * weight, axis=-1) / np.asarray(geometry.chamber_length)
    wall = np.moveaxis(values[..., -3:], -1, 0)
    return LampField(mean, integral, wall[0], wall[1], wall[2], radius, weight, error)


class FieldSeries:
    """Field of one geometry per watt, as Chebyshev series in ln(absorption + shift)."""

    def __init__(self, geometry: LampGeometry):
        self.geometry = geometry
        self.shift = 4.0 / (float(geometry.arc_length) + float(geometry.chamber_length))
        self.low = np.log(self.shift)
        self.span = np.log(ABSORPTION_TABLE + self.shift) - self.low
        ends = (float(geometry.sleeve_outer_radius), float(geometry.chamber_radius))
        self.radius, self.area_weight = radii(*ends, RADIAL_NODES, geometry.interfaces)
        self.depth = np.append(self.radius, np.full(3, geometry.chamber_radius))
        self.depth = self.depth - geometry.sleeve_outer_radius
        self.angle_nodes = ANGLE_NODES[geometry.interfaces]
        self.sums = ray_sums(geometry, RADIAL_NODES, self.angle_nodes)
        theta = np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1)
        at_nodes = self._sum(self._absorption(np.cos(theta)))
        to_series = np.cos(np.arange(DEGREE + 1)[:, None] * theta) * 2 / (DEGREE + 1)
        to_series[0] /= 2
        self.series = to_series @ (at_nodes * np.exp(self._decay(self._absorption(np.cos(theta)))))
        self.error = self._error()

    def evaluate(self, absorption):
        """Axial integrals and three wall values per watt, shape (N, 32 + 3)."""
        out = np.empty((absorption.size, self.depth.size))
        for start in range(0, absorption.size, CHUNK):
            part = absorption[start : start + CHUNK]
            basis = self._basis(np.minimum(part, ABSORPTION_TABLE))
            out[start : start + CHUNK] = (basis.T @ self.series) * np.exp(-self._decay(part))
        beyond = np.flatnonzero(absorption > ABSORPTION_TABLE)
        for start in range(0, beyond.size, 64):
            index = beyond[start : start + 64]
            out[index] = self._sum(absorption[index])
        return out

    def _sum(self, absorption):
        return evaluate_sums(self.sums, absorption[:, None, None])

    def _absorption(self, x):
        return np.exp(self.low + 0.5 * self.span * (x + 1)) - self.shift

    def _place(self, absorption):
        return (np.log(absorption + self.shift) - self.low) * (2 / self.span) - 1

    def _decay(self, absorption):
        return absorption[:, None] * self.depth

    def _basis(self, absorption):
        x = self._place(absorption)
        basis = np.empty((DEGREE + 1, x.size))
        basis[0], basis[1] = 1.0, x
        for k in range(2, DEGREE + 1):
            basis[k] = 2 * x * basis[k - 1] - basis[k - 2]
        return basis

    def _error(self):
        """Largest deviation from a finer rule, between the nodes of the series."""
        absorption = self._absorption(np.linspace(-1, 1, 9)[:8] + 0.11)
        more = RADIAL_NODES + 16
        rough = self.evaluate(absorption)
        fine = self._finer(absorption, RADIAL_NODES, 2 * self.angle_nodes)
        ends = (float(self.geometry.sleeve_outer_radius), float(self.geometry.chamber_radius))
        _, weight = radii(*ends, more, self.geometry.interfaces)
        mean = self._finer(absorption, more, self.angle_nodes)[:, :-3] @ weight
        mean_error = rough[:, :RADIAL_NODES] @ self.area_weight / mean - 1
        return float(max(np.max(np.abs(rough / fine - 1)), np.max(np.abs(mean_error))))

    def _finer(self, absorption, radial_nodes, angle_nodes):
        sums = ray_sums(self.geometry, radial_nodes, angle_nodes)
        return evaluate_sums(sums, absorption[:, None, None])


@lru_cache(maxsize=256)
def field_series(key: tuple) -> FieldSeries:
    """Series of a scalar geometry, built once.

    Parameters
    ----------
    key : tuple
        `LampGeometry.key()`.

    Returns
    -------
    FieldSeries
        Field per watt. [1/m2]

    Validity
    --------
    As `lamp_field`.

    Source
    ------
    Computed.
    """
    return FieldSeries(LampGeometry(*key))


def _shapes(geometry):
    size = geometry.dimensions(0)
    return [value.shape for value in size]


def _many_geometries(rows, choices, absorption):
    """Field per watt where the geometry differs between points; groups of points share a series."""
    unique, group, count = np.unique(rows, axis=0, return_inverse=True, return_counts=True)
    group = group.ravel()
    out = np.empty((len(rows), RADIAL_NODES + 3))
    angle_nodes = ANGLE_NODES[choices[1]]
    for g in np.flatnonzero(count >= FEW_POINTS):
        index = np.flatnonzero(group == g)
        out[index] = field_series((*unique[g].tolist(), *choices)).evaluate(absorption[index])
    alone = np.flatnonzero(count[group] < FEW_POINTS)
    for start in range(0, alone.size, 64):
        index = alone[start : start + 64]
        sums = ray_sums(LampGeometry(*rows[index].T, *choices), RADIAL_NODES, angle_nodes)
        out[index] = evaluate_sums(sums, absorption[index][:, None, None])
    # the hardest geometries speak for the rest: slimmest sleeve, longest lamp
    hardest = {
        int(np.argmin(unique[:, 3] / unique[:, 2])),
        int(np.argmax(unique[:, 0] / unique[:, 4])),
    }
    error = max(field_series((*unique[g].tolist(), *choices)).error for g in hardest)
    return out, error
