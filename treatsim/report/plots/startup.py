"""From switching on, and when the lamp fails

What comes out before the dose is met goes to waste, and when the lamp fails the valve must be shut
before the last good water in the hold-up has passed it.

Left the start, right a failure of the lamp after the valve has opened. The dose is that behind the
light; the water reaches the valve when the hold-up has been pumped through. Hatched: to waste.

Sources: bolton_2000, liu_2004, cfr_141_720
"""

from __future__ import annotations

import numpy as np

from treatsim.constants import CELSIUS_20
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, has, pick, select, stacked, table
from treatsim.running.start_events import Event
from treatsim.running.startup import Startup, startup

CASES = ("river",)
POINTS = 241  # of each part
BEFORE, AFTER = 5.0, 25.0  # s, around the failure
LEAD = 60.0  # s, from the valve's opening to the failure and to the end of the left part
RTOL = 1e-10


def applies(case) -> bool:
    """Whether the case tells its start, and has one light whose chamber is known."""
    lit = [unit for unit in case.flowsheet().units.values() if unit.irradiates]
    known = case.sections.get("startup") is not None and len(lit) == 1
    return known and lit[0].exposure(CELSIUS_20) is not None


def data(case) -> Table:
    """Return flow, light, valve and dose over time, of the start and around a failure."""
    clean = startup(case, rtol=RTOL)
    opens = clean.opens if np.isfinite(clean.opens) else clean.run.end / 2
    failure = float(np.ceil(opens + 2 * LEAD))
    found = startup(case, [Event("lamp_failure", failure)], rtol=RTOL)
    return stacked(
        _part(found, "start", np.linspace(0.0, opens + LEAD, POINTS)),
        _part(found, "failure", np.linspace(failure - BEFORE, failure + AFTER, POINTS)),
    )


def _part(found: Startup, name: str, time) -> Table:
    run, train = found.run, found.train
    columns = [
        {"part": np.full(time.size, name)},
        column("time", time, "time"),
        column("dose", run.dose(time), "dose"),
        column("flow", run.flow(time), "flow"),
        column("flow_out", run.out(time), "flow"),
        column("flow_product", run.out(time) * run.valve.at(time), "flow"),
        column("light", run.plan.light(time), "fraction"),
        column("valve", run.valve.at(time), "fraction"),
    ]
    marks = {"filled": run.filled, "met": found.clean.met, "opens": found.opens}
    marks["failure"] = run.events[0].time
    marks["shuts"] = next(iter(run.valve.shuts), np.inf)
    marks["arrives"] = next((a for a, _ in run.under if a > run.events[0].time), np.inf)
    columns += [
        column(word, moment, "time") for word, moment in marks.items() if np.isfinite(moment)
    ]
    required = train.reactors[0].required
    if required is not None:
        columns.append(column("dose_required", required, "dose"))
    return table(*columns)


WORDS = {
    "filled": "water comes out",
    "met": "dose met at the valve",
    "opens": "valve opens",
    "failure": "lamp fails",
    "shuts": "valve begins to shut",
    "arrives": "water under dose at the valve",
}
OF_PART = {"start": ("filled", "met", "opens"), "failure": ("failure", "shuts", "arrives")}


@style.quiet
def draw(data: Table):
    """Draw dose, flow and light, the start on the left and the failure on the right."""
    figure, axes = style.new_figure(
        "From switching on, and when the lamp fails", 9.2, 6.4, 3, 2, sharex="col", sharey="row"
    )
    for number, part in enumerate(OF_PART):
        _column(axes[:, number], select(data, "part", part), OF_PART[part])
    axes[0, 0].set_ylabel(style.label("Dose", "dose"))
    axes[1, 0].set_ylabel(style.label("Flow", "flow"))
    axes[2, 0].set_ylabel(style.label("Light, valve", "fraction"))
    for axis in axes[2]:
        axis.set_xlabel(style.label("Time from switching on", "time"))
    axes[0, 0].legend(loc="upper left")
    axes[1, 0].legend(loc="upper left")
    axes[2, 0].legend(loc="center left", bbox_to_anchor=(0.17, 0.36))
    return figure


def _column(axes, rows: Table, marks) -> None:
    time = pick(rows, "time")
    dose, flow, light = axes
    dose.plot(time, pick(rows, "dose"), label="credited", **style.line(0))
    top = 1.3 * float(np.max(pick(rows, "dose")))
    if has(rows, "dose_required"):
        asked = pick(rows, "dose_required")
        dose.plot(time, asked, label="required", **style.LIMIT)
        top = max(top, 1.6 * float(asked[0]))
    dose.set_ylim(0.0, top)
    out, product = pick(rows, "flow_out"), pick(rows, "flow_product")
    flow.plot(time, pick(rows, "flow"), label="through the pump", **style.line(0))
    flow.plot(time, product, label="to the product", **style.line(1))
    flow.fill_between(time, product, out, facecolor="none", hatch="///", linewidth=0,
                      label="to waste")  # fmt: skip
    light.plot(time, pick(rows, "light"), label="light of the lamp", **style.line(0))
    light.plot(time, pick(rows, "valve"), label="product valve open", **style.line(1))
    dose.set_xlim(float(time[0]), float(time[-1]))
    for number, word in enumerate(word for word in marks if has(rows, word)):
        moment = float(pick(rows, word)[0])
        for axis in axes:
            axis.axvline(moment, color=style.INK, linewidth=0.7, linestyle=(0, (2, 2)))
        dose.annotate(
            f"{WORDS[word]}, {moment:.0f} s",
            (moment, 1.03 + 0.085 * number),
            xycoords=("data", "axes fraction"),
            ha="right" if moment > 0.6 * time[-1] + 0.4 * time[0] else "left",
            fontsize=7.5,
        )
