"""How fast calcite dissolves, and how far a water goes along a bed of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from treatsim.constants import CELSIUS_25
from treatsim.errors import require
from treatsim.numerics import find_roots

MOST = 20.0  # mol/m3 that a water is let take up: 2 g/L
FARTHEST = 8.0  # logarithm of what is lacking to equilibrium: 99.97 % of the way
PLACES = FARTHEST * np.linspace(0.0, 1.0, 49) ** 2  # along the bed, dense where acid is spent
PROTON = 9.31e-9  # m2/s, diffusivity of the hydrogen ion at 25 degC; handbooks, from memory
PER_AREA = 10.0  # mol/(m2 s) per mmol/(cm2 s)


class Chemistry(NamedTuple):
    """What the rate asks of a water."""

    ph: Any
    carbon_dioxide: Any  # mol/kg
    index: Any  # saturation index of calcite


def dissolution_rate(water: Chemistry, temperature, film):
    """Return the rate at which calcite dissolves.

    Parameters
    ----------
    water : Chemistry
        In the bulk. [-]
    temperature : array_like
        Of the water. [K]
    film : array_like
        Mass transfer of the hydrogen ion to the grain; infinite: the surface alone. [m/s]

    Returns
    -------
    ndarray, broadcast shape
        Per area of grain; 0 where the water is saturated. [mol/(m2 s)]

    Validity
    --------
    5 to 60 degC. Far from equilibrium the law is of measurements at clean crystals; near it other
    ions (magnesium, phosphate) slow it down. Hydrogen ions must reach the grain, which `film` says.

    Source
    ------
    plummer_wigley_parkhurst_1978
    """
    T = require("temperature", temperature, 270, 340, "K")
    acid, gas = 10 ** (0.198 - 444.0 / T), 10 ** (2.84 - 2177.0 / T)  # cm/s
    plain = np.where(T <= CELSIUS_25, 10 ** (-5.86 - 317.0 / T), 10 ** (-1.1 - 1737.0 / T))
    acid = acid / (1 + acid * 1e-2 / np.asarray(film, float))
    forward = acid * 10.0 ** -np.asarray(water.ph) + gas * water.carbon_dioxide + plain
    return PER_AREA * forward * np.maximum(1 - 10 ** (2 / 3 * np.minimum(water.index, 0.0)), 0.0)


def film_coefficient(velocity, grain, density, viscosity):
    """Return the mass transfer of the hydrogen ion to the grains of a bed.

    Parameters
    ----------
    velocity : array_like
        Of the empty bed. [m/s]
    grain : array_like
        Diameter. [m]
    density, viscosity : array_like
        Of the water. [kg/m3], [Pa s]

    Returns
    -------
    ndarray, broadcast shape
        Coefficient. [m/s]

    Validity
    --------
    Reynolds number of the grain 3 to 10 000; below, the law is continued to its limit Sh = 2.

    Source
    ------
    wakao_funazkri_1978
    """
    reynolds = density * velocity * grain / viscosity
    schmidt = viscosity / (density * PROTON)
    return (2 + 1.1 * reynolds**0.6 * schmidt ** (1 / 3)) * PROTON / grain


def taken_up(
    chemistry: Callable[[Any], Chemistry], temperature, film, reach
) -> tuple[np.ndarray, np.ndarray]:
    """Return the calcite that a water dissolves along a bed, and at equilibrium.

    Parameters
    ----------
    chemistry : callable
        Of the water that has taken up so much calcite [mol/m3], at every point.
    temperature : array_like
        Of the water. [K]
    film : array_like
        As for `dissolution_rate`. [m/s]
    reach : array_like, shape (points,)
        Surface of the grains over the flow of water. [m2 s/m3]

    Returns
    -------
    tuple of ndarray, shape (points,)
        Taken up, and at equilibrium. [mol/m3]

    Validity
    --------
    Plug flow, closed to air. A water that is saturated takes up nothing; none precipitates.

    Source
    ------
    plummer_wigley_parkhurst_1978
    """
    reach = np.asarray(reach, float)
    zero = np.zeros(reach.shape)
    first = np.broadcast_to(chemistry(zero).index, reach.shape)

    def lack(x, index):
        every = zero.copy()
        every[index] = x
        return np.broadcast_to(chemistry(every).index, reach.shape)[index]

    end = find_roots(lack, zero + 0.3, zero, zero + MOST, rtol=1e-9).x
    end = np.where((first < 0) & np.isfinite(end), end, 0.0)
    s, paces = PLACES, []
    for left in np.exp(-s):  # places along the bed, not points
        rate = dissolution_rate(chemistry(end * (1 - left)), temperature, film)
        paces.append(end * left / np.maximum(rate, 1e-30))
    pace = np.broadcast_to(np.array(paces), (s.size, *reach.shape))
    steps = (0.5 * (pace[1:] + pace[:-1]).T * np.diff(s)).T
    far = np.concatenate([zero[None], np.cumsum(steps, axis=0)])
    last = np.clip(np.sum(far <= reach, axis=0) - 1, 0, s.size - 2)
    low, high = (np.take_along_axis(far, (last + k)[None], axis=0)[0] for k in (0, 1))
    part = np.clip((reach - low) / np.where(high > low, high - low, 1.0), 0.0, 1.0)
    return end * -np.expm1(-(s[last] + part * np.diff(s)[last])), end
