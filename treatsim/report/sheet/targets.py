"""Targets and limits as judged; what nobody has measured; what nothing here takes out."""

from __future__ import annotations

import numpy as np

from treatsim.operations.outcome import Limit, at
from treatsim.report.sheet.blocks import Block, Grid, Part, Words
from treatsim.report.sheet.facts import DIGITS, Facts
from treatsim.safety.guideline_values import guidelines

HEAD, UNTESTED = "TARGETS AND LIMITS", "THIS WATER WAS NOT TESTED FOR"
WORDS = {"met": "met", "not_met": "NOT MET", "not_judged": "not judged", "waived": "waived"}
LONG = 30  # limits in one table: more do not fit beside what else stands on a side
ORDER = ("not_met", "not_judged", "waived", "met")


def target_blocks(facts: Facts) -> list[Block]:
    """Return every limit with its value here and its state, those not met first.

    One block; of more limits than `LONG` two, of which the second may stand on the other side.
    """
    limits = [one for state in ORDER for one in facts.verdict.of_state(state)]
    text = "Computed values are design figures: measure. What you measure goes before them."
    if len(limits) <= LONG:
        return [Block(HEAD, (_grid(facts, limits), Words(text)))]
    half = (len(limits) + 1) // 2
    more = Words(f"{len(limits) - half} more limits on the back.")
    first = Block(f"{HEAD}, 1 OF 2", (_grid(facts, limits[:half]), Words(text), more))
    return [first, Block(f"{HEAD}, 2 OF 2", (_grid(facts, limits[half:]),))]


def _grid(facts: Facts, limits: list[Limit]) -> Grid:
    rows = tuple(_row(facts, limit) for limit in limits)
    loud = tuple(n for n, limit in enumerate(limits) if limit.state() == "not_met")
    return Grid(("limit", "computed", "target", "state"), rows, left=1, loud=loud)


def _row(facts: Facts, limit: Limit) -> tuple[str, str, str, str]:
    name = limit.full_name
    if np.isnan(float(at(limit.limit, 0))):
        return name, "", f"needs {limit.needs}" if limit.needs else "", WORDS[limit.state()]
    if np.isnan(float(at(limit.value, 0))):
        value, asked = "", facts.text(limit.limit, limit.quantity)
    else:
        value, asked = limit.told(facts.system, 0, DIGITS)
    sign = {">=": "≥", "<=": "≤"}[limit.relation]
    return name, value, f"{sign} {asked}", WORDS[limit.state()]


def untested_block(facts: Facts) -> Block:
    """Return what has a health value and was not measured, and what no stage takes out."""
    missing = untested(facts)
    table = facts.section("analytes")
    head = [
        "No analysis is stated: measure before anyone drinks."
        if table is None
        else f"Measured: {', '.join(_named(_tested(facts)))}."
    ]
    parts: list[Part] = [Words(head[0], loud=table is None)]
    parts.append(Words(f"NOT tested, of what has a health value: {', '.join(_named(missing))}."))
    found = facts.verdict.analytes
    if found.untouched:
        parts.append(Words(f"Nothing here takes out: {', '.join(_named(found.untouched))}."))
    if found.partly:
        parts.append(Words(f"Taken out in part only: {', '.join(_named(found.partly))}."))
    return Block(UNTESTED, tuple(parts))


def _tested(facts: Facts) -> list[str]:
    return sorted(
        {r.guideline.analyte for r in facts.verdict.analytes.rows if r.before is not None}
    )


def untested(facts: Facts) -> list[str]:
    """Return the analytes with a health value that no sample of this water tells of."""
    table = facts.section("analytes")
    values = guidelines() if table is None else table.limits
    wanted = {line.analyte for line in values.values() if line.kind == "health"}
    return sorted(wanted - set(_tested(facts)) - {"free_chlorine"})


def _named(names) -> list[str]:
    return [name.replace("_", " ") for name in names]
