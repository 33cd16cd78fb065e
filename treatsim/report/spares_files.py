"""What to bring as JSON, and the packing list as CSV or XLSX."""

from __future__ import annotations

import csv
import functools
import io
import math
from typing import Any

import treatsim
from treatsim import quantities
from treatsim.report.basin_text import basin_data
from treatsim.running.forecast import TOLD, Item
from treatsim.running.outlook import Outlook

COLUMNS = ("item", "bring", "in store", "pack", "needed", "level", "order at", "unit", "why")


def rows_of(seen: Outlook) -> list[tuple[Any, ...]]:
    """Return the packing list, what cannot be judged included."""
    listed = [
        (row.name, row.bring, row.stock, row.pack, row.needed, _or_none(row.level), row.order_at,
         row.unit, row.why)
        for row in seen.told.items
    ]  # fmt: skip
    return listed + [
        (name, None, None, None, None, None, None, "", f"not judged: needs {needs}")
        for name, needs in seen.unjudged
    ]


def _or_none(value: float) -> float | None:
    return value if math.isfinite(value) else None


def encode(seen: Outlook, suffix: str) -> bytes:
    """Return the packing list as the content of a .csv or .xlsx file."""
    if suffix == ".csv":
        buffer = io.StringIO()
        writer = csv.writer(buffer, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(
            ["" if v is None else f"{v:.6g}" if isinstance(v, float) else v for v in row]
            for row in rows_of(seen)
        )
        return buffer.getvalue().encode("utf-8")
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("packing list")
    sheet.freeze_panes = "A2"
    rows = [COLUMNS, *rows_of(seen)]
    for place, cells in enumerate(zip(*rows, strict=True)):
        sheet.column_dimensions[chr(ord("A") + place)].width = 2 + max(len(f"{v}") for v in cells)
    for row in rows:
        sheet.append(row)
    raw = io.BytesIO()
    book.save(raw)
    return raw.getvalue()


def document(title: str, path: str, seen: Outlook, system: str = "si") -> dict[str, Any]:
    """Return everything as plain data."""
    told = seen.told
    head = {
        "treatsim": treatsim.__version__,
        "case": path,
        "title": title,
        "months": told.months,
        "scenarios": told.scenarios,
        "level": told.level,
        "joint_level": told.joint,
        "meets": seen.meets,
        "complete": seen.complete,
        "items": [_item(row) for row in told.items],
        "not_judged": [{"name": name, "needs": needs} for name, needs in seen.unjudged],
        "notes": list(seen.notes),
        "product_volume": {
            key: _shown(one, "volume", system)
            for key, one in zip(("p5", "p50", "p95"), told.volume, strict=True)
        },
        "seconds_running": {"mean": told.running[0], "planned": told.running[1]},
        "seconds_under_dose": None
        if told.under is None
        else {"mean": told.under[0], "p95": told.under[1]},
        "missed_in_hours": [
            {"name": row.name, "seconds_mean": row.mean, "seconds_p95": row.high, "mend": row.mend}
            for row in seen.missed
        ],
        "balance_miss": told.miss,
        "outside_turbidity_range": told.beyond,
        "table_error": told.error,
    }
    head |= basin_data(seen.basin, system)
    return head | _filters(seen, system) | _states(seen, system) | _learnt(seen, system)


def _shown(number: float, quantity: str, system: str) -> dict[str, Any]:
    value, unit = quantities.show(float(number), quantity, system)
    return {"value": _or_none(value), "unit": unit}


def _filters(seen: Outlook, system: str) -> dict[str, Any]:
    value = functools.partial(_shown, system=system)
    told = seen.told
    return {
        "filters": [
            {
                "name": row.name,
                "mean": row.mean,
                **{f"p{100 * p:g}": v for p, v in zip(TOLD, row.quantiles, strict=True)},
                "life": None if row.life is None else [value(v, "duration") for v in row.life],
                "first_change": None if row.first is None else [
                    value(3600 * v, "duration") for v in row.first],
                "causes": dict(row.causes),
                "mass": value(row.mass, "mass"),
            }
            for row in told.filters
        ],
        "months_series": {
            "hour": told.stops.tolist(),
            "flow_5_50_95": [[value(v, "flow")["value"] for v in row] for row in told.flow],
            "used_5_50_95": {
                row.name: told.used[:, g].tolist() for g, row in enumerate(told.filters)
            },
        },
    }  # fmt: skip


def _states(seen: Outlook, system: str) -> dict[str, Any]:
    value = functools.partial(_shown, system=system)
    return {
        "flow": [
            {"state": row.words, "temperature": value(row.temperature, "temperature"),
             "flow": value(row.flow, "flow"),
             "energy": value(row.specific, "energy_per_volume"),
             "setting": row.setting, "reason": row.reason}
            for row in seen.moments
        ],
        "limits": [
            {"name": row.name, "state": row.worst, "class": row.group, "relation": row.relation,
             "limit": value(row.limit, row.quantity),
             "values": [value(v, row.quantity) for v in row.values]}
            for row in seen.limits
        ],
    }  # fmt: skip


def _learnt(seen: Outlook, system: str) -> dict[str, Any]:
    value = functools.partial(_shown, system=system)
    return {
        "learnt": [
            {"filter": row.name, "readings": row.readings, "lives": row.lives,
             **{f"capacity_{when}": value(part[0], "mass")
                for when, part in (("before", row.prior), ("after", row.posterior))},
             "ln_capacity_sd": [row.prior[1], row.posterior[1]],
             "exponent": [row.prior[2], row.posterior[2]],
             "exponent_sd": [row.prior[3], row.posterior[3]],
             "disagrees": row.surprised}
            for row in seen.learnt
        ],
    }  # fmt: skip


def _item(row: Item) -> dict[str, Any]:
    return {**row._asdict(), "level": _or_none(row.level)}
