"""UV dose against flow

The dose falls with the flow and with every shade of the water: where the credited line meets the
limit lies the largest flow, and the band shows what better proof of the mixing could add.

Each panel is one absorption of the water: twice that of the case, as in the case, half of it. Every
mixing assumption alone gives one line, over the validation factor; the lowest is credited.

Sources: bolton_2000, liu_2004, cfr_141_720
"""

from __future__ import annotations

import numpy as np

from treatsim.operations.uv_reactor import MIXINGS
from treatsim.report.plots import style
from treatsim.report.plots.reactor import WORDS, applies, credited, reactor, transmittance
from treatsim.report.plots.table import Table, column, has, kinds, pick, select, table
from treatsim.safety.parts.dose import required_dose

CASES = ("river",)
FLOWS = np.geomspace(0.25, 2.5, 41)  # of the operating flow
SHADES = np.array([2.0, 1.0, 0.5])  # of the case's absorption

__all__ = ["CASES", "applies", "data", "draw"]


def data(case) -> Table:
    """Return the dose that could be credited, by absorption, flow and mixing."""
    item = reactor(case)
    absorption, flow = (
        a.ravel() for a in np.meshgrid(item.absorption * SHADES, item.flow * FLOWS, indexing="ij")
    )
    doses = credited(item, flow, absorption)
    columns = [
        column("uv_transmittance", transmittance(absorption), "uv_transmittance"),
        column("flow", flow, "flow"),
        *(column(f"dose.{name}", value, "dose") for name, value in doses.items()),
        column("operating_flow", item.flow, "flow"),
    ]
    if item.unit.parameters.target is not None:
        columns.append(
            column("dose_required", required_dose(item.unit.parameters.target)[0], "dose")
        )
    return table(*columns)


@style.quiet
def draw(data: Table):
    """Draw one panel per absorption."""
    shades = kinds(data, "uv_transmittance")
    figure, axes = style.new_figure("UV dose against flow", 9.2, 3.8, 1, len(shades), sharey=True)
    for axis, shade in zip(axes, shades, strict=True):
        _panel(axis, select(data, "uv_transmittance", shade))
        axis.set_title(
            f"transmittance {shade:.0f} % per cm" + (" (this case)" if shade == shades[1] else "")
        )
        axis.set_xlabel(style.label("Flow", "flow"))
    axes[0].set_ylabel(style.label("Dose that could be credited", "dose"))
    style.legend_below(figure, axes[0], 6)
    return figure


def _panel(axis, rows: Table) -> None:
    flow = pick(rows, "flow")
    doses = np.array([pick(rows, f"dose.{name}") for name in MIXINGS])
    axis.fill_between(
        flow,
        doses.min(axis=0),
        doses.max(axis=0),
        color=style.WASH,
        linewidth=0,
        label="band of mixing",
    )
    for number, name in enumerate(MIXINGS):
        axis.plot(flow, doses[number], label=WORDS[name], **style.line(number))
    if has(rows, "dose_required"):
        axis.plot(flow, pick(rows, "dose_required"), label="required", **style.LIMIT)
    now = float(pick(rows, "operating_flow")[0])
    axis.plot([now], [np.interp(now, flow, doses.min(axis=0))], label="this flow", **style.RING)
    axis.set_xscale("log")
    axis.set_yscale("log")
    style.plain_log(axis.xaxis)
    style.plain_log(axis.yaxis)
