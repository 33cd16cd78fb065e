"""Ranges of dials cut back to where a train has answers."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.errors import NoSolutionError
from treatsim.studies.dials import Dial
from treatsim.studies.observed import GOOD, Observer

SLICE = 0.12  # of a range, cut off at once; twice, three times that where it was not enough
NARROWEST = 0.15  # of a dial's first range; a dial cut further stands still

Dials = tuple[Dial, ...]


def cured(observer: Observer, ranges: Dials, points: Mapping[str, Array], bad: Flags) -> Array:
    """Return, by dial and point, whether a bad point has an answer with that dial as stated."""
    some = {address: values[bad] for address, values in points.items()}
    count = int(np.sum(bad))
    trial = {address: np.tile(values, len(ranges)) for address, values in some.items()}
    for number, dial in enumerate(ranges):
        trial[dial.address][number * count : (number + 1) * count] = dial.now
    good = observer.look(trial)[GOOD].reshape(len(ranges), count) > 0
    found = np.zeros((len(ranges), bad.size), bool)
    found[:, bad] = good | ~np.any(good, axis=0)  # where no dial alone is to blame, every one is
    return found


def cut(
    ranges: Dials,
    first: Dials,
    points: Mapping[str, Array],
    blamed: Array,
    slices: int = 1,
) -> Dials:
    """Cut slices off the ends of ranges until no bad point is left inside.

    Parameters
    ----------
    ranges, first : tuple of Dial
        As they are, and as they were at first. [SI]
    points : mapping
        Address -> settings, shape (n,). [SI]
    blamed : ndarray of bool, shape (dials, n)
        Which dials are to be cut for a point; none for a good one.
    slices : int
        How thick a slice is. [1]

    Returns
    -------
    tuple of Dial
        None is cut past where the case stands.

    Validity
    --------
    The slice that holds the most bad points, and few good ones, goes first.

    Raises
    ------
    NoSolutionError
        A bad point cannot be cut off.

    Source
    ------
    definition
    """
    whole = {dial.address: dial for dial in first}
    bad, inside = np.any(blamed, axis=0), np.ones(blamed.shape[1], bool)
    while np.any(bad & inside):
        best: tuple[float, int, Dial] | None = None
        for number, dial in enumerate(ranges):
            for shorter in _slices(dial, whole[dial.address], slices):
                gone = inside & ~_within(points[dial.address], shorter)
                hit = float(np.sum(blamed[number] & gone))
                worth = hit * hit / max(int(np.sum(gone)), 1)
                if hit and (best is None or worth > best[0]):
                    best = (worth, number, shorter)
        if best is None:
            raise NoSolutionError("the dials have no range around the case within which it holds")
        _, number, shorter = best
        ranges = (*ranges[:number], shorter, *ranges[number + 1 :])
        inside &= _within(points[shorter.address], shorter)
    return ranges


def _within(values: Array, dial: Dial) -> Flags:
    return (values >= dial.low) & (values <= dial.high)


def _slices(dial: Dial, whole: Dial, slices: int) -> list[Dial]:
    """Return the dial with a slice off either end; never past where the case stands."""
    width = dial.high - dial.low
    if width <= NARROWEST * (whole.high - whole.low):
        return []
    off = min(slices * SLICE, 0.5) * width
    low, high = min(dial.low + off, dial.now), max(dial.high - off, dial.now)
    found = [dial._replace(low=low)] if low > dial.low else []
    return found + ([dial._replace(high=high)] if high < dial.high else [])
