"""Where the boxes of a flowsheet stand and how its links run: left to right, at right angles.

Boxes stand in columns by their distance from the source and in lanes by the branch they lie on.
The columns are broken into rows that fit a page, where as few links as possible are cut. Between
two boxes there is room for words; bends keep to the edges of that gap.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

COLUMNS = 5  # most in a row
BOX, TALL = 1.12, 0.46  # inches, width and height of a box
GAP = 0.98  # inches between two columns
LANE = 0.98  # inches from lane to lane
BETWEEN = 0.6  # inches between two rows
LEAVING, ARRIVING = 0.08, 0.17  # inches of a bend from the box it belongs to
APART = 0.12  # inches between the ways of wrapped links and of returns
CUT_LINK, NEW_ROW, UNEVEN = 10.0, 3.0, 0.01  # costs that decide where rows are broken


class Link(NamedTuple):
    """From one box to another; `back` marks the return of a recycle."""

    start: str
    end: str
    back: bool = False


class Route(NamedTuple):
    """Corners of a link, and where its words stand: their middle, or their left edge."""

    corners: list[tuple[float, float]]
    words: tuple[float, float]
    upright: bool = False  # the words stand right of an upright stretch


class Layout(NamedTuple):
    """Centres of the boxes and the routes of the links, inches, y downwards from 0."""

    boxes: dict[str, tuple[float, float]]
    routes: list[Route]
    width: float
    height: float


class Grid(NamedTuple):
    """Row, column and lane of every box, and where the rows begin."""

    row: dict[str, int]
    column: dict[str, int]
    lane: dict[str, int]
    tops: list[float]  # inches; the last one is the bottom


def arrange(links: Sequence[Link]) -> Layout:
    """Return the layout of a graph."""
    grid = _grid(links)
    boxes = {
        name: (
            BOX / 2 + grid.column[name] * (BOX + GAP),
            grid.tops[grid.row[name]] + TALL / 2 + grid.lane[name] * LANE,
        )
        for name in grid.row
    }
    routes = [_route(link, boxes, grid, links) for link in links]
    corners = [corner for route in routes for corner in route.corners]
    return Layout(
        boxes,
        routes,
        max(max(x for x, _ in corners), max(x for x, _ in boxes.values()) + BOX / 2),
        max(max(y for _, y in corners), max(y for _, y in boxes.values()) + TALL / 2),
    )


def _grid(links: Sequence[Link]) -> Grid:
    rank = _ranks(links)
    first = _breaks(links, rank)
    row = {name: sum(r >= start for start in first[1:]) for name, r in rank.items()}
    lane = _lanes(links, rank, row)
    tops = [0.0]
    for number in range(len(first)):
        deepest = max(lane[name] for name in row if row[name] == number)
        tops.append(tops[-1] + deepest * LANE + TALL + BETWEEN)
    return Grid(row, {name: rank[name] - first[row[name]] for name in rank}, lane, tops)


def _ranks(links: Sequence[Link]) -> dict[str, int]:
    """Return the longest distance from a source, recycles left out."""
    rank = dict.fromkeys((name for link in links for name in (link.start, link.end)), 0)
    for _ in rank:
        for link in links:
            if not link.back:
                rank[link.end] = max(rank[link.end], rank[link.start] + 1)
    return rank


def _breaks(links: Sequence[Link], rank: dict[str, int]) -> list[int]:
    """Return the first rank of every row, by the cheapest way to break the line."""
    count = max(rank.values()) + 1
    cut = [sum(rank[a] < r <= rank[b] for a, b, back in links if not back) for r in range(count)]
    best: list[tuple[float, list[int]]] = [(0.0, [])]  # cost and rows of the first r ranks
    for end in range(1, count + 1):
        best.append(
            min(
                (
                    best[start][0]
                    + NEW_ROW
                    + UNEVEN * (end - start) ** 2
                    + CUT_LINK * max(cut[start] - 1, 0) * (start > 0),
                    [*best[start][1], start],
                )
                for start in range(max(end - COLUMNS, 0), end)
            )
        )
    return best[count][1]


def _lanes(links: Sequence[Link], rank: dict[str, int], row: dict[str, int]) -> dict[str, int]:
    """Return the lane of each box: its first feeder's, or the next free one below.

    A link that passes over columns keeps its lane free in them. A new row starts at the top.
    """
    lane: dict[str, int] = {}
    taken: set[tuple[int, int]] = set()
    for name in sorted(rank, key=lambda n: (rank[n], list(rank).index(n))):
        feeders = [
            link.start
            for link in links
            if link.end == name and not link.back and row[link.start] == row[name]
        ]
        wanted = lane[feeders[0]] if feeders else 0
        first = min((rank[f] for f in feeders), default=rank[name] - 1) + 1
        while any((column, wanted) in taken for column in range(first, rank[name] + 1)):
            wanted += 1
        lane[name] = wanted
        taken |= {(column, wanted) for column in range(first, rank[name] + 1)}
    return lane


def _route(link: Link, boxes, grid: Grid, links: Sequence[Link]) -> Route:
    """Return the corners of one link and the place of its words."""
    (x0, y0), (x1, y1) = boxes[link.start], boxes[link.end]
    x0, x1 = x0 + BOX / 2, x1 - BOX / 2
    if grid.row[link.start] == grid.row[link.end] and not link.back:
        alone = Counter(a.start for a in links)[link.start] == 1
        meets = Counter(a.end for a in links)[link.end] > 1
        return _forward(x0, y0, x1, y1, joins=alone and meets)
    if link.back and Counter(a.start for a in links)[link.start] > 1:
        return _return_from_box(link, boxes, grid)
    upwards = grid.row[link.end] < grid.row[link.start]
    level = grid.tops[grid.row[link.start] + (0 if upwards else 1)] - BETWEEN / 2
    level += APART if link.back else 0.0
    out, back = x0 + GAP - ARRIVING, x1 - ARRIVING
    corners = [(x0, y0), (out, y0), (out, level), (back, level), (back, y1), (x1, y1)]
    return Route(_without_steps(corners), ((x0 + out) / 2, y0))


def _forward(x0, y0, x1, y1, *, joins: bool) -> Route:
    """A link to the right: it bends where it leaves, or where it joins another."""
    if y0 == y1:
        return Route([(x0, y0), (x1, y1)], (x1 - (GAP + ARRIVING - LEAVING) / 2, y1))
    if joins:
        turn, words = x1 - ARRIVING, (x0 + (GAP - ARRIVING + LEAVING) / 2, y0)
    else:
        turn, words = x0 + LEAVING, (x1 - (GAP + ARRIVING - LEAVING) / 2, y1)
    return Route([(x0, y0), (turn, y0), (turn, y1), (x1, y1)], words)


def _return_from_box(link: Link, boxes, grid: Grid) -> Route:
    """A return from a box whose right side is taken: from its top, or from its foot."""
    (x0, y0), (x1, y1) = boxes[link.start], boxes[link.end]
    row = grid.row[link.start]
    top = grid.row[link.end] < row and grid.lane[link.start] == 0
    side = y0 + (-TALL / 2 if top else TALL / 2)
    level = grid.tops[row if top else row + 1] - BETWEEN / 2 + APART
    back = x1 - BOX / 2 - ARRIVING
    corners = [(x0, side), (x0, level), (back, level), (back, y1), (x1 - BOX / 2, y1)]
    return Route(corners, (x0 + 0.06, (side + level) / 2), upright=True)


def _without_steps(corners: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Leave out corners at which nothing turns."""
    kept = [corners[0]]
    for here, after in pairwise(corners[1:]):
        before = kept[-1]
        straight = before[0] == here[0] == after[0] or before[1] == here[1] == after[1]
        if not straight and here != before:
            kept.append(here)
    return [*kept, corners[-1]]
