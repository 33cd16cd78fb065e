"""One quiet style for every plot: it must survive a black-and-white printer and colour-blind eyes.

Whatever colour tells, a line style, marker, hatch or word tells as well. Models are lines,
measurements are filled markers, an operating point is an open ring.
"""

from __future__ import annotations

import functools
import io
import re
import textwrap
from typing import Any

from treatsim.quantities import QUANTITIES, shown

INK = "#1f2933"
FAINT = "#c9ced6"
WASH = "#e4e8ed"  # ground of bands
COLOURS = ("#17375e", "#c8641b", "#2f8f83", "#8a5a9e", "#6b7280", "#a3324a")
LINES: tuple[Any, ...] = (
    "-",
    (0, (6, 2)),
    (0, (1.5, 1.5)),
    (0, (7, 2, 1.5, 2)),
    (0, (3, 1, 1, 1, 1, 1)),
    (0, (10, 3)),
)
MARKERS = ("o", "s", "^", "D", "v", "P")

RING = {
    "marker": "o",
    "markersize": 8,
    "markerfacecolor": "white",
    "markeredgecolor": INK,
    "markeredgewidth": 1.6,
    "linestyle": "none",
    "zorder": 6,
}
LIMIT = {"color": INK, "linewidth": 1.7, "linestyle": (0, (9, 2, 2, 2)), "zorder": 4}
SETTINGS: dict[Any, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 9,
    "text.color": INK,
    "text.parse_math": False,
    "axes.labelcolor": INK,
    "axes.titlesize": 9,
    "axes.titlelocation": "left",
    "axes.edgecolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": FAINT,
    "grid.linewidth": 0.4,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8,
    "ytick.labelsize": 8,
    "lines.linewidth": 1.5,
    "legend.fontsize": 8,
    "legend.frameon": False,
    "legend.handlelength": 2.8,
    "hatch.linewidth": 0.5,
    "hatch.color": "#7b8794",
    "svg.fonttype": "path",
    "svg.hashsalt": "treatsim",
}
CAPTION_SIZE = 7  # points
CAPTION_LINE = 0.14  # inches
DOTS = 110  # per inch, of a PNG
PLACES = 4  # digits of an axis' place, as a share of the figure


def quiet(draw):
    """Run a drawing function under this style."""

    @functools.wraps(draw)
    def styled(*arguments):
        import matplotlib as mpl

        with mpl.rc_context(SETTINGS):
            return draw(*arguments)

    return styled


def new_figure(title: str, width: float, height: float, rows: int = 1, columns: int = 1, **options):
    """Return a figure [inches] with its axes, room for a caption left below."""
    from matplotlib.figure import Figure

    figure: Any = Figure(figsize=(width, height), layout="constrained", facecolor="white")
    below = 2.4 * CAPTION_LINE / height
    figure.get_layout_engine().set(rect=(0.0, below, 1.0, 1.0 - below))
    figure.suptitle(title, x=0.012, ha="left", fontsize=10.5, fontweight="bold")
    return figure, figure.subplots(rows, columns, **options)


def legend_below(figure, axis, columns: int) -> None:
    """Put the legend of one axis between the plot and its caption."""
    handles, labels = axis.get_legend_handles_labels()
    height = figure.get_figheight()
    rows = -(-len(labels) // columns)
    foot, legend = 2.4 * CAPTION_LINE / height, (0.18 * rows + 0.06) / height
    figure.get_layout_engine().set(rect=(0.0, foot + legend, 1.0, 1.0 - foot - legend))
    figure.legend(
        handles,
        labels,
        loc="lower left",
        ncols=columns,
        borderaxespad=0,
        bbox_to_anchor=(0.012, foot),
        columnspacing=1.6,
    )


@quiet
def sign(figure, text: str) -> None:
    """Write the caption line under the plot."""
    width, height = figure.get_size_inches()
    lines = textwrap.wrap(text, int(width * 72 / CAPTION_SIZE * 1.72))
    figure.text(
        0.012,
        0.35 * CAPTION_LINE / height,
        "\n".join(lines[:2]),
        ha="left",
        va="bottom",
        fontsize=CAPTION_SIZE,
        color="#4b5563",
    )


def render(figure, kind: str = "svg") -> bytes:
    """Return the picture, the same bytes every time."""
    import matplotlib as mpl

    buffer = io.BytesIO()
    metadata = {"Date": None, "Creator": "treatsim"} if kind == "svg" else {"Software": None}
    with mpl.rc_context(SETTINGS):
        _settle(figure)
        figure.savefig(buffer, format=kind, dpi=DOTS, metadata=metadata)
    if kind == "svg":  # no blanks at line ends
        return b"\n".join(line.rstrip() for line in buffer.getvalue().splitlines()) + b"\n"
    return buffer.getvalue()


def _settle(figure) -> None:
    """Fix the layout on round places: its solver's last digits depend on the order of memory."""
    if figure.get_layout_engine() is None:
        return
    figure.draw_without_rendering()
    places = [(axis, axis.get_position().bounds) for axis in figure.axes]
    figure.set_layout_engine("none")
    for axis, bounds in places:
        axis.set_position([round(value, PLACES) for value in bounds])


def pretty(unit: str) -> str:
    """Return a unit with raised exponents and a degree sign."""
    text = re.sub(r"\*\*", "", unit).replace("deg", "°")
    return re.sub(r"(?<=[A-Za-z)])([23])(?![0-9])", lambda m: {"2": "²", "3": "³"}[m[1]], text)


def pretty_units(text: str) -> str:
    """Return a sentence whose units stand as in print: m3/h, mJ/cm2, degC with their signs."""
    text = re.sub(r"(?<=\d )deg(?=[CF]\b)", "°", text)
    text = re.sub(r"\[deg(?=[CF]\b)", "[°", text)
    text = re.sub(r"\buS(?=/cm\b)", "µS", text)
    return re.sub(r"\b(c?m)([23])\b", lambda m: m[1] + {"2": "²", "3": "³"}[m[2]], text)


def label(words: str, quantity: str) -> str:
    """Return an axis label: what it is, and the unit shown of its quantity."""
    unit = pretty(shown(quantity)[0])
    return f"{words} [{unit}]" if unit else words


def meaning(quantity: str) -> str:
    """Return the axis label of a quantity in its own words."""
    words = QUANTITIES[quantity].meaning
    return label(words[:1].upper() + words[1:], quantity)


def line(number: int) -> dict:
    """Return colour and line style of the n-th model."""
    return {"color": COLOURS[number % len(COLOURS)], "linestyle": LINES[number % len(LINES)]}


def plain_log(axis) -> None:
    """Write a logarithmic axis in plain numbers, without a crowd of small ticks."""
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_formatter(NullFormatter())
