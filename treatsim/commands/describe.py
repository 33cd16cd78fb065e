"""Say what can be written and what is told: of a kind, a table, a case or an address."""

from __future__ import annotations

from collections.abc import Sequence

from treatsim.commands.common import Command, Exit
from treatsim.console import deliver, form_of, no_search_for_rubbish


def run(arguments) -> int:
    """Say what can be written and what is told."""
    from treatsim.report.description_kept import description_text

    names, json = arguments.names, form_of(arguments, ".txt", ".json") == ".json"
    with no_search_for_rubbish(arguments.alone):
        text = description_text(names, json, lambda: made(names, json))
    deliver(text, arguments.out)
    return Exit.DONE


def made(names: Sequence[str], json: bool) -> str:
    """Return the text of a description that is not kept from an earlier run."""
    from treatsim.report.as_text import as_json
    from treatsim.report.describe import describe
    from treatsim.report.describe_text import describe_text

    told = describe(names)
    if not json:
        return describe_text(told)
    return as_json(told.document())


COMMAND = Command(
    run,
    "Say what can be written and what is told: of a kind, a table, a case or an address.",
    "treatsim describe uv_reactor",
    ("[NAMES]", "--json", "--out"),
)
