"""Fluence rate in the UV chamber

The light is spent within centimetres: clear water fills the chamber with it, dull water leaves the
outer ring, where most of the water flows, in the dusk.

Fluence rate over the length and the radius of the annulus, for the lamp and the water as stated.

Sources: bolton_2000, liu_2004
"""

from __future__ import annotations

import numpy as np

from treatsim.correlations.uv.fluence_rate import local_fluence_rate
from treatsim.operations.outcome import at
from treatsim.report.plots import style
from treatsim.report.plots.reactor import applies, reactor
from treatsim.report.plots.table import Table, column, pick, table

CASES = ("river",)
RADII, HEIGHTS = 25, 41
STEPS = (1, 1.5, 2, 3, 5, 7)  # of the contours, per decade

__all__ = ["CASES", "applies", "data", "draw"]


def data(case) -> Table:
    """Return the fluence rate on a grid of positions."""
    item = reactor(case)
    geometry = item.unit.geometry
    radius = np.linspace(geometry.sleeve_outer_radius, geometry.chamber_radius, RADII)
    half = 0.5 * geometry.chamber_length
    height = half * np.sin(0.5 * np.pi * np.linspace(-1, 1, HEIGHTS))  # denser at the ends
    light = float(at(item.unit.output(item.inlet.temperature), 0))
    field = local_fluence_rate(geometry, light, item.absorption, radius, height[:, None])
    return table(
        column("position", height[:, None], "length"),
        column("radius", radius, "small_length"),
        column("fluence_rate", field, "fluence_rate"),
    )


@style.quiet
def draw(data: Table):
    """Draw the upper half of the chamber's section."""
    from matplotlib.colors import LogNorm

    figure, axis = style.new_figure("Fluence rate in the UV chamber", 8.2, 3.4)
    place, radius, field = (
        pick(data, name).reshape(-1, RADII) for name in ("position", "radius", "fluence_rate")
    )
    levels = _levels(field.min(), field.max())
    shown = axis.contourf(place, radius, field, levels=levels, cmap="cividis", norm=LogNorm())
    dark = np.sqrt(levels[0] * levels[-1])
    lines = axis.contour(
        place,
        radius,
        field,
        levels=levels[1:-1],
        linewidths=0.8,
        colors=["white" if v < dark else style.INK for v in levels[1:-1]],
    )
    middle = field[len(field) // 2, -1]  # contours below lie in the corners, without room
    numbered = [level for level in lines.levels if level >= middle]
    axis.clabel(lines, numbered, fmt=lambda value: f"{value:g}", fontsize=7)
    sleeve = radius.min()
    axis.axhspan(0, sleeve, facecolor=style.WASH, edgecolor=style.INK, linewidth=0.7)
    axis.text(0, 0.5 * sleeve, "lamp and sleeve", ha="center", va="center", fontsize=8)
    axis.set(
        xlabel=style.label("Position along the chamber, from its middle", "length"),
        ylabel=style.label("Distance from the axis", "small_length"),
        ylim=(0, radius.max()),
    )
    axis.grid(visible=False)
    bar = figure.colorbar(
        shown, ax=axis, ticks=levels, format=lambda value, _: f"{value:g}", pad=0.02
    )
    bar.set_label(style.label("Fluence rate", "fluence_rate"))
    return figure


def _levels(low: float, high: float) -> list[float]:
    """Return contour levels 1, 2, 5, 10 ... around the values."""
    decades = range(int(np.floor(np.log10(low))) - 1, int(np.ceil(np.log10(high))) + 1)
    every = [step * 10.0**decade for decade in decades for step in STEPS]
    first = max(i for i, v in enumerate(every) if v <= low)
    last = min(i for i, v in enumerate(every) if v >= high)
    return every[first : last + 1]
