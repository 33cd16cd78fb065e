"""How far may be recovered before each scale, and the acid or antiscalant it takes."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of


def run(arguments) -> int:
    """Look at scale at one recovery, at the worst of the conditions asked for."""
    from treatsim import cases, quantities
    from treatsim.errors import RequestError
    from treatsim.report import scaling_text
    from treatsim.report.as_text import as_json
    from treatsim.report.progress import Progress
    from treatsim.studies.scale_doses import scale_doses
    from treatsim.studies.throughout import conditions_of

    form = form_of(arguments, ".txt", ".json")
    case = cases.load(arguments.case, changes(arguments))
    recovery = None
    if arguments.recovery is not None:
        recovery = quantities.read(arguments.recovery, "fraction")
        if not 0 < recovery < 1:
            raise RequestError(f"--recovery {arguments.recovery}: above 0 and below 100 %")
    conditions = conditions_of(case, arguments.throughout or (), ())
    with Progress("conditions") as progress:
        found = scale_doses(case, recovery, conditions, progress)
    if form == ".json":
        text = as_json(scaling_text.scaling_document(case, found))
    else:
        text = scaling_text.scaling_text(case, found, arguments.units, colour=colour(arguments))
    deliver(text, arguments.out)
    return Exit.NOT_MET if any(vessel.beyond for vessel in found) else Exit.DONE


COMMAND = Command(
    run,
    "How far may be recovered before each scale, and the acid or antiscalant it takes.",
    'treatsim scaling cases/brackish_well.toml --recovery "60 %" '
    '--throughout "water.temperature=20 degC,29 degC"',
    ("CASE", "--recovery", "--throughout", "--set", "--json", "--units", "--out"),
)
