"""Saturation of each scale against recovery

What is left behind is what the recovery costs: each mineral grows towards its limit, and the first
to cross it sets how much water can be drawn, with an antiscalant or without.

Ion activity product over solubility product at the membrane, at the polarisation of the case's
vessel and with all salt left in the concentrate; a line ends where its activity model does. Limits
are common practice; the data sheet of the antiscalant decides.

Sources: parkhurst_appelo_2013
"""

from __future__ import annotations

import numpy as np

from treatsim.case_sections import analysis_of
from treatsim.errors import NoSolutionError
from treatsim.operations.outcome import at
from treatsim.report.plots import style, vessel
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table
from treatsim.water.phreeqc import PITZER
from treatsim.water.scaling import SCALES, saturation

CASES = ("brackish_well",)
RECOVERIES = np.append(np.linspace(0.0, 0.8, 17), (0.83, 0.86, 0.88, 0.9))
COLUMNS = 3
ION_ASSOCIATION_REACH = 1.0  # mol/kg ionic strength; common practice: somewhat above sea water

__all__ = ["CASES", "applies", "data", "draw"]


def applies(case) -> bool:
    """Whether there is a vessel, and ions known well enough to judge scale."""
    water = case.sections["water"]
    return vessel.applies(case) and water.ph is not None and water.kind in ("ions", "seawater")


def data(case) -> Table:
    """Return the saturation of each mineral, as far as its chemistry has an answer."""
    result = case.solve()
    name = vessel.name_of(case)
    analysis, feed = analysis_of(case.sections["water"]), result.streams[name, "feed"]
    polarisation = float(at(result.value(f"{name}.polarisation_max").value, 0))
    temperature = float(at(feed.temperature, 0))
    parts = []
    for recovery in RECOVERIES:
        try:
            found = saturation(
                analysis, 1.0 / (1.0 - recovery), temperature, polarisation=polarisation
            )
        except NoSolutionError:  # beyond what the activity model can follow
            break
        parts += [
            _row(scale, recovery, found.ratio(scale))
            for scale in found.indices
            if SCALES[scale].database == PITZER or found.ionic_strength <= ION_ASSOCIATION_REACH
        ]
    return table(
        stacked(*parts),
        column("polarisation", polarisation, "factor"),
        column("operating_recovery", at(result.value(f"{name}.recovery").value, 0), "fraction"),
    )


def _row(scale: str, recovery: float, ratio: float) -> Table:
    return table(
        {"scale": np.array([scale])},
        column("recovery", recovery, "fraction"),
        column("saturation", ratio, "factor"),
        column("limit", SCALES[scale].without, "factor"),
        column("limit_with_antiscalant", SCALES[scale].with_antiscalant, "factor"),
    )


@style.quiet
def draw(data: Table):
    """Draw one panel per mineral."""
    scales = kinds(data, "scale")
    rows = -(-len(scales) // COLUMNS)
    figure, axes = style.new_figure(
        "Saturation of each scale against recovery",
        8.6,
        1.0 + 2.3 * rows,
        rows,
        COLUMNS,
        sharex=True,
        squeeze=False,
    )
    for axis, scale in zip(axes.ravel(), scales, strict=False):
        _panel(axis, select(data, "scale", scale))
        axis.set_title(scale)
    for axis in axes.ravel()[len(scales) :]:
        axis.set_axis_off()
    for axis in axes.ravel()[max(len(scales) - COLUMNS, 0) : len(scales)]:
        axis.set_xlabel(style.label("Recovery", "fraction"))
        axis.tick_params(labelbottom=True)
    for axis in axes[:, 0]:
        axis.set_ylabel("Activity product\nover solubility")
    style.legend_below(figure, axes[0, 0], 4)
    return figure


def _panel(axis, rows: Table) -> None:
    recovery, ratio = pick(rows, "recovery"), pick(rows, "saturation")
    axis.plot(recovery, ratio, label="at the membrane", **style.line(0))
    for name, words, line in (
        ("limit", "usual limit", style.LINES[1]),
        ("limit_with_antiscalant", "with antiscalant", style.LINES[2]),
    ):
        axis.axhline(
            pick(rows, name)[0], label=words, **style.LIMIT | {"linestyle": line, "linewidth": 1.1}
        )
    now = float(pick(rows, "operating_recovery")[0])
    if recovery.min() <= now <= recovery.max():
        axis.plot(
            [now],
            [np.exp(np.interp(now, recovery, np.log(ratio)))],
            label="this case",
            **style.RING,
        )
    axis.set_yscale("log")
    style.plain_log(axis.yaxis)
