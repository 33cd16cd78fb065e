"""What the array gives by month

A mean day hides the poor one: a plan made on bars alone runs dry one day in ten.

Bars: energy at the bus on the mean of all days of twenty drawn years, or of the years of a file.
Dots: the day that one in ten falls short of. Dashes: a day without a cloud. Rings, where monthly
means are given: every day alike.

Sources: graham_hollands_brunger_1988, hollands_huget_1983, erbs_1982, hay_davies_1980, faiman_2008
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from treatsim.operations.parameters import MONTH_NAMES
from treatsim.power.months import outlook
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, has, pick, table

CASES = ("sea",)


def applies(case) -> bool:
    """Whether the case has a sun and an array."""
    sections = case.sections
    return sections["sun"] is not None and sections["array"] is not None


def data(case) -> Table:
    """Return energy and irradiation by month."""
    found = outlook(
        case.sections["array"],
        case.sections["site"],
        case.sections["sun"],
        Path(case.path).parent,
    )
    months = found.months
    columns = [
        {"month": np.array(MONTH_NAMES)},
        column("horizontal", months.horizontal, "irradiation"),
        column("plane", months.plane, "irradiation"),
        column("energy", months.power, "daily_energy"),
        column("poor_day", months.poor, "daily_energy"),
        column("clear_day", found.clear, "daily_energy"),
    ]
    if found.mean_day is not None:
        columns.append(column("mean_day", found.mean_day, "daily_energy"))
    return table(*columns)


@style.quiet
def draw(data: Table):
    """Draw energy by month above, irradiation below."""
    figure, (energy, light) = style.new_figure(
        "What the array gives by month", 7.2, 5.6, rows=2, sharex=True, height_ratios=(3, 2)
    )
    _energy(energy, data)
    place = np.arange(12)
    for number, (name, words) in enumerate(
        (("horizontal", "horizontal"), ("plane", "reaching the cells"))
    ):
        look = {"marker": style.MARKERS[number], "markersize": 4, **style.line(number)}
        light.plot(place, pick(data, name), label=words, **look)
    light.set(ylabel=style.label("Irradiation", "irradiation"), ylim=(0, None))
    light.set_xticks(place, [name[:3] for name in pick(data, "month").tolist()])
    light.legend(loc="lower center", ncols=2)
    for axis in (energy, light):
        axis.grid(visible=False, axis="x")
    style.legend_below(figure, energy, 4)
    return figure


def _energy(axis, data: Table) -> None:
    """Draw the mean as bars, and what it hides as marks."""
    place = np.arange(12)
    look = {"color": style.WASH, "edgecolor": style.INK, "linewidth": 0.7}
    axis.bar(place, pick(data, "energy"), 0.62, label="mean of all days", **look)
    dash = {"marker": "_", "markersize": 18, "markeredgewidth": 1.6, "linestyle": "none"}
    clear = pick(data, "clear_day")
    axis.plot(place, clear, **dash, color=style.COLOURS[1], label="day without a cloud")
    if has(data, "mean_day"):
        axis.plot(place, pick(data, "mean_day"), **style.RING, label="every day alike")
    dot = {"marker": "o", "markersize": 5, "linestyle": "none", "zorder": 7}
    poor = pick(data, "poor_day")
    axis.plot(place, poor, **dot, color=style.COLOURS[0], label="one day in ten gives less")
    axis.set(ylabel=style.label("Energy at the bus", "daily_energy"), ylim=(0, None))
