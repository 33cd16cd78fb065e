"""The whole forecast of a case: plan, readings, scenarios, and the train at the ends of a life."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from treatsim.errors import RequestError
from treatsim.running.basin import Prospect, prospect, section_of
from treatsim.running.filter_line import stated
from treatsim.running.forecast import Forecast, forecast
from treatsim.running.hours_missed import Missed, hours_missed
from treatsim.running.moments import Kept, Moment, moments
from treatsim.running.readings import Readings, Water, read_log
from treatsim.running.source import MUDDY, source_notes
from treatsim.running.source_readings import SHADE
from treatsim.running.spares import (
    ONE_BY_ONE,
    SCENARIOS,
    Plan,
    plan_for,
    simulate,
    stated_table,
    swift,
)
from treatsim.running.update import LIFE_SCATTER, Learnt, gone_on, learnt


@dataclass(frozen=True)
class Outlook:
    """Everything that is told of some months."""

    plan: Plan
    told: Forecast
    moments: tuple[Moment, ...]
    limits: tuple[Kept, ...]
    learnt: tuple[Learnt, ...]
    notes: tuple[str, ...]
    basin: Prospect | None = None  # of the table [pit]
    missed: tuple[Missed, ...] = ()  # limits broken in some hours

    @property
    def complete(self) -> bool:
        """Whether every filter and every other limit is judged."""
        return not self.unjudged and all(row.worst != "not_judged" for row in self.limits)

    @property
    def unjudged(self) -> tuple[tuple[str, str], ...]:
        """What no count here covers, and what would let it be judged."""
        found = [(name, f"{name}.capacity") for name in self.told.unknown]
        if self.plan.source is None:
            found.append(("storms and seasons", "a table [source]"))
        dosed = any(row.quantity == "dose" and row.relation == ">=" for row in self.limits)
        if dosed and self.told.under is None:
            needs = ", ".join(f"source.{key}" for key in MUDDY)
            found.append(("dose in muddy water", f"{needs}, or {SHADE} in source.readings"))
        return tuple(found)

    @property
    def meets(self) -> bool:
        """Whether no other limit is missed, at either end of the elements' lives or in any hour."""
        return (
            not self.missed
            and all(row.worst != "not_met" for row in self.limits)
            and all(not moment.reason for moment in self.moments)
        )


def outlook(
    case: Any,
    months: float,
    *,
    level: float | None = None,
    readings: str | None = None,
    scenarios: int | None = None,
    scheduler: str | None = None,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Outlook:
    """Return what to expect of the filters of a case over some months, and what to bring.

    Parameters
    ----------
    case : Case
        With a table [spares], and filters that state capacity and blocking law.
    months : float
        Of 365/12 days, from today or from the last reading. [1]
    level : float, optional
        Chance that nothing runs out; left out, that of the table. [1]
    readings : str, optional
        CSV file of logged pressure drops.
    scenarios : int, optional
        How many; left out, SCENARIOS, or ONE_BY_ONE where elements are changed alone. [1]
    scheduler : str, optional
        Address of a Dask scheduler.

    Raises
    ------
    RequestError
        Something the forecast rests on is missing or wrong; each fault in a line.
    NoSolutionError
        The train does not run at some load, or fresh elements already miss a limit.
    """
    if level is not None and not 0.5 <= level <= 0.9999:
        raise RequestError("--level: from 50 to 99.99 %")
    if scenarios is not None and scenarios < 1:
        raise RequestError(f"--scenarios {scenarios}: 1 or more")
    plan = plan_for(case, months)
    rows: list[Learnt] = []
    notes = [*_assumed(case, plan)]
    if readings is not None:
        log = read_log(readings, plan.line.filters, _water(case))
        plan, rows = _after(case, plan, log)
        notes = [*notes, *log.notes, *_surprises(plan, rows)]
    if scenarios is None:
        scenarios = SCENARIOS if swift(plan) else ONE_BY_ONE
    pieces = simulate(plan, scenarios, scheduler, progress)
    told = forecast(case, plan, pieces, level)
    states, limits = moments(case, plan, told)
    drawn = section_of(case)
    dug = None if drawn is None else prospect(plan, drawn, case.path, pieces)
    notes += () if dug is None else dug.notes
    missed = hours_missed(plan, told)
    return Outlook(plan, told, tuple(states), tuple(limits), tuple(rows), tuple(notes), dug, missed)


def _after(case: Any, plan: Plan, log: Readings) -> tuple[Plan, list[Learnt]]:
    """Return the plan that goes on from the last reading."""
    line, table = plan.line, stated_table(case)
    arriving = line.flows(line.filters.clean[None], plan.rules.temperature[:1]).arriving[0]
    rows, beliefs = learnt(log, line.filters, arriving, plan.spreads, table.reading_error)
    line = dataclasses.replace(line, filters=gone_on(line.filters, rows))
    month = log.times[-1].month
    return dataclasses.replace(plan, line=line, beliefs=beliefs, start_month=month), rows


def _water(case: Any) -> Water:
    water = case.sections["water"]
    solids = float(water.suspended_solids)
    return Water(float(water.temperature), solids, solids / float(water.turbidity))


def _assumed(case: Any, plan: Plan) -> list[str]:
    """Say what was taken for granted."""
    table = stated_table(case)
    found = [f"{name}: not judged, and taken as clean: needs {name}.capacity"
             for name in stated(case)[1]]  # fmt: skip
    for name in plan.line.filters.names:
        state = case.parameters[name]
        if name not in plan.beliefs and float(state.captured_mass) >= float(state.capacity):
            found.append(f"{name}: FULL by its captured_mass: change it before anything runs")
    found.append(
        f"{plan.solids * 1e3:.3g} mg/L of solids for 1 NTU, by water.suspended_solids over "
        "water.turbidity: where one changes, look at the other"
    )
    if table.capacity_spread == 1:
        found.append("spares.capacity_spread = 1: capacities count as known exactly")
    if table.handling_loss == 0:
        found.append("spares.handling_loss = 0: no element is spoiled on the way")
    if table.coldest_water is None:
        found.append("water.temperature counts all year: cold water loads the pump more")
    if plan.source is not None:
        found += source_notes(plan.source)
    dosers = [name for name, p in case.parameters.items() if hasattr(p, "strength_today")]
    if dosers and not any(part.law == "volume" for part in table.all_parts().values()):
        found.append(
            f"{', '.join(dosers)}: product to bring NOT JUDGED: give it as a part with law = volume"
        )
    stock = [name for name in plan.line.filters.names if name not in (table.filters or {})]
    if stock:
        found.append(f"spares.filters: {', '.join(stock)}: single elements, none in store")
    return found


def _surprises(plan: Plan, rows: list[Learnt]) -> list[str]:
    found = [
        f"{row.name}: readings and case disagree by far: check units, solids and clean drop "
        "before ordering by this" for row in rows if row.surprised
    ]  # fmt: skip
    read = {row.name for row in rows}
    found += [f"{name}: no readings; it goes on from the case's captured_mass"
              for name in plan.line.filters.names if name not in read]  # fmt: skip
    return [*found, f"readings of one life count as one witness, {LIFE_SCATTER:.0%} off at least"]
