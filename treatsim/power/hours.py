"""Hours out of days: a day's irradiation spread over its daylight, nothing lost."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.power.sun import HOURS, Sun

LEAST_COSINE = 0.02  # of the zenith angle: below, all light is taken as diffuse
MOST_DIRECT = 0.9  # share of what comes outside the air


def daylight_shape(hour_angle: ArrayLike, sunset: ArrayLike) -> Array:
    """Return the part of a day's diffuse light outside the air that falls in an hour.

    Parameters
    ----------
    hour_angle : array_like
        Of the middle of the hour. [rad]
    sunset : array_like
        Hour angle of sunset. [rad]

    Returns
    -------
    ndarray
        Share of the day in one hour; the shares of a day add up to 1 within a per cent. [1]

    Validity
    --------
    A day with a sunrise, or the polar day; 0 in the polar night.

    Source
    ------
    liu_jordan_1960.
    """
    sets = np.asarray(sunset, float)
    risen = np.maximum(np.cos(hour_angle) - np.cos(sets), 0.0)
    whole = np.sin(sets) - sets * np.cos(sets)
    part = np.divide(risen, whole, out=np.zeros(np.shape(risen * whole)), where=whole > 0)
    return np.pi / HOURS * part


def global_shape(hour_angle: ArrayLike, sunset: ArrayLike) -> Array:
    """Return the part of a day's global light that falls in an hour.

    Parameters
    ----------
    hour_angle : array_like
        Of the middle of the hour. [rad]
    sunset : array_like
        Hour angle of sunset. [rad]

    Returns
    -------
    ndarray
        Share of the day in one hour; the shares of a day add up to 0.99 to 1.0. [1]

    Validity
    --------
    As `daylight_shape`.

    Source
    ------
    collares_pereira_rabl_1979.
    """
    turned = np.asarray(sunset, float) - np.radians(60.0)
    first, second = 0.409 + 0.5016 * np.sin(turned), 0.6609 - 0.4767 * np.sin(turned)
    lifted = np.maximum(first + second * np.cos(hour_angle), 0.0)
    return np.asarray(lifted * daylight_shape(hour_angle, sunset))


def spread(daily: Array, diffuse: Array, sunset: Array, hour_angle: Array) -> tuple[Array, Array]:
    """Return global and diffuse irradiance of the hours of days.

    Parameters
    ----------
    daily : ndarray, shape (years, days)
        Global irradiation, mean of 24 h. [W/m2]
    diffuse : ndarray, shape (years, days)
        Its diffuse share. [1]
    sunset : ndarray, shape (days,)
        Hour angle of sunset. [rad]
    hour_angle : ndarray, shape (days * steps,)
        Of the middle of every hour, or of equal shorter steps. [rad]

    Returns
    -------
    tuple of ndarray, shape (years, days * steps)
        Global, and diffuse not above it; the steps of a day add up to the global of the day. [W/m2]

    Validity
    --------
    Steps of a day in one row; days of less than an hour of sun have it at noon.

    Source
    ------
    collares_pereira_rabl_1979 for the global, liu_jordan_1960 for the diffuse.
    """
    angle = hour_angle.reshape(len(sunset), -1)
    steps = angle.shape[1]
    noon = np.abs(angle) == np.min(np.abs(angle), axis=1, keepdims=True)
    shapes = []
    for shape in (global_shape, daylight_shape):
        share = shape(angle, sunset[:, None])
        whole = share.sum(axis=1, keepdims=True)
        even = noon / noon.sum(axis=1, keepdims=True)
        scaled = np.divide(share, whole, out=np.zeros_like(share), where=whole > 0)
        shapes.append(np.where(whole > 0, scaled, even))
    total = steps * daily[..., None] * shapes[0]
    scattered = np.minimum(steps * (daily * diffuse)[..., None] * shapes[1], total)
    flat = (*daily.shape[:-1], -1)
    return total.reshape(flat), scattered.reshape(flat)


def parted(whole: Array, diffuse: Array, sun: Sun) -> tuple[Array, Array]:
    """Return diffuse and direct irradiance that together make the global one exactly.

    Parameters
    ----------
    whole, diffuse : ndarray, shape (..., hours)
        Global and diffuse on the horizontal. [W/m2]
    sun : Sun
        Where it stands at the hours.

    Returns
    -------
    tuple of ndarray
        Diffuse on the horizontal, and direct across the rays. [W/m2]

    Validity
    --------
    A sun lower than 1.1 deg sends no direct light, a higher one at most 0.9 of what comes
    outside the air; the rest counts as diffuse.

    Source
    ------
    Definition.
    """
    cosine = np.maximum(sun.cos_zenith, LEAST_COSINE)
    direct = np.clip((whole - diffuse) / cosine, 0.0, MOST_DIRECT * sun.normal)
    direct = np.where(sun.cos_zenith > LEAST_COSINE, direct, 0.0)
    return np.maximum(whole - direct * cosine, 0.0), direct
