"""A page that runs: its Python blocks in order, each held against the text shown below it."""

from __future__ import annotations

import contextlib
import io
import re
import sys
from pathlib import Path

BLOCK = re.compile(r"```python\n(?P<code>.*?)```(?:\n+```text\n(?P<shown>.*?)```)?", re.DOTALL)
RENEW = "if the change is meant, run: python tests/blocks.py "


def blocks(page: Path) -> list[tuple[str, str]]:
    """Return (code, text shown below it, or "") of every block."""
    return [(m["code"], m["shown"] or "") for m in BLOCK.finditer(page.read_text("utf-8"))]


def run(page: Path) -> dict:
    """Run the blocks of a page one after the other; AssertionError where one shows other text."""
    names: dict = {}
    for code, shown in blocks(page):
        assert _lines(_told(code, names)) == _lines(shown), f"{code}\n{RENEW}{page}"
    return names


def renewed(page: Path) -> str:
    """Return the page with what its blocks show now."""
    names: dict = {}

    def anew(match: re.Match) -> str:
        told = _told(match["code"], names)
        shown = f"\n\n```text\n{told}```" if told else ""
        return f"```python\n{match['code']}```{shown}"

    return BLOCK.sub(anew, page.read_text("utf-8"))


def _told(code: str, names: dict) -> str:
    told = io.StringIO()
    with contextlib.redirect_stdout(told):
        exec(compile(code, "block", "exec"), names)
    return told.getvalue()


def _lines(text: str) -> list[str]:
    return [line.rstrip() for line in text.strip("\n").split("\n")]


if __name__ == "__main__":
    for name in sys.argv[1:]:
        Path(name).write_text(renewed(Path(name)), "utf-8")
