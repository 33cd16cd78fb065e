"""What a pit takes, how long its sludge lasts, and whether the elements saved are worth it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike, Flags
from treatsim.errors import require


class Pit(NamedTuple):
    """A dug basin with sloped walls, by its rectangle at the ground."""

    length: ArrayLike  # m
    width: ArrayLike  # m
    depth: ArrayLike  # m, water and sludge
    slope: ArrayLike  # run over rise of the walls: 0 upright, 1 soft ground


class Digging(NamedTuple):
    """What a pit takes."""

    volume: Array  # m3
    lining: Array  # m2, without overlap at the rim
    time: Array  # s


class Worth(NamedTuple):
    """Elements used with and without the basin, and what the basin takes."""

    elements_without: Array
    elements_with: Array
    elements_saved: Array
    digging_per_element: Array  # s, endless where none is saved
    worth_it: Flags
    reason: np.ndarray  # text


def digging(pit: Pit, rate: ArrayLike) -> Digging:
    """Return volume, lining and time of a pit. rate: earth moved by all who dig [m3/s]

    The prismoidal rule, exact for sloped walls; DomainError where the walls meet above the floor.
    """
    length, width, depth = (require(name, getattr(pit, name), 0.0, 1e4, "m", open_low=True)
                            for name in ("length", "width", "depth"))  # fmt: skip
    slope = require("slope", pit.slope, 0.0, 10.0, "")
    rate = require("rate of digging", rate, 0.0, np.inf, "m3/s", open_low=True)
    short = np.minimum(length, width)
    require("floor of the pit", short - 2 * slope * depth, 0.0, np.inf, "m")

    def area(down):
        return (length - 2 * slope * down) * (width - 2 * slope * down)

    volume = depth * (area(0.0) + 4 * area(0.5 * depth) + area(depth)) / 6
    round_ = 2 * (length + width - 4 * slope * 0.5 * depth)  # half way down
    lining = area(depth) + round_ * depth * np.sqrt(1 + slope**2)
    return Digging(volume, lining, volume / rate)


def sludge_time(
    solids: ArrayLike, flow: ArrayLike, captured: ArrayLike, room: ArrayLike, density: ArrayLike
) -> Array:
    """Return the running time after which sludge fills its room; endless without solids. -> [s]

    solids [kg/m3] and flow [m3/s] of the raw water; captured: share settled; room [m3] below the
    water that settles; density: dry solids per volume of sludge [kg/m3], 20 to 100 fresh, 200 to
    400 pressed by its own weight (common practice, no source).
    """
    density = require("dry solids of the sludge", density, 0.0, 2000.0, "kg/m3", open_low=True)
    room = require("room for sludge", room, 0.0, np.inf, "m3")
    share = require("share settled", captured, 0.0, 1.0, "")
    rate = np.asarray(solids) * np.asarray(flow) * share
    return np.where(rate > 0, room * density / np.where(rate > 0, rate, 1.0), np.inf)


def basin_worth(
    without: ArrayLike, within: ArrayLike, dug: Digging, time_per_element: ArrayLike, lifted: Flags
) -> Worth:
    """Return whether a basin is worth its digging.

    without, within: elements used in the months without and with it, means; time_per_element: the
    digging that one element saved is worth to whoever asks [s]; lifted: whether the water along
    the basin lifts again what has settled.
    """
    without = require("elements without", without, 0.0, np.inf, "")
    within = require("elements with", within, 0.0, np.inf, "")
    each = require("digging worth an element", time_per_element, 0.0, np.inf, "s")
    saved = without - within
    none = saved < 1
    per = np.where(none, np.inf, dug.time / np.where(none, 1.0, saved))
    dear = per > each
    reason = np.select(
        [np.asarray(lifted), none, dear],
        [
            "not worth it as drawn: the water lifts again what has settled; dig wider or deeper",
            "not worth it: it saves no element",
            "not worth it: the digging costs more than it saves",
        ],
        "worth it, by mass; a bucket test and the first change-out decide",
    )
    return Worth(without, within, saved, per, ~(none | dear | lifted), reason)
