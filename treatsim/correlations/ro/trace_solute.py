"""A solute too thin to be felt by the water flux, along elements that are solved already."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.errors import require


class Passage(NamedTuple):
    """Where the solute goes; in the unit of the feed."""

    permeate: Any  # mixed over all elements
    concentrate: Any


def film_of(polarisation, salt_diffusivity, diffusivity, schmidt_exponent):
    """Return the film's exponential exp(J/k) for a solute from the polarisation of the salt.

    Parameters
    ----------
    polarisation : array_like
        Salt at the membrane over salt in the bulk. [1]
    salt_diffusivity, diffusivity : array_like
        Of the salt and of the solute. [m2/s]
    schmidt_exponent : float
        Of the Schmidt number in the Sherwood correlation. [1]

    Returns
    -------
    ndarray, broadcast shape
        exp(J/k) of the solute. [1]

    Validity
    --------
    Salt nearly all rejected: leaking 1 % of it puts 1e-2 of the logarithm in error.

    Source
    ------
    definition: k grows with the diffusivity to the power 1 - schmidt_exponent
    """
    factor = require("polarisation", polarisation, 1, 100, "")
    return factor ** ((salt_diffusivity / np.asarray(diffusivity)) ** (1 - schmidt_exponent))


def trace_solute(feed, recovery, flux, film, permeability) -> Passage:
    """Follow a solute through elements in series by solution-diffusion.

    Parameters
    ----------
    feed : array_like
        Concentration that enters the first element. [any]
    recovery : array_like, shape (elements, ...)
        Of each element. [1]
    flux : array_like
        Mean of each element. [m/s]
    film : array_like
        exp(J/k) of the solute in each element. [1]
    permeability : array_like
        Of the solute in each element. [m/s]

    Returns
    -------
    Passage
        Mixed permeate and concentrate, in the unit of the feed.

    Validity
    --------
    Flux and film constant within an element; the local rejection then holds along it and the
    balance is closed exactly.

    Source
    ------
    solution-diffusion and film theory
    """
    J = require("flux", flux, 0, 1, "m/s", open_low=True)
    share = require("recovery", recovery, 0, 1, "", open_low=True)
    passing = permeability / J * film
    rejection = 1 / (1 + passing)
    flow: Any = 1.0
    concentration, caught, drawn = np.asarray(feed, float), 0.0, 0.0
    for r, R in zip(*np.broadcast_arrays(share, rejection), strict=True):
        left = concentration * (1 - r) ** -R
        caught += flow * (concentration - (1 - r) * left)
        drawn += flow * r
        flow, concentration = flow * (1 - r), left
    return Passage(caught / drawn, concentration)
