"""Dose distribution of the mixing assumptions

The mean dose is the same however the water mixes; what the worst share of it receives is not, and
that share decides how many germs survive.

Share of the water that receives less than a dose, for each mixing assumption at the operating
point. A marker on the axis is its equivalent dose: the one dose that would inactivate as much of
the credited organism, before the validation factor.

Sources: bolton_2000, levenspiel, bird_stewart_lightfoot
"""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.correlations.uv import annulus_flow, dose
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.operations.uv_reactor import MIXINGS
from treatsim.report.plots import style
from treatsim.report.plots.reactor import WORDS, Reactor, applies, reactor, water
from treatsim.report.plots.table import Table, column, pick, table

CASES = ("river",)
SHARES = np.concatenate(
    [np.geomspace(1e-3, 0.1, 41), np.linspace(0.12, 0.98, 44), [0.99, 0.995]]
)  # of the water
RINGS = 4000  # of equal area, so that the smallest share is resolved

__all__ = ["CASES", "applies", "data", "draw"]


def data(case) -> Table:
    """Return the dose below which each share of the water stays, by mixing assumption."""
    item = reactor(case)
    bands = _bands(item)
    response = ORGANISMS[item.organism].response
    return table(
        column("share_of_water", SHARES, "fraction"),
        *(column(f"dose.{n}", _quantile(bands[n]), "dose") for n in MIXINGS),
        *(
            column(f"dose_equivalent.{n}", dose.equivalent_dose(bands[n], response), "dose")
            for n in MIXINGS
        ),
        column("dose_mean", bands["unmixed"].mean, "dose"),
    )


def _bands(item: Reactor) -> dict[str, dose.DoseDistribution]:
    """Return the distributions, the radii set much closer than the sums need them."""
    from scipy.interpolate import BarycentricInterpolator

    field, bands = item.unit.bands(water(item, item.flow, item.absorption))
    geometry: Any = item.unit.geometry
    ends = geometry.sleeve_outer_radius, geometry.chamber_radius
    place = (np.arange(RINGS) + 0.5) / RINGS
    radius = np.sqrt(ends[0] ** 2 + place * (ends[1] ** 2 - ends[0] ** 2))
    integral = np.exp(BarycentricInterpolator(field.radius, np.log(field.axial_integral))(radius))
    weight = np.full(RINGS, 1.0 / RINGS)
    velocity = annulus_flow.mean_velocity(item.flow, *ends)
    profile = annulus_flow.laminar_profile(radius, *ends)
    return {
        "unmixed": dose.unmixed_dose(integral, field.axial_integral_at_wall, weight, velocity),
        "laminar": dose.laminar_dose(integral, weight, profile, velocity),
        "tanks": bands["tanks"],
    }


def _quantile(band: dose.DoseDistribution) -> np.ndarray:
    """Return the dose below which each of SHARES stays. [J/m2]"""
    order = np.argsort(band.dose)
    weight = band.weight[order]
    below = np.log(np.cumsum(weight) - 0.5 * weight)
    return np.exp(np.interp(np.log(SHARES), below, np.log(band.dose[order])))


@style.quiet
def draw(data: Table):
    """Draw the shares of the water over the dose."""
    figure, axis = style.new_figure("Dose distribution of the mixing assumptions", 6.6, 4.6)
    share = pick(data, "share_of_water")
    for number, name in enumerate(MIXINGS):
        look = style.line(number)
        equivalent = float(pick(data, f"dose_equivalent.{name}")[0])
        axis.plot(pick(data, f"dose.{name}"), share, label=WORDS[name], **look)
        axis.plot(
            [equivalent],
            [share.min()],
            clip_on=False,
            zorder=7,
            color=look["color"],
            marker=style.MARKERS[number],
            linestyle="none",
            markersize=7,
            markeredgecolor="white",
            label=f"acts as {equivalent:.0f} for all of it",
        )
    mean = float(pick(data, "dose_mean")[0])
    axis.axvline(mean, color=style.INK, linewidth=0.8)
    axis.annotate(
        f"mean {mean:.0f}",
        (mean, 0.0),
        xycoords=("data", "axes fraction"),
        xytext=(4, 8),
        textcoords="offset points",
        fontsize=8,
    )
    axis.set(
        xscale="log",
        yscale="log",
        ylim=(share.min(), 100),
        xlim=(0.1 * mean, 8 * mean),
        xlabel=style.label("Dose", "dose"),
        ylabel=style.label("Share of the water that receives less", "fraction"),
    )
    style.plain_log(axis.xaxis)
    style.plain_log(axis.yaxis)
    style.legend_below(figure, axis, 3)
    return figure
