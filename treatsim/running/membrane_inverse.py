"""Water and salt permeability that each reading of a vessel implies, by the vessel model itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.correlations.ro.normalisation import feed_brine_concentration
from treatsim.correlations.ro.solution_line import (
    SolutionLine,
    density_at,
    fraction_at,
    osmotic_pressure,
    take_line,
)
from treatsim.correlations.ro.spacer_channel import SpacerChannel, SpacerCorrelation
from treatsim.correlations.ro.vessel import Membrane, Vessel, VesselFeed, solve_vessel

CLOSE = 1e-8  # of permeate flow and concentration
ACCEPTED = 1e-6
MOST_ROUNDS = 20
ANEW = 5  # rounds, after which slopes are taken anew
STEP = 1e-4  # of the difference quotients, in logarithms
LEAST_TOLD = 1e-6
LARGEST_STEP = 0.7  # of a logarithm in one round
WIDEST = 5.0  # logarithm of a ratio
POLARISATION = 1.12  # for the first guess alone


class VesselReadings(NamedTuple):
    """Readings of one vessel; arrays over rows."""

    feed_flow: Any  # m3/s
    feed_pressure: Any  # Pa
    pressure_drop: Any  # Pa, feed to concentrate
    permeate_pressure: Any  # Pa
    feed_concentration: Any  # kg/m3
    permeate_flow: Any  # m3/s
    permeate_concentration: Any  # kg/m3
    temperature: Any  # K


class Plant(NamedTuple):
    """The vessel as it is known: geometry, the new membrane, the water."""

    channel: SpacerChannel
    elements: int
    law: SpacerCorrelation
    membrane: Callable[[Any], Membrane]  # new, at a temperature
    line: Callable[[Any], SolutionLine]  # of the water, at temperatures


class Implied(NamedTuple):
    """What the rows say of the vessel; ratios to new, and their standard errors."""

    water: Array  # ln of water permeability over new
    salt: Array  # ln of salt permeability over new
    drop: Array  # ln of the pressure drop over that of a clean channel
    errors: Array  # standard errors of the three, shape (3, rows)
    found: Array  # bool


class Errors(NamedTuple):
    """Standard errors of the instruments, each reading on its own."""

    flow: float  # relative
    pressure: float  # Pa
    conductivity: float  # relative
    temperature: float  # K
    two_gauges: bool = True  # whether the drop is the feed's gauge less the concentrate's


class _Model:
    """Rows, with the line and the new membrane at their temperatures."""

    def __init__(self, rows: VesselReadings, plant: Plant) -> None:
        self.rows, self.plant = rows, plant
        self.line = plant.line(rows.temperature)
        self.new = plant.membrane(rows.temperature)
        self.fraction = fraction_at(self.line, rows.feed_concentration)
        self.mass = rows.feed_flow * density_at(self.line, self.fraction)
        self.excess = np.zeros_like(rows.feed_flow)  # of the drop over the model's, Pa
        self.moved = np.ones_like(rows.feed_flow)  # by how much it moved last, over the pressure

    def solve(self, x: Array, index) -> Vessel:
        """Solve rows at logarithms `x` (2, n) of the ratios; half the excess drop is lost."""
        rows = self.rows
        feed = VesselFeed(
            self.mass[index],
            self.fraction[index],
            np.maximum(rows.feed_pressure[index] - 0.5 * self.excess[index], 1.0),
            rows.permeate_pressure[index],
        )
        new = self.new
        membrane = Membrane(
            new.water_permeability[index] * np.exp(x[0]),
            new.salt_permeability[index] * np.exp(x[1]),
            new.reflection,
        )
        return solve_vessel(
            feed, membrane, self.plant.channel, take_line(self.line, index), self.plant.elements,
            self.plant.law,
        )  # fmt: skip

    def misses(self, x: Array, index, *, follow: bool = False) -> tuple[Array, Vessel]:
        """Return the logarithmic misses of permeate flow and concentration (2, n)."""
        solved = self.solve(x, index)
        if follow:
            modelled = self.rows.feed_pressure[index] - 0.5 * self.excess[index]
            modelled = modelled - solved.concentrate_pressure
            excess = self.rows.pressure_drop[index] - modelled
            self.moved[index] = np.abs(excess - self.excess[index]) / self.rows.feed_pressure[index]
            self.excess[index] = excess
        with np.errstate(divide="ignore", invalid="ignore"):
            miss = np.log(
                [
                    solved.permeate_flow / self.rows.permeate_flow[index],
                    solved.permeate_concentration / self.rows.permeate_concentration[index],
                ]
            )
        return np.nan_to_num(miss, nan=9.0, posinf=9.0, neginf=-9.0), solved

    def guess(self) -> Array:
        """Return first logarithms by the mean of the vessel."""
        rows, plant = self.rows, self.plant
        flux = rows.permeate_flow / (plant.channel.area * plant.elements)
        share = np.clip(rows.permeate_flow / rows.feed_flow, 0.0, 0.95)
        mean = feed_brine_concentration(rows.feed_concentration, share)
        membrane = POLARISATION * mean
        push = (
            rows.feed_pressure - 0.5 * rows.pressure_drop - rows.permeate_pressure
            - osmotic_pressure(self.line, fraction_at(self.line, membrane))
        )  # fmt: skip
        push = np.maximum(push, 0.05 * rows.feed_pressure)
        product = np.minimum(rows.permeate_concentration, 0.9 * membrane)
        x = np.log(
            [
                flux / push / self.new.water_permeability,
                flux * product / (membrane - product) / self.new.salt_permeability,
            ]
        )
        return np.clip(x, -WIDEST, WIDEST)


def nobody(done: int, total: int) -> None:
    """Report to nobody."""


def invert(
    rows: VesselReadings,
    plant: Plant,
    errors: Errors | None = None,
    report: Callable[[int, int], None] = nobody,
) -> Implied:
    """Return the permeabilities that each row implies, and their errors by the instruments'.

    `report` is told how many of the rows are done.

    A row that no membrane explains is not found. The pressure drop is that of the row: what it has
    beyond a clean channel is taken from the driving pressure by half.
    """
    rows = VesselReadings(*(np.asarray(v, float) for v in np.broadcast_arrays(*rows)))
    model = _Model(rows, plant)
    every = np.arange(rows.feed_flow.size)
    x, miss = _newton(model, every, report)
    solved = model.solve(x, every)
    sound = (np.max(np.abs(miss), axis=0) <= ACCEPTED) & (np.asarray(solved.status) == 0)
    sound &= np.max(np.abs(x), axis=0) < WIDEST
    modelled = rows.feed_pressure - 0.5 * model.excess - solved.concentrate_pressure
    with np.errstate(divide="ignore", invalid="ignore"):
        drop = np.log(np.where(rows.pressure_drop > 0, rows.pressure_drop, np.nan) / modelled)
    scatter = np.zeros((3, every.size))
    if errors is not None:
        scatter = _propagated(model, x, errors)
    return Implied(x[0], x[1], drop, scatter, sound)


def _newton(model: _Model, every, report) -> tuple[Array, Array]:
    """Return logarithms and misses (2, n); Broyden's update after the first slopes."""
    x = model.guess()
    model.misses(x, every, follow=True)  # the drop first: it moves the driving pressure
    miss, _ = model.misses(x, every)  # at the same drop as the slopes
    slopes = _slopes(model, x, miss, every)
    for number in range(MOST_ROUNDS):
        left = np.flatnonzero(np.maximum(np.max(np.abs(miss), axis=0), model.moved) > CLOSE)
        report(every.size - left.size, every.size)
        if left.size == 0:
            break
        if number % ANEW == ANEW - 1:  # the few that creep
            miss[:, left], _ = model.misses(x[:, left], left)
            slopes[..., left] = _slopes(model, x[:, left], miss[:, left], left)
        step = np.clip(_solve2(slopes[..., left], -miss[:, left]), -LARGEST_STEP, LARGEST_STEP)
        trial = np.clip(x[:, left] + step, -WIDEST, WIDEST)
        step = trial - x[:, left]
        new, _ = model.misses(trial, left, follow=True)
        change = new - miss[:, left]
        lack = change - np.einsum("ijn,jn->in", slopes[..., left], step)
        size = np.sum(step**2, axis=0)
        told = size > LEAST_TOLD**2  # below, the march's own round-off would be learnt
        slopes[..., left[told]] += (lack[:, None] * step[None] / np.maximum(size, 1e-300))[
            ..., told
        ]
        x[:, left], miss[:, left] = trial, new
    return x, miss


def _slopes(model: _Model, x: Array, miss: Array, every) -> Array:
    columns = []
    for place in (0, 1):
        moved = x.copy()
        moved[place] += STEP
        columns.append((model.misses(moved, every)[0] - miss) / STEP)
    return np.stack(columns, axis=1)


def _solve2(matrix: Array, right: Array) -> Array:
    """Solve two equations for every row."""
    (a, b), (c, d) = matrix
    scale = a * d - b * c
    scale = np.where(np.abs(scale) < 1e-9, 1e-9, scale)
    return np.stack([d * right[0] - b * right[1], a * right[1] - c * right[0]]) / scale


def _propagated(model: _Model, x: Array, errors: Errors) -> Array:
    """Return the standard errors of ln A, ln B and ln of the drop ratio."""
    rows, every = model.rows, np.arange(x.shape[1])
    base, _ = model.misses(x, every)
    slopes = _slopes(model, x, base, every)
    none, gauge = np.zeros(every.size), errors.pressure
    moves: tuple[
        tuple[dict[str, Any], float], ...
    ] = (  # readings moved, and by how much the excess drop moves with them
        ({"feed_pressure": gauge}, gauge if errors.two_gauges else 0.0),
        ({}, gauge),  # half the drop is taken from the driving pressure
        ({"feed_flow": errors.flow * rows.feed_flow}, 0.0),
        ({"feed_concentration": errors.conductivity * rows.feed_concentration}, 0.0),
        ({"temperature": errors.temperature}, 0.0),
    )
    parts = [
        np.stack([none - errors.flow, none]),
        np.stack([none, none - errors.conductivity]),
    ]
    for changes, more in moves:
        moved = {name: getattr(rows, name) + size for name, size in changes.items()}
        other = _Model(rows._replace(**moved), model.plant)
        other.excess = model.excess + more
        parts.append(other.misses(x, every)[0] - base)
    squares = sum(_solve2(slopes, -part) ** 2 for part in parts)
    with np.errstate(divide="ignore", invalid="ignore"):
        gauges = 2 if errors.two_gauges else 1
        drop = gauges * (gauge / rows.pressure_drop) ** 2 + (1.7 * errors.flow) ** 2
    return np.sqrt(np.concatenate([squares, drop[None]]))
