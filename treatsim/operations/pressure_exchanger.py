"""Isobaric pressure exchanger: concentrate pushes feed, with a little mixing and leakage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Outcome, Value
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream


def exchanged(high: Stream, low: Stream, mixing) -> Stream:
    """Return the feed as it leaves on the high-pressure side.

    Its volume flow is that of the feed that enters; `mixing` of its mass has been replaced by
    concentrate. Pressure is left as that of `low`.
    """

    def mix(ours, theirs):
        return ours + mixing * (theirs - ours)

    mixed = low.changed(
        salinity=mix(low.salinity, high.salinity),
        temperature=mix(low.temperature, high.temperature),
        contents={name: mix(value, high.contents[name]) for name, value in low.contents.items()},
    )
    return mixed.with_flow(low.flow)


def remainder(parts: list[Stream], taken: Stream, pressure) -> Stream:
    """Return the stream that is left when `taken` is drawn from the sum of `parts`."""

    def rest(component):
        return sum(s.carried()[component] for s in parts) - taken.carried()[component]

    mass = rest("mass")
    left = parts[0].changed(
        mass_flow=mass,
        pressure=pressure,
        salinity=rest("salt") / mass,
        temperature=rest("heat") / mass,
    )
    flow = left.flow
    return left.changed(contents={name: rest(name) / flow for name in left.contents})


@record
class PressureExchangerParameters(Parameters):
    """How well pressure changes over, and how much water does."""

    efficiency: float = quantity(
        "efficiency", "pressure of the feed that leaves over that of the concentrate that enters"
    )
    mixing: float = quantity(
        "fraction", "share of the feed replaced by concentrate", high=0.5, small=True
    )
    leakage: float = quantity(
        "fraction", "share of the concentrate that leaks to the low side", high=0.5, small=True
    )


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class PressureExchanger(Unit):
    """Swaps equal volumes; leakage leaves with the spent concentrate."""

    parameters: PressureExchangerParameters
    called = ("energy_recovery", "isobaric")
    hazards = ("ro",)
    dials = ()
    headline = ()
    compared = ()
    told = (Row("lost_power", "power lost"), Row("recovered_power", "power handed on"))
    results: ClassVar[Mapping[str, Told]] = {
        "lost_power": Told("power"),
        "feed_salinity_rise": Told("factor", "rise of the feed's salinity by mixing, as a share"),
        "recovered_power": Told("power"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="works on the concentrate, not on the product")
    ends_product = False
    inlets = ("high_in", "low_in")
    outlets = ("high_out", "low_out")
    recycles = ("high_in",)
    anchored = ("high_out", "low_out")

    def condition_names(self):
        """Ask that concentrate less leakage equals the feed it pushes."""
        return ("balance",)

    def conditions(self, inlets, outlets):
        """Return the surplus of concentrate over the feed pushed, relative."""
        pushed = inlets["high_in"].flow * (1 - self.parameters.leakage)
        return {"balance": pushed / outlets["high_out"].flow - 1.0}

    def dissolved(self, inlets, outlets, holds, passing):
        """Return what both sides hold when some of the feed has been replaced by concentrate."""
        high = holds["low_in"] + self.parameters.mixing * (holds["high_in"] - holds["low_in"])
        amount = sum(holds[port] * flow for port, flow in inlets.items())
        rest = amount - high * outlets["high_out"]
        return {"high_out": high, "low_out": rest / outlets["low_out"]}

    def evaluate(self, high_in: Stream, low_in: Stream) -> Outcome:
        """Return the pressurised feed and the spent concentrate, which leaves to the air."""
        p = self.parameters
        high_out = exchanged(high_in, low_in, p.mixing).changed(
            pressure=p.efficiency * high_in.pressure
        )
        low_out = remainder([high_in, low_in], high_out, 0.0 * low_in.pressure)
        before = sum(s.pressure * s.flow for s in (high_in, low_in))
        lost = before - high_out.pressure * high_out.flow

        def details() -> Details:
            rise = high_out.salinity / low_in.salinity - 1.0
            return Details(
                {
                    "lost_power": Value(lost, "power"),
                    "feed_salinity_rise": Value(rise, "factor"),
                    "recovered_power": Value(high_out.pressure * high_out.flow, "power"),
                },
                losses={"pressure exchange": lost},
            )

        return Outcome(
            {"high_out": high_out, "low_out": low_out}, {"hydraulic_power": -lost}, details
        )
