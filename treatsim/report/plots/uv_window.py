"""Operating window of the UV reactor

A setting is a point of flow and clarity: left of a border its credit holds, and as the lamp ages
every border walks towards smaller flows.

Regions are the log credits of the stepped dose table for the lamp as stated, in water that meets
its turbidity limit; lines are the border of the wanted credit at other lamp ages.

Sources: cfr_141_720, bolton_2000, liu_2004
"""

from __future__ import annotations

import numpy as np

from treatsim.correlations.uv.dose_table import DOSE_TABLE, LOG_CREDITS
from treatsim.operations.uv_target import stand_in
from treatsim.report.plots import style
from treatsim.report.plots.reactor import Reactor, applies, reactor, transmittance, water
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table

CASES = ("river",)
ABSORPTION = -100 * np.log(np.linspace(0.60, 0.98, 77))  # 1/m
AGES = (1.0, 0.9, 0.7)  # output over new, beside the lamp as stated
USUAL_LOG = 3.0  # wanted if the case states no target

__all__ = ["CASES", "applies", "data", "draw"]


def data(case) -> Table:
    """Return the largest flow by transmittance, lamp age and log credit."""
    item = reactor(case)
    stated = float(item.unit.parameters.ageing_factor)
    wanted = float((item.unit.parameters.target or {}).get("log", USUAL_LOG))
    borders = _borders(item)
    last = LOG_CREDITS.index(wanted) if wanted in LOG_CREDITS else LOG_CREDITS.index(USUAL_LOG)
    # every dose is proportional to light over flow, so a border moves in proportion to the age
    parts = [_rows(item, stated, credit, borders[:, n]) for n, credit in enumerate(LOG_CREDITS)]
    parts += [
        _rows(item, age, LOG_CREDITS[last], borders[:, last] * age / stated)
        for age in AGES
        if age != stated
    ]
    return table(stacked(*parts), column("log_wanted", LOG_CREDITS[last], "log_reduction"))


def _rows(item: Reactor, age: float, credit: float, border) -> Table:
    return table(
        {"organism": np.array(_class_of(item).replace("_", " "))},
        column("ageing_factor", age, "factor"),
        column("log_credit", credit, "log_reduction"),
        column("uv_transmittance", transmittance(ABSORPTION), "uv_transmittance"),
        column("largest_flow", border, "flow"),
        column("ageing_stated", item.unit.parameters.ageing_factor, "factor"),
        column("operating_flow", item.flow, "flow"),
        column("operating_transmittance", transmittance(item.absorption), "uv_transmittance"),
    )


def _class_of(item: Reactor) -> str:
    """Return the class of the dose table: the target's own, else the strictest protozoan."""
    organism = (item.unit.parameters.target or {}).get("organism")
    return organism if organism in DOSE_TABLE else "cryptosporidium"


def _borders(item: Reactor) -> np.ndarray:
    """Return the largest flow at each absorption and credit, for the lamp as stated. [m3/s]"""
    steps, organism = DOSE_TABLE[_class_of(item)], stand_in(_class_of(item))
    absorption = np.repeat(ABSORPTION, len(steps))
    points = absorption.size
    inlet = water(item, np.full(points, item.flow), absorption)
    required = np.tile(steps, ABSORPTION.size)
    largest = item.unit.largest_flow(inlet, required, points, organism)
    return largest.reshape(ABSORPTION.size, len(steps))


@style.quiet
def draw(data: Table):
    """Draw flow across, transmittance up, credits as regions, ages as lines."""
    figure, axis = style.new_figure("Operating window of the UV reactor", 6.8, 4.9)
    stated, wanted = (float(pick(data, n)[0]) for n in ("ageing_stated", "log_wanted"))
    now = float(pick(data, "operating_flow")[0])
    height = pick(data, "uv_transmittance")
    axis.set(
        xlim=(0, 2.6 * now),
        ylim=(height.min(), height.max()),
        xlabel=style.label("Flow", "flow"),
        ylabel=style.label("Transmittance per cm", "uv_transmittance"),
    )
    axis.grid(visible=False)
    _regions(axis, select(data, "ageing_factor", stated))
    rows = select(data, "log_credit", wanted)
    organism = pick(data, "organism")[0]
    for number, age in enumerate(sorted(kinds(rows, "ageing_factor"), reverse=True), start=1):
        part = select(rows, "ageing_factor", age)
        look = style.line(number)
        words = f"{wanted:g} log of {organism}, lamp at {100 * age:.0f} %"
        if age == stated:
            look, words = {"color": style.INK, "linewidth": 2.4}, f"{words}, as stated"
        axis.plot(pick(part, "largest_flow"), pick(part, "uv_transmittance"), label=words, **look)
    axis.plot([now], [pick(data, "operating_transmittance")[0]], label="this case", **style.RING)
    style.legend_below(figure, axis, 2)
    return figure


def _regions(axis, rows: Table) -> None:
    """Shade each credit darker than the one below, and name it where it meets the frame."""
    for number, credit in enumerate(kinds(rows, "log_credit")):
        part = select(rows, "log_credit", credit)
        flow, height = pick(part, "largest_flow"), pick(part, "uv_transmittance")
        axis.fill_betweenx(
            height,
            0,
            flow,
            color=str(0.94 - 0.045 * number),
            linewidth=0,
            zorder=0.5 + 0.01 * number,
        )
        axis.plot(flow, height, color="white", linewidth=0.8, zorder=0.7)
        _name(axis, f"{credit:g} log", flow, height)


def _name(axis, words: str, flow, height) -> None:
    """Write the credit left of its border, where that leaves the frame: at the right, or above."""
    right, (bottom, top) = axis.get_xlim()[1], axis.get_ylim()
    leaves = float(np.interp(right, flow, height))
    if leaves <= bottom:
        return
    at_right = leaves < top - 3
    place = (right, leaves) if at_right else (float(np.interp(top - 2, height, flow)), top - 2)
    axis.annotate(
        words,
        place,
        xytext=(-4, 3) if at_right else (-13, 0),
        ha="right",
        va="bottom" if at_right else "center",
        textcoords="offset points",
        fontsize=7.5,
    )
