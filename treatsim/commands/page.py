"""One HTML file that answers on a phone without a network: dials to turn, limits that move."""

from __future__ import annotations

from treatsim.commands.common import Command, changes
from treatsim.commands.solve import verdict_status
from treatsim.console import deliver, form_of, on_terminal
from treatsim.errors import RequestError


def run(arguments) -> int:
    """Write the page of one case."""
    from treatsim import cases
    from treatsim.report.dial_page import page
    from treatsim.report.progress import Progress
    from treatsim.safety.verdict import judge

    form_of(arguments, ".html")
    if arguments.out is None and on_terminal():
        raise RequestError("the page is a file: name it with --out page.html")
    case = cases.load(arguments.case, changes(arguments))
    verdict = judge(case.solve())
    if verdict.result.solved[0]:
        with Progress("page") as progress:
            text = page(case, verdict, arguments.units, progress)
        deliver(text, arguments.out)
    return verdict_status(verdict, arguments)


COMMAND = Command(
    run,
    "One HTML file that answers on a phone without a network: dials to turn, limits that move.",
    "treatsim page cases/river.toml --out page.html",
    ("CASE", "--set", "--units", "--strict", "--out"),
)
