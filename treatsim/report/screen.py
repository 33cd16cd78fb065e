"""One screen of an operating point: the answer, what is open, the numbers to write down."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence

import numpy as np

from treatsim import quantities
from treatsim.operations.outcome import Limit, Value, at
from treatsim.report.page import Page, cell
from treatsim.safety.cautions import short_cautions
from treatsim.safety.verdict import Verdict
from treatsim.studies.found import inward
from treatsim.studies.remedies import Remedy

WIDTH = 80
DIGITS = 3
NARROWEST = 3  # of the limits that are met
HELPFUL = 3  # changes told
TOLD = 4  # remarks told; the others are counted
COLOURS = {"met": "green", "not_met": "bold red", "not_judged": "yellow"}
PEOPLE, SERVED = "product.people_served", "people served, by quantity alone"
UNFIT = "NOT fit to be given out at this setting."
VERDICTS = {
    "met": "Every limit is judged and met: design figures, not an approval.",
    "not_met": "A rating or a habit of the trade is not kept at this setting.",
    "not_judged": "What is judged is met; that is no promise for the rest.",
}


def screen_text(
    verdict: Verdict,
    remedies: Sequence[Remedy] = (),
    system: str = "si",
    *,
    colour: bool = False,
    point: int = 0,
    chances: Mapping[tuple[str, str], float] | None = None,
) -> str:
    """Return one operating point on one screen; `chances` of limits by name and address."""
    page = Page(colour, WIDTH)
    context, result = verdict.result.context, verdict.result
    page.line(context.title, "bold")
    page.line(f"{context.path}: {settings(verdict, system)}")
    if not result.solved[point]:
        page.line()
        page.listing([f"No operating point: {result.reason(point, system)}."])
        return page.text()
    _answer(page, verdict, point)
    _open(page, verdict, system, point, chances or {})
    _helpful(page, remedies)
    _numbers(page, verdict, system, point)
    _remarks(page, verdict, system, point)
    _cautions(page, verdict)
    return page.text()


def settings(verdict: Verdict, system: str) -> str:
    """Return the settings of what moves water, as asked."""
    texts = []
    for name, unit in verdict.result.sheet.units.items():
        for field in unit.dials if unit.moves_water else ():
            value, item = getattr(unit.parameters, field), unit.parameters_field(field)
            if value is not None and item is not None:
                shown = quantities.text(float(at(value, 0)), item.metadata["kind"], system, DIGITS)
                texts.append(f"{name}.{field} = {shown}")
    return ", ".join(texts) or "at its settings"


def counted(count: int, noun: str) -> str:
    """Return a number with its noun, in the singular or the plural."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def answer(verdict: Verdict, point: int) -> tuple[str, str]:
    """Return how many limits are in which state, and what that amounts to."""
    state = verdict.state(point)
    counts = [f"{len(rows)} {words}" for kind, words in
              (("met", "met"), ("not_met", "NOT MET"), ("not_judged", "not judged"),
               ("waived", "waived"))
              if (rows := verdict.of_state(kind, point))]  # fmt: skip
    total = counted(len(verdict.limits), "limit")
    relied_on = any(row.group in ("duty", "health") for row in verdict.of_state("not_met", point))
    words = UNFIT if relied_on else VERDICTS[state]
    return f"{total}: {', '.join(counts) or 'nothing is asked'}", words


def _answer(page: Page, verdict: Verdict, point: int) -> None:
    counts, words = answer(verdict, point)
    page.line()
    page.line(f"ANSWER  {counts}", "bold")
    page.line(f"  {words}", COLOURS[verdict.state(point)])


def _open(
    page: Page,
    verdict: Verdict,
    system: str,
    point: int,
    chances: Mapping[tuple[str, str], float],
) -> None:
    """Every limit that is not met, not judged or waived, and the narrowest that are met."""
    met = sorted(verdict.of_state("met", point), key=lambda limit: float(at(limit.margin, point)))
    rows = [
        ("NOT MET", *limit_row(limit, system, point, chances))
        for limit in verdict.of_state("not_met", point)
    ]
    rows += [
        ("not judged", f"{limit.name}; needs {limit.needs}" if limit.needs else limit.name, "", "")
        for limit in verdict.of_state("not_judged", point)
    ]
    rows += [
        ("waived", f"{limit.name}: {limit.waived}", "", "")
        for limit in verdict.of_state("waived", point)
    ]
    rows += [("met", *limit_row(limit, system, point, chances)) for limit in met[:NARROWEST]]
    if len(met) > NARROWEST:
        more = f"{counted(len(met) - NARROWEST, 'more limit')} with more room"
        rows.append(("met", more, "", ""))
    if chances:
        rows = [row if len(row) == 5 else (*row, "") for row in rows]
        page.table(("", "", "", "", "chance"), rows, left=4)
    else:
        page.table(("", "", "", ""), [row[:4] for row in rows], left=4)


def limit_row(
    limit: Limit, system: str, point: int, chances: Mapping[tuple[str, str], float]
) -> tuple[str, ...]:
    """Return name, value, what is asked, and the chance that it is met."""
    value, asked = limit.told(system, point, DIGITS)
    return limit.full_name, value, f"{limit.relation} {asked}", chance_text(limit, chances)


def chance_text(limit: Limit, chances: Mapping[tuple[str, str], float]) -> str:
    """Return the chance that a limit is met, or "" where it is not known."""
    chance = chances.get((limit.name, limit.address))
    return "" if chance is None else share(chance)


def share(value: float) -> str:
    """Return a chance as people read it, never rounded to sure or impossible."""
    percent = 100 * value
    if percent < 0.1:
        return "under 0.1 %"
    return "over 99.9 %" if percent > 99.9 else f"{percent:.3g} %"


def _helpful(page: Page, remedies: Sequence[Remedy]) -> None:
    if not remedies:
        return
    page.line()
    page.line("WHAT WOULD HELP MOST, one change at a time, each solved anew", "bold")
    for number, remedy in enumerate(remedies[:HELPFUL], 1):
        left = counted(len(remedy.leaves), "limit")
        rest = f"; {left} not met then" if remedy.leaves else "; every judged limit is met then"
        page.numbered(number, f"{remedy.text}{rest}")


def numbers(verdict: Verdict) -> list[tuple[str, str]]:
    """Return what a person writes down, as words and address: product, energy, first results."""
    values = verdict.values
    rows = [
        (words, address)
        for address, words in (("product.flow", "product"), ("energy.specific", "energy"),
                               ("product.concentration", "salt in the product"))
        if address in values
    ]  # fmt: skip
    rows += [
        (f"largest flow at the dose of {address.partition('.')[0]}", address)
        for address in verdict.added.values
        if address.endswith(".largest_flow")
    ]
    for name, unit in verdict.result.sheet.units.items():
        words_of = {row.key: row.words for row in (*unit.told, *unit.compared)}
        for key in unit.headline:
            if (address := f"{name}.{key}") in values:
                words = words_of.get(key, key.replace("_", " ").replace(".", " "))
                rows.append((f"{name}: {words}", address))
    return rows


def _numbers(page: Page, verdict: Verdict, system: str, point: int) -> None:
    values = verdict.values
    headlines = {f"{n}.{key}" for n, u in verdict.result.sheet.units.items() for key in u.headline}
    rows = [
        (words, *_both(values[address], system, point, address.endswith(".largest_flow")))
        for words, address in numbers(verdict)
        if address not in headlines or np.isfinite(at(values[address].value, point))
    ]
    if PEOPLE in values:
        missed = len(verdict.of_state("not_met", point))
        served = cell(values[PEOPLE], system, point, DIGITS)
        beside = f"but {counted(missed, 'limit')} NOT met" if missed else ""
        rows.append((SERVED, served, beside))
    page.line()
    page.table(("", "", ""), rows)


def at_most(value: Value, system: str, point: int) -> str:
    """Return a value that is kept by going no higher than is shown."""
    number = float(at(value.value, point))
    return (
        inward(0.0, number, value.quantity, system)[1] if number > 0 else cell(value, system, point)
    )


def _both(value: Value, system: str, point: int, bound: bool = False) -> tuple[str, str]:
    """Return a value in the system asked for, and in the other where that reads differently."""
    show = at_most if bound else functools.partial(cell, digits=DIGITS)
    mine, other = (show(value, one, point) for one in (system, "us" if system == "si" else "si"))
    return mine, f"({other})" if other != mine else ""


def _remarks(page: Page, verdict: Verdict, system: str, point: int) -> None:
    outside = [f"outside its range: {text}" for text in verdict.excursions(point, system)]
    lines = [*verdict.told(point, system), *outside]
    if not lines:
        return
    page.line()
    page.listing(lines[:TOLD])
    if len(lines) > TOLD:
        page.line(f" - {counted(len(lines) - TOLD, 'more remark')}: --full")


def _cautions(page: Page, verdict: Verdict) -> None:
    page.line()
    page.line("CAUTIONS  (all of it, with assumptions and sources: --full)", "bold")
    for text in cautions(verdict):
        page.line(f" {text}")


def cautions(verdict: Verdict) -> list[str]:
    """Return the cautions this train calls for, a line each."""
    hazards = [group for unit in verdict.result.sheet.units.values() for group in unit.dangers()]
    site = verdict.result.sections.get("site")
    altitude = None if site is None or site.altitude is None else float(at(site.altitude, 0))
    return short_cautions(hazards, altitude)
