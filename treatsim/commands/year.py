"""Litres of a day through the year, what holds them back, and where the energy goes."""

from __future__ import annotations

from pathlib import Path

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of
from treatsim.errors import RequestError


def run(arguments) -> int:
    """Run a case through its years."""
    from treatsim import cases
    from treatsim.report import year_text
    from treatsim.report.as_text import as_json
    from treatsim.report.progress import Progress
    from treatsim.running.year import year_of_case

    form = form_of(arguments, ".txt", ".json")
    case = cases.load(arguments.case, changes(arguments))
    try:
        with Progress("year") as progress:
            found = year_of_case(case, Path(case.path).parent, progress)
    except RequestError as error:
        raise RequestError([f"{case.path}: {problem}" for problem in error.problems]) from error
    if form == ".json":
        text = as_json(year_text.year_document(case, found, arguments.units))
    else:
        text = year_text.year_text(case, found, arguments.units, colour=colour(arguments))
    deliver(text, arguments.out)
    return Exit.NOT_MET if found.state == "not_met" else Exit.DONE


COMMAND = Command(
    run,
    "Litres of a day through the year, what holds them back, and where the energy goes.",
    "treatsim year cases/sea.toml",
    ("CASE", "--set", "--json", "--units", "--out"),
)
