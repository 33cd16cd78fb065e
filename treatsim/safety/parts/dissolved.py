"""Analytes before and after treatment against dated values, and what no stage here removes."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from treatsim.flowsheet.result import Result
from treatsim.operations.declarations import Told
from treatsim.operations.outcome import ROUND_OFF, Finding, Limit, Value, unjudged
from treatsim.safety.additions import Additions
from treatsim.safety.analytes import quantity_of
from treatsim.safety.guideline_values import (
    Comparison,
    Guideline,
    compare,
    guidelines,
    nitrate_nitrite_share,
    not_removed,
    taste_class,
)
from treatsim.safety.product_water import ProductWater

ADVICE = {
    "boron": "raise the pH of the feed, renew old elements, send the permeate through once more, "
    "or blend less"
}
SALTY = (
    "more pressure, less recovery, a lower share led round a pass, new elements or seals; without "
    "membranes another source"
)
# no stage but a membrane lowers a dissolved analyte for sure; these are computed or not known
CHANGED_BY_TREATMENT = {"turbidity", "e_coli", "free_chlorine"}
HELD_FOR_TASTE = "unpalatable"  # kind of value
SALT = "dissolved_solids"


@dataclass
class Analytes:
    """Rows of the checker."""

    rows: list[Comparison] = field(default_factory=list)
    untouched: dict[str, str] = field(default_factory=dict)  # substance -> note
    partly: dict[str, str] = field(default_factory=dict)
    taste: Any = None  # words for the dissolved solids, per point


RESULTS = {
    "analytes.nitrate_and_nitrite": Told("factor", "each over its limit, added up; 1 is the limit"),
    "analytes.*.before": Told("concentration", "an analyte in the source"),
    "analytes.*.after": Told("concentration", "an analyte in the product"),
}


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
    Ions, boron and analytes that pass a membrane like an ion are followed to the product. Of the
    rest a membrane lets at most all pass: within its value so, it is met; else it is not judged.

    Source
    ------
    who_gdwq_2022 or the national file
    """
    membrane = any(unit.semipermeable for unit in result.sheet.units.values())
    untouched, partly = not_removed(membrane)
    water = earlier.records.get("product", ProductWater())
    table = result.sections.get("analytes")
    values = guidelines() if table is None else table.limits
    listed = {analyte for _, analyte in values}
    before = {n: v for n, v in water.source.items() if n in listed}
    before |= {} if table is None else dict(table.before)
    after = _after(result, water, {} if table is None else table.after, listed)
    taste = None
    if result.product is not None:
        before.setdefault("dissolved_solids", result.sheet.source.concentration)
        taste = taste_class(_sound(result, after["dissolved_solids"]))
    before, after = (
        {n: _sound(result, v) for n, v in s.items() if n in listed} for s in (before, after)
    )
    rows = compare(before, after, values)
    found = Additions(records={"dissolved": Analytes(rows, untouched, partly, taste)})
    unseen = _unseen(table)
    for row in rows:
        found = found.joined(_row(row, water, row.guideline.analyte in unseen))
    found = found.joined(Additions(notes=_detection_notes(table)))
    found = found.joined(_together(after))
    tested = table is not None and bool(table.before or table.after)
    if not tested or not any(limit.group == "health" for limit in found.limits):
        found = found.joined(Additions(limits=(unjudged("what is dissolved", "analytes"),)))
    return found.joined(_unpalatable(result, rows, water, unseen))


def _unpalatable(
    result: Result, rows: Sequence[Comparison], water: ProductWater, unseen: Collection[str]
) -> Additions:
    """What makes people turn to other water: salt, and what a national file adds."""
    limits = []
    for row in rows:
        analyte = row.guideline.analyte
        if row.guideline.kind != HELD_FOR_TASTE:
            continue
        if analyte != SALT:
            words = f"{analyte.replace('_', ' ')} in the product, for its taste"
            limit = _limit(row, words, quantity_of(analyte), water)
            limits.append(_unsure(limit, analyte) if analyte in unseen else limit)
        elif row.after is not None:
            limits.append(_salt(result, row.guideline, row.after.value))
    return Additions(limits=tuple(limits))


def _salt(result: Result, line: Guideline, value) -> Limit:
    """Salt of the product: no more than people drink, and than its valve lets through."""
    start = result.sections.get("startup")
    most, source, mover = np.asarray(line.limit), line.source, ""
    shut = None if start is None else start.salt_limit
    if shut is not None and np.all(np.asarray(shut) <= line.limit):  # else its valve stays shut
        most, source, mover = np.asarray(shut), "stated in the case", "startup.salt_limit"
    table = result.sections.get("analytes")
    read = table is not None and line.analyte in table.after
    address = f"analytes.{line.analyte}.after" if read else "product.concentration"
    told = (most, "concentration", source, mover, SALTY, "health")
    limit = Limit("salt in the product", address, value, "<=", *told)
    below = () if table is None else table.below_after
    return _unsure(limit, line.analyte) if line.analyte in below else limit


def _unseen(table) -> frozenset[str]:
    """Analytes of the product known by a limit of detection only."""
    if table is None:
        return frozenset()
    return table.below_after | (table.below - set(table.after))


def _detection_notes(table) -> tuple[str, ...]:
    names = sorted(_unseen(table))
    if not names:
        return ()
    told = ", ".join(name.replace("_", " ") for name in names)
    return (
        f"not detected: {told}; each counts as its limit of detection against limits of health, "
        "and as absent in the chemistry",
    )


def _sound(result: Result, value):
    return np.where(result.solved, value, 0.0)


def _after(result: Result, water: ProductWater, measured, listed) -> dict[str, Any]:
    """What the product holds: followed to it, carried by its stream, or measured in it."""
    known = listed - set(water.at_most)
    after = {name: value for name, value in water.product.items() if name in known}
    product = result.product
    if product is not None:
        after["dissolved_solids"] = product.concentration
        for name in ("turbidity", "free_chlorine"):
            if name in product.contents:
                after[name] = product.contents[name]
    return {**after, **measured}


def _row(row: Comparison, water: ProductWater, unseen: bool) -> Additions:
    """One analyte: its values, and what is held or may be noticed."""
    line = row.guideline
    quantity = quantity_of(line.analyte)
    words = line.analyte.replace("_", " ")
    values = {
        f"analytes.{line.analyte}.{side}": Value(verdict.value, quantity)
        for side, verdict in (("before", row.before), ("after", row.after))
        if verdict is not None
    }
    unknown = row.after is None and line.analyte in CHANGED_BY_TREATMENT  # the ledger judges it
    if line.kind == "health" and line.analyte != "free_chlorine" and not unknown:
        limit = _limit(row, f"{words} in the product", quantity, water)
        return Additions(values, (_unsure(limit, line.analyte) if unseen else limit,))
    if unseen or row.after is None or line.kind != "taste" or not np.any(row.after.exceeds):
        return Additions(values)
    shown = {
        "value": Value(row.after.value, quantity),
        "limit": Value(np.array(line.limit), quantity),
    }
    text = f"{words} of {{value}} may be noticed: people accept up to {{limit}}"
    return Additions(values, findings=(Finding(row.after.exceeds, text, shown),))


def _limit(row: Comparison, words: str, quantity: str, water: ProductWater) -> Limit:
    """What is held at the product; an upper bound that exceeds the value judges nothing."""
    line = row.guideline
    mark = "provisional, " if line.provisional else ""
    advice = ADVICE.get(line.analyte, "no setting here changes it: another source or stage")
    advice += f" ({mark}edition {line.edition})"
    told = (line.limit, quantity, line.source, "", advice, "health")
    if row.after is not None:
        carried = line.analyte in CHANGED_BY_TREATMENT
        address = f"analytes.{line.analyte}.after" if carried else f"product.{line.analyte}"
        return Limit(words, address, row.after.value, "<=", *told)
    if line.analyte not in water.at_most:
        return unjudged(words, f"analytes.after.{line.analyte}")
    most = np.asarray(water.product[line.analyte])
    sure = most <= line.limit * (1 + ROUND_OFF)
    address = f"product.{line.analyte}_at_most"
    words += ", at most that of the source"
    return Limit(words, address, most, "<=", *told, water.at_most[line.analyte], sure)


def _unsure(limit: Limit, analyte: str) -> Limit:
    """Of what was not detected: met where even the limit of detection is, else not judged."""
    if limit.needs:
        return limit
    needs = f"analytes.{analyte}"
    name = f"{limit.name}, at most its limit of detection"
    return dataclasses.replace(limit, name=name, needs=needs, judged=limit.meets)


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
