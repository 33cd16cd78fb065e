"""Find the operating point: flows, pressures, quality, dose, energy, limits."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of, no_search_for_rubbish, tell


def run(arguments) -> int:
    """Solve one case at its settings."""
    with no_search_for_rubbish(arguments.alone):
        return solved(arguments)


def solved(arguments) -> int:
    """Solve, tell, and return the exit status."""
    from treatsim import cases
    from treatsim.report import document, screen, tables
    from treatsim.report.as_text import as_json
    from treatsim.safety.verdict import judge
    from treatsim.studies.remedies import remedies
    from treatsim.studies.uncertainty import quick_chances

    form = form_of(arguments, ".txt", ".json")
    case = cases.load(arguments.case, changes(arguments))
    verdict = judge(case.solve())
    helpful, chances = remedies(case, verdict, arguments.units), quick_chances(case, verdict)
    if form == ".json":
        text = as_json(document.document(verdict, helpful, arguments.units, chances=chances))
    else:
        told = tables.full_text if arguments.full else screen.screen_text
        text = told(verdict, helpful, arguments.units, colour=colour(arguments), chances=chances)
    deliver(text, arguments.out)
    return verdict_status(verdict, arguments)


def verdict_status(verdict, arguments) -> int:
    """Return the exit status of one solved point, and tell why where it is not 0."""
    if not verdict.result.solved[0]:
        tell(f"no operating point: {verdict.result.reason(0, arguments.units)}")
        return Exit.NO_SOLUTION
    if arguments.strict:
        lines = verdict.excursions(0, arguments.units)
        lines += [f"not judged: {limit.name}" for limit in verdict.of_state("not_judged")]
        for line in lines:
            tell(f"--strict: {line}")
        return Exit.NOT_MET if lines or verdict.broken[0] else Exit.DONE
    return Exit.NOT_MET if verdict.broken[0] else Exit.DONE


COMMAND = Command(
    run,
    "Find the operating point: flows, pressures, quality, dose, energy, limits.",
    'treatsim solve cases/river.toml --set "lift_pump.speed=85 %"',
    ("CASE", "--set", "--full", "--json", "--units", "--strict", "--out"),
)
