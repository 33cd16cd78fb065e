"""Measured analytes as text: a unit always, and a basis where the name alone says too little.

"45 mg/L as NO3", "12 NTU", "3 per 100 mL". Inside: kg/m3, NTU, 1/m3.
"""

from __future__ import annotations

import re

import numpy as np

from treatsim import quantities
from treatsim.errors import DomainError, RequestError, require
from treatsim.water.substances import Reading, detection, read, substance

COUNTED = re.compile(r"(?:CFU|MPN|1)?\s*(?:per|/)\s*\(?100 mL\)?", re.IGNORECASE)
ONE_IN_SAMPLE = 1e4 * (1 + 1e-9)  # 1/m3, one in 100 mL
UNITS = {"turbidity": "NTU", "e_coli": "1/m3"}  # all others in kg/m3
QUANTITY = {"NTU": "turbidity", "1/m3": "organisms", "kg/m3": "concentration"}


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
    return read_detected(analyte, text).value


def read_detected(analyte: str, text: str) -> Reading:
    """Turn a measured analyte into its number, and say whether it is a limit of detection.

    Parameters
    ----------
    analyte : str
        Name as in the guideline table.
    text : str
        As of `read_analyte`, or "below 0.01 mg/L", "< 0.01 mg/L".

    Returns
    -------
    Reading
        On the guideline's basis; a count below one in the sample is none. [kg/m3]

    Validity
    --------
    As `read_analyte`.

    Source
    ------
    molar masses for the bases
    """
    if not isinstance(text, str):
        raise RequestError(f'{analyte} = {text!r}: a unit is missing; for example "0.1 mg/L"')
    row = substance(analyte)
    try:
        if row is not None and row.name == analyte:
            return read(row, text)
        return _plain(analyte, text)
    except DomainError:
        raise
    except RequestError as error:
        raise RequestError([f"{analyte} = {text!r}: {line}" for line in error.problems]) from error


def _plain(analyte: str, text: str) -> Reading:
    """Read what is no substance with a molar mass: turbidity, germs, poisons by their name."""
    unit_wanted = UNITS.get(analyte, "kg/m3")
    plain, below = detection(text)
    number, unit, basis = quantities.split(plain)
    unit = "1/dL" if COUNTED.fullmatch(unit) else unit
    if not unit:
        raise RequestError('a unit is missing; for example "0.1 mg/L"')
    if basis:
        raise RequestError(f'"as {basis}" has no meaning here')
    factor, offset = quantities.conversion(unit, unit_wanted)
    value = float(require(analyte, factor * number + offset, 0.0, np.inf, unit_wanted))
    if below and unit_wanted == "1/m3" and value <= ONE_IN_SAMPLE:
        return Reading(0.0)
    return Reading(value, below)
