"""Settling basin: open to the air, holds back what sinks faster than the water rises."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.correlations.solids import floc_column, settling, size_distribution
from treatsim.errors import DomainError
from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Limit, Outcome, Value, unjudged
from treatsim.operations.parameters import Parameters, points, quantity, record
from treatsim.operations.settling_tests import ColumnTest, JarTest, column_capture
from treatsim.operations.unit import Unit
from treatsim.ranges import Range, excursions
from treatsim.water.stream import Stream

SIZE_CLASSES = 200
ALL_BUT = 0.99  # share held back from which a faster fall changes nothing to speak of


def basin_capture(loading, tanks, median, deviation, particle_density, density, viscosity):
    """Return the captured mass share of a lognormal suspension, and a Reynolds number.

    loading: flow over area [m/s]; median [m]; deviation is the geometric standard deviation. Each
    size class sinks with the Schiller-Naumann drag law and is held back as in `tanks` stirred
    tanks, or, where tanks is None, as in water at rest over depth / time = loading. The Reynolds
    number is the largest of a class whose drag matters: coarser ones are held back anyway.
    """
    sizes, shares = size_distribution.lognormal_classes(
        np.asarray(median), np.asarray(deviation), SIZE_CLASSES
    )

    def spread(value):
        return np.asarray(value, dtype=float)[..., None]

    density, viscosity = spread(density), spread(viscosity)
    velocity = settling.terminal_velocity(sizes, spread(particle_density), density, viscosity)
    if tanks is None:
        removal = np.minimum(np.maximum(velocity, 0.0) / spread(loading), 1.0)
    else:
        removal = settling.basin_removal(velocity, spread(loading), spread(tanks))
    reynolds = settling.particle_reynolds_number(velocity, sizes, density, viscosity)
    unsure = np.where(removal < ALL_BUT, reynolds, 0.0)
    return np.sum(shares * removal, axis=-1), np.max(unsure, axis=-1)


SIZES = ("median_size", "size_deviation", "particle_density")


@record
class SettlingBasinParameters(Parameters):
    """A basin and the particles in the water, by their sizes or by a settling column."""

    forms = (JarTest, ColumnTest)
    declined: ClassVar = {"length": "write plan_area, the length times the width"}
    either = ((SIZES, ("settling_curve",), ("tap_readings",)),)
    plan_area: float = quantity("area", "area of the water surface", open_low=True)
    depth: float = quantity("length", "depth of water above the sludge", open_low=True)
    width: float = quantity("length", "width across the flow", open_low=True)
    tanks_in_series: int = quantity(
        "count", "1 poor, 2 a pit or trench, 8 very good", low=1, high=100
    )
    median_size: float | None = quantity(
        "small_length", "median diameter by mass", open_low=True, high=0.01, default=None
    )
    size_deviation: float | None = quantity(
        "factor",
        "geometric standard deviation of the sizes",
        low=1,
        open_low=True,
        high=20,
        default=None,
    )
    particle_density: float | None = quantity(
        "density",
        "density of the particles; grains 2650 kg/m3, flocs 1020 to 1200",
        low=1000,
        high=8000,
        default=None,
    )
    settling_curve: tuple | None = points(
        "fraction",
        "velocity",
        "share of the solids that settles slower, at two velocities or more",
        example=["20 % at 0.2 mm/s", "45 % at 0.6 mm/s"],
        default=None,
    )
    tap_readings: tuple | None = points(
        "fraction",
        "short_duration",
        "flocs that grow: share of the suspended solids still in the sample, at its time, at the "
        "depth of the tap; two taps or more",
        place="length",
        example=["60 % at 10 min at 0.6 m", "30 % at 40 min at 0.6 m", "75 % at 10 min at 1.2 m"],
        default=None,
    )  # fmt: skip
    settling_time: float | None = quantity(
        "duration", "two tanks in turn: time that a full one stands before it is drawn from above; "
        "left out, water flows through; tanks_in_series does not count then", open_low=True,
        default=None,
    )  # fmt: skip
    turbidity_removal: float = quantity(
        "fraction", "share of the turbidity removed; by bucket test"
    )

    def conflicts(self):
        """Ask for the particles in one of their forms, whole."""
        given = [name for name in SIZES if getattr(self, name) is not None]
        curve, taps = self.settling_curve, self.tap_readings
        if curve is not None and taps is not None:
            return ["tap_readings: settling_curve or column_readings give it too; keep one"]
        if curve is None and taps is None:
            other = "or give column_depth and column_readings, settling_curve, or tap_readings"
            return [f"{name} is missing: {other}" for name in SIZES if name not in given]
        if given:
            return [f"{name}: the settling column gives it too; keep one" for name in given]
        if taps is not None:
            try:
                floc_column.column_of(taps)
            except DomainError as error:
                return [f"tap_readings: {error}"]
            return []
        share, velocity = np.array(curve, dtype=float).T
        if share.size < 2 or velocity[0] <= 0 or np.any(np.diff(share) < 0):
            return ["settling_curve: two points or more, whose shares rise with the velocity"]
        return []


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class SettlingBasin(Unit):
    """A basin with an open surface: what pressure arrives is lost at a float valve."""

    parameters: SettlingBasinParameters
    called = ("settler", "sedimentation", "clarifier", "pit")
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
        "ideal_capture": Told("fraction", "the same in an ideal basin, by a settling column"),
        "surface_loading": Told(
            "velocity", "flow over the area; of tanks in turn, depth over the time they stand"
        ),
        "horizontal_velocity": Told("velocity", "velocity of the water along the basin"),
        "hold_up_time": Told("duration"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        "horizontal_velocity": Ruled("velocity", "practice", "horizontal velocity in the basin"),
        "hold_up_time": Ruled("duration", "practice", "time that one tank lasts"),
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
        capture, more = self._capture(inlet)
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
        return Outcome({"outlet": outlet}, added, lambda: self._details(inlet, capture, more))

    def _capture(self, inlet: Stream):
        """Return the share captured, and of sizes a Reynolds number, of a column the ideal."""
        p, loading = self.parameters, self._loading(inlet)
        still = p.settling_time is not None
        if p.tap_readings is not None:
            column = floc_column.column_of(p.tap_readings)
            real, ideal = floc_column.floc_removal(column, p.depth, loading, p.tanks_in_series)
            return (ideal if still else real), ideal
        if p.settling_curve is not None:
            real, ideal = column_capture(p.settling_curve, loading, p.tanks_in_series)
            return (ideal if still else real), ideal
        return basin_capture(
            loading,
            None if still else p.tanks_in_series,
            p.median_size,
            p.size_deviation,
            p.particle_density,
            inlet.density,
            inlet.viscosity,
        )

    def _loading(self, inlet: Stream):
        """Return flow over area; of a tank at rest, depth over the time it stands. [m/s]"""
        p = self.parameters
        if p.settling_time is not None:
            return p.depth / p.settling_time + 0.0 * np.asarray(inlet.flow)
        return inlet.flow / p.plan_area

    def _excursions(self, inlet: Stream, more):
        curve, taps = self.parameters.settling_curve, self.parameters.tap_readings
        if taps is not None:
            return self._beyond_taps(inlet, floc_column.column_of(taps))
        if curve is None:
            return excursions(settling.DRAG_RANGE, more)
        ends = curve[0][1], curve[-1][1]
        tested = Range("surface_loading", *ends, "m/s", "settling column test")
        return excursions(tested, self._loading(inlet))

    def _beyond_taps(self, inlet: Stream, column: floc_column.Column):
        """Tell depths that no tap stands for, and times at which nothing was drawn."""
        depth = np.asarray(self.parameters.depth)
        lasts = np.minimum(depth, column.depth[-1]) / np.maximum(self._loading(inlet), 1e-12)
        tested = "settling column of several taps"
        return [
            *excursions(
                Range("depth", float(column.depth[0]), float(column.depth[-1]), "m", tested), depth
            ),
            *excursions(Range("depth over surface_loading", *column.tested, "s", tested), lasts),
        ]

    def _scour(self, along) -> Limit:
        """Velocity at which what has settled is lifted again; it takes the size of a grain."""
        p, ruled = self.parameters, self.ruled["horizontal_velocity"]
        if p.median_size is None:
            needs = f"{self.name}.median_size, in place of the column"
            return unjudged(ruled.words, needs, address="horizontal_velocity", group="practice")
        return Limit(
            ruled.words,
            "horizontal_velocity",
            along,
            "<=",
            settling.scour_velocity(p.median_size, np.asarray(p.particle_density) / 1000.0),
            ruled.quantity,
            "camp_1946",
            f"{self.name}.width",
            "widen or deepen the basin, or settled particles are lifted again",
            ruled.group,
        )

    def _in_turn(self, lasts) -> Limit:
        """Time that one tank gives water, in which the other must stand; filling comes on top."""
        p, ruled = self.parameters, self.ruled["hold_up_time"]
        return Limit(
            ruled.words,
            "hold_up_time",
            lasts,
            ">=",
            p.settling_time,
            ruled.quantity,
            "definition",
            f"{self.name}.plan_area",
            "dig both tanks larger, or draw less, or water is drawn before it has settled",
            ruled.group,
        )

    def _details(self, inlet: Stream, capture, more) -> Details:
        p = self.parameters
        flowing = p.settling_time is None
        along = inlet.flow / (p.width * p.depth) * float(flowing)
        lasts = p.plan_area * p.depth / inlet.flow
        sizes = p.settling_curve is None and p.tap_readings is None
        ideal = {} if sizes else {"ideal_capture": Value(more, "fraction")}
        dry = np.asarray(inlet.pressure) < -1.0
        values = {"pressure": Value(inlet.pressure, "pressure")}
        return Details(
            {
                "solids_captured": Value(capture, "fraction"),
                "surface_loading": Value(self._loading(inlet), "velocity"),
                "horizontal_velocity": Value(along, "velocity"),
                "hold_up_time": Value(lasts, "duration"),
                **ideal,
            },
            limits=[self._scour(along)] if flowing else [self._in_turn(lasts)],
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
            excursions=self._excursions(inlet, more),
        )
