"""Say what can be written and what is told: of a kind, a table, a case or an address."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit
from treatsim.console import deliver, form_of


def run(arguments) -> int:
    """Say what can be written and what is told."""
    from treatsim.report.as_text import as_json
    from treatsim.report.describe import describe
    from treatsim.report.describe_text import describe_text

    form = form_of(arguments, ".txt", ".json")
    told = describe(arguments.names)
    text = as_json(told.document()) if form == ".json" else describe_text(told)
    deliver(text, arguments.out)
    return Exit.DONE


COMMAND = Command(
    run,
    "Say what can be written and what is told: of a kind, a table, a case or an address.",
    "treatsim describe uv_reactor",
    ("[NAMES]", "--json", "--out"),
)
