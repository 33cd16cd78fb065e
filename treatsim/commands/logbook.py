"""Hold logged readings against the model: what drifts, why, and when to act."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of, tell

FORMS = (".txt", ".json", ".csv", ".svg", ".png", ".toml")


def run(arguments) -> int:
    """Judge a log."""
    from treatsim import cases
    from treatsim.report import logbook_files, logbook_text
    from treatsim.report.files import write_whole
    from treatsim.report.progress import Progress
    from treatsim.running.logbook import study

    form = form_of(arguments, *FORMS)
    case = cases.load(arguments.case, changes(arguments))
    with Progress("rows") as progress:
        book = study(case, arguments.readings, progress)
    if form in (".svg", ".png"):
        write_whole(arguments.out, logbook_files.picture(case, book, form[1:]))
    elif form:
        write = logbook_files.WRITERS[form]
        deliver(write(case, book, arguments.units), arguments.out)
    else:
        full, tinted = arguments.full, colour(arguments)
        deliver(
            logbook_text.logbook_text(case, book, arguments.units, full=full, colour=tinted),
            arguments.out,
        )
    for line in book.urgent if form else ():  # the page leads with them
        tell(line)
    return Exit.NOT_MET if book.acts else Exit.DONE


COMMAND = Command(
    run,
    "Hold logged readings against the model: what drifts, why, and when to act.",
    "treatsim logbook cases/worn_well.toml cases/worn_well.csv",
    ("CASE", "READINGS", "--set", "--full", "--json", "--units", "--out LOG"),
)
