"""Step by step through time: sun, battery, loads and train, for any number of scenarios at once.

Order inside a step: self-discharge; standby and priority loads, from the sun first, then from the
battery down to its floor; deferrable loads, from the sun and the battery down to what is held in
reserve; the reserve itself, from the sun; the train, from the sun and the battery down to the
reserve; what is left of the sun goes into the battery, then to opportunity loads; the rest is lost.
All power is counted at the direct-current bus. Scenarios lie on the last axis; time is walked
through in stretches, so that what is known and told of a stretch stays small.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import TreatsimError
from treatsim.running.plant import Scenario
from treatsim.running.walk import TINY, Known, State, Walked, known_of, walk

LEDGER, ROUNDING = 1e-9 * 3.6e6, 1e-12  # J, to which energy is closed; share of a huge array's


class Trace(NamedTuple):
    """What happened, (steps, scenarios). Mean power over each step [W]."""

    stored: Array  # at the end of each step [J]
    water: Array  # made and kept in each step [m3]
    drawn: Array  # taken from the tank in each step [m3]
    short: Array  # asked for and not there [m3]
    level: Array  # in the tank at the end [m3]
    train: Array  # power of the train, start included
    starting: Array  # of it, before there is product
    starts: Any  # whether it started [bool]
    served: Array  # standby and priority loads
    unserved: Array
    deferred: Array  # deferrable loads served
    spare: Array  # opportunity loads served
    curtailed: Array
    battery_loss: Array  # in charging, discharging and rest


def begin(side: Scenario) -> State:
    """Return the state in which a run starts: at rest, nothing running."""
    zero = np.zeros(side.sun.shape[1:])
    full = np.asarray(side.bank.capacity, float)
    stored = side.bank.filled(zero + np.asarray(side.first) * full)
    level = np.minimum(zero + side.tank.first, side.tank.volume)
    return State(stored, level, zero > 0, zero, zero, zero, zero)


def stretch(side: Scenario, state: State, step: float) -> tuple[Trace, State]:
    """Walk on from a state, and return what happened and the state at the end.

    Parameters
    ----------
    side : Scenario
        The steps of this stretch; its `first` counts for nothing.
    state : State
        From `begin`, or from the stretch before.
    step : float
        Length of a step. [s]

    Returns
    -------
    tuple of Trace and State

    Raises
    ------
    TreatsimError
        The energy does not add up over all stretches so far, or leaves the bounds of the battery: a
        fault of this program.

    Validity
    --------
    Power is constant over a step; of a start, what does not fit into one goes on in the next.

    Source
    ------
    Energy balance.
    """
    side, known = _known(side, step)
    found, after = walk(side, known, state, step)
    trace = _told(found, known, side, state, step)
    return trace, after._replace(open=_held(trace, side, state, step))


def run_up(side: Scenario, state: State, step: float) -> State:
    """Walk on as `stretch` does, and return the state at the end alone."""
    side, known = _known(side, step)
    return walk(side, known, state, step)[1]


def _known(side: Scenario, step: float) -> tuple[Scenario, Known]:
    wide = np.broadcast_to(np.asarray(side.bank.capacity, float), side.sun.shape[1:])
    side = side._replace(bank=side.bank._replace(capacity=wide))
    return side, known_of(side, step)


def _told(found: Walked, known: Known, side: Scenario, state: State, step: float) -> Trace:
    """Return everything that follows from the walk."""
    rate = found.power / np.maximum(found.share, TINY)
    made = product(rate, known.power, known.flow) * found.share * step * (1 - found.lost)
    needs = side.needs
    before = np.concatenate([state.stored.total[None], found.stored[:-1]])
    level_before = np.concatenate([state.level[None], found.level[:-1]])
    endless = np.isinf(known.draw)
    drawn = np.where(endless, made, np.minimum(known.draw, level_before + made))
    rest = np.maximum(known.spare_sun - found.power, 0.0) - found.into
    spare = np.minimum(rest, needs.opportunity)
    served = needs.always - known.gap + found.gap
    deferred = needs.deferrable - known.later_gap + found.later_gap
    out = found.gap + found.later_gap + np.maximum(found.power - known.spare_sun, 0.0)
    return Trace(
        found.stored, made, drawn, np.where(endless, 0.0, known.draw - drawn), found.level,
        found.power, found.power * found.lost, found.starts > 0, served, known.gap - found.gap,
        deferred, spare, rest - spare, (before - found.stored) / step - out + found.into,
    )  # fmt: skip


def product(power: Array, places: Array, flows: Array) -> Array:
    """Return the product at a power of the train, (steps, scenarios). [m3/s]

    places, flows: power and product of the train, (steps or 1, places)
    """
    places, flows = np.asarray(places), np.asarray(flows)
    running = power > 0
    if places.ndim == 1 or places.shape[0] == 1:
        return np.interp(power, places.reshape(-1), flows.reshape(-1)) * running
    rows = (
        power.reshape(-1, power.shape[-1]),
        *(
            np.broadcast_to(a, (*power.shape[:-1], a.shape[-1])).reshape(-1, a.shape[-1])
            for a in (places, flows)
        ),
    )
    made = [np.interp(*row) for row in zip(*rows, strict=True)]
    return np.reshape(made, power.shape) * running


def used(trace: Trace) -> Array:
    """Return the power that everything took in each step, (steps, scenarios). [W]"""
    return (
        trace.served + trace.deferred + trace.train + trace.spare + trace.curtailed
        + trace.battery_loss
    )  # fmt: skip


def closed(open_: Array, energy: Array) -> bool:
    """Tell whether the energy of runs is closed: to LEDGER, or to rounding. both [J]"""
    return bool(np.all(np.abs(open_) <= np.maximum(LEDGER, ROUNDING * energy)))


def _held(trace: Trace, side: Scenario, state: State, step: float) -> Array:
    """Hold the energy of the run to its balance and the battery to its bounds; return what is open.

    [J]
    """
    change = trace.stored[-1] - state.stored.total
    open_ = state.open + np.sum((side.sun - used(trace)) * step, axis=0) - change
    if not closed(open_, np.sum(side.sun, axis=0) * step):
        raise TreatsimError(f"energy of a run is open by {np.max(np.abs(open_)):.3g} J")
    most = side.bank.capacity * (1 + 1e-12)
    if np.any(trace.stored < 0) or np.any(trace.stored > most):
        raise TreatsimError("a battery left the bounds of what it holds")
    return open_
