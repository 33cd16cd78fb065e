"""Reverse-osmosis elements in series in a pressure vessel: solve it, and look at each element."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.ro import vessel_march, vessel_step
from treatsim.correlations.ro.reflection import with_reflection
from treatsim.correlations.ro.solution_line import (
    SolutionLine,
    concentration_at,
    density_at,
    osmotic_pressure,
    polynomial,
)
from treatsim.correlations.ro.spacer_channel import SCHOCK_MIQUEL, SpacerChannel, SpacerCorrelation
from treatsim.correlations.ro.vessel_kernel import (
    ARRAYS,
    FLOATS,
    LEAST_BETA,
    TINY_FLUX,
    Problem,
    build_problem,
    local,
    slopes,
    take,
)
from treatsim.errors import require

DEFAULT_TOLERANCE = 1e-5
MOST_ELEMENTS = 1000
AT_ONCE = 500  # points
STATUS_WORDS = {
    vessel_step.FEED_BELOW_OSMOTIC: "the feed pressure is below the feed's osmotic pressure",
    vessel_step.DRY_OUT: "the feed is used up: 98 % is recovered before the end of the vessel",
    vessel_step.CONCENTRATE_BELOW_PERMEATE: "friction takes the pressure below the permeate's",
    vessel_step.NOT_CONVERGED: "the march needs more steps than allowed",
    vessel_step.NO_DRIVING_PRESSURE: "the feed pressure is not above the permeate pressure",
    vessel_step.BEYOND_LINE: "the concentration at the membrane leaves the range of the water",
}


class VesselFeed(NamedTuple):
    """What enters, and against what the permeate leaves; floats or arrays."""

    mass_flow: Any  # kg/s
    fraction: Any  # mass fraction of dissolved salt, kg/kg
    pressure: Any  # Pa
    permeate_pressure: Any = 0.0  # Pa


class Membrane(NamedTuple):
    """Permeabilities at the temperature of the water; floats or arrays."""

    water_permeability: Any  # A, m/(s Pa)
    salt_permeability: Any  # B, m/s
    reflection: Any = 1.0  # coefficient of Spiegler and Kedem; 1: solution-diffusion


class Vessel(NamedTuple):
    """A solved vessel. Arrays of the broadcast shape; nodes have one more axis in front."""

    permeate_mass_flow: np.ndarray  # kg/s
    permeate_fraction: np.ndarray  # kg/kg
    permeate_flow: np.ndarray  # m3/s
    permeate_concentration: np.ndarray  # kg/m3
    concentrate_mass_flow: np.ndarray  # kg/s
    concentrate_fraction: np.ndarray  # kg/kg
    concentrate_flow: np.ndarray  # m3/s
    concentrate_concentration: np.ndarray  # kg/m3
    concentrate_pressure: np.ndarray  # Pa
    recovery: np.ndarray  # permeate volume / feed volume
    status: np.ndarray  # bits, see STATUS_WORDS
    estimate: np.ndarray  # largest relative error estimate of a step
    nodes: np.ndarray  # y, m, P, J, beta at the element ends, shape (elements + 1, 5, ...)
    elements: np.ndarray  # in series
    problem: Problem  # of the flattened points


def solve_vessel(
    feed: VesselFeed,
    membrane: Membrane,
    channel: SpacerChannel,
    line: SolutionLine,
    elements=1,
    law: SpacerCorrelation = SCHOCK_MIQUEL,
    tolerance: float = DEFAULT_TOLERANCE,
) -> Vessel:
    """Solve elements in series.

    Parameters
    ----------
    feed : VesselFeed
        Mass flow, mass fraction, pressure, permeate pressure. [kg/s], [kg/kg], [Pa], [Pa]
    membrane : Membrane
        At the water's temperature; with its reflection coefficient. [m/(s Pa)], [m/s], [1]
    channel : SpacerChannel
        Geometry of one element. [m2], [m], [m], [1]
    line : SolutionLine
        Water at its temperature. [-]
    elements : array_like of int
        Elements in series; points are grouped by it. [1]
    law : SpacerCorrelation
        Mass transfer and friction. [-]
    tolerance : float
        Relative error allowed to a step. [1]

    Returns
    -------
    Vessel
        Broadcast shape of all inputs. [various, see Vessel]

    Validity
    --------
    Solution-diffusion, or Spiegler and Kedem, with film theory, properties taken where they are.
    Water and salt close to round-off at any tolerance. Impossible inputs raise DomainError; a point
    without a proper answer has a status (see STATUS_WORDS) and finite numbers. True osmotic
    back-flow is not modelled.

    Source
    ------
    film theory; spiegler_kedem_1966; schock_miquel_1987; dormand_prince_1980
    """
    shape, columns, count = _checked(feed, membrane, channel, line, elements)
    mass_flow, fraction, pressure, permeate_pressure, A, B, s, channel = columns
    problem = build_problem(mass_flow, fraction, permeate_pressure, A, B, channel, law, line)
    problem = with_reflection(problem, s)
    if count.size == 1:
        problem = take(problem, 0)  # floats: a point alone is looked at without arrays
    path = _marched(problem, pressure, count, tolerance)
    status = path.status | _status(problem, path, pressure, line)
    return _vessel(problem, mass_flow, path._replace(status=status), count, line, shape)


def _checked(feed, membrane, channel, line, elements):
    """Check every input, and flatten those that vary over points."""
    inf = np.inf
    values = [
        require("feed mass flow", feed.mass_flow, 0.0, inf, "kg/s", open_low=True),
        require("feed salt fraction", feed.fraction, 0.0, 0.5, "kg/kg"),
        require("feed pressure", feed.pressure, -1e5, 1e9, "Pa"),
        require("permeate pressure", feed.permeate_pressure, -1e5, 1e9, "Pa"),
        require(
            "water permeability", membrane.water_permeability, 0.0, 1e-6, "m/(s Pa)", open_low=True
        ),
        require("salt permeability", membrane.salt_permeability, 0.0, 1.0, "m/s", open_low=True),
        require("reflection coefficient", membrane.reflection, 0.0, 1.0, "", open_low=True),
        *(np.asarray(value, dtype=float) for value in channel),
    ]
    count = require("elements in series", elements, 1, MOST_ELEMENTS, "").astype(int)
    tables = [v for item in line if isinstance(item, tuple) for v in item]
    # each shape once: a lone point has forty of the same
    shapes = {v.shape for v in [*values, count]} | {
        v.shape for v in tables if isinstance(v, np.ndarray)
    }
    shape = np.broadcast_shapes(*shapes)
    flat: list[Any] = [
        float(v) if v.ndim == 0 else np.broadcast_to(v, shape).ravel() for v in values
    ]
    size = math.prod(shape)
    flat[2] = np.full(size, flat[2])
    count = np.full(size, count) if count.ndim == 0 else np.broadcast_to(count, shape).ravel()
    return shape, (*flat[:7], SpacerChannel(*flat[7:])), count


def _marched(problem: Problem, pressure, count, tolerance) -> vessel_march.Path:
    """March every group of equal element count; shorter vessels repeat their outlet."""
    if count.size == 1 or np.all(count == count[0]):
        return vessel_march.march(problem, pressure, int(count[0]), tolerance)
    numbers = np.unique(count)
    nodes = np.empty((int(numbers[-1]) + 1, 5, count.size))
    estimate, status = np.empty(count.size), np.empty(count.size, int)
    for number in numbers:
        some = np.flatnonzero(count == number)
        part = vessel_march.march(take(problem, some), pressure[some], int(number), tolerance)
        nodes[: number + 1, :, some], nodes[number + 1 :, :, some] = part.nodes, part.nodes[-1:]
        estimate[some], status[some] = part.estimate, part.status
    return vessel_march.Path(nodes, estimate, status)


def _status(problem: Problem, path, pressure, line: SolutionLine):
    """Bits that follow from the two ends of the path."""
    push = pressure - problem.permeate_pressure
    felt = 1.0 if problem.reflection is None else problem.reflection
    osmotic = felt * osmotic_pressure(line, problem.feed_fraction)
    return (
        vessel_step.FEED_BELOW_OSMOTIC * (push < osmotic)
        + vessel_step.NO_DRIVING_PRESSURE * (push <= 0)
        + vessel_step.BEYOND_LINE * _beyond(problem, path.nodes, line.fraction_max)
    )


def _beyond(problem: Problem, nodes, fraction_max: float):
    """Whether the water at the membrane leaves the line at any node."""
    if nodes.shape[2] == 1:
        states = nodes[:, (0, 1, 3, 4), 0].tolist()
        return any(local(FLOATS, problem, *state).membrane > fraction_max for state in states)
    beyond = np.zeros(nodes.shape[2], bool)
    # many points node by node, which fits the cache; of few all nodes at once, which is one call
    for part in nodes if beyond.size > AT_ONCE else [nodes.swapaxes(0, 1)]:
        at = local(ARRAYS, problem, *(part[row] for row in (0, 1, 3, 4)))
        beyond |= (at.membrane > fraction_max).reshape(-1, beyond.size).any(axis=0)
    return beyond


def _vessel(problem, mass_flow, path, count, line, shape) -> Vessel:
    lone = count.size == 1
    y, m, P, *_ = path.nodes[-1, :, 0].tolist() if lone else path.nodes[-1]
    mass_flow = np.asarray(mass_flow).item() if lone else mass_flow
    *ends, recovery = _ends(FLOATS if lone else ARRAYS, problem, mass_flow, y, m)
    rows = np.array((*ends, P, recovery)) if lone else (*ends, P, recovery)
    results = [v.reshape(shape) for v in (*rows, path.status, path.estimate)]
    nodes = path.nodes.reshape(*path.nodes.shape[:2], *shape)
    return Vessel._make([*results, nodes, count.reshape(shape), problem])


def _ends(xp, p: Problem, mass_flow, y, m):
    """Permeate and concentrate, each by mass flow, fraction, flow and concentration; recovery."""
    share = -xp.expm1(y)
    removed = share * mass_flow
    inner = xp.where(share > 0, m / xp.maximum(share, 1e-300), 0.0)
    left = mass_flow - removed
    outer = (mass_flow * p.feed_fraction - removed * inner) / left
    rho_p, rho_c, rho_f = (_density(xp, p, w) for w in (inner, outer, p.feed_fraction))
    flow = removed / rho_p
    recovery = flow * rho_f / mass_flow
    return (
        removed, inner, flow, inner * rho_p, left, outer, left / rho_c, outer * rho_c, recovery,
    )  # fmt: skip


def _density(xp, p: Problem, fraction):
    inside = xp.minimum(fraction, p.fraction_max)
    rise = polynomial(p.density_slope, inside)
    return polynomial(p.density, inside) + rise * (fraction - inside)


class ElementResults(NamedTuple):
    """Per element, shape (elements, ...); a shorter vessel of a group has zero flux at its end."""

    flux_mean: np.ndarray  # permeate volume flow / area, m/s
    flux_in: np.ndarray  # local, m/s
    flux_out: np.ndarray
    recovery: np.ndarray  # permeate volume / volume that enters the element
    permeate_flow: np.ndarray  # m3/s
    permeate_concentration: np.ndarray  # kg/m3
    feed_mass_flow: np.ndarray  # that enters, kg/s
    concentrate_mass_flow: np.ndarray  # that leaves, kg/s
    feed_flow: np.ndarray  # that enters, m3/s
    concentrate_flow: np.ndarray  # that leaves, m3/s
    feed_concentration: np.ndarray  # kg/m3
    concentrate_concentration: np.ndarray
    concentrate_pressure: np.ndarray  # Pa
    pressure_drop: np.ndarray  # Pa
    polarisation_max: np.ndarray  # mass fraction at the membrane / in the bulk
    membrane_fraction_max: np.ndarray  # kg/kg
    net_driving_pressure_min: np.ndarray  # J / A = P - P_p - s (pi_m - pi_p), Pa


def element_results(vessel: Vessel, line: SolutionLine) -> ElementResults:
    """Look at each element of a solved vessel.

    Parameters
    ----------
    vessel : Vessel
        From `solve_vessel`. [-]
    line : SolutionLine
        The same water. [-]

    Returns
    -------
    ElementResults
        Arrays of shape (elements, ...). [various, see ElementResults]

    Validity
    --------
    Flows and concentrations are exact sums of the march. Extremes of polarisation come from both
    ends and the middle of each element with a parabola through them.

    Source
    ------
    definition
    """
    p, points = vessel.problem, int(np.prod(vessel.status.shape))
    nodes = vessel.nodes.reshape(*vessel.nodes.shape[:2], points)
    y, m, P, J, _ = np.moveaxis(nodes, 1, 0)
    mass_flow = np.reshape(vessel.permeate_mass_flow + vessel.concentrate_mass_flow, points)
    removed = -np.diff(np.exp(y), axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        inner = np.where(removed > 0, np.diff(m, axis=0) / removed, 0.0)
    rho_p = density_at(line, inner)
    flow = removed * mass_flow / rho_p
    fraction = (p.feed_fraction - m) * np.exp(-y)
    volume = mass_flow * np.exp(y) / density_at(line, fraction)
    bulk = concentration_at(line, fraction)
    polarisation, membrane = _extremes(p, nodes)
    area = p.area_per_feed * mass_flow
    rows = (
        flow / area, J[:-1], J[1:], flow / volume[:-1], flow, inner * rho_p,
        (mass_flow * np.exp(y))[:-1], (mass_flow * np.exp(y))[1:], volume[:-1], volume[1:],
        bulk[:-1], bulk[1:], P[1:], P[:-1] - P[1:], polarisation, membrane,
        np.minimum(J[:-1], J[1:]) / p.water_permeability,
    )  # fmt: skip
    shape = vessel.status.shape
    return ElementResults(*(np.reshape(v, (nodes.shape[0] - 1, *shape)) for v in rows))


def _extremes(p: Problem, nodes):
    """Largest w_m/w and w_m of each element."""
    y, m, _, J, beta = np.moveaxis(nodes, 1, 0)
    middle = _middle(p, nodes)
    ends, half = local(ARRAYS, p, y, m, J, beta), local(ARRAYS, p, *middle)
    factor = (J + ends.salt_permeability) * ends.scale
    inner = (middle[2] + half.salt_permeability) * half.scale
    top = _peak(factor[:-1], inner, factor[1:])
    return top, _peak(ends.membrane[:-1], half.membrane, ends.membrane[1:])


def _middle(p: Problem, nodes):
    """y, m, J and beta halfway along each element, by the cubic through values and slopes."""
    rates = slopes(ARRAYS, p, *np.moveaxis(nodes, 1, 0))
    y, m, J, beta = (
        0.5 * (nodes[:-1, row] + nodes[1:, row]) + 0.125 * (rates[row][:-1] - rates[row][1:])
        for row in (0, 1, 3, 4)
    )
    y, beta = np.clip(y, nodes[1:, 0], nodes[:-1, 0]), np.maximum(beta, LEAST_BETA)
    return y, m, np.maximum(J, TINY_FLUX), beta


def _peak(left, middle, right):
    """Top of the parabola through three values, if it lies between the outer two."""
    top = np.maximum(np.maximum(left, middle), right)
    bend, tilt = left - 2 * middle + right, 0.5 * (right - left)
    inside = (bend < 0) & (np.abs(tilt) < -bend)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(inside, np.maximum(top, middle - 0.5 * tilt**2 / bend), top)
