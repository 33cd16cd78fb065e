"""Combining tee: two flows become one; the way back into a line for a recycle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Outcome, Value
from treatsim.operations.parameters import Parameters, record
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream, demand_met, mixed

UNTOLD = (
    "water with chlorine meets water whose demand nobody stated, so what is left of it is not "
    "known: state water.chlorine_demand"
)


def untold_demand(*streams: Stream):
    """Return where chlorinated water meets some whose demand is not told. bool, per point"""
    dosed = any("free_chlorine" in s.contents for s in streams)
    silent = [s for s in streams if "chlorine_demand" not in s.contents]
    return np.asarray(dosed and sum(s.mass_flow for s in silent) > 0)


@record
class CombiningTeeParameters(Parameters):
    """A combining tee has no settings."""


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class CombiningTee(Unit):
    """Mixes two flows at the pressure of the run.

    Where both pressures follow from pumps they must be equal, and the solver shares the flows so
    that they are. Otherwise the branch must arrive with at least the pressure of the run; what is
    above is lost here.
    """

    parameters: CombiningTeeParameters
    called = ("mixer", "mix", "blend", "blending", "mixing_tee")
    hazards = ()
    dials = ()
    headline = ()
    compared = ()
    told = (Row("excess_pressure", "pressure lost where flows meet"),)
    results: ClassVar[Mapping[str, Told]] = {
        "excess_pressure": Told("pressure_difference"),
    }
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
        outlet, used = demand_met(mixed([run, branch], run.pressure))
        excess = branch.pressure - run.pressure
        before = sum(s.pressure * s.flow for s in (run, branch))
        lost = outlet.pressure * outlet.flow - before
        added = {"hydraulic_power": lost}
        if "free_chlorine" in outlet.contents:
            added |= dict.fromkeys(("free_chlorine", "chlorine_demand"), -used * outlet.flow)
        short = np.asarray(excess) < -1e-6 * (1e5 + np.abs(run.pressure))

        def details() -> Details:
            values = {"short": Value(-excess, "pressure_difference")}
            text = "the branch arrives {short} below the run and cannot enter"
            findings = [
                Finding(short, text, values, blocks=True),
                Finding(untold_demand(run, branch), UNTOLD, blocks=True),
            ]
            return Details(
                {"excess_pressure": Value(excess, "pressure_difference")},
                findings=[finding for finding in findings if np.any(finding.where)],
                losses={"throttled": -lost},
            )

        return Outcome({"outlet": outlet}, added, details)
