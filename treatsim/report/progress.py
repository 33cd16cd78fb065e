"""Progress on standard error: on a terminal only, and only for what takes longer than a moment."""

from __future__ import annotations

import sys
import time
from typing import Any

PATIENCE = 2.0  # s


class Progress:
    """Call it with (done, total); use it as a context so that the line is cleared."""

    def __init__(self, what: str) -> None:
        self.what, self.start = what, time.monotonic()
        self.bar: Any = None
        self.task: Any = None

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *problem) -> None:
        if self.bar is not None:
            self.bar.stop()

    def __call__(self, done: int, total: int) -> None:
        """Show that `done` of `total` points are finished."""
        if self.bar is None:
            if (
                sys.stderr is None
                or not sys.stderr.isatty()
                or time.monotonic() - self.start < PATIENCE
            ):
                return
            self._begin(total)
        self.bar.update(self.task, completed=done)

    def _begin(self, total: int) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

        self.bar = Progress(
            self.what,
            BarColumn(),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            transient=True,
        )
        self.task = self.bar.add_task(self.what, total=total)
        self.bar.start()
