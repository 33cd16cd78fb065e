"""Does a settling basin pay: as text and as plain data."""

from __future__ import annotations

import functools
import math
from typing import Any

from treatsim import quantities
from treatsim.report.page import Page
from treatsim.running.basin import Prospect, Stage

HEADINGS = ("stage", "holds now", "then", "left now", "then", "median now", "then")


def basin_lines(page: Page, found: Prospect, running: float, system: str) -> None:
    """Write what a basin would do to a page; running: time a day [s]."""
    shown = functools.partial(quantities.text, system=system, digits=3)
    page.line(f"BASIN   {found.worth.reason}", "bold")
    page.table(HEADINGS, [_stage(row) for row in found.stages])
    without, within = (float(v) for v in found.worth[:2])
    page.listing([
        f"elements in the months: {without:.0f} without, {within:.0f} with it on average of "
        f"{found.scenarios} scenarios; "
        + "; ".join(f"{row.name} {row.mean[0]:.0f} to {row.mean[1]:.0f}, 95 % "
                    f"{row.sure[0]:.0f} to {row.sure[1]:.0f}" for row in found.filters),
        f"to dig: {float(found.dug.volume):.3g} m3, lining "
        f"{shown(float(found.dug.lining), 'area')}, {shown(float(found.dug.time), 'duration')}"
        + _each(found, shown),
        f"it holds {found.settled:.0%} of the mass at {found.loading * 3600:.2g} m/h of flow over "
        f"area; {found.along * 1e3:.2g} mm/s along it, {found.scour * 1e3:.2g} mm/s lift its "
        "sludge",
        _sludge(found, running),
        f"an upper bound: a cake of what is left is {found.tighter:.2g} times as tight, so "
        "elements fill at less mass than before",
    ])  # fmt: skip
    page.line()


def _stage(row: Stage) -> tuple[str, ...]:
    held = ["" if one is None else f"{one:.0%}" for one in row.held]
    return (row.name, *held, *(f"{one:.0%}" for one in row.left),
            *(f"{one * 1e6:.2g} um" if one > 0 else "" for one in row.median))  # fmt: skip


def _each(found: Prospect, shown) -> str:
    each = float(found.worth.digging_per_element)
    return f": {shown(each, 'short_duration')} for an element saved" if math.isfinite(each) else ""


def _sludge(found: Prospect, running: float) -> str:
    if not math.isfinite(found.sludge):
        return "no sludge"
    days = found.sludge / running
    return f"its room for sludge is full after {days:.0f} days, storms included: dig it out before"


def basin_data(found: Prospect | None, system: str) -> dict[str, Any]:
    """Return what a basin would do as plain data, or None where none is drawn."""
    if found is None:
        return {"basin": None}

    def value(number: Any, quantity: str) -> dict[str, Any]:
        shown, unit = quantities.show(float(number), quantity, system)
        return {"value": shown if math.isfinite(shown) else None, "unit": unit}

    return {
        "basin": {
            "worth_it": bool(found.worth.worth_it),
            "reason": str(found.worth.reason),
            "stages": [
                {"name": row.name, "held": list(row.held), "left": list(row.left),
                 "median": [value(one, "small_length") for one in row.median]}
                for row in found.stages
            ],
            "filters": [
                {"name": row.name, "mean": list(row.mean), "p95": list(row.sure)}
                for row in found.filters
            ],
            "volume": value(found.dug.volume, "volume"),
            "lining": value(found.dug.lining, "area"),
            "digging": value(found.dug.time, "duration"),
            "digging_per_element": value(found.worth.digging_per_element, "duration"),
            "settled": found.settled,
            "surface_loading": value(found.loading, "velocity"),
            "horizontal_velocity": value(found.along, "velocity"),
            "scour_velocity": value(found.scour, "velocity"),
            "sludge_full_after": value(found.sludge, "duration"),
            "cake_tighter": found.tighter,
        }
    }  # fmt: skip
