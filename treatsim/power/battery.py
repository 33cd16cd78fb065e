"""The battery: a store of energy with limits and losses; its charge-current law and temperature.

The store is one bucket, or two wells for lead-acid (`kinetic`). Power is counted at the bus
outside, energy inside: what goes in is less by the losses of charging, what comes out by those of
discharging.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import require
from treatsim.operations.parameters import Parameters, choice, points, quantity, record
from treatsim.operations.sheets import Sheet
from treatsim.power import kinetic
from treatsim.quantities import text

MONTH = 730 * 3600.0  # s
COLD = ZERO_CELSIUS + 25.0  # below this, capacity falls
CHEMISTRIES = ("lead_acid", "lithium_iron_phosphate")
LOST_PER_KELVIN = {"lead_acid": 0.008, "lithium_iron_phosphate": 0.005}  # common practice
FROST = {"lead_acid": 0.0, "lithium_iron_phosphate": ZERO_CELSIUS}  # no charging below


@record
class AmpereHours(Sheet):
    """A battery as its label states it."""

    gives = ("capacity",)
    charge: float = quantity("charge", "capacity on the label", open_low=True)
    voltage: float = quantity("voltage", "voltage of the bank", open_low=True)
    rated_time: float = quantity("duration", "time of discharge the label is for", open_low=True)
    discharge_time: float = quantity(
        "duration", "time in which it is emptied here; a longer one only with the label's own",
        open_low=True,
    )  # fmt: skip
    peukert_exponent: float = quantity(
        "factor", "1 for lithium, 1.1 to 1.3 for lead", low=1.0, high=1.6
    )

    def coefficients(self):
        """Return the energy at the current that empties the bank in the time stated."""
        full = float(peukert_charge(self.charge, self.rated_time, self.peukert_exponent,
                                    self.discharge_time))  # fmt: skip
        return {"capacity": min(full, float(self.charge)) * self.voltage}

    def told(self, found):
        """Say what the label comes to."""
        return (
            f"capacity {text(found['capacity'], 'energy')} when emptied in "
            f"{text(self.discharge_time, 'duration')} (Peukert, constant current)"
        )


@record
class BatteryParameters(Parameters):
    """The battery, by its data sheet."""

    forms = (AmpereHours,)
    chemistry: str = choice(CHEMISTRIES, "what it is made of")
    capacity: float = quantity("energy", "energy it holds between empty and full", open_low=True)
    lowest_charge: float = quantity("fraction", "share below which nothing is drawn", high=0.95)
    charge_efficiency: float = quantity("efficiency", "energy stored of what goes in")
    discharge_efficiency: float = quantity("efficiency", "energy given of what is stored")
    charge_power: float = quantity("power", "most that goes in, at the bus", low=0.0, open_low=True)
    discharge_power: float = quantity(
        "power", "most that comes out, at the bus", low=0.0, open_low=True
    )
    self_discharge: float = quantity(
        "fraction", "share lost in a month of 730 h", high=0.5, small=True
    )
    temperature: float | None = quantity(
        "temperature", "of its box, where it is kept warm or cool; left out, the mean of the air "
        "over the day before", default=None,
    )  # fmt: skip
    available_share: float | None = quantity(
        "fraction", "kinetic model of lead-acid: share at hand at once, 0.2 to 0.4",
        low=0.01, high=1.0, default=None,
    )  # fmt: skip
    exchange_rate: float | None = quantity(
        "decay_rate", "kinetic model of lead-acid: rate at which the rest follows, 0.3 to 2 1/h",
        open_low=True, default=None,
    )  # fmt: skip
    cycle_life: tuple | None = points(
        "count", "fraction", "cycles to the end of its life, by their depth",
        example=["1300 at 30 %", "500 at 80 %"], default=None,
    )  # fmt: skip
    mass: float | None = quantity(
        "weight", "of cells and box at this capacity; told with sizes of the battery",
        open_low=True, default=None,
    )  # fmt: skip

    def conflicts(self):
        """Ask for both entries of the kinetic model, which is one of lead-acid."""
        faults = []
        given = [n for n in ("available_share", "exchange_rate") if getattr(self, n) is not None]
        if len(given) == 1:
            other = {"available_share": "exchange_rate"}.get(given[0], "available_share")
            faults.append(f"{other}: is missing; {given[0]} needs it")
        if given and self.chemistry != "lead_acid":
            faults.append(f"{given[0]}: the kinetic model is one of lead_acid")
        if self.cycle_life is not None and any(depth <= 0 for _, depth in self.cycle_life):
            faults.append("cycle_life: a depth lies above 0 %")
        return faults

    def wells(self, step: float) -> kinetic.Wells | None:
        """Return the kinetic model over a step of so many seconds; None for one bucket."""
        if self.available_share is None or self.exchange_rate is None:
            return None
        return kinetic.wells_of(step, float(self.available_share), float(self.exchange_rate))

    def bank(self, step: float) -> Bank:
        """Return the store, for steps of so many seconds."""
        return Bank(
            self.capacity, self.charge_efficiency, self.discharge_efficiency, self.charge_power,
            self.discharge_power, kept(self.self_discharge, step), self.wells(step),
        )  # fmt: skip

    def floor(self, temperature: ArrayLike) -> Array:
        """Return the share that cannot be drawn: what is stated, and what cold holds back.

        temperature: of the battery [K]. What the cold holds back comes again with warmth.
        """
        cold = np.maximum(COLD - np.asarray(temperature, float), 0.0)
        return np.minimum(self.lowest_charge + LOST_PER_KELVIN[self.chemistry] * cold, 1.0)

    def takes_charge(self, temperature: ArrayLike) -> Any:
        """Whether the battery may be charged: lithium not in frost. temperature [K]"""
        return np.asarray(temperature, float) > FROST[self.chemistry]


class Stored(NamedTuple):
    """Energy inside: all of it, and the part at hand at once (the same, in one bucket). [J]"""

    total: Array
    available: Array


class Bank(NamedTuple):
    """A store as the dispatch sees it; numbers, or arrays over scenarios."""

    capacity: Any  # [J]
    charge_efficiency: Any
    discharge_efficiency: Any
    charge_power: Any  # at the bus [W]
    discharge_power: Any
    keep: Any  # share kept over one step
    wells: kinetic.Wells | None = None

    def filled(self, total: Array) -> Stored:
        """Return a store at rest that holds so much. [J]"""
        return Stored(total, total if self.wells is None else self.wells.share * total)

    def most_out(self, stored: Stored, step: float) -> Array:
        """Return the most that can leave the store over a step, inside. [W]"""
        if self.wells is None:
            return stored.total / step
        bound = stored.total - stored.available
        return np.maximum(kinetic.most_out(stored.available, bound, self.wells), 0.0)

    def most_in(self, stored: Stored, step: float) -> Array:
        """Return the most that can enter the store over a step, inside. [W]"""
        room = np.maximum(self.capacity - stored.total, 0.0) / step
        if self.wells is None:
            return room
        bound = stored.total - stored.available
        most = kinetic.most_in(stored.available, bound, self.capacity, self.wells)
        return np.minimum(room, np.maximum(most, 0.0))

    def moved(self, stored: Stored, power: Array, step: float) -> Stored:
        """Return the store after a step at a power inside, discharging positive. [W]"""
        total = np.maximum(stored.total - power * step, 0.0)
        if self.wells is None:
            return Stored(total, total)
        bound = stored.total - stored.available
        first, _ = kinetic.after(stored.available, bound, power, self.wells)
        return Stored(total, np.minimum(np.maximum(first, 0.0), total))

    def rested(self, stored: Stored) -> Stored:
        """Return the store after the self-discharge of one step."""
        total = stored.total * self.keep
        return Stored(total, total if self.wells is None else stored.available * self.keep)


def peukert_time(
    charge: ArrayLike, rated_time: ArrayLike, exponent: ArrayLike, current: ArrayLike
) -> Array:
    """Time in which a battery is emptied at a constant current.

    Parameters
    ----------
    charge : array_like
        Capacity at the rated time. [C]
    rated_time : array_like
        Time of discharge that capacity is for. [s]
    exponent : array_like
        1.1 to 1.3 for lead-acid. [1]
    current : array_like
        Constant current. [A]

    Returns
    -------
    ndarray
        Time, broadcast shape. [s]

    Validity
    --------
    One constant current, not a current that changes from hour to hour.

    Source
    ------
    peukert_1897
    """
    charge = require("charge", charge, 0.0, np.inf, "C", open_low=True)
    rated_time = require("rated time", rated_time, 0.0, np.inf, "s", open_low=True)
    current = require("current", current, 0.0, np.inf, "A", open_low=True)
    return rated_time * (charge / (current * rated_time)) ** np.asarray(exponent, float)


def peukert_charge(
    charge: ArrayLike, rated_time: ArrayLike, exponent: ArrayLike, time: ArrayLike
) -> Array:
    """Charge that a battery gives when it is emptied in a given time.

    Parameters
    ----------
    charge : array_like
        Capacity at the rated time. [C]
    rated_time : array_like
        Time of discharge that capacity is for. [s]
    exponent : array_like
        1.1 to 1.3 for lead-acid. [1]
    time : array_like
        Time in which it is emptied. [s]

    Returns
    -------
    ndarray
        Charge, broadcast shape. [C]

    Validity
    --------
    As `peukert_time`, which it inverts.

    Source
    ------
    peukert_1897
    """
    charge = require("charge", charge, 0.0, np.inf, "C", open_low=True)
    ratio = require("time", time, 0.0, np.inf, "s", open_low=True) / np.asarray(rated_time, float)
    return charge * ratio ** (1 - 1 / np.asarray(exponent, float))


def kept(share_lost: ArrayLike, time: ArrayLike) -> Array:
    """Share of its charge that a battery at rest keeps.

    Parameters
    ----------
    share_lost : array_like
        Lost in a month of 730 h. [1]
    time : array_like
        Time at rest. [s]

    Returns
    -------
    ndarray
        Share kept, broadcast shape. [1]

    Validity
    --------
    At about 25 degC; it doubles with every 10 K.

    Source
    ------
    definition (compounding)
    """
    lost = require("share lost", share_lost, 0.0, 1.0, "")
    return (1 - lost) ** (np.asarray(time, float) / MONTH)


def usable_energy(
    capacity: ArrayLike, high: ArrayLike, low: ArrayLike, discharge: ArrayLike, inverter: ArrayLike
) -> Array:
    """Energy that reaches alternating-current loads between two states of charge.

    Parameters
    ----------
    capacity : array_like
        Energy between empty and full. [J]
    high : array_like
        State of charge at the start. [1]
    low : array_like
        State of charge at the end. [1]
    discharge : array_like
        Efficiency of discharging. [1]
    inverter : array_like
        Efficiency of the inverter. [1]

    Returns
    -------
    ndarray
        Energy, broadcast shape. [J]

    Validity
    --------
    Without standby and self-discharge.

    Source
    ------
    definition
    """
    window = np.asarray(high, float) - np.asarray(low, float)
    return np.asarray(capacity, float) * window * np.asarray(discharge, float) * inverter
