"""Write a commented case file to start from."""

from __future__ import annotations

import contextlib
from pathlib import Path

from treatsim import errors
from treatsim.commands.common import Command, Exit
from treatsim.console import deliver, form_of, no_search_for_rubbish


def run(arguments) -> int:
    """Write a commented case file to start from."""
    form_of(arguments, ".toml")
    with no_search_for_rubbish(arguments.alone):
        from treatsim.report import starters

        text = starters.starter(arguments.kind)
    with contextlib.suppress(OSError):  # of a name that cannot be looked up, writing tells
        if arguments.out and Path(arguments.out).is_file():  # most likely a case someone edited
            raise errors.RequestError(f"--out {arguments.out}: is there already; name a new file")
    deliver(text, arguments.out)
    return Exit.DONE


COMMAND = Command(
    run,
    "Write a commented case file to start from.",
    "treatsim new river --out camp.toml",
    ("KIND", "--out"),
)
