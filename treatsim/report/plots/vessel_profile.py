"""Along the reverse-osmosis vessel

The feed pressure hardly falls, the osmotic pressure climbs to meet it: the first element does the
most work, the last one lives on what is left between the two.

Local values; polarisation is the salt at the membrane over that in the stream, from
the feed end to the concentrate end. The shaded gap is what drives
the water through; dotted uprights are the joints between elements.

Sources: schock_miquel_1987
"""

from __future__ import annotations

import numpy as np

from treatsim.report.plots import style, vessel
from treatsim.report.plots.table import Table, column, pick, table

CASES = ("sea",)
applies = vessel.applies

__all__ = ["CASES", "applies", "data", "draw"]


def data(case) -> Table:
    """Return flux, pressures and polarisation along the first vessel."""
    state = vessel.along(case.solve(), vessel.name_of(case))
    return table(
        column("place", state.place, "length"),
        column("flux", state.flux, "flux"),
        column("pressure", state.pressure, "pressure"),
        column("osmotic_pressure", state.osmotic_bulk, "pressure_difference"),
        column("osmotic_pressure_membrane", state.osmotic_membrane, "pressure_difference"),
        column("polarisation", state.polarisation, "factor"),
        column("element_length", state.element_length, "length"),
    )


@style.quiet
def draw(data: Table):
    """Draw flux, pressures and polarisation over the length."""
    figure, (top, middle, low) = style.new_figure(
        "Along the reverse-osmosis vessel",
        6.8,
        6.2,
        3,
        1,
        sharex=True,
        height_ratios=(1.0, 1.7, 0.9),
    )
    place = pick(data, "place")
    top.plot(place, pick(data, "flux"), **style.line(0))
    top.set(ylabel=style.label("Flux", "flux"), ylim=(0, None))
    pressure, membrane = pick(data, "pressure"), pick(data, "osmotic_pressure_membrane")
    middle.fill_between(
        place, membrane, pressure, color=style.WASH, linewidth=0, label="drives the water"
    )
    for number, (name, words) in enumerate(
        (
            ("pressure", "pressure of the feed side"),
            ("osmotic_pressure_membrane", "osmotic, at the membrane"),
            ("osmotic_pressure", "osmotic, in the stream"),
        )
    ):
        middle.plot(place, pick(data, name), label=words, **style.line(number))
    middle.set(ylabel=style.label("Pressure", "pressure"), ylim=(0, 1.08 * pressure.max()))
    low.plot(place, pick(data, "polarisation"), **style.line(0))
    low.set(
        ylabel="Polarisation",
        xlim=(0, place.max()),
        xlabel=style.label("Way from the feed end", "length"),
    )
    for axis in (top, middle, low):
        for joint in np.arange(
            pick(data, "element_length")[0], 0.999 * place.max(), pick(data, "element_length")[0]
        ):
            axis.axvline(joint, color=style.INK, linewidth=0.7, linestyle=style.LINES[2])
    style.legend_below(figure, middle, 2)
    return figure
