"""What logged pressure drops say of the elements: Bayesian update of capacity and exponent.

Prior: ln(capacity) normal about the case's value with the table's spread, the exponent normal and
cut to 0 to 2. Each life of an element is one witness: its readings share the solids that were not
measured, so a life is believed no closer than LIFE_SCATTER, however often it was read.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.correlations.solids import filtration
from treatsim.errors import RequestError
from treatsim.running.filter_line import Filters
from treatsim.running.readings import Readings
from treatsim.running.spares import LEAST_MEAN, Belief

LIFE_SCATTER = 0.15  # of ln(capacity), from life to life of like elements; common practice
GRID = 121, 41  # capacities, exponents
REACH = 5.0  # standard deviations of the prior to either side
FEWEST = 3  # readings of a filter
DRAWS = 4096  # equally likely pairs that stand for what is believed
SURPRISED = 2.5  # standard deviations of the prior from which readings and case disagree


class Learnt(NamedTuple):
    """One filter before and after its readings; capacities in kg, spreads of the logarithm."""

    name: str
    prior: tuple[float, float, float, float]  # capacity, spread, exponent, its deviation
    posterior: tuple[float, float, float, float]
    readings: int
    lives: int
    mass: float  # in an element at the last reading, kg
    surprised: bool  # whether readings and case disagree


def learnt(
    log: Readings,
    filters: Filters,
    arriving: Array,
    spreads: tuple[float, float],
    error: float,
) -> tuple[list[Learnt], dict[str, Belief]]:
    """Return what a log says of every filter it has, and what is believed from then on.

    Parameters
    ----------
    log : Readings
        In order of time.
    filters : Filters
        As the case states them; their captured mass is that at the first reading.
    arriving : array, shape (filters,)
        Solids ahead of each filter over those of the source. [1]
    spreads : tuple of float
        Of ln(capacity); of the exponent. [1]
    error : float
        Standard error of a logged drop, relative. [1]

    Raises
    ------
    RequestError
        The prior leaves nothing to learn, or a filter has too few readings.
    """
    if spreads[0] < LEAST_MEAN:
        raise RequestError(
            "spares.capacity_spread = 1 says that the capacity is known: readings change nothing"
        )
    told, beliefs = [], {}
    for g, name in enumerate(filters.names):
        if name not in log.drop:
            continue
        one, belief = _one(log, filters, g, float(arriving[g]), spreads, error)
        told.append(one)
        beliefs[name] = belief
    return told, beliefs


def loads(log: Readings, filters: Filters, g: int, arriving: float) -> tuple[Array, Array]:
    """Return the mass in an element at each reading [kg], and which life it belongs to."""
    carried = log.flow * log.solids * arriving * filters.capture[g] / filters.elements[g]
    steps = np.diff(log.running) * 0.5 * (carried[1:] + carried[:-1])
    mass, life = np.empty(log.running.size), np.zeros(log.running.size, int)
    now, count = float(filters.captured[g]), 0
    for n in range(mass.size):
        now += float(steps[n - 1]) if n else 0.0
        if filters.names[g] in log.changed[n]:
            now, count = 0.0, count + 1
        mass[n], life[n] = now, count
    return mass, life


def _one(
    log: Readings, filters: Filters, g: int, arriving: float, spreads: tuple[float, float],
    error: float,
) -> tuple[Learnt, Belief]:  # fmt: skip
    name, drop = filters.names[g], log.drop[filters.names[g]]
    mass, life = loads(log, filters, g, arriving)
    read = np.flatnonzero(~np.isnan(drop))
    if read.size < FEWEST:
        raise RequestError(f"{name}: {read.size} readings of its drop; {FEWEST} or more are needed")
    middle = float(np.log(filters.capacity[g]))
    logs = middle + spreads[0] * np.linspace(-REACH, REACH, GRID[0])
    width = spreads[1]
    bends = np.linspace(0.0, 2.0, GRID[1]) if width else np.array([filters.exponent[g]])
    weight = -0.5 * ((logs[:, None] - middle) / spreads[0]) ** 2
    if width:
        weight = weight - 0.5 * ((bends - filters.exponent[g]) / width) ** 2
    prior = _moments(logs, bends, weight)
    capacity = np.exp(logs)[:, None, None]
    constant = filtration.blocking_constant(
        filters.clean[g], filters.clean[g] * filters.ratio[g], capacity, bends[:, None]
    )
    each = log.flow[read] / filters.elements[g]
    resistance = filtration.blocked_resistance(mass[read], filters.clean[g], constant,
                                               bends[:, None])  # fmt: skip
    with np.errstate(invalid="ignore", over="ignore"):
        model = filtration.element_loss(each, resistance, log.sticky[read], filters.quadratic[g])
        miss = np.minimum(((np.log(drop[read]) - np.log(model)) / error) ** 2, 1e6)
    for one in np.unique(life[read]):
        weight = weight + _blurred(-0.5 * miss[..., life[read] == one].sum(axis=-1), logs)
    after = _moments(logs, bends, weight)
    surprised = abs(after[0] - prior[0]) > SURPRISED * spreads[0]
    told = Learnt(
        name, _shown(prior), _shown(after), int(read.size), int(np.unique(life[read]).size),
        float(mass[-1]), bool(surprised),
    )  # fmt: skip
    return told, _drawn(logs, bends, weight)


def _blurred(chance: Array, logs: Array) -> Array:
    """Return a log-likelihood over capacities, blurred by the scatter from life to life."""
    top = chance.max()
    kernel = np.exp(-0.5 * ((logs[:, None] - logs) / LIFE_SCATTER) ** 2)
    return top + np.log(kernel @ np.exp(chance - top) + 1e-300)


def _moments(logs: Array, bends: Array, weight: Array) -> tuple[float, float, float, float]:
    share = np.exp(weight - weight.max())
    share /= share.sum()
    over, across = share.sum(axis=1), share.sum(axis=0)
    mean, bend = float(over @ logs), float(across @ bends)
    deviation = np.sqrt(over @ (logs - mean) ** 2), np.sqrt(across @ (bends - bend) ** 2)
    return mean, float(deviation[0]), bend, float(deviation[1])


def _shown(moments: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    return float(np.exp(moments[0])), *moments[1:]


def _drawn(logs: Array, bends: Array, weight: Array) -> Belief:
    """Return equally likely pairs, spread evenly over what is believed and within its cells."""
    share = np.exp(weight - weight.max()).ravel()
    ends = np.cumsum(share) / share.sum()
    cell = np.searchsorted(ends, (np.arange(DRAWS) + 0.5) / DRAWS)
    row, column = np.divmod(np.minimum(cell, share.size - 1), bends.size)
    shake = np.random.default_rng(0).random((2, DRAWS)) - 0.5
    step = logs[1] - logs[0], bends[1] - bends[0] if bends.size > 1 else 0.0
    order = np.random.default_rng(1).permutation(DRAWS)
    return Belief(
        np.exp(logs[row] + step[0] * shake[0])[order],
        np.clip(bends[column] + step[1] * shake[1], 0.0, 2.0)[order],
    )


def gone_on(filters: Filters, told: list[Learnt]) -> Filters:
    """Return the filters with the loads of the last reading."""
    masses: Mapping[str, float] = {row.name: row.mass for row in told}
    captured = [masses.get(n, float(m)) for n, m in zip(filters.names, filters.captured,
                                                        strict=True)]  # fmt: skip
    return filters._replace(captured=np.array(captured))
