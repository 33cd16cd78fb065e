"""Analytes before and after treatment against dated values, and what no stage here removes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Finding, Limit, Value, unjudged
from treatsim.safety.additions import Additions
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


def dissolved(result: Result, earlier: Additions) -> Additions:
    """Hold the product against guideline values.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        Values before and after treatment, what is held, and the record "dissolved": rows, and what
        the train leaves in the water. Without analytes nothing dissolved is judged.

    Validity
    --------
    An analyte that no stage changes is the same after treatment. Behind a membrane only what was
    measured or is computed counts.

    Source
    ------
    who_gdwq_2022 or the national file
    """
    membrane = any(unit.treated for unit in result.sheet.units.values())
    untouched, partly = not_removed(membrane)
    table = result.sections.get("analytes")
    before = {} if table is None else dict(table.before)
    after = _after(result, before, {} if table is None else table.after, membrane)
    taste = None
    if result.product is not None:
        before.setdefault("dissolved_solids", result.sheet.source.concentration)
        taste = taste_class(_sound(result, after["dissolved_solids"]))
    rows = []
    if table is not None or "free_chlorine" in after:
        rows = compare(before, after, guidelines() if table is None else table.limits)
    found = Additions(records={"dissolved": Analytes(rows, untouched, partly, taste)})
    for row in rows:
        found = found.joined(_row(row))
    found = found.joined(_together(after))
    if not any(limit.group == "health" for limit in found.limits):
        return found.joined(Additions(limits=(unjudged("what is dissolved", "analytes"),)))
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


def _row(row: Comparison) -> Additions:
    """One analyte: its values, and what is held or may be noticed."""
    line = row.guideline
    quantity = KIND[UNITS.get(line.analyte, "kg/m3")]
    words = line.analyte.replace("_", " ")
    values = {
        f"analytes.{line.analyte}.{side}": Value(verdict.value, quantity)
        for side, verdict in (("before", row.before), ("after", row.after))
        if verdict is not None
    }
    unknown = row.after is None and line.analyte in CHANGED_BY_TREATMENT  # the ledger judges it
    if line.kind == "health" and line.analyte != "free_chlorine" and not unknown:
        return Additions(values, (_limit(row, words, quantity),))
    if row.after is None or line.kind != "taste" or not np.any(row.after.exceeds):
        return Additions(values)
    shown = {
        "value": Value(row.after.value, quantity),
        "limit": Value(np.array(line.limit), quantity),
    }
    text = f"{words} of {{value}} may be noticed: people accept up to {{limit}}"
    return Additions(values, findings=(Finding(row.after.exceeds, text, shown),))


def _limit(row: Comparison, words: str, quantity: str) -> Limit:
    line, address = row.guideline, f"analytes.{row.guideline.analyte}.after"
    if row.after is None:
        return unjudged(f"{words} in the product", f"analytes.after.{line.analyte}")
    mark = "provisional, " if line.provisional else ""
    advice = f"no setting here changes it: another source or stage ({mark}edition {line.edition})"
    return Limit(
        f"{words} in the product",
        address,
        row.after.value,
        "<=",
        line.limit,
        quantity,
        line.source,
        "",
        advice,
        "health",
    )


def _together(after) -> Additions:
    if "nitrate" not in after or "nitrite" not in after:
        return Additions()
    share = nitrate_nitrite_share(after["nitrate"], after["nitrite"])
    address = "analytes.nitrate_and_nitrite"
    limit = Limit(
        "nitrate and nitrite together",
        address,
        share,
        "<=",
        1.0,
        "factor",
        "who_gdwq_2022",
        "",
        "no setting here changes it: another source or stage",
        "health",
    )
    return Additions({address: Value(share, "factor")}, (limit,))
