"""Which ions make up the salt in a permeate: an estimate by charge, electrically neutral."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from treatsim.errors import RequestError, require
from treatsim.water.analysis import WaterAnalysis
from treatsim.water.ions import IONS, SEA_SALT

DIVALENT_SHARE = 1 / 3  # passage of a divalent over that of a monovalent ion; no source
# polyamide holds nitrate less well than chloride: 97 against 99 %, from memory of published lists
RELATIVE_PASSAGE = {"NO3": 3.0}


def relative_passage(ion: str) -> float:
    """Return how readily an ion passes a membrane, over a monovalent one.

    Parameters
    ----------
    ion : str
        A species of `IONS`. [-]

    Returns
    -------
    float
        Ratio of the passages. [1]

    Validity
    --------
    Polyamide, near neutral pH, within a factor of two.

    Source
    ------
    common practice, no source
    """
    return RELATIVE_PASSAGE.get(ion, DIVALENT_SHARE if abs(IONS[ion].charge) > 1 else 1.0)


def ions_of(analysis: WaterAnalysis, salt) -> dict[str, Any]:
    """Return the ions of a water that holds `salt` of dissolved salt.

    Parameters
    ----------
    analysis : WaterAnalysis
        What the salt consists of. [-]
    salt : array_like
        Dissolved salt per volume. [kg/m3]

    Returns
    -------
    dict of ndarray, each of the shape of salt
        Species -> mass per volume, without boron. [kg/m3]

    Validity
    --------
    An ion analysis in its own proportions; sea salt by the reference composition; sodium chloride
    and fresh water as sodium chloride.

    Source
    ------
    millero_2008, from memory (sea salt)
    """
    value = require("salt", salt, 0, 400, "kg/m3")
    if analysis.kind == "ions":
        parts = {name: v for name, v in analysis.ions.items() if name != "B"}
    elif analysis.kind == "seawater":
        parts = {n: x * IONS[n].molar_mass for n, x in SEA_SALT.items() if n in IONS}
    else:
        parts = {name: IONS[name].molar_mass for name in ("Na", "Cl")}
    total = sum(parts.values())
    return {name: value * v / total for name, v in parts.items()}


def permeate_ions(feed: Mapping[str, Any], salt) -> dict[str, Any]:
    """Return the ions of a permeate whose dissolved salt is known.

    Parameters
    ----------
    feed : mapping of str to array_like
        Species -> mass per volume, without boron. [kg/m3]
    salt : array_like
        Dissolved salt of the permeate. [kg/m3]

    Returns
    -------
    dict of ndarray, broadcast shape
        Species -> mass per volume; the sum is `salt` and the charges are in balance. [kg/m3]

    Validity
    --------
    An estimate within a factor of two: ions pass as `relative_passage` says, all in proportion to
    the feed; of the charge that finds more ions to pass, each ion then gives up the same share.

    Source
    ------
    common practice, no source
    """
    value = require("salt", salt, 0, 400, "kg/m3")
    parts = {n: np.asarray(v, float) * relative_passage(n) for n, v in feed.items()}
    charge = {n: v / IONS[n].molar_mass * IONS[n].charge for n, v in parts.items()}
    plus = sum(q for n, q in charge.items() if IONS[n].charge > 0)
    minus = -sum(q for n, q in charge.items() if IONS[n].charge < 0)
    if not np.all(plus) or not np.all(minus):
        raise RequestError("an estimate of the permeate needs a cation and an anion")
    least = np.minimum(plus, minus)
    side = {1: least / plus, -1: least / minus, 0: 1.0}
    kept = {n: v * side[int(np.sign(IONS[n].charge))] for n, v in parts.items()}
    total = sum(kept.values())
    return {n: value * v / total for n, v in kept.items()}
