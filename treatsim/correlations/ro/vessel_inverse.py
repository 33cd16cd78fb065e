"""The feed pressure at which a vessel gives the permeate asked for."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.ro.solution_line import (
    SolutionLine,
    density_at,
    osmotic_pressure,
    polynomial,
    take_line,
)
from treatsim.correlations.ro.spacer_channel import (
    SCHOCK_MIQUEL,
    SpacerChannel,
    SpacerCorrelation,
)
from treatsim.correlations.ro.vessel import (
    Membrane,
    Vessel,
    VesselFeed,
    solve_vessel,
)
from treatsim.correlations.ro.vessel_kernel import build_problem
from treatsim.errors import require
from treatsim.numerics import find_roots

CLOSE = 1e-8  # relative, of the permeate flow


class VesselPressure(NamedTuple):
    """Answer of `pressure_for_permeate`, arrays of the broadcast shape."""

    pressure: np.ndarray  # Pa; where not reached, the one that comes nearest
    reached: np.ndarray  # bool
    vessel: Vessel  # solved at that pressure
    solves: float  # forward solutions per point


def pressure_for_permeate(
    permeate_flow,
    feed: VesselFeed,
    membrane: Membrane,
    channel: SpacerChannel,
    line: SolutionLine,
    elements: int = 1,
    law: SpacerCorrelation = SCHOCK_MIQUEL,
    pressure_max: float = 2e7,
) -> VesselPressure:
    """Find the feed pressure that gives a permeate flow.

    Parameters
    ----------
    permeate_flow : array_like
        Asked for. [m3/s]
    feed : VesselFeed
        As for `solve_vessel`; its pressure is not used. [-]
    membrane : Membrane
        Permeabilities and reflection coefficient. [m/(s Pa)], [m/s], [1]
    channel : SpacerChannel
        Geometry of one element. [-]
    line : SolutionLine
        Water at its temperature. [-]
    elements : int
        In series, one number for all points. [1]
    law : SpacerCorrelation
        Mass transfer and friction. [-]
    pressure_max : float
        Highest feed pressure to look at. [Pa]

    Returns
    -------
    VesselPressure
        Broadcast shape. [Pa]

    Validity
    --------
    Permeate rises with pressure, so there is at most one answer; it is found to 1e-8 of the flow.
    A point whose flow needs more than `pressure_max`, or more than 98 % of the feed, is returned
    not reached.

    Source
    ------
    definition
    """
    target = require("permeate flow", permeate_flow, 0.0, np.inf, "m3/s", open_low=True)
    columns = (target, feed.mass_flow, feed.fraction, feed.permeate_pressure, *membrane)
    shape = np.broadcast_shapes(*(np.shape(v) for v in (*columns, *channel, *line[0])))
    flat = [np.array(np.broadcast_to(v, shape), dtype=float).ravel() for v in columns]
    geometry = SpacerChannel(*(np.array(np.broadcast_to(v, shape)).ravel() for v in channel))

    def forward(pressure, index):
        _, mass, fraction, back, *membrane = (v[index] for v in flat)
        here = VesselFeed(mass, fraction, pressure, back)
        part = SpacerChannel(*(v[index] for v in geometry))
        return solve_vessel(here, Membrane(*membrane), part, take_line(line, index), elements, law)

    def residual(pressure, index):
        return forward(pressure, index).permeate_flow / flat[0][index] - 1

    guess, slope = _guess(flat, geometry, line, elements, law)
    low = flat[3]
    guess = np.clip(guess, low + 1.0, 0.98 * pressure_max)
    roots = find_roots(residual, guess, low, pressure_max, rtol=1e-13, ftol=CLOSE, slope=slope)
    pressure = np.clip(roots.x, low, pressure_max).reshape(shape)
    every = np.arange(flat[0].size)
    vessel = _shaped(forward(pressure.ravel(), every), shape)
    reached = (np.abs(vessel.permeate_flow / target - 1) <= 100 * CLOSE).reshape(shape)
    return VesselPressure(pressure, reached, vessel, 1 + roots.evaluations / max(every.size, 1))


def _shaped(vessel: Vessel, shape) -> Vessel:
    rows: dict[str, Any] = {
        name: value.reshape((*value.shape[:-1], *shape))
        for name, value in vessel._asdict().items()
        if isinstance(value, np.ndarray)
    }
    return vessel._replace(**rows)


def _guess(flat, channel: SpacerChannel, line: SolutionLine, elements: int, law):
    """Pressure from the mean flux, the film at the mean place and half the friction; its slope."""
    target, mass, fraction, back, A, B, reflection = flat
    area = channel.area * elements
    flux = target / area
    share = np.minimum(target * density_at(line, 0.0) / mass, 0.97)
    mean = fraction * -np.log1p(-share) / np.maximum(share, 1e-12)
    halfway = mass * (1 - 0.5 * share)
    problem = build_problem(halfway, mean, back, A, B, channel, law, line)
    inside = np.minimum(mean, line.fraction_max)
    transfer = np.exp(-polynomial(problem.log_resistance, inside))
    friction = np.exp(polynomial(problem.log_friction, inside))
    film = np.exp(np.minimum(flux / transfer, 50.0))
    passage = B * film / (flux + B * film)
    membrane = mean * (passage + (1 - passage) * film)
    pi = osmotic_pressure(line, membrane) - osmotic_pressure(line, mean * passage)
    pi = reflection * pi
    pressure = back + flux / A + pi + 0.5 * elements * friction
    # relative: d ln(flow) / dP of the mean element at fixed feed
    stiffness = flux / A + pi * (flux / transfer + share / (1 - 0.5 * share))
    return pressure, 1 / stiffness
