"""The dose of the light through months: how dark the water may be at each flow, hour by hour.

The source says how its absorption goes with its turbidity, or its transmittance was read; the
flowsheet says at which absorption the dose falls below what is asked for, flow by flow. The flow of
an hour is taken as that after the last change of an element, which is the most, so that the dose is
told too low.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.errors import RequestError
from treatsim.running.filter_line import TEMPERATURE, Line, without_hold
from treatsim.running.filter_stretch import Clock
from treatsim.running.source import SourceParameters
from treatsim.safety.verdict import judge

FLOWS, SHADES, ROUNDS = 10, 16, 3  # loads, absorptions and rounds that are solved
CLEAREST, DARKEST = 0.1, 300.0  # 1/m: transmittance 99.9 and 5 % per cm
SHADE = "water.uv_transmittance"


class Mud(NamedTuple):
    """How dark the water becomes with its turbidity, by two samples. SI"""

    turbidity: float  # of [water], NTU
    absorption: float  # of [water], 1/m
    slope: float  # 1/m per NTU above it, median
    spread: float  # of ln slope


class DoseLimit(NamedTuple):
    """How dark the water may be. SI"""

    flow: Array  # m3/s, rising
    absorption: Array  # most that still gives the dose, 1/m
    mud: Mud | None  # None where the transmittance was read


def dose_limit(case: Any, line: Line, temperatures: Array) -> DoseLimit | None:
    """Return the limit of the dose, or None where no dose is asked for or no relation is stated.

    In the water temperature that is worse of the two ends, by the lowest of all doses asked for;
    RequestError for a muddy sample that is not muddier than the other.
    """
    source, water = case.sections.get("source"), case.sections["water"]
    if water.uv_transmittance is None or not (was_read(source) or related(source)):
        return None
    mud = None if was_read(source) else _mud(source, water, case.path)
    ends = sorted({float(np.min(temperatures)), float(np.max(temperatures))})
    found = [one for warm in ends if (one := _largest(case, line, warm)) is not None]
    if not found:
        return None
    flow, dark = found[0]
    for other, shade in found[1:]:
        dark = np.minimum(dark, np.interp(flow, other, shade))
    return DoseLimit(flow, dark, mud)


def _mud(source: SourceParameters, water: Any, path: str) -> Mud:
    given = (source.muddy_turbidity, source.muddy_transmittance, source.muddy_spread)
    muddiest, shade, spread = (float(one or np.nan) for one in given)  # asked for all or none
    clear, muddy = (-100.0 * float(np.log(one)) for one in (water.uv_transmittance, shade))
    turbidity = float(water.turbidity)
    if muddiest <= turbidity or muddy <= clear:
        raise RequestError(
            f"{path}: source.muddy_turbidity and source.muddy_transmittance: a sample more "
            "turbid and darker than that of [water] belongs here; read both again"
        )
    slope = (muddy - clear) / (muddiest - turbidity)
    return Mud(turbidity, clear, slope, float(np.log(spread)))


def was_read(source: SourceParameters | None) -> bool:
    """Whether the transmittance of a source was read through time."""
    found = None if source is None else source.read()
    return found is not None and found.absorption is not None


def related(source: SourceParameters | None) -> bool:
    """Whether a source says how dark its muddy water is."""
    return source is not None and source.muddy_transmittance is not None


def asked_for(verdict: Any) -> list[Any]:
    """Return the limits of a verdict that are doses to be reached."""
    return [
        limit for limit in verdict.limits if limit.quantity == "dose" and limit.relation == ">="
    ]


def _largest(case: Any, line: Line, warm: float) -> tuple[Array, Array] | None:
    """Return flows, rising, and the largest absorption at which every dose is reached."""
    low, high = np.full(FLOWS, CLEAREST), np.full(FLOWS, DARKEST)
    share, row = np.linspace(0.0, 1.0, SHADES), np.arange(FLOWS)
    flow, none = np.zeros(FLOWS), np.zeros(FLOWS, bool)
    for n in range(ROUNDS):
        shade = low[:, None] + (high - low)[:, None] * share
        found = _reached(case, line, warm, shade)
        if found is None:
            return None
        flow, reached = found
        count = np.sum(np.cumprod(reached, axis=1), axis=1)
        none |= (count == 0) & (n == 0)
        last = np.maximum(count - 1, 0)
        low, high = shade[row, last], shade[row, np.minimum(last + 1, SHADES - 1)]
    order = np.argsort(flow)
    return flow[order], np.where(none, 0.0, low)[order]


def _reached(case: Any, line: Line, warm: float, shade: Array) -> tuple[Array, Array] | None:
    """Return the flow at FLOWS loads of the filters, and whether every dose is reached there."""
    free, fixed, _ = without_hold(case)
    grow = np.linspace(1.0, line.filters.ratio.max(), FLOWS)[:, None]
    points: dict[str, Any] = {SHADE: np.exp(-shade / 100.0), TEMPERATURE: warm, **fixed}
    for g, name in enumerate(line.filters.names):
        scale = np.minimum(grow, line.filters.ratio[g])
        points[f"{name}.resistance"] = line.filters.clean[g] * scale
        points[f"{name}.captured_mass"] = 0.0
    result = free.solve({key: np.array(np.broadcast_to(value, shade.shape), float).ravel()
                         for key, value in points.items()})  # fmt: skip
    verdict = judge(result)
    wanted = asked_for(verdict)
    if not wanted:
        return None
    reached = np.array(np.broadcast_to(result.solved, shade.size))
    for limit in wanted:
        reached &= np.broadcast_to(np.asarray(limit.value) >= np.asarray(limit.limit), shade.size)
    flow = np.broadcast_to(np.asarray(verdict.value("product.flow").value, float), shade.size)
    return flow.reshape(shade.shape)[:, 0].copy(), reached.reshape(shade.shape)


def darkness(mud: Mud, turbidity: Array, draw: Any) -> Array:
    """Return the absorption by turbidity, its slope drawn for each scenario. -> [1/m]"""
    slope = mud.slope * np.exp(mud.spread * draw.standard_normal((len(turbidity), 1)))
    dark = np.maximum(turbidity - mud.turbidity, 0.0)
    dark *= slope
    dark += mud.absorption
    return dark


def hours_under(
    limit: DoseLimit, dark: Array, clock: Clock, track: tuple[Array, Array, Array]
) -> Array:
    """Return the running time below the dose. dark (scenarios, hours) [1/m] -> (scenarios,) [s]

    track: scenario, exposure and flow at the start of every stretch between changes.
    """
    row, hour = np.nonzero(dark > limit.absorption.min())
    ran = clock.running[row, hour + 1] - clock.running[row, hour]
    row, hour, ran = row[ran > 0], hour[ran > 0], ran[ran > 0]
    shade = dark[row, hour]
    under = shade > limit.absorption.max()  # at any flow
    open_ = np.flatnonzero(~under)
    most = _most(row[open_], hour[open_], clock, track)
    under[open_] = shade[open_] > np.interp(most, limit.flow, limit.absorption)
    return np.asarray(np.bincount(row[under], ran[under], len(dark)), float)


def _most(row: Index, hour: Index, clock: Clock, track: tuple[Array, Array, Array]) -> Array:
    """Return the flow after the last change before or within some hours."""
    scenario, exposure, flow = track
    width = 2.0 * clock.exposure[:, -1].max() + 1.0
    sort = np.lexsort((exposure, scenario))
    keys, flow = (scenario * width + exposure)[sort], flow[sort]
    most = np.zeros(row.size)
    for edge in (hour, hour + 1):  # an element may be changed within the hour
        place = np.searchsorted(keys, row * width + clock.exposure[row, edge], side="right") - 1
        most = np.maximum(most, flow[np.maximum(place, 0)])
    return most
