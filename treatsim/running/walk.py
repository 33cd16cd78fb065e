"""The walk through time itself: all that hangs on what was stored before, step by step.

Scenarios lie on the last axis, stretches of the year that are walked together on one before it;
only time is walked through. What can be said of a step without
knowing the state is worked out for many steps at once beforehand, and what follows from the walk
afterwards (`dispatch`): the loop holds as few operations as it can. An operation on the scenarios
of a step costs more in being called than in its numbers, so what a step cannot need is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice, repeat
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.power.battery import Bank, Stored
from treatsim.running.plant import Scenario, Tank, Train

TINY = 1e-300  # keeps a division by nothing apart from zero
SPREAD = 3600.0  # s over which the train spreads what the battery has for it, in shorter steps too
FOR_CLOUDS = 0.5  # of SPREAD at the lowest dial, kept to ride through clouds; common practice
MOST_KEPT = 0.25  # of the battery above the level at which the train stops, for that


class Known(NamedTuple):
    """What is known of a step before the walk: of all steps (steps, scenarios), or of one."""

    gap: Any  # standby and priority loads that the sun does not serve [W]
    later_gap: Any  # deferrable loads that it does not [W]
    spare_sun: Any  # sun after both, not below 0 [W]
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
    most_starts: Any  # of a day
    aside: Any  # power that goes by in keeping energy for clouds, in steps shorter than SPREAD [W]


class Walked(NamedTuple):
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


class State(NamedTuple):
    """What one step hands to the next, (scenarios,)."""

    stored: Stored
    level: Array  # of the tank [m3]
    running: Any  # whether it ran
    owed: Array  # share of a start not yet paid
    left: Array  # of the least run [s]
    begun: Array  # starts of the day
    open: Array  # energy that did not add up so far: rounding [J]


def known_of(side: Scenario, step: float) -> Known:
    """Return what can be said of every step before the walk."""
    sun, bank, train, needs, rules, tank, _ = side
    rest = np.maximum(sun - needs.always, 0.0)
    by_sun = np.minimum(rest, needs.deferrable)
    surplus = sun - needs.always - needs.deferrable
    return Known(
        np.maximum(needs.always - sun, 0.0), needs.deferrable - by_sun, rest - by_sun,
        surplus >= rules.sun_start, rules.floor,
        rules.stop if rules.reserve is None else rules.reserve, rules.stop, rules.start, rules.open,
        np.asarray(bank.charge_power * np.asarray(rules.charging, float)),
        np.asarray(train.low) * (1 - 1e-12), train.full, train.power, train.flow,
        np.asarray(tank.draw) * step, 0.0 if rules.reserve is None else rules.reserve,
        rules.most_starts, _aside(side),
    )  # fmt: skip


def _aside(side: Scenario) -> Any:
    """Return the energy kept for clouds while the train runs, over SPREAD. [W]"""
    room = np.maximum(side.bank.capacity - side.rules.stop, 0.0)
    return np.minimum(FOR_CLOUDS * np.asarray(side.train.low), MOST_KEPT * room / SPREAD)


def _rows(known: tuple[Any, ...], steps: int) -> Iterator[tuple[Any, ...]]:
    """Yield what is known, step by step."""
    parts: list[Iterator[Any]] = []
    for value in known:
        array = np.asarray(value)
        if array.ndim >= 2 and array.shape[0] == steps:
            parts.append(iter(array))
        else:
            parts.append(repeat(array[0] if array.ndim >= 2 else array))
    return islice(zip(*parts, strict=False), steps)


def _any(values: Any, steps: int) -> list[bool]:
    """Tell of each step whether anything of it is above zero in any scenario."""
    array = np.asarray(values)
    array = array.reshape(array.shape[0] if array.ndim >= 2 else 1, -1)
    return np.broadcast_to((array > 0).any(axis=-1), steps).tolist()


def _occurs(side: Scenario, known: Known, step: float) -> tuple[bool, bool, bool, bool]:
    """Say whether a tank fills, runs have a least length, starts cost, and are bounded."""
    train = side.train
    return (
        bool(np.any(np.isfinite(side.tank.volume))),
        train.least_run > step,
        bool(np.any(np.add(train.start_energy, train.start_time) > 0)),
        bool(np.any(np.isfinite(known.most_starts))),
    )


def _wanted(running: Array, stored: Stored, left: Array, now: Known) -> Any:
    """Whether energy and hour let the train run, or its least run is not over."""
    return (running | (stored.total >= now.start) | now.by_sun) & now.open | (left > 0)


def _in_sun(bank: Bank, stored: Any, now: Known, step: float) -> tuple[Array, Array]:
    """Return the most that may go into the battery, and what of the sun the train may take. [W]"""
    in_way = np.divide(1.0, bank.charge_efficiency)
    most_in = np.minimum(now.intake, bank.most_in(stored, step) * in_way)
    due = np.minimum(np.maximum(now.refill - stored.total, 0.0) * (in_way / step), most_in)
    return most_in, now.spare_sun - np.minimum(due, now.spare_sun)


def _taken(have: Any, now: Known, running: Array, wants: Any, step: float) -> tuple[Array, Any]:
    """Return the power the train may take, and whether it wants to run.

    have: power of the sun for it, of the battery if emptied in this step, most of the battery [W].
    In steps shorter than SPREAD what the battery has is spread over that time, down to the lowest
    dial, and a start asks for as much. Without it a short step takes all there is at the highest
    dial, stops, and starts again.
    """
    sun, above, most = have
    power = np.minimum(now.full, sun + np.minimum(above, most))
    if step >= SPREAD:
        return power, wants
    easy = sun + np.minimum(step / SPREAD * above, most) - now.aside
    return np.minimum(power, np.maximum(easy, now.low)), wants & (running | (easy >= now.low))


def _moved(bank: Bank, stored: Any, out: Array, into: Array, step: float) -> Any:
    """Return what is stored after a step that gave `out` and took `into`, both in W."""
    inside = out / bank.discharge_efficiency - into * bank.charge_efficiency
    return bank.moved(stored, inside, step)


def _unbounded(found: Walked, level: Array) -> None:
    """Fill what a tank without end leaves as it is."""
    np.greater(found.power, 0.0, out=found.share)
    found.level[:] = level


def walk(side: Scenario, known: Known, state: State, step: float) -> tuple[Walked, State]:
    """Walk through time: all that hangs on what was stored before."""
    (_, bank, train, _, _, tank, _), shape = side, side.sun.shape
    found = Walked(*(np.zeros(shape) for _ in Walked._fields))
    stored, level, running, owed, left, begun, missed = state
    bounded, held_on, pays, counted = _occurs(side, known, step)
    lit = _any(known.spare_sun, shape[0])
    late = _any(known.later_gap, shape[0])
    fresh, spent = _any(side.rules.fresh, shape[0]), begun >= known.most_starts
    for n, row in enumerate(_rows(known, shape[0])):
        now = Known._make(row)
        stored = bank.rested(stored)
        gap, later, above, most = _drawn(bank, stored, now, step, late[n])
        sun: Any = 0.0
        wants = _wanted(running, stored, left, now)
        if bounded:
            wants &= np.where(running, level < tank.volume, level <= tank.restart * tank.volume)
        if counted and fresh[n]:
            begun, spent = np.zeros_like(begun), np.zeros_like(running)
        if spent.any():
            wants &= running | ~spent
        if lit[n]:
            most_in, sun = _in_sun(bank, stored, now, step)
        power, wants = _taken((sun, above, most), now, running, wants, step)
        runs = wants & (power >= now.low) & (power > 0)
        starts, running = runs & ~running, runs
        if counted and starts.any():
            begun = begun + starts
            spent = begun >= now.most_starts
        power = power * runs
        share = _share(power, level, tank, now, step) if bounded else runs
        if pays:
            owed = np.where(starts, 1.0, owed) * runs
            if owed.any():
                paid, found.lost[n] = _paid(owed, power, share, train, step)
                owed = owed - paid
        if bounded:
            level = _level(level, power, share, found.lost[n], (tank, now, step))
            power = power * share
            found.share[n], found.level[n] = share, level
        if held_on:
            left = np.where(starts, train.least_run - step, np.maximum(left - step, 0.0)) * runs
        found.power[n], found.starts[n] = power, starts
        found.gap[n], found.later_gap[n] = gap, later
        if lit[n]:
            found.into[n] = np.minimum(np.maximum(now.spare_sun - power, 0.0), most_in)
        out = gap + later + np.maximum(power - now.spare_sun, 0.0)
        stored = _moved(bank, stored, out, found.into[n], step)
        found.stored[n] = stored.total
    if not bounded:
        _unbounded(found, level)
    return found, State(stored, level, running, owed, left, begun, missed)


def _drawn(bank: Bank, stored: Stored, now: Known, step: float, late: bool) -> tuple[Any, ...]:
    """Return what the battery gives to the loads, has left for the train, and can give. [W]"""
    most = bank.discharge_power
    to_bus = bank.discharge_efficiency / step
    if bank.wells is not None:  # what is at hand holds back more than the floor does
        most = np.minimum(bank.most_out(stored, step) * bank.discharge_efficiency, most)
    gap = np.minimum(now.gap, np.maximum(stored.total - now.floor, 0.0) * to_bus)
    gap = np.minimum(gap, most)
    left = most - gap
    held = np.maximum(stored.total - now.stop, 0.0) * to_bus - gap
    later: Any = 0.0
    if late:
        spare = np.maximum(stored.total - now.reserve, 0.0) * to_bus - gap
        later = np.minimum(now.later_gap, np.minimum(np.maximum(spare, 0.0), left))
        left, held = left - later, held - later
    return gap, later, np.maximum(held, 0.0), left


def _made(power: Array, now: Known) -> Array:
    """Return the product at a power of the train. [m3/s]"""
    if now.power.ndim == 1:
        return np.interp(power, now.power, now.flow)
    return np.array([np.interp(*row) for row in zip(power, now.power, now.flow, strict=True)])


def _share(power, level, tank: Tank, now: Known, step: float) -> Array:
    """Return the share of the step until the tank is full."""
    made = _made(power, now) * step
    room = np.maximum(tank.volume - level + now.draw, 0.0)
    return np.minimum(room / np.maximum(made, TINY), 1.0) * (power > 0)


def _level(level, power, share, lost, rest) -> Array:
    """Return what is in the tank after a step."""
    tank, now, step = rest
    made = _made(power, now) * share * step * (1 - lost) * (power > 0)
    return np.minimum(np.maximum(level + made - now.draw, 0.0), tank.volume)


def _paid(owed, power, share, train: Train, step: float) -> tuple[Array, Array]:
    """Return the share of a start paid in this step, and the share of the running it takes."""
    energy, time = train.start_energy, train.start_time
    if train.starts_at is not None:  # what a start takes in the setting of this step
        places, more_energy, more_time = train.starts_at
        energy = energy * np.interp(power, places, more_energy)
        time = time * np.interp(power, places, more_time)
    by_energy = energy / np.maximum(power * share * step, TINY)
    by_time = time / np.maximum(share * step, TINY)
    cost = np.maximum(by_energy, by_time)  # shares of this step for a whole start
    paid = np.minimum(owed, 1 / np.maximum(cost, TINY))
    return paid, np.minimum(paid * cost, 1.0)
