"""Intake: a fixed flow at a fixed pressure, for when the pump is not the question."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

from treatsim.operations.declarations import FASTER, SLOWER, Earns, Move, Ruled, Told
from treatsim.operations.outcome import Details, Outcome, at
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream

UNCOUNTED = "what brings the water here, and its pressure, is not counted in the energy"
FROM_OUTSIDE = "brought by the source"  # in the energy ledger: power that no consumer here pays for


@record
class IntakeParameters(Parameters):
    """What is fixed at the intake."""

    flow: float = quantity("flow", "flow taken from the source", open_low=True)
    pressure: float = quantity("pressure", "pressure at which the water arrives")


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class Intake(Unit):
    """Takes a fixed flow from the source and hands it on at a fixed pressure."""

    parameters: IntakeParameters
    called = ("source",)
    hazards = ("site",)
    dials = ("flow", "pressure")
    headline = ()
    compared = ()
    told = ()
    results: ClassVar[Mapping[str, Told]] = {}
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="moves water, takes nothing out")
    ends_product = False
    moves_water = True
    anchored = ("outlet",)

    def rated_flow(self):
        """Return the fixed flow. [m3/s]"""
        return self.parameters.flow

    def moves(self) -> Iterator[Move]:
        """Yield the flow, less and more."""
        now = float(at(self.parameters.flow, 0))
        yield Move(SLOWER, "flow", now, 0.2 * now)
        yield Move(FASTER, "flow", now, 2 * now)

    def source_flow(self):
        """Return the fixed flow. [m3/s]"""
        return self.parameters.flow

    def flow_ceiling(self):
        """Return the fixed flow. [m3/s]"""
        return self.parameters.flow

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream at the fixed pressure."""
        outlet = inlet.changed(pressure=self.parameters.pressure)
        gain = (self.parameters.pressure - inlet.pressure) * inlet.flow
        details = Details(losses={FROM_OUTSIDE: -gain}, choices=(UNCOUNTED,))
        return Outcome({"outlet": outlet}, {"hydraulic_power": gain}, lambda: details)
