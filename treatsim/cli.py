"""Command line: arguments in, text or JSON out. No physics here.

A command is a file in `commands/`; heavy modules are imported inside it, so that help is quick.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
from collections.abc import Sequence
from functools import cache

from treatsim import __version__, errors
from treatsim.cli_options import OPTIONS
from treatsim.commands import (
    ageing,
    compare,
    day,
    describe,
    figures,
    find,
    logbook,
    new,
    page,
    scaling,
    sheet,
    solve,
    sources,
    spares,
    startup,
    sweep,
    uncertainty,
    year,
)
from treatsim.commands.common import Command, Exit
from treatsim.console import (
    Parser,
    deliver,
    did_you_mean,
    drop_output,
    escape_what_output_cannot_hold,
    report_problems,
    signals_heard,
    tell,
)


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
    if "_ARGCOMPLETE" in os.environ:  # a shell asks what may come next
        from treatsim.completion import complete

        complete(parser())
    words = sys.argv[1:] if argv is None else argv
    top = parser(words[0] if words and words[0] in COMMANDS else "")
    arguments, unknown = top.parse_known_args(argv)
    arguments.alone = argv is None
    if unknown:
        flags = [flag for name in arguments.options for flag in OPTIONS[name][0] if flag[0] == "-"]
        hint = did_you_mean(unknown[0].partition("=")[0], flags)
        top.error(f"unrecognized arguments: {' '.join(unknown)}{hint}")
    return arguments


@cache  # `main` may be called many times by one program
def parser(only: str = "") -> argparse.ArgumentParser:
    """Return the parser of the whole command line, or of one command: all take 10 ms."""
    top = Parser(
        prog="treatsim",
        description="Process simulation of small mobile drinking-water treatment units. "
        "A planning aid: it does not replace testing, approval or licensed practice.",
    )
    top.add_argument("--version", action="version", version=f"treatsim {__version__}")
    commands = top.add_subparsers(required=True, metavar="COMMAND", title="commands")
    for name in [only] if only else COMMANDS:
        function, summary, example, options = COMMANDS[name]
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


COMMANDS: dict[str, Command] = {
    "new": new.COMMAND,
    "describe": describe.COMMAND,
    "solve": solve.COMMAND,
    "find": find.COMMAND,
    "sweep": sweep.COMMAND,
    "compare": compare.COMMAND,
    "uncertainty": uncertainty.COMMAND,
    "ageing": ageing.COMMAND,
    "scaling": scaling.COMMAND,
    "page": page.COMMAND,
    "startup": startup.COMMAND,
    "spares": spares.COMMAND,
    "day": day.COMMAND,
    "year": year.COMMAND,
    "logbook": logbook.COMMAND,
    "sheet": sheet.COMMAND,
    "figures": figures.COMMAND,
    "sources": sources.COMMAND,
}
