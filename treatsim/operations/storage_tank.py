"""Storage tank: where the product ends, and where chlorine gets its time.

Without the fields of draw-off it is a volume that fills. With them it tells the contact time that
counts and the free chlorine at the end of the contact, at the tap and at the last cup. Decay is
taken at the warmest temperature the tank reaches, whatever the water was when it came in. Wherever
chlorine is dosed ahead, the residual is a limit; what is not stated leaves it not judged.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np

from treatsim.correlations.disinfection import chlorine_decay, contact_time
from treatsim.operations.declarations import Earns, Mend, Move, Row, Ruled, Told
from treatsim.operations.outcome import Details, Limit, Outcome, Value, at
from treatsim.operations.parameters import Parameters, choice, quantity, record
from treatsim.operations.unit import Unit
from treatsim.ranges import excursions
from treatsim.water.stream import Stream

PRESSURE_SCALE = 1e5  # Pa; makes the condition of order one
WAIT, LONGEST_WAIT = 1800.0, 4 * 3600.0  # s with the outlet closed; common practice
AFTER_CONTACT = 0.5e-3  # kg/m3 after at least 30 min, pH below 8; who_gdwq_2022, from memory
AT_TAP = 0.2e-3  # kg/m3 where it is handed out; who_gdwq_2022, from memory
LAST_CUP = 0.2e-3  # kg/m3 wanted at the last cup; common practice


class Wanted(NamedTuple):
    """What is wanted of the residual somewhere."""

    words: str
    least: float  # kg/m3
    source: str
    field: str  # own input that would move it
    advice: str


LAST = "residual_at_last_cup"  # asked only of those who state the way to the cup
WANTED = {
    "residual_after_contact": Wanted(
        "free chlorine after the contact", AFTER_CONTACT, "who_gdwq_2022", "",
        "dose more, or clear the water first so that less is used up",
    ),
    "residual_at_tap": Wanted(
        "free chlorine at the tap", AT_TAP, "who_gdwq_2022", "time_to_tap",
        "dose more, keep the tank cooler, or draw it sooner",
    ),
    LAST: Wanted(
        "free chlorine at the last cup", LAST_CUP, "common practice", "time_to_last_cup",
        "dose more, keep the tank cooler, or shorten the way to the cup",
    ),
}  # fmt: skip


def filling_time(volume, flow):
    """Return the time to fill a tank. volume [m3], flow [m3/s] -> [s]"""
    return volume / flow


def counted_age(rate, age, order: int):
    """Return the age of the water at which the product of free chlorine and time is read. [s]

    With decay of first order that product falls again after 1/rate; by then the water has had the
    larger one, as a sample taken part of the way would show. rate [1/s], age [s]
    """
    rate, age = np.broadcast_arrays(np.asarray(rate, float), np.asarray(age, float))
    if order == 2:
        return age
    longest = np.divide(1.0, rate, out=np.full(rate.shape, np.inf), where=rate > 0)
    return np.minimum(age, longest)


@record
class StorageTankParameters(Parameters):
    """Size of the tank and, where chlorine is used, how it is drawn and how chlorine fades."""

    volume: float = quantity("volume", "usable volume of one tank", open_low=True)
    tanks: int = quantity(
        "count", "equal tanks, filled by turns if closed for the contact", low=1, high=100,
        default=1,
    )  # fmt: skip
    draw_off: str | None = choice(
        contact_time.MODES, "whether the outlet is closed while chlorine acts", default=None
    )
    waiting_time: float | None = quantity(
        "short_duration", "time with the outlet closed, after filling and mixing", default=None
    )
    lowest_volume: float | None = quantity(
        "volume", "smallest volume held while drawing", open_low=True, default=None
    )
    draw_flow: float | None = quantity("flow", "largest flow drawn", open_low=True, default=None)
    baffling: str | None = choice(
        tuple(contact_time.BAFFLING), "how straight the water runs through", default=None
    )
    decay_rate: float | None = quantity(
        "decay_rate", "fading of free chlorine, first order, from two readings", default=None
    )
    decay_rate_second_order: float | None = quantity(
        "decay_rate_second_order", "fading of free chlorine, second order", default=None
    )
    decay_temperature: float | None = quantity(
        "temperature", "temperature at which the rate was read", default=None
    )
    warmest_temperature: float | None = quantity(
        "temperature", "warmest temperature the stored water reaches", default=None
    )
    time_to_tap: float | None = quantity(
        "duration", "longest time from the end of the contact to the tap", default=None
    )
    time_to_last_cup: float | None = quantity(
        "duration", "time from the end of the contact to the last cup", default=None
    )

    def conflicts(self):
        """Ask for what the draw-off and the decay need."""
        faults = []
        needs = {
            "fill_and_draw": ("waiting_time", "draw_flow"),
            "flow_through": ("lowest_volume", "draw_flow", "baffling"),
            "drawn_while_filling": ("lowest_volume", "draw_flow"),
        }.get(self.draw_off or "", ())
        faults += [f"{name}: is missing; draw_off {self.draw_off} needs it" for name in needs
                   if getattr(self, name) is None]  # fmt: skip
        if self.lowest_volume is not None and np.any(np.asarray(self.lowest_volume) > self.volume):
            faults.append("lowest_volume: must not be above the volume of the tank")
        if self.decay_rate is not None and self.decay_rate_second_order is not None:
            faults.append("decay_rate: give one of first and second order")
        if self.decays and (self.decay_temperature is None or self.warmest_temperature is None):
            faults.append("decay_rate: needs decay_temperature and warmest_temperature")
        if self.decay_temperature is not None and not self.decays:
            faults.append("decay_rate: is missing; decay_temperature is that of its two readings")
        if (
            self.time_to_tap is not None
            and self.time_to_last_cup is not None
            and np.any(np.asarray(self.time_to_last_cup) < self.time_to_tap)
        ):
            faults.append("time_to_last_cup: must not be below time_to_tap")
        return faults

    @property
    def decays(self) -> bool:
        """Whether a decay is stated."""
        return self.decay_rate is not None or self.decay_rate_second_order is not None

    @property
    def untold(self) -> str:
        """The input without which the chlorine in the tank is not known, or ""."""
        if self.draw_off is None:
            return "draw_off"
        return "" if self.decays else "decay_rate"

    @property
    def order(self) -> int:
        """Order of the decay."""
        return 2 if self.decay_rate_second_order is not None else 1

    @property
    def rate_read(self):
        """Decay rate as it was read. [1/s or m3/(kg s)]"""
        return self.decay_rate if self.order == 1 else self.decay_rate_second_order

    @property
    def rate(self):
        """Decay rate at the warmest temperature. [1/s or m3/(kg s)]"""
        return chlorine_decay.rate_at(
            self.rate_read, self.warmest_temperature, self.decay_temperature
        )


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class StorageTank(Unit):
    """Takes the product; open to the air."""

    parameters: StorageTankParameters
    called = ("reservoir", "cistern", "bladder")
    hazards = ("storage",)
    dials = ("waiting_time", "lowest_volume", "draw_flow")
    headline = ()
    compared = ()
    told = (
        Row("filling_time", "time to fill"),
        Row("round_time", "time of one round: fill, wait, draw"),
        Row("contact_time_counted", "contact time that counts"),
        Row("ct", "CT that counts, with the residual at the end"),
        Row("residual_after_contact", "free chlorine after the contact"),
        Row("residual_at_tap", "free chlorine at the tap"),
        Row("residual_at_last_cup", "free chlorine at the last cup"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "filling_time": Told("duration"),
        "round_time": Told("duration"),
        "largest_mean_flow": Told("flow", "largest flow these tanks can treat, by turns"),
        "contact_time": Told("short_duration", "contact time"),
        "contact_time_counted": Told("short_duration"),
        "residual_counted": Told(
            "concentration", "free chlorine at the end of the time that counts"
        ),
        "residual_after_contact": Told("concentration"),
        "ct": Told("concentration_time"),
        "ct_exact": Told("concentration_time", "CT summed up while the chlorine fades"),
        "residual_at_tap": Told("concentration"),
        "residual_at_last_cup": Told("concentration"),
        "residual_needed_for_last_cup": Told(
            "concentration", "free chlorine that would last to the last cup"
        ),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        key: Ruled("concentration", "duty", wanted.words) for key, wanted in WANTED.items()
    }
    earns = Earns("contact_time")
    ends_product = True
    outlets = ()

    def usable_volume(self):
        """Return the usable volume of one tank. [m3]"""
        return self.parameters.volume

    def moves(self) -> Iterator[Move]:
        """Yield a longer wait, more water held, a shorter way to the tap and the cup."""
        p = self.parameters
        if p.draw_off == "fill_and_draw":
            words = "wait longer with the outlet closed: {address} = {value}"
            wait = float(at(p.waiting_time, 0))
            yield Move(words, "waiting_time", wait, max(LONGEST_WAIT, wait))
        elif p.draw_off:
            words = f"keep more water in {self.name}: lowest_volume = {{value}}"
            yield Move(words, "lowest_volume", float(at(p.lowest_volume, 0)), float(p.volume))
        if p.time_to_last_cup is not None:
            words = "shorten the way to the cup: {address} = {value}"
            tap = 0.0 if p.time_to_tap is None else float(at(p.time_to_tap, 0))
            yield Move(words, "time_to_last_cup", float(at(p.time_to_last_cup, 0)), tap)
        if p.time_to_tap is not None:
            words = "draw the tank sooner: {address} = {value}"
            yield Move(words, "time_to_tap", float(at(p.time_to_tap, 0)), 0.0)

    def mends(self) -> Iterator[Mend]:
        """Yield a closed outlet, where the tank is drawn too early."""
        p = self.parameters
        if p.draw_off and p.draw_off != "fill_and_draw":
            wait = WAIT if p.waiting_time is None else max(float(at(p.waiting_time, 0)), WAIT)
            yield Mend(
                f"close the outlet of {self.name} while it fills and for {wait / 60:.0f} min more",
                {"draw_off": "fill_and_draw", "waiting_time": wait},
            )

    def condition_names(self) -> tuple[str, ...]:
        """Return the one equation: the water arrives at ambient pressure."""
        return ("pressure",)

    def conditions(self, inlets, outlets):
        """Return the pressure left at the inlet, over a scale."""
        return {"pressure": inlets["inlet"].pressure / PRESSURE_SCALE}

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return nothing that leaves; the details tell filling, contact and residual."""
        return Outcome({}, details=lambda: self._details(inlet))

    def contact(self, inlet: Stream):
        """Return the mean age at the end of the contact, and the share of it that counts. [s], [1]

        In a closed tank all water has the same age. In one drawn while it fills most of it leaves
        younger than the mean.
        """
        p = self.parameters
        if p.draw_off == "fill_and_draw":
            return np.asarray(p.waiting_time, float), 1.0
        drawn = np.maximum(inlet.flow, np.asarray(p.draw_flow))
        factor = contact_time.baffling_factor(p.baffling or "unbaffled")
        counted = contact_time.contact_time(str(p.draw_off), p.lowest_volume, drawn, factor, 0.0)
        age = np.asarray(p.lowest_volume / drawn)
        return age, counted / age

    def round_time(self, flow):
        """Return the time of one round of a closed tank: fill, wait, draw; None for others. [s]"""
        p = self.parameters
        if p.draw_off != "fill_and_draw":
            return None
        return filling_time(p.volume, flow) + p.waiting_time + p.volume / np.asarray(p.draw_flow)

    def _details(self, inlet: Stream) -> Details:
        p = self.parameters
        values = {"filling_time": Value(filling_time(p.volume, inlet.flow), "duration")}
        rounds = self.round_time(inlet.flow)
        if rounds is not None:
            values["round_time"] = Value(rounds, "duration")
            values["largest_mean_flow"] = Value(p.tanks * p.volume / rounds, "flow")
        if "free_chlorine" not in inlet.contents:
            return Details(values)
        start = np.asarray(inlet.contents["free_chlorine"], float)
        if p.untold:
            asked = [key for key in WANTED if key != LAST or p.time_to_last_cup is not None]
            return Details(values, limits=[self._not_told(key, start, p.untold) for key in asked])
        return self._chlorinated(inlet, start, values)

    def _chlorinated(self, inlet: Stream, start, values: dict[str, Value]) -> Details:
        """Return contact, residuals and their limits. start [kg/m3]"""
        p = self.parameters
        order, rate = p.order, p.rate
        age, share = self.contact(inlet)
        counted = counted_age(rate, age, order)
        at_count = chlorine_decay.residual(start, rate, counted, order)
        ct = contact_time.ct_for_credit(at_count, counted * share)
        exact = share * chlorine_decay.chlorine_time(start, rate, age, order)
        values |= {
            "contact_time": Value(age * share, "short_duration"),
            "contact_time_counted": Value(counted * share, "short_duration"),
            "residual_counted": Value(at_count, "concentration"),
            "ct": Value(ct, "concentration_time"),
            "ct_exact": Value(exact, "concentration_time"),
        }
        later = {"residual_after_contact": 0.0, "residual_at_tap": p.time_to_tap,
                 LAST: p.time_to_last_cup}  # fmt: skip
        limits = []
        for key, time in later.items():
            if time is not None:
                left = chlorine_decay.residual(start, rate, age + time, order)
                values[key] = Value(left, "concentration")
                limits.append(self._wanted(key, left))
            elif key == "residual_at_tap":
                limits.append(self._not_told(key, start, "time_to_tap"))
        if p.time_to_last_cup is not None:
            with np.errstate(over="ignore"):  # no dose lasts so long: infinite
                needed = chlorine_decay.start_for_residual(
                    LAST_CUP, rate, age + p.time_to_last_cup, order
                )
            values["residual_needed_for_last_cup"] = Value(needed, "concentration")
        return Details(
            values,
            limits=limits,
            excursions=excursions(chlorine_decay.RATES[order], p.rate_read),
            choices=self._choices(),
            sources=("epa_816_r_03_004",),
        )

    def _wanted(self, key: str, residual, needs: str = "") -> Limit:
        """Return the limit of one residual. [kg/m3]"""
        wanted = WANTED[key]
        return Limit(
            wanted.words,
            key,
            residual,
            ">=",
            wanted.least,
            "concentration",
            wanted.source,
            f"{self.name}.{needs or wanted.field}" if needs or wanted.field else "",
            wanted.advice,
            "duty",
            f"{self.name}.{needs}" if needs else "",
            ~np.isnan(residual),
        )

    def _not_told(self, key: str, start, needs: str) -> Limit:
        """Return a limit that waits for an input: chlorine only fades, so too little is too little.

        start [kg/m3]
        """
        return self._wanted(key, np.where(start < WANTED[key].least, start, np.nan), needs)

    def _choices(self) -> tuple[str, ...]:
        p = self.parameters
        words = {
            "fill_and_draw": "filled, dosed, outlet closed, then drawn: the waiting time counts",
            "flow_through": f"filled and drawn at once, baffling {p.baffling}: the time counts "
                            "that 90 % of the water stays at least",
            "drawn_while_filling": "drawn while filling: never counted better than an unbaffled "
                                   "tank at its lowest level",
        }  # fmt: skip
        kind = "second" if p.order == 2 else "first"
        return (
            f"{self.name}: {words[str(p.draw_off)]}",
            f"{self.name}: decay of {kind} order, doubled for every 10 K of the warmest tank over "
            "the reading (common practice)",
        )
