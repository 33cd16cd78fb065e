"""Combining tee: two flows become one; the way back into a line for a recycle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.operations.declarations import Earns, Row, Ruled
from treatsim.operations.outcome import Details, Finding, Outcome, Value
from treatsim.operations.parameters import Parameters
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream, mixed


@dataclass(frozen=True, kw_only=True)
class CombiningTeeParameters(Parameters):
    """A combining tee has no settings."""


@dataclass(frozen=True, kw_only=True)
class CombiningTee(Unit):
    """Mixes two flows at the pressure of the run.

    Where both pressures follow from pumps they must be equal, and the solver shares the flows so
    that they are. Otherwise the branch must arrive with at least the pressure of the run; what is
    above is lost here.
    """

    parameters: CombiningTeeParameters
    hazards = ()
    dials = ()
    headline = ()
    compared = ()
    told = (Row("excess_pressure", "pressure lost where flows meet"),)
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="a tee takes nothing out")
    ends_product = False
    inlets = ("run", "branch")
    through = ("run",)
    recycles = ("branch",)

    def condition_names(self):
        """Ask for equal pressures."""
        return ("pressure",)

    def conditions(self, inlets, outlets):
        """Return the difference of the pressures in bar."""
        return {"pressure": (inlets["run"].pressure - inlets["branch"].pressure) / 1e5}

    def evaluate(self, run: Stream, branch: Stream) -> Outcome:
        """Return the mixed stream."""
        outlet = mixed([run, branch], run.pressure)
        excess = branch.pressure - run.pressure
        before = sum(s.pressure * s.flow for s in (run, branch))
        lost = outlet.pressure * outlet.flow - before
        short = np.asarray(excess) < -1e-6 * (1e5 + np.abs(run.pressure))

        def details() -> Details:
            values = {"short": Value(-excess, "pressure_difference")}
            text = "the branch arrives {short} below the run and cannot enter"
            return Details(
                {"excess_pressure": Value(excess, "pressure_difference")},
                findings=[Finding(short, text, values, blocks=True)] if np.any(short) else [],
                losses={"throttled": -lost},
            )

        return Outcome({"outlet": outlet}, {"hydraulic_power": lost}, details)
