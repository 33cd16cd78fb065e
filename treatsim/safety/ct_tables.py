"""Look-up of disinfection by free chlorine in the tables of the regulation.

Rule of the look-up: temperature down, pH up, chlorine up to the next tabulated value; never between
the lines. Where a lower line of chlorine earns more, the residual counts as that of the line: water
that held more held that too, so more chlorine never earns less. So above the last line, 3 mg/L, a
residual counts as 3 mg/L (the regulation is silent there). Outside temperature and pH of the table
nothing is credited, and the nearest tabulated case is named.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike, Flags, Index
from treatsim.constants import ZERO_CELSIUS
from treatsim.correlations.disinfection.contact_time import MG_MIN_PER_L
from treatsim.errors import DomainError, require

ROUNDING = 1e-9  # a value this close to a line stands on it
GIARDIA_CAP = 3.0  # log; the table reaches no further
VIRUS_CAP = 4.0


class Lookup(NamedTuple):
    """What the table says at each point, and where it says nothing."""

    ct: Any  # CT for the log reduction of the table, kg s/m3; infinite where refused
    temperature: Any  # line used, K
    ph: Any  # column used
    free_chlorine: Any  # line used, kg/m3
    counted: Any  # residual that counts against that line, kg/m3
    refused: Any  # bool
    reasons: tuple[str, ...]  # one line for each kind of refusal met


@cache
def tables() -> dict[str, dict]:
    """Tables as numbers in the units of the regulation (degC, mg/L, mg min/L).

    Parameters
    ----------
    None

    Returns
    -------
    dict
        "giardia" and "virus", each with axes, `ct` and provenance.

    Validity
    --------
    Read-only by agreement; loaded once.

    Source
    ------
    cfr_141_74 (b)(3) and epa_816_r_03_004, from memory; see the head of the file
    """
    text = Path(__file__).with_name("ct_tables.toml").read_text("utf-8")
    return tomllib.loads(text)


def _line_up(axis: Array, value: Array) -> Index:
    """Index of the first line not below the value (may be len(axis))."""
    return np.searchsorted(axis, value - ROUNDING * np.abs(value), side="left")


def _line_down(axis: Array, value: Array) -> Index:
    """Index of the last line not above the value (may be -1)."""
    return np.searchsorted(axis, value + ROUNDING * np.abs(value), side="right") - 1


def _refusals(cold: Flags, acid: Flags, alkaline: Flags) -> tuple[str, ...]:
    texts = (
        (cold, "water below 0.5 degC: the table ends; nearest tabulated case is 0.5 degC"),
        (acid, "pH below 6: the table ends; nearest tabulated case is pH 6"),
        (alkaline, "pH above 9: the table ends; nearest tabulated case is pH 9"),
    )
    return tuple(text for where, text in texts if np.any(where))


def _points(temperature: ArrayLike, ph: ArrayLike, free_chlorine: ArrayLike) -> Sequence[Array]:
    return np.broadcast_arrays(
        require("temperature", temperature, ZERO_CELSIUS, 373.15, "K") - ZERO_CELSIUS,
        require("pH", ph, 0.0, 14.0, ""),
        require("free chlorine", free_chlorine, 0.0, np.inf, "kg/m3") * 1e3,
    )


def giardia_lookup(temperature: ArrayLike, ph: ArrayLike, free_chlorine: ArrayLike) -> Lookup:
    """CT for 3 log of Giardia by free chlorine, point by point.

    Parameters
    ----------
    temperature : array_like
        Coldest water temperature. [K]
    ph : array_like
        Highest acidity value (most alkaline). [1]
    free_chlorine : array_like
        Free chlorine at the end of the contact. [kg/m3]

    Returns
    -------
    Lookup
        CT [kg s/m3] and the lines used, broadcast shape; refused points hold infinite CT.

    Validity
    --------
    0.5 degC and warmer (above 25 degC the last block), pH 6 to 9; below 0.4 mg/L the first line.
    Above 3 mg/L, and wherever a lower line asks for less time, the residual counts as that of the
    line. Points outside are refused, their neighbours are not touched; impossible values raise
    DomainError.

    Source
    ------
    cfr_141_74 (b)(3), from memory, structure-checked; residuals between and above the lines are
    counted by the reasoning above, no source
    """
    table = tables()["giardia"]
    axes = [np.array(table[name]) for name in ("temperature", "chlorine", "ph")]
    T, pH, C = _points(temperature, ph, free_chlorine)
    i, k = _line_down(axes[0], T), _line_up(axes[2], pH)
    cold, alkaline = i < 0, k >= axes[2].size
    acid = pH < axes[2][0] * (1.0 - ROUNDING)
    refused = cold | alkaline | acid
    i, k = np.maximum(i, 0), np.minimum(k, axes[2].size - 1)
    column = np.moveaxis(np.array(table["ct"], dtype=float), 1, 2)[i, k]  # last axis: chlorine
    j, counted = _chlorine_line(axes[1], column, C)
    ct = np.take_along_axis(column, j[..., None], axis=-1)[..., 0] * MG_MIN_PER_L
    ct = np.where(refused, np.inf, ct)
    lines = axes[0][i] + ZERO_CELSIUS, axes[2][k], axes[1][j] * 1e-3, counted * 1e-3
    return Lookup(ct, *lines, refused, _refusals(cold, acid, alkaline))


def _chlorine_line(lines: Array, column: Array, residual: Array) -> tuple[Index, Array]:
    """Line that asks for the least time, and the residual that counts against it. [mg/L]

    The line above the residual counts the whole of it, every line below only its own.
    """
    above = _line_up(lines, residual)
    which = np.arange(lines.size)
    counted = np.where(which == above[..., None], residual[..., None], lines)
    counted = np.where(which > above[..., None], 0.0, counted)
    j = np.argmax(counted / column, axis=-1)
    return j, np.take_along_axis(counted, j[..., None], axis=-1)[..., 0]


def giardia_ct_required(temperature: ArrayLike, ph: ArrayLike, free_chlorine: ArrayLike) -> Array:
    """CT for 3 log of Giardia by free chlorine; raises where the table says nothing.

    Parameters
    ----------
    temperature : array_like
        Coldest water temperature. [K]
    ph : array_like
        Highest acidity value. [1]
    free_chlorine : array_like
        Free chlorine at the end of the contact. [kg/m3]

    Returns
    -------
    ndarray
        CT with the residual given, broadcast shape. [kg s/m3]

    Validity
    --------
    As `giardia_lookup`, but any refused point raises DomainError with the nearest tabulated case.

    Source
    ------
    cfr_141_74 (b)(3), from memory, structure-checked
    """
    found = giardia_lookup(temperature, ph, free_chlorine)
    if found.reasons:
        raise DomainError(found.reasons)
    return found.ct / _share_counted(found, free_chlorine)


def _share_counted(found: Lookup, free_chlorine: ArrayLike) -> Array:
    """Residual that counts over the residual there is; all of it at the start of the table. [1]"""
    residual = np.asarray(free_chlorine, dtype=float)
    part = found.counted < residual * (1.0 - ROUNDING)
    return np.where(part, found.counted / np.where(part, residual, 1.0), 1.0)


def giardia_log_credit(
    ct: ArrayLike, temperature: ArrayLike, ph: ArrayLike, free_chlorine: ArrayLike
) -> Array:
    """Giardia credit of a CT: 3 CT / CT99.9, never above 3 nor falling with more chlorine.

    Parameters
    ----------
    ct : array_like
        CT counted with the residual at the end. [kg s/m3]
    temperature : array_like
        Coldest water temperature. [K]
    ph : array_like
        Highest acidity value. [1]
    free_chlorine : array_like
        Free chlorine at the end of the contact. [kg/m3]

    Returns
    -------
    ndarray
        Decimal logs, 0 to 3, broadcast shape; 0 where the table refuses. [1]

    Validity
    --------
    As `giardia_lookup`, which also gives the reason of a refusal.

    Source
    ------
    cfr_141_74 (b)(3), from memory, structure-checked
    """
    ct = require("CT", ct, 0.0, np.inf, "kg s/m3")
    found = giardia_lookup(temperature, ph, free_chlorine)
    ct = ct * _share_counted(found, free_chlorine)
    return np.minimum(3.0 * ct / found.ct, GIARDIA_CAP)


def virus_lookup(temperature: ArrayLike, ph: ArrayLike) -> tuple[Array, Flags, tuple[str, ...]]:
    """CT for 2, 3 and 4 log of virus by free chlorine, point by point.

    Parameters
    ----------
    temperature : array_like
        Coldest water temperature. [K]
    ph : array_like
        Acidity. [1]

    Returns
    -------
    tuple
        CT with a last axis for 2, 3 and 4 log [kg s/m3] (infinite where refused), the refused
        points (bool), and one reason for each kind of refusal.

    Validity
    --------
    0.5 degC and warmer (above 25 degC the last line), pH 6 to 9; points outside are refused.

    Source
    ------
    epa_816_r_03_004, from memory: the regulation prints no table for virus by free chlorine
    """
    table = tables()["virus"]
    T, pH, _ = _points(temperature, ph, 0.0)
    i = _line_down(np.array(table["temperature"]), T)
    cold = i < 0
    acid = pH < table["ph_low"] * (1.0 - ROUNDING)
    alkaline = pH > table["ph_high"] * (1.0 + ROUNDING)
    refused = cold | acid | alkaline
    ct = np.array(table["ct"], dtype=float)[np.maximum(i, 0)] * MG_MIN_PER_L
    ct = np.where(refused[..., None], np.inf, ct)
    return ct, refused, _refusals(cold, acid, alkaline)


def virus_log_credit(ct: ArrayLike, temperature: ArrayLike, ph: ArrayLike) -> Array:
    """Virus credit of a CT: the highest tabulated step reached (0, 2, 3 or 4 log).

    Parameters
    ----------
    ct : array_like
        CT counted with the residual at the end. [kg s/m3]
    temperature : array_like
        Coldest water temperature. [K]
    ph : array_like
        Acidity. [1]

    Returns
    -------
    ndarray
        Decimal logs, broadcast shape; 0 where the table refuses. [1]

    Validity
    --------
    As `virus_lookup`. Single, dispersed virus; clumped virus needs far more.

    Source
    ------
    epa_816_r_03_004, from memory: the regulation prints no table for virus by free chlorine
    """
    ct = require("CT", ct, 0.0, np.inf, "kg s/m3")
    needed, _, _ = virus_lookup(temperature, ph)
    steps = np.array([0.0, *tables()["virus"]["log_reduction"]])
    reached = ct[..., None] * (1.0 + ROUNDING) >= needed
    return np.minimum(steps[np.sum(reached, axis=-1)], VIRUS_CAP)
