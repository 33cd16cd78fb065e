"""New, today and end of life as a page of text and as one JSON document."""

from __future__ import annotations

import math
from typing import Any

import treatsim
from treatsim import quantities
from treatsim.operations.outcome import at
from treatsim.report.page import Page, cell
from treatsim.safety.cautions import short_cautions
from treatsim.safety.verdict import Verdict
from treatsim.studies.ageing import AGES, LEAST, WATERS, Ageing
from treatsim.studies.points import limit_label

WIDTH = 80
DIGITS = 3
SHOWN = (
    ("product.flow", "product"),
    ("product.concentration", "salt"),
    ("energy.specific", "energy"),
)
ON_SCREEN = 2  # of them
WORDS = {"met": "met", "not_met": "NOT met", "not_judged": "not all judged",
         "no_answer": "no answer"}  # fmt: skip
NOTES = (
    "Ratios at the end and the loss a year are common practice, from memory, where [ageing] does "
    "not state them. All membranes age together; the loss a year compounds.",
    "Fouling of the feed channel, which takes pressure, is not among it; a cleaning gives part "
    "back.",
    "Pumps keep today's wear while membranes age; the end of life has the wear stated for it.",
    "Habits of the trade do not end a membrane's time here; they count in each state.",
    "The array is held at its peak power through the inverter, which no sun exceeds: treatsim "
    "year tells the litres.",
)


def ageing_text(
    case: Any, found: Ageing, system: str = "si", *, full: bool = False, colour: bool = False
) -> str:
    """Return the page: one screen, or everything."""
    page = Page(colour, WIDTH)
    page.line(case.title, "bold")
    page.line(f"{case.path}: membranes over their life, cold and warm")
    page.head("answer")
    page.listing(_answer(found, system))
    page.head("at the setting of the case")
    _states(page, found, found.fixed, SHOWN[:ON_SCREEN], system)
    flow = quantities.text(found.design_flow, "flow", system, DIGITS)
    page.head(f"turned for {flow} of product")
    if full:
        rows = ((found.section.dial, "pressure"), SHOWN[1])
        _states(page, found, found.kept, rows, system)
        page.head("what this rests on")
        page.listing(_basis(found))
        page.head("cautions")
    else:
        page.listing(_missed(found, found.kept, system) or ["no limit that is judged is missed"])
        page.head("cautions  (what this rests on, and each state when turned: --full)")
    page.listing(cautions_of(case))
    return page.text()


def cautions_of(case: Any) -> list[str]:
    """Return the cautions of a case's equipment, a line each."""
    site = case.sections.get("site")
    hazards = [hazard for unit in case.flowsheet().units.values() for hazard in unit.hazards]
    return short_cautions(hazards, None if site is None else site.altitude)


def _basis(found: Ageing) -> list[str]:
    told = [f"{age}: water permeability {a:g}, salt permeability {b:g} of new"
            for age, (a, b) in zip(AGES, found.ratios, strict=True)]  # fmt: skip
    return ["; ".join(told), *NOTES]


def _temperature(found: Ageing, water: int, system: str) -> str:
    return quantities.text(float(found.temperatures[water]), "temperature", system, DIGITS)


def _states(page: Page, found: Ageing, verdicts, rows, system: str) -> None:
    """Add a table: by water and value, a column for each age; then what misses a limit."""
    lines = []
    for water in range(len(WATERS)):
        start = f"{_temperature(found, water, system)}"
        for address, words in rows:
            cells = [_value(verdicts[water], address, n, system) for n in range(len(AGES))]
            lines.append((start, words, *cells))
            start = ""
        states = [WORDS[verdicts[water].state(n)] for n in range(len(AGES))]
        lines.append(("", "limits", *states))
    page.table(("water", "", *AGES), lines, left=2)
    page.listing(_missed(found, verdicts, system))


def _value(verdict: Verdict, address: str, point: int, system: str) -> str:
    if not verdict.result.solved[point] or address not in verdict.values:
        return "none"
    return cell(verdict.values[address], system, point, DIGITS)


def _missed(found: Ageing, verdicts, system: str) -> list[str]:
    """Return each limit that is missed with the states that miss it, and why there is no answer."""
    missed: dict[str, list[str]] = {}
    lost = []
    for water, verdict in enumerate(verdicts):
        for n, age in enumerate(AGES):
            state = f"{age} at {_temperature(found, water, system)}"
            if not verdict.result.solved[n]:
                lost.append(f"no answer, {state}: {verdict.result.reason(n, system)}")
                continue
            for limit in verdict.of_state("not_met", n):
                missed.setdefault(limit_label(limit), []).append(state)
    every = len(AGES) * len(WATERS)
    return [f"NOT met: {name}: {'everywhere' if len(states) == every else ', '.join(states)}"
            for name, states in missed.items()] + lost  # fmt: skip


def _answer(found: Ageing, system: str):
    """Yield what today's membranes ask for, and what runs out when."""
    dial, flow = found.section.dial, quantities.text(found.design_flow, "flow", system, DIGITS)
    needs = [f"{_value(found.kept[w], dial, 1, system)} at "
             f"{_temperature(found, w, system)}" for w in range(len(WATERS))]  # fmt: skip
    yield f"for {flow} today's membranes need {', '.join(needs)}"
    for water, reach in enumerate(found.reaches):
        place = f"at {_temperature(found, water, system)}"
        if reach.ratio is None or reach.years is None:
            yield f"{place}: {reach.binds}, a loss of {100 * (1 - LEAST):.0f} %"
            continue
        if reach.years <= 0:
            yield f"{place}: NOT to be had from the membranes of today: {reach.binds}"
            continue
        late = reach.ratio < found.ratios[2, 0]
        yield (
            f"{place}: ends by {reach.binds} at a loss of {100 * (1 - reach.ratio):.0f} % against "
            f"new, in {reach.years:.1f} years at {100 * found.section.water_loss_per_year:g} % a "
            f"year{', beyond the end of life' if late else ''}"
        )


def ageing_document(case: Any, found: Ageing, system: str = "si") -> dict[str, Any]:
    """Return the envelope as plain data; null stands for no answer, or for nothing found."""
    temperature = [_shown(float(t), "temperature", system) for t in found.temperatures]
    return {
        "treatsim": treatsim.__version__,
        "case": case.path,
        "title": case.title,
        "ages": [
            {"age": age, "water_permeability_ratio": float(a), "salt_permeability_ratio": float(b)}
            for age, (a, b) in zip(AGES, found.ratios, strict=True)
        ],
        "design_flow": _shown(found.design_flow, "flow", system),
        "dial": found.section.dial,
        "at_the_setting": _points(found, found.fixed, system),
        "at_the_design_flow": _points(found, found.kept, system),
        "runs_out": [
            {
                "temperature": temperature[n],
                "water_permeability_ratio": reach.ratio,
                "years": reach.years,
                "binds": reach.binds,
            }
            for n, reach in enumerate(found.reaches)
        ],
        "notes": list(NOTES),
        "cautions": cautions_of(case),
    }


def _points(found: Ageing, verdicts, system: str) -> list[dict[str, Any]]:
    addresses = (found.section.dial, *(address for address, _ in SHOWN))
    return [_point(found, verdict, water, age, addresses, system)
            for age in range(len(AGES)) for water, verdict in enumerate(verdicts)]  # fmt: skip


def _point(found: Ageing, verdict: Verdict, water: int, age: int, addresses, system: str):
    solved = bool(verdict.result.solved[age])
    missed = [limit.address for limit in verdict.of_state("not_met", age)] if solved else []
    values = {a: verdict.values[a] for a in addresses if solved and a in verdict.values}
    return {
        "age": AGES[age],
        "temperature": _shown(float(found.temperatures[water]), "temperature", system),
        "state": verdict.state(age),
        "reason": verdict.result.reason(age, system),
        "not_met": missed,
        "values": {
            a: _shown(float(at(v.value, age)), v.quantity, system) for a, v in values.items()
        },
    }


def _shown(value: float, kind: str, system: str) -> dict[str, Any]:
    number, unit = quantities.show(value, kind, system)
    return {"value": float(number) if math.isfinite(number) else None, "unit": unit}
