"""Run the command line in this process."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path
from typing import NamedTuple

from treatsim import cli

ROOT = Path(__file__).resolve().parents[1]
RIVER = ROOT / "cases/river.toml"


class Run(NamedTuple):
    """What a command gave."""

    status: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        """Lines of standard error."""
        return self.err.splitlines()


def treatsim(*arguments) -> Run:
    """Run one command."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = cli.main([str(argument) for argument in arguments])
        except SystemExit as end:
            status = int(end.code or 0)
    return Run(int(status), out.getvalue(), err.getvalue())


def river(folder: Path, *changes: tuple[str, str], name: str = "case.toml") -> Path:
    """Write the river case with some texts replaced, each of which must stand there once."""
    text = RIVER.read_text("utf-8")
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in river.toml"
        text = text.replace(old, new)
    path = folder / name
    path.write_text(text, "utf-8")
    return path
