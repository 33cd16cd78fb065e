"""Contact of water with chlorine: how long, how much, and two regressions as information.

CT is in kg s/m3; 1 mg min/L is 0.06 (MG_MIN_PER_L).
"""

from __future__ import annotations

import numpy as np

from treatsim.errors import DomainError, require
from treatsim.ranges import Range

MG_MIN_PER_L = 0.06  # kg s/m3

# share of the mean residence time that 90 % of the water stays; the ends were read, the classes
# between are from memory (epa_816_r_03_004)
BAFFLING = {
    "unbaffled": 0.1,
    "poor": 0.3,
    "average": 0.5,
    "superior": 0.7,
    "plug_flow": 1.0,
}
MODES = ("fill_and_draw", "flow_through", "drawn_while_filling")

SMITH = "regression of Giardia by chlorine"
SMITH_TEMPERATURE = Range("temperature", 273.65, 298.15, "K", SMITH)
SMITH_PH = Range("ph", 6.0, 9.0, "1", SMITH)
SMITH_CHLORINE = Range("free_chlorine", 0.4e-3, 3.0e-3, "kg/m3", SMITH)
VIRUS_TEMPERATURE = Range("temperature", 273.65, 298.15, "K", "regression of virus by chlorine")


def baffling_factor(baffling: str) -> float:
    """Baffling factor of a named class of tank.

    Parameters
    ----------
    baffling : str
        One of "unbaffled", "poor", "average", "superior", "plug_flow".

    Returns
    -------
    float
        T10 over mean residence time. [1]

    Validity
    --------
    A class stands in for a tracer test. Another word raises DomainError.

    Source
    ------
    epa_816_r_03_004; ends read, classes between from memory
    """
    if baffling not in BAFFLING:
        raise DomainError(f'baffling "{baffling}": known are {", ".join(BAFFLING)}')
    return BAFFLING[baffling]


def flow_through_time(volume, flow, factor):
    """Contact time of a tank that is filled and drawn at the same rate (T10).

    Parameters
    ----------
    volume : array_like
        Smallest volume held in the tank. [m3]
    flow : array_like
        Largest flow. [m3/s]
    factor : array_like
        Baffling factor. [1]

    Returns
    -------
    ndarray
        Time that 90 % of the water stays at least, broadcast shape. [s]

    Validity
    --------
    Steady flow and level. A factor outside 0 to 1 or a flow of zero raises DomainError.

    Source
    ------
    epa_816_r_03_004, from memory
    """
    volume = require("volume", volume, 0.0, np.inf, "m3")
    flow = require("flow", flow, 0.0, np.inf, "m3/s", open_low=True)
    return volume / flow * require("baffling factor", factor, 0.0, 1.0, "")


def contact_time(mode: str, volume, flow, factor, waiting):
    """Contact time that counts, by the way the tank is drawn.

    Parameters
    ----------
    mode : str
        "fill_and_draw" (filled and dosed, outlet closed, then drawn), "flow_through", or
        "drawn_while_filling" (level and mixing unknown).
    volume : array_like
        Smallest volume held while drawing. [m3]
    flow : array_like
        Largest flow drawn; not used by "fill_and_draw". [m3/s]
    factor : array_like
        Baffling factor; not used by "fill_and_draw". [1]
    waiting : array_like
        Time with the outlet closed after the dose is mixed in; "fill_and_draw" only. [s]

    Returns
    -------
    ndarray
        Contact time, broadcast shape. [s]

    Validity
    --------
    "drawn_while_filling" is never credited better than an unbaffled tank. Another mode raises
    DomainError.

    Source
    ------
    common practice; T10 as in epa_816_r_03_004
    """
    if mode not in MODES:
        raise DomainError(f'mode "{mode}": known are {", ".join(MODES)}')
    if mode == "fill_and_draw":
        return require("waiting time", waiting, 0.0, np.inf, "s")
    factor = require("baffling factor", factor, 0.0, 1.0, "")
    if mode == "drawn_while_filling":
        factor = np.minimum(factor, BAFFLING["unbaffled"])
    return flow_through_time(volume, flow, factor)


def ct_for_credit(residual_end, time):
    """CT as regulators count it: residual at the end of the contact times T10.

    Parameters
    ----------
    residual_end : array_like
        Free chlorine where the water leaves the contact. [kg/m3]
    time : array_like
        Contact time that counts. [s]

    Returns
    -------
    ndarray
        CT, broadcast shape. [kg s/m3]

    Validity
    --------
    Any. Negative values raise DomainError. The exact integral is `chlorine_decay.chlorine_time`.

    Source
    ------
    cfr_141_74
    """
    C = require("residual", residual_end, 0.0, np.inf, "kg/m3")
    return C * require("contact time", time, 0.0, np.inf, "s")


def giardia_ct_regression(log_reduction, free_chlorine, ph, temperature):
    """CT for a Giardia reduction by the two-branch regression. Information, never credit.

    Parameters
    ----------
    log_reduction : array_like
        Decimal logs wanted. [1]
    free_chlorine : array_like
        Free chlorine. [kg/m3]
    ph : array_like
        Acidity. [1]
    temperature : array_like
        Water temperature. [K]

    Returns
    -------
    ndarray
        CT, broadcast shape. [kg s/m3]

    Validity
    --------
    0.5 to 25 degC, pH 6 to 9, 0.4 to 3 mg/L (SMITH_*); computed beyond. Lies 0 to 18 % above the
    regulation table, and steps down by 0.7 % at 12.5 degC. Impossible values raise DomainError.

    Source
    ------
    smith_clark_1995, constants from memory
    """
    L = require("log reduction", log_reduction, 0.0, np.inf, "")
    C = require("free chlorine", free_chlorine, 0.0, np.inf, "kg/m3") * 1e3
    pH = require("pH", ph, 0.0, 14.0, "")
    T = require("temperature", temperature, 273.15, 373.15, "K") - 273.15
    cold = 0.353 * L * (12.006 + np.exp(2.46 - 0.073 * T + 0.125 * C + 0.389 * pH))
    warm = 0.361 * L * (-2.261 + np.exp(2.69 - 0.065 * T + 0.111 * C + 0.361 * pH))
    return np.where(T < 12.5, cold, warm) * MG_MIN_PER_L


def giardia_log_regression(ct, free_chlorine, ph, temperature):
    """Giardia reduction by the two-branch regression. Information, never credit.

    Parameters
    ----------
    ct : array_like
        Chlorine times time. [kg s/m3]
    free_chlorine : array_like
        Free chlorine. [kg/m3]
    ph : array_like
        Acidity. [1]
    temperature : array_like
        Water temperature. [K]

    Returns
    -------
    ndarray
        Decimal logs, broadcast shape. [1]

    Validity
    --------
    As `giardia_ct_regression`, of which this is the inverse (linear in the logs).

    Source
    ------
    smith_clark_1995, constants from memory
    """
    ct = require("CT", ct, 0.0, np.inf, "kg s/m3")
    return ct / giardia_ct_regression(1.0, free_chlorine, ph, temperature)


def virus_log_regression(ct, temperature):
    """Virus reduction by free chlorine from a regression. Information, never credit.

    Parameters
    ----------
    ct : array_like
        Chlorine times time. [kg s/m3]
    temperature : array_like
        Water temperature. [K]

    Returns
    -------
    ndarray
        Decimal logs, not below zero, broadcast shape. [1]

    Validity
    --------
    0.5 to 25 degC (VIRUS_TEMPERATURE), pH 6 to 9, up to 4 log; computed beyond. Clumped virus needs
    far more. Impossible values raise DomainError.

    Source
    ------
    smith_clark_1995 as in epa_816_r_03_004, constants from memory
    """
    CT = require("CT", ct, 0.0, np.inf, "kg s/m3") / MG_MIN_PER_L
    T = require("temperature", temperature, 273.15, 373.15, "K") - 273.15
    return np.maximum((CT * np.exp(0.071 * T) - 0.42) / 2.94, 0.0)
