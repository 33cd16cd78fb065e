"""The whole page of an operating point: the answer first, then how it comes about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from treatsim.operations.outcome import Limit, Value, at
from treatsim.report.chemistry_text import chemistry_part
from treatsim.report.element_text import element_part
from treatsim.report.health_text import health_part, remedies_part
from treatsim.report.page import Page, cell
from treatsim.report.screen import at_most, chance_text, settings
from treatsim.report.vessel_text import vessel_part
from treatsim.safety.verdict import Verdict
from treatsim.studies.remedies import Remedy

STREAM_COLUMNS = (
    "flow",
    "pressure",
    "turbidity",
    "suspended_solids",
    "uv_transmittance",
    "concentration",
)
HEADINGS = {"uv_transmittance": "UVT per cm", "suspended_solids": "solids", "concentration": "salt"}

OTHER = {"si": "us", "us": "si"}  # the system of units shown beside


def full_text(
    verdict: Verdict,
    remedies: Sequence[Remedy] = (),
    system: str = "si",
    *,
    colour: bool = False,
    point: int = 0,
    chances: Mapping[tuple[str, str], float] | None = None,
) -> str:
    """Return everything of one operating point; `chances` of limits by name and address."""
    page = Page(colour)
    context, result = verdict.result.context, verdict.result
    page.line(context.title, "bold")
    page.line(f"{context.path}: {settings(verdict, system)}")
    if not result.solved[point]:
        page.head("Answer")
        page.line(f" No operating point: {result.reason(point, system)}.")
        return page.text()
    _answer(page, verdict, system, point)
    _limits(page, verdict, system, point, chances or {})
    remedies_part(page, remedies)
    _line(page, verdict, system, point)
    _units(page, verdict, system, point)
    vessel_part(page, verdict, system, point)
    element_part(page, verdict, system, point)
    health_part(page, verdict, system, point)
    chemistry_part(page, verdict, system, point)
    _energy(page, verdict, system, point)
    _remarks(page, verdict, system, point)
    return page.text()


HEADS = {"not_met": "NOT MET", "not_judged": "not judged", "met": "met", "waived": "waived"}


def _answer(page: Page, verdict: Verdict, system: str, point: int) -> None:
    page.head("Answer")
    by_state = {state: verdict.of_state(state, point) for state in HEADS}
    counts = ", ".join(f"{len(rows)} {HEADS[s]}" for s, rows in by_state.items() if rows)
    total = f"{len(verdict.limits)} limit{'s' if len(verdict.limits) != 1 else ''}: {counts}"
    if by_state["not_met"]:
        names = "; ".join(limit.full_name for limit in by_state["not_met"])
        page.line(f" {total}. NOT met: {names}.", "bold red")
    elif by_state["not_judged"]:
        page.line(f" {total}. What is judged is met; that is no promise for the rest.", "yellow")
    elif by_state["met"] or by_state["waived"]:
        page.line(f" {total}. All limits are met at this setting: design figures, not an approval."
                  if not by_state["waived"] else
                  f" {total}. What is not waived is met: design figures, not an approval.",
                  "green")  # fmt: skip
    else:
        page.line(" Nothing can be judged: no limits were stated for this case.")
    page.listing(
        f"not judged: {limit.name}" + (f"; needs {limit.needs}" if limit.needs else "")
        for limit in by_state["not_judged"]
    )
    page.listing(f"waived: {limit.full_name}: {limit.waived}" for limit in by_state["waived"])
    rows = []
    for address, words in (("product.flow", "product"), ("energy.specific", "energy")):
        if address in verdict.values:
            value = verdict.values[address]
            rows.append((words, cell(value, system, point), _also(value, system, point)))
    for address, largest in verdict.added.values.items():
        if address.endswith(".largest_flow"):
            words = f"largest flow at which {address.partition('.')[0]} still meets its dose"
            mine, other = (at_most(largest, one, point) for one in (system, OTHER[system]))
            rows.append((words, mine, f"({other})"))
    page.table(("", "", ""), rows)


def _also(value: Value, system: str, point: int) -> str:
    """Return the value in the other system of units."""
    other = cell(value, OTHER[system], point)
    return f"({other})" if other != cell(value, system, point) else ""


def _limits(
    page: Page,
    verdict: Verdict,
    system: str,
    point: int,
    chances: Mapping[tuple[str, str], float],
) -> None:
    shown = [limit for limit in verdict.limits if limit.state(point) != "not_judged"]
    if not shown:
        return
    page.head("Limits")
    page.table(
        ("", "limit", "value", "asked", "margin", *(["chance"] if chances else [])),
        [
            (
                HEADS[limit.state(point)],
                limit.full_name,
                value,
                f"{limit.relation} {asked}",
                f"{100 * at(limit.margin, point):+.0f} %",
                *([chance_text(limit, chances)] if chances else []),
            )
            for limit in shown
            for value, asked in [limit.told(system, point)]
        ],
        left=2,
    )
    page.listing(_moves(limit) for limit in verdict.of_state("not_met", point))


def _moves(limit: Limit) -> str:
    mover = f" (input {limit.binding_input})" if limit.binding_input else ""
    return f"{limit.full_name}: {limit.advice}{mover}; limit from {limit.source}"


def _line(page: Page, verdict: Verdict, system: str, point: int) -> None:
    """The state of the water along the way."""
    result = verdict.result
    rows, columns = [], [c for c in STREAM_COLUMNS if _told(result, c)]
    for name in result.sheet.order:
        unit = result.sheet.units[name]
        for port in unit.outlets or unit.inlets:
            values = _port_values(result, name, port)
            label = name if len(unit.outlets) < 2 else f"{name}.{port}"
            rows.append(
                [
                    label,
                    *(cell(values[c], system, point, 3) if c in values else "" for c in columns),
                ]
            )
    page.head("Along the line, behind each unit")
    page.table(("", *(HEADINGS.get(c, c) for c in columns)), rows)


def _told(result, column: str) -> bool:
    ports = [(name, port) for name, unit in result.sheet.units.items() for port in unit.outlets]
    return any(column in _port_values(result, *port) for port in ports)


def _port_values(result, name: str, port: str):
    from treatsim.flowsheet.at_ports import stream_values

    return stream_values(result.streams[name, port])


def _units(page: Page, verdict: Verdict, system: str, point: int) -> None:
    """What each kind tells of itself, in the rows it declares."""
    for name, unit in verdict.result.sheet.units.items():
        rows = [
            (row.words, cell(verdict.values[address], system, point))
            for row in unit.told
            if (address := f"{name}.{row.key}") in verdict.values
            and np.isfinite(at(verdict.values[address].value, point))
        ]
        if rows:
            page.head(f"{name} ({unit.kind.replace('_', ' ')})")
            page.table(("", ""), rows)
        _bands(page, name, verdict.result.details(name).values, system, point)


def _bands(page: Page, name: str, values, system: str, point: int) -> None:
    """Equivalent doses of a reactor by mixing assumption."""
    told = [key.split(".")[1:] for key in values if key.startswith("red.")]
    if not told:
        return
    page.line()
    page.line(" equivalent dose by mixing assumption; the lowest of the test organism counts")
    organisms = list(dict.fromkeys(organism for organism, _ in told))[:4]
    mixings = list(dict.fromkeys(mixing for _, mixing in told))
    rows = [
        (
            organism.replace("_", " "),
            *(
                cell(values[f"red.{organism}.{mixing}"], system, point, 3)
                if [organism, mixing] in told
                else ""
                for mixing in mixings
            ),
        )
        for organism in organisms
    ]
    page.table(("organism", *mixings), rows)


def _energy(page: Page, verdict: Verdict, system: str, point: int) -> None:
    result = verdict.result
    rows = []
    for name, details in result.all_details.items():
        power = float(at(details.power, point))
        if power and result.product is not None:
            flow = float(at(result.product.flow, point))
            rows.append(
                (
                    name,
                    cell(Value(power, "power"), system, 0),
                    cell(Value(power / flow, "energy_per_volume"), system, 0),
                )
            )
    if rows:
        page.head("Energy")
        page.table(("", "power", "per volume of product"), rows)


def _remarks(page: Page, verdict: Verdict, system: str, point: int) -> None:
    for heading, lines in (
        ("To note", verdict.told(point, system)),
        ("Outside the range of a formula", verdict.excursions(point, system)),
        ("Assumptions", verdict.choices),
        ("Cautions", verdict.cautions),
    ):
        if lines:
            page.head(heading)
            page.listing(lines)
    page.line()
    page.line(f"sources: {', '.join(verdict.sources)} (treatsim sources KEY)", "dim")
