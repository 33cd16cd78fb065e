"""Analytes before and after treatment against dated values, and what no stage here removes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Finding, Limit, Value
from treatsim.safety.analytes import UNITS
from treatsim.safety.guideline_values import (
    Comparison,
    compare,
    guidelines,
    nitrate_nitrite_share,
    not_removed,
    taste_class,
)

KIND = {"NTU": "turbidity", "1/m3": "organisms", "kg/m3": "concentration"}
# no stage but a membrane lowers a dissolved analyte for sure; these are computed or not known
CHANGED_BY_TREATMENT = {"turbidity", "e_coli", "free_chlorine"}


@dataclass
class Analytes:
    """Rows of the checker."""

    rows: list[Comparison] = field(default_factory=list)
    untouched: dict[str, str] = field(default_factory=dict)  # substance -> note
    partly: dict[str, str] = field(default_factory=dict)
    taste: Any = None  # words for the dissolved solids, per point


def analysis(result: Result, kinds) -> Analytes:
    """Hold the product against guideline values; adds values, criteria and findings.

    Parameters
    ----------
    result : Result
        Solved case.
    kinds : iterable of str
        Unit kinds of the train.

    Returns
    -------
    Analytes
        Rows before and after treatment, and what the train leaves in the water.

    Validity
    --------
    An analyte that no stage changes is the same after treatment. Behind a membrane only what was
    measured or is computed counts.

    Source
    ------
    who_gdwq_2022 or the national file
    """
    untouched, partly = not_removed(kinds)
    found = Analytes(untouched=untouched, partly=partly)
    table = result.sections.get("analytes")
    before = {} if table is None else dict(table.before)
    after = _after(result, before, {} if table is None else table.after, "ro_vessel" in kinds)
    if result.product is not None:
        before.setdefault("dissolved_solids", result.sheet.source.concentration)
        found.taste = taste_class(_sound(result, after["dissolved_solids"]))
    if table is None and "free_chlorine" not in after:
        return found
    found.rows = compare(before, after, guidelines() if table is None else table.limits)
    for row in found.rows:
        _tell(result, row)
    _together(result, after)
    return found


def _sound(result: Result, value):
    return np.where(result.solved, value, 0.0)


def _after(result: Result, before, measured, membrane: bool) -> dict[str, Any]:
    after = {} if membrane else {
        name: value for name, value in before.items() if name not in CHANGED_BY_TREATMENT
    }  # fmt: skip
    product = result.product
    if product is not None:
        after["dissolved_solids"] = _sound(result, product.concentration)
        for name in ("turbidity", "free_chlorine", "boron"):
            if name in product.contents:
                after[name] = _sound(result, product.contents[name])
    return {**after, **measured}


def _tell(result: Result, row: Comparison) -> None:
    line = row.guideline
    quantity = KIND[UNITS.get(line.analyte, "kg/m3")]
    for side in ("before", "after"):
        verdict = getattr(row, side)
        if verdict is not None:
            result.extra[f"analytes.{line.analyte}.{side}"] = Value(verdict.value, quantity)
    if row.after is None:
        return
    address = f"analytes.{line.analyte}.after"
    words = line.analyte.replace("_", " ")
    if line.kind == "health" and line.analyte != "free_chlorine":
        mark = "provisional, " if line.provisional else ""
        result.extra_limits.append(
            Limit(
                f"{words} in the product",
                address,
                row.after.value,
                "<=",
                line.limit,
                quantity,
                line.source,
                "",
                f"no setting here changes it: another source or stage ({mark}edition "
                f"{line.edition})",
            )
        )
    elif line.kind == "taste" and np.any(row.after.exceeds):
        shown = {
            "value": Value(row.after.value, quantity),
            "limit": Value(np.array(line.limit), quantity),
        }
        text = f"{words} of {{value}} may be noticed: people accept up to {{limit}}"
        result.extra_findings.append(Finding(row.after.exceeds, text, shown))


def _together(result: Result, after) -> None:
    if "nitrate" not in after or "nitrite" not in after:
        return
    share = nitrate_nitrite_share(after["nitrate"], after["nitrite"])
    result.extra["analytes.nitrate_and_nitrite"] = Value(share, "factor")
    result.extra_limits.append(
        Limit(
            "nitrate and nitrite together",
            "analytes.nitrate_and_nitrite",
            share,
            "<=",
            1.0,
            "factor",
            "who_gdwq_2022",
            "",
            "no setting here changes it: another source or stage",
        )
    )
