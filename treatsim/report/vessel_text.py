"""Every vessel of an array side by side: what one of each row of vessels gets and gives."""

from __future__ import annotations

from treatsim.operations.outcome import at
from treatsim.report.page import Page, cell
from treatsim.safety.verdict import Verdict

DIGITS = 3
ABREAST = 5  # columns that fit a page
ROWS = (  # address behind the vessel's name -> words
    ("vessel.feed_flow", "feed"),
    ("vessel.permeate_flow", "permeate"),
    ("vessel.concentrate_flow", "concentrate"),
    ("feed.pressure", "feed pressure"),
    ("concentrate.pressure", "concentrate pressure"),
    ("recovery", "recovery"),
    ("flux_mean", "mean flux"),
    ("polarisation_max", "largest polarisation"),
    ("feed.concentration", "salt of the feed"),
    ("permeate.concentration", "salt of the permeate"),
    ("concentrate.concentration", "salt of the concentrate"),
)


def vessel_part(page: Page, verdict: Verdict, system: str, point: int) -> None:
    """Add the vessels of an array, one of each row; a single vessel is told by its elements."""
    units = {n: u for n, u in verdict.result.sheet.units.items() if u.semipermeable}
    beside = {n: int(at(u.parameters.vessels_in_parallel, point)) for n, u in units.items()}
    if sum(beside.values()) < 2:
        return
    page.head("vessel by vessel, what one of each gets and gives")
    for start in range(0, len(units), ABREAST):
        names = list(units)[start : start + ABREAST]
        rows = [("vessels side by side, all alike", *(str(beside[n]) for n in names))]
        series = (str(int(at(units[n].parameters.elements_in_series, point))) for n in names)
        rows.append(("elements in each", *series))
        rows += [
            (words, *(cell(verdict.value(f"{n}.{key}"), system, point, DIGITS) for n in names))
            for key, words in ROWS
        ]
        page.table(("", *names), rows)
