"""The table [pit] of a case: a settling basin that might be dug ahead of the intake."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.solids.retention import beta_efficiency
from treatsim.errors import DomainError
from treatsim.operations.parameters import Parameters, points, quantity, record, reference
from treatsim.running.basin_worth import Pit, digging
from treatsim.running.particle_sizes import filtered
from treatsim.running.spares_table import read_all


@record
class Removal(Parameters):
    """What was measured of a filter by particle size; a nominal rating is no measurement."""

    efficiencies: tuple | None = points(
        "fraction", "small_length", "share held back in one pass, by particle size",
        example=["75 % at 5 um", "98 % at 10 um"], default=None,
    )  # fmt: skip
    betas: tuple | None = points(
        "factor", "small_length", "beta ratio in one pass of this water, by particle size",
        example=["4 at 5 um", "50 at 10 um"], default=None,
    )  # fmt: skip

    def conflicts(self):
        """Ask for one form, and for pairs that can be."""
        if (self.efficiencies is None) == (self.betas is None):
            return ["efficiencies: give efficiencies or betas, one of the two"]
        try:
            filtered(np.array([1e-6]), self.pairs())
        except DomainError as error:
            return [f"{'betas' if self.efficiencies is None else 'efficiencies'}: {error}"]
        return []

    def pairs(self) -> list[tuple[float, float]]:
        """Return share held back and particle size [m]."""
        if self.efficiencies is not None:
            return [(float(share), float(size)) for share, size in self.efficiencies]
        return [(float(beta_efficiency(beta)), float(size)) for beta, size in self.betas or ()]


@record
class BasinParameters(Parameters):
    """A settling basin that might be dug ahead of the intake, and the particles of the water."""

    length: float = quantity("length", "of the water surface", open_low=True)
    width: float = quantity("length", "of the water surface, across the flow", open_low=True)
    depth: float = quantity("length", "of water above the sludge", open_low=True, high=10)
    sludge_depth: float = quantity("length", "room for sludge below", open_low=True, high=10)
    wall_slope: float = quantity("factor", "run over rise of the walls: 0 upright, 1 soft ground",
                                 high=10)  # fmt: skip
    tanks_in_series: int = quantity(
        "count", "1 poor, 2 a pit or trench, 8 very good", low=1, high=100
    )
    sludge_solids: float = quantity(
        "concentration", "dry solids in the sludge, 20 to 100 g/L fresh", open_low=True
    )
    digging_rate: float = quantity("flow", "earth moved by all who dig", open_low=True)
    worth_per_element: float = quantity(
        "duration", "time of all who dig that one element saved is worth", open_low=True
    )
    median_size: float = quantity("small_length", "median diameter of the particles by mass",
                                  open_low=True, high=0.01)  # fmt: skip
    size_deviation: float = quantity(
        "factor", "geometric standard deviation of the sizes", low=1, open_low=True, high=20
    )
    particle_density: float = quantity(
        "density", "of the particles; grains 2650 kg/m3, flocs 1020 to 1200", low=1000, high=8000
    )
    screen_opening: float | None = quantity(
        "small_length", "of a screen ahead of the basin", open_low=True, high=0.1, default=None
    )
    filters: dict | None = reference(
        "removal by particle size, by filter; left out, its capture fraction holds for all sizes",
        example={"cartridges": {"efficiencies": ["75 % at 5 um", "98 % at 10 um"]}},
        default=None,
    )

    def conflicts(self):
        """Read the tables inside, and ask for a pit with a floor."""
        faults = read_all(Removal, self.filters or {}, "filters")[1]
        try:
            digging(self.pit(self.depth + self.sludge_depth), self.digging_rate)
        except DomainError:
            faults.append("wall_slope: the walls meet above the floor; dig wider or less deep")
        return faults

    def pit(self, depth: float) -> Pit:
        """Return the pit down to a depth [m]."""
        return Pit(self.length, self.width, depth, self.wall_slope)

    def removals(self) -> dict[str, Removal]:
        """Return what is known of the filters by size."""
        return read_all(Removal, self.filters or {}, "filters")[0]
