"""One page for the operators, both sides: settings, limits, tables, faults and a log."""

from __future__ import annotations

import datetime

from treatsim.commands.common import Command, changes
from treatsim.commands.solve import verdict_status
from treatsim.console import deliver, form_of, tell
from treatsim.errors import RequestError


def run(arguments) -> int:
    """Write the sheet of one case."""
    if arguments.out is None:
        raise RequestError("--out is missing: a sheet is a file, such as --out sheet.pdf")
    form = form_of(arguments, ".pdf", ".html")
    from treatsim import cases
    from treatsim.report.files import write_whole
    from treatsim.report.progress import Progress
    from treatsim.report.sheet import html, paper, pdf
    from treatsim.report.sheet.content import sheet_of
    from treatsim.safety.verdict import judge

    case = cases.load(arguments.case, changes(arguments))
    verdict = judge(case.solve())
    with Progress("blocks") as progress:
        today = datetime.date.today().isoformat()
        sheet = sheet_of(case, verdict, arguments.units, today, progress)
    plan = paper.planned(sheet, arguments.paper)
    if form == ".html":
        deliver(html.html_text(sheet, plan), arguments.out)
    else:
        write_whole(arguments.out, pdf.pdf_bytes(sheet, plan))
        if pdf.escaped(sheet):
            tell("letters that the PDF cannot show stand as their numbers; the .html shows them")
    return verdict_status(verdict, arguments)


COMMAND = Command(
    run,
    "One printable page for the operators, both sides: PDF or HTML.",
    "treatsim sheet cases/river.toml --out sheet.pdf",
    ("CASE", "--paper", "--set", "--units", "--strict", "--out SHEET"),
)
