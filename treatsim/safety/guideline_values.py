"""Dated guideline values for drinking water, and the check of an analysis against them.

Concentrations are in kg/m3, turbidity in NTU, counts in 1/m3; `analytes.read_analyte` reads text.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike, Words
from treatsim.errors import DomainError, RequestError, require
from treatsim.safety.analytes import UNITS, read_analyte
from treatsim.water.substances import OWN_BASIS

KINDS = ("health", "taste", "unpalatable")  # the first and the last are held, taste is told
FIELDS = {"limit", "basis", "provisional", "edition", "source", "known", "note"}
NEEDED = {"limit", "edition", "source", "known"}
# total dissolved solids judged by a taste panel, upper ends in kg/m3 (who_gdwq_2022, read)
TASTE_CLASSES = ((0.3, "excellent"), (0.6, "good"), (0.9, "fair"), (1.2, "poor"))


@dataclass(frozen=True)
class Guideline:
    """One guideline value."""

    analyte: str
    kind: str  # one of KINDS
    limit: float  # kg/m3, NTU or 1/m3
    unit: str
    edition: int
    source: str
    known: str
    basis: str = ""
    provisional: bool = False
    note: str = ""


@dataclass(frozen=True)
class Verdict:
    """One analyte against one guideline value."""

    guideline: Guideline
    value: Any  # in the unit of the guideline
    exceeds: Any  # bool, per point
    share: Any  # value over limit; infinite for any count above a limit of zero


class Comparison(NamedTuple):
    """One guideline value before and after treatment; None where not measured."""

    guideline: Guideline
    before: Verdict | None
    after: Verdict | None
    remark: str


def _guideline(analyte: str, kind: str, row: Mapping[str, Any]) -> Guideline:
    wrong = set(row) - FIELDS
    absent = NEEDED - set(row)
    if wrong or absent:
        problem = f"unknown {sorted(wrong)}" if wrong else f"missing {sorted(absent)}"
        raise RequestError(f"{kind}.{analyte}: {problem}")
    basis = row.get("basis", "")
    text = row["limit"] + (f" as {basis}" if basis else "")
    return Guideline(
        analyte=analyte,
        kind=kind,
        limit=read_analyte(analyte, text),
        unit=UNITS.get(analyte, "kg/m3"),
        edition=row["edition"],
        source=row["source"],
        known=row["known"],
        basis=OWN_BASIS.get(analyte, ""),
        provisional=row.get("provisional", False),
        note=row.get("note", ""),
    )


def _parse(text: str) -> dict[tuple[str, str], Guideline]:
    document = tomllib.loads(text)
    if set(document) - set(KINDS):
        raise RequestError(f"unknown table {sorted(set(document) - set(KINDS))}: only {KINDS}")
    return {
        (kind, analyte): _guideline(analyte, kind, row)
        for kind in KINDS
        for analyte, row in document.get(kind, {}).items()
    }


@cache
def _standard() -> dict[tuple[str, str], Guideline]:
    file = Path(__file__).with_name("guideline_values.toml")
    return _parse(file.read_text("utf-8"))


def guidelines(national: Path | None = None) -> dict[tuple[str, str], Guideline]:
    """Guideline values by (kind, analyte), national ones in place of the general ones.

    Parameters
    ----------
    national : Path or None
        TOML file of the same form, each value with limit, edition, source and known.

    Returns
    -------
    dict
        (kind, analyte) -> Guideline. [kg/m3, NTU or 1/m3]

    Validity
    --------
    A national value without unit, edition or source raises RequestError.

    Source
    ------
    who_gdwq_2022; each value says whether it was read or is from memory
    """
    values = dict(_standard())
    if national is not None:
        values |= _parse(national.read_text("utf-8"))
    return values


def check(
    analysis: Mapping[str, Any], values: Mapping[tuple[str, str], Guideline] | None = None
) -> list[Verdict]:
    """Hold an analysis against every guideline value that exists for it.

    Parameters
    ----------
    analysis : mapping
        Analyte -> number or array, from `read_analyte`. [kg/m3, NTU or 1/m3]
    values : mapping or None
        Guideline values; None for `guidelines()`.

    Returns
    -------
    list of Verdict
        In the order of KINDS; per point. [1]

    Validity
    --------
    Values on the limit meet it (round-off allowed for). An analyte without any guideline value or
    a negative number raises DomainError: it is not passed over in silence.

    Source
    ------
    who_gdwq_2022 or the national file
    """
    values = guidelines() if values is None else values
    strange = set(analysis) - {analyte for _, analyte in values}
    if strange:
        raise DomainError(f"no guideline value for {', '.join(sorted(strange))}")
    verdicts = []
    for (_, analyte), guideline in values.items():
        if analyte in analysis:
            value = require(analyte, analysis[analyte], 0.0, np.inf, guideline.unit)
            exceeds = value > guideline.limit * (1.0 + 1e-9)
            if guideline.limit > 0:
                share = value / guideline.limit
            else:
                share = np.where(value > 0, np.inf, 0.0)
            verdicts.append(Verdict(guideline, value, exceeds, share))
    return verdicts


def compare(
    before: Mapping[str, Any],
    after: Mapping[str, Any],
    values: Mapping[tuple[str, str], Guideline] | None = None,
) -> list[Comparison]:
    """Hold an analysis before and after treatment side by side.

    Parameters
    ----------
    before : mapping
        Analyte -> value in the raw water. [kg/m3, NTU or 1/m3]
    after : mapping
        Analyte -> value in the treated water. [kg/m3, NTU or 1/m3]
    values : mapping or None
        Guideline values; None for `guidelines()`.

    Returns
    -------
    list of Comparison
        One per guideline value that was measured on either side, with a remark in words.

    Validity
    --------
    As `check`.

    Source
    ------
    who_gdwq_2022 or the national file
    """
    values = guidelines() if values is None else values
    sides: list[dict[tuple[str, str], Verdict]] = [
        {(item.guideline.kind, item.guideline.analyte): item for item in check(side, values)}
        for side in (before, after)
    ]
    return [
        Comparison(values[key], sides[0].get(key), sides[1].get(key),
                   _remark(sides[0].get(key), sides[1].get(key)))
        for key in values
        if key in sides[0] or key in sides[1]
    ]  # fmt: skip


def _remark(before: Verdict | None, after: Verdict | None) -> str:
    over = "above" if after is not None and np.any(after.exceeds) else "within"
    if after is None:
        assert before is not None
        raw = "above" if np.any(before.exceeds) else "within"
        return f"{raw} the value before treatment; not measured after it"
    if before is None:
        return f"{over} the value after treatment; not measured before it"
    if over == "above":
        return "above the value after treatment"
    if np.any(before.exceeds):
        return "brought within the value by treatment: it depends on the treatment holding"
    return "within the value before and after treatment"


def nitrate_nitrite_share(nitrate: ArrayLike, nitrite: ArrayLike) -> Array:
    """Nitrate and nitrite counted together: the sum of their shares, to stay at or below 1.

    Parameters
    ----------
    nitrate : array_like
        Nitrate as NO3. [kg/m3]
    nitrite : array_like
        Nitrite as NO2. [kg/m3]

    Returns
    -------
    ndarray
        Sum of value over guideline value, broadcast shape. [1]

    Validity
    --------
    Any. Negative values raise DomainError.

    Source
    ------
    who_gdwq_2022, from memory
    """
    values = _standard()
    nitrate = require("nitrate", nitrate, 0.0, np.inf, "kg/m3")
    nitrite = require("nitrite", nitrite, 0.0, np.inf, "kg/m3")
    return nitrate / values["health", "nitrate"].limit + nitrite / values["health", "nitrite"].limit


def taste_class(dissolved_solids: ArrayLike) -> Words:
    """Taste of dissolved solids in words.

    Parameters
    ----------
    dissolved_solids : array_like
        Total dissolved solids. [kg/m3]

    Returns
    -------
    ndarray of str
        "excellent", "good", "fair", "poor" or "unacceptable", shape of the input.

    Validity
    --------
    Any; an upper end belongs to the better class. Negative values raise DomainError.

    Source
    ------
    who_gdwq_2022, taste panel
    """
    value = require("dissolved solids", dissolved_solids, 0.0, np.inf, "kg/m3")
    ends = np.array([end for end, _ in TASTE_CLASSES]) * (1.0 + 1e-9)
    words = np.array([word for _, word in TASTE_CLASSES] + ["unacceptable"])
    return words[np.searchsorted(ends, value, side="left")]


@cache
def _removal() -> dict[str, dict[str, str]]:
    file = Path(__file__).with_name("not_removed.toml")
    return tomllib.loads(file.read_text("utf-8"))


def not_removed(membrane: bool) -> tuple[dict[str, str], dict[str, str]]:
    """Dissolved substances that a train leaves in the water.

    Parameters
    ----------
    membrane : bool
        Whether reverse osmosis is among the stages; no other removes dissolved substances. [1]

    Returns
    -------
    tuple of dict
        Substances not removed at all, and substances removed in part, each -> note in words.

    Validity
    --------
    A measurement after treatment decides.

    Source
    ------
    common practice
    """
    none, part = {}, {}
    for substance, row in _removal().items():
        word = row["reverse_osmosis"] if membrane else "no"
        if word == "no":
            none[substance] = row["note"] if membrane else "no stage here removes it"
        elif word == "partly":
            part[substance] = row["note"]
    return none, part
