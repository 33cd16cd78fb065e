"""How many logs are wanted: surface-water rule, household tiers, tolerable burden."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike, Index
from treatsim.errors import DomainError, require
from treatsim.safety.log_credit import CLASSES

SURFACE_WATER = {"virus": 4.0, "giardia": 3.0, "cryptosporidium": 2.0}  # log
BIN_LIMITS = (75.0, 1000.0, 3000.0)  # oocysts/m3, lower ends of bins 2, 3 and 4
ALTERNATIVE_TOTALS = (2.0, 4.0, 5.0, 5.5)  # log of Cryptosporidium in bins 1 to 4
ADDITIONAL = {  # log beyond the filtration itself, bins 1 to 4
    "conventional": (0.0, 1.0, 2.0, 2.5),
    "direct": (0.0, 1.5, 2.5, 3.0),
}
STARS = {3: (4.0, 5.0, 4.0), 2: (2.0, 3.0, 2.0)}  # bacteria, virus, protozoa
TOLERABLE_BURDEN = 1e-6  # disability-adjusted life years per person and year


class Pathogen(NamedTuple):
    """Reference pathogen of a risk assessment."""

    ledger_class: str
    infection: float  # probability of infection per organism swallowed
    illness: float  # probability of illness given infection
    burden: float  # life years lost per case
    susceptible: float  # share of people who can fall ill


# who_gdwq_2011, worked example of reference pathogens, from memory; the table closes on itself
REFERENCE_PATHOGENS = {
    "cryptosporidium": Pathogen("cryptosporidium", 0.2, 0.7, 1.5e-3, 1.0),
    "campylobacter": Pathogen("bacteria", 0.019, 0.3, 4.6e-3, 1.0),
    "rotavirus": Pathogen("virus", 0.59, 0.5, 1.4e-2, 0.06),
}


class Band(NamedTuple):
    """A result with its band; there is no figure without one."""

    low: Any
    high: Any


def cryptosporidium_bin(oocysts: ArrayLike) -> Index:
    """Bin of a source by its mean oocyst concentration.

    Parameters
    ----------
    oocysts : array_like
        Mean concentration in the source. [1/m3]

    Returns
    -------
    ndarray of int
        Bin 1 to 4, shape of `oocysts`. [1]

    Validity
    --------
    Means over the sampling the rule prescribes, not single samples. Negative values raise
    DomainError.

    Source
    ------
    cfr_141_711; limits 1.0 and 3.0 oocysts/L from memory, 0.075 read
    """
    oocysts = require("oocysts", oocysts, 0.0, np.inf, "1/m3")
    limits = np.array(BIN_LIMITS) * (1.0 - 1e-9)
    return 1 + np.searchsorted(limits, oocysts, side="right")


def cryptosporidium_target(source_bin: ArrayLike, filtration: str) -> Array:
    """Log of Cryptosporidium the surface-water rule wants in a bin.

    Parameters
    ----------
    source_bin : array_like of int
        Bin 1 to 4. [1]
    filtration : str
        "alternative" (bags, cartridges, membranes): the total; "conventional" or "direct":
        beyond what the filtration itself counts for.

    Returns
    -------
    ndarray
        Logs, shape of `source_bin`. [log]

    Validity
    --------
    In bins 3 and 4 at least 1 log of the extra must come from barriers the rule names. Another
    bin or word raises DomainError.

    Source
    ------
    cfr_141_711
    """
    rules = {"alternative": ALTERNATIVE_TOTALS, **ADDITIONAL}
    if filtration not in rules:
        raise DomainError(f'filtration "{filtration}": known are {", ".join(rules)}')
    number = require("bin", source_bin, 1, 4, "")
    if np.any(number != np.round(number)):
        raise DomainError("a bin is a whole number from 1 to 4")
    return np.array(rules[filtration])[number.astype(int) - 1]


def household_tier(totals: Mapping[str, ArrayLike]) -> Index:
    """Stars of the household scheme reached by the totals of a ledger.

    Parameters
    ----------
    totals : mapping
        Class -> log earned, all four classes; the weaker protozoan counts. [log]

    Returns
    -------
    ndarray of int
        3, 2, 1 or 0 stars, broadcast shape. [1]

    Validity
    --------
    One star: two of the three two-star targets met (the scheme also wants evidence of health
    gain, which no calculation gives). A missing class raises DomainError.

    Source
    ------
    who_household_2011, from memory
    """
    if set(CLASSES) - set(totals):
        raise DomainError(f"all of {', '.join(CLASSES)} are needed")
    protozoa = np.minimum(totals["giardia"], totals["cryptosporidium"])
    earned = (totals["bacteria"], totals["virus"], protozoa)
    counts = {
        star: sum(np.asarray(log) >= want - 1e-9 for log, want in zip(earned, wants, strict=True))
        for star, wants in ((3, STARS[3]), (2, STARS[2]))
    }
    counts = {star: np.asarray(count, dtype=int) for star, count in counts.items()}
    one = np.where(counts[2] == 2, 1, 0)
    return np.where(counts[3] == 3, 3, np.where(counts[2] == 3, 2, one))


def required_log_band(
    pathogen: str,
    concentration_low: ArrayLike,
    concentration_high: ArrayLike,
    drunk: ArrayLike = 1e-3,
    burden: float = TOLERABLE_BURDEN,
) -> Band:
    """Logs needed to keep the burden of disease at a tolerable level, as a band.

    Parameters
    ----------
    pathogen : str
        One of REFERENCE_PATHOGENS.
    concentration_low : array_like
        Lower estimate of organisms in the source. [1/m3]
    concentration_high : array_like
        Upper estimate. [1/m3]
    drunk : array_like
        Unboiled water drunk per person and day. [m3]
    burden : float
        Tolerable life years lost per person and year. [1]

    Returns
    -------
    Band
        Logs at the lower and the upper estimate, not below 0, broadcast shape. [log]

    Validity
    --------
    Exponential dose response, every day alike. The band holds only the spread of the source: the
    dose response adds as much again. Bad bounds or an unknown pathogen raise DomainError.

    Source
    ------
    who_gdwq_2011, worked example, from memory
    """
    if pathogen not in REFERENCE_PATHOGENS:
        raise DomainError(f'pathogen "{pathogen}": known are {", ".join(REFERENCE_PATHOGENS)}')
    organism = REFERENCE_PATHOGENS[pathogen]
    low = require("lower concentration", concentration_low, 0.0, np.inf, "1/m3", open_low=True)
    high = require("upper concentration", concentration_high, 0.0, np.inf, "1/m3", open_low=True)
    if np.any(low > high):
        raise DomainError("the lower estimate lies above the upper one")
    drunk = require("water drunk", drunk, 0.0, np.inf, "m3", open_low=True)
    case = organism.illness * organism.burden * organism.susceptible
    yearly = require("yearly infections", burden / case, 0.0, 1.0 - 1e-12, "", open_low=True)
    allowed = -np.log1p(-yearly) / 365.0 / organism.infection  # organisms per day
    logs = (np.maximum(np.log10(value * drunk / allowed), 0.0) for value in (low, high))
    return Band(*logs)
