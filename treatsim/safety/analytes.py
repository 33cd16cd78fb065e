"""Measured analytes as text: a unit always, and a basis where the name alone says too little.

"45 mg/L as NO3", "12 NTU", "3 per 100 mL". Inside: kg/m3, NTU, 1/m3.
"""

from __future__ import annotations

import re

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError, require

COUNTED = re.compile(r"(?:CFU|MPN|1)?\s*(?:per|/)\s*\(?100 mL\)?", re.IGNORECASE)
UNITS = {"turbidity": "NTU", "e_coli": "1/m3"}  # all others in kg/m3
QUANTITY = {"NTU": "turbidity", "1/m3": "organisms", "kg/m3": "concentration"}
# analytes whose basis must be said: basis -> mass of the guideline's basis per mass of this basis
BASES = {
    "nitrate": {"NO3": 1.0, "N": 62.0049 / 14.0067},
    "nitrite": {"NO2": 1.0, "N": 46.0055 / 14.0067},
    "ammonia": {"NH3": 1.0, "N": 17.0305 / 14.0067, "NH4": 17.0305 / 18.0385},
    "hardness": {"CaCO3": 1.0},
}


def quantity_of(analyte: str) -> str:
    """Return the quantity that an analyte is told in.

    Parameters
    ----------
    analyte : str
        Name as in the guideline table.

    Returns
    -------
    str
        Key of `quantities.QUANTITIES`.

    Validity
    --------
    Whatever is not counted and is no turbidity is a concentration.

    Source
    ------
    definition
    """
    return QUANTITY[UNITS.get(analyte, "kg/m3")]


def read_analyte(analyte: str, text: str) -> float:
    """Turn a measured analyte such as "45 mg/L as NO3" into its SI number on the guideline's basis.

    Parameters
    ----------
    analyte : str
        Name as in the guideline table.
    text : str
        Number, unit, and basis where the name needs one.

    Returns
    -------
    float
        Concentration; NTU for turbidity, 1/m3 for counts. [kg/m3]

    Validity
    --------
    A missing or foreign unit, a missing, unknown or meaningless basis, or a negative value raises
    RequestError naming the analyte.

    Source
    ------
    molar masses for the bases
    """
    if not isinstance(text, str):
        raise RequestError(f'{analyte} = {text!r}: a unit is missing; for example "0.1 mg/L"')
    unit_wanted = UNITS.get(analyte, "kg/m3")
    try:
        number, unit, basis = quantities.split(text)
        unit = "1/dL" if COUNTED.fullmatch(unit) else unit
        if not unit:
            raise RequestError('a unit is missing; for example "0.1 mg/L"')
        factor, offset = quantities.conversion(unit, unit_wanted)
    except RequestError as error:
        raise RequestError([f"{analyte} = {text!r}: {line}" for line in error.problems]) from error
    return float(
        require(analyte, factor * number + offset, 0.0, np.inf, unit_wanted)
        * _basis_factor(analyte, basis)
    )


def _basis_factor(analyte: str, basis: str) -> float:
    known = BASES.get(analyte, {})
    if basis in known:
        return known[basis]
    if known:
        said = f'basis "{basis}" is not known' if basis else "the basis is missing"
        examples = " or ".join(f'"mg/L as {name}"' for name in known)
        raise RequestError(f"{analyte}: {said}; say {examples}")
    if basis:
        raise RequestError(f'{analyte}: "as {basis}" has no meaning here')
    return 1.0
