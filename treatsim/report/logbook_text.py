"""A judged log as a page: what was left out, what changed, when to act, and why."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.constants import DAY
from treatsim.report.page import Page
from treatsim.running.log_file import Fault
from treatsim.running.logbook import Logbook
from treatsim.running.records import Trigger, UnitLog, moment, percent

WIDTH = 80
MOST_FAULTS = 8  # groups on one screen
FULL_FAULTS = 60
MOST_ALIKE = 2  # faults that differ in their numbers alone are told one by one up to here
READING = re.compile(r'"[^"]*"|(?<![\w.])-?\d[\w.,]*')  # what a row has of its own


def grouped(faults: Iterable[Fault]) -> list[tuple[str, int, bool]]:
    """Return each fault once: its lines with what is wrong, how many rows, whether dropped.

    Many that differ in their numbers alone are one, with the words of the first.
    """
    kinds: dict[tuple[str, bool], dict[str, list[int]]] = {}
    for fault in faults:
        alike = kinds.setdefault((READING.sub("*", fault.what), fault.dropped), {})
        alike.setdefault(fault.what, []).append(fault.line)
    found = []
    for (_, dropped), texts in kinds.items():
        if len(texts) > MOST_ALIKE:
            lines = [line for rows in texts.values() for line in rows]
            texts = {f"{next(iter(texts))}, and so on": lines}
        for what, rows in texts.items():
            every = sorted(set(rows))
            found.append((every[0], f"{_spans(every)}: {what}", len(every), dropped))
    return [row[1:] for row in sorted(found)]


def _spans(lines: list[int]) -> str:
    """Return "line 4", "lines 4 to 27" or "lines 4, 9 to 12 and 5 more"."""
    spans: list[list[int]] = []
    for line in lines:
        if spans and line == spans[-1][1] + 1:
            spans[-1][1] = line
        else:
            spans.append([line, line])
    texts = [f"{a}" if a == b else f"{a} to {b}" for a, b in spans]
    more = sum(b - a + 1 for a, b in spans[6:])
    tail = f" and {more} more" if more else ""
    return f"line{'s' if len(lines) > 1 else ''} {', '.join(texts[:6])}{tail}"


def every_fault(book: Logbook) -> list[Fault]:
    """Return the faults of the file and the rows that units could not use, by line."""
    own = [fault for unit in book.units for fault in unit.left_out]
    return sorted({*book.readings.faults, *own})


def logbook_text(
    case: Any, book: Logbook, system: str, *, full: bool = False, colour: bool = False
) -> str:
    """Return the page of a log."""
    page = Page(colour, WIDTH)
    page.line(case.title)
    page.line(f"{case.path} against {book.readings.path}")
    page.line()
    _answer(page, book)
    _left_out(page, book, FULL_FAULTS if full else MOST_FAULTS)
    for unit in book.units:
        _unit(page, book, unit, full, system)
    if book.not_judged:
        page.head("not judged")
        page.listing(book.not_judged)
    page.head("how far to trust this")
    page.listing(
        [
            "A pattern is no proof: it says where to look first. Intervals are 95 %, by the "
            "scatter of the log. Local codes and licensed practice go first.",
            "People drink only after measurement and the health authority's word.",
        ]
    )
    return page.text()


def _answer(page: Page, book: Logbook) -> None:
    log = book.readings
    ends = " to ".join(moment(log.start, t) for t in (log.time[0], log.time[-1]))
    page.line(f"LOG  {log.rows} rows, {log.time.size} used, {ends}")
    for line in book.urgent:
        page.listing([f"NOT to be given out: {line}"])
    reached = [t for unit in book.units for t in unit.triggers if t.state == "reached"]
    if not book.urgent and not reached and not book.acts:
        page.line("  nothing to be done by these readings")


def _left_out(page: Page, book: Logbook, most: int) -> None:
    groups = grouped(every_fault(book))
    notes = book.readings.notes
    if not groups and not notes:
        return
    page.head("what is wrong with the log")
    shown = [f"{text}{'' if dropped else ' (kept)'}" for text, _, dropped in groups[:most]]
    page.listing([*shown, *notes])
    if len(groups) > most:
        rest = sum(count for _, count, _ in groups[most:])
        page.line(
            f"  ... {rest} more rows in {len(groups) - most} groups; --full or --json name all"
        )


def _unit(page: Page, book: Logbook, unit: UnitLog, full: bool, system: str) -> None:
    start = book.readings.start
    page.head(f"{unit.unit}: {unit.words}, {unit.time.size} rows")
    page.table(
        ("", "start", "now", "change", "95 %", "a month"), list(_levels(unit, system)), left=1
    )
    for trigger in unit.triggers:
        page.listing([trigger_words(trigger, start)])
    for number, cause in enumerate(unit.causes, 1):
        page.numbered(number, f"{cause.name.upper()}: {VERDICTS[cause.verdict]}")
        evidence = cause.evidence
        page.listing([f"evidence: {line}" for line in evidence])
        page.listing([f"do: {cause.do}"])
    if full:
        page.listing(unit.notes)
        page.listing(
            f"learnt: {address} = {quantities.text(item.value, item.quantity, system)} "
            f"(standard error {quantities.text(item.spread, item.quantity, system, 2)})"
            for address, item in unit.learnt.items()
        )


VERDICTS = {
    "suspected": "suspected",
    "cannot tell": "cannot tell by this log",
    "nothing": "nothing wrong by this log",
}
MONTH = 30 * DAY


def _levels(unit: UnitLog, system: str):
    """Yield a row for each trend: level at the start and now, change, interval, slope."""
    for key, trend in unit.trends.items():
        series = unit.series[key]
        ends = [float(np.exp(trend.start)), float(np.exp(trend.start + trend.now))]
        low, high = (percent(np.expm1(trend.now + s * trend.error)) for s in (-1, 1))
        pace = "-" if trend.slope is None else percent(np.expm1(trend.slope.slope * MONTH))
        yield (
            series.words,
            *(quantities.text(v, series.quantity, system, 3) for v in ends),
            percent(np.expm1(trend.now)),
            f"{low} .. {high}",
            pace,
        )


def trigger_words(trigger: Trigger, start) -> str:
    """Return a trigger in words, with its date."""
    head = f"{trigger.words} {percent(trigger.now)}, acted on at {percent(trigger.limit)}"
    if trigger.state == "reached":
        return f"{head}: REACHED on about {moment(start, trigger.when or 0.0)} ({trigger.source})"
    if trigger.state == "ahead" and trigger.when is not None:
        span = [moment(start, t) for t in (trigger.earliest, trigger.latest) if t is not None]
        if start is not None:
            span = [text[:10] for text in span]
        return f"{head}: at this pace on {moment(start, trigger.when)[:10]} ({' to '.join(span)})"
    return f"{head}: no date by this trend"
