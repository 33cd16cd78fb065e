"""Ultraviolet light in water and through a quartz sleeve: absorption and interfaces.

Absorption is Napierian (base e) and per metre everywhere; the trade's transmittance per centimetre
and decadic absorbance are converted here and nowhere else.
"""

from __future__ import annotations

import numpy as np

from treatsim.errors import DomainError, require

CENTIMETRE = 0.01  # m, path of a transmittance unless said otherwise
LN10 = float(np.log(10.0))

# Refractive indices at 253.7 nm
INDEX_AIR = 1.000
INDEX_QUARTZ = 1.506
INDEX_WATER = 1.376


def check_choice(name, value, allowed):
    """Raise if a model choice is not one of those that exist.

    Parameters
    ----------
    name : str
        Name of the argument.
    value : str
        Value given.
    allowed : tuple of str
        Legal values.

    Returns
    -------
    None

    Validity
    --------
    Anything else raises DomainError and names the legal values.

    Source
    ------
    None needed.
    """
    if value not in allowed:
        raise DomainError(f"{name} = {value!r}: choose one of {', '.join(allowed)}")


def absorption_from_transmittance(transmittance, path=CENTIMETRE):
    """Napierian absorption of water from its measured transmittance.

    Parameters
    ----------
    transmittance : array_like
        Transmitted fraction over `path`. [1]
    path : array_like
        Length of the path the fraction was measured over. [m]

    Returns
    -------
    ndarray
        Absorption, base e. [1/m]

    Validity
    --------
    Definition. A fraction outside (0, 1] or a path that is not positive raises DomainError.

    Source
    ------
    bolton_linden_2003, definitions.
    """
    fraction = require("transmittance", transmittance, 0.0, 1.0, "1", open_low=True)
    return -np.log(fraction) / require("path", path, 0.0, np.inf, "m", open_low=True)


def decadic_absorption(absorption):
    """Decadic absorption coefficient (base 10), as spectrophotometers show it per length.

    Parameters
    ----------
    absorption : array_like
        Napierian absorption. [1/m]

    Returns
    -------
    ndarray
        Absorbance per length, base 10. [1/m]

    Validity
    --------
    Definition. A negative value raises DomainError.

    Source
    ------
    bolton_linden_2003, definitions.
    """
    return require("absorption", absorption, 0.0, np.inf, "1/m") / LN10


def napierian_absorption(decadic):
    """Napierian absorption from a decadic one.

    Parameters
    ----------
    decadic : array_like
        Absorbance per length, base 10. [1/m]

    Returns
    -------
    ndarray
        Absorption, base e. [1/m]

    Validity
    --------
    Definition. A negative value raises DomainError.

    Source
    ------
    bolton_linden_2003, definitions.
    """
    return require("decadic absorption", decadic, 0.0, np.inf, "1/m") * LN10


def transmittance_unpolarised(sine, cosine):
    """Single-pass transmittance of unpolarised light through both faces of a sleeve.

    Each polarisation passes both faces before they are averaged.

    Parameters
    ----------
    sine, cosine : ndarray
        Sine and cosine of the angle from the normal in air. [1]

    Returns
    -------
    ndarray
        Transmittance of the two faces, quartz absorption not included. [1]

    Validity
    --------
    Exact for plane interfaces without interference or absorption; light reflected once is lost.
    Not checked: the caller owns the range.

    Source
    ------
    bolton_2000 (Fresnel).
    """
    s, p = _transmittances(sine, cosine, (INDEX_AIR, INDEX_QUARTZ, INDEX_WATER))
    return 0.5 * (s + p)


def refracted_cosine(cosine, ratio):
    """Cosine behind an interface whose refractive indices have the ratio `ratio`.

    Parameters
    ----------
    cosine : ndarray
        Cosine of the angle from the normal before the interface. [1]
    ratio : float
        Index behind over index before. [1]

    Returns
    -------
    ndarray
        Cosine behind the interface. [1]

    Validity
    --------
    Ratio of at least 1 (no total reflection); written so that grazing rays lose no digits.

    Source
    ------
    bolton_2000 (Snell).
    """
    return np.sqrt((ratio - 1.0) * (ratio + 1.0) + cosine**2) / ratio


def _transmittances(sine, cosine, indices):
    before, between, behind = indices
    cosine_2 = np.sqrt(1.0 - (sine * before / between) ** 2)
    cosine_3 = np.sqrt(1.0 - (sine * before / behind) ** 2)
    s_1, p_1 = _fresnel(before, cosine, between, cosine_2)
    s_2, p_2 = _fresnel(between, cosine_2, behind, cosine_3)
    return s_1 * s_2, p_1 * p_2


def _fresnel(n_1, cos_1, n_2, cos_2):
    s = (n_1 * cos_1 - n_2 * cos_2) / (n_1 * cos_1 + n_2 * cos_2)
    p = (n_2 * cos_1 - n_1 * cos_2) / (n_2 * cos_1 + n_1 * cos_2)
    return 1.0 - s**2, 1.0 - p**2
