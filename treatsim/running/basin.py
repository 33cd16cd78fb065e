"""Does a settling basin pay: particles by size through it and the filters, and elements saved.

The table [pit] draws one that might be dug ahead of the intake. Sizes are carried through
screen, basin and filters; the months are then simulated once more with what reaches each filter,
on the same scenarios as without the pit.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.correlations.solids.cake import kozeny_resistance
from treatsim.correlations.solids.settling import scour_velocity
from treatsim.errors import RequestError
from treatsim.running.basin_table import BasinParameters
from treatsim.running.basin_worth import Digging, Worth, basin_worth, digging, sludge_time
from treatsim.running.forecast import counts_of
from treatsim.running.particle_sizes import (
    Carried,
    carried,
    filtered,
    screened,
    settled,
    size_classes,
)
from treatsim.running.spares import Piece, Plan, piece_of
from treatsim.running.stock import quantile
from treatsim.water.properties import density as water_density
from treatsim.water.properties import viscosity as water_viscosity

SURE = 0.95
FAR = 1.5  # times by which sizes and a stated capture fraction may differ unsaid
SERIES = 1e-6  # relative: what leaves one filter comes to the next
VOID = 0.6  # of a cake; only the ratio of two cakes is told, and it cancels


class Stage(NamedTuple):
    """What one stage holds, without the basin and behind it."""

    name: str
    held: tuple[float | None, float]  # share of what reaches it
    left: tuple[float, float]  # share of the raw water's mass behind it
    median: tuple[float, float]  # m


class Saved(NamedTuple):
    """Elements of one filter used in the months, without the basin and with it."""

    name: str
    mean: tuple[float, float]
    sure: tuple[float, float]  # at SURE


class Prospect(NamedTuple):
    """What a basin would do."""

    stages: tuple[Stage, ...]
    filters: tuple[Saved, ...]
    worth: Worth
    dug: Digging
    settled: float  # share of what reaches the basin
    loading: float  # m/s
    along: float  # m/s
    scour: float  # m/s
    sludge: float  # s of running until its room is full
    tighter: float  # specific resistance of a cake of what reaches the first filter, over without
    notes: tuple[str, ...]
    scenarios: int  # on which elements were counted


def prospect(plan: Plan, table: BasinParameters, path: str, pieces: Sequence[Piece]) -> Prospect:
    """Return whether the basin of a table pays over the months of a plan.

    Parameters
    ----------
    plan : Plan
        Without a basin; its filters stand one behind another.
    table : BasinParameters
        The pit and the particles.
    path : str
        Of the case, for faults.
    pieces : sequence of Piece
        What the plan came to; the first of them is run again behind the basin.

    Validity
    --------
    Settling in the coldest water of the months and at the flow of fresh elements, so that the
    basin is told to hold too little. What is left is finer and clogs at less mass, which is not
    followed: elements saved are an upper bound.

    Raises
    ------
    RequestError
        Filters that do not stand in series, or a name that is no filter.
    """
    names = plan.line.filters.names
    _known(table, (*names, *plan.line.unknown), path)
    clean = np.tile(plan.line.filters.clean, (plan.rules.temperature.size, 1))
    flows = plan.line.flows(clean, plan.rules.temperature)
    arriving = flows.arriving[0]
    _in_series(plan, arriving, path)
    flow = float(flows.through[:, 0].max())
    cold = float(plan.rules.temperature.min())
    water = float(np.asarray(water_density(cold))), float(np.asarray(water_viscosity(cold)))
    loading = flow / (table.length * table.width)
    stages, chains = _stages(table, names, water, loading)
    behind = _behind(plan, chains, names, arriving)
    filters, rate = _saved(plan, behind, pieces[0])
    whole = digging(table.pit(table.depth + table.sludge_depth), table.digging_rate)
    room = whole.volume - digging(table.pit(table.depth), table.digging_rate).volume
    held = stages[_place(table)].held[1]
    along = flow / ((table.width - table.wall_slope * table.depth) * table.depth)
    scour = float(scour_velocity(table.median_size, table.particle_density / water[0]))
    without, within = (sum(row.mean[n] for row in filters) for n in (0, 1))
    worth = basin_worth(without, within, whole, table.worth_per_element, np.asarray(along > scour))
    return Prospect(
        stages, filters, worth, whole, held, loading, along, scour,
        float(sludge_time(rate / arriving[0] / flow, flow, held, room, table.sludge_solids)),
        _tighter(stages, table, names), _notes(plan, table, chains[0]),
        len(pieces[0].volume),
    )  # fmt: skip


def _known(table: BasinParameters, names: tuple[str, ...], path: str) -> None:
    if faults := [f"{path}: pit.filters.{name}: no filter that loads in this train; known: "
                  f"{', '.join(names)}" for name in table.filters or {}
                  if name not in names]:  # fmt: skip
        raise RequestError(faults)


def _in_series(plan: Plan, arriving: Array, path: str) -> None:
    expected = arriving[:-1] * (1 - plan.line.filters.capture[:-1])
    if not np.allclose(arriving[1:], expected, rtol=SERIES):
        raise RequestError(
            f"{path}: pit: particle sizes are followed through filters one behind another only; "
            f"{', '.join(plan.line.filters.names)} stand otherwise: leave the table [pit] out"
        )


def _place(table: BasinParameters) -> int:
    return 0 if table.screen_opening is None else 1


def _stages(
    table: BasinParameters, names: tuple[str, ...], water: tuple[float, float], loading: float
) -> tuple[tuple[Stage, ...], tuple[Carried, Carried]]:
    """Return the stages, and the two chains: without the basin and with it."""
    sizes, shares = size_classes(table.median_size, table.size_deviation)
    known = table.removals()
    screen = [] if table.screen_opening is None else [screened(sizes, table.screen_opening)]
    basin = settled(sizes, table.particle_density, water, (loading, table.tanks_in_series))
    rest = [filtered(sizes, known[name].pairs()) if name in known else np.ones(sizes.size)
            for name in names]  # fmt: skip
    chains = [carried(sizes, shares, [*screen, one, *rest]) for one in (np.ones(sizes.size), basin)]
    told = [*(["screen"] if screen else []), "basin", *names]
    stages = [
        Stage(
            name,
            (None if name == "basin" and n == len(screen) else float(chains[0].captured[n]),
             float(chains[1].captured[n])),
            (float(chains[0].left[n]), float(chains[1].left[n])),
            (float(chains[0].median[n]), float(chains[1].median[n])),
        )
        for n, name in enumerate(told)
    ]  # fmt: skip
    return tuple(stages), (chains[0], chains[1])


def _behind(
    plan: Plan, chains: tuple[Carried, Carried], names: tuple[str, ...], arriving: Array
) -> Plan:
    """Return the plan behind the basin: stated captures and loads, shifted as the sizes are.

    A stated capture fraction is changed by the ratio of what the sizes say with and without.
    """
    alone, behind = (chain.captured[-len(names) :] for chain in chains)
    ratio = np.where(alone > 0, behind / np.where(alone > 0, alone, 1.0), 1.0)
    stated = plan.line.filters.capture
    capture = stated * ratio
    held = 1 - chains[1].left[-len(names) - 1] / chains[0].left[-len(names) - 1]
    reaching = (1 - held) * np.cumprod(np.append(1.0, 1 - capture[:-1])) * arriving[0] / arriving
    line = dataclasses.replace(
        plan.line,
        filters=plan.line.filters._replace(capture=capture),
        reaching=tuple(float(v) for v in reaching),
    )
    return dataclasses.replace(plan, line=line)


def _saved(plan: Plan, behind: Plan, without: Piece) -> tuple[tuple[Saved, ...], float]:
    """Return elements used on the same scenarios, without the basin and behind it, and solids.

    The solids are those that come to the first filter without the basin, storms included, by the
    running time. [kg/s]
    """
    within = piece_of(dataclasses.replace(behind, dose=None), 0, len(without.volume))
    used = [counts_of(plan, [piece])[0] for piece in (without, within)]
    fed, running = float(np.mean(without.fed[:, 0])), float(np.mean(without.running))
    return tuple(
        Saved(
            name,
            (float(np.mean(used[0][:, g])), float(np.mean(used[1][:, g]))),
            (quantile(used[0][:, g], SURE), quantile(used[1][:, g], SURE)),
        )
        for g, name in enumerate(plan.line.filters.names)
    ), fed / (running * plan.on.sum() / plan.on[: plan.hours].sum())


def _tighter(stages: tuple[Stage, ...], table: BasinParameters, names: tuple[str, ...]) -> float:
    """Return how much tighter a cake of what is left is, by the medians ahead of the filters."""
    ahead = stages[len(stages) - len(names) - 1].median
    if not min(ahead) > 0:
        return 1.0
    before, after = (float(kozeny_resistance(d, VOID, table.particle_density)) for d in ahead)
    return after / before


def _notes(plan: Plan, table: BasinParameters, alone: Carried) -> tuple[str, ...]:
    filters = plan.line.filters
    found = []
    told = alone.captured[-len(filters.names) :]
    for name, stated, by_size in zip(filters.names, filters.capture, told, strict=True):
        if name not in table.removals():
            found.append(f"pit: {name}: its capture fraction counts for all sizes: "
                         f"pit.filters.{name} is not given")  # fmt: skip
        elif not 1 / FAR < by_size / stated < FAR:
            found.append(f"pit: {name}: it holds {by_size:.0%} by the sizes and {stated:.0%} by "
                         "its capture_fraction: measure again before digging")  # fmt: skip
    return (*found, "pit: lifting water into it, rain, algae and a fence around it are not "
            "counted; a bucket test decides")  # fmt: skip


def section_of(case: Any) -> BasinParameters | None:
    """Return the table [pit] of a case, or None."""
    return case.sections.get("pit")
