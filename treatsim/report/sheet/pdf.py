"""The sheet as a PDF of two pages: every line is placed here, so that nothing can move."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from treatsim.report.sheet import paper
from treatsim.report.sheet.blocks import Block, Grid, Listing, Picture, Sheet, Words
from treatsim.report.sheet.fonts import BOLD, PLAIN, showable
from treatsim.report.sheet.paper import GAP, LEADING, PAD, Plan

BASE = 0.95  # of the size, from the top of a line to its base


def pdf_bytes(sheet: Sheet, plan: Plan) -> bytes:
    """Return the file, the same bytes every time."""
    from reportlab.pdfgen.canvas import Canvas

    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=paper.PAPERS[plan.paper], invariant=1, pageCompression=1)
    canvas.setTitle(sheet.title)
    canvas.setCreator("treatsim")
    Side(canvas, plan).front(sheet)
    Side(canvas, plan).back(sheet)
    canvas.save()
    return buffer.getvalue()


class Side:
    """One side, written from the top down."""

    def __init__(self, canvas: Any, plan: Plan) -> None:
        self.canvas, self.plan, self.size = canvas, plan, plan.size
        self.left, self.top = paper.MARGIN, paper.PAPERS[plan.paper][1] - paper.MARGIN
        canvas.setLineWidth(paper.RULE)

    def front(self, sheet: Sheet) -> None:
        """Write title, answer and the blocks of the front."""
        size, width = self.size, self.plan.width
        y = self.words(sheet.title, BOLD, size * paper.TITLE, self.left, self.top, width)
        y = self.words(sheet.place, PLAIN, size, self.left, y, width) - size * GAP
        end = self.block(sheet.answer, self.left + size, y - paper.TOP * size, width - 2 * size)
        self.canvas.setLineWidth(1.6)
        self.canvas.rect(self.left, end, width, y - end)
        self.canvas.setLineWidth(paper.RULE)
        self.columns(sheet.front, self.plan.front, end - size * GAP)
        self.foot(sheet)

    def back(self, sheet: Sheet) -> None:
        """Write the blocks of the back and the log."""
        size, width = self.size, self.plan.width
        y = self.words(sheet.title, BOLD, size * paper.TITLE, self.left, self.top, width)
        y = self.columns(sheet.back, self.plan.back, y - size * GAP)
        y = self.block(sheet.log, self.left, y, width) + size * (GAP + paper.BELOW)
        (grid,) = (part for part in sheet.log.parts if isinstance(part, Grid))
        widths = paper.column_widths(grid, width, size)
        for _ in range(self.plan.rows):
            self.cells([""] * len(widths), widths, self.left, y, paper.HEIGHT)
            y -= paper.HEIGHT
        self.foot(sheet)

    def foot(self, sheet: Sheet) -> None:
        """Write the foot, and end the side."""
        size = self.size * paper.FOOT
        height = paper.words_height(sheet.foot, PLAIN, size, self.plan.width)
        self.words(sheet.foot, PLAIN, size, self.left, paper.MARGIN + height, self.plan.width)
        self.canvas.showPage()

    def columns(self, blocks: Sequence[Block], first: Sequence[bool], y: float) -> float:
        """Write blocks in two columns; returns where the longer one ends."""
        ends = []
        shift = self.plan.column + paper.GUTTER
        for x, part in zip(
            (self.left, self.left + shift), paper.halves(blocks, first), strict=True
        ):
            end = y
            for block in part:
                end = self.block(block, x, end, self.plan.column)
            ends.append(end)
        return min(ends)

    def block(self, block: Block, x: float, y: float, width: float) -> float:
        """Write one block; returns where the next begins."""
        size = self.size
        if block.head:
            y = self.words(block.head, BOLD, size, x, y - PAD * size, width) - PAD * size
            self.canvas.line(x, y + PAD * size / 2, x + width, y + PAD * size / 2)
        for part in block.parts:
            y = self.part(part, x, y, width)
        return y - GAP * size

    def part(self, part, x: float, y: float, width: float) -> float:
        """Write one part."""
        size = self.size
        if isinstance(part, Words):
            return self.words(part.text, BOLD if part.loud else PLAIN, size, x, y, width)
        if isinstance(part, Picture):
            return self.picture(part, x, y, width)
        if isinstance(part, Grid):
            return self.grid(part, x, y, width)
        assert isinstance(part, Listing)
        for mark, line in zip(part.marks(), part.lines, strict=True):
            self.words(mark, PLAIN, size, x, y, width)
            indent = paper.INDENT * size
            y = self.words(line, PLAIN, size, x + indent, y, width - indent)
        return y

    def picture(self, part: Picture, x: float, y: float, width: float) -> float:
        """Place a picture, its words below."""
        from reportlab.lib.utils import ImageReader

        y -= width * part.shape
        self.canvas.drawImage(ImageReader(io.BytesIO(part.png)), x, y, width, width * part.shape)
        return self.words(part.words, PLAIN, self.size, x, y, width)

    def grid(self, grid: Grid, x: float, y: float, width: float) -> float:
        """Write a table."""
        widths = paper.column_widths(grid, width, self.size)
        heights = paper.row_heights(grid, width, self.size)
        for number, (row, height) in enumerate(zip(paper.rows_of(grid), heights, strict=True)):
            self.cells(row, widths, x, y, height, paper.face_of(grid, number), grid.left)
            y -= height
        return y - paper.BELOW * self.size

    def cells(
        self, row: Sequence[str], widths: Sequence[float], x: float, y: float, height: float,
        face: str = PLAIN, left: int = 1,
    ) -> None:  # fmt: skip
        """Write one row of a table with its frame."""
        pad = PAD * self.size
        for number, (text, wide) in enumerate(zip(row, widths, strict=True)):
            self.canvas.rect(x, y - height, wide, height)
            inner = paper.inner(wide, self.size)
            shift = (wide - inner) / 2
            self.words(text, face, self.size, x + shift, y - pad / 2, inner, number >= left)
            x += wide

    def words(
        self, text: str, face: str, size: float, x: float, y: float, width: float,
        right: bool = False,
    ) -> float:  # fmt: skip
        """Write a paragraph; returns where it ends."""
        for line in paper.broken(text, face, size, width):
            if line:
                self.canvas.setFont(face, size)
                base = y - BASE * size - (LEADING - 1) / 2 * size + 0.1 * size
                if right:
                    self.canvas.drawRightString(x + width, base, line)
                else:
                    self.canvas.drawString(x, base, line)
            y -= size * LEADING
        return y


def escaped(sheet: Sheet) -> bool:
    """Whether some letters of a sheet can only be shown by their numbers in a PDF."""
    return any(showable(text) != text for text in sheet.texts())
