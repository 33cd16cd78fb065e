"""What a sheet is made of, before any paper: headed blocks of words, lists, tables, a picture."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

from treatsim.report.plots.style import pretty_units


@dataclass(frozen=True)
class Words:
    """One paragraph; what is loud is set in bold."""

    text: str
    loud: bool = False

    def texts(self) -> Iterator[str]:
        """Yield every text in the order of reading."""
        yield self.text


@dataclass(frozen=True)
class Listing:
    """Lines one below the other, by dashes or by numbers."""

    lines: tuple[str, ...]
    numbered: bool = False

    def marks(self) -> list[str]:
        """Return what stands before each line."""
        return [f"{n}." if self.numbered else "–" for n in range(1, len(self.lines) + 1)]

    def texts(self) -> Iterator[str]:
        """Yield every text in the order of reading."""
        for mark, line in zip(self.marks(), self.lines, strict=True):
            yield mark
            yield line


@dataclass(frozen=True)
class Grid:
    """A table. Rows in `loud` are set in bold; `left` columns are words, the others numbers."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1
    loud: tuple[int, ...] = ()
    height: float = 0.0  # least height of a row, mm: for what is filled in by hand

    def texts(self) -> Iterator[str]:
        """Yield every text in the order of reading."""
        yield from self.heads
        for row in self.rows:
            yield from row


@dataclass(frozen=True)
class Picture:
    """A drawing in black and white, as wide as its column."""

    png: bytes
    words: str  # below it
    shape: float  # height over width

    def texts(self) -> Iterator[str]:
        """Yield every text in the order of reading."""
        yield self.words


Part = Words | Listing | Grid | Picture


@dataclass(frozen=True)
class Block:
    """A heading and what stands below it; it is never parted."""

    head: str
    parts: tuple[Part, ...]

    def texts(self) -> Iterator[str]:
        """Yield every text in the order of reading."""
        if self.head:
            yield self.head
        for part in self.parts:
            yield from part.texts()


@dataclass(frozen=True)
class Sheet:
    """Both sides of one page."""

    title: str
    place: str  # file and settings
    answer: Block  # what a reader must see first
    front: tuple[Block, ...]
    back: tuple[Block, ...]
    log: Block  # one table, whose rows fill what is left of the back
    foot: str

    def texts(self) -> Iterator[str]:
        """Yield every text of both sides, in the order of reading and as often as it stands."""
        yield from (self.title, self.place)
        yield from self.answer.texts()
        for block in self.front:
            yield from block.texts()
        yield from (self.foot, self.title)
        for block in (*self.back, self.log):
            yield from block.texts()
        yield self.foot


def printed(sheet: Sheet) -> Sheet:
    """Return a sheet whose units are written as print has them; the title stays as it is."""
    return dataclasses.replace(
        sheet,
        answer=_block(sheet.answer),
        front=tuple(map(_block, sheet.front)),
        back=tuple(map(_block, sheet.back)),
        log=_block(sheet.log),
    )


def _block(block: Block) -> Block:
    return Block(pretty_units(block.head), tuple(map(_part, block.parts)))


def _part(part: Part) -> Part:
    if isinstance(part, Grid):
        return dataclasses.replace(
            part,
            heads=tuple(map(pretty_units, part.heads)),
            rows=tuple(tuple(map(pretty_units, row)) for row in part.rows),
        )
    if isinstance(part, Listing):
        return dataclasses.replace(part, lines=tuple(map(pretty_units, part.lines)))
    if isinstance(part, Words):
        return dataclasses.replace(part, text=pretty_units(part.text))
    return dataclasses.replace(part, words=pretty_units(part.words))
