"""One day by the local clock: when to start and stop, what may be plugged in, what is left."""

from __future__ import annotations

from pathlib import Path

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of
from treatsim.errors import RequestError


def run(arguments) -> int:
    """Run a case through one day."""
    from treatsim import cases
    from treatsim.power.one_day import day_of_year
    from treatsim.report import day_text
    from treatsim.report.as_text import as_json
    from treatsim.report.progress import Progress
    from treatsim.running.day import day_of_case, night_of

    form = form_of(arguments, ".txt", ".json")
    date = None if arguments.date is None else day_of_year(arguments.date)
    case = cases.load(arguments.case, changes(arguments))
    try:
        with Progress("day") as progress:
            found = day_of_case(case, Path(case.path).parent, date, arguments.dull, progress)
    except RequestError as error:
        raise RequestError([f"{case.path}: {problem}" for problem in error.problems]) from error
    if form == ".json":
        text = as_json(day_text.day_document(case, found, arguments.units))
    else:
        text = day_text.day_text(case, found, arguments.units, colour=colour(arguments))
    deliver(text, arguments.out)
    fit = not found.missed and night_of(found).missing <= 0
    return Exit.DONE if fit else Exit.NOT_MET


COMMAND = Command(
    run,
    "One day by the local clock: when to start and stop, what may be plugged in, what is left.",
    "treatsim day cases/sea.toml --date 06-15 --dull",
    ("CASE", "--date", "--dull", "--set", "--json", "--units", "--out"),
)
