"""Flocculent settling: a column sampled at several depths and times, by lines of equal removal.

Flocs grow as they fall, so that what a basin holds back depends on its depth too. A line of equal
removal joins the depths and times at which the same share of the solids has gone; of grains these
lines are straight through the origin, of flocs they bend down.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike, Index
from treatsim.correlations.solids.settling import basin_removal
from treatsim.errors import DomainError, require

FINE = 16  # levels of removal between two that were read
NOISE = 0.10  # of the solids: a deeper sample may be clearer by that much, by chance
STILL = 1e-12  # m/s; loading of a basin without flow

Sample = tuple[float, float, float]  # share still in suspension, time [s], depth [m]


class Column(NamedTuple):
    """Lines of equal removal of a column."""

    depth: Array  # of the taps, from the top, (taps,) [m]
    time: Array  # at which each level has come to each tap, inf for not in the test, [s]
    weight: Array  # share of the solids of each level, (levels,)
    tested: tuple[float, float]  # first and last time of a sample [s]


def column_of(samples: Sequence[Sample]) -> Column:
    """Return the lines of equal removal through samples.

    Parameters
    ----------
    samples : sequence of (share, time, depth)
        Share of the suspended solids still in the sample [1], time after the start [s], depth of
        the tap [m]; two taps or more with two samples or more each, at times of their own.

    Returns
    -------
    Column
        Straight lines in time between samples of a tap, and in depth between taps, from the
        surface at the start. Shorter than the first sample of a tap nothing counts as gone, nor
        beyond what the last one shows, so that removal is told too low there.

    Validity
    --------
    DomainError for fewer samples, a share that rises with time at a tap, or a deeper tap that is
    clearer at one time by more than NOISE; less than that counts as equal.

    Source
    ------
    definition; the lines are drawn by eye in handbooks.
    """
    share, time, depth = np.array(samples, dtype=float).T
    taps, at = np.unique(depth, return_inverse=True)
    if taps.size < 2 or np.bincount(at).min() < 2 or np.any(time <= 0) or taps[0] <= 0:
        raise DomainError(
            "two taps or more belong here, each with two samples or more some time after the start"
        )
    rows = [np.flatnonzero(at == k) for k in range(taps.size)]
    rows = [row[np.argsort(time[row])] for row in rows]
    for tap, row in zip(taps, rows, strict=True):
        if np.any(np.diff(share[row]) > 0):
            raise DomainError(f"at {tap:g} m: the share left in suspension cannot rise with time")
    _in_order(share, time, taps, rows)
    gone = np.unique(np.concatenate([[0.0], 1.0 - share]))
    steps = (np.arange(FINE) + 0.5) / FINE
    level = (gone[:-1, None] + np.diff(gone)[:, None] * steps).ravel()
    arrival = np.stack([_arrival(level, 1.0 - share[row], time[row]) for row in rows], axis=1)
    weight = np.repeat(np.diff(gone) / FINE, FINE)
    return Column(taps, np.maximum.accumulate(arrival, axis=1), weight,
                  (float(time.min()), float(time.max())))  # fmt: skip


def _in_order(share: Array, time: Array, taps: Array, rows: list[Index]) -> None:
    for k in range(taps.size - 1):
        upper, lower = rows[k], rows[k + 1]
        _, one, other = np.intersect1d(time[upper], time[lower], return_indices=True)
        clearer = share[upper][one] - share[lower][other]
        if np.any(clearer > NOISE):
            when = time[upper][one][np.argmax(clearer)]
            raise DomainError(
                f"at {when / 60:.3g} min the sample from {taps[k + 1]:g} m is clearer than that "
                f"from {taps[k]:g} m by more than {NOISE:.0%} of the solids: mixed up?"
            )


def _arrival(level: Array, gone: Array, time: Array) -> Array:
    """Return the time at which a tap first shows each level of removal."""
    rising = np.append(True, np.diff(gone) > 0)
    found = np.interp(level, gone[rising], time[rising])
    return np.where(level > gone[-1], np.inf, found)


def floc_removal(
    column: Column, depth: ArrayLike, surface_loading: ArrayLike, tanks: ArrayLike
) -> tuple[Array, Array]:
    """Return the share of the solids that a basin holds back, in tanks and in an ideal basin.

    Parameters
    ----------
    column : Column
        Of `column_of`.
    depth : array_like
        Of water in the basin. [m]
    surface_loading : array_like
        Flow over plan area; of a tank at rest, depth over time. [m/s]
    tanks : array_like
        Tanks in series that mix like the basin. [1]

    Returns
    -------
    real, ideal : ndarray, broadcast shape
        Ideal: mean over the depth of what has gone from each depth by the time the water has
        passed, which is the handbooks' sum over lines of equal removal. Real: each level of removal
        as grains of the mean velocity it has had, in `tanks`. [1]

    Validity
    --------
    A basin deeper than the lowest tap counts as one as deep as that tap, at the same loading: flocs
    that grow settle better in it. Between taps, and from the surface to the first, lines
    are straight, as they bend down that tells a little too much: 0.008 of the solids for a first
    tap at a tenth of the depth. Flocs must come to the basin as they came to the column: a pump
    between breaks them.

    Source
    ------
    camp_1946 for the ideal basin, hazen_1904 for tanks.
    """
    depth = require("depth", depth, 0.0, np.inf, "m", open_low=True)
    loading = np.maximum(require("surface_loading", surface_loading, 0.0, np.inf, "m/s"), STILL)
    depth, loading, tanks = np.broadcast_arrays(depth, loading, np.asarray(tanks, dtype=float))
    bottom = np.minimum(depth, column.depth[-1])[..., None]
    time = bottom / loading[..., None]
    reached, arrival = np.zeros(time.shape), np.zeros(time.shape)
    above, before = 0.0, np.zeros(column.weight.shape)
    for tap, at in zip(column.depth, column.time.T, strict=True):
        part = np.clip((bottom - above) / (tap - above), 0.0, 1.0)  # of this piece in the basin
        with np.errstate(divide="ignore", invalid="ignore"):
            takes = np.where(part > 0, part * np.where(at > before, at - before, 0.0), 0.0)
            run = np.where(takes > 0, (time - arrival) / takes, np.where(time >= arrival, 1.0, 0.0))
        reached = reached + part * (tap - above) * np.clip(np.nan_to_num(run), 0.0, 1.0)
        arrival = arrival + takes
        above, before = tap, at
    with np.errstate(divide="ignore"):
        velocity = np.where(arrival <= time, bottom / arrival, reached / time)
    ideal = np.minimum(velocity / loading[..., None], 1.0) @ column.weight
    real = basin_removal(velocity, loading[..., None], tanks[..., None]) @ column.weight
    return real, ideal
