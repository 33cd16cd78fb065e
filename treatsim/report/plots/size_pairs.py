"""How much battery saves how much array

Every pair on the line gives the same water on a poor day; a battery beyond the knee saves nothing.

Above: the least array for each battery with which the case's people, or as much water as the case
has, are served on 95 % of days; all pairs see the same drawn years, all else is as in the case, and
the power of the battery grows with it. Below: what each pair weighs, where the case states masses.

Sources: graham_hollands_brunger_1988, hollands_huget_1983, erbs_1982, faiman_2008
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from treatsim import quantities
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, has, pick, table
from treatsim.running.plan import NEEDED
from treatsim.running.prepared import prepared
from treatsim.running.year import ON_95
from treatsim.studies.find_pairs import ARRAY, find_pairs
from treatsim.studies.requirements import Target
from treatsim.studies.year_sizes import CAPACITY, results_at

CASES = ("sea",)
DIGITS = 2


def applies(case) -> bool:
    """Whether the case has everything that a year needs."""
    return all(case.sections.get(name) is not None for name in NEEDED)


def asked_of(case) -> Target:
    """Return what every pair must give: water for the people, or as much as the case has."""
    people = case.sections.get("people")
    if people is not None and people.number is not None:
        return Target(ON_95["people"], ">=", quantities.text(float(people.number), "people"))
    now = {ARRAY: float(case.sections["array"].peak_power)}
    ready = prepared(case, Path(case.path).parent)
    found = results_at(case, ready, [now], lambda done, total: None).results[ON_95["water"]]
    litres = max(float(found[0]) * 1000, 1.0)
    scale = 10.0 ** (math.floor(math.log10(litres)) - DIGITS + 1)
    return Target(ON_95["water"], ">=", f"{math.floor(litres / scale) * scale:.0f} L")


def data(case) -> Table:
    """Return the pairs that are just enough, the case's own in the last columns."""
    asked = asked_of(case)
    found = find_pairs(case, [ARRAY, CAPACITY], [asked])
    pairs = [pair for pair in found.pairs if np.isfinite(pair.first)]
    columns = [
        column("battery", np.array([pair.second for pair in pairs]), "energy"),
        column("array", np.array([pair.first for pair in pairs]), "power"),
    ]
    if all(pair.mass is not None for pair in pairs):
        columns.append(column("mass", np.array([pair.mass for pair in pairs]), "weight"))
    alike = np.ones(len(pairs))
    columns += [
        column("battery_now", found.now[1] * alike, "energy"),
        column("array_now", found.now[0] * alike, "power"),
        {"asked": np.array([f"at least {asked.value} on 95 % of days"] * len(pairs))},
    ]
    return table(*columns)


@style.quiet
def draw(data: Table):
    """Draw the array over the battery above, the mass of both below."""
    weighed = has(data, "mass")
    title = "How much battery saves how much array"
    if weighed:
        figure, axes = style.new_figure(title, 6.4, 5.6, rows=2, sharex=True, height_ratios=(3, 2))
        above, last = axes
    else:
        figure, above = style.new_figure(title, 6.4, 4.0)
        last = above
    battery = pick(data, "battery")
    look = {"marker": style.MARKERS[0], "markersize": 5, **style.line(0)}
    above.plot(battery, pick(data, "array"), label="just enough", **look)
    above.plot(pick(data, "battery_now")[:1], pick(data, "array_now")[:1], **style.RING,
               label="the case")  # fmt: skip
    above.set(xscale="log", ylabel=style.label("Peak power of the array", "power"), ylim=(0, None))
    above.legend(title=pick(data, "asked")[0])
    if weighed:
        last.plot(battery, pick(data, "mass"), **look)
        last.set(ylabel=style.label("Mass of both", "weight"), ylim=(0, None))
    last.set_xticks(battery, [f"{value:.3g}" for value in battery], minor=False)
    last.set_xticks([], minor=True)
    last.set(xlabel=style.label("Capacity of the battery", "energy"))
    return figure
