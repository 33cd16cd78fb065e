"""Solve a table of settings: each row says what is met, or why there is no answer."""

from __future__ import annotations

from treatsim.commands.common import Command, Exit, changes
from treatsim.console import deliver, form_of, on_terminal, tell


def run(arguments) -> int:
    """Solve a table of settings."""
    from treatsim import cases
    from treatsim.report import sweep_files, sweep_text
    from treatsim.report.progress import Progress
    from treatsim.studies.sweep import Watch, sweep
    from treatsim.studies.vary import axes_of, grid_of

    form_of(arguments, *sweep_files.NEEDED)
    if arguments.out:
        sweep_files.check_path(arguments.out)
    case = cases.load(arguments.case, changes(arguments))
    axes = axes_of(arguments.vary)
    points = grid_of(case, axes).points
    if arguments.out:
        sweep_files.check_path(arguments.out, points)
    elif on_terminal() and not arguments.json:
        sweep_text.check_rows(points)
    with Progress("points") as progress:
        table = sweep(
            case,
            axes,
            show=arguments.show or (),
            strict=arguments.strict,
            system=arguments.units,
            keep=arguments.out,
            finish=lambda table: deliver_table(case, table, arguments),
            watch=Watch(progress, tell),
        )
    if note := table.outside_note():
        tell(note)
    if not table.answered:
        return Exit.NO_SOLUTION
    return Exit.DONE if table.any_kept else Exit.NOT_MET


def deliver_table(case, table, arguments) -> None:
    """Write a sweep to its file, or print it: for people on a terminal, as CSV into a pipe."""
    from treatsim.report import sweep_files, sweep_text
    from treatsim.report.files import write_whole

    suffix = form_of(arguments, *sweep_files.NEEDED)
    if suffix == ".json":
        deliver(sweep_files.json_text(case.path, table, arguments.units), arguments.out)
    elif suffix:
        write_whole(arguments.out, sweep_files.encode(table, suffix, arguments.units))
    elif on_terminal():
        deliver(sweep_text.sweep_text(table, arguments.units), None)
    else:
        deliver(sweep_files.csv_text(table, arguments.units), None)


COMMAND = Command(
    run,
    "Solve a table of settings: each row says what is met, or why there is no answer.",
    'treatsim sweep cases/river.toml --vary "lift_pump.speed=50 %:100 %:41" --out speeds.csv',
    ("CASE", "--vary", "--show", "--set", "--json", "--units", "--strict", "--out TABLE"),
)
