"""Where the energy goes

Nature asks for the first piece only; the rest is the price of machines, of haste, and of pressure
thrown away in a valve.

Electrical energy of all consumers per volume of product, split by where it ends up. The first piece
is the least work that could draw this product from this water at this recovery.

Sources: lonsdale_1965
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from treatsim import quantities
from treatsim.operations.base import at
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table

CASES = ("brackish_well", "sea", "sea_recovery")
TOGETHER = True
FIRST = ("least work of separation", "excess driving pressure", "throttled",
         "pressure left at an end", "friction", "lift")  # the rest follows as it comes
PREFIX = "energy.loss."
SMALLEST = 1e-3  # of the whole, to be a piece of its own


def applies(case) -> bool:
    """Whether the case has a product and something that takes power."""
    result = case.solve()
    return result.product is not None and bool(np.any(result.power > 0))


def data(cases) -> Table:
    """Return the energy per volume by case and loss."""
    return stacked(*(_pieces(case) for case in cases))


def _pieces(case) -> Table:
    values = case.solve().values
    pieces = {a.removeprefix(PREFIX).replace("_", " "): float(at(v.value, 0))
              for a, v in values.items() if a.startswith(PREFIX)}
    total = sum(pieces.values())
    pieces = {name: value for name, value in pieces.items() if value > SMALLEST * total}
    order = [n for n in FIRST if n in pieces] + [n for n in pieces if n not in FIRST]
    return table(
        {"case": np.array(f"{case.title} ({Path(case.path).name})")}, {"loss": np.array(order)},
        column("energy", [pieces[name] for name in order], "energy_per_volume"),
    )


@style.quiet
def draw(data: Table):
    """Draw one bar per case, its pieces in one order."""
    names = kinds(data, "case")
    figure, axis = style.new_figure("Where the energy goes", 8.4, 2.5 + 0.75 * len(names))
    losses = sorted(kinds(data, "loss"),
                    key=lambda n: FIRST.index(n) if n in FIRST else len(FIRST))
    start = dict.fromkeys(names, 0.0)
    for number, loss in enumerate(losses):
        rows = select(data, "loss", loss)
        for name in pick(rows, "case").tolist():
            width = float(pick(select(rows, "case", name), "energy")[0])
            axis.barh([names.index(name)], [width], left=[start[name]], height=0.5,
                      label=loss if name == pick(rows, "case")[0] else None, **_look(number))
            start[name] += width
    unit = style.pretty(quantities.shown("energy_per_volume")[0])
    for place, name in enumerate(names):
        axis.annotate(f"{start[name]:.3g} {unit}", (start[name], place), xytext=(4, 0),
                      textcoords="offset points", va="center", fontsize=8)
        axis.text(0, place - 0.28, name, va="bottom", fontsize=8)
    axis.set(yticks=[], ylim=(len(names) - 0.4, -0.75), xlim=(0, 1.13 * max(start.values())),
             xlabel=style.label("Electrical energy per volume of product", "energy_per_volume"))
    axis.grid(visible=False, axis="y")
    style.legend_below(figure, axis, 4)
    return figure


def _look(number: int) -> dict:
    """Return ground and hatch of a piece: the first is solid ink, the others lighter."""
    if number == 0:
        return {"facecolor": style.COLOURS[0], "edgecolor": style.INK, "linewidth": 0.6}
    grounds = ("#8fa9c9", "#f0c39a", "#ffffff", "#d5d9df", "#bcdcd6", "#f7ead9", "#dccfe3")
    return {"facecolor": grounds[(number - 1) % len(grounds)], "edgecolor": style.INK,
            "linewidth": 0.6, "hatch": style.HATCHES[number % len(style.HATCHES)][:2]}
