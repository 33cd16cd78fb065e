"""The autopsy of each vessel, element by element: as a part of the page and as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from treatsim import quantities
from treatsim.operations.outcome import ROUND_OFF, at
from treatsim.report.page import cell
from treatsim.safety.element_shares import Share, binding, element_shares
from treatsim.safety.verdict import Verdict

COLUMNS = (
    ("flux", "flux"),
    ("recovery", "recovery"),
    ("polarisation_max", "polaris."),
    ("feed_flow", "feed"),
    ("feed_pressure", "pressure"),
    ("permeate_concentration", "permeate"),
)
DIGITS = 3
SCALE = ("saturation.", "carbonate_index")
OF_VESSEL = "flux_mean"  # the one habit that no single element can keep or miss


def vessels(verdict: Verdict, point: int) -> Iterator[tuple[str, int, list[Share]]]:
    """Yield every vessel: its name, its number of elements at a point, and its shares."""
    for name, unit in verdict.result.sheet.units.items():
        if unit.semipermeable:
            count = int(at(unit.parameters.elements_in_series, point))
            yield name, count, element_shares(verdict, name)


def element_part(page, verdict: Verdict, system: str, point: int) -> None:
    """Add a row for each element, with the limit of which it uses most."""
    for name, count, shares in vessels(verdict, point):
        page.head(f"{name}, element by element from the feed end")
        rows = []
        for number in range(count):
            found = binding(shares, number, point)
            told = [verdict.values[f"{name}.element_{number + 1}.{key}"] for key, _ in COLUMNS]
            cells = [cell(value, system, point, DIGITS).partition(" ")[0] for value in told]
            used = percent(found.share[number, point]) if found else ""
            rows.append((str(number + 1), found.words if found else "not judged", used,
                         percent(_scale(shares, number, point)), *cells))  # fmt: skip
        heads = [f"{head}\n{quantities.shown(value.quantity, system)[0]}"
                 for (_, head), value in zip(COLUMNS, told, strict=True)]  # fmt: skip
        page.table(("", "nearest limit", "used", "scale", *heads), rows, left=2)
        page.listing(_remarks(verdict, name, shares, count, system, point))


def percent(share: float) -> str:
    """Return a share of a limit; 100 % only of what is on it."""
    if not math.isfinite(share):
        return "beyond" if share > 0 else ""
    shown = round(100 * share)
    if abs(share - 1) > ROUND_OFF:
        shown = min(shown, 99) if share < 1 else max(shown, 101)
    return f"{shown} %"


def _scale(shares: list[Share], number: int, point: int) -> float:
    """Return the largest share of a limit of scale."""
    rows = [row.share[number, point] for row in shares if row.key.startswith(SCALE)]
    return max((share for share in rows if not math.isnan(share)), default=math.nan)


def _remarks(verdict: Verdict, name: str, shares, count: int, system: str, point: int):
    """Yield which element and limit bind first, what the vessel as a whole uses, what is open."""
    tops = [(row.share[n, point], n, row) for n in range(count)
            if (row := binding(shares, n, point))]  # fmt: skip
    if tops:
        share, number, worst = max(tops, key=lambda top: top[0])
        kind = worst.limit.quantity
        pair = (float(worst.value[number, point]), at(worst.limit.limit, point))
        value, limit = (quantities.text(item, kind, system, DIGITS) for item in pair)
        word = "binds first" if share <= 1 + ROUND_OFF else "is beyond its limit"
        yield (
            f"element {number + 1} {word}: {worst.limit.name} {value}, limit {limit} "
            f"({worst.limit.group})"
        )
    for whole in verdict.limits:
        if whole.address == f"{name}.{OF_VESSEL}" and math.isfinite(at(whole.value, point)):
            used = percent(at(whole.value, point) / at(whole.limit, point))
            yield f"the vessel as a whole uses {used} of its limit of the mean flux"
    open_ = [row.words for row in shares
             if any(math.isnan(row.share[n, point]) for n in range(count))]  # fmt: skip
    if not any(row.key.startswith(SCALE) for row in shares):
        open_.append("scale, for want of the chemistry")
    if open_:
        yield f"not judged by element: {', '.join(open_)}"


def element_document(verdict: Verdict, system: str, point: int) -> list[dict[str, Any]]:
    """Return every element with its share of each limit; values stand under their addresses."""
    found = []
    for name, count, shares in vessels(verdict, point):
        for number in range(count):
            start, bound = f"{name}.element_{number + 1}", binding(shares, number, point)
            found.append(
                {
                    "element": start,
                    "binds": f"{start}.{bound.key}" if bound else None,
                    "limits": [_row(row, start, number, point, system) for row in shares],
                }
            )
    return found


def _row(row: Share, start: str, number: int, point: int, system: str) -> dict[str, Any]:
    share = float(row.share[number, point])
    limit, unit = quantities.show(float(at(row.limit.limit, point)), row.limit.quantity, system)
    return {
        "address": f"{start}.{row.key}",
        "limit_of": row.limit.address,
        "limit": limit if math.isfinite(limit) else None,
        "unit": unit,
        "share": share if math.isfinite(share) else None,
        "waived": bool(row.limit.waived),
    }
