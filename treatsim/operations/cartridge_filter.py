"""Cartridge or bag filter: equal elements in parallel, clean loss, and the load they carry."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.correlations.solids import filtration
from treatsim.operations.declarations import Earns, Mend, Row, Ruled, Told
from treatsim.operations.outcome import Details, Limit, Outcome, Value, loss
from treatsim.operations.parameters import Parameters, quantity
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream

LARGEST_LOAD = 50.0  # captured mass over capacity; far below, an exponential law has no number left


def loaded_resistance(clean, captured_mass, capacity, terminal_ratio, exponent):
    """Return the resistance of an element that has captured some mass.

    clean [1/m3]; captured_mass and capacity [kg]; terminal_ratio is the resistance at capacity
    over clean; exponent of the blocking law dR/dm ~ R^n: 0 cake, 1 intermediate (most depth
    elements), 1.5 standard, 2 complete -> [1/m3]
    """
    constant = filtration.blocking_constant(clean, clean * terminal_ratio, capacity, exponent)
    return filtration.blocked_resistance(captured_mass, clean, constant, exponent)


@dataclass(frozen=True, kw_only=True)
class CartridgeFilterParameters(Parameters):
    """Elements, their clean loss and what they have captured."""

    elements: int = quantity("count", "elements side by side", low=1, high=1000)
    resistance: float = quantity(
        "filter_resistance", "clean loss of one element over viscosity and flow", open_low=True
    )
    quadratic_loss: float = quantity("quadratic_loss", "loss of one housing over flow squared")
    captured_mass: float = quantity("mass", "mass captured so far by one element")
    capacity: float = quantity("mass", "mass one element holds at its end of life", open_low=True)
    terminal_ratio: float = quantity(
        "factor", "resistance at capacity over clean", low=1, open_low=True, high=1e4
    )
    loading_exponent: float = quantity(
        "factor", "n of the blocking law: 0 cake, 1 depth element", high=2
    )
    capture_fraction: float = quantity("fraction", "share of the suspended solids held back")
    turbidity_removal: float = quantity("fraction", "share of the turbidity removed")
    largest_drop: float = quantity(
        "pressure_difference", "pressure drop at which elements are changed", low=0, open_low=True
    )
    largest_flow: float = quantity("flow", "most that one element may pass", open_low=True)

    def conflicts(self):
        """Refuse a load at which the blocking law has closed the element for good."""
        clean = np.asarray(self.resistance, float)
        constant = filtration.blocking_constant(
            clean, clean * self.terminal_ratio, self.capacity, self.loading_exponent
        )
        limit = filtration.blocking_limit(clean, constant, self.loading_exponent)
        captured = np.asarray(self.captured_mass, float)
        if np.any((captured >= limit) | (captured > LARGEST_LOAD * np.asarray(self.capacity))):
            return ["captured_mass: the blocking law has closed the element at this load"]
        return []


@dataclass(frozen=True, kw_only=True, init=False)
class CartridgeFilter(Unit):
    """Equal elements in parallel; each takes its share of the flow."""

    parameters: CartridgeFilterParameters
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
    ends_product = False
    needs = ("suspended_solids", "turbidity")

    def mends(self) -> Iterator[Mend]:
        """Yield fresh elements."""
        if np.any(np.asarray(self.parameters.captured_mass) > 0):
            yield Mend(f"change the elements of {self.name}", {"captured_mass": 0.0})

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the filtered stream."""
        p = self.parameters
        share = inlet.flow / p.elements
        resistance = loaded_resistance(
            p.resistance, p.captured_mass, p.capacity, p.terminal_ratio, p.loading_exponent
        )
        drop = filtration.element_loss(share, resistance, inlet.viscosity, p.quadratic_loss)
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
        captured = p.capture_fraction * inlet.contents["suspended_solids"] * share
        left = np.maximum(np.asarray(p.capacity) - p.captured_mass, 0.0)
        none = np.asarray(captured) <= 0
        life = np.where(none, np.inf, left / np.where(none, 1.0, captured))
        values = {
            "pressure_drop": Value(drop, "pressure_difference"),
            "clean_pressure_drop": Value(clean, "pressure_difference"),
            "element_flow": Value(share, "flow"),
            "captured_mass": Value(p.captured_mass, "mass"),
            "capacity_left": Value(left, "mass"),
            "hours_by_mass": Value(life, "duration"),  # endless where the water has no solids
            "lost_power": Value(drop * inlet.flow, "power"),
        }
        return Details(
            values,
            limits=self._limits(drop, share),
            losses={"filters": drop * inlet.flow},
            sources=("hermia_1982",),
        )

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
            Limit(
                "mass captured by each filter element",
                "captured_mass",
                p.captured_mass,
                "<=",
                p.capacity,
                "mass",
                "the element's stated capacity",
                f"{self.name}.captured_mass",
                "change the elements",
                "rating",
            ),
        ]
