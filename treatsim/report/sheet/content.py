"""The content of a sheet, from a judged case: every block, in the order in which it is read."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import treatsim
from treatsim.errors import NoSolutionError
from treatsim.report import screen
from treatsim.report.sheet.blocks import Block, Grid, Listing, Part, Sheet, Words, printed
from treatsim.report.sheet.chlorine import chlorine_blocks
from treatsim.report.sheet.dial import dial_block
from treatsim.report.sheet.facts import Facts
from treatsim.report.sheet.faults import fault_block, log_block
from treatsim.report.sheet.filters import filter_block
from treatsim.report.sheet.light import light_blocks
from treatsim.report.sheet.membranes import membrane_block
from treatsim.report.sheet.people import people_block
from treatsim.report.sheet.start import Starts, alarms, start_block, starts_of
from treatsim.report.sheet.stops import altitude_of, stop_block
from treatsim.report.sheet.targets import target_blocks, untested_block
from treatsim.safety.cautions import short_cautions, too_much_dissolved
from treatsim.safety.verdict import Verdict
from treatsim.studies.partial import fingerprint

LETTERS = 12  # of the fingerprint, as printed
NAMES = ("site and intake", "made for", "health authority", "operator", "deputy", "engineer")


def mark_of(case: Any) -> str:
    """Return the fingerprint of a case as resolved, under this version of the program.

    Any entry of the file, or of --set, changes it.
    """
    told = json.dumps(case.data, sort_keys=True, default=str)
    return fingerprint({"treatsim": treatsim.__version__, "case": told})[:LETTERS]


def sheet_of(
    case: Any,
    verdict: Verdict,
    system: str,
    date: str,
    report: Callable[[int, int], None] = lambda done, total: None,
) -> Sheet:
    """Return the sheet of a case.

    Parameters
    ----------
    case : Case
        The case, from `treatsim.load`.
    verdict : Verdict
        Its operating point, judged.
    system : str
        Units shown, "si" or "us".
    date : str
        Day on which the sheet is made, as it is printed.
    report : callable
        Called with what is done and all there is to do.

    Raises
    ------
    NoSolutionError
        The case has no operating point: there is nothing to operate by.
    """
    if not verdict.result.solved[0]:
        raise NoSolutionError(f"no operating point: {verdict.result.reason(0, system)}")
    facts = Facts(case, verdict, system)
    starts = starts_of(facts)
    makers: list[Callable[[], Block | list[Block] | None]] = [
        lambda: stop_block(facts),
        lambda: start_block(facts, starts),
        lambda: dial_block(facts),
        lambda: light_blocks(facts),
        lambda: membrane_block(facts),
        lambda: filter_block(facts),
        lambda: chlorine_blocks(facts),
    ]
    front: list[Block] = []
    for number, make in enumerate(makers):
        report(number + 1, len(makers) + 1)
        front += _listed(make())
    back = [fault_block(facts), people_block(facts), untested_block(facts), note_block(facts),
            caution_block(facts), name_block()]  # fmt: skip
    targets = target_blocks(facts)
    (back if facts.units("irradiates") and len(targets) == 1 else front).insert(1, targets[0])
    back[1:1] = targets[1:]
    return printed(
        Sheet(
            case.title,
            f"{case.path}: {screen.settings(verdict, system)}",
            answer_block(facts, starts),
            tuple(front),
            tuple(back),
            log_block(facts),
            foot(case, date),
        )
    )


def _listed(made: Block | list[Block] | None) -> list[Block]:
    if made is None:
        return []
    return [made] if isinstance(made, Block) else made


def answer_block(facts: Facts, starts: Starts) -> Block:
    """Return what the case amounts to: what is not met or not judged stands here in full."""
    counts, words = screen.answer(facts.verdict, 0)
    bad = alarms(facts, starts)
    parts: list[Part] = [Words(f"{counts}. {words}", loud=True)]
    lines = [_missed(facts, row) for row in facts.verdict.of_state("not_met")]
    lines += [f"NOT MET, {line}" if "NOT MET" not in line else line for line in bad]
    if bad and words != screen.UNFIT:
        parts.append(Words(screen.UNFIT, loud=True))
    if lines:
        parts.append(Listing(tuple(lines)))
    if open_ones := facts.verdict.of_state("not_judged"):
        told = [f"{one.name} (needs {one.needs})" if one.needs else one.name for one in open_ones]
        parts.append(Words(f"Not judged by anyone: {'; '.join(told)}."))
    if waived := facts.verdict.of_state("waived"):
        told = [f"{one.name}: {one.waived}" for one in waived]
        parts.append(Words(f"Waived by the case: {'; '.join(told)}."))
    return Block("", tuple(parts))


def _missed(facts: Facts, limit) -> str:
    name, value, asked, _ = screen.limit_row(limit, facts.system, 0, {})
    return f"NOT MET: {name}: {value}, asked {asked}" + (
        f" – {limit.advice}" if limit.advice else ""
    )


def note_block(facts: Facts) -> Block | Any:
    """Return what the judging has to tell, and formulas used outside their range."""
    verdict, system = facts.verdict, facts.system
    lines = [*verdict.told(0, system)]
    lines += [f"outside its range: {text}" for text in verdict.excursions(0, system)]
    lines = lines or ["nothing beyond the limits; all assumptions: treatsim solve CASE --full"]
    return Block("TO NOTE", (Listing(tuple(lines)),))


def caution_block(facts: Facts) -> Block:
    """Return the cautions by hazard, in the words of every other page."""
    hazards = [group for unit in facts.sheet.units.values() for group in unit.dangers()]
    missed = too_much_dissolved(facts.verdict.of_state("not_met"))
    lines = short_cautions(hazards, altitude_of(facts), missed)
    return Block("CAUTIONS", (Listing(tuple(lines)),))


def name_block() -> Block:
    """Return lines for names and telephones, filled in by hand."""
    rows = tuple((name, "") for name in NAMES)
    return Block("WHO, AND TELEPHONE", (Grid(("", ""), rows, left=2, height=4.6),))


def foot(case: Any, date: str) -> str:
    """Return the line below both sides."""
    return (
        f"Made {date} with treatsim {treatsim.__version__} from {case.path}; case {mark_of(case)}: "
        "the same mark is the same case and program. A planning aid: no approval, no liability; "
        "local codes go first. Limits carry their edition: treatsim solve --full. New water, "
        "lamp, filter or bottle: a new sheet."
    )
