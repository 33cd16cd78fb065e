"""Sizes of paper, and how blocks are laid on it so that everything fits on two sides or is refused.

Lengths are in points, 1/72 inch.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, product

from treatsim.errors import RequestError
from treatsim.report.sheet.blocks import Block, Grid, Listing, Picture, Sheet, Words
from treatsim.report.sheet.fonts import BOLD, PLAIN, register, showable

MM = 72 / 25.4
PAPERS = {"a4": (210 * MM, 297 * MM), "letter": (612.0, 792.0)}
MARGIN, GUTTER = 9 * MM, 4.5 * MM
SIZES = (
    9.2,
    9.0,
    8.8,
    8.6,
    8.4,
    8.2,
    8.0,
    7.8,
    7.6,
    7.4,
    7.2,
    7.0,
    6.8,
    6.6,
    6.4,
    6.2,
    6.0,
)  # points, of the text
LEADING, TITLE, FOOT = 1.2, 1.5, 0.9  # over the size of the text
GAP, PAD = 0.55, 0.22  # below a block, inside a cell; over the size of the text
BELOW = 0.35  # below a table, over the size of the text
# blanks at which a line may break: not inside "L/(m² h)", nor between a number and such a unit
BLANK = re.compile(r" (?!h\))(?!(?<=\d )(?:mg/L|bar|m³/h|L/\(m²))")
TOP = 0.4  # inside the frame of the answer, over the size of the text
INDENT = 1.7  # of a line behind its mark, over the size of the text
RULE = 0.75  # width of a line: one pixel of a browser
SPARE = 0.985  # of the height is used: a browser breaks a line here and there
FEWEST, HEIGHT = 5, 6.2 * MM  # rows of the blank log, and how high one is


@dataclass(frozen=True)
class Plan:
    """How a sheet lies on its paper."""

    paper: str
    size: float  # of the text
    front: tuple[bool, ...]  # which blocks stand in the first column of the front
    back: tuple[bool, ...]
    rows: int  # of the log

    @property
    def width(self) -> float:
        """Width between the margins."""
        return PAPERS[self.paper][0] - 2 * MARGIN

    @property
    def column(self) -> float:
        """Width of one of two columns."""
        return (self.width - GUTTER) / 2


def planned(sheet: Sheet, paper: str) -> Plan:
    """Return the plan with the largest text that fits; RequestError if none does."""
    register()
    for size in SIZES:
        plan = _fit(sheet, Plan(paper, size, (), (), 0))
        if plan is not None:
            return plan
    raise RequestError(
        f"the sheet of this case does not fit on two sides of {paper} paper in letters that can be "
        "read: shorten its title, or leave some analytes to the page of solve --full"
    )


def _fit(sheet: Sheet, plan: Plan) -> Plan | None:
    room = (PAPERS[plan.paper][1] - 2 * MARGIN) * SPARE
    size, width = plan.size, plan.width
    if size > SIZES[-1] and any(
        _cuts(block, plan.column, size) for block in (*sheet.front, *sheet.back)
    ):
        return None
    foot = words_height(sheet.foot, PLAIN, size * FOOT, width) + size * GAP
    title = words_height(sheet.title, BOLD, size * TITLE, width)
    top = title + words_height(sheet.place, PLAIN, size, width)
    top += block_height(sheet.answer, width - 2 * size, size) + (2 * GAP + TOP) * size
    front, tall = _parted([block_height(b, plan.column, size) for b in sheet.front])
    if top + tall + foot > room:
        return None
    back, tall = _parted([block_height(b, plan.column, size) for b in sheet.back])
    left = room - foot - title - size * GAP - tall - block_height(sheet.log, width, size)
    rows = int(left / HEIGHT)
    if rows < FEWEST:
        return None
    return Plan(plan.paper, size, front, back, rows)


def _cuts(block: Block, width: float, size: float) -> bool:
    """Whether a table of a block is so narrow that words in it must be cut."""
    grids = [part for part in block.parts if isinstance(part, Grid)]
    return any(sum(least_widths(grid, size)) > width for grid in grids)


def _parted(heights: Sequence[float]) -> tuple[tuple[bool, ...], float]:
    """Return which blocks go into the first column, and the height of the taller one.

    The first block stays first; of equal heights the parting that keeps to the order is taken.
    """

    def badness(first: tuple[bool, ...]) -> tuple[float, int]:
        own = sum(height for height, here in zip(heights, first, strict=True) if here)
        back = sum(b and not a for a, b in pairwise(first))
        return round(max(own, sum(heights) - own), 1), back

    choices = ((True, *rest) for rest in product((True, False), repeat=len(heights) - 1))
    best = min(choices, key=badness)
    return best, badness(best)[0]


def halves(blocks: Sequence[Block], first: Sequence[bool]) -> tuple[list[Block], list[Block]]:
    """Return the blocks of the first and of the second column."""
    pairs = list(zip(blocks, first, strict=True))
    return [b for b, here in pairs if here], [b for b, here in pairs if not here]


def block_height(block: Block, width: float, size: float) -> float:
    """Return the height of a block with the gap below it."""
    head = words_height(block.head, BOLD, size, width) + 2 * PAD * size if block.head else 0.0
    return head + sum(part_height(part, width, size) for part in block.parts) + GAP * size


def part_height(part, width: float, size: float) -> float:
    """Return the height of one part."""
    if isinstance(part, Words):
        return words_height(part.text, BOLD if part.loud else PLAIN, size, width)
    if isinstance(part, Listing):
        return sum(words_height(t, PLAIN, size, width - INDENT * size) for t in part.lines)
    if isinstance(part, Picture):
        return width * part.shape + words_height(part.words, PLAIN, size, width)
    return sum(row_heights(part, width, size)) + BELOW * size


def row_heights(grid: Grid, width: float, size: float) -> list[float]:
    """Return the heights of the rows of a table, its heads first if it has any."""
    widths = column_widths(grid, width, size)
    heights = []
    for number, row in enumerate(rows_of(grid)):
        face = face_of(grid, number)
        lines = max(
            words_height(text, face, size, inner(wide, size))
            for text, wide in zip(row, widths, strict=True)
        )
        least = grid.height * MM + RULE if number else 0.0
        heights.append(max(lines + PAD * size + RULE, least))
    return heights


def inner(width: float, size: float) -> float:
    """Return the width for words in a cell."""
    return width - 2 * PAD * size - 1.5 * RULE


def rows_of(grid: Grid) -> list[tuple[str, ...]]:
    """Return heads and rows; heads that say nothing are left out."""
    return [*([grid.heads] if any(grid.heads) else []), *grid.rows]


def face_of(grid: Grid, number: int) -> str:
    """Return the face of one of the rows of `rows_of`."""
    first = 1 if any(grid.heads) else 0
    return BOLD if number < first or number - first in grid.loud else PLAIN


def column_widths(grid: Grid, width: float, size: float) -> list[float]:
    """Return widths of the columns: what each needs, the longest words at least."""
    rows = [(row, face_of(grid, n)) for n, row in enumerate(rows_of(grid))]
    pad = 2 * PAD * size + 2.5 * RULE
    natural = [max(_wide(r[n], f, size) for r, f in rows) + pad for n in range(len(grid.heads))]
    if sum(natural) <= width:
        if not grid.heads[-1] and not any(row[-1] for row in grid.rows):  # to be filled in by hand
            return [*natural[:-1], width - sum(natural[:-1])]
        spare = (width - sum(natural)) / len(natural)
        return [one + spare for one in natural]
    least = least_widths(grid, size)
    if sum(least) >= width:
        return [one * width / sum(least) for one in least]
    spare = (width - sum(least)) / sum(a - b for a, b in zip(natural, least, strict=True))
    return [b + spare * (a - b) for a, b in zip(natural, least, strict=True)]


def least_widths(grid: Grid, size: float) -> list[float]:
    """Return the widths at which no word of a table is cut."""
    rows = [(row, face_of(grid, n)) for n, row in enumerate(rows_of(grid))]
    pad = 2 * PAD * size + 2.5 * RULE
    return [
        max(_wide(word, f, size) for r, f in rows for word in BLANK.split(r[n])) + pad
        for n in range(len(grid.heads))
    ]


def _wide(text: str, face: str, size: float) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return stringWidth(showable(text), face, size)


def broken(text: str, face: str, size: float, width: float) -> list[str]:
    """Return a text in lines that fit a width; a word that is longer is cut."""
    lines: list[str] = []
    for word in filter(None, BLANK.split(showable(text))):
        if lines and _wide(f"{lines[-1]} {word}", face, size) <= width:
            lines[-1] += f" {word}"
        else:
            lines += _cut(word, face, size, width)
    return lines or [""]


def _cut(word: str, face: str, size: float, width: float) -> list[str]:
    pieces = [""]
    for letter in word:
        if pieces[-1] and _wide(pieces[-1] + letter, face, size) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def words_height(text: str, face: str, size: float, width: float) -> float:
    """Return the height of a paragraph."""
    return len(broken(text, face, size, width)) * size * LEADING
