"""Flowsheet with its operating point

Every unit of the train in the order of the water, with the flow and the pressure that the solver
found on every link; where the salt changes along the way, it is written too.

A box is a unit with its kind below its name; rounded ends are where water comes from or leaves.

Sources: computed at the settings of the case
"""

from __future__ import annotations

import numpy as np

from treatsim import quantities
from treatsim.operations.outcome import at
from treatsim.report.plots import style
from treatsim.report.plots.layout import BOX, TALL, Link, Route, arrange
from treatsim.report.plots.table import Table, column, has, pick, table

CASES = ("river", "brackish_well", "sea_recovery")
SOURCE = "source water"
SALT_CHANGES = 0.01  # relative, from which on the salt is written
MARGIN = 0.2  # inches around the drawing
FULL = 15  # letters that fill a box at full size
HEAD = 0.6  # inches for title and caption


def applies(case) -> bool:
    """Whether there is a flowsheet: always."""
    return bool(case.links)


def data(case) -> Table:
    """Return one row per link: what it joins, and its flow and pressure."""
    result = case.solve()
    wiring, tears = result.sheet.wiring, result.sheet.tears
    rows = [
        (
            SOURCE,
            "",
            name,
            case.kinds[name],
            result.streams[name, result.sheet.units[name].inlets[0]],
            False,
        )
        for name in wiring.sources
    ]
    for name in result.sheet.order:
        for port in result.sheet.units[name].outlets:
            to = wiring.goes[name, port]
            rows.append(
                (
                    name,
                    case.kinds[name],
                    to[0],
                    case.kinds[to[0]] if len(to) == 2 else "",
                    result.streams[name, port],
                    to in tears,
                )
            )
    salt = np.array([float(at(row[4].concentration, 0)) for row in rows])
    columns = [
        {
            key: np.array([row[i] for row in rows])
            for i, key in enumerate(("from", "from_kind", "to", "to_kind"))
        },
        {"returns": np.array([float(row[5]) for row in rows])},
        column("flow", [float(at(row[4].flow, 0)) for row in rows], "flow"),
        column("pressure", [float(at(row[4].pressure, 0)) for row in rows], "pressure"),
    ]
    if np.ptp(salt) > SALT_CHANGES * salt.max():
        columns.append(column("concentration", salt, "concentration"))
    return table(*columns)


@style.quiet
def draw(data: Table):
    """Draw boxes and links."""
    names = [pick(data, key).tolist() for key in ("from", "to")]
    kinds_of = dict(
        zip(
            names[0] + names[1],
            pick(data, "from_kind").tolist() + pick(data, "to_kind").tolist(),
            strict=True,
        )
    )
    links = [
        Link(a, b, bool(back)) for a, b, back in zip(*names, pick(data, "returns"), strict=True)
    ]
    layout = arrange(links)
    width, height = layout.width + 2 * MARGIN, layout.height + 2 * MARGIN
    figure, axis = style.new_figure("Flowsheet with its operating point", width, height + HEAD)
    figure.set_layout_engine("none")
    axis.set_position((0.0, 0.32 / (height + HEAD), 1.0, height / (height + HEAD)))
    axis.set(xlim=(-MARGIN, layout.width + MARGIN), ylim=(layout.height + MARGIN, -MARGIN))
    axis.set_axis_off()
    for number, route in enumerate(_apart(layout.routes)):
        _link(axis, route, _words(data, number), dashed=links[number].back)
    for name, (x, y) in layout.boxes.items():
        _box(axis, name.replace("_", " "), kinds_of[name].replace("_", " "), x, y)
    return figure


NEAR = (0.6, 0.2)  # inches, across and down, in which the words of two links would meet


def _apart(routes: list[Route]) -> list[Route]:
    """Move the words of a link that leaves where another one does beside its first fall."""
    found: list[Route] = []
    for route in routes:
        near = [one for one in found if np.all(np.abs(np.subtract(one.words, route.words)) < NEAR)]
        if near and len(route.corners) > 2:
            (x, top), (_, foot) = route.corners[1:3]
            route = route._replace(words=(x + 0.06, top + 0.25 * (foot - top)), upright=True)
        found.append(route)
    return found


def _words(data: Table, row: int) -> list[str]:
    """Return what is written on a link: numbers with the unit of the column's head."""
    texts = []
    for name in ("flow", "pressure", "concentration"):
        if has(data, name):
            unit = quantities.shown(name)[0]
            number = float(pick(data, name)[row])
            texts.append(f"{_plain(number)} {style.pretty(unit)}")
    return texts


def _plain(number: float) -> str:
    """Return three digits without an exponent; round-off around zero is zero."""
    number = round(number, 3)
    return (
        "0"
        if number == 0
        else np.format_float_positional(number, precision=3, fractional=False, trim="-")
    )


def _link(axis, route: Route, words: list[str], dashed: bool) -> None:
    x, y = zip(*route.corners, strict=True)
    axis.plot(
        x,
        y,
        color=style.INK,
        linewidth=1.2,
        solid_joinstyle="round",
        linestyle=style.LINES[1] if dashed else "-",
    )
    end = route.corners[-1]
    axis.annotate(
        "",
        end,
        (end[0] - 0.12, end[1]),
        arrowprops={
            "arrowstyle": "-|>",
            "color": style.INK,
            "shrinkA": 0,
            "shrinkB": 0,
            "mutation_scale": 9,
        },
    )
    place, level = route.words
    if route.upright:
        axis.text(place, level, ", ".join(words), ha="left", va="center", fontsize=7)
        return
    axis.text(place, level - 0.05, words[0], ha="center", va="bottom", fontsize=7)
    axis.text(place, level + 0.05, "\n".join(words[1:]), ha="center", va="top", fontsize=7)


def _box(axis, name: str, kind: str, x: float, y: float) -> None:
    from matplotlib.patches import FancyBboxPatch

    round_ = "round,pad=0,rounding_size=0.22" if not kind else "round,pad=0,rounding_size=0.03"
    axis.add_patch(
        FancyBboxPatch(
            (x - BOX / 2, y - TALL / 2),
            BOX,
            TALL,
            boxstyle=round_,
            linewidth=1.1,
            zorder=3,
            facecolor=style.WASH if not kind else "white",
            edgecolor=style.INK,
        )
    )
    size = min(8.5, 8.5 * FULL / len(name))
    if kind and kind != name:
        axis.text(x, y - 0.07, name, ha="center", va="center", fontsize=size, zorder=4)
        axis.text(
            x,
            y + 0.1,
            kind,
            ha="center",
            va="center",
            fontsize=6.8,
            zorder=4,
            color="#4b5563",
            style="italic",
        )
    else:
        axis.text(x, y, name, ha="center", va="center", fontsize=size, zorder=4)
