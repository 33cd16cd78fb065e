"""The plane of the array: how it lies, what it sees, what falls on it.

Directions are parts to east, north and up. Azimuth: north 0, clockwise.
"""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.power.sun import Sun

LOWEST_SUN = np.cos(np.radians(89.0))  # cosine that the ratio of beams is divided by at least
DIFFUSE_ANGLE = np.radians(60.0)  # at which diffuse light falls in, as a whole


def normal_of(tilt: float, azimuth: float) -> Array:
    """Return the direction that a plane faces.

    Parameters
    ----------
    tilt : float
        From the horizontal. [rad]
    azimuth : float
        To which its lower edge points, from north clockwise. [rad]

    Returns
    -------
    ndarray, shape (3,)
        Parts to east, north, up, of length 1. [1]

    Validity
    --------
    Any plane.

    Source
    ------
    Definition.
    """
    flat = np.sin(tilt)
    return np.array([flat * np.sin(azimuth), flat * np.cos(azimuth), np.cos(tilt)])


def on_slope(normal: Array, slope: float, downhill: float) -> Array:
    """Return the direction of a plane after the ground below it was tilted.

    Parameters
    ----------
    normal : ndarray, shape (3,)
        Direction on level ground. [1]
    slope : float
        Of the ground. [rad]
    downhill : float
        Azimuth in which the ground falls. [rad]

    Returns
    -------
    ndarray, shape (3,)
        Direction. [1]

    Validity
    --------
    A frame that stands on the ground, not one that was levelled.

    Source
    ------
    Rotation about a horizontal axis (Rodrigues).
    """
    axis = np.array([-np.cos(downhill), np.sin(downhill), 0.0])
    turned = np.array(
        [
            axis[1] * normal[2],
            -axis[0] * normal[2],
            axis[0] * normal[1] - axis[1] * normal[0],
        ]
    )
    along = axis * (axis @ normal)
    return np.asarray(along + (normal - along) * np.cos(slope) + turned * np.sin(slope))


def incidence(normal: Array, sun: Sun) -> Array:
    """Return the cosine of the angle between the rays and the direction of a plane.

    Parameters
    ----------
    normal : ndarray, shape (3,)
        Direction of the plane. [1]
    sun : Sun
        Where it stands.

    Returns
    -------
    ndarray
        Cosine; negative behind the plane. [1]

    Validity
    --------
    Any plane.

    Source
    ------
    duffie_beckman_2013, section 1.6.
    """
    flat = np.sqrt(np.maximum(1 - sun.cos_zenith**2, 0.0))
    east, north = np.sin(sun.azimuth), np.cos(sun.azimuth)
    return np.asarray(flat * (normal[0] * east + normal[1] * north) + normal[2] * sun.cos_zenith)


def horizon_height(azimuth: ArrayLike, points: tuple[tuple[float, float], ...]) -> Array:
    """Return the height of the horizon in a direction, straight between the points given.

    Parameters
    ----------
    azimuth : array_like
        Direction, from north clockwise. [rad]
    points : tuple of pairs
        Height and azimuth of the points; none is a flat horizon. [rad]

    Returns
    -------
    ndarray
        Height above the horizontal. [rad]

    Validity
    --------
    Points all round; the last is joined to the first.

    Source
    ------
    Definition.
    """
    if not points:
        return np.zeros(np.shape(azimuth))
    height, at = np.array(points).T
    return np.interp(azimuth, at, height, period=2 * np.pi)


def sky_seen(points: tuple[tuple[float, float], ...]) -> float:
    """Return the share of an even sky's light that comes over the horizon to a level plane.

    Parameters
    ----------
    points : tuple of pairs
        Height and azimuth of the horizon. [rad]

    Returns
    -------
    float
        Mean of the squared cosine of its height. [1]

    Validity
    --------
    Sky equally bright everywhere; for tilted planes an approximation.

    Source
    ------
    Closed form of the integral over an even sky.
    """
    around = np.radians(np.arange(720) / 2)
    return float(np.mean(np.cos(horizon_height(around, points)) ** 2))


def hay_davies(
    direct: Array, diffuse: Array, cos_incidence: Array, sun: Sun, cos_tilt: float
) -> tuple[Array, Array]:
    """Return the diffuse light of the sky on a plane: the part around the sun, and the rest.

    Parameters
    ----------
    direct, diffuse : ndarray, shape (..., hours)
        Across the rays, and on the horizontal. [W/m2]
    cos_incidence : ndarray, shape (hours,)
        Of the rays on the plane. [1]
    sun : Sun
        Where it stands.
    cos_tilt : float
        Cosine of the tilt of the plane. [1]

    Returns
    -------
    tuple of ndarray
        Around the sun, and even sky, on the plane. [W/m2]

    Validity
    --------
    Any plane; no brighter band along the horizon.

    Source
    ------
    hay_davies_1980.
    """
    seen = direct / sun.normal
    ratio = np.maximum(cos_incidence, 0.0) / np.maximum(sun.cos_zenith, LOWEST_SUN)
    return diffuse * seen * ratio, diffuse * (1 - seen) * ((1 + cos_tilt) / 2)


def let_in(cos_incidence: ArrayLike, loss: float) -> Array:
    """Return the share of light that the cover lets in, against light that falls in straight.

    Parameters
    ----------
    cos_incidence : array_like
        Of the rays on the cover. [1]
    loss : float
        Coefficient of the cover; 0.05 for glass. [1]

    Returns
    -------
    ndarray
        Share. [1]

    Validity
    --------
    Up to 80 deg; 0 where the formula turns negative.

    Source
    ------
    souka_safwat_1966 (as ASHRAE took it over).
    """
    cosine = np.asarray(cos_incidence, float)
    steep = 1 / np.maximum(cosine, 1e-6) - 1
    return np.where(cosine > 0, np.clip(1 - loss * steep, 0.0, 1.0), 0.0)


def on_plane(
    light: tuple[Array, Array, Array],
    sun: Sun,
    normal: Array,
    *,
    albedo: float,
    horizon: tuple[tuple[float, float], ...] = (),
    cover: float = 0.0,
) -> Array:
    """Return the irradiance that reaches the cells of a plane.

    Parameters
    ----------
    light : tuple of ndarray, shape (..., hours)
        Global and diffuse on the horizontal, direct across the rays. [W/m2]
    sun : Sun
        Where it stands.
    normal : ndarray, shape (3,)
        Direction of the plane. [1]
    albedo : float
        Share of light that the ground sends back. [1]
    horizon : tuple of pairs
        Height and azimuth of the horizon. [rad]
    cover : float
        Coefficient of the cover, 0 for none. [1]

    Returns
    -------
    ndarray, shape (..., hours)
        Irradiance. [W/m2]

    Validity
    --------
    Diffuse light is taken to fall on the cover at 60 deg.

    Source
    ------
    hay_davies_1980, liu_jordan_1960 for the ground.
    """
    whole, diffuse, direct = light
    cosine = incidence(normal, sun)
    front = np.maximum(cosine, 0.0)
    around, even = hay_davies(direct, diffuse, cosine, sun, normal[2])
    height = np.arcsin(np.clip(sun.cos_zenith, -1.0, 1.0))
    above = height >= horizon_height(sun.azimuth, horizon)
    straight = (direct * front + around) * (above * let_in(cosine, cover))
    ground = whole * (albedo * (1 - normal[2]) / 2)
    spread = float(let_in(np.cos(DIFFUSE_ANGLE), cover))
    return np.asarray(straight + spread * (even * sky_seen(horizon) + ground))
