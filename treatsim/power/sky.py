"""What the air lets through: a clear sky, and the diffuse share of any sky."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike

SPLIT_SUNSET = np.radians(81.4)  # between winter and the other seasons of Erbs


def air_mass(cos_zenith: ArrayLike, altitude: float) -> Array:
    """Return the air that a ray has crossed, in thicknesses of the atmosphere at sea level.

    Parameters
    ----------
    cos_zenith : array_like
        Cosine of the zenith angle; below the horizon the horizon's value is returned. [1]
    altitude : float
        Height above sea level. [m]

    Returns
    -------
    ndarray
        Air mass. [1]

    Validity
    --------
    Sun above the horizon.

    Source
    ------
    kasten_young_1989; pressure of the standard atmosphere.
    """
    cosine = np.clip(cos_zenith, 0.0, 1.0)
    zenith = np.degrees(np.arccos(cosine))
    pressure = (1 - 2.25577e-5 * altitude) ** 5.25588
    return pressure / (cosine + 0.50572 * (96.07995 - zenith) ** -1.6364)


def haurwitz(cos_zenith: ArrayLike) -> Array:
    """Return the global irradiance of a clear sky of unknown turbidity.

    Parameters
    ----------
    cos_zenith : array_like
        Cosine of the zenith angle. [1]

    Returns
    -------
    ndarray
        On the horizontal; 0 at night. [W/m2]

    Validity
    --------
    Made of readings at mid latitudes near sea level; no turbidity, no altitude.

    Source
    ------
    haurwitz_1945.
    """
    cosine = np.asarray(cos_zenith, float)
    above = np.maximum(cosine, 1e-3)
    return np.where(cosine > 1e-3, 1098.0 * above * np.exp(-0.059 / above), 0.0)


def ineichen(
    cos_zenith: ArrayLike, normal: ArrayLike, linke_turbidity: ArrayLike, altitude: float
) -> tuple[Array, Array]:
    """Return global and direct irradiance of a clear sky of known turbidity.

    Parameters
    ----------
    cos_zenith : array_like
        Cosine of the zenith angle. [1]
    normal : array_like
        Irradiance outside the air, across the rays. [W/m2]
    linke_turbidity : array_like
        2 very clear and cold, 3 clear, 4 humid, 5 to 6 dusty, at air mass 2. [1]
    altitude : float
        Height above sea level. [m]

    Returns
    -------
    tuple of ndarray
        Global on the horizontal, and direct across the rays; 0 at night. [W/m2]

    Validity
    --------
    Turbidity 1 to 10, up to 3000 m.

    Source
    ------
    ineichen_perez_2002.
    """
    cosine = np.maximum(cos_zenith, 0.0)
    mass = air_mass(cos_zenith, altitude)
    scale_8, scale_1 = np.exp(-altitude / 8000.0), np.exp(-altitude / 1250.0)
    first, second = 5.09e-5 * altitude + 0.868, 3.92e-5 * altitude + 0.0387
    excess = np.asarray(linke_turbidity) - 1
    dimmed = np.exp(-second * mass * (scale_8 + scale_1 * excess))
    whole = first * np.asarray(normal) * cosine * dimmed
    beam = (0.664 + 0.163 / scale_8) * np.asarray(normal) * np.exp(-0.09 * mass * excess)
    share = (0.1 - 0.2 * np.exp(-np.asarray(linke_turbidity))) / (0.1 + 0.882 / scale_8)
    most = whole * np.clip(1 - share, 0.0, 1.0) / np.maximum(cosine, 1e-9)
    return whole, np.where(cosine > 0, np.minimum(beam, most), 0.0)


def diffuse_of_hour(clearness: ArrayLike) -> Array:
    """Return the diffuse share of an hour. For real hours only: on mean days it is far too high.

    Parameters
    ----------
    clearness : array_like
        Global over what comes outside the air, on the horizontal, in the hour. [1]

    Returns
    -------
    ndarray
        Diffuse over global. [1]

    Validity
    --------
    Made of readings at 31 to 42 deg N; used everywhere.

    Source
    ------
    erbs_1982.
    """
    k = np.asarray(clearness, float)
    middle = 0.9511 - 0.1604 * k + 4.388 * k**2 - 16.638 * k**3 + 12.336 * k**4
    return np.where(k <= 0.22, 1 - 0.09 * k, np.where(k <= 0.8, middle, 0.165))


def diffuse_of_day(clearness: ArrayLike, sunset: ArrayLike) -> Array:
    """Return the diffuse share of one day.

    Parameters
    ----------
    clearness : array_like
        Global over what comes outside the air, on the horizontal, in the day. [1]
    sunset : array_like
        Hour angle of sunset, which parts winter from the other seasons. [rad]

    Returns
    -------
    ndarray
        Diffuse over global. [1]

    Validity
    --------
    As `diffuse_of_hour`.

    Source
    ------
    erbs_1982.
    """
    k = np.asarray(clearness, float)
    winter = 1 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4
    other = 1 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3
    winter, other = np.where(k < 0.715, winter, 0.143), np.where(k < 0.722, other, 0.175)
    return np.where(np.asarray(sunset) < SPLIT_SUNSET, winter, other)


def diffuse_of_month(clearness: ArrayLike, sunset: ArrayLike) -> Array:
    """Return the diffuse share of a month's mean day.

    Parameters
    ----------
    clearness : array_like
        Global over what comes outside the air, on the horizontal, over the month. [1]
    sunset : array_like
        Hour angle of sunset. [rad]

    Returns
    -------
    ndarray
        Diffuse over global. [1]

    Validity
    --------
    Clearness 0.3 to 0.8; held at those ends outside.

    Source
    ------
    erbs_1982.
    """
    k = np.clip(clearness, 0.3, 0.8)
    winter = 1.391 - 3.560 * k + 4.189 * k**2 - 2.137 * k**3
    other = 1.311 - 3.022 * k + 3.427 * k**2 - 1.821 * k**3
    return np.where(np.asarray(sunset) <= SPLIT_SUNSET, winter, other)
