"""Scale along a vessel: how near each mineral is, what is commonly held, and how far one may go.

Calcium carbonate is judged by the index that is made for the water: in fresh and brackish water
the saturation index at the membrane; where the concentrate is saltier than Langelier's index
reaches, the index of Stiff and Davis, which allows for the salt, at the pH that its standard
counts with (carbon dioxide held): the habit it is held against was made so. The saturation itself,
by the pH that the balance of carbon leaves, is told.
Of a vessel that is fed with a permeate only calcium carbonate can come near, where base is dosed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.operations.outcome import Limit, Value
from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.vessel_acidity import VesselAcidity
from treatsim.water import scaling
from treatsim.water.acid_base import calcite_index
from treatsim.water.concentrate_line import (
    SMALLEST,
    acid_balance,
    states,
)
from treatsim.water.ion_passage import ions_of
from treatsim.water.ions import IONS
from treatsim.water.scaling import Saturation

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
DOSED_IONS = ("Ca", "SO4")  # of scales; what dosing may bring
IN_SCALE = {
    "calcite": ("Ca",), "gypsum": ("Ca", "SO4"), "barite": ("SO4",), "celestite": ("SO4",),
    "fluorite": ("Ca",), "silica": (),
}  # fmt: skip
MIXING = 1e-3  # relative; volumes that mix add up to this only
LEAST = 1e-9  # mol/m3 and mol/kg, where a logarithm is taken


class ScaleState(NamedTuple):
    """Bulk of the concentrate and the worst membrane, per point."""

    bulk: Saturation
    wall: Saturation
    inside: Any  # whether factor and temperature lie within the chemistry
    carbonate: Any  # index that is held; NaN where the analysis has no calcium or alkalinity
    salty: Any  # whether it is that of Stiff and Davis
    reads: Mapping[str, Value]  # smooth numbers that the index is made of


def scale_state(view: MembraneView, acid: VesselAcidity) -> ScaleState:
    """Return the state of scale in one vessel at every point.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    acid : VesselAcidity
        Acidity along it. [-]

    Returns
    -------
    ScaleState
        Bulk of the concentrate, worst membrane, and the index of calcium carbonate.

    Validity
    --------
    As `saturations`.

    Source
    ------
    parkhurst_appelo_2013, astm_d4582
    """
    bulk, _ = saturations(view, acid, view.bulk)
    wall, inside = saturations(view, acid, view.wall)
    return ScaleState(bulk, wall, inside, *carbonate(view, acid, view.bulk, bulk, wall))


def saturations(view: MembraneView, acid: VesselAcidity, factor) -> tuple[Saturation, Any]:
    """Return the saturation where the salt has a concentration factor over the source.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    acid : VesselAcidity
        Acidity along it. [-]
    factor : array_like
        Concentration factor; at a membrane, polarisation included. [1]

    Returns
    -------
    tuple
        Saturation by mineral, and where the factor lies within the chemistry [bool].

    Validity
    --------
    Along the line of the source the indices are PHREEQC's; what dosing changes of carbonate, pH,
    sulfate and calcium is put on top with the activity coefficients of that line. Below it only
    calcite is told, by `calcite_index`; of the others the end of the line is an upper bound.

    Source
    ------
    parkhurst_appelo_2013, plummer_busenberg_1982
    """
    T = np.broadcast_to(view.temperature, np.shape(factor))
    found, here = states(view.analysis, factor, T), acid.along(factor)
    own, thin = acid_balance(view.analysis, factor, T), here.ground.thin
    indices = {}
    for name, index in found.saturation.indices.items():
        more = sum(_dosed(view, acid, ion) for ion in DOSED_IONS if ion in IN_SCALE[name])
        if name == "calcite":
            gas = np.maximum(here.forms.carbon_dioxide, LEAST) / own.carbon_dioxide
            more = more + np.log10(gas) + 2 * (here.ph - own.ph)
        indices[name] = index + more
    if "calcite" in indices and np.any(thin):
        grown = np.asarray(factor) / view.fed
        calcium = _held(view, acid, "Ca") / IONS["Ca"].molar_mass / acid.water * grown
        strength = acid.place.ionic_strength * grown
        by_formula = calcite_index(calcium, here.forms, np.minimum(strength, 1.0), T)
        indices["calcite"] = np.where(thin, by_formula, indices["calcite"])
    strength = np.where(thin, acid.place.ionic_strength * factor / view.fed, own.ionic_strength)
    return Saturation(here.ph, indices, strength), thin | found.inside


def _held(view: MembraneView, acid: VesselAcidity, ion: str):
    return np.maximum(view.sound(acid.held[ion], 1.0), 1e-12)


def _dosed(view: MembraneView, acid: VesselAcidity, ion: str):
    """Decimal logarithm of an ion of the feed over what the source would bring there."""
    if ion not in acid.held or np.all(view.fed < SMALLEST):
        return 0.0
    by_itself = ions_of(view.analysis, view.sound(view.feed.concentration, 1.0)).get(ion, 0.0)
    brought = np.where(by_itself > 0, by_itself, 1.0)
    share = np.where(by_itself > 0, _held(view, acid, ion) / brought, 1.0)
    return np.where(np.abs(share - 1) > MIXING, np.log10(share), 0.0)


def carbonate(view: MembraneView, acid: VesselAcidity, factor, bulk, wall):
    """Return the index of calcium carbonate that is held, and where it is that of salty water.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    acid : VesselAcidity
        Acidity along it. [-]
    factor : array_like
        Of the bulk, over the source. [1]
    bulk, wall : Saturation
        There, and at its membrane. [-]

    Returns
    -------
    tuple of ndarray
        Index [1], whether it is that of Stiff and Davis [bool], and the smooth numbers it is made
        of by words; NaN and none without calcium.

    Validity
    --------
    As `saturations`.

    Source
    ------
    astm_d4582
    """
    T = view.temperature
    ratio = np.asarray(factor) * view.table.feed_salinity / (1 - view.table.feed_salinity)
    salinity = ratio / (1 + ratio)
    salt = view.table.mass_concentration(np.minimum(salinity, 0.45), T)
    salty = salt > scaling.LANGELIER_RANGE.high
    if "calcite" not in wall.indices:
        return np.full(np.shape(salt), np.nan), salty, {}
    water = view.table.density(salinity, T) - salt
    strength = bulk.ionic_strength * water / 1e3
    state = acid.by_standard(factor), *hardness(view, acid, salt), strength, T
    index, (below, above) = scaling.stiff_davis_index(*state), scaling.stiff_davis_parts(*state)
    words = ("salt", "ionic strength", "index, low strength", "index, high strength",
             "index at the membrane")  # fmt: skip
    parts = (salt, strength, below, above, wall.indices["calcite"])
    numbers = dict(zip(words, parts, strict=True))
    reads = {f"{view.name}.{name}": Value(number, "factor") for name, number in numbers.items()}
    return np.where(salty, index, wall.indices["calcite"]), salty, reads


def hardness(view: MembraneView, acid: VesselAcidity, salt) -> tuple[Any, Any]:
    """Return calcium and alkalinity of a concentrate.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    acid : VesselAcidity
        Acidity along it. [-]
    salt : array_like
        Dissolved salt of the concentrate. [kg/m3]

    Returns
    -------
    tuple of ndarray
        Calcium [mol/m3] and alkalinity [eq/m3].

    Validity
    --------
    Salt in the proportions of the source, alkalinity as dosed ahead.

    Source
    ------
    definition
    """
    ions = ions_of(view.analysis, salt)
    carbonates = (("HCO3", 1), ("CO3", 2))
    alkali = sum(n * ions.get(name, 0.0) / IONS[name].molar_mass for name, n in carbonates)
    left = acid.alkalinity / (acid.source.alkalinity * view.fed)  # 1 where nothing is dosed
    calcium = ions["Ca"] / IONS["Ca"].molar_mass * 10 ** _dosed(view, acid, "Ca")
    return calcium, np.maximum(alkali * left, LEAST)


def allowed(kind: str, salty, dosed):
    """Return the highest index of calcium carbonate that is commonly let be.

    Parameters
    ----------
    kind : str
        Of the water. [-]
    salty : array_like
        Whether the index is that of Stiff and Davis. [bool]
    dosed : array_like
        Whether an antiscalant is dosed. [bool]

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
    bare = np.where(np.asarray(salty) & (kind == "seawater"), SEA_WITHOUT, WITHOUT)
    return np.where(dosed, np.where(salty, SALTY_WITH_ANTISCALANT, WITH_ANTISCALANT), bare)


def scale_limits(view: MembraneView, state: ScaleState, dosed) -> list[Limit]:
    """Return one limit for each mineral, by what the case says is dosed.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    state : ScaleState
        Of the vessel. [-]
    dosed : array_like
        Whether an antiscalant reaches it. [bool]

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
    every, thin = bool(np.all(dosed)), view.fed < SMALLEST
    # a thinner one than the chemistry reaches is further from scale
    judged = state.inside | (view.wall < SMALLEST)
    common: dict[str, Any] = {
        "binding_input": f"{view.name}.antiscalant",
        "advice": "recover less" if every else "dose an antiscalant, or recover less",
        "group": "practice",
        "judged": judged,
        "source": SOURCES[every],
    }
    found = []
    if "calcite" in state.wall.indices:
        words = "index of calcium carbonate" + (
            ", Stiff and Davis" if np.all(state.salty) else " at the membrane"
        )
        found.append(
            Limit(words, f"{view.name}.carbonate_index", state.carbonate, "<=",
                  allowed(view.analysis.kind, state.salty, dosed), "factor", **common)
        )  # fmt: skip
    for mineral in () if np.all(thin) else state.wall.indices:
        if mineral != "calcite":
            rule = scaling.SCALES[mineral]
            found.append(
                Limit(f"saturation of {mineral}", f"{view.name}.saturation.{mineral}",
                      state.wall.ratio(mineral), "<=",
                      np.where(dosed, rule.with_antiscalant, rule.without), "factor", **common)
            )  # fmt: skip
    return found
