"""Stepped table of ultraviolet doses at 254 nm that earn a log credit."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.uv.optics import check_choice
from treatsim.errors import require

# Doses in J/m2, to be reached after division by the validation factor, in filtered water or water
# that meets the turbidity limits of filtration avoidance. cfr_141_720; uvdgm_2006 table 1.4.
LOG_CREDITS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0)
DOSE_TABLE = {
    "cryptosporidium": (16.0, 25.0, 39.0, 58.0, 85.0, 120.0, 150.0, 220.0),
    "giardia": (15.0, 21.0, 30.0, 52.0, 77.0, 110.0, 150.0, 220.0),
    "virus": (390.0, 580.0, 790.0, 1000.0, 1210.0, 1430.0, 1630.0, 1860.0),
}


def credited_log(target: str, validated_dose):
    """Log credit for a validated dose: the highest listed step that is reached.

    Parameters
    ----------
    target : str
        "cryptosporidium", "giardia" or "virus".
    validated_dose : array_like
        Equivalent dose divided by the validation factor. [J/m2]

    Returns
    -------
    ndarray
        Credit: 0, 0.5, 1.0 ... 4.0. [1]

    Validity
    --------
    No interpolation and none above 4 log. A negative dose or unknown target raises DomainError.

    Source
    ------
    cfr_141_720; uvdgm_2006 table 1.4.
    """
    check_choice("target", target, tuple(DOSE_TABLE))
    dose = require("validated dose", validated_dose, 0.0, np.inf, "J/m2")
    step = np.searchsorted(DOSE_TABLE[target], dose, side="right")
    return np.concatenate([[0.0], LOG_CREDITS])[step]


def dose_for_credit(target: str, log):
    """Validated dose that earns a log credit; between steps, that of the next listed one.

    Parameters
    ----------
    target : str
        "cryptosporidium", "giardia" or "virus".
    log : array_like
        Credit wanted, above 0 up to 4. [1]

    Returns
    -------
    ndarray
        Dose, to be multiplied by the validation factor for a tested dose. [J/m2]

    Validity
    --------
    Above 4 log nothing is listed: DomainError, as for an unknown target.

    Source
    ------
    cfr_141_720; uvdgm_2006 table 1.4.
    """
    check_choice("target", target, tuple(DOSE_TABLE))
    log = require("log credit", log, 0.0, LOG_CREDITS[-1], "1", open_low=True)
    return np.asarray(DOSE_TABLE[target])[np.searchsorted(LOG_CREDITS, log, side="left")]
