"""The table [ageing] of a case: between which waters and which membranes an operator lives."""

from __future__ import annotations

import numpy as np

from treatsim.operations.parameters import Parameters, quantity, record, reference

# Design at the end of life and a loss a year: typical of published guidance, from memory
END_WATER, END_SALT, LOSS = 0.8, 1.45, 0.07


@record
class AgeingParameters(Parameters):
    """Membranes new, today and at the end of their life, in cold and in warm water."""

    coldest: float = quantity("temperature", "of the water in the year")
    warmest: float = quantity("temperature", "of the water in the year")
    dial: str = reference(
        "input that is raised as membranes age: a pressure",
        example="high_pressure_pump.outlet_pressure",
    )
    design_flow: float | None = quantity(
        "flow", "of the product; left out, what new membranes give at the case's setting",
        open_low=True, default=None,
    )  # fmt: skip
    end_water_permeability_ratio: float = quantity(
        "factor", "water permeability at the end over new", open_low=True, high=1,
        default=END_WATER,
    )  # fmt: skip
    end_salt_permeability_ratio: float = quantity(
        "factor", "salt permeability at the end over new", low=1, high=100, default=END_SALT
    )
    end_wear: float | None = quantity(
        "factor", "wear of the pumps that state a slip; left out, that of today", low=1, high=100,
        default=None,
    )  # fmt: skip
    water_loss_per_year: float = quantity(
        "fraction", "of the water permeability, lost in a year", open_low=True, high=0.9,
        default=LOSS,
    )  # fmt: skip

    def conflicts(self):
        """Refuse a warmest water that is colder than the coldest."""
        if np.max(self.coldest) > np.min(self.warmest):
            return ["warmest: it is colder than coldest"]
        return []
