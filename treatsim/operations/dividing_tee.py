"""Dividing tee: one flow becomes two of the same water."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Outcome, Value
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream


def divided(inlet: Stream, fraction) -> tuple[Stream, Stream]:
    """Return the streams of the branch (`fraction` of the mass) and of the run (the rest)."""
    return (
        inlet.changed(mass_flow=fraction * inlet.mass_flow),
        inlet.changed(mass_flow=(1 - fraction) * inlet.mass_flow),
    )


@record
class DividingTeeParameters(Parameters):
    """How the flow divides."""

    fraction: float | None = quantity(
        "fraction", "share that takes the branch; left out, the pressures decide", default=None
    )


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class DividingTee(Unit):
    """Divides a flow without loss of pressure."""

    parameters: DividingTeeParameters
    called = ("splitter", "split", "branch")
    hazards = ()
    dials = ("fraction",)
    headline = ()
    compared = ()
    told = (Row("branch_fraction", "share of the branch"),)
    results: ClassVar[Mapping[str, Told]] = {
        "branch_fraction": Told("fraction"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="a tee takes nothing out")
    ends_product = False
    outlets = ("run", "branch")
    through = ("run",)

    def free_parameters(self):
        """Leave the share to the solver if it was not given."""
        return {"fraction": (1e-9, 0.5, 1 - 1e-9)} if self.parameters.fraction is None else {}

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return both streams at the pressure of the inlet."""
        fraction = self.parameters.fraction
        branch, run = divided(inlet, fraction)
        values = {"branch_fraction": Value(fraction, "fraction")}
        return Outcome({"run": run, "branch": branch}, details=lambda: Details(values))
