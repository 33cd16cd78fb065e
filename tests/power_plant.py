"""A small plant with round numbers, of which reference values are known."""

from __future__ import annotations

import numpy as np

from treatsim.power.battery import Bank, kept
from treatsim.running.dispatch import Trace, begin, stretch
from treatsim.running.plant import Needs, Rules, Scenario, Tank, Train

KWH, HOUR = 3.6e6, 3600.0
INVERTER, CONTROLLER = 0.94, 0.97
TRAINS = {  # kWh/m3, rated W, least share of it, minutes of a start
    "uv": (0.15, 750.0, 0.5, 5),
    "brackish": (1.5, 1500.0, 0.5, 6),
    "sea": (4.0, 1600.0, 0.7, 8),
}


def dispatch(sun, bank, train, needs, rules, *, step, tank=None, first=0.5) -> Trace:
    """Walk through all steps at once."""
    side = Scenario(np.asarray(sun, float), bank, train, needs, rules, tank or Tank(), first)
    return stretch(side, begin(side), step)[0]


def sine_sun(days: int, per_hour: int = 1) -> np.ndarray:
    """Power of an array of 3 kW at the bus under a sine from 6 to 18 h, (steps, 1). [W]"""
    hour = (np.arange(24 * per_hour) + 0.5) / per_hour
    day = np.maximum(3000.0 * np.sin(np.pi * (hour - 6) / 12), 0.0)
    return np.tile(day, days)[:, None] * CONTROLLER


def bank(step: float = HOUR, capacity: float = 10 * KWH) -> Bank:
    return Bank(capacity, 0.97, 0.97, 5e3, 5e3, float(kept(0.03, step)))


def train(name: str, *, specific: float = 1.0, size: float = 1.0) -> Train:
    """One of TRAINS, with another specific energy or size."""
    energy, rated, least, minutes = TRAINS[name]
    full = rated * size / INVERTER
    places = np.array([[0.0, full]])
    flows = np.array([[0.0, rated * size / (energy * specific * KWH)]])
    return Train(places, flows, least * full, full, full * minutes * 60, minutes * 60.0)


def needs(steps: int, per_hour: int = 1, size: float = 1.0) -> Needs:
    """Standby of 20 W; 40 W always and 500 W from 9 to 15 h behind the inverter."""
    hour = np.arange(steps) / per_hour % 24
    loads = 40.0 + 500.0 * ((hour >= 9) & (hour < 15))
    return Needs(size * (20.0 + loads / INVERTER)[:, None])


def rules(full: float, capacity: float = 10 * KWH) -> Rules:
    """Fixed levels of the state of charge, as the reference has them."""
    return Rules(0.10 * capacity, 0.35 * capacity, 0.60 * capacity, full)


def run(name: str, days: int = 364, per_hour: int = 1, size: float = 1.0, specific: float = 1.0,
        tank: Tank | None = None):  # fmt: skip
    """Run one of TRAINS under the sine sun."""
    sun = size * sine_sun(days, per_hour)
    step = HOUR / per_hour
    store = bank(step, 10 * KWH * size)
    store = store._replace(charge_power=5e3 * size, discharge_power=5e3 * size)
    own = train(name, specific=specific, size=size)
    kept_at = rules(own.full, 10 * KWH * size)
    return dispatch(sun, store, own, needs(len(sun), per_hour, size), kept_at, step=step, tank=tank)
