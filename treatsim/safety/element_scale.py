"""Scale along a vessel, element by element: worked out when it is first asked for."""

from __future__ import annotations

from functools import cached_property, partial

import numpy as np

from treatsim.operations.outcome import Value, later
from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.scale import ScaleState, scale_state
from treatsim.safety.vessel_acidity import VesselAcidity


class ElementView(MembraneView):
    """One element as the chemistry of a whole vessel sees it: its concentrate, its membrane."""

    def __init__(self, view: MembraneView, acid: VesselAcidity, element: int) -> None:
        super().__init__(view.result, view.unit)
        self.acid, self.element = acid, element
        salt = self.number(f"element_{element}.concentrate_concentration", 1.0)
        self.concentrate = view.concentrate.changed(
            salinity=self.table.salinity(salt, self.temperature)
        )

    @cached_property
    def wall(self) -> np.ndarray:
        """Highest concentration factor at the membrane of this element."""
        salinity = self.number(f"element_{self.element}.membrane_salinity_max", 0.01)
        return np.maximum(self.factor(salinity), self.bulk)

    @cached_property
    def state(self) -> ScaleState:
        """Scale at the end of this element."""
        return scale_state(self, self.acid)


def by_element(view: MembraneView, acid: VesselAcidity, vessel: ScaleState) -> dict[str, Value]:
    """Return saturations and the carbonate index of every element, by address.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    acid : VesselAcidity
        Acidity along it, from the feed of the vessel to any factor. [-]
    vessel : ScaleState
        Of the vessel, for its minerals. [-]

    Returns
    -------
    dict of Value
        "ro.element_2.saturation.gypsum" and so on. [1]

    Validity
    --------
    As `scale_state`, with the largest salinity at the element's membrane and the bulk that leaves
    it. A shorter vessel of a sweep repeats its outlet.

    Source
    ------
    parkhurst_appelo_2013, astm_d4582
    """
    found = {}
    minerals = list(vessel.wall.indices)
    for number in range(1, view.elements + 1):
        part, start = _Lazy(view, acid, number), f"{view.name}.element_{number}"
        for mineral in minerals:
            found[f"{start}.saturation.{mineral}"] = later(partial(part.ratio, mineral), "factor")
        if "calcite" in minerals:
            found[f"{start}.carbonate_index"] = later(part.carbonate, "factor")
    return found


class _Lazy:
    """An element's view, made when its chemistry is first asked for."""

    def __init__(self, view: MembraneView, acid: VesselAcidity, element: int) -> None:
        self._given = view, acid, element

    @cached_property
    def view(self) -> ElementView:
        """The element."""
        return ElementView(*self._given)

    def ratio(self, mineral: str):
        """Saturation of a mineral at the membrane."""
        return self.view.state.wall.ratio(mineral)

    def carbonate(self):
        """Index of calcium carbonate that is held."""
        return self.view.state.carbonate
