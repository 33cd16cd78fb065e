"""A page of text: headed tables, lists and lines, rendered once."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence

from treatsim import quantities
from treatsim.operations.outcome import Value, at

WIDTH = 100
GAP = 2  # blanks between columns
SAVED = 3  # lines of a table for which its columns are drawn together
NARROWEST = 60  # below, no table can be read


class Page:
    """Collects headed tables and lines, and renders them once."""

    def __init__(self, colour: bool, width: int = WIDTH) -> None:
        from rich.console import Console

        self.width = width = min(width, terminal_width()) if colour else width
        self.buffer = io.StringIO()
        self.console = Console(
            file=self.buffer,
            width=width,
            force_terminal=colour,
            no_color=not colour,
            highlight=False,
            soft_wrap=False,
            emoji=False,
            markup=False,
        )

    def line(self, text: str = "", style: str = "") -> None:
        """Add one line."""
        self.console.print(text, style=style or None)

    def head(self, text: str) -> None:
        """Add a heading."""
        self.console.print()
        self.console.print(text.upper(), style="bold")

    def listing(self, lines: Iterable[str]) -> None:
        """Add lines, each set off by a dash and wrapped."""
        from rich.padding import Padding

        for text in lines:
            first, *rest = _wrapped(text, self.width - 4)
            self.console.print(Padding("- " + "\n  ".join([first, *rest]), (0, 0, 0, 1)))

    def numbered(self, number: int, text: str) -> None:
        """Add one line of a numbered list, wrapped."""
        from rich.padding import Padding

        first, *rest = _wrapped(text, self.width - 6)
        lines = f"{number:>2}. " + "\n    ".join([first, *rest])
        self.console.print(Padding(lines, (0, 0, 0, 1)))

    def table(self, headings: Sequence[str], rows: Iterable[Sequence[str]], left: int = 1) -> None:
        """Add a table; the first `left` columns are text, the others numbers."""
        from rich.table import Table

        headings, rows, gap = _fitted(headings, list(rows), left, self.width - 1)
        table = Table(
            box=None,
            padding=(0, gap, 0, 0),
            header_style="dim",
            pad_edge=False,
            show_header=any(headings),
        )
        for number, heading in enumerate(headings):
            table.add_column(heading, justify="left" if number < left else "right", overflow="fold")
        for row in rows:
            table.add_row(*row)
        from rich.padding import Padding

        self.console.print(Padding(table, (0, 0, 0, 1)))

    def text(self) -> str:
        """Return everything, without blanks at line ends."""
        return "\n".join(line.rstrip() for line in self.buffer.getvalue().splitlines()) + "\n"


def _fitted(
    headings: Sequence[str], rows: list[Sequence[str]], left: int, width: int
) -> tuple[Sequence[str], list[Sequence[str]], int]:
    """Break texts of a table into lines so that it fits; numbers and words stay whole if they can.

    Returns headings, rows and the gap between columns, which is narrowed where that saves lines.
    """
    columns = [[row[n] for row in rows] for n in range(len(headings))]
    most = [max(map(len, column), default=0) for column in columns]
    full = [max(size, *map(len, head.split("\n")))
            for head, size in zip(headings, most, strict=True)]  # fmt: skip
    if sum(full) + GAP * (len(full) - 1) <= width:
        return headings, rows, GAP
    least = [max(map(len, [*_parts(head), *" ".join(column).split()]), default=0)
             for head, column in zip(headings, columns, strict=True)]  # fmt: skip
    sizes = [max(a, b) for a, b in zip(most, least, strict=True)]
    found = []
    for gap in (GAP, 1):
        if tried := _shrunk(sizes, least[:left], width - gap * (len(sizes) - 1)):
            shown = [
                ["\n".join(_broken(cell, size)) for cell, size in zip(row, tried, strict=True)]
                for row in (headings, *rows)
            ]
            height = sum(max(cell.count("\n") for cell in row) for row in shown)
            found.append((height, gap, shown))
    if not found:
        return headings, rows, 1
    wide, close = found[0], found[-1]
    _, gap, shown = close if close[0] <= wide[0] - SAVED else wide
    return shown[0], list(shown[1:]), gap


def _shrunk(sizes: list[int], least: list[int], room: int) -> list[int]:
    """Return widths that fit into the room, the widest text narrowed first; none if none do."""
    tried = list(sizes)
    while sum(tried) > room:
        wide = [n for n, size in enumerate(least) if tried[n] > size]
        if not wide:
            return []
        tried[max(wide, key=tried.__getitem__)] -= 1
    return tried


def _parts(heading: str) -> list[str]:
    """Return what of a heading stays whole: its lines where it has some, else its words."""
    return heading.split("\n") if "\n" in heading else heading.split()


def _broken(text: str, width: int) -> list[str]:
    return [part for line in text.split("\n") for part in _wrapped(line, width)]


def terminal_width() -> int:
    """Return how many letters a line of the terminal takes, or WIDTH where none tells."""
    import shutil

    return max(shutil.get_terminal_size((WIDTH, 0)).columns, NARROWEST)


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width) or [""]


def hung(lines: Iterable[str]) -> list[str]:
    """Return lines wrapped at the width of the terminal, what follows set in below."""
    import textwrap

    width, found = terminal_width(), []
    for line in lines:
        inset = " " * (len(line) - len(line.lstrip()) + 4)
        found += textwrap.wrap(line, width, subsequent_indent=inset, break_on_hyphens=False) or [""]
    return found


def cell(value: Value, system: str, point: int = 0, digits: int = 4) -> str:
    """Return a value with its unit, for one point."""
    return quantities.text(float(at(value.value, point)), value.quantity, system, digits)
