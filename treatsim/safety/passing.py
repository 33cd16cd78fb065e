"""What of each dissolved substance a vessel lets pass: ions by charge, boron by pH, the rest not.

Substances are named by the symbol of an ion, "B" for boron, or the name of an analyte.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from treatsim.correlations.ro.reflection import permeability_at
from treatsim.correlations.ro.spacer_channel import correlation
from treatsim.correlations.ro.trace_solute import film_of, trace_solute
from treatsim.correlations.ro.vessel_kernel import ARRAYS
from treatsim.operations.ro_element import TEST_TEMPERATURE, element_of, membrane_at
from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.vessel_acidity import VesselAcidity
from treatsim.water import boron
from treatsim.water.acidity import (
    ALKALINE_IONS,
    ALKALINITY,
    BORON,
    CARBON,
    SourceAcidity,
    water_in,
)
from treatsim.water.concentrate_line import LARGEST, SMALLEST
from treatsim.water.ion_passage import permeate_ions, relative_passage
from treatsim.water.ions import IONS

HELD_BACK = ("antiscalant",)  # large molecules, all kept in the concentrate
# analytes that are ions and pass like them: analyte -> ion it passes like
PASSES_LIKE = {
    "nitrate": "NO3",
    "nitrite": "NO3",
    "fluoride": "F",
    "sodium": "Na",
    "chloride": "Cl",
    "sulfate": "SO4",
    "barium": "Ba",
}


def passes(
    view: MembraneView, feed: Mapping[str, Any], source: SourceAcidity | None, dosed: bool
) -> dict[str, Any]:
    """Return what passes a vessel over what its feed holds, by substance.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    feed : mapping
        Symbol of an ion, "B" or analyte -> concentration in the feed. [kg/m3]
    source : SourceAcidity or None
        Acidity of the source; None where it is not known. [-]
    dosed : bool
        Whether acid or base is dosed in the train: the forms of carbonate, borate and hydroxide
        then follow the pH; else they pass as the analysis of the source states them. [-]

    Returns
    -------
    dict of ndarray
        Substance -> share that passes, per point. [1]

    Validity
    --------
    Ions within a factor of two; borate and hydroxide count as ions of one charge. A substance whose
    passage nobody knows counts as passing: 1. Carbon dioxide keeps its fugacity.

    Source
    ------
    common practice, no source (ions); dickson_1990 (boron)
    """
    ions = {name: value for name, value in feed.items() if name in IONS and name != BORON}
    acid = None if source is None else VesselAcidity(view, source, feed)
    shares = _of_ions(view, ions, dosed) if acid is None else _with_carbon(acid, ions, dosed)
    if BORON in feed:
        shares[BORON] = boron_passage(view, acid)
    single = (
        _of_salt(view) if not ions else np.maximum(shares.get("Na", 0.0), shares.get("Cl", 0.0))
    )
    for name in feed:
        if name not in shares:
            like = PASSES_LIKE.get(name)
            free = 0.0 if name in HELD_BACK else 1.0
            shares[name] = free if like is None else np.minimum(single * relative_passage(like), 1)
    return shares


def _with_carbon(acid: VesselAcidity, ions: Mapping[str, Any], dosed: bool) -> dict[str, Any]:
    """Shares of the ions, of alkalinity and of carbon."""
    view = acid.view
    water, forms = acid.water, acid.feed.forms
    one, two = (IONS[name].molar_mass for name in ALKALINE_IONS)
    single = forms.hydrogen_carbonate + np.maximum(forms.borate + forms.hydroxide, 0.0)
    by_form = {"HCO3": single * water * one, "CO3": forms.carbonate * water * two}
    formed = _of_ions(view, {**ions, **by_form}, dosed)
    shares = formed if dosed else _of_ions(view, ions, dosed)
    plain = formed.get("Cl", _of_salt(view))
    bicarbonate, carbonate = formed["HCO3"], formed["CO3"]
    fed = single, 2 * forms.carbonate
    total = fed[0] + fed[1]
    passed = bicarbonate * fed[0] + carbonate * fed[1]
    some = np.asarray(total) > 0
    shares[ALKALINITY] = np.where(some, passed / np.where(some, total, 1.0), plain)
    gas = acid.permeate_gas * water_in(view.permeate)
    carbon = gas + water * (forms.hydrogen_carbonate * bicarbonate + forms.carbonate * carbonate)
    held = np.asarray(acid.held[CARBON], float)
    shares[CARBON] = np.where(held > 0, carbon / np.where(held > 0, held, 1.0), 1.0)
    return shares


def _of_salt(view: MembraneView) -> np.ndarray:
    fed = view.sound(view.feed.concentration, 1.0)
    return np.clip(view.sound(view.permeate.concentration, 0.01) / fed, 0.0, 1.0)


def _of_ions(view: MembraneView, ions: Mapping[str, Any], dosed: bool) -> dict[str, Any]:
    """Ions make up the salt that the vessel was solved for."""
    if not ions:
        return {}
    held = {name: np.maximum(view.sound(value, 1e-3), 1e-15) for name, value in ions.items()}
    salt = view.sound(view.permeate.concentration, 1e-3)
    if dosed:  # what is dosed is in the ions, not in the salt that the vessel was solved for
        salt = _of_salt(view) * sum(held.values())
    found = permeate_ions(held, salt)
    return {name: np.minimum(found[name] / held[name], 1.0) for name in ions}


def boron_known(view: MembraneView) -> bool:
    """Return whether the element says how it holds boric acid.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]

    Returns
    -------
    bool
        False: its passage is not known. [-]

    Validity
    --------
    Any vessel.

    Source
    ------
    definition
    """
    return element_of(view.of_parameter("element")).boric_acid_permeability is not None


def boron_passage(view: MembraneView, acid: VesselAcidity | None) -> np.ndarray:
    """Return boron of the permeate over that of the feed.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    acid : VesselAcidity or None
        Acidity along it; None where it is not known. [-]

    Returns
    -------
    ndarray, one per point
        Share that passes; 1 where the element does not say. [1]

    Validity
    --------
    Boric acid by the element's own permeability, aged and warmed like that of salt; borate as
    salt. Where the pH along the vessel is not known all of it counts as acid, which passes most.

    Source
    ------
    dickson_1990
    """
    if not boron_known(view):
        return np.ones(view.result.points)
    exponent = correlation(view.of_parameter("correlation")).schmidt_exponent
    film = film_of(view.by_element("polarisation_max", 1.0), view.table.salt_diffusivity,
                   IONS[BORON].diffusivity, exponent)  # fmt: skip
    passing = trace_solute(1.0, view.by_element("recovery"), view.by_element("flux"), film,
                           _boron_permeability(view, acid))  # fmt: skip
    return np.clip(passing.permeate, 0.0, 1.0)


def _boron_permeability(view: MembraneView, acid: VesselAcidity | None) -> np.ndarray:
    """Permeability to both forms of boron in the middle of each element, by their shares."""
    element, law = element_of(view.of_parameter("element")), view.of_parameter("correlation")
    cold = membrane_at(element, law, TEST_TEMPERATURE, 1.0, 1.0).salt_permeability
    age, mirror = (view.of_parameter(key)
                   for key in ("salt_permeability_ratio", "reflection_coefficient"))  # fmt: skip
    aged = membrane_at(element, law, view.temperature, 1.0, age).salt_permeability
    boric = float(element.boric_acid_permeability or 0.0) * aged / cold
    salt = membrane_at(element, law, view.temperature, 1.0, age, mirror).salt_permeability
    if np.any(np.less(mirror, 1)):  # borate leaks as the salt does at the flux of the element
        salt, _ = permeability_at(ARRAYS, salt, mirror, view.by_element("flux"))
    return boron.effective_permeability(_borate(view, acid), boric, salt)


def _borate(view: MembraneView, acid: VesselAcidity | None):
    """Share of borate in the middle of each element; none where the pH is not known."""
    if acid is None:
        return np.zeros(np.shape(view.between))
    found = acid.along(view.between)
    ground, boric = found.ground, found.ground.constants.boric
    thin = boric / (boric + 10 ** -(found.ph - ground.shift))
    factor = np.clip(view.between, SMALLEST, LARGEST)
    ratio = factor * view.table.feed_salinity / (1 - view.table.feed_salinity)
    salty = boron.borate_fraction(found.ph, ratio / (1 + ratio), view.temperature)
    return np.where(ground.inside, np.where(ground.thin, thin, salty), 0.0)
