"""From switching on to product under its limit of salt

Membranes left with salt water give salt at first, which goes to waste for minutes; flushed with
permeate at the stop, the same ones start with good water.

Salt of the product at its valve on a logarithmic scale, and its flow; left flushed, right left
standing, all else as in the case. Hatched: to waste.

Sources: levenspiel
"""

from __future__ import annotations

import dataclasses

import numpy as np

from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, has, pick, select, stacked, table
from treatsim.running.ro_passes import membranes_of
from treatsim.running.ro_start import MembraneStart, solve_membranes

CASES = ("sea",)
POINTS = 301  # of each part
LEAD = 60.0  # s, from the last valve's opening to the end
PARTS = {"flushed": "flushed with permeate", "standing": "left with salt water"}


def applies(case) -> bool:
    """Whether the case tells the start of membranes, its limit and its valve."""
    start = case.sections.get("startup")
    units = case.flowsheet().units.values()
    known = start is not None and start.salt_limit is not None and start.opens_when is not None
    return known and any(unit.semipermeable for unit in units)


def data(case) -> Table:
    """Return salt and flow of the product over time, of both ways to leave the membranes."""
    train = membranes_of(case)
    found = {
        part: solve_membranes(
            train._replace(start=dataclasses.replace(train.start, membranes_at_start=part))
        )
        for part in PARTS
    }
    opened = [run.opens for run in found.values() if np.isfinite(run.opens)]
    end = max(opened) + LEAD if opened else max(run.end for run in found.values()) / 2
    time = np.linspace(0.0, end, POINTS)
    return stacked(*(_part(run, part, time) for part, run in found.items()))


def _part(run: MembraneStart, name: str, time) -> Table:
    flow = run.flow(time)
    marks = {"met": run.met, "opens": run.opens}
    return table(
        {"part": np.full(time.size, name)},
        column("time", time, "time"),
        column("salt", run.salinity(time), "concentration"),
        column("salt_limit", run.train.start.salt_limit, "concentration"),
        column("flow", flow, "flow"),
        column("flow_product", flow * run.valve.at(time), "flow"),
        *(column(word, moment, "time") for word, moment in marks.items() if np.isfinite(moment)),
    )


WORDS = {"met": "under its limit", "opens": "valve opens"}


@style.quiet
def draw(data: Table):
    """Draw salt above flow, flushed on the left and left standing on the right."""
    figure, axes = style.new_figure(
        "From switching on to product under its limit of salt", 9.2, 5.0, 2, 2, sharex="col",
        sharey="row",
    )  # fmt: skip
    for number, (part, words) in enumerate(PARTS.items()):
        _column(axes[:, number], select(data, "part", part), words)
    axes[0, 0].set_ylabel(style.label("Salt of the product", "concentration"))
    axes[1, 0].set_ylabel(style.label("Flow", "flow"))
    for axis in axes[1]:
        axis.set_xlabel(style.label("Time from switching on", "time"))
    axes[0, 0].legend(loc="upper right")
    axes[1, 0].legend(loc="center right")
    return figure


def _column(axes, rows: Table, words: str) -> None:
    salt, flow = axes
    time = pick(rows, "time")
    salt.set_yscale("log")
    style.plain_log(salt.yaxis)
    salt.plot(time, pick(rows, "salt"), label="at the valve", **style.line(0))
    salt.plot(time, pick(rows, "salt_limit"), label="limit", **style.LIMIT)
    made, product = pick(rows, "flow"), pick(rows, "flow_product")
    flow.plot(time, made, label="made", **style.line(0))
    flow.plot(time, product, label="to the product", **style.line(1))
    flow.fill_between(time, product, made, facecolor="none", hatch="///", linewidth=0,
                      label="to waste")  # fmt: skip
    salt.set_xlim(0.0, float(time[-1]))
    salt.set_title(words, pad=24)
    for number, word in enumerate(word for word in WORDS if has(rows, word)):
        moment = float(pick(rows, word)[0])
        for axis in axes:
            axis.axvline(moment, color=style.INK, linewidth=0.7, linestyle=(0, (2, 2)))
        salt.annotate(
            f"{WORDS[word]}, {moment:.0f} s",
            (moment, 1.03 + 0.07 * number),
            xycoords=("data", "axes fraction"),
            ha="right" if moment > 0.6 * time[-1] else "left",
            fontsize=7.5,
        )
