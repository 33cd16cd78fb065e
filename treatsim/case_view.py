"""A case as a table for a notebook: its water, its units with their dials, its holds."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from treatsim import operations
from treatsim.examples import entry_of
from treatsim.notebook import html_table

MEASURED = ("temperature", "salinity", "conductivity", "ph", "turbidity", "uv_transmittance")


def case_html(case) -> str:
    """Return what a case states, as HTML; nothing is solved for it."""
    water = case.sections["water"]
    rows = [] if water is None else [["water", water.kind, _stated(case, "water", MEASURED)]]
    rows += [
        [name, kind, _stated(case, name, operations.unit_class(kind).dials)]
        for name, kind in case.kinds.items()
    ]
    rows += [
        ["hold", hold.adjust, f"such that {hold.until} = {hold.equals}"] for hold in case.holds
    ]
    title = f"{case.title}: {'; '.join(case.links)}; nothing is solved here"
    return html_table(("", "kind", "as stated"), rows, title=title)


def _stated(case, owner: str, names: Iterable[str]) -> str:
    """Return inputs as a file has them; what is not given is left out."""
    told = ((name, *case.field(f"{owner}.{name}")) for name in names)
    return ", ".join(
        f"{name} = {_entry(value, item.metadata['kind'])}"
        for name, item, value in told
        if value is not None
    )


def _entry(value, kind: str) -> str:
    return f"{np.size(value)} values" if np.ndim(value) else str(entry_of(value, kind))
