"""Pump curve and system curve

The flow is where the pump's curve meets what the line asks for; as the filters load the crossing
walks to the left, and the dial walks it back.

Curves of the pump at several speeds, and the head that everything else takes: with new filter
elements, as loaded in the case, and with elements at the end of their life.

Sources: churchill_1977, hermia_1982
"""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.flowsheet.recycle import run
from treatsim.operations.outcome import at
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table
from treatsim.water.properties import GRAVITY

CASES = ("river",)
SPEEDS = (0.6, 0.8, 1.0)  # beside the stated one
LOADS = {"new elements": 0.0, "as in the case": None, "end of life": 1.0}  # of the capacity
POINTS = 41
PUMP, FILTER = "feed_pump", "cartridge_filter"


def applies(case) -> bool:
    """Whether one pump alone moves the water of one source through one line."""
    kinds_of = list(case.kinds.values())
    sheet = case.flowsheet()
    return (
        kinds_of.count(PUMP) == 1
        and len(sheet.wiring.sources) == 1
        and [u.field for u in sheet.unknowns()] == [""]
        and len(sheet.wiring.ends) == 1
        and not sheet.tears
    )


def data(case) -> Table:
    """Return head over flow of the pump, of the system and where they meet."""
    pump = next(name for name, kind in case.kinds.items() if kind == PUMP)
    unit = case.solve().sheet.units[pump]
    stated = float(at(unit.parameters.speed, 0))
    speeds = sorted({*SPEEDS, stated})
    most = 1.02 * float(at(unit.flow_ceiling(), 0)) / 1.5 * max(speeds) / stated
    flow = np.linspace(most / 400, most, POINTS)
    parts = [
        _rows(
            "pump",
            f"{100 * speed:.0f} %",
            flow,
            _pump_head(unit.with_parameters(speed=speed), flow),
        )
        for speed in speeds
    ]
    for words, share in LOADS.items() if FILTER in case.kinds.values() else [("the line", None)]:
        loaded = _loaded(case, share)
        parts.append(_rows("system", words, flow, _system_head(case, loaded, pump, flow)))
        meeting = case.solve(loaded).streams[pump, "inlet"].flow
        head = _pump_head(unit, np.atleast_1d(meeting))
        parts.append(_rows("operating point", words, np.atleast_1d(meeting), head))
    return _above_zero(stacked(*parts))


def _rows(curve: str, setting: str, flow, head) -> Table:
    return table(
        {"curve": np.array(curve)},
        {"setting": np.array(setting)},
        column("flow", flow, "flow"),
        column("head", head, "head"),
    )


def _above_zero(data: Table) -> Table:
    rows = pick(data, "head") >= 0
    return {header: values[rows] for header, values in data.items()}


def _pump_head(unit: Any, flow):
    from treatsim.correlations.hydraulics.pump_curve import pump_head

    return pump_head(unit.curve, flow, unit.parameters.speed)


def _loaded(case, share: float | None) -> dict[str, np.ndarray]:
    """Return the loads of all filters at a share of their capacity; nothing for None."""
    if share is None:
        return {}
    return {
        f"{name}.captured_mass": np.array([share * case.parameters[name].capacity])
        for name, kind in case.kinds.items()
        if kind == FILTER and case.parameters[name].capacity is not None
    }


def _system_head(case, loads, pump: str, flow):
    """Return the head that everything but the pump takes at each flow. [m]"""
    sheet = case.flowsheet({name: np.full(flow.size, load[0]) for name, load in loads.items()})
    done = run(sheet, {sheet.wiring.sources[0]: flow}, {})
    end = done.streams[next(iter(sheet.wiring.ends.values()))]
    left = end.pressure / (end.density * GRAVITY)
    return _pump_head(sheet.units[pump], flow) - left


@style.quiet
def draw(data: Table):
    """Draw the family of pump curves and the system curves."""
    figure, axis = style.new_figure("Pump curve and system curve", 6.6, 4.4)
    pumps, systems = select(data, "curve", "pump"), select(data, "curve", "system")
    for setting in kinds(pumps, "setting"):
        rows = select(pumps, "setting", setting)
        flow, head = pick(rows, "flow"), pick(rows, "head")
        axis.plot(flow, head, color=style.INK, linewidth=1.0)
        axis.annotate(
            f"pump at {setting}",
            (flow[0], head[0]),
            xytext=(3, 4),
            textcoords="offset points",
            fontsize=7.5,
            zorder=5,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )
    top = pick(pumps, "head").max()
    for number, setting in enumerate(kinds(systems, "setting")):
        rows = select(systems, "setting", setting)
        axis.plot(
            pick(rows, "flow"), pick(rows, "head"), label=f"line, {setting}", **style.line(number)
        )
    points = select(data, "curve", "operating point")
    axis.plot(pick(points, "flow"), pick(points, "head"), label="operating points", **style.RING)
    axis.set(
        xlim=(0, None),
        ylim=(0, 1.12 * top),
        xlabel=style.label("Flow", "flow"),
        ylabel=style.label("Head", "head"),
    )
    style.legend_below(figure, axis, 4)
    return figure
