"""What goes to the outside: results to standard output, all else to standard error; signals.

Either stream may be closed, full, or unable to hold a letter; none of that is a fault of treatsim.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import io
import os
import re
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from typing import NoReturn

from treatsim import errors


class Stopped(KeyboardInterrupt):
    """Ended from outside by a signal; what is finished is kept as after an interruption."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(number)


@contextlib.contextmanager
def signals_heard() -> Iterator[None]:
    """Let TERM and HUP end a run as an interruption does; an ignored HUP (nohup) stays ignored."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(number, _frame):
        raise Stopped(number)

    heard = [s for s in (signal.SIGTERM, signal.SIGHUP) if signal.getsignal(s) == signal.SIG_DFL]
    for number in heard:
        signal.signal(number, stop)
    try:
        yield
    finally:
        for number in heard:
            signal.signal(number, signal.SIG_DFL)


@contextlib.contextmanager
def no_search_for_rubbish(alone: bool) -> Iterator[None]:
    """Leave what refers to itself where it is until one answer is made: 5 % of a start.

    Where the process makes this answer alone, it ends without that search: 5 % more.
    """
    searched = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searched:
            if alone:
                gc.freeze()
            gc.enable()


def escape_what_output_cannot_hold() -> None:
    """Let a letter outside the encoding of standard output be escaped."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")


def tell(text: str) -> None:
    """Print one line to standard error, if anyone can be told."""
    with contextlib.suppress(OSError, ValueError):
        if sys.stderr is not None:
            sys.stderr.write(f"{errors.plain(text)}\n")
            sys.stderr.flush()


def report_problems(problems: Sequence[str], solved: bool = False) -> None:
    """Print every problem, then how many there are and what was not done."""
    for line in problems:
        tell(line)
    many = f"{len(problems)} problems" if len(problems) != 1 else "1 problem"
    tell(f"{many}; nothing was {'written' if solved else 'run'}")


def form_of(arguments, *legal: str) -> str:
    """Return the suffix of the form asked for, by --out or --json; "" for text to be printed."""
    if arguments.out is None:
        return ".json" if getattr(arguments, "json", False) else ""
    from treatsim.report.files import suffix_of

    suffix = suffix_of(arguments.out, legal)
    if getattr(arguments, "json", False) and suffix != ".json":
        raise errors.RequestError(f"--out {arguments.out}: --json writes a .json file")
    return suffix


def deliver(text: str, out: str | None) -> None:
    """Print the result, or write it to a file."""
    if out is not None:
        from treatsim.report.files import write_whole

        write_whole(out, text)
        return
    if sys.stdout is None:
        raise errors.OutputError("standard output is closed; write to a file with --out")
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        drop_output()
        reason = (error.strerror or "error").lower()
        raise errors.OutputError(f"standard output cannot be written: {reason}") from error


def drop_output() -> None:
    """Let nothing more be written: what is still held back would fail again at the end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def on_terminal() -> bool:
    """Whether people read standard output."""
    return sys.stdout is not None and sys.stdout.isatty()


class Parser(argparse.ArgumentParser):
    """Names the nearest word for a misspelt one, and keeps to standard error."""

    def _print_message(self, message, file=None) -> None:
        """Print help or version; an output that is full is told, as of any other result."""
        if file is None or file is not sys.stdout:
            super()._print_message(message, file)
            return
        try:
            deliver(message, None)
        except BrokenPipeError:
            drop_output()
        except errors.OutputError as error:
            report_problems(error.problems, True)
            sys.exit(2)

    def error(self, message: str) -> NoReturn:
        """End with the usage and what is wrong, a line each."""
        if match := re.search(r"invalid choice: '(.*?)' \(choose from (.*)\)", message, re.DOTALL):
            message += did_you_mean(match[1], re.findall(r"'([^']*)'", match[2]))
        tell(" ".join(self.format_usage().split()))
        tell(f"{self.prog}: error: {message}")
        sys.exit(2)


def did_you_mean(word: str, known: Sequence[str]) -> str:
    """Return a hint at the nearest known word, or ""."""
    import difflib

    near = difflib.get_close_matches(word[:60], known, n=1)
    return f'; did you mean "{near[0]}"?' if near else ""
