"""Where the energy goes

Nature asks for the first piece only; the rest is the price of machines, of haste, and of pressure
thrown away in a valve.

Electrical energy of all consumers per volume of product, split by where it ends up. The first piece
is the least work that could draw this product from this water at this recovery.

Sources: computed from the losses that each unit declares
"""

from __future__ import annotations

from pathlib import Path
from textwrap import shorten

import numpy as np

from treatsim import quantities
from treatsim.operations.outcome import at
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table

CASES = ("brackish_well", "sea", "sea_recovery")
TOGETHER = True
FIRST = (
    "least work of separation",
    "excess driving pressure",
    "throttled",
    "pressure left at an end",
    "friction",
    "lift",
)  # the rest follows as it comes
LOOKS = (  # ground and hatch of the second piece and on
    ("#8fa9c9", ""),
    ("#f0c39a", "//"),
    ("#ffffff", ""),
    ("#b9bec6", "\\\\"),
    ("#cfe6e1", "--"),
    ("#8fa9c9", "xx"),
    ("#f0c39a", "||"),
    ("#cfe6e1", ""),
    ("#b9bec6", ""),
    ("#ffffff", "//"),
)
PREFIX = "energy.loss."
REST = "small pieces"
LONGEST = 110  # letters of a case's name
SMALLEST = 5e-3  # of the whole, to be a piece of its own


def applies(case) -> bool:
    """Whether the case has a product and something that takes power."""
    result = case.solve()
    return result.product is not None and bool(np.any(result.power > 0))


def data(cases) -> Table:
    """Return the energy per volume by case and loss."""
    return stacked(*(_pieces(case) for case in cases))


def _pieces(case) -> Table:
    values = case.solve().values
    pieces = {
        a.removeprefix(PREFIX).replace("_", " "): float(at(v.value, 0))
        for a, v in values.items()
        if a.startswith(PREFIX)
    }
    total = sum(pieces.values())
    small = {name: value for name, value in pieces.items() if value < SMALLEST * total}
    pieces = {name: value for name, value in pieces.items() if name not in small}
    if any(small.values()):
        pieces[REST] = sum(small.values())
    order = [n for n in FIRST if n in pieces] + [n for n in pieces if n not in FIRST]
    return table(
        {"case": np.array(f"{case.title} ({Path(case.path).name})")},
        {"loss": np.array(order)},
        column("energy", [pieces[name] for name in order], "energy_per_volume"),
    )


@style.quiet
def draw(data: Table):
    """Draw one bar per case, its pieces in one order."""
    names = kinds(data, "case")
    figure, axis = style.new_figure("Where the energy goes", 8.4, 2.5 + 0.75 * len(names))
    losses = sorted(kinds(data, "loss"), key=_rank)
    start = dict.fromkeys(names, 0.0)
    for number, loss in enumerate(losses):
        rows = select(data, "loss", loss)
        cases, widths = pick(rows, "case").tolist(), pick(rows, "energy").tolist()
        bars = axis.barh(
            [names.index(n) for n in cases],
            widths,
            left=[start[n] for n in cases],
            height=0.5,
            label=loss,
            **_look(number, loss),
        )
        for name, bar in zip(cases, bars, strict=True):
            start[name] += bar.get_width()
    unit = style.pretty(quantities.shown("energy_per_volume")[0])
    for place, name in enumerate(names):
        axis.annotate(
            f"{start[name]:.3g} {unit}",
            (start[name], place),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
        )
        axis.text(0, place - 0.28, shorten(name, LONGEST), va="bottom", fontsize=8)
        least = select(select(data, "case", name), "loss", FIRST[0])
        if len(pick(least, "energy")):
            axis.text(
                0,
                place + 0.28,
                f"least work {pick(least, 'energy')[0]:.2g} {unit}",
                va="top",
                fontsize=7.5,
            )
    axis.set(
        yticks=[],
        ylim=(len(names) - 0.4, -0.75),
        xlim=(0, 1.13 * max(start.values())),
        xlabel=style.label("Electrical energy per volume of product", "energy_per_volume"),
    )
    axis.grid(visible=False, axis="y")
    style.legend_below(figure, axis, 4)
    return figure


def _rank(loss: str) -> int:
    """Return the order of a piece: the usual ones, those of some cases, the rest."""
    return FIRST.index(loss) if loss in FIRST else len(FIRST) + (loss == REST)


def _look(number: int, loss: str) -> dict:
    """Return ground and hatch of a piece: the first is solid ink, no two look alike in grey."""
    edge = {"edgecolor": style.INK, "linewidth": 0.6}
    if number == 0:
        return edge | {"facecolor": style.COLOURS[0]}
    if loss == REST:
        return edge | {"facecolor": "white", "hatch": "xxx"}
    ground, hatch = LOOKS[(number - 1) % len(LOOKS)]
    return edge | {"facecolor": ground, "hatch": hatch}
