"""Membranes new, today and at the end of their life, in cold and in warm water."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of


def run(arguments) -> int:
    """Solve a case over the life of its membranes."""
    import numpy as np

    from treatsim import cases
    from treatsim.report import ageing_text
    from treatsim.report.as_text import as_json
    from treatsim.report.progress import Progress
    from treatsim.studies.ageing import ageing

    form = form_of(arguments, ".txt", ".json")
    case = cases.load(arguments.case, changes(arguments))
    with Progress("batches") as progress:
        found = ageing(case, progress)
    if form == ".json":
        text = as_json(ageing_text.ageing_document(case, found, arguments.units))
    else:
        full, tinted = arguments.full, colour(arguments)
        text = ageing_text.ageing_text(case, found, arguments.units, full=full, colour=tinted)
    deliver(text, arguments.out)
    solved = np.array([verdict.result.solved for verdict in found.fixed])
    if not np.any(solved):
        return Exit.NO_SOLUTION
    # by what the case is set to, in each state: what a turned dial would give is told beside it
    broken = any(np.any(verdict.broken) for verdict in found.fixed)
    return Exit.NOT_MET if broken or not np.all(solved) else Exit.DONE


COMMAND = Command(
    run,
    "Membranes new, today and at the end of life, cold and warm: what runs out, and when.",
    "treatsim ageing cases/sea.toml",
    ("CASE", "--set", "--full", "--json", "--units", "--out"),
)
