"""Scale along a vessel: how near each mineral is, what is commonly held, and how far one may go.

Calcium carbonate is judged by the index that is made for the water: in fresh and brackish water
the saturation index at the membrane; where the concentrate is saltier than Langelier's index
reaches, the index of Stiff and Davis, which allows for the salt. The saturation itself is told.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.operations.outcome import Limit
from treatsim.safety.membrane_view import MembraneView
from treatsim.water import scaling
from treatsim.water.concentrate_line import (
    SMALLEST,
    States,
    concentrate_line,
    first_crossing,
    limiting_factors,
    states,
)
from treatsim.water.ion_passage import ions_of
from treatsim.water.ions import IONS

WITH_ANTISCALANT = 1.8  # index; published guidance for organic antiscalants, from memory
# For the index of Stiff and Davis guidance spans 0.5 to 1.8 (memory). It reads about 0.7 below the
# saturation at the membrane, so at 1.0 a brackish water passes from one to the other evenly.
SALTY_WITH_ANTISCALANT = 1.0
WITHOUT = 0.0  # by the definition of either index
# Sea water is supersaturated as it stands and yet open-sea plants run without antiscalant up to
# about 35 % recovery (common practice, no source), where the index of average sea water is 0.21.
SEA_WITHOUT = 0.25
SOURCES = {
    True: "habit of the trade, from memory: no source; the antiscalant's data sheet decides",
    False: "habit of the trade, from memory: no source; nothing dosed",
}
STEPS = 400  # factors at which the limits are looked at for the highest recovery


class ScaleState(NamedTuple):
    """Bulk of the concentrate and the worst membrane, per point."""

    bulk: States
    wall: States
    carbonate: Any  # index that is held; NaN where the analysis has no calcium or alkalinity
    salty: Any  # whether it is that of Stiff and Davis


def scale_state(view: MembraneView) -> ScaleState:
    """Return the state of scale in one vessel at every point.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]

    Returns
    -------
    ScaleState
        Bulk of the concentrate, worst membrane, and the index of calcium carbonate.

    Validity
    --------
    As `concentrate_line.states`.

    Source
    ------
    parkhurst_appelo_2013, astm_d4582
    """
    bulk = states(view.analysis, view.bulk, view.temperature)
    wall = states(view.analysis, view.wall, view.temperature)
    salinity = view.sound(view.concentrate.salinity, 0.01)
    return ScaleState(bulk, wall, *_carbonate(view, bulk, wall, salinity, view.temperature))


def _carbonate(view: MembraneView, bulk: States, wall: States, salinity, temperature):
    """Index of calcium carbonate, and where it is that of salty water."""
    salt = view.table.mass_concentration(salinity, temperature)
    salty = salt > scaling.LANGELIER_RANGE.high
    if "calcite" not in wall.saturation.indices:
        return np.full(np.shape(salt), np.nan), salty
    water = view.table.density(salinity, temperature) - salt
    index = scaling.stiff_davis_index(
        bulk.saturation.ph, *hardness(view, salt),
        bulk.saturation.ionic_strength * water / 1e3, temperature,
    )  # fmt: skip
    return np.where(salty, index, wall.saturation.indices["calcite"]), salty


def hardness(view: MembraneView, salt) -> tuple[Any, Any]:
    """Return calcium and alkalinity of a concentrate.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    salt : array_like
        Dissolved salt of the concentrate. [kg/m3]

    Returns
    -------
    tuple of ndarray
        Calcium [mol/m3] and alkalinity [eq/m3].

    Validity
    --------
    Salt in the proportions of the source.

    Source
    ------
    definition
    """
    ions = ions_of(view.analysis, salt)
    carbonates = (("HCO3", 1), ("CO3", 2))
    alkali = sum(n * ions.get(name, 0.0) / IONS[name].molar_mass for name, n in carbonates)
    return ions["Ca"] / IONS["Ca"].molar_mass, alkali


def allowed(kind: str, salty, dosed: bool):
    """Return the highest index of calcium carbonate that is commonly let be.

    Parameters
    ----------
    kind : str
        Of the water. [-]
    salty : array_like
        Whether the index is that of Stiff and Davis. [bool]
    dosed : bool
        Whether an antiscalant is dosed. [-]

    Returns
    -------
    ndarray, shape of salty
        Index. [1]

    Validity
    --------
    Habits from memory, see the head of this file.

    Source
    ------
    common practice, no source
    """
    if dosed:
        return np.where(salty, SALTY_WITH_ANTISCALANT, WITH_ANTISCALANT)
    return np.where(np.asarray(salty) & (kind == "seawater"), SEA_WITHOUT, WITHOUT)


def scale_limits(view: MembraneView, state: ScaleState) -> list[Limit]:
    """Return one limit for each mineral, by what the case says is dosed.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    state : ScaleState
        Of the vessel. [-]

    Returns
    -------
    list of Limit
        Group "practice"; not judged beyond what the chemistry reaches.

    Validity
    --------
    As `scale_state`; what is allowed is habit, from memory.

    Source
    ------
    parkhurst_appelo_2013
    """
    dosed = view.of_parameter("antiscalant") == "dosed"
    judged = state.wall.inside | (view.wall < SMALLEST)  # a thinner one is further from scale
    advice = "recover less" if dosed else "dose an antiscalant, or recover less"
    common: dict[str, Any] = {
        "binding_input": f"{view.name}.antiscalant",
        "advice": advice,
        "group": "practice",
        "judged": judged,
        "source": SOURCES[dosed],
    }
    found = []
    if "calcite" in state.wall.saturation.indices:
        words = "index of calcium carbonate" + (
            ", Stiff and Davis" if np.all(state.salty) else " at the membrane"
        )
        found.append(
            Limit(words, f"{view.name}.carbonate_index", state.carbonate, "<=",
                  allowed(view.analysis.kind, state.salty, dosed), "factor", **common)
        )  # fmt: skip
    for mineral in state.wall.saturation.indices:
        if mineral != "calcite":
            rule = scaling.SCALES[mineral]
            found.append(
                Limit(f"saturation of {mineral}", f"{view.name}.saturation.{mineral}",
                      state.wall.saturation.ratio(mineral), "<=",
                      rule.with_antiscalant if dosed else rule.without, "factor", **common)
            )  # fmt: skip
    return found


def recovery_of(factor, passage):
    """Return the recovery at which what is left behind is concentrated by a factor.

    Parameters
    ----------
    factor : array_like
        Salt per kg of water over that of the feed. [1]
    passage : float
        Salt of the permeate over that of the feed. [1]

    Returns
    -------
    ndarray, shape of factor
        Recovery; 0 for a factor not above 1. [1]

    Validity
    --------
    Passage below the factor.

    Source
    ------
    definition
    """
    over = np.asarray(factor, float) > 1
    return np.where(over, (factor - 1) / np.where(over, factor - passage, 1.0), 0.0)


def highest_recovery(view: MembraneView, dosed: bool) -> dict[str, float]:
    """Return the recovery at which each mineral reaches its limit, for a lone point.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    dosed : bool
        Whether an antiscalant is dosed. [-]

    Returns
    -------
    dict of float
        Scale -> recovery; infinite where it does not as far as the chemistry reaches. [1]

    Validity
    --------
    Polarisation and passage stay those of the vessel as it runs.

    Source
    ------
    parkhurst_appelo_2013, astm_d4582
    """
    wall = float(np.ravel(view.wall / view.bulk)[0])
    T, passage = float(np.ravel(view.temperature)[0]), float(np.ravel(view.passage)[0])
    factors = limiting_factors(view.analysis, T, polarisation=wall, antiscalant=dosed)
    if "calcite" in factors:
        factors["calcite"] = _carbonate_factor(view, wall, T, dosed)
    return {
        name: float(recovery_of(factor, passage)) if np.isfinite(factor) else np.inf
        for name, factor in factors.items()
    }


def _carbonate_factor(view: MembraneView, wall: float, temperature: float, dosed: bool) -> float:
    """Factor of the bulk at which calcium carbonate reaches its limit, by the index that holds."""
    top = concentrate_line(view.analysis, temperature).high / wall
    factor = np.linspace(SMALLEST, top, STEPS)
    ratio = factor * view.table.feed_salinity / (1 - view.table.feed_salinity)
    bulk, at_wall = (states(view.analysis, f, temperature) for f in (factor, factor * wall))
    index, salty = _carbonate(view, bulk, at_wall, ratio / (1 + ratio), temperature)
    excess = index - allowed(view.analysis.kind, salty, dosed)
    return float(np.maximum(first_crossing(factor, excess[:, None])[0], 0.0))
