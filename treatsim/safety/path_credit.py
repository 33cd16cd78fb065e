"""Log credit along the ways the water takes: in series, in parallel, and past the barriers.

Each port carries, per class, the logs earned on the way to it. Where streams meet, survival is
averaged by flow, never the logs.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.flowsheet.flowsheet import Flowsheet, Port
from treatsim.safety.log_credit import CLASSES, Barrier, in_parallel, part_time

Earned = dict[str, dict[str, Any]]  # class -> cause -> log


class Credit(NamedTuple):
    """What arrives in the product."""

    totals: dict[str, Any]  # class -> log, per point
    weakest_class: Any  # class with the smallest margin, per point
    weakest_barrier: Any  # barrier whose loss leaves the smallest margin, per point
    margins: dict[str, Any]  # class of the target -> total minus target


def totals_in_product(
    sheet: Flowsheet,
    flows: Mapping[Port, Any],
    end: Port,
    barriers: Mapping[str, Barrier],
    untreated_share=0.0,
) -> dict[str, Any]:
    """Logs per class that the product has earned.

    Parameters
    ----------
    sheet : Flowsheet
        Units and links.
    flows : mapping
        Flow at every port. [m3/s]
    end : tuple
        Port at which the product leaves, or the inlet of the tank it ends in.
    barriers : dict
        Unit name -> Barrier.
    untreated_share : array_like
        Share of the product that passes everything untreated. [1]

    Returns
    -------
    dict
        Class -> log, broadcast shape. [log]

    Validity
    --------
    Of barriers in series with the same cause of failure only the best counts. A unit with several
    inlets and outlets hands on the worst inlet. What a recycle returns counts as source water.

    Source
    ------
    definition of log reduction
    """
    at: dict[Port, Earned] = {}
    for name in sheet.order:
        unit = sheet.units[name]
        arriving = {port: _arriving(sheet, at, (name, port)) for port in unit.inlets}
        left = _together(arriving, {p: flows[name, p] for p in unit.inlets}, len(unit.outlets))
        passed = _with(left, barriers.get(name))
        for port in unit.outlets:
            behind = not unit.treated or port == unit.treated
            at[name, port] = passed if behind else left
        if not unit.outlets:
            at[name, unit.inlets[0]] = passed
    return {
        cls: part_time(sum(at[end][cls].values(), np.array(0.0)), untreated_share)
        if np.any(np.asarray(untreated_share) > 0)
        else sum(at[end][cls].values(), np.array(0.0))
        for cls in CLASSES
    }


def _arriving(sheet: Flowsheet, at: Mapping[Port, Earned], here: Port) -> Earned:
    if here in sheet.tears or here not in sheet.wiring.feeds:
        return {cls: {} for cls in CLASSES}
    return at[sheet.wiring.feeds[here]]


def _together(arriving: Mapping[str, Earned], flows: Mapping[str, Any], outlets: int) -> Earned:
    """Return what the streams amount to inside a unit: mixed, or the worst of them."""
    if len(arriving) == 1:
        return next(iter(arriving.values()))
    found: Earned = {}
    for cls in CLASSES:
        logs = [sum(way[cls].values(), np.array(0.0)) for way in arriving.values()]
        if outlets == 1:
            total = sum(flows.values())
            shares = [np.asarray(flow) / total for flow in flows.values()]
            shares[-1] = 1.0 - sum(shares[:-1])
            found[cls] = {"mixed": in_parallel(shares, logs)}
        else:
            found[cls] = {"worst": np.minimum.reduce(np.broadcast_arrays(*logs))}
    return found


def _with(left: Earned, barrier: Barrier | None) -> Earned:
    if barrier is None:
        return left
    cause = barrier.cause
    return {
        cls: {**ways, cause: np.maximum(ways.get(cause, 0.0), barrier.earned(cls))}
        for cls, ways in left.items()
    }


def credit(
    sheet: Flowsheet,
    flows: Mapping[Port, Any],
    end: Port,
    barriers: Mapping[str, Barrier],
    target: Mapping[str, Any],
    untreated_share=0.0,
) -> Credit:
    """Totals of the product against a target, with the weakest link named.

    Parameters
    ----------
    sheet : Flowsheet
        Units and links.
    flows : mapping
        Flow at every port. [m3/s]
    end : tuple
        Port of the product.
    barriers : dict
        Unit name -> Barrier.
    target : mapping
        Class -> log wanted; empty: every class is held against 0. [log]
    untreated_share : array_like
        Share of the product that passes everything untreated. [1]

    Returns
    -------
    Credit
        Totals, margins [log], the class with the smallest margin and the barrier whose failure
        would leave the least, per point.

    Validity
    --------
    As `totals_in_product`.

    Source
    ------
    common practice of the multiple-barrier rule
    """
    wanted = dict(target) or dict.fromkeys(CLASSES, 0.0)

    def margins(kept):
        totals = totals_in_product(sheet, flows, end, kept, untreated_share)
        return totals, {cls: totals[cls] - np.asarray(log, float) for cls, log in wanted.items()}

    totals, own = margins(barriers)
    classes = np.array(list(own))
    weakest = classes[np.argmin(np.stack(np.broadcast_arrays(*own.values())), axis=0)]
    if not barriers:
        return Credit(totals, weakest, np.array(""), own)
    without = [
        margins({key: b for key, b in barriers.items() if key != name})[1] for name in barriers
    ]
    left = [  # ties of the smallest margin are broken by what is left in all classes
        np.min(np.stack(np.broadcast_arrays(*m.values())), axis=0) + 1e-3 * sum(m.values())
        for m in without
    ]
    index = np.argmin(np.stack(np.broadcast_arrays(*left)), axis=0)
    return Credit(totals, weakest, np.array(list(barriers))[index], own)
