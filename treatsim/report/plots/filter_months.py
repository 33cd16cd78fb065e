"""Filters over the months

What is used up spreads as the months go on: the band, not its middle, is what must be brought.

Bands hold nine scenarios of ten, of water and of elements, lines their middle; the flow is told
at the end of each week, somewhere in the life of the elements.

Sources: hermia_1982
"""

from __future__ import annotations

import numpy as np

from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table
from treatsim.running.filter_line import stated
from treatsim.running.forecast import forecast
from treatsim.running.spares import plan_for, simulate

CASES = ("river",)
MONTHS, SCENARIOS = 6.0, 1000
FLOW = "flow"
DAYS = 24.0

__all__ = ["CASES", "applies", "data", "draw"]


def applies(case) -> bool:
    """Whether the case has a table [spares] and a filter whose capacity is known."""
    if case.sections.get("spares") is None:
        return False
    return any(getattr(p, "capacity", None) is not None for p in case.parameters.values()) and bool(
        stated(case)[0].names
    )


def data(case) -> Table:
    """Return elements used and flow by week: 5, 50 and 95 % of the scenarios."""
    plan = plan_for(case, MONTHS)
    told = forecast(case, plan, simulate(plan, SCENARIOS), None)
    rows = [_rows(row.name, told.stops, told.used[:, g]) for g, row in enumerate(told.filters)]
    return stacked(*rows, _rows(FLOW, told.stops, told.flow * 3600.0))


def _rows(name: str, stops, bands) -> Table:
    return table(
        {"what": np.array(name)},
        {"day": stops / DAYS},
        *(column(key, bands[:, n], "factor") for n, key in enumerate(("low", "middle", "high"))),
    )


@style.quiet
def draw(data: Table):
    """Draw elements used above, flow below."""
    figure, (upper, lower) = style.new_figure("Filters over the months", 6.8, 5.2, 2, sharex=True)
    names = [name for name in kinds(data, "what") if name != FLOW]
    for number, name in enumerate(names):
        _band(upper, select(data, "what", name), number, name)
    upper.set(ylabel="Elements used up", ylim=(0, None))
    upper.legend(loc="upper left")
    _band(lower, select(data, "what", FLOW), len(names), "product")
    lower.set(xlabel="Day", ylabel=style.label("Flow", "flow"), ylim=(0, None))
    lower.set_xlim(0, float(pick(data, "day").max()))
    return figure


def _band(axis, rows: Table, number: int, words: str) -> None:
    day, look = pick(rows, "day"), style.line(number)
    low, high = pick(rows, "low"), pick(rows, "high")
    axis.fill_between(day, low, high, color=look["color"], alpha=0.18, linewidth=0)
    for edge in (low, high):
        axis.plot(day, edge, color=look["color"], linewidth=0.7, linestyle=look["linestyle"])
    axis.plot(day, pick(rows, "middle"), label=words, **look)
    axis.annotate(
        "95 %", (day[-1], high[-1]), xytext=(-2, 2), ha="right", va="bottom",
        textcoords="offset points", fontsize=7.5,
    )  # fmt: skip
