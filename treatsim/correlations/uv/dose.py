"""From fluence rate and flow to the distribution of doses, survival and equivalent dose.

A distribution lies on a trailing axis: dose (..., n) with its shares of the flow. All survivals are
natural logarithms, so that a forty-log reduction is as exact as a small one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from treatsim.correlations.uv.dose_response import DoseResponse, FirstOrder
from treatsim.correlations.uv.optics import LN10
from treatsim.errors import require
from treatsim.numerics import find_roots

TANK_NODES = 129
TANK_CUT = 45.0  # parts of the gamma distribution below exp(-45) of its peak are left out


class DoseDistribution(NamedTuple):
    """Doses and the shares of the flow that receive them."""

    dose: np.ndarray  # J/m2, (..., n)
    weight: np.ndarray  # sums to 1 over the last axis, (n,) or (..., n)
    minimum: np.ndarray  # smallest dose of any share of the flow, J/m2, (...)

    @property
    def mean(self) -> np.ndarray:
        """Flow-weighted mean dose. [J/m2], shape (...)"""
        return np.sum(self.dose * self.weight, axis=-1)

    def scaled(self, factor, index=slice(None)) -> DoseDistribution:
        """Doses of the points `index`, multiplied with `factor`; points on one leading axis."""
        weight = self.weight if self.weight.ndim == 1 else self.weight[index]
        factor = np.asarray(factor, dtype=float)
        return DoseDistribution(
            self.dose[index] * factor[..., None], weight, self.minimum[index] * factor
        )


def mean_dose(mean_fluence_rate, volume, flow):
    """Flow-weighted mean dose, the same for every pattern of mixing.

    Parameters
    ----------
    mean_fluence_rate : array_like
        Volume mean of the fluence rate. [W/m2]
    volume : array_like
        Volume the mean was taken over. [m3]
    flow : array_like
        Flow. [m3/s]

    Returns
    -------
    ndarray
        Dose. [J/m2]

    Validity
    --------
    Steady flow without dead water. A flow that is not positive raises DomainError.

    Source
    ------
    bolton_2000 (definition of the mean dose).
    """
    flow = require("flow", flow, 0.0, np.inf, "m3/s", open_low=True)
    return mean_fluence_rate * require("volume", volume, 0.0, np.inf, "m3") / flow


def unmixed_dose(axial_integral, axial_integral_at_wall, area_weight, velocity):
    """Doses if the water moved as a plug and never changed its radius.

    Parameters
    ----------
    axial_integral : array_like, shape (..., n)
        Fluence rate integrated over the chamber's length at n radii. [W/m]
    axial_integral_at_wall : array_like, shape (...)
        The same at the chamber's wall, where it is smallest. [W/m]
    area_weight : array_like, shape (n,) or (..., n)
        Share of the cross-section of each radius. [1]
    velocity : array_like, shape (...)
        Mean velocity. [m/s]

    Returns
    -------
    DoseDistribution
        Dose, shape (..., n), and its smallest value. [J/m2]

    Validity
    --------
    The pessimistic bound of turbulent flow. A velocity that is not positive raises DomainError.

    Source
    ------
    bolton_2000; limit of no radial mixing.
    """
    velocity = require("velocity", velocity, 0.0, np.inf, "m/s", open_low=True)
    dose = np.asarray(axial_integral) / velocity[..., None]
    return DoseDistribution(dose, np.asarray(area_weight), axial_integral_at_wall / velocity)


def laminar_dose(axial_integral, area_weight, profile, velocity):
    """Doses in developed laminar flow without radial mixing.

    Parameters
    ----------
    axial_integral : array_like, shape (..., n)
        Fluence rate integrated over the chamber's length at n radii. [W/m]
    area_weight : array_like, shape (n,) or (..., n)
        Share of the cross-section of each radius. [1]
    profile : array_like, shape (n,) or (..., n)
        Local over mean velocity. [1]
    velocity : array_like, shape (...)
        Mean velocity. [m/s]

    Returns
    -------
    DoseDistribution
        Dose, shape (..., n); its smallest value is that of the nodes. [J/m2]

    Validity
    --------
    `annulus_flow.LAMINAR_RANGE`. A velocity that is not positive raises DomainError.

    Source
    ------
    bird_stewart_lightfoot, section 2.4 (profile).
    """
    velocity = require("velocity", velocity, 0.0, np.inf, "m/s", open_low=True)
    profile = require("velocity ratio", profile, 0.0, 10.0, "1", open_low=True)
    dose = np.asarray(axial_integral) / (velocity[..., None] * profile)
    return DoseDistribution(dose, np.asarray(area_weight) * profile, np.min(dose, axis=-1))


def tanks_dose(mean, tanks):
    """Doses behind equal tanks in series in a field that is the same in each: a gamma distribution.

    Parameters
    ----------
    mean : array_like, shape (...)
        Mean dose. [J/m2]
    tanks : array_like, shape (...)
        Number of tanks, need not be whole. [1]

    Returns
    -------
    DoseDistribution
        Dose, shape (..., 129); its smallest value is zero. [J/m2]

    Validity
    --------
    Survivals down to about 1e-7 keep seven digits; a first-order response has its closed form in
    `tanks_log_survival`. Fewer than one tank raises DomainError.

    Source
    ------
    levenspiel, tanks in series.
    """
    mean, tanks = np.broadcast_arrays(
        require("mean dose", mean, 0.0, np.inf, "J/m2"),
        require("tanks in series", tanks, 1.0, 1e6, "1"),
    )
    cut, number = TANK_CUT / tanks, tanks[..., None]
    low = -(np.sqrt(2 * cut) + cut)
    high = np.minimum(np.sqrt(2 * cut), np.log1p(2 * cut))
    place = low[..., None] + (high - low)[..., None] * np.linspace(0.0, 1.0, TANK_NODES)
    weight = np.exp(number * (place - np.expm1(place)))
    weight = weight / np.sum(weight, axis=-1, keepdims=True)
    return DoseDistribution(mean[..., None] * np.exp(place), weight, np.zeros_like(mean))


def log_survival(distribution: DoseDistribution, response: DoseResponse):
    """Natural logarithm of the surviving share behind a distribution of doses.

    Parameters
    ----------
    distribution : DoseDistribution
        Doses. [J/m2]
    response : DoseResponse
        Dose response; a `FirstOrder` may hold one dose per log for each point. [J/m2]

    Returns
    -------
    ndarray, shape (...)
        ln(N/N0). [1]

    Validity
    --------
    Segregated flow: each share keeps its dose. Does not underflow. With the radii of `lamp_field`
    the equivalent dose is within 1e-6 up to 20 log (unmixed: 100 log) and 1e-3 up to 400 log.

    Source
    ------
    uvdgm_2006 (definition of the equivalent dose; from memory).
    """
    # the distribution goes to the front, so that values per point broadcast
    exponent = -LN10 * response.log_inactivation(np.moveaxis(distribution.dose, -1, 0))
    top = np.max(exponent, axis=0)
    exponent -= top  # in place: many points times many doses leave the processor's cache
    np.exp(exponent, out=exponent)
    weight = np.moveaxis(distribution.weight, -1, 0)
    return top + np.log(np.einsum("n...,n...->...", weight, exponent))


def tanks_log_survival(mean, tanks, dose_per_log):
    """Natural logarithm of the surviving share behind equal tanks in series, first order.

    Parameters
    ----------
    mean : array_like
        Mean dose. [J/m2]
    tanks : array_like
        Number of tanks, need not be whole; infinite is plug flow, mixed over the radius. [1]
    dose_per_log : array_like
        Dose that inactivates one more decade. [J/m2]

    Returns
    -------
    ndarray
        ln(N/N0). [1]

    Validity
    --------
    First-order inactivation. Tanks that are not positive raise DomainError.

    Source
    ------
    levenspiel, tanks in series.
    """
    tanks = require("tanks in series", tanks, 0.0, np.inf, "1", open_low=True)
    exponent = FirstOrder(dose_per_log).rate * require("mean dose", mean, 0.0, np.inf, "J/m2")
    finite = np.where(np.isinf(tanks), 1.0, tanks)
    return -np.where(np.isinf(tanks), exponent, finite * np.log1p(exponent / finite))


def dispersed_log_survival(mean, peclet, dose_per_log):
    """Natural logarithm of the surviving share behind closed dispersed flow, first order.

    Parameters
    ----------
    mean : array_like
        Mean dose. [J/m2]
    peclet : array_like
        Velocity times length over axial dispersion. [1]
    dose_per_log : array_like
        Dose that inactivates one more decade. [J/m2]

    Returns
    -------
    ndarray
        ln(N/N0). [1]

    Validity
    --------
    First-order inactivation, closed ends, field even along the way. Peclet numbers from 1e-6; lower
    raises DomainError.

    Source
    ------
    levenspiel, dispersion model.
    """
    peclet = require("Peclet number", peclet, 1e-6, np.inf, "1")
    exponent = FirstOrder(dose_per_log).rate * require("mean dose", mean, 0.0, np.inf, "J/m2")
    q = np.sqrt(1 + 4 * exponent / peclet)
    below = (1 + q) ** 2 - (1 - q) ** 2 * np.exp(-q * peclet)
    # Pe/2 (1 - q) without cancellation
    return np.log(4 * q / below) - 2 * exponent / (1 + q)


def log_reduction(natural_log_survival):
    """log10 reduction from a natural logarithm of survival.

    Parameters
    ----------
    natural_log_survival : array_like
        ln(N/N0). [1]

    Returns
    -------
    ndarray
        log10(N0/N). [1]

    Validity
    --------
    Definition.

    Source
    ------
    Definition.
    """
    return -np.asarray(natural_log_survival) / LN10


def equivalent_dose(distribution: DoseDistribution, response: DoseResponse):
    """Reduction-equivalent dose: the one dose that inactivates as much as the distribution does.

    Parameters
    ----------
    distribution : DoseDistribution
        Doses. [J/m2]
    response : DoseResponse
        Dose response of a named organism. [J/m2]

    Returns
    -------
    ndarray, shape (...)
        Equivalent dose (RED). [J/m2]

    Validity
    --------
    Belongs to that organism. Lies between smallest and mean dose for a first-order response. Past
    the last dose measured for the organism it rests on its response going on as it was; the log
    that may be claimed ends there all the same. A `Quadratic` gives no more than its peak's dose.

    Source
    ------
    uvdgm_2006 (definition; from memory).
    """
    return response.dose_for(log_reduction(log_survival(distribution, response)))


class LargestFlow(NamedTuple):
    """Answer of `largest_flow`, shape (N,)."""

    flow: np.ndarray  # m3/s; zero where no flow reaches the dose
    found: np.ndarray  # bool


def largest_flow(
    equivalent_dose_at: Callable[[np.ndarray, np.ndarray], np.ndarray], flow, required
) -> LargestFlow:
    """Largest flow at which an equivalent dose still meets what is required.

    Every dose is proportional to lamp power over flow, so the search runs over one factor.

    Parameters
    ----------
    equivalent_dose_at : callable
        `(factor, index)` -> equivalent dose of the points `index` with every dose multiplied by
        `factor`, for instance `lambda f, i: equivalent_dose(d.scaled(f, i), response)`. [J/m2]
    flow : array_like, shape (N,)
        Flow at which the doses were computed. [m3/s]
    required : array_like, shape (N,)
        Dose to reach. [J/m2]

    Returns
    -------
    LargestFlow
        Shape (N,). [m3/s]

    Validity
    --------
    Pattern of flow and mixing unchanged by the flow. Flow or dose not positive raises DomainError.

    Source
    ------
    Computed.
    """
    flow, required = (
        np.atleast_1d(v)
        for v in np.broadcast_arrays(
            require("flow", flow, 0.0, np.inf, "m3/s", open_low=True),
            require("required dose", required, 0.0, np.inf, "J/m2", open_low=True),
        )
    )
    today = np.asarray(equivalent_dose_at(np.ones(flow.size), np.arange(flow.size)))
    lit = np.flatnonzero(today > 0)
    guess = np.log(required[lit] / today[lit])
    roots = find_roots(
        lambda x, i: equivalent_dose_at(np.exp(x), lit[i]) / required[lit[i]] - 1,
        guess,
        guess - 25.0,
        guess + 25.0,
        ftol=1e-12,
    )
    found, answer = np.zeros(flow.size, bool), np.zeros(flow.size)
    found[lit] = roots.converged
    answer[lit] = np.where(roots.converged, flow[lit] * np.exp(-roots.x), 0.0)
    return LargestFlow(answer, found)
