"""Cartridge or bag filter: equal elements in parallel, clean loss, and the load they carry."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

import numpy as np

from treatsim import quantities
from treatsim.correlations.solids import filtration
from treatsim.errors import RequestError
from treatsim.operations.composed import Composed
from treatsim.operations.declarations import Earns, Mend, Row, Ruled, Told
from treatsim.operations.outcome import Details, Limit, Outcome, Value, loss, unjudged
from treatsim.operations.parameters import Parameters, points, quantity, record
from treatsim.operations.sheets import Sheet
from treatsim.operations.unit import Unit
from treatsim.water.properties import viscosity
from treatsim.water.stream import Stream

LARGEST_MISS = 0.1  # of a reading: beyond, a point of the data sheet was misread
LOADING = ("capacity", "captured_mass", "terminal_ratio", "loading_exponent")
LARGEST_LOAD = 50.0  # captured mass over capacity; far below, an exponential law has no number left


def loaded_resistance(clean, captured_mass, capacity, terminal_ratio, exponent):
    """Return the resistance of an element that has captured some mass.

    clean [1/m3]; captured_mass and capacity [kg]; terminal_ratio is the resistance at capacity
    over clean; exponent of the blocking law dR/dm ~ R^n: 0 cake, 1 intermediate (most depth
    elements), 1.5 standard, 2 complete -> [1/m3]
    """
    constant = filtration.blocking_constant(clean, clean * terminal_ratio, capacity, exponent)
    return filtration.blocked_resistance(captured_mass, clean, constant, exponent)


@record
class CleanDrop(Sheet):
    """The clean pressure drop of one element in its housing, as its data sheet shows it."""

    gives = ("resistance", "quadratic_loss")
    clean_drop: tuple = points(
        "pressure_difference",
        "flow",
        "clean pressure drop of one element at one flow or several",
        example="0.1 bar at 3 m3/h",
    )
    clean_drop_temperature: float = quantity("temperature", "of the data sheet's water")

    def coefficients(self):
        """Return resistance and housing loss: from one point the drop grows with the flow."""
        drop, flow = np.array(self.clean_drop).T
        if np.any(drop <= 0) or np.any(flow <= 0):
            raise RequestError("a pressure drop and a flow above 0 belong here")
        sticky = float(viscosity(self.clean_drop_temperature))
        if drop.size == 1:
            return {"resistance": float(drop[0] / flow[0]) / sticky, "quadratic_loss": 0.0}
        resistance, square = filtration.fit_element(flow, drop, sticky)
        miss = self._miss(resistance, square)
        if miss > LARGEST_MISS:
            raise RequestError(f"no filter's curve: it misses a point by {miss:.0%}; read again")
        return {"resistance": resistance, "quadratic_loss": square}

    def _miss(self, resistance, square) -> float:
        drop, flow = np.array(self.clean_drop).T
        sticky = float(viscosity(self.clean_drop_temperature))
        return float(
            np.max(np.abs(filtration.element_loss(flow, resistance, sticky, square) / drop - 1))
        )

    def told(self, found):
        """Say how far the points reach."""
        largest = quantities.text(self.clean_drop[-1][1], "flow")
        text = "resistance and quadratic loss by clean_drop"
        if len(self.clean_drop) == 1:
            return (
                f"{text}, of one flow: taken in proportion to the flow; above {largest} through "
                "an element the true drop is larger"
            )
        miss = self._miss(found["resistance"], found["quadratic_loss"])
        points_met = f", missing no point by more than {miss:.1%}" if miss > 1e-6 else ""
        return f"{text}, of {len(self.clean_drop)} flows up to {largest}{points_met}"


RATING = (
    "a rating in micrometres is left out: it earns nothing and says too little of what is held; "
    "capture_fraction and turbidity_removal do"
)


@record
class CartridgeFilterParameters(Parameters):
    """Elements, their clean loss and what they have captured.

    Without a capacity the elements count as clean, and their life is not judged.
    """

    forms = (CleanDrop,)
    declined = dict.fromkeys(("rating", "micron_rating", "pore_size"), RATING)
    elements: int = quantity("count", "elements side by side", low=1, high=1000)
    resistance: float = quantity(
        "filter_resistance", "clean loss of one element over viscosity and flow", open_low=True
    )
    quadratic_loss: float = quantity("quadratic_loss", "loss of one housing over flow squared")
    captured_mass: float | None = quantity(
        "mass", "mass captured so far by one element", default=None
    )
    capacity: float | None = quantity(
        "mass",
        "mass one element holds at its end of life; left out, its life is not judged",
        open_low=True,
        default=None,
    )
    terminal_ratio: float | None = quantity(
        "factor",
        "resistance at capacity over clean",
        low=1,
        open_low=True,
        high=1e4,
        default=None,
    )
    loading_exponent: float | None = quantity(
        "factor", "n of the blocking law: 0 cake, 1 depth element", high=2, default=None
    )
    capture_fraction: float = quantity("fraction", "share of the suspended solids held back")
    turbidity_removal: float = quantity("fraction", "share of the turbidity removed")
    largest_drop: float = quantity(
        "pressure_difference", "pressure drop at which elements are changed", low=0, open_low=True
    )
    largest_flow: float = quantity("flow", "most that one element may pass", open_low=True)

    def conflicts(self):
        """Ask for a whole blocking law or none, and refuse a load at which it has closed."""
        law = {name: getattr(self, name) for name in LOADING}
        missing = [name for name, value in law.items() if value is None]
        if len(missing) == len(LOADING):
            return []
        if missing:
            given = next(name for name in LOADING if name not in missing)
            return [f"{name} is missing: {given} needs it" for name in missing]
        clean = np.asarray(self.resistance, float)
        capacity, captured, ratio, exponent = (np.asarray(law[n], float) for n in LOADING)
        constant = filtration.blocking_constant(clean, clean * ratio, capacity, exponent)
        limit = filtration.blocking_limit(clean, constant, exponent)
        if np.any((captured >= limit) | (captured > LARGEST_LOAD * capacity)):
            return ["captured_mass: the blocking law has closed the element at this load"]
        return []

    @cached_property
    def loaded(self):
        """Return the resistance of an element today. [1/m3]"""
        if self.capacity is None:
            return self.resistance
        return loaded_resistance(
            self.resistance,
            self.captured_mass,
            self.capacity,
            self.terminal_ratio,
            self.loading_exponent,
        )


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class CartridgeFilter(Unit):
    """Equal elements in parallel; each takes its share of the flow."""

    parameters: CartridgeFilterParameters
    called = ("bag_filter", "bags", "cartridges", "filters")
    hazards = ("filters",)
    dials = ("captured_mass",)
    headline = ("hours_by_mass",)
    compared = ()
    told = (
        Row("pressure_drop", "pressure drop"),
        Row("element_flow", "flow through each element"),
        Row("hours_by_mass", "running time left, by mass"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "pressure_drop": Told("pressure_difference"),
        "clean_pressure_drop": Told("pressure_difference", "pressure drop were the elements clean"),
        "element_flow": Told("flow"),
        "captured_mass": Told("mass", "mass captured so far by one element"),
        "capacity_left": Told("mass", "mass one element can still hold"),
        "hours_by_mass": Told("duration"),
        "lost_power": Told("power", "power lost"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        "pressure_drop": Ruled(
            "pressure_difference", "rating", "pressure drop at which elements are changed"
        ),
        "element_flow": Ruled("flow", "rating", "largest flow through one element"),
        "captured_mass": Ruled("mass", "rating", "mass one element holds"),
    }
    earns = Earns("challenge_test")
    fouled = "filter"
    ends_product = False
    needs = ("suspended_solids", "turbidity")

    def mends(self) -> Iterator[Mend]:
        """Yield fresh elements."""
        captured = self.parameters.captured_mass
        if captured is not None and np.any(np.asarray(captured) > 0):
            yield Mend(f"change the elements of {self.name}", {"captured_mass": 0.0})

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the filtered stream."""
        p = self.parameters
        share = inlet.flow / p.elements
        drop = filtration.element_loss(share, p.loaded, inlet.viscosity, p.quadratic_loss)
        solids, turbidity = inlet.contents["suspended_solids"], inlet.contents["turbidity"]
        outlet = inlet.changed(
            pressure=inlet.pressure - drop,
            contents={
                "suspended_solids": solids * (1 - p.capture_fraction),
                "turbidity": turbidity * (1 - p.turbidity_removal),
            },
        )
        added = loss(inlet, drop) | {
            "suspended_solids": -p.capture_fraction * solids * inlet.flow,
            "turbidity": -p.turbidity_removal * turbidity * inlet.flow,
        }
        return Outcome({"outlet": outlet}, added, lambda: self._details(inlet, drop, share))

    def _details(self, inlet: Stream, drop, share) -> Details:
        p = self.parameters
        clean = filtration.element_loss(share, p.resistance, inlet.viscosity, p.quadratic_loss)
        values: dict[str, Any] = {
            "pressure_drop": Value(drop, "pressure_difference"),
            "clean_pressure_drop": Value(clean, "pressure_difference"),
            "element_flow": Value(share, "flow"),
            "lost_power": Value(drop * inlet.flow, "power"),
        }
        composed = {}
        if p.capacity is not None:
            captured = p.capture_fraction * inlet.contents["suspended_solids"] * share
            left = np.maximum(np.asarray(p.capacity) - p.captured_mass, 0.0)
            none = np.asarray(captured) <= 0
            life = np.where(none, np.inf, left / np.where(none, 1.0, captured))
            values |= {
                "captured_mass": Value(p.captured_mass, "mass"),
                "capacity_left": Value(left, "mass"),
                "hours_by_mass": Value(life, "duration"),  # endless where there are no solids
            }
            if np.size(p.capacity) == 1:
                composed["hours_by_mass"] = self._hours_left(captured)
        return Details(
            values,
            limits=self._limits(drop, share),
            losses={"filters": drop * inlet.flow},
            sources=() if p.capacity is None else ("hermia_1982",),
            choices=(f"{self.name}: elements taken as clean: {self.name}.capacity is not given",)
            if p.capacity is None
            else (),
            composed=composed,
        )

    def _hours_left(self, captured) -> Composed:
        """Return the time left: none where the element is over full. captured [kg/s]"""
        name, p = self.name, self.parameters
        held, rate = f"{name}.captured", f"{name}.captured a second"
        left = ["most", 0.0, ["less", float(np.ravel(np.asarray(p.capacity))[0]), held]]
        reads = {held: Value(p.captured_mass, "mass"), rate: Value(captured, "mass")}
        return Composed(["over", left, rate], reads)

    def _limits(self, drop, share) -> list[Limit]:
        """What its data sheet allows: pressure drop, flow and load of an element."""
        p = self.parameters
        return [
            Limit(
                "pressure drop of the filter",
                "pressure_drop",
                drop,
                "<=",
                p.largest_drop,
                "pressure_difference",
                "the element's stated end of life",
                f"{self.name}.captured_mass",
                "change the elements, or slow the pump",
                "rating",
            ),
            Limit(
                "flow through each filter element",
                "element_flow",
                share,
                "<=",
                p.largest_flow,
                "flow",
                "the element's stated largest flow",
                f"{self.name}.elements",
                "slow the pump, or add elements side by side",
                "rating",
            ),
            self._load_limit(),
        ]

    def _load_limit(self) -> Limit:
        """The mass an element holds; without its capacity nobody can judge it."""
        p = self.parameters
        words = "mass captured by each filter element"
        if p.capacity is None:
            needs = f"{self.name}.capacity"
            return unjudged(words, needs, address="captured_mass", group="rating")
        return Limit(
            words,
            "captured_mass",
            p.captured_mass,
            "<=",
            p.capacity,
            "mass",
            "the element's stated capacity",
            f"{self.name}.captured_mass",
            "change the elements",
            "rating",
        )
