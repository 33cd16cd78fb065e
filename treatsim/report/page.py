"""A page of text: headed tables, lists and lines, rendered once."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence

from treatsim import quantities
from treatsim.operations.outcome import Value, at

WIDTH = 100


class Page:
    """Collects headed tables and lines, and renders them once."""

    def __init__(self, colour: bool, width: int = WIDTH) -> None:
        from rich.console import Console

        self.width = width
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

        table = Table(
            box=None,
            padding=(0, 2, 0, 0),
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


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width) or [""]


def cell(value: Value, system: str, point: int = 0, digits: int = 4) -> str:
    """Return a value with its unit, for one point."""
    return quantities.text(float(at(value.value, point)), value.quantity, system, digits)
