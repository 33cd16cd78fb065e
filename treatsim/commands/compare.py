"""Put cases side by side: water, energy per litre and where it goes."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes, colour
from treatsim.console import deliver, form_of, tell


def run(arguments) -> int:
    """Solve several cases and put them side by side."""
    from treatsim import case_files
    from treatsim.report import compare_text
    from treatsim.report.as_text import as_json
    from treatsim.safety.verdict import judge
    from treatsim.studies.compare import compare

    form = form_of(arguments, ".txt", ".json", ".csv")
    loaded = case_files.load_all(arguments.cases, changes(arguments))
    verdicts = [judge(case.solve()) for case in loaded]
    rows = compare(verdicts)
    if form == ".csv":
        text = compare_text.compare_csv(verdicts, rows, arguments.units)
    elif form == ".json":
        data = compare_text.compare_document(verdicts, rows, arguments.units)
        text = as_json(data)
    else:
        text = compare_text.compare_text(verdicts, rows, arguments.units, colour=colour(arguments))
    deliver(text, arguments.out)
    lost = [verdict for verdict in verdicts if not verdict.result.solved[0]]
    for verdict in lost:
        reason = verdict.result.reason(0, arguments.units)
        tell(f"{verdict.result.context.path}: no operating point: {reason}")
    if lost:
        return Exit.NO_SOLUTION
    return Exit.NOT_MET if any(verdict.broken[0] for verdict in verdicts) else Exit.DONE


COMMAND = Command(
    run,
    "Put cases side by side: water, energy per litre and where it goes.",
    "treatsim compare cases/river.toml cases/sea.toml",
    ("CASES", "--set", "--json", "--units", "--out"),
)
