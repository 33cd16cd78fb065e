"""Say where the numbers come from."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit
from treatsim.console import deliver, form_of


def run(arguments) -> int:
    """Print where the numbers come from."""
    from treatsim import sources

    form_of(arguments, ".txt")
    keys = [arguments.key] if arguments.key else sorted(sources.load())
    width = max(len(key) for key in keys)
    deliver("".join(f"{key:<{width}}  {sources.cite(key)}\n" for key in keys), arguments.out)
    return Exit.DONE


COMMAND = Command(
    run,
    "Say where the numbers come from.",
    "treatsim sources cfr_141_720",
    ("KEY", "--out"),
)
