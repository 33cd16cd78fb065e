"""Product, quality and energy of reverse osmosis

More pressure gives more and purer water until a limit of the element is crossed; less feed saves
energy until the recovery does the same.

Left: the pressure is turned, the feed flow stays. Right: the feed flow is turned, the pressure
stays. Bars below show where a limit is broken, those on what is drunk among them; salt above the
dashed line is tasted. Nothing is drawn where the case has no answer.

Sources: schock_miquel_1987, who_gdwq_2022
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from treatsim.operations.outcome import at
from treatsim.report.plots import style, vessel
from treatsim.report.plots.table import Table, column, pick, select, stacked, table
from treatsim.safety.guideline_values import guidelines
from treatsim.safety.verdict import NOT_MET, judge

CASES = ("sea",)
PUMP, INTAKE = "high_pressure_pump", "intake"
POINTS = 61
SPANS = {"pressure": (0.45, 1.4), "feed flow": (0.35, 2.0)}  # of the case's own
LIMIT = "limit: "  # head of the columns of broken limits

__all__ = ["CASES", "applies", "data", "draw"]


def applies(case) -> bool:
    """Whether a vessel's feed flow and pressure are both settings of the case."""
    return vessel.applies(case) and len(_settings(case)) == 2


def _settings(case) -> dict[str, str]:
    """Return the addresses of the one pressure and the one flow that set the vessel's feed."""
    pumps = [name for name, kind in case.kinds.items() if kind == PUMP]
    places = {
        "pressure": [(n, "outlet_pressure") for n in pumps],
        "feed flow": [(n, "flow") for n, kind in case.kinds.items() if kind in (PUMP, INTAKE)],
    }
    found = {}
    for setting, options in places.items():
        given = [(n, f) for n, f in options if getattr(case.parameters[n], f) is not None]
        if len(pumps) == len(given) == 1:
            found[setting] = ".".join(given[0])
    return found


def data(case) -> Table:
    """Return both sweeps, one row per solved point."""
    sweeps = [_sweep(case, setting, address) for setting, address in _settings(case).items()]
    heads = list(dict.fromkeys(head for sweep in sweeps for head in sweep))
    return stacked(
        *({h: sweep.get(h, np.zeros(len(sweep[heads[0]]))) for h in heads} for sweep in sweeps)
    )


def _sweep(case, setting: str, address: str) -> Table:
    """Return one sweep around the solved case; points without an answer are left out."""
    sheet, span = case.solve().sheet, SPANS[setting]

    def now_at(address: str) -> float:
        unit, _, field = address.partition(".")
        return float(at(getattr(sheet.units[unit].parameters, field), 0))

    now = now_at(address)
    settings = np.union1d(now * np.linspace(span[0], span[1], POINTS), now)
    # a hold would turn the setting back: what it found stays instead
    arrays = {hold.adjust: np.full(settings.size, now_at(hold.adjust)) for hold in case.holds}
    case = case.changed(holds=())
    result = case.solve(arrays | {address: settings})
    name, good = vessel.name_of(case), result.solved

    def here(address):
        return np.broadcast_to(result.value(address).value, good.shape)[good]

    tasted = guidelines()["taste", "dissolved_solids"].limit
    limits = {
        f"{LIMIT}{words}": broken[good].astype(float)
        for words, broken in _limits(case, result).items()
    }
    return table(
        {"setting": np.full(int(good.sum()), setting)},
        column("pressure", here(f"{name}.feed.pressure"), "pressure"),
        column("feed_flow", here(f"{name}.feed.flow"), "flow"),
        column("recovery", here(f"{name}.recovery"), "fraction"),
        column("permeate_flow", here(f"{name}.permeate.flow"), "flow"),
        column("permeate_concentration", here(f"{name}.permeate.concentration"), "concentration"),
        column("salt_tasted", np.full(int(good.sum()), tasted), "concentration"),
        column("energy", here("energy.specific"), "energy_per_volume"),
        {"stated": (settings == now)[good].astype(float)},
        limits,
    )


def _limits(case, result: Any) -> dict[str, np.ndarray]:
    """Return which points break each limit that any of them breaks, by its words."""
    verdict = judge(result)
    shape = (result.points,)
    found: dict[str, np.ndarray] = {}
    rows = [(c.name, np.broadcast_to(c.states, shape) == NOT_MET) for c in verdict.limits]
    rows += [
        (_short(f.text), np.broadcast_to(f.where, shape))
        for f in result.findings
        if "limit" in f.values and not f.blocks
    ]
    for words, broken in rows:
        found[words] = found.get(words, np.zeros(shape, bool)) | broken
    return {words: broken for words, broken in found.items() if np.any(broken & result.solved)}


def _short(text: str) -> str:
    """Return what a finding is about: its words before the first number."""
    words = text.partition(": ")[2] or text
    return re.split(r" of element \{| is \{| \{", words)[0].strip()


@style.quiet
def draw(data: Table):
    """Draw product, salt, energy and broken limits against pressure and recovery."""
    limits = [head for head in data if head.startswith(LIMIT)]
    figure, axes = style.new_figure(
        "Product, quality and energy of reverse osmosis",
        8.6,
        6.0 + 0.2 * len(limits),
        4,
        2,
        sharey="row",
        sharex="col",
        height_ratios=(1, 1, 1, max(0.13 * len(limits), 0.1)),
    )
    for column_of_axes, (setting, x, words) in zip(
        axes.T,
        (
            ("pressure", "pressure", style.label("Feed pressure", "pressure")),
            (
                "feed flow",
                "recovery",
                style.label("Recovery, by turning the feed flow", "fraction"),
            ),
        ),
        strict=True,
    ):
        rows = select(data, "setting", setting)
        _curves(column_of_axes[:3], rows, pick(rows, x))
        _broken(column_of_axes[3], rows, pick(rows, x), limits)
        column_of_axes[3].set_xlabel(words)
    for axis, (words, quantity) in zip(
        axes[:, 0],
        (
            ("Permeate", "flow"),
            ("Permeate salt", "concentration"),
            ("Energy", "energy_per_volume"),
        ),
        strict=False,
    ):
        axis.set_ylabel(style.label(words, quantity))
    for axis in axes[1:3, 0]:
        axis.set_yscale("log")
        style.plain_log(axis.yaxis)
    axes[0, 0].set_ylim(bottom=0)
    axes[3, 0].set_title("limits broken")
    style.legend_below(figure, axes[1, 0], 4)
    return figure


def _curves(axes, rows: Table, x) -> None:
    """Draw the three results; where a limit is broken the line is thin and dotted."""
    over = np.any(
        [rows[h] > 0 for h in rows if h.startswith(LIMIT)] or [np.zeros(x.size, bool)], axis=0
    )
    stated = pick(rows, "stated") > 0
    for axis, name in zip(axes, ("permeate_flow", "permeate_concentration", "energy"), strict=True):
        y = pick(rows, name)
        axis.plot(
            x,
            y,
            color=style.INK,
            linewidth=1.0,
            linestyle=style.LINES[2],
            label="a limit is broken",
        )
        axis.plot(
            x,
            np.ma.masked_where(over, y),
            color=style.COLOURS[0],
            linewidth=2.4,
            label="every judged limit kept",
        )
        axis.plot(x[stated], y[stated], label="this case", **style.RING)
    for tasted in np.unique(pick(rows, "salt_tasted")):
        axes[1].axhline(
            tasted, color=style.INK, linewidth=1.0, linestyle=style.LINES[1], zorder=1,
            label="salt is tasted above",
        )  # fmt: skip


def _broken(axis, rows: Table, x, limits: list[str]) -> None:
    """Draw a bar over every stretch in which a limit is broken."""
    for number, head in enumerate(limits):
        broken = rows[head] > 0
        axis.fill_between(
            x,
            number - 0.32,
            number + 0.32,
            where=broken,
            facecolor="#d5d9df",
            edgecolor=style.INK,
            linewidth=0.5,
            hatch="////",
        )
    axis.set_yticks(range(len(limits)), [head.removeprefix(LIMIT) for head in limits])
    axis.set_ylim(len(limits) - 0.5, -0.5)
    axis.grid(visible=False, axis="y")
    axis.tick_params(axis="y", length=0)
