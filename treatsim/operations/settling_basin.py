"""Settling basin: open to the air, holds back what sinks faster than the water rises."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.correlations.solids import settling, size_distribution
from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Limit, Outcome, Value
from treatsim.operations.parameters import Parameters, quantity
from treatsim.operations.unit import Unit
from treatsim.ranges import excursions
from treatsim.water.stream import Stream

SIZE_CLASSES = 200
ALL_BUT = 0.99  # share held back from which a faster fall changes nothing to speak of


def basin_capture(flow, area, tanks, median, deviation, particle_density, density, viscosity):
    """Return the captured mass share of a lognormal suspension, and a Reynolds number.

    flow [m3/s], area [m2], median [m]; deviation is the geometric standard deviation. Each size
    class sinks with the Schiller-Naumann drag law and is held back as in `tanks` stirred tanks. The
    Reynolds number is the largest of a class whose drag matters: coarser ones are held back anyway.
    """
    sizes, shares = size_distribution.lognormal_classes(
        np.asarray(median), np.asarray(deviation), SIZE_CLASSES
    )

    def spread(value):
        return np.asarray(value, dtype=float)[..., None]

    density, viscosity = spread(density), spread(viscosity)
    velocity = settling.terminal_velocity(sizes, spread(particle_density), density, viscosity)
    removal = settling.basin_removal(velocity, spread(flow / area), spread(tanks))
    reynolds = settling.particle_reynolds_number(velocity, sizes, density, viscosity)
    unsure = np.where(removal < ALL_BUT, reynolds, 0.0)
    return np.sum(shares * removal, axis=-1), np.max(unsure, axis=-1)


@dataclass(frozen=True, kw_only=True)
class SettlingBasinParameters(Parameters):
    """A basin and the particles in the water."""

    plan_area: float = quantity("area", "area of the water surface", open_low=True)
    depth: float = quantity("length", "depth of water above the sludge", open_low=True)
    width: float = quantity("length", "width across the flow", open_low=True)
    tanks_in_series: int = quantity(
        "count", "1 poor, 2 a pit or trench, 8 very good", low=1, high=100
    )
    median_size: float = quantity(
        "small_length", "median diameter by mass", open_low=True, high=0.01
    )
    size_deviation: float = quantity(
        "factor", "geometric standard deviation of the sizes", low=1, open_low=True, high=20
    )
    particle_density: float = quantity(
        "density",
        "density of the particles; grains 2650 kg/m3, flocs 1020 to 1200",
        low=1000,
        high=8000,
    )
    turbidity_removal: float = quantity(
        "fraction", "share of the turbidity removed; by bucket test"
    )


@dataclass(frozen=True, kw_only=True, init=False)
class SettlingBasin(Unit):
    """A basin with an open surface: what pressure arrives is lost at a float valve."""

    parameters: SettlingBasinParameters
    hazards = ("site",)
    dials = ()
    headline = ()
    compared = ()
    told = (
        Row("solids_captured", "share of the solids settled"),
        Row("hold_up_time", "hold-up time"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "solids_captured": Told("fraction"),
        "surface_loading": Told("velocity", "flow over the area of the basin"),
        "horizontal_velocity": Told("velocity", "velocity of the water along the basin"),
        "hold_up_time": Told("duration"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        "horizontal_velocity": Ruled("velocity", "practice", "horizontal velocity in the basin")
    }
    earns = Earns("settling")
    ends_product = False
    anchored = ("outlet",)
    open_surface = True
    needs = ("suspended_solids", "turbidity")

    def condition_names(self):
        """Ask that water arrives without pressure, where nothing behind decides the flow."""
        return ("arrival",)

    def conditions(self, inlets, outlets):
        """Return the pressure of what arrives, in bar."""
        return {"arrival": inlets["inlet"].pressure / 1e5}

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the settled stream at ambient pressure."""
        p = self.parameters
        capture, reynolds = basin_capture(
            inlet.flow,
            p.plan_area,
            p.tanks_in_series,
            p.median_size,
            p.size_deviation,
            p.particle_density,
            inlet.density,
            inlet.viscosity,
        )
        solids, turbidity = inlet.contents["suspended_solids"], inlet.contents["turbidity"]
        outlet = inlet.changed(
            pressure=0.0 * inlet.pressure,
            contents={
                "suspended_solids": solids * (1 - capture),
                "turbidity": turbidity * (1 - p.turbidity_removal),
            },
        )
        added = {
            "hydraulic_power": -inlet.pressure * inlet.flow,
            "suspended_solids": -capture * solids * inlet.flow,
            "turbidity": -p.turbidity_removal * turbidity * inlet.flow,
        }
        return Outcome({"outlet": outlet}, added, lambda: self._details(inlet, capture, reynolds))

    def _details(self, inlet: Stream, capture, reynolds) -> Details:
        p = self.parameters
        along = inlet.flow / (p.width * p.depth)
        scour = settling.scour_velocity(p.median_size, np.asarray(p.particle_density) / 1000.0)
        dry = np.asarray(inlet.pressure) < -1.0
        values = {"pressure": Value(inlet.pressure, "pressure")}
        return Details(
            {
                "solids_captured": Value(capture, "fraction"),
                "surface_loading": Value(inlet.flow / p.plan_area, "velocity"),
                "horizontal_velocity": Value(along, "velocity"),
                "hold_up_time": Value(p.plan_area * p.depth / inlet.flow, "duration"),
            },
            limits=[
                Limit(
                    "horizontal velocity in the basin",
                    "horizontal_velocity",
                    along,
                    "<=",
                    scour,
                    "velocity",
                    "camp_1946",
                    f"{self.name}.width",
                    "widen or deepen the basin, or settled particles are lifted again",
                    "practice",
                )
            ],
            findings=[
                Finding(
                    dry,
                    "water arrives at {pressure} and does not reach the basin; raise the "
                    "pump ahead of it, or draw less behind it",
                    values,
                    blocks=True,
                )
            ]
            if np.any(dry)
            else [],
            excursions=excursions(settling.DRAG_RANGE, reynolds),
        )
