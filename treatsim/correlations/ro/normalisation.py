"""Normalised permeate flow and salt passage by ASTM D4516, and its built-in osmotic pressure."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.constants import CELSIUS_25
from treatsim.errors import require
from treatsim.ranges import Range

FORMULA_RANGE = Range(
    "feed_brine_concentration", 0.0, 100.0, "kg/m3", "ASTM D4516 osmotic pressure, NaCl-like"
)


class OperatingData(NamedTuple):
    """One reading of a reverse-osmosis unit; fields are numbers or arrays over readings."""

    feed_pressure: np.ndarray | float  # Pa, gauge
    pressure_drop: np.ndarray | float  # Pa, feed to concentrate
    permeate_pressure: np.ndarray | float  # Pa, gauge
    feed_concentration: np.ndarray | float  # kg/m3
    permeate_concentration: np.ndarray | float  # kg/m3
    conversion: np.ndarray | float  # permeate / feed flow
    temperature: np.ndarray | float  # K
    permeate_flow: np.ndarray | float  # m3/s


def astm_osmotic_pressure(concentration, temperature):
    """Return the osmotic pressure that ASTM D4516 has built in.

    Parameters
    ----------
    concentration : array_like
        Dissolved salt per volume. [kg/m3]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Osmotic pressure. [Pa]

    Validity
    --------
    `FORMULA_RANGE`. 11 to 14 % high on sea salt, 20 to 100 % on brackish mixtures: it hides the
    polarisation that the practice leaves out, so it must not be replaced by a better one there.

    Source
    ------
    astm_d4516, formula from memory
    """
    c = 1e3 * require("concentration", concentration, 0, 400, "kg/m3")  # mg/L
    return 1e3 * 0.2654 * c * np.asarray(temperature, dtype=float) / (1000 - c / 1000)


def feed_brine_concentration(feed_concentration, conversion):
    """Return the log-mean concentration between feed and concentrate.

    Parameters
    ----------
    feed_concentration : array_like
        Dissolved salt of the feed. [kg/m3]
    conversion : array_like
        Permeate over feed flow. [1]

    Returns
    -------
    ndarray, broadcast shape
        Mean concentration. [kg/m3]

    Validity
    --------
    Conversion from 0 to below 1; 8 % below the arithmetic mean at 0.5, 35 % at 0.75.

    Source
    ------
    astm_d4516, formula from memory
    """
    y = require("conversion", conversion, 0, 0.999, "")
    with np.errstate(invalid="ignore", divide="ignore"):
        factor = np.where(y > 0, -np.log1p(-y) / np.where(y > 0, y, 1.0), 1.0)
    return feed_concentration * factor


def flow_temperature_factor(temperature, per_kelvin: float = 1.03):
    """Return the fallback temperature factor of permeate flow.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]
    per_kelvin : float
        Growth of the permeability per kelvin. [1]

    Returns
    -------
    ndarray, shape of temperature
        Flow at `temperature` over flow at 25 degC. [1]

    Validity
    --------
    10 to 40 degC, 5 %; the element's own factor is better. Half of the published tables print the
    reciprocal.

    Source
    ------
    astm_d4516, fallback from memory
    """
    return per_kelvin ** (np.asarray(temperature, dtype=float) - CELSIUS_25)


def net_driving_pressure(data: OperatingData):
    """Return the mean net driving pressure as the practice defines it.

    Parameters
    ----------
    data : OperatingData
        A reading. [SI]

    Returns
    -------
    ndarray, broadcast shape
        Net driving pressure. [Pa]

    Validity
    --------
    Without polarisation. May be negative for impossible readings.

    Source
    ------
    astm_d4516
    """
    mean = feed_brine_concentration(data.feed_concentration, data.conversion)
    osmotic = astm_osmotic_pressure(mean, data.temperature)
    osmotic_permeate = astm_osmotic_pressure(data.permeate_concentration, data.temperature)
    hydraulic = data.feed_pressure - 0.5 * np.asarray(data.pressure_drop) - data.permeate_pressure
    return hydraulic - (osmotic - osmotic_permeate)


def normalised_flow(actual: OperatingData, standard: OperatingData, factor=flow_temperature_factor):
    """Return the permeate flow the unit would give today at the standard conditions.

    Parameters
    ----------
    actual, standard : OperatingData
        Today's reading; the reading at start-up. [SI]
    factor : callable
        Temperature [K] -> flow relative to 25 degC. [1]

    Returns
    -------
    ndarray, broadcast shape
        Flow, to be held against `standard.permeate_flow`. [m3/s]

    Validity
    --------
    Positive net driving pressures; DomainError otherwise.

    Source
    ------
    astm_d4516
    """
    today = require(
        "net driving pressure", net_driving_pressure(actual), 0, 1e8, "Pa", open_low=True
    )
    start = require(
        "net driving pressure", net_driving_pressure(standard), 0, 1e8, "Pa", open_low=True
    )
    warmth = factor(standard.temperature) / factor(actual.temperature)
    return actual.permeate_flow * start / today * warmth


def normalised_salt_passage(
    actual: OperatingData,
    standard: OperatingData,
    water_temperature_factor=flow_temperature_factor,
    salt_temperature_factor=None,
):
    """Return the salt passage the unit would show today at the standard conditions.

    Parameters
    ----------
    actual, standard : OperatingData
        Today's reading; the reading at start-up. Flows stand for the mean flow per element. [SI]
    water_temperature_factor, salt_temperature_factor : callable
        Temperature [K] -> water and salt permeability relative to 25 degC; without the second the
        first serves for both. [1]

    Returns
    -------
    ndarray, broadcast shape
        Permeate over feed concentration. [1]

    Validity
    --------
    The form published with one temperature factor for flow and one for salt. A rise of the
    normalised value means a leak or an aged membrane.

    Source
    ------
    astm_d4516, from memory
    """
    salt_temperature_factor = salt_temperature_factor or water_temperature_factor
    passage = np.asarray(actual.permeate_concentration, dtype=float) / actual.feed_concentration
    mean_actual = feed_brine_concentration(actual.feed_concentration, actual.conversion)
    mean_standard = feed_brine_concentration(standard.feed_concentration, standard.conversion)
    warmth = salt_temperature_factor(standard.temperature) / salt_temperature_factor(
        actual.temperature
    )
    dilution = np.asarray(actual.permeate_flow) / standard.permeate_flow
    relative = (mean_standard / mean_actual) * (
        np.asarray(actual.feed_concentration) / standard.feed_concentration
    )
    return passage * dilution * warmth * relative
