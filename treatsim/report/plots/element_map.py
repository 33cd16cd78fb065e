"""What each element uses of each limit

The lead element carries flux, pressure and feed flow, the last one scale and the thinnest stream:
the darkest cell of a column is what binds that element.

Percent of a limit, and below it the value. Polarisation counts by what is above 1, calcium
carbonate by its saturation over the one let be; a cell beyond its limit is framed.
Empty where not judged.

Sources: schock_miquel_1987, parkhurst_appelo_2013
"""

from __future__ import annotations

import numpy as np

from treatsim import quantities
from treatsim.operations.outcome import ROUND_OFF, at
from treatsim.report.element_text import percent
from treatsim.report.plots import style, vessel
from treatsim.report.plots.table import Table, column, kinds, pick, stacked, table
from treatsim.safety.element_shares import Share, element_shares
from treatsim.safety.verdict import judge

CASES = ("sea", "brackish_well")
LIGHT = 0.55  # grey below which the numbers of a cell are white
FULL = 1.2  # share of the darkest grey
NOT_JUDGED = -1.0  # in the table, where every number is finite
DIGITS = 3
applies = vessel.applies

__all__ = ["CASES", "applies", "data", "draw"]


def data(case) -> Table:
    """Return one row for each limit and element of the first vessel."""
    verdict, name = judge(case.solve()), vessel.name_of(case)
    count = int(at(verdict.result.sheet.units[name].parameters.elements_in_series, 0))
    return stacked(*(_row(share, n) for share in element_shares(verdict, name)
                     for n in range(count)))  # fmt: skip


def _row(row: Share, number: int) -> Table:
    value, limit = row.value[number, 0], float(at(row.limit.limit, 0))
    share = float(np.nan_to_num(row.share[number, 0], nan=NOT_JUDGED, posinf=9.99))
    asked = quantities.text(limit, row.limit.quantity, "si", DIGITS)
    shown = float(f"{quantities.show(float(value), row.limit.quantity)[0]:.{DIGITS}g}")
    return table(
        {"limit": np.array([f"{row.words} {row.limit.relation} {asked}"])},
        column("element", number + 1, "count"),
        {"value": np.array([shown])},
        column("share", share, "fraction"),
    )


@style.quiet
def draw(data: Table):
    """Draw the map: a row for each limit, a column for each element."""
    limits, elements = kinds(data, "limit"), kinds(data, "element")
    figure, axis = style.new_figure(
        "What each element uses of each limit",
        2.4 + 0.95 * len(elements), 1.1 + 0.45 * len(limits),
    )  # fmt: skip
    for limit, element, value, share in zip(
        *(pick(data, name) for name in ("limit", "element", "value", "share")), strict=True
    ):
        _cell(axis, float(element), limits.index(limit), value, share / 100)
    axis.set(xlim=(0.5, len(elements) + 0.5), ylim=(len(limits) - 0.5, -0.5),
             xlabel="Element, counted from the feed end")  # fmt: skip
    axis.set_xticks(range(1, len(elements) + 1))
    axis.set_yticks(range(len(limits)), [style.pretty_units(text) for text in limits])
    axis.tick_params(length=0)
    for spine in axis.spines.values():
        spine.set_visible(False)
    axis.grid(visible=False)
    return figure


def _cell(axis, element: float, row: int, value, share: float) -> None:
    """One cell: how dark tells the share, the numbers say it, a frame and a word what is over."""
    from matplotlib.patches import Rectangle

    left, below, over = element - 0.5, row - 0.5, bool(share > 1 + ROUND_OFF)
    grey = 0.97 - 0.82 * min(max(share, 0.0) / FULL, 1.0) ** 1.5
    axis.add_patch(Rectangle((left, below), 1, 1, facecolor=str(grey), edgecolor="white"))
    text = "not\njudged" if share < 0 else f"{percent(share)}{' over' * over}\n{value:g}"
    axis.text(element, row, text, ha="center", va="center", fontsize=7.5, linespacing=1.15,
              color="white" if grey < LIGHT else style.INK)  # fmt: skip
    if over:
        axis.add_patch(Rectangle((left + 0.05, below + 0.07), 0.9, 0.86, fill=False,
                                 edgecolor="white", linewidth=1.6))  # fmt: skip
