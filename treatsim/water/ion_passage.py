"""Which ions make up the salt in a permeate: an estimate by charge, electrically neutral."""

from __future__ import annotations

from collections.abc import Mapping

from treatsim.errors import RequestError, require
from treatsim.water.analysis import WaterAnalysis
from treatsim.water.ions import IONS, SEA_SALT

DIVALENT_SHARE = 1 / 3  # passage of a divalent over that of a monovalent ion; no source


def ions_of(analysis: WaterAnalysis, salt: float) -> dict[str, float]:
    """Return the ions of a water that holds `salt` of dissolved salt.

    Parameters
    ----------
    analysis : WaterAnalysis
        What the salt consists of. [-]
    salt : float
        Dissolved salt per volume. [kg/m3]

    Returns
    -------
    dict of float
        Species -> mass per volume, without boron. [kg/m3]

    Validity
    --------
    An ion analysis in its own proportions; sea salt by the reference composition; sodium chloride
    and fresh water as sodium chloride.

    Source
    ------
    millero_2008, from memory (sea salt)
    """
    value = float(require("salt", salt, 0, 400, "kg/m3"))
    if analysis.kind == "ions":
        parts = {name: v for name, v in analysis.ions.items() if name != "B"}
    elif analysis.kind == "seawater":
        parts = {n: x * IONS[n].molar_mass for n, x in SEA_SALT.items() if n in IONS}
    else:
        parts = {name: IONS[name].molar_mass for name in ("Na", "Cl")}
    total = sum(parts.values())
    return {name: value * v / total for name, v in parts.items()}


def permeate_ions(feed: Mapping[str, float], salt: float) -> dict[str, float]:
    """Return the ions of a permeate whose dissolved salt is known.

    Parameters
    ----------
    feed : mapping of str to float
        Species -> mass per volume, without boron. [kg/m3]
    salt : float
        Dissolved salt of the permeate. [kg/m3]

    Returns
    -------
    dict of float
        Species -> mass per volume; the sum is `salt` and the charges are in balance. [kg/m3]

    Validity
    --------
    An estimate within a factor of two: divalent ions pass `DIVALENT_SHARE` as readily as
    monovalent ones and silica, all in proportion to the feed; of the charge that finds more
    ions to pass, each ion then gives up the same share.

    Source
    ------
    common practice, no source
    """
    value = float(require("salt", salt, 0, 400, "kg/m3"))
    parts = {n: v * (DIVALENT_SHARE if abs(IONS[n].charge) > 1 else 1.0) for n, v in feed.items()}
    charge = {n: v / IONS[n].molar_mass * IONS[n].charge for n, v in parts.items()}
    plus = sum(q for q in charge.values() if q > 0)
    minus = -sum(q for q in charge.values() if q < 0)
    if not plus or not minus:
        raise RequestError("an estimate of the permeate needs a cation and an anion")
    least = min(plus, minus)
    for name, q in charge.items():
        parts[name] *= least / plus if q > 0 else least / minus if q < 0 else 1.0
    total = sum(parts.values())
    return {name: value * v / total for name, v in parts.items()}
