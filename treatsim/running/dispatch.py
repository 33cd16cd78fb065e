"""Step by step through time: sun, battery, loads and train, for any number of scenarios at once.

Order inside a step: self-discharge; standby and priority loads, from the sun first, then from the
battery down to its floor; deferrable loads, from the sun and the battery down to what is held in
reserve; the reserve itself, from the sun; the train, from the sun and the battery down to the
reserve; what is left of the sun goes into the battery, then to opportunity loads; the rest is lost.
All power is counted at the direct-current bus. Scenarios lie on the last axis; only time is walked
through.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice, repeat
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import TreatsimError
from treatsim.power.battery import Bank, Stored

TINY = 1e-300  # keeps a division by nothing apart from zero
LEDGER = 1e-9 * 3.6e6  # J, to which the energy of a run is closed


class Train(NamedTuple):
    """The train as a load: flow against power, and what a start costs."""

    power: Array  # at the bus, rising, (steps or 1, places) [W]
    flow: Array  # product at these, (steps or 1, places) [m3/s]
    low: Any  # least power at which it runs, (steps or 1, scenarios or 1) [W]
    full: Any  # power at its highest dial, the same shape [W]
    start_energy: Any = 0.0  # used at a start before there is product [J]
    start_time: float = 0.0  # time of it [s]
    least_run: float = 0.0  # [s]


class Needs(NamedTuple):
    """Power of everything else, (steps, scenarios or 1). [W]"""

    always: Array  # standby and priority
    deferrable: Any = 0.0
    opportunity: Any = 0.0


class Rules(NamedTuple):
    """When the train may start and must stop, (steps or 1, scenarios or 1)."""

    floor: Any  # energy that nothing draws on [J]
    stop: Any  # energy at which the train stops [J]
    start: Any  # energy from which it starts [J]
    sun_start: Any  # surplus of the sun at which it starts, whatever is stored [W]
    open: Any = True  # whether it may run at all
    charging: Any = True  # whether the battery may be charged
    # energy on which deferrable loads do not draw, and which the sun fills before the train takes
    # any; if None, that of `stop` for the loads, and the train runs on sun below it [J]
    reserve: Any = None


class Tank(NamedTuple):
    """The tank, and what is drawn from it, (steps or 1, scenarios or 1)."""

    volume: Any = np.inf  # [m3]
    draw: Any = np.inf  # flow asked for; without end: all that is made is taken at once [m3/s]
    restart: float = 1.0  # share of the volume at which the train starts again
    first: Any = 0.0  # held at the start [m3]


class Trace(NamedTuple):
    """What happened, (steps, scenarios). Mean power over each step [W]."""

    stored: Array  # at the end of each step [J]
    water: Array  # made and kept in each step [m3]
    drawn: Array  # taken from the tank in each step [m3]
    short: Array  # asked for and not there [m3]
    level: Array  # in the tank at the end [m3]
    train: Array  # power of the train, start included
    starting: Array  # of it, before there is product
    starts: Array  # whether it started [bool]
    served: Array  # standby and priority loads
    unserved: Array
    deferred: Array  # deferrable loads served
    spare: Array  # opportunity loads served
    curtailed: Array
    battery_loss: Array  # in charging, discharging and rest


class _Step(NamedTuple):
    """What is known of a step before the walk: of all steps (steps, scenarios), or of one."""

    gap: Any  # standby and priority loads that the sun does not serve [W]
    later_gap: Any  # deferrable loads that it does not [W]
    spare_sun: Any  # sun after both [W]
    by_sun: Any  # whether that alone starts the train
    floor: Any  # [J]
    reserve: Any  # [J]
    stop: Any  # [J]
    start: Any  # [J]
    open: Any
    intake: Any  # most that may go into the battery, at the bus [W]
    low: Any  # [W]
    full: Any  # [W]
    power: Any  # places of the train [W]
    flow: Any  # and their product [m3/s]
    draw: Any  # from the tank [m3]
    refill: Any  # stored energy up to which the sun fills the battery before the train runs [J]


class _Walked(NamedTuple):
    """What only the walk can tell, (steps, scenarios)."""

    stored: Array  # [J]
    power: Array  # of the train [W]
    share: Array  # of the step in which it ran
    lost: Array  # share of the running that a start took
    starts: Array
    gap: Array  # standby and priority loads served by the battery [W]
    later_gap: Array  # deferrable loads likewise [W]
    into: Array  # the battery, at the bus [W]
    level: Array  # of the tank [m3]


def start_cost(
    warm_up: float, warm_up_power: float, flushed: float, flow: float, power: float
) -> tuple[float, float]:
    """Energy and time of a start: warming up, then flushing at full flow.

    Parameters
    ----------
    warm_up : float
        Time until the train is ready. [s]
    warm_up_power : float
        Power meanwhile. [W]
    flushed : float
        Volume that goes to waste. [m3]
    flow : float
        Flow while flushing. [m3/s]
    power : float
        Power while flushing. [W]

    Returns
    -------
    tuple of float
        Energy and time. [J], [s]

    Validity
    --------
    A positive flow.

    Source
    ------
    definition
    """
    flushing = flushed / flow
    return warm_up * warm_up_power + flushing * power, warm_up + flushing


def dispatch(
    sun: Array, bank: Bank, train: Train, needs: Needs, rules: Rules, *, step: float,
    tank: Tank | None = None, first: Any = 0.5,
) -> Trace:  # fmt: skip
    """Walk through time and return what happened.

    Parameters
    ----------
    sun : ndarray
        Power of the array at the bus, (steps, scenarios). [W]
    bank, train, needs, rules, tank
        What stands there and how it is run.
    step : float
        Length of a step. [s]
    first : float or array
        State of charge at the start. [1]

    Returns
    -------
    Trace
        One row for each step.

    Raises
    ------
    TreatsimError
        The energy does not add up, or leaves the bounds of the battery: a fault of this program.

    Validity
    --------
    Power is constant over a step; of a start, what does not fit into one goes on in the next.

    Source
    ------
    Energy balance.
    """
    sun = np.asarray(sun, float)
    tank = tank or Tank()
    known = _known(sun, bank, train, needs, rules, tank, step)
    bank = bank._replace(capacity=np.broadcast_to(np.asarray(bank.capacity, float), sun.shape[1:]))
    begin = first * bank.capacity
    found = _walk(known, bank, train, tank, begin, sun.shape, step)
    trace = _told(found, known, sun, bank, needs, tank, begin, step)
    _hold(trace, sun, begin, bank, step)
    return trace


def _known(sun, bank, train, needs, rules, tank, step) -> _Step:
    """Return what can be said of every step before the walk."""
    rest = np.maximum(sun - needs.always, 0.0)
    by_sun = np.minimum(rest, needs.deferrable)
    surplus = sun - needs.always - needs.deferrable
    return _Step(
        np.maximum(needs.always - sun, 0.0), needs.deferrable - by_sun, rest - by_sun,
        surplus >= rules.sun_start, rules.floor,
        rules.stop if rules.reserve is None else rules.reserve, rules.stop, rules.start, rules.open,
        np.asarray(bank.charge_power * np.asarray(rules.charging, float)),
        np.asarray(train.low) * (1 - 1e-12), train.full, train.power, train.flow,
        np.asarray(tank.draw) * step, 0.0 if rules.reserve is None else rules.reserve,
    )  # fmt: skip


def _rows(known: _Step, steps: int) -> Iterator[_Step]:
    """Yield what is known, step by step."""
    parts: list[Iterator[Any]] = []
    for value in known:
        array = np.asarray(value)
        if array.ndim == 2 and array.shape[0] == steps:
            parts.append(iter(array))
        else:
            parts.append(repeat(array[0] if array.ndim == 2 else array))
    return map(_Step._make, islice(zip(*parts, strict=False), steps))


def _walk(known, bank, train, tank, begin, shape, step) -> _Walked:
    """Walk through time: all that hangs on what was stored before."""
    found = _Walked(*(np.zeros(shape) for _ in _Walked._fields))
    stored, zero = bank.filled(begin), np.zeros(shape[1])
    level, running, owed, left = np.minimum(zero + tank.first, tank.volume), zero > 0, zero, zero
    bounded = bool(np.any(np.isfinite(tank.volume)))
    held_on = train.least_run > step
    pays = bool(np.any(np.add(train.start_energy, train.start_time) > 0))
    for n, now in enumerate(_rows(known, shape[0])):
        stored = bank.rested(stored)
        gap, later, held = _drawn(bank, stored, now, step)
        wants = (running | (stored.total >= now.start) | now.by_sun) & now.open
        if held_on:
            wants |= left > 0
        if bounded:
            wants &= np.where(running, level < tank.volume, level <= tank.restart * tank.volume)
        most_in = np.minimum(now.intake, bank.most_in(stored, step) / bank.charge_efficiency)
        due = np.maximum(now.refill - stored.total, 0.0) / step / bank.charge_efficiency
        due = np.minimum(np.minimum(due, most_in), np.maximum(now.spare_sun, 0.0))
        power = np.minimum(now.full, now.spare_sun - due + held)
        power = power * (wants & (power >= now.low))
        runs = power > 0
        starts = runs & ~running
        share = _share(power, level, tank, now, step) if bounded else runs
        if pays:
            owed = np.where(starts, 1.0, owed) * runs
            if owed.any():
                paid, found.lost[n] = _paid(owed, power * share, share, train, step)
                owed = owed - paid
        power = power * share
        if bounded:
            made = np.interp(power / np.maximum(share, TINY), now.power, now.flow)
            made = made * share * step * (1 - found.lost[n]) * runs
            level = np.maximum(level + made - now.draw, 0.0)
            level = np.minimum(level, tank.volume)
        if held_on:
            left = np.where(starts, train.least_run - step, np.maximum(left - step, 0.0)) * runs
        rest = now.spare_sun - power
        into = np.minimum(np.maximum(rest, 0.0), most_in)
        out = gap + later + np.maximum(-rest, 0.0)
        inside = out / bank.discharge_efficiency - into * bank.charge_efficiency
        stored, running = bank.moved(stored, inside, step), runs
        for row, value in zip(found, (stored.total, power, share, None, starts, gap, later, into,
                                      level), strict=True):  # fmt: skip
            if value is not None:
                row[n] = value
    return found


def _drawn(bank: Bank, stored: Stored, now: _Step, step: float) -> tuple[Array, Array, Array]:
    """Return what the battery gives to the loads, and what it has left for the train. [W]"""
    most = bank.most_out(stored, step) * bank.discharge_efficiency
    most = np.minimum(most, bank.discharge_power)
    to_bus = bank.discharge_efficiency / step
    gap = np.minimum(now.gap, np.maximum(stored.total - now.floor, 0.0) * to_bus)
    gap = np.minimum(gap, most)
    left = most - gap
    spare = np.maximum(stored.total - now.reserve, 0.0) * to_bus - gap
    later = np.minimum(now.later_gap, np.clip(spare, 0.0, left))
    held = np.maximum(stored.total - now.stop, 0.0) * to_bus - gap - later
    return gap, later, np.clip(held, 0.0, left - later)


def _share(power, level, tank: Tank, now: _Step, step: float) -> Array:
    """Return the share of the step until the tank is full."""
    made = np.interp(power, now.power, now.flow) * step
    room = np.maximum(tank.volume - level + now.draw, 0.0)
    return np.minimum(room / np.maximum(made, TINY), 1.0) * (power > 0)


def _paid(owed, power, share, train: Train, step: float) -> tuple[Array, Array]:
    """Return the share of a start paid in this step, and the share of the running it takes."""
    by_energy = train.start_energy / np.maximum(power * step, TINY)
    by_time = train.start_time / np.maximum(share * step, TINY)
    cost = np.maximum(by_energy, by_time)  # shares of this step for a whole start
    paid = np.minimum(owed, 1 / np.maximum(cost, TINY))
    return paid, np.minimum(paid * cost, 1.0)


def _told(found, known, sun, bank, needs, tank, begin, step) -> Trace:
    """Return everything that follows from the walk."""
    rate = found.power / np.maximum(found.share, TINY)
    made = _product(rate, known) * found.share * step * (1 - found.lost)
    before = np.vstack([begin, found.stored[:-1]])
    level_before = np.vstack([np.zeros(sun.shape[1]) + tank.first, found.level[:-1]])
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


def _product(power: Array, known: _Step) -> Array:
    """Return the product at a power of the train, (steps, scenarios). [m3/s]"""
    places, flows = np.asarray(known.power), np.asarray(known.flow)
    running = power > 0
    if places.ndim == 1 or places.shape[0] == 1:
        return np.interp(power, places.reshape(-1), flows.reshape(-1)) * running
    made = [np.interp(*row) for row in zip(power, places, flows, strict=True)]
    return np.array(made) * running


def used(trace: Trace) -> Array:
    """Return the power that everything took in each step, (steps, scenarios). [W]"""
    return (
        trace.served + trace.deferred + trace.train + trace.spare + trace.curtailed
        + trace.battery_loss
    )  # fmt: skip


def _hold(trace: Trace, sun: Array, begin: Array, bank: Bank, step: float) -> None:
    """Hold the energy of the run to its balance, and the battery to its bounds."""
    change = trace.stored[-1] - begin
    open_ = np.sum((sun - used(trace)) * step, axis=0) - change
    if not np.all(np.abs(open_) <= LEDGER):
        raise TreatsimError(f"energy of a run is open by {np.max(np.abs(open_)):.3g} J")
    most = bank.capacity * (1 + 1e-12)
    if np.any(trace.stored < 0) or np.any(trace.stored > most):
        raise TreatsimError("a battery left the bounds of what it holds")
