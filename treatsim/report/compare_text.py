"""The comparison of cases as a page and as one JSON document."""

from __future__ import annotations

import csv
import functools
import io
import math
from collections.abc import Sequence
from itertools import groupby
from typing import Any

import treatsim
from treatsim import quantities
from treatsim.operations.outcome import Value
from treatsim.report.page import Page
from treatsim.report.screen import held
from treatsim.safety.verdict import Verdict
from treatsim.studies.compare import Row


def _cell(address: str, system: str, verdict: Verdict, value: Value | None) -> str:
    return "" if value is None else held(verdict, address, value, system)


STATES = {
    "met": "limits met",
    "not_met": "limits NOT met",
    "not_judged": "not all judged",
    "no_answer": "no operating point",
}


def _state(verdict: Verdict) -> str:
    return STATES[verdict.state()]


def compare_text(
    verdicts: Sequence[Verdict], rows: Sequence[Row], system: str = "si", *, colour: bool = False
) -> str:
    """Return the page."""
    page = Page(colour)
    for number, verdict in enumerate(verdicts, 1):
        page.line(f"[{number}] {verdict.result.context.title} ({verdict.result.context.path})")
    heads = ["", *(f"[{number}]" for number in range(1, len(verdicts) + 1))]
    blank = ("",) * len(heads)
    lines: list[tuple[str, ...]] = [("state", *map(_state, verdicts))]
    for group, members in groupby(rows, key=lambda row: row.group):
        lines += [blank, (group.upper(), *blank[1:])]
        lines += [
            (row.words, *map(functools.partial(_cell, row.address, system), verdicts, row.values))
            for row in members
        ]
    page.line()
    page.table(heads, lines)
    page.line()
    page.line(
        "1 kWh/m3 is 1 Wh per litre. Losses add up to the energy per volume of product.", "dim"
    )
    for number, verdict in enumerate(verdicts, 1):
        if not verdict.result.solved[0]:
            page.line(f"[{number}] {verdict.result.reason(0, system)}")
        for limit in (*verdict.of_state("not_met"), *verdict.of_state("not_judged")):
            words = limit.state().replace("_", " ").replace("not met", "NOT met")
            page.line(f"[{number}] {words}: {limit.full_name}")
    return page.text()


def compare_csv(verdicts: Sequence[Verdict], rows: Sequence[Row], system: str = "si") -> str:
    """Return the comparison as CSV: a row per result with its unit, a column per case."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(
        ["group", "name", "address", "unit", *(v.result.context.path for v in verdicts)]
    )
    writer.writerow(["", "state", "", "", *(verdict.state() for verdict in verdicts)])
    for row in rows:
        cells = [_number(value, system) for value in row.values]
        unit = next((cell["unit"] for cell in cells if cell), "")
        numbers = ["" if c is None or c["value"] is None else f"{c['value']:.10g}" for c in cells]
        writer.writerow([row.group, row.words, row.address, unit, *numbers])
    return buffer.getvalue()


def compare_document(
    verdicts: Sequence[Verdict], rows: Sequence[Row], system: str = "si"
) -> dict[str, Any]:
    """Return the comparison as plain data."""
    return {
        "treatsim": treatsim.__version__,
        "cases": [
            {
                "case": v.result.context.path,
                "title": v.result.context.title,
                "solved": bool(v.result.solved[0]),
                "state": v.state(),
                "meets": bool(v.meets[0]),
                "reason": v.result.reason(0, system),
            }
            for v in verdicts
        ],
        "rows": [
            {
                "group": row.group,
                "name": row.words,
                "address": row.address,
                "values": [_number(value, system) for value in row.values],
            }
            for row in rows
        ],
    }


def _number(value: Value | None, system: str):
    if value is None:
        return None
    number, unit = quantities.show(float(value.value), value.quantity, system)
    return {"value": number if math.isfinite(number) else None, "unit": unit}
