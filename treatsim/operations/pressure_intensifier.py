"""Fixed-ratio pressure intensifier: pistons of two areas tie feed, concentrate and pressure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.high_pressure_pump import PRESSURE_SPAN
from treatsim.operations.outcome import Details, Outcome, Value
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream


def feed_pressure_needed(ratio, feed_pressure, concentrate_pressure, exhaust, efficiency):
    """Return the pressure the supply pump must give. ratio is the recovery tied by the areas. [Pa]

    The work of the feed that leaves is paid by the supply and by the concentrate:
    p = [r P_f + (1 - r) (P_f - P_c + P_exhaust)] / efficiency.
    """
    ideal = ratio * feed_pressure + (1 - ratio) * (feed_pressure - concentrate_pressure + exhaust)
    return ideal / efficiency


@record
class PressureIntensifierParameters(Parameters):
    """The piston areas and their losses."""

    recovery: float = quantity(
        "fraction", "rod area over piston area: the recovery it is built for", low=0.01, high=0.9
    )
    efficiency: float = quantity("efficiency", "of the intensifier")
    exhaust_pressure: float = quantity("pressure", "pressure of the spent concentrate")
    outlet_pressure: float | None = quantity(
        "pressure", "left out: the membranes decide", high=1.2e7, default=None
    )


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class PressureIntensifier(Unit):
    """Raises all of the feed with the concentrate's help, at one recovery only."""

    parameters: PressureIntensifierParameters
    hazards = ("ro",)
    dials = ()
    headline = ()
    compared = ()
    told = (Row("lost_power", "power lost"),)
    results: ClassVar[Mapping[str, Told]] = {
        "lost_power": Told("power"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="works on the concentrate, not on the product")
    ends_product = False
    inlets = ("low_in", "high_in")
    outlets = ("high_out", "low_out")
    recycles = ("high_in",)
    anchored = ("high_out", "low_out")

    def free_parameters(self):
        """Leave the feed pressure to the solver."""
        return {"outlet_pressure": PRESSURE_SPAN} if self.parameters.outlet_pressure is None else {}

    def condition_names(self):
        """Ask for the built-in recovery and for the balance of forces."""
        return ("recovery", "force")

    def conditions(self, inlets, outlets):
        """Return both residuals, relative and in units of 10 bar."""
        p = self.parameters
        share = inlets["high_in"].flow / outlets["high_out"].flow
        needed = feed_pressure_needed(
            p.recovery,
            p.outlet_pressure,
            inlets["high_in"].pressure,
            p.exhaust_pressure,
            p.efficiency,
        )
        return {
            "recovery": share / (1 - p.recovery) - 1.0,
            "force": (inlets["low_in"].pressure - needed) / 1e6,
        }

    def dissolved(self, inlets, outlets, holds, passing):
        """Return what both sides hold: they do not touch."""
        return {"high_out": holds["low_in"], "low_out": holds["high_in"]}

    def evaluate(self, low_in: Stream, high_in: Stream) -> Outcome:
        """Return the feed at high pressure and the spent concentrate."""
        p = self.parameters
        high_out = low_in.changed(
            pressure=np.asarray(p.outlet_pressure, float) + 0.0 * low_in.pressure
        )
        low_out = high_in.changed(pressure=p.exhaust_pressure + 0.0 * high_in.pressure)
        before = sum(s.pressure * s.flow for s in (low_in, high_in))
        after = sum(s.pressure * s.flow for s in (high_out, low_out))
        return Outcome(
            {"high_out": high_out, "low_out": low_out},
            {"hydraulic_power": after - before},
            lambda: Details(
                {"lost_power": Value(before - after, "power")},
                losses={"pressure exchange": before - after},
            ),
        )
