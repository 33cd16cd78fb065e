"""Design plots, one module each.

A plot module has a docstring (title, what it teaches, sources: this is its caption), `CASES` (the
cases of the gallery that show it), `applies(case)`, `data(case)` and `draw(data)`. All computing is
in `data`, which returns a table of equally long columns; `draw` sees nothing but that table.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

NAMES = (
    "flowsheet",
    "pump_and_system",
    "uv_dose",
    "uv_distribution",
    "uv_window",
    "uv_field",
    "startup",
    "membrane_start",
    "filter_months",
    "credit_ledger",
    "vessel_profile",
    "element_map",
    "ageing",
    "ro_window",
    "energy_split",
    "scale_saturation",
    "bed_contact",
    "array_months",
    "year_months",
    "size_pairs",
    "day_clock",
    "chance",
    "logbook",
)


def plot(name: str) -> Any:
    """Return the module of one plot."""
    return import_module(f"{__name__}.{name}")


def together(module: Any) -> bool:
    """Whether a plot sets all cases side by side: its `data` takes them all."""
    return getattr(module, "TOGETHER", False)
