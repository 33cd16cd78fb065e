"""Command line: arguments in, text or JSON out. No physics here.

Heavy modules are imported by the commands that need them, so that help is quick.
"""

from __future__ import annotations

import argparse
import contextlib
import enum
import os
import signal
from collections.abc import Sequence
from pathlib import Path

from treatsim import __version__, errors
from treatsim.cli_options import OPTIONS
from treatsim.console import (
    Parser,
    deliver,
    did_you_mean,
    drop_output,
    escape_what_output_cannot_hold,
    form_of,
    on_terminal,
    report_problems,
    signals_heard,
    tell,
)


class Exit(enum.IntEnum):
    """Exit statuses."""

    DONE = 0  # done, and every criterion is met
    NOT_MET = 1  # done, and a criterion is not met
    WRONG = 2  # the request or the case is wrong
    NO_SOLUTION = 3  # no operating point exists at this setting
    INTERNAL = 70
    HUNG_UP = 128 + signal.SIGHUP
    INTERRUPTED = 128 + signal.SIGINT
    TERMINATED = 128 + signal.SIGTERM


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    escape_what_output_cannot_hold()
    arguments = parsed(argv)
    try:
        with signals_heard():
            return run(arguments)
    except errors.RequestError as error:
        report_problems(error.problems, isinstance(error, errors.OutputError))
        return Exit.WRONG
    except KeyboardInterrupt as stop:
        number = getattr(stop, "number", signal.SIGINT)
        named = signal.Signals(number).name
        tell("interrupted" if number == signal.SIGINT else f"ended by {named}")
        return Exit(128 + number)
    except BrokenPipeError:  # the reader has seen enough
        drop_output()
        return Exit.DONE
    except Exception as error:
        if arguments.debug:
            raise
        tell(f"internal error: {type(error).__name__}: {error}".splitlines()[0])
        tell("this is a fault of treatsim; run again with --debug and report what it prints")
        return Exit.INTERNAL


def run(arguments) -> int:
    """Run a command; without any solution a document that was asked for says so."""
    try:
        return int(arguments.run(arguments))
    except errors.NoSolutionError as error:
        if getattr(arguments, "json", False) or str(arguments.out).lower().endswith(".json"):
            from treatsim.report import document
            from treatsim.report.as_text import as_json

            case = getattr(arguments, "case", None) or ", ".join(arguments.cases)
            deliver(as_json(document.unanswered(case, str(error))), arguments.out)
        tell(str(error))
        return Exit.NO_SOLUTION


def parsed(argv: Sequence[str] | None):
    """Return the arguments; one that is unknown ends the program with the nearest it knows."""
    top = parser()
    if "_ARGCOMPLETE" in os.environ:  # a shell asks what may come next
        import argcomplete

        argcomplete.autocomplete(top)
    arguments, unknown = top.parse_known_args(argv)
    if unknown:
        flags = [flag for name in arguments.options for flag in OPTIONS[name][0] if flag[0] == "-"]
        hint = did_you_mean(unknown[0].partition("=")[0], flags)
        top.error(f"unrecognized arguments: {' '.join(unknown)}{hint}")
    return arguments


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    top = Parser(
        prog="treatsim",
        description="Process simulation of small mobile drinking-water treatment units. "
        "A planning aid: it does not replace testing, approval or licensed practice.",
    )
    top.add_argument("--version", action="version", version=f"treatsim {__version__}")
    commands = top.add_subparsers(required=True, metavar="COMMAND", title="commands")
    for name, (function, summary, example, options) in COMMANDS.items():
        command = commands.add_parser(
            name,
            help=summary,
            description=summary,
            epilog=f"example: {example}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        command.set_defaults(run=function, options=options)
        for option in (*options, "--debug"):
            flags, settings = OPTIONS[option]
            command.add_argument(*flags, **settings)
    return top


def changes(arguments) -> dict[str, str]:
    """Return the --set options as a mapping."""
    found = {}
    for text in arguments.set or ():
        address, equals, value = text.partition("=")
        if not equals or not address.strip():
            raise errors.RequestError(
                f'--set {text}: write ADDRESS=VALUE, such as "lift_pump.speed=85 %"'
            )
        found[address.strip()] = value.strip()
    return found


def run_new(arguments) -> int:
    """Write a commented case file to start from."""
    from treatsim.report import starters

    form_of(arguments, ".toml")
    text = starters.starter(arguments.kind)
    with contextlib.suppress(OSError):  # of a name that cannot be looked up, writing tells
        if arguments.out and Path(arguments.out).is_file():  # most likely a case someone edited
            raise errors.RequestError(f"--out {arguments.out}: is there already; name a new file")
    deliver(text, arguments.out)
    return Exit.DONE


def run_describe(arguments) -> int:
    """Say what can be written and what is told."""
    from treatsim.report.as_text import as_json
    from treatsim.report.describe import describe
    from treatsim.report.describe_text import describe_text

    form = form_of(arguments, ".txt", ".json")
    told = describe(arguments.names)
    text = as_json(told.document()) if form == ".json" else describe_text(told)
    deliver(text, arguments.out)
    return Exit.DONE


def run_solve(arguments) -> int:
    """Solve one case at its settings."""
    from treatsim import cases
    from treatsim.report import document, screen, tables
    from treatsim.report.as_text import as_json
    from treatsim.safety.verdict import judge
    from treatsim.studies.remedies import remedies

    form = form_of(arguments, ".txt", ".json")
    case = cases.load(arguments.case, changes(arguments))
    verdict = judge(case.solve())
    helpful = remedies(case, verdict, arguments.units)
    if form == ".json":
        text = as_json(document.document(verdict, helpful, arguments.units))
    else:
        write = tables.full_text if arguments.full else screen.screen_text
        text = write(verdict, helpful, arguments.units, colour=colour(arguments))
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


def run_compare(arguments) -> int:
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


def run_figures(arguments) -> int:
    """Draw the design plots of cases, or the gallery of a checkout."""
    from treatsim.report import gallery, plots
    from treatsim.report.progress import Progress

    pictures = gallery.of_cases(arguments.cases) if arguments.cases else gallery.gallery()
    folder = arguments.out or gallery.default_folder(arguments.cases)
    rasters = plots.NAMES if arguments.png else () if arguments.cases else gallery.RASTERED
    with Progress("pictures") as progress:
        names = gallery.write(pictures, folder, rasters, progress)
    deliver("".join(f"{folder}/{name}\n" for name in names), None)
    return Exit.DONE


def run_sweep(arguments) -> int:
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


def run_find(arguments) -> int:
    """Find the settings that meet a target."""
    from treatsim import cases
    from treatsim.report.as_text import as_json
    from treatsim.studies.find import find

    form = form_of(arguments, ".txt", ".json")
    case = cases.load(arguments.case, changes(arguments))
    found = find(case, arguments.adjust, arguments.until or (), best=arguments.best)
    if form == ".json":
        text = as_json(found.document(arguments.units))
    else:
        text = "\n".join(found.lines(arguments.units)) + "\n"
    deliver(text, arguments.out)
    return Exit.DONE if found.found else Exit.NOT_MET


def run_sources(arguments) -> int:
    """Print where the numbers come from."""
    from treatsim import sources

    form_of(arguments, ".txt")
    keys = [arguments.key] if arguments.key else sorted(sources.load())
    width = max(len(key) for key in keys)
    deliver("".join(f"{key:<{width}}  {sources.cite(key)}\n" for key in keys), arguments.out)
    return Exit.DONE


def colour(arguments) -> bool:
    """Whether the text may carry colour: a terminal, no file, NO_COLOR unset."""
    return arguments.out is None and on_terminal() and not os.environ.get("NO_COLOR")


SOLVING = ("CASE", "--set", "--full", "--json", "--units", "--strict", "--out")
COMMANDS: dict[str, tuple] = {
    "new": (
        run_new,
        "Write a commented case file to start from.",
        "treatsim new river --out camp.toml",
        ("KIND", "--out"),
    ),
    "describe": (
        run_describe,
        "Say what can be written and what is told: of a kind, a table, a case or an address.",
        "treatsim describe uv_reactor",
        ("[NAMES]", "--json", "--out"),
    ),
    "solve": (
        run_solve,
        "Find the operating point: flows, pressures, quality, dose, energy, limits.",
        'treatsim solve cases/river.toml --set "lift_pump.speed=85 %"',
        SOLVING,
    ),
    "find": (
        run_find,
        "Find the largest and smallest setting that still meets a target, and what holds it.",
        "treatsim find cases/river.toml --adjust lift_pump.speed "
        '--until "uv.dose_credited >= 12 mJ/cm2"',
        ("CASE", "--adjust", "--until", "--best", "--set", "--json", "--units", "--out"),
    ),
    "sweep": (
        run_sweep,
        "Solve a table of settings: each row says what is met, or why there is no answer.",
        'treatsim sweep cases/river.toml --vary "lift_pump.speed=50 %:100 %:41" --out speeds.csv',
        ("CASE", "--vary", "--show", "--set", "--json", "--units", "--strict", "--out TABLE"),
    ),
    "compare": (
        run_compare,
        "Put cases side by side: water, energy per litre and where it goes.",
        "treatsim compare cases/river.toml cases/sea.toml",
        ("CASES", "--set", "--json", "--units", "--out"),
    ),
    "figures": (
        run_figures,
        "Draw the design plots of cases (none named: the gallery of a checkout) and their numbers.",
        "treatsim figures cases/river.toml --out river-figures",
        ("[CASES]", "--png", "--out DIR"),
    ),
    "sources": (
        run_sources,
        "Say where the numbers come from.",
        "treatsim sources cfr_141_720",
        ("KEY", "--out"),
    ),
}
