"""From a tested equivalent dose to a dose that may be credited: bias and uncertainty."""

from __future__ import annotations

import numpy as np

from treatsim.errors import require

SENSOR_UNCERTAINTY_FREE = 0.10  # smaller sensor uncertainty is left out
RESPONSE_UNCERTAINTY_FREE = 0.30  # smaller uncertainty of the dose response is left out


def dose_bias(challenge_dose, target_dose):
    """Equivalent dose of the test organism over that of the target, never below one.

    Parameters
    ----------
    challenge_dose, target_dose : array_like
        Equivalent doses of the same distribution. [J/m2]

    Returns
    -------
    ndarray
        Bias factor B_RED. [1]

    Validity
    --------
    One when the challenge is the more sensitive organism. Values not positive raise DomainError.

    Source
    ------
    uvdgm_2006, chapter 5 (from memory).
    """
    challenge = require("challenge dose", challenge_dose, 0.0, np.inf, "J/m2", open_low=True)
    target = require("target dose", target_dose, 0.0, np.inf, "J/m2", open_low=True)
    return np.maximum(challenge / target, 1.0)


def combined_uncertainty(fit_or_setpoint, sensor=0.0, dose_response=0.0):
    """Uncertainty of a validation, root sum of squares of the parts that count.

    Parameters
    ----------
    fit_or_setpoint : array_like
        Uncertainty of the setpoint, or of the fitted dose equation, as a fraction. [1]
    sensor : array_like
        Uncertainty of the sensor; counts above 10 %. [1]
    dose_response : array_like
        Uncertainty of the dose response; counts above 30 %. [1]

    Returns
    -------
    ndarray
        Fraction. [1]

    Validity
    --------
    Negative values raise DomainError.

    Source
    ------
    uvdgm_2006, chapter 5 (from memory).
    """
    base = require("uncertainty of fit or setpoint", fit_or_setpoint, 0.0, np.inf, "1")
    sensor = require("uncertainty of the sensor", sensor, 0.0, np.inf, "1")
    response = require("uncertainty of the dose response", dose_response, 0.0, np.inf, "1")
    sensor = np.where(sensor > SENSOR_UNCERTAINTY_FREE, sensor, 0.0)
    response = np.where(response > RESPONSE_UNCERTAINTY_FREE, response, 0.0)
    return np.sqrt(base**2 + sensor**2 + response**2)


def validation_factor(bias, uncertainty):
    """Factor by which a tested equivalent dose exceeds what may be credited.

    Parameters
    ----------
    bias : array_like
        Bias factor, 1 or more. [1]
    uncertainty : array_like
        Combined uncertainty as a fraction. [1]

    Returns
    -------
    ndarray
        Validation factor; divide the tested dose by it. [1]

    Validity
    --------
    A bias below 1 or a negative uncertainty raises DomainError.

    Source
    ------
    uvdgm_2006, chapter 5 (from memory).
    """
    bias = require("dose bias", bias, 1.0, np.inf, "1")
    return bias * (1 + require("uncertainty", uncertainty, 0.0, np.inf, "1"))


def validated_dose(tested_dose, factor):
    """Dose that may be held against a table of doses: what the test organism got, over its factor.

    Parameters
    ----------
    tested_dose : array_like
        Equivalent dose of the organism the factor was made for. [J/m2]
    factor : array_like
        Validation factor of the class that is to be credited, 1 or more. [1]

    Returns
    -------
    ndarray
        Dose. [J/m2]

    Validity
    --------
    The factor holds the bias between test organism and target: with the dose of any other organism
    it counts the bias twice or not at all. A negative dose or a factor below 1 raises DomainError.

    Source
    ------
    uvdgm_2006, chapter 5 (from memory).
    """
    dose = require("tested dose", tested_dose, 0.0, np.inf, "J/m2")
    return dose / require("validation factor", factor, 1.0, np.inf, "1")
