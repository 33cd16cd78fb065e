"""Log credit, barrier by barrier

Credit is stacked from barriers that each earn it on terms; what a term takes away is shown hollow,
and a class short of its target says which barrier the train lacks.

One bar per class of germs. Filled pieces are earned at this operating point, hollow ones count
only once their terms hold. Totals may lie below the sum of the pieces where barriers share a cause
of failure or water passes untreated.

Sources: cfr_141_720, cfr_141_719, cfr_141_711
"""

from __future__ import annotations

import numpy as np

from treatsim.operations.outcome import at
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table
from treatsim.safety.log_credit import CLASSES
from treatsim.safety.log_targets import SURFACE_WATER
from treatsim.safety.parts.germs import RULE_WORDS, Germs
from treatsim.safety.path_credit import Credit
from treatsim.safety.verdict import judge

CASES = ("river_chlorine",)
FULL_HATCHES = ("", "//", "--", "xx", "||")

__all__ = ["CASES", "applies", "data", "draw"]


def applies(case) -> bool:
    """Whether the train has a barrier of the ledger."""
    return bool(_ledger(case).barriers)


def _ledger(case) -> Germs:
    """Return the ledger; one without barriers if no product leaves."""
    return judge(case.solve()).germs or Germs({}, Credit({}, "", "", {}), {})


def data(case) -> Table:
    """Return the credit of every barrier in every class, earned and by design."""
    ledger = _ledger(case)
    target, rule = ledger.target, ledger.wording
    if not target:  # nothing is asked: the usual rule serves as a yardstick
        target, rule = SURFACE_WATER, f"{RULE_WORDS['us_surface_water']}, not asked here"
    return stacked(
        *(
            table(
                {"class": np.array(cls), "barrier": np.array(name)},
                column("earned", at(barrier.earned(cls), 0), "log_reduction"),
                column(
                    "design",
                    max(at(barrier.credits[cls], 0), at(barrier.earned(cls), 0)),
                    "log_reduction",
                ),
                column("total", at(ledger.credit.totals[cls], 0), "log_reduction"),
                column("asked", at(target.get(cls, 0.0), 0), "log_reduction"),
                {"rule": np.array(rule)},
            )
            for cls in CLASSES
            for name, barrier in ledger.barriers.items()
        )
    )


@style.quiet
def draw(data: Table):
    """Draw one stacked bar per class, and what is asked of it."""
    classes = kinds(data, "class")
    figure, axis = style.new_figure("Log credit, barrier by barrier", 7.4, 4.0)
    place = {name: number for number, name in enumerate(classes)}
    barriers = [
        b for b in kinds(data, "barrier") if np.any(pick(select(data, "barrier", b), "design") > 0)
    ]
    ends = _pieces(axis, data, barriers, "earned", dict.fromkeys(classes, 0.0))
    _pieces(axis, data, barriers, "design", ends)
    rule = str(pick(data, "rule")[0])
    for name in classes:
        rows = select(data, "class", name)
        asked, total = float(pick(rows, "asked")[0]), float(pick(rows, "total")[0])
        if asked > 0:
            axis.plot(
                [asked, asked],
                [place[name] - 0.4, place[name] + 0.4],
                color=style.INK,
                linewidth=3,
                label=f"asked: {rule}" if name == _first_asked(data) else None,
            )
        axis.annotate(
            f"total {np.floor(10 * total + 1e-6) / 10:g}"
            + (f", short of {asked:g}" if total < asked - 1e-9 else ""),
            (1.0, place[name]),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
        )
    axis.set(
        yticks=range(len(classes)),
        yticklabels=classes,
        ylim=(len(classes) - 0.5, -0.5),
        xlabel=style.label("Log credit", "log_reduction"),
    )
    axis.set_xlim(0, max(1.08 * axis.get_xlim()[1], 4.5))
    axis.grid(visible=False, axis="y")
    axis.tick_params(axis="y", length=0)
    style.legend_below(figure, axis, 3)
    return figure


def _first_asked(data: Table) -> str:
    return str(pick(data, "class")[int(np.argmax(pick(data, "asked") > 0))])


def _pieces(axis, data: Table, barriers: list[str], what: str, start: dict[str, float]):
    """Draw one piece per barrier and class onto what stands; returns where they end."""
    ends = dict(start)
    for number, barrier in enumerate(barriers):
        rows = select(data, "barrier", barrier)
        classes, size = pick(rows, "class").tolist(), pick(rows, what)
        if what == "design":
            size = size - pick(rows, "earned")
        if not np.any(size > 0):
            continue
        words = barrier.replace("_", " ")
        look = {"facecolor": _ground(number), "hatch": FULL_HATCHES[number % len(FULL_HATCHES)]}
        if what == "design":
            words = f"{words}, once its terms hold"
            look |= {"facecolor": "white", "linestyle": "--"}
        axis.barh(
            range(len(classes)),
            size,
            left=[ends[c] for c in classes],
            height=0.55,
            edgecolor=style.INK,
            linewidth=0.9,
            label=words,
            **look,
        )
        ends = {c: ends[c] + float(s) for c, s in zip(classes, size, strict=True)}
    return ends


def _ground(number: int) -> str:
    return ("#8fa9c9", "#f0c39a", "#cfe6e1", "#b9bec6", "#ffffff")[number % 5]
