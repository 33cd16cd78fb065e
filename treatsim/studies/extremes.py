"""Numbers that are bent because they are the least, or the largest, of several smooth ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from treatsim.arrays import Array
from treatsim.studies.dials import Dial
from treatsim.studies.observed import Observer, spread_points

SAMPLES = 300
EQUAL = 1e-7  # relative, of two numbers that are one
SEEN = 0.004  # share of the samples in which a part must decide

Extreme = tuple[tuple[str, ...], bool, float]  # parts, whether the largest counts, factor


def extremes(observer: Observer, dials: Sequence[Dial], names: Sequence[str]) -> dict[str, Extreme]:
    """Return the parts of numbers that are a factor times the least or the largest of them.

    Parameters
    ----------
    observer : Observer
        The train.
    dials : sequence of Dial
        Ranges. [SI]
    names : sequence of str
        Numbers that are bent.

    Returns
    -------
    dict
        For each number that is one: addresses of its parts, whether the largest counts, factor.

    Validity
    --------
    Parts are looked for among the results of the same unit; seen at sample points only.

    Source
    ------
    definition
    """
    if not names:
        return {}
    observer.verdict(spread_points(dials, SAMPLES, 1500))
    return extremes_seen(observer, names)


def extremes_seen(observer: Observer, names: Sequence[str]) -> dict[str, Extreme]:
    """Return the same, at the points at which the train was seen last.

    Parameters
    ----------
    observer : Observer
        The train.
    names : sequence of str
        Numbers that are bent.

    Returns
    -------
    dict
        As of `extremes`.

    Validity
    --------
    As of `extremes`.

    Source
    ------
    definition
    """
    verdict = observer.seen
    good, reads = verdict.result.solved, observer.reads(verdict)
    found = {}
    for name in names:
        kind, number = name.partition(" ")[::2]
        address = observer.limits[int(number)][1] if kind == "value" and number else name
        known = reads if name in reads else verdict.values
        value = known.get(address)
        if value is None:
            continue
        owner = address.partition(".")[0]
        truth = np.broadcast_to(np.asarray(value.value, float), good.shape)[good]
        rows = {
            other: np.broadcast_to(np.asarray(item.value, float), good.shape)[good]
            for other, item in verdict.values.items()
            if other.partition(".")[0] == owner
            and other != address
            and item.quantity == value.quantity
        }
        if extreme := _extreme(truth, rows):
            found[name] = extreme
    return found


def _extreme(truth: Array, rows: Mapping[str, Array]) -> Extreme | None:
    """Return the parts among rows, if they make the truth at every sample."""
    if not np.all(truth > 0):
        return None
    shares = {name: row / truth for name, row in rows.items() if np.all(row > 0)}
    for largest in (False, True):
        end = np.max if largest else np.min
        groups: dict[float, list[str]] = {}
        for name, share in shares.items():
            edge = float(end(share))
            if np.mean(np.abs(share / edge - 1) <= EQUAL) >= SEEN:
                known = next((e for e in groups if abs(edge / e - 1) <= EQUAL), edge)
                groups.setdefault(known, []).append(name)
        for edge, parts in groups.items():
            made = end([shares[name] for name in parts], axis=0) / edge
            if len(parts) > 1 and np.all(np.abs(made - 1) <= EQUAL):
                return tuple(parts), largest, 1 / edge
    return None
