"""Numbers that jump or bend, told as an expression of numbers that do not.

A page without the train carries smooth numbers as series, each with its error. What moves in steps
is composed there of the smooth numbers behind it, by a tree that is emitted from the same tables
the judging reads: a number, the name of a read, or a list of an operation and its parts.

    ["steps", x, [b1, b2, ...], [v0, v1, ...]]   v of the last bound that x reaches
    ["upto", x, bound, then, else]               then, where x is at or below the bound
    ["sum" | "times" | "least" | "most", a, b, ...]  of `times`, none below zero
    ["less", a, b]  a - b      ["over", a, b]  a / b, b above zero      ["log10", a]
    ["floor", a]               the whole number at or below it, round-off upward
    ["mixed", log, share]      log credit of a stream of which a share passes untreated
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from typing import Any

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.operations.outcome import ROUND_OFF, Value

Tree = Any  # float, str, or a list of an operation and its parts
Span = tuple[Array, Array]  # ends between which a number lies, SI


@dataclass(frozen=True)
class Composed:
    """A number as an expression of smooth ones."""

    tree: Tree
    reads: Mapping[str, Value]
    alike: frozenset[str] = field(default=frozenset())  # reads whose error is one of the number


def span_of(tree: Tree, reads: Mapping[str, Span]) -> Span:
    """Return the ends between which a composed number lies.

    Parameters
    ----------
    tree : float, str or list
        As told at the head of this module.
    reads : mapping
        Name -> lower and upper end of a read, over points. [SI]

    Returns
    -------
    tuple of ndarray
        Lower and upper end; both the same where those of the reads are. [SI]

    Validity
    --------
    Every operation rises or falls in each of its parts, so ends lead to ends. A part that enters
    twice is taken to be at both its ends at once: the span may be too wide, never too narrow.

    Source
    ------
    interval arithmetic, definition.
    """
    if isinstance(tree, str):
        return reads[tree]
    if not isinstance(tree, list):
        return np.asarray(float(tree)), np.asarray(float(tree))
    name, *parts = tree
    if name == "steps":
        return _steps(parts[0], parts[1], parts[2], reads)
    if name == "upto":
        return _upto(parts[0], parts[1], parts[2:], reads)
    return OPERATIONS[name]([span_of(part, reads) for part in parts])


def _chosen(
    x: Span, which: tuple[Index, Index], choices: Sequence[Tree], reads: Mapping[str, Span]
) -> Span:
    """Return the ends over all choices from the first that may hold to the last. which: indices"""
    unknown = np.isnan(x[0]) | np.isnan(x[1])
    low, high = np.where(unknown, np.nan, np.inf), np.where(unknown, np.nan, -np.inf)
    for number, choice in enumerate(choices):
        may = (number >= which[0]) & (number <= which[1])
        if np.any(may):
            least, most = span_of(choice, reads)
            low = np.where(may, np.minimum(low, least), low)
            high = np.where(may, np.maximum(high, most), high)
    return low, high


def _steps(x: Tree, bounds: Sequence[float], choices: Sequence[Tree], reads) -> Span:
    def reached(value: Array) -> Index:
        value = value + ROUND_OFF * np.abs(value)
        return np.searchsorted(np.asarray(bounds, float), value, side="right")

    low, high = span_of(x, reads)
    return _chosen((low, high), (reached(low), reached(high)), choices, reads)


def _upto(x: Tree, bound: float, choices: Sequence[Tree], reads) -> Span:
    low, high = span_of(x, reads)
    line = bound + ROUND_OFF * abs(bound)
    which = np.where(low > line, 1, 0), np.where(high > line, 1, 0)
    return _chosen((low, high), which, choices, reads)


def _ends(function: Callable[..., Array]) -> Callable[[list[Span]], Span]:
    """Return an operation that rises in every part."""

    def made(parts: list[Span]) -> Span:
        low, high = zip(*parts, strict=True)
        return reduce(function, low), reduce(function, high)

    return made


def _mixed(parts: list[Span]) -> Span:
    (low, high), (share, _) = parts

    def left(log: Array) -> Array:
        return -np.log10((1.0 - share) * 10.0**-log + share)

    return left(low), left(high)


OPERATIONS: Mapping[str, Callable[[list[Span]], Span]] = {
    "sum": _ends(np.add),
    "times": _ends(np.multiply),
    "least": _ends(np.minimum),
    "most": _ends(np.maximum),
    "less": lambda p: (p[0][0] - p[1][1], p[0][1] - p[1][0]),
    "over": lambda p: (p[0][0] / p[1][1], p[0][1] / p[1][0]),
    "log10": lambda p: (np.log10(p[0][0]), np.log10(p[0][1])),
    "floor": lambda p: (np.floor(p[0][0] * (1 + ROUND_OFF)), np.floor(p[0][1] * (1 + ROUND_OFF))),
    "mixed": _mixed,
}


def renamed(tree: Tree, names: Mapping[str, str]) -> Tree:
    """Return a tree with other names for some reads.

    Parameters
    ----------
    tree : float, str or list
        As told at the head of this module.
    names : mapping
        Name -> other name.

    Returns
    -------
    float, str or list
        Tree.

    Validity
    --------
    No read is named as an operation is.

    Source
    ------
    definition
    """
    if isinstance(tree, list):
        return [renamed(part, names) for part in tree]
    return names.get(tree, tree) if isinstance(tree, str) else tree


def names_in(tree: Tree) -> set[str]:
    """Return the names of the reads in a tree.

    Parameters
    ----------
    tree : float, str or list
        As told at the head of this module.

    Returns
    -------
    set of str
        Names.

    Validity
    --------
    Any tree.

    Source
    ------
    definition
    """
    if isinstance(tree, str):
        return {tree}
    if not isinstance(tree, list):
        return set()
    parts = tree[1:] if isinstance(tree[0], str) and tree[0] in WORDS else tree
    return set().union(*(names_in(part) for part in parts))


WORDS = {*OPERATIONS, "steps", "upto"}
