"""The chart of the page with dials, by a library packed into the file from its own package."""

from __future__ import annotations

from importlib import resources
from importlib.util import find_spec
from typing import Any

from treatsim.errors import RequestError

# the darker, the less is met: told apart in grey as well
SHADES = (
    ("#eef2ea", "no judged limit is missed"),
    ("#a9a49a", "too near to tell"),
    ("#5d5560", "a limit is missed"),
)
INK = "#1c2733"


def library() -> str:
    """Return the script of the chart library; RequestError where it is not installed."""
    if find_spec("bokeh") is None:
        raise RequestError('the page needs Bokeh for its chart: pip install "treatsim[page]"')
    return resources.files("bokeh").joinpath("server/static/js/bokeh.min.js").read_text("utf-8")


def figure() -> Any:
    """Return the empty chart as plain data; the page's script fills it."""
    from bokeh.core.types import ID
    from bokeh.embed import json_item
    from bokeh.models import LinearColorMapper, Range1d
    from bokeh.plotting import figure as new_figure

    plot = new_figure(
        name="plot",
        sizing_mode="stretch_both",
        toolbar_location=None,
        tools="",
        x_range=Range1d(start=0, end=1),
        y_range=Range1d(start=0, end=1),
        background_fill_color=None,
        border_fill_color=None,
        outline_line_color=INK,
    )
    mapper = LinearColorMapper(palette=[colour for colour, _ in SHADES], low=0, high=2)
    names = ("image", "x", "y", "dw", "dh")
    cells = _named({name: [] for name in names}, "shades")
    field: Any = plot.image
    field(*names, source=cells, color_mapper=mapper)
    ring = _named({"x": [], "y": []}, "ring")
    plot.scatter("x", "y", source=ring, size=17, line_width=6, line_color="white", fill_alpha=0)
    plot.scatter("x", "y", source=ring, size=17, line_width=2.5, line_color=INK, fill_alpha=0)
    plot.grid.visible = False
    plot.axis.axis_label_text_font_style = "normal"
    plot.axis.axis_label_text_color = plot.axis.major_label_text_color = INK
    return json_item(plot, ID("window"))


def _named(data: dict[str, list], name: str) -> Any:
    from bokeh.models import ColumnDataSource

    return ColumnDataSource(data=data, name=name)


def shades() -> str:
    """Return the key of the shades as list items, the point among them."""
    items = [
        f'<li><span style="background:{colour}"></span>{words}</li>' for colour, words in SHADES
    ]
    ring = (
        '<li><span style="border-radius:50%;border-width:2.5px"></span>the dials as they stand</li>'
    )
    return "".join([*items, ring])
