"""Where the boxes of a flowsheet stand and how its links run: left to right, at right angles.

Boxes stand in columns by their distance from the source and in lanes by the branch they lie on.
Columns are broken into rows that fit a page. No numbers of the process enter here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

COLUMNS = 5  # of one row
STRIDE, BOX = 1.95, 1.12  # inches from column to column, and of the box
LANE = 0.95  # inches from lane to lane
TALL = 0.46  # inches, height of a box
BETWEEN = 0.55  # inches between two rows


class Link(NamedTuple):
    """From one box to another; `back` marks the return of a recycle."""

    start: str
    end: str
    back: bool = False


class Layout(NamedTuple):
    """Centres of the boxes and corners of the links, inches, y downwards from 0."""

    boxes: dict[str, tuple[float, float]]
    routes: list[list[tuple[float, float]]]  # as the links given
    width: float
    height: float


def arrange(links: Sequence[Link]) -> Layout:
    """Return the layout of a graph."""
    rank = _ranks(links)
    lane = _lanes(links, rank)
    rows = 1 + max(rank.values()) // COLUMNS
    tops, place = [], 0.0
    for row in range(rows):
        tops.append(place)
        deepest = max(lane[n] for n in rank if rank[n] // COLUMNS == row)
        place += deepest * LANE + TALL + BETWEEN
    boxes = {
        name: (BOX / 2 + (r % COLUMNS) * STRIDE, tops[r // COLUMNS] + TALL / 2 + lane[name] * LANE)
        for name, r in rank.items()
    }
    routes = [_route(link, boxes, rank, tops, place, links) for link in links]
    width = max(max(x for x, _ in boxes.values()) + BOX / 2,
                max(x for route in routes for x, _ in route))
    return Layout(boxes, routes, width, place - BETWEEN + 0.3 * any(link.back for link in links))


def _ranks(links: Sequence[Link]) -> dict[str, int]:
    """Return the longest distance from a source, recycles left out."""
    rank = dict.fromkeys((name for link in links for name in (link.start, link.end)), 0)
    for _ in rank:
        for link in links:
            if not link.back:
                rank[link.end] = max(rank[link.end], rank[link.start] + 1)
    return rank


def _lanes(links: Sequence[Link], rank: dict[str, int]) -> dict[str, int]:
    """Return the lane of each box: its first feeder's, or the next free one below.

    A link that passes over columns keeps its lane free in them.
    """
    lane: dict[str, int] = {}
    taken: set[tuple[int, int]] = set()
    for name in sorted(rank, key=lambda n: (rank[n], list(rank).index(n))):
        feeders = [link.start for link in links if link.end == name and not link.back]
        wanted = lane[feeders[0]] if feeders else 0
        first = min((rank[f] for f in feeders), default=rank[name] - 1) + 1
        while any((column, wanted) in taken for column in range(first, rank[name] + 1)):
            wanted += 1
        lane[name] = wanted
        taken |= {(column, wanted) for column in range(first, rank[name] + 1)}
    return lane


def _route(link: Link, boxes, rank, tops, bottom, links) -> list[tuple[float, float]]:
    """Return the corners of one link."""
    (x0, y0), (x1, y1) = boxes[link.start], boxes[link.end]
    x0, x1 = x0 + BOX / 2, x1 - BOX / 2
    same_row = rank[link.start] // COLUMNS == rank[link.end] // COLUMNS
    if same_row and not link.back:
        if y0 == y1:
            return [(x0, y0), (x1, y1)]
        turn = x1 - 0.22 if y1 > y0 and _merges(link, links) else x0 + 0.1
        if y1 < y0:
            turn = x1 - 0.22
        return [(x0, y0), (turn, y0), (turn, y1), (x1, y1)]
    row = rank[link.start] // COLUMNS + 1
    level = (tops[row] if row < len(tops) else bottom) - BETWEEN / 2
    out, back = x0 + 0.66, x1 - 0.16
    return [(x0, y0), (out, y0), (out, level), (back, level), (back, y1), (x1, y1)]


def _merges(link: Link, links: Sequence[Link]) -> bool:
    """Whether other links end at the same box."""
    return sum(other.end == link.end for other in links) > 1
