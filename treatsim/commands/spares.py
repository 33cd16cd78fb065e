"""How long filters last and what to bring for months; after some readings, what to order."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of
from treatsim.errors import RequestError


def run(arguments) -> int:
    """Forecast filter life and spares."""
    from treatsim import cases
    from treatsim.report import spares_files, sweep_files
    from treatsim.report.as_text import as_json
    from treatsim.report.files import write_whole
    from treatsim.report.progress import Progress
    from treatsim.report.spares_text import spares_text
    from treatsim.running.outlook import outlook

    form = form_of(arguments, ".txt", ".json", ".csv", ".xlsx")
    if form in (".csv", ".xlsx"):
        sweep_files.check_path(arguments.out)
    case = cases.load(arguments.case, changes(arguments))
    with Progress("scenarios") as progress:
        seen = outlook(
            case,
            arguments.months,
            level=None if arguments.level is None else _share(arguments.level),
            readings=arguments.readings,
            scenarios=arguments.scenarios,
            scheduler=arguments.scheduler,
            progress=progress,
        )
    if form in (".csv", ".xlsx"):
        write_whole(arguments.out, spares_files.encode(seen, form))
    elif form == ".json":
        told = spares_files.document(case.title, case.path, seen, arguments.units)
        deliver(as_json(told), arguments.out)
    else:
        text = spares_text(case.title, case.path, seen, arguments.units, colour=colour(arguments))
        deliver(text, arguments.out)
    if not seen.meets or (arguments.strict and not seen.complete):
        return Exit.NOT_MET
    return Exit.DONE


def _share(text: str) -> float:
    """Return a level given as "95", "95 %" or "0.95"."""
    try:
        number = float(text.replace("%", "").strip())
    except ValueError:
        raise RequestError(f'--level {text[:40]}: a share in percent, such as "95"') from None
    return number / 100 if number > 1 or "%" in text else number


COMMAND = Command(
    run,
    "How long filters last and what to bring for months; with readings, what to order.",
    "treatsim spares cases/river.toml --months 6",
    ("CASE", "--months", "--level", "--readings", "--scenarios", "--scheduler", "--set", "--json",
     "--units", "--strict", "--out"),
)  # fmt: skip
