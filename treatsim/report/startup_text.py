"""The start-up as a page of text and as one JSON document."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import treatsim
from treatsim import quantities
from treatsim.operations.outcome import weighed
from treatsim.report.membrane_text import (
    held_rows,
    membrane_answer,
    membrane_notes,
    membrane_rows,
    stop_rows,
)  # fmt: skip
from treatsim.report.page import Page
from treatsim.report.startup_rows import (
    DIGITS,
    Row,
    cells_of,
    finite,
    litres,
    plain,
    shown,
    watt_hours,
)  # fmt: skip
from treatsim.running.ro_held import Held, held, state
from treatsim.running.ro_start import MembraneStart
from treatsim.running.start_events import KINDS, Event
from treatsim.running.start_train import Reactor
from treatsim.running.start_ways import ALIKE
from treatsim.running.startup import NOTHING, Startup
from treatsim.running.washout import Reported
from treatsim.safety.cautions import short_cautions

WIDTH = 80
WASTE = (
    "To waste goes what leaves the end of the line and is not let through to the product: all of "
    "it while the valve is shut, its share while the valve moves. Water that fills the line does "
    "not count; the least is what comes out before the dose is met."
)
RULE = "The rule to be held against: a flow that stops at once when the light fails lets none pass."

SEVERAL = (
    "A dose is asked of each reactor on its own, as solve judges it. All lamps start together; one "
    "fails, the one named (UNIT.lamp_failure@TIME) or that whose failure lets most pass. Through a "
    "later chamber bad water comes at once, good water when it is washed out."
)
BESIDE = (
    "Of reactors side by side all the product counts as under dose while water of any of them is: "
    "bad water from the first of it that comes, good water from the last."
)


def start_rows(found: Startup, system: str) -> Iterator[Row]:
    """Yield what is told of the start itself."""
    start, clean = found.train.start, found.clean
    reactors = found.train.reactors
    yield Row("filled", "water comes out", finite(clean.filled), "time")
    if found.judged:
        asked = " and ".join(_asked(reactor.required, system) for reactor in reactors)
        yield Row("met", f"water at the valve meets {asked}", finite(clean.met), "time")
    by = "by its sensor" if start.opens_when == "sensor" else "by a clock"
    yield Row("opens", f"product valve opens, {by}", finite(found.opens), "time")
    if found.judged:
        least = litres(found.before_met) if math.isfinite(clean.met) else None
        yield Row("least_waste", "must go to waste: out before the dose is met", least, "volume")
    wasted = litres(found.wasted) if math.isfinite(found.opens) else None
    yield Row("wasted", "goes to waste until the valve stands open", wasted, "volume")
    if found.judged:
        under = litres(clean.passage().under_dose)
        yield Row("under_dose", "under dose into the product", under, "volume", "goal: none")
    for reactor in reactors:
        alone = len(reactors) == 1
        key, which = ("", "") if alone else (f"_{reactor.name}", f", {reactor.name}")
        part = "" if _all_through(reactor) else f"{100 * reactor.share:.3g} % of the water"
        if reactor.credited < (reactor.required or 0.0):
            part = "; ".join(filter(None, [part, "less than is asked for"]))
        yield Row(f"dose_steady{key}", f"dose credited in steady run{which}", reactor.credited,
                  "dose", part)  # fmt: skip
    energy = finite(found.energy)
    yield Row("energy", "electricity until the valve opens", energy, "", watt_hours(energy))
    if found.surge:
        sudden, slow, back = found.surge
        shut = quantities.text(start.valve_time or 0.0, "time", system, DIGITS)
        wave = quantities.text(back, "time", system, DIGITS)
        yield Row(
            "surge", f"surge if all flow is stopped in {shut}", slow, "head", "no way to waste open"
        )
        yield Row("surge_sudden", f"surge if stopped within {wave}", sudden, "head", "Joukowsky")


def _all_through(reactor: Reactor) -> bool:
    return reactor.share > 1 - ALIKE


def _dark(found: Startup, event: Event) -> Iterator[Row]:
    """Yield what the light can still do at most when one lamp of those side by side is out."""
    for reactor in found.train.reactors:
        if reactor.name == event.unit and reactor.share > 0 and not _all_through(reactor):
            most = quantities.text(-math.log10(reactor.share), "log_reduction", "si", DIGITS)
            yield Row("dark_share", f"of the water then passes {event.unit} unlit", reactor.share,
                      "fraction", f"at most {most} by light")  # fmt: skip


def _asked(required: float | None, system: str) -> str:
    return quantities.text(required or 0.0, "dose", system, DIGITS)


def _doses(reactor, system: str) -> tuple[str, str]:
    """Return the dose of steady run and what is asked for, never as if the other side were true."""
    asked = reactor.required or 0.0
    kept = reactor.credited >= asked
    return weighed(reactor.credited, ">=", asked, kept, "dose", system, DIGITS)


def event_rows(found: Startup, number: int, system: str) -> Iterator[Row]:
    """Yield what is told of one event."""
    run = found.run
    event = run.events[number]
    until = run.events[number + 1].time if number + 1 < len(run.events) else run.end
    shuts = next((t for t in run.valve.shuts if event.time <= t < until), None)
    before = float(run.valve.at(event.time))
    yield Row("shuts", "product valve begins to shut", shuts, "time",
              "was not open" if not before else "")  # fmt: skip
    yield from _dark(found, event)
    through = run.passage(event.time, until)
    if found.judged:
        under = litres(through.under_dose)
        yield Row("under_dose", "under dose into the product", under, "volume", "goal: none")
        remedy = run.remedy(event)
        start = found.train.start
        now = [
            f"now {quantities.text(value or 0.0, kind, system, DIGITS)}"
            for value, kind in ((start.valve_time, "time"), (start.hold_up, "volume"))
        ]
        if shuts is not None:
            yield Row("valve_time", "slowest valve that lets none pass", remedy.valve_time, "time",
                      now[0])  # fmt: skip
            yield Row(
                "hold_up", "least hold-up that lets none pass", remedy.hold_up, "volume", now[1]
            )
    yield Row("wasted", "goes to waste after it", litres(through.waste), "volume")


def answer(found: Startup, system: str) -> list[str]:
    """Return the answer in a few lines."""

    def show(value: float, kind: str) -> str:
        return quantities.text(value, kind, system, DIGITS)

    lines = []
    if not found.judged:
        free = ", ".join(r.name for r in found.train.reactors if r.required is None)
        lines.append(f"NOT JUDGED: no dose is asked of {free}; state its target")
    elif not math.isfinite(found.clean.met):
        lines += [
            f"NEVER: the water does not come to its dose; steady run of {reactor.name} gives "
            f"{given}, {asked} is asked for"
            for reactor in found.train.reactors
            if reactor.credited < (reactor.required or 0.0)
            for given, asked in [_doses(reactor, system)]
        ] or ["NEVER: the water does not come to its dose in the time looked at"]
    else:
        least = show(found.before_met, "volume")
        lines.append(
            f"{show(found.clean.met, 'time')} from switching on to water that meets its dose, and "
            f"{least} that must go to waste"
        )
    if not math.isfinite(found.opens):
        lines.append(
            "the product valve never stays open: an alarm stands, or its set point is out of reach"
        )
    if found.judged and found.under_dose > NOTHING:
        lines.append(f"NOT MET: {show(found.under_dose, 'volume')} under dose reach the product")
        if found.endless:
            lines.append(
                f"that is what passes in the {show(found.run.end, 'time')} looked at: it goes on"
            )
    elif found.meets:
        lines.append("no water under dose reaches the product")
    for number, event in enumerate(found.run.events):
        open_then = float(found.run.valve.at(event.time)) > 0
        if open_then and not any(t >= event.time for t in found.run.valve.shuts):
            lines.append(f"nothing shuts the valve after event {number + 1}")
    return lines


def notes(found: Startup) -> list[str]:
    """Return what the numbers rest on."""
    flows, start = found.train.flows, found.train.start
    warm = quantities.text(start.lamp_warm_up or 0.0, "time")
    return [
        WASTE,
        "The flow at each moment is that of the solved line at the dial of the moment; between "
        f"solved dials it is off by {flows.error:.1e} of the full flow at most. An empty line "
        "fills at that flow, slower than in truth.",
        f"The lamp gains 95 % of its missing light in {warm}, by first order: common practice, no "
        "source; measure it.",
        *(_chamber(reactor) for reactor in found.train.reactors),
        "The hold-up counts as a pipe: a tank in which water mixes holds nothing back.",
        *([SEVERAL] if len(found.train.reactors) > 1 else []),
        *([] if all(map(_all_through, found.train.reactors)) else [BESIDE]),
        *([RULE] if found.run.events else []),
    ]


def _chamber(reactor: Reactor) -> str:
    """Return how the chamber of a reactor is followed."""
    if isinstance(reactor.exposure, Reported):
        return (
            f"{reactor.name} has the dose of its report for flow and lamp of the moment, none "
            "outside the tested box: bad water counts as out of its chamber at once, good water "
            f"when {reactor.own_washed * 1000:.0f} L have passed, for how it mixes is not known."
        )
    return (
        f"{reactor.name} is {reactor.exposure.tanks} tanks in series, unlit until it is full; its "
        "steady state is that of solve."
    )


def startup_text(
    title: str, path: str, found: Startup | None, membranes: MembraneStart | None,
    cautions: list[str], system: str = "si", *, colour: bool = False,
) -> str:  # fmt: skip
    """Return the page of a start."""
    page = Page(colour, WIDTH)
    page.line(title, "bold")
    page.line(f"{path}: from switching on")
    if found is not None:
        page.head("answer")
        page.listing(answer(found, system))
        page.head("start")
        page.table(("", "", ""), cells_of(start_rows(found, system), system))
        for number, event in enumerate(found.run.events):
            page.head(f"event {number + 1}: {_named(event, system)}")
            page.line(f" {KINDS[event.kind][1]}")
            page.table(("", "", ""), cells_of(event_rows(found, number, system), system))
    if membranes is not None:
        page.head("membranes")
        page.listing(membrane_answer(membranes, system))
        page.table(("", "", ""), cells_of(membrane_rows(membranes, system), system))
        page.head("when the pumps stop")
        page.table(("", "", ""), cells_of(stop_rows(membranes, system), system))
        page.head("held against")
        page.table(("", "", ""), list(held_rows(membranes, system)))
        page.listing(membrane_notes(membranes))
    if found is not None:
        page.head("what this rests on")
        page.listing(notes(found))
    page.head("cautions")
    page.listing(cautions)
    return page.text()


def _named(event: Event, system: str) -> str:
    when = quantities.text(event.time, "time", system)
    whose = f" of {event.unit}" if event.unit else ""
    return f"{event.kind.replace('_', ' ')}{whose} at {when}"


def startup_document(
    title: str, path: str, found: Startup | None, membranes: MembraneStart | None,
    cautions: list[str], system: str = "si",
) -> dict[str, Any]:  # fmt: skip
    """Return a start as plain data; null stands for never, or for what there is none of."""
    told: dict[str, Any] = {"treatsim": treatsim.__version__, "case": path, "title": title}
    told["state"] = state_of(found, membranes)
    if found is not None:
        told |= {
            "start": plain(start_rows(found, system), system),
            "events": [
                {"kind": event.kind, "time": shown(event.time, "time", system)}
                | ({"unit": event.unit} if event.unit else {})
                | plain(event_rows(found, number, system), system)
                for number, event in enumerate(found.run.events)
            ],
            "answer": answer(found, system),
            "notes": notes(found),
        }
    if membranes is not None:
        told["membranes"] = plain(
            [*membrane_rows(membranes, system), *stop_rows(membranes, system)], system
        ) | {"limits": [_limit(row, system) for row in held(membranes)],
             "answer": membrane_answer(membranes, system),
             "notes": membrane_notes(membranes)}  # fmt: skip
    return told | {"cautions": cautions}


def _limit(row: Held, system: str) -> dict[str, Any]:
    return {
        "name": row.key, "state": row.state, "needs": list(row.needs),
        "value": shown(finite(row.value), row.quantity, system),
        "limit": shown(row.limit, row.quantity, system),
    }  # fmt: skip


def state_of(found: Startup | None, membranes: MembraneStart | None) -> str:
    """Return met, not_met or not_judged: the worst of light and membranes."""
    states = set()
    if found is not None:
        states.add("not_judged" if not found.judged else "met" if found.meets else "not_met")
    if membranes is not None:
        states.add(state(membranes))
    return next(word for word in ("not_met", "not_judged", "met") if word in states)


def cautions_of(case: Any) -> list[str]:
    """Return the cautions of a case's equipment, a line each."""
    site = case.sections.get("site")
    hazards = [hazard for unit in case.flowsheet().units.values() for hazard in unit.dangers()]
    return short_cautions(hazards, None if site is None else site.altitude)
