"""Membranes over their life, cold and warm

What is wanted of a membrane is fixed, what it asks for is not: each year takes pressure, and cold
water takes as much again.

Left, product at the case's setting by age of the membranes and temperature of the water. Right,
what the dial must be turned to for the design flow as water permeability is lost; a ring is today,
the dotted upright the end of life, a cross where something runs out.

Sources: schock_miquel_1987
"""

from __future__ import annotations

import numpy as np

from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table
from treatsim.studies.ageing import AGES, WATERS, Ageing, ageing

CASES = ("sea", "brackish_well")

__all__ = ["CASES", "applies", "data", "draw"]


def applies(case) -> bool:
    """Whether the case states over which life its membranes are looked at."""
    return case.sections.get("ageing") is not None


def data(case) -> Table:
    """Return the ladder of each water; the product by age stands beside each row of its water."""
    found = ageing(case)
    return stacked(*(_rows(found, n) for n in range(len(WATERS))))


def _rows(found: Ageing, water: int) -> Table:
    fixed, kept, rungs = found.fixed[water], found.kept[water], slice(len(AGES), None)
    solved = kept.result.solved[rungs]
    dial = np.broadcast_to(kept.value(found.section.dial).value, kept.result.points)[rungs]
    reach = found.reaches[water]
    product = np.where(fixed.result.solved, fixed.value("product.flow").value, 0.0)
    end = reach.ratio if reach.ratio is not None else 0.0
    return table(
        {"permeability_ratio": found.ladder[solved]},
        column("temperature", found.temperatures[water], "temperature"),
        column("pressure", dial[solved], "pressure"),
        column("today_ratio", found.ratios[1, 0], "factor"),
        column("end_ratio", found.ratios[2, 0], "factor"),
        column("out_ratio", end, "factor"),
        column("design_flow", found.design_flow, "flow"),
        *(column(f"product_{age.split()[0]}", product[n], "flow")
          for n, age in enumerate(AGES)),
    )  # fmt: skip


@style.quiet
def draw(data: Table):
    """Draw product by age, and the pressure that keeps the design flow."""
    figure, (left, right) = style.new_figure("Membranes over their life, cold and warm", 8.6, 4.2,
                                             1, 2, width_ratios=(1.0, 1.6))  # fmt: skip
    for number, warmth in enumerate(kinds(data, "temperature")):
        rows = select(data, "temperature", warmth)
        look = style.line(number)
        products = [pick(rows, f"product_{age.split()[0]}")[0] for age in AGES]
        left.plot(range(len(AGES)), products, marker=style.MARKERS[number], **look)
        ratio, pressure = pick(rows, "permeability_ratio"), pick(rows, "pressure")
        loss = 100 * (1 - ratio)
        right.plot(loss, pressure, label=f"water of {warmth:g} °C", **look)
        for name, mark in (("today_ratio", style.RING), ("out_ratio", OUT)):
            place = float(pick(rows, name)[0])
            if place >= ratio.min():
                height = np.interp(np.log(1 / place), np.log(1 / ratio), pressure)
                right.plot([100 * (1 - place)], [height], **mark)
    left.axhline(pick(data, "design_flow")[0], **style.LIMIT)
    left.set_xticks(range(len(AGES)), AGES)
    left.set(ylabel=style.label("Product at the case's setting", "flow"), ylim=(0, None),
             xlim=(-0.3, len(AGES) - 0.7))  # fmt: skip
    end = 100 * (1 - float(pick(data, "end_ratio")[0]))
    right.axvline(end, color=style.INK, linewidth=0.7, linestyle=style.LINES[2],
                  label="end of life")  # fmt: skip
    right.plot([], [], label="design flow", **style.LIMIT)
    right.plot([], [], label="today", **style.RING)
    right.plot([], [], label="something runs out", **OUT)
    right.set(xlabel="Water permeability lost against new [%]",
              ylabel=style.label("Pressure for the design flow", "pressure"))  # fmt: skip
    style.legend_below(figure, right, 4)
    return figure


OUT = {"marker": "X", "markersize": 9, "color": style.INK, "linestyle": "none", "zorder": 6}
