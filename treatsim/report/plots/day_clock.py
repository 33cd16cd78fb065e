"""A clear and a dull day by the clock

On a dull day the train stands still for most of the hours, and what tools take is water.

Left a day without a cloud, right one as dull as one in ten, both in the month in which the array
gives least, after usual days. Above, means of the hours: what the sun gives and what the train
takes. Middle: charge of the battery, and filling of the tank where there is one. Below: the litres
that one hour of tools, 1 kW by default, costs on that day and the next, where they can be served.

Sources: ineichen_perez_2002, collares_pereira_rabl_1979, erbs_1982, faiman_2008
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from treatsim.report.day_text import columns, date_of
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, has, pick, select, stacked, table
from treatsim.running.day import Day, day_of_case, may_be_plugged_in
from treatsim.running.plan import NEEDED

CASES = ("sea",)
PARTS = ("clear", "dull")
WORDS = {"clear": "without a cloud", "dull": "as dull as one day in ten"}
TICKS = np.arange(0, 25, 4)


def applies(case) -> bool:
    """Whether the case has everything that a day needs."""
    return all(case.sections.get(name) is not None for name in NEEDED)


def data(case) -> Table:
    """Return both days by the hour."""
    folder = Path(case.path).parent
    days = [day_of_case(case, folder, None, part == "dull") for part in PARTS]
    return stacked(*(_part(day, part) for day, part in zip(days, PARTS, strict=True)))


def _part(day: Day, part: str) -> Table:
    told = columns(day)
    shown = [{"part": np.full(24, part), "day": np.full(24, date_of(day))}]
    shown.append(column("hour", np.arange(24) * 3600.0, "duration"))
    wanted = [key for key in ("sun", "train", "battery", "tank", "unused") if key in told]
    shown += [column(key, *told[key]) for key in wanted]
    shown.append(column("cost_of_tools", np.where(may_be_plugged_in(day), day.cost, 0.0), "volume"))
    shown.append(column("may_be_plugged_in", may_be_plugged_in(day).astype(float), "factor"))
    return table(*shown)


@style.quiet
def draw(data: Table):
    """Draw power, charge and the cost of tools over the hours, a day in each column."""
    day = str(pick(data, "day")[0])
    figure, axes = style.new_figure(
        f"A clear and a dull day by the clock, {day}", 8.6, 6.4, 3, 2, sharex=True, sharey="row"
    )
    for number, part in enumerate(PARTS):
        _column(axes[:, number], select(data, "part", part), WORDS[part])
    power, charge, cost = axes[:, 0]
    power.set_ylabel(style.label("Power", "power"))
    charge.set_ylabel(style.label("Charge, filling", "fraction"))
    cost.set_ylabel(style.label("1 h of tools", "volume"))
    for axis in axes[2]:
        axis.set_xlabel("Local standard time")
    power.legend(loc="upper left")
    charge.legend(loc="upper left")
    return figure


def _column(axes, rows: Table, words: str) -> None:
    power, charge, cost = axes
    edge = np.arange(25)
    power.set_title(words)
    power.stairs(pick(rows, "sun"), edge, fill=True, color=style.WASH)
    power.stairs(pick(rows, "sun"), edge, label="sun, at the bus", linewidth=1.4, **_look(0))
    power.stairs(pick(rows, "train"), edge, label="train", linewidth=1.6, **_look(1))
    ends = np.arange(1, 25)
    charge.plot(ends, pick(rows, "battery"), label="battery", **style.line(0))
    if has(rows, "tank"):
        level = pick(rows, "tank")
        charge.plot(ends, 100 * level / max(float(level.max()), 1e-9), label="tank, of its highest",
                    **style.line(1))  # fmt: skip
    charge.set_ylim(0, 105)
    may = pick(rows, "may_be_plugged_in") > 0
    cost.bar(edge[:-1] + 0.5, np.where(may, pick(rows, "cost_of_tools"), 0.0), 0.8,
             color=style.WASH, edgecolor=style.INK, linewidth=0.7)  # fmt: skip
    for hour in edge[:-1][~may]:
        cost.plot(hour + 0.5, 0.0, marker="x", color=style.INK, markersize=4, clip_on=False)
    if not may.all():
        cost.text(0.02, 0.93, "x: not to be plugged in", transform=cost.transAxes, fontsize=7.5,
                  va="top")  # fmt: skip
    cost.set_xlim(0, 24)
    cost.set_xticks(TICKS, [f"{hour:02d}:00" for hour in TICKS])


def _look(number: int) -> dict:
    return {"color": style.COLOURS[number], "linestyle": style.LINES[number]}
