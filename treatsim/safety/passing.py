"""What of each dissolved substance a vessel lets pass: ions by charge, boron by pH, the rest not.

Substances are named by the symbol of an ion, "B" for boron, or the name of an analyte.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from treatsim.correlations.ro.spacer_channel import correlation
from treatsim.correlations.ro.trace_solute import film_of, trace_solute
from treatsim.operations.ro_element import TEST_TEMPERATURE, element_of, membrane_at
from treatsim.safety.membrane_view import MembraneView
from treatsim.water import boron
from treatsim.water.concentrate_line import LARGEST, SMALLEST, acidity
from treatsim.water.ion_passage import permeate_ions, relative_passage
from treatsim.water.ions import IONS

BORON = "B"
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


def passes(view: MembraneView, feed: Mapping[str, Any], boron_share: Any) -> dict[str, Any]:
    """Return what passes a vessel over what its feed holds, by substance.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    feed : mapping
        Symbol of an ion, "B" or analyte -> concentration in the feed. [kg/m3]
    boron_share : array_like
        From `boron_passage`, which does not depend on the feed's boron. [1]

    Returns
    -------
    dict of ndarray
        Substance -> share that passes, per point. [1]

    Validity
    --------
    Ions within a factor of two. A substance whose passage nobody knows counts as passing: 1.

    Source
    ------
    common practice, no source (ions); dickson_1990 (boron)
    """
    ions = {name: value for name, value in feed.items() if name in IONS and name != BORON}
    shares = _of_ions(view, ions)
    if BORON in feed:
        shares[BORON] = boron_share
    single = (
        _of_salt(view) if not ions else np.maximum(shares.get("Na", 0.0), shares.get("Cl", 0.0))
    )
    for name in feed:
        if name not in shares:
            like = PASSES_LIKE.get(name)
            shares[name] = 1.0 if like is None else np.minimum(single * relative_passage(like), 1)
    return shares


def _of_salt(view: MembraneView) -> np.ndarray:
    fed = view.sound(view.feed.concentration, 1.0)
    return np.clip(view.sound(view.permeate.concentration, 0.01) / fed, 0.0, 1.0)


def _of_ions(view: MembraneView, ions: Mapping[str, Any]) -> dict[str, Any]:
    """Ions make up the salt that the vessel was solved for."""
    if not ions:
        return {}
    held = {name: np.maximum(view.sound(value, 1e-3), 1e-15) for name, value in ions.items()}
    found = permeate_ions(held, view.sound(view.permeate.concentration, 1e-3))
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


def boron_passage(view: MembraneView) -> np.ndarray:
    """Return boron of the permeate over that of the feed.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]

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
                           boron_permeability(view))  # fmt: skip
    return np.clip(passing.permeate, 0.0, 1.0)


def boron_permeability(view: MembraneView) -> np.ndarray:
    """Return the permeability to boron in the middle of each element.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]

    Returns
    -------
    ndarray, shape (elements, points)
        Of both forms together, by their shares. [m/s]

    Validity
    --------
    As `boron_passage`.

    Source
    ------
    dickson_1990
    """
    element, law = element_of(view.of_parameter("element")), view.of_parameter("correlation")
    cold = membrane_at(element, law, TEST_TEMPERATURE, 1.0, 1.0).salt_permeability
    aged = membrane_at(
        element, law, view.temperature, 1.0, view.of_parameter("salt_permeability_ratio")
    ).salt_permeability
    acid = float(element.boric_acid_permeability or 0.0) * aged / cold
    return boron.effective_permeability(_borate(view), acid, aged)


def acidity_known(view: MembraneView) -> bool:
    """Return whether the pH along the vessel can be told from the analysis of the source.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]

    Returns
    -------
    bool
        False without ions or a pH, or where the vessel is fed with permeate. [-]

    Validity
    --------
    Any vessel.

    Source
    ------
    definition
    """
    told = view.analysis.kind in ("ions", "seawater") and view.analysis.ph is not None
    return told and bool(np.any(view.fed >= SMALLEST))


def _borate(view: MembraneView):
    """Share of borate in the middle of each element; none where the pH is not known."""
    if not acidity_known(view):
        return np.zeros(np.shape(view.between))
    factor = np.clip(view.between, SMALLEST, LARGEST)
    ratio = factor * view.table.feed_salinity / (1 - view.table.feed_salinity)
    ph, inside = acidity(view.analysis, factor, view.temperature)
    share = boron.borate_fraction(ph, ratio / (1 + ratio), view.temperature)
    return np.where((view.between >= SMALLEST) & inside, share, 0.0)
