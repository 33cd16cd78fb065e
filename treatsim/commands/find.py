"""Find the largest and smallest setting that still meets a target, and what holds it."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes
from treatsim.console import deliver, form_of, on_terminal


def run(arguments) -> int:
    """Find the settings that meet a target."""
    from treatsim import cases
    from treatsim.report.as_text import as_json
    from treatsim.report.page import hung
    from treatsim.report.progress import Progress
    from treatsim.studies.find import find

    form = form_of(arguments, ".txt", ".json")
    case = cases.load(arguments.case, changes(arguments))
    with Progress("sizes") as progress:
        found = find(
            case,
            arguments.adjust,
            arguments.until or (),
            best=arguments.best,
            throughout=arguments.throughout or (),
            each=arguments.each,
            progress=progress,
        )
    if form == ".json":
        text = as_json(found.document(arguments.units))
    else:
        lines = found.lines(arguments.units)
        text = "\n".join(hung(lines) if arguments.out is None and on_terminal() else lines) + "\n"
    deliver(text, arguments.out)
    return Exit.DONE if found.found else Exit.NOT_MET


COMMAND = Command(
    run,
    "Find the largest and smallest setting that still meets a target, and what holds it.",
    "treatsim find cases/river.toml --adjust lift_pump.speed "
    '--until "uv.dose_credited >= 12 mJ/cm2"',
    (
        "CASE",
        "--adjust",
        "--until",
        "--best",
        "--throughout",
        "--each",
        "--set",
        "--json",
        "--units",
        "--out",
    ),
)
