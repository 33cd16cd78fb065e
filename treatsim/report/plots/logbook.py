"""Membranes, filters, pumps and lamps over a log

What wears shows once readings are normalised, with the day on which people act and what was noted.

Each point is a reading, or the median of several, over its own start; the band holds 95 % by the
stated errors of the instruments. The line is the median slope since the last sudden step, the
broken line the level at which people act. Filled points come from inverting the model, open ones
from the standard's formulas.

Sources: astm_d4516, computed with the vessel model
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table
from treatsim.running.logbook import Logbook, study
from treatsim.running.records import UnitLog
from treatsim.running.trends import Trend

CASES = ("worn_well", "river_log")
MOST_POINTS = 110  # of one series
# panel -> series by the model, by the standard
PAIRS = {
    "flow_normalised": "flow_standard",
    "passage_normalised": "passage_standard",
}
HIDDEN = {*PAIRS.values(), "flow", "temperature", "pressure_drop", "head"}
TITLES = {
    "water": "water permeability",
    "salt": "salt permeability",
    "drop": "pressure drop of the feed channel",
    "flow_normalised": "normalised permeate flow",
    "passage_normalised": "normalised salt passage",
    "resistance": "filter resistance",
    "shutoff_head": "shut-off head of the pump",
    "light": "light in the water of the day",
}
BACK = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.6}  # of a note
DAY = 24.0  # h


def readings_of(case) -> Path | None:
    """Return the log that a case names, if it is there."""
    section = case.sections.get("logbook")
    if section is None or not section.readings:
        return None
    path = Path(case.path).parent / section.readings
    return path if path.is_file() else None


def applies(case) -> bool:
    """Whether the case names a log."""
    return readings_of(case) is not None


def data(case) -> Table:
    """Return the log of a case as its picture needs it."""
    path = readings_of(case)
    return data_of(study(case, str(path)))


def data_of(book: Logbook) -> Table:
    """Return readings, trends, limits and events of every panel."""
    parts = []
    for unit in book.units:
        shown = [key for key in unit.trends if key not in HIDDEN]
        for key in shown:
            panel = f"{unit.unit}: {TITLES[key]}"
            parts += _panel(panel, unit, key)
            for time, text in book.readings.events:
                parts.append(_rows(panel, "event", time, 1.0, 1.0, 1.0, text))
    return stacked(*parts)


def _rows(panel: str, what: str, time, value, low, high, text: str = "-") -> Table:
    """Return rows of one sort."""
    return table(
        {"panel": np.array([panel])},
        {"what": np.array([what])},
        {"text": np.array([text])},
        column("time", time, "duration"),
        column("value", value, "factor"),
        column("low", low, "factor"),
        column("high", high, "factor"),
    )


def _panel(panel: str, unit: UnitLog, key: str) -> list[Table]:
    trend, one = unit.trends[key], unit.series[key]
    start = float(np.exp(trend.start))
    relative = np.nan_to_num(one.error / one.values)
    time, value, spread = _thin(unit.time, one.values / start, 1.96 * relative)
    parts = [_rows(panel, "model", time, value, value * (1 - spread), value * (1 + spread))]
    if other := PAIRS.get(key):
        series = unit.series[other]
        good = np.isfinite(series.values)
        own = float(np.exp(unit.trends[other].start)) if other in unit.trends else start
        time, value, _ = _thin(unit.time[good], series.values[good] / own, 0 * unit.time[good])
        parts.append(_rows(panel, "standard", time, value, value, value))
    parts += _trend(panel, unit, trend)
    for trigger in unit.triggers:
        if TRIGGERED.get(key, "") in trigger.words and key in TRIGGERED:
            limit = 1 + trigger.limit
            parts.append(_rows(panel, "limit", unit.time[[0, -1]], limit, limit, limit))
            if trigger.state == "reached" and trigger.when is not None:
                parts.append(_rows(panel, "reached", trigger.when, limit, limit, limit))
    return parts


# panel -> words of the trigger that belongs to it
TRIGGERED = {
    "drop": "pressure drop",
    "flow_normalised": "permeate flow",
    "passage_normalised": "salt passage",
    "resistance": "resistance",
    "shutoff_head": "shut-off head",
    "light": "light",
}


def _thin(time, *columns):
    """Gather readings into medians where they are many."""
    groups = np.array_split(np.arange(time.size), min(MOST_POINTS, time.size))
    return tuple(np.array([np.median(v[g]) for g in groups]) for v in (time, *columns))


def _trend(panel: str, unit: UnitLog, trend: Trend) -> list[Table]:
    found = [_rows(panel, "step", unit.time[step.place], 1.0, 1.0, 1.0) for step in trend.steps]
    if trend.slope is None:
        return found
    begin = unit.time[trend.steps[-1].place] if trend.steps else unit.time[0]
    along = np.linspace(begin, unit.time[-1], 25)  # straight in the logarithm
    value = np.exp(trend.now + trend.slope.slope * (along - along[-1]))
    return [*found, _rows(panel, "trend", along, value, value, value)]


@style.quiet
def draw(data: Table):
    """Draw a panel for each quantity, one above the other in two columns."""
    panels = kinds(data, "panel")
    rows = -(-len(panels) // 2)
    figure, axes = style.new_figure(
        "What the log says, over its own start", 8.6, 1.1 + 1.9 * rows, rows, 2, squeeze=False,
        sharex=True,
    )  # fmt: skip
    flat = axes.ravel()
    for axis, panel in zip(flat, panels, strict=False):
        _draw_panel(axis, select(data, "panel", panel))
        axis.set_title(panel)
    for axis in flat[len(panels) :]:
        axis.set_axis_off()
    for axis in flat[max(len(panels) - 2, 0) : len(panels)]:
        axis.set_xlabel("Time of the log [d]")
        axis.tick_params(labelbottom=True)
    for axis in axes[:, 0]:
        axis.set_ylabel("Over the start")
    _legend(figure, flat[0], panels, data)
    return figure


def _legend(figure, axis, panels, data: Table) -> None:
    """Name every sort of mark once, whichever panel has it."""
    here = set(kinds(select(data, "panel", panels[0]), "what"))
    for what in kinds(data, "what"):
        if what not in here:
            axis.plot([], [], label=LABELS[what], **MARKS[what])
    style.legend_below(figure, axis, 4)


LABELS = {
    "model": "by the model, 95 % of the instruments",
    "standard": "by the standard's formulas",
    "trend": "trend since the last step",
    "limit": "acted on at this level",
    "reached": "reached",
    "step": "sudden step",
    "event": "noted in the log",
}
MARKS: dict[str, dict] = {
    "model": {"marker": "o", "markersize": 2.6, "linestyle": "none", "color": style.COLOURS[0]},
    "standard": {"marker": "s", "markersize": 2.8, "linestyle": "none", "markerfacecolor": "white",
                 "markeredgecolor": style.COLOURS[1], "markeredgewidth": 0.7},
    "trend": {"color": style.INK, "linewidth": 1.8},
    "limit": {**style.LIMIT, "linewidth": 1.1},
    "reached": style.RING,
    "step": {"color": style.COLOURS[5], "linestyle": style.LINES[2], "linewidth": 1.3},
    "event": {"color": style.COLOURS[4], "linestyle": style.LINES[4], "linewidth": 0.9},
}  # fmt: skip


def _draw_panel(axis, rows: Table) -> None:
    for what in kinds(rows, "what"):
        part = select(rows, "what", what)
        time, value = pick(part, "time") / DAY, pick(part, "value")
        if what in ("step", "event"):
            for number, at in enumerate(time):
                axis.axvline(at, label=LABELS[what] if number == 0 else None, **MARKS[what])
            continue
        if what == "model":
            low, high = pick(part, "low"), pick(part, "high")
            if np.any(high > low):
                axis.fill_between(time, low, high, color=style.WASH, linewidth=0)
        axis.plot(time, value, label=LABELS[what], **MARKS[what])
    for at, text in zip(
        pick(select(rows, "what", "event"), "time") / DAY,
        pick(select(rows, "what", "event"), "text").tolist(),
        strict=True,
    ):
        axis.text(at, 0.98, f" {text}", transform=axis.get_xaxis_transform(), fontsize=6, va="top",
                  rotation=90, ha="left", color=style.COLOURS[4],
                  bbox=BACK)  # fmt: skip
