"""How far a vessel may recover before each scale forms at its membrane, for a lone point."""

from __future__ import annotations

import numpy as np

from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.scale import allowed, carbonate, saturations
from treatsim.safety.vessel_acidity import VesselAcidity
from treatsim.water import scaling
from treatsim.water.concentrate_line import LARGEST, SMALLEST, concentrate_line, first_crossing

STEPS = 400  # factors at which the limits are looked at


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
    factor = np.minimum(np.asarray(factor, float), 1e300)
    over = factor > 1
    return np.where(over, (factor - 1) / np.where(over, factor - passage, 1.0), 0.0)


def highest_recovery(
    view: MembraneView, acid: VesselAcidity
) -> tuple[dict[str, float], dict[str, float]]:
    """Return the recovery at which each mineral reaches its limit, for a lone point.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    acid : VesselAcidity
        Acidity along it. [-]

    Returns
    -------
    tuple of dict of float
        Without and with an antiscalant: scale -> recovery, of a vessel fed with permeate its own,
        else that of the source; infinite where it is not met as far as the chemistry reaches. [1]

    Validity
    --------
    Polarisation and passage stay those of the vessel as it runs.

    Source
    ------
    parkhurst_appelo_2013, astm_d4582
    """
    polarisation = view.wall / view.bulk
    start, factor = searched(view)
    bulk, _ = saturations(view, acid, factor)
    wall, _ = saturations(view, acid, factor * polarisation)
    index, salty, _ = carbonate(view, acid, factor, bulk, wall)
    thin = bool(np.all(view.fed < SMALLEST))
    bare: dict[str, float] = {}
    held: dict[str, float] = {}
    for name, reached in wall.indices.items():
        rule = scaling.SCALES[name]
        if thin and name != "calcite":
            continue
        for dosed, found in ((False, bare), (True, held)):
            limit = np.log10(rule.with_antiscalant if dosed else rule.without)
            excess = reached - limit
            if name == "calcite":
                excess = index - allowed(view.analysis.kind, salty, dosed)
            crossing = float(np.exp(first_crossing(np.log(factor), excess[:, None])[0]))
            share = recovery_of(crossing / start, float(view.passage[0]) / start)
            found[name] = float(share) if np.isfinite(crossing) else np.inf
    return bare, held


def searched(view: MembraneView) -> tuple[float, np.ndarray]:
    """Return the factors over which limits are looked for, of a lone point.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]

    Returns
    -------
    tuple of float and ndarray
        Factor that recovery counts from, and factors of the bulk, rising. [1]

    Validity
    --------
    As far as the chemistry reaches at the membrane; a permeate up to twentyfold.

    Source
    ------
    definition
    """
    fed, wall = float(view.fed[0]), float(view.wall[0] / view.bulk[0])
    if fed < SMALLEST:
        return fed, np.geomspace(fed, max(min(LARGEST * fed, SMALLEST) / wall, 1.01 * fed), STEPS)
    top = concentrate_line(view.analysis, float(view.temperature[0])).high
    return 1.0, np.geomspace(fed, max(top / wall, 1.01 * fed), STEPS)
