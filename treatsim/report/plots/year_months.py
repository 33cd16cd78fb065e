"""Water through the year, and what holds the rest back

A plan for people is made on the poor day and the worst week, not on the mean.

Above: water of a day by month over twenty drawn years, or those of a file. Below: what one bound
after the other costs, lifted in the order of the legend; together with the water made they are what
the train could make out of all the sun, were it never held back by loads, starts, tank or battery.

Sources: graham_hollands_brunger_1988, hollands_huget_1983, erbs_1982, faiman_2008
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from treatsim.operations.parameters import MONTH_NAMES
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, has, pick, table
from treatsim.report.year_text import months
from treatsim.running.plan import NEEDED
from treatsim.running.year import CAUSES, year_of_case

CASES = ("sea",)
BARS = ("tools", "start_ups", "tank", "hours", "bank", "dose", "pump")  # all but the sun itself
HATCHES = ("///", "...", "xxx", "\\\\\\", "---", "++", "oo")


def applies(case) -> bool:
    """Whether the case has everything that a year needs."""
    return all(case.sections.get(name) is not None for name in NEEDED)


def data(case) -> Table:
    """Return water of a day by month and what is lost, by cause."""
    found = year_of_case(case, Path(case.path).parent)
    told = months(found)
    columns = [{"month": np.array(MONTH_NAMES)}]
    columns += [column(key, told[key], "volume") for key in ("mean", "poor_day", "worst_week")]
    columns += [
        column(cause, found.lost[cause], "volume")
        for cause in BARS if np.max(found.lost[cause]) > 1e-3 * found.daily.mean()
    ]  # fmt: skip
    return table(*columns)


@style.quiet
def draw(data: Table):
    """Draw water by month above, what is lost below."""
    figure, (made, lost) = style.new_figure(
        "Water through the year, and what holds the rest back", 7.2, 6.2, rows=2, sharex=True,
        height_ratios=(3, 2),
    )  # fmt: skip
    place = np.arange(12)
    look = {"color": style.WASH, "edgecolor": style.INK, "linewidth": 0.7}
    made.bar(place, pick(data, "mean"), 0.62, label="mean of all days", **look)
    dot = {"marker": "o", "markersize": 5, "linestyle": "none", "zorder": 7}
    made.plot(place, pick(data, "poor_day"), **dot, color=style.COLOURS[0],
              label="one day in ten makes less")  # fmt: skip
    dash = {"marker": "_", "markersize": 18, "markeredgewidth": 1.8, "linestyle": "none"}
    made.plot(place, pick(data, "worst_week"), **dash, color=style.COLOURS[1],
              label="mean day of the worst week that begins then")  # fmt: skip
    made.set(ylabel=style.label("Water of a day", "volume"), ylim=(0, None))
    _lost(lost, data, place)
    for axis in (made, lost):
        axis.grid(visible=False, axis="x")
    style.legend_below(figure, made, 3)
    return figure


def _lost(axis, data: Table, place) -> None:
    """Draw what each cause costs, one on the other."""
    foot = np.zeros(12)
    for number, cause in enumerate(BARS):
        if not has(data, cause):
            continue
        part = pick(data, cause)
        axis.bar(place, part, 0.62, foot, facecolor="white" if number else style.FAINT,
                 edgecolor=style.INK, linewidth=0.7, hatch=HATCHES[number] if number else None,
                 label=CAUSES[cause])  # fmt: skip
        foot = foot + part
    axis.set(ylabel=style.label("Not made in a day", "volume"), ylim=(0, 1.32 * foot.max()))
    axis.set_xticks(place, [name[:3] for name in pick(data, "month").tolist()])
    axis.legend(loc="upper left", ncols=2)
