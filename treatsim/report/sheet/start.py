"""Start and stop, in order and with their seconds where the case tells them."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from treatsim.errors import NoSolutionError, RequestError
from treatsim.report.membrane_text import membrane_answer
from treatsim.report.sheet.blocks import Block, Listing, Part, Words
from treatsim.report.sheet.dial import dial_of, set_at
from treatsim.report.sheet.facts import Facts, untold
from treatsim.report.startup_text import answer
from treatsim.running.ro_held import state
from treatsim.running.ro_start import MembraneStart, membrane_start
from treatsim.running.startup import Startup, startup

HEAD = "2 START AND STOP"


class Starts(NamedTuple):
    """The start of a case as far as it can be told, and why it cannot."""

    light: Startup | None = None
    membranes: MembraneStart | None = None
    untold: tuple[str, ...] = ()


def starts_of(facts: Facts) -> Starts:
    """Return the start of light and membranes, by the same functions as `startup`."""
    lit, salty = facts.units("irradiates"), facts.units("semipermeable")
    light, membranes, problems = None, None, []
    try:
        light = startup(facts.case) if lit else None
    except (RequestError, NoSolutionError) as error:
        problems.append(untold(error))
    try:
        membranes = membrane_start(facts.case) if salty else None
    except (RequestError, NoSolutionError) as error:
        problems.append(untold(error))
    return Starts(light, membranes, tuple(dict.fromkeys(problems)))


def alarms(facts: Facts, starts: Starts) -> list[str]:
    """Return what of the start belongs at the top: under dose, never good, or never open."""
    light, membranes = starts.light, starts.membranes
    lines = []
    if light is not None and light.judged and not light.meets:
        lines += answer(light, facts.system)
    if membranes is not None and state(membranes) == "not_met":
        lines += membrane_answer(membranes, facts.system)
    words = ("NEVER", "NOT MET", "the product valve never")
    return [f"start: {line}" for line in lines if line.startswith(words)]


def start_block(facts: Facts, starts: Starts) -> Block:
    """Return the order of starting and of stopping."""
    steps = [*_before(facts), *_steps(facts, starts)]
    parts: list[Part] = [Listing(tuple(steps), numbered=True)]
    parts += [Words(f"Seconds {line}") for line in starts.untold]
    parts += [Words("STOP:", loud=True), Listing(tuple(_stop(facts, starts)), numbered=True)]
    return Block(HEAD, tuple(parts))


def _before(facts: Facts) -> list[str]:
    return ["Look at the source, hoses, seals and cables. Product valve to waste, tank shut."]


def _setting(facts: Facts) -> str:
    dial = dial_of(facts)
    if not dial or set_at(facts, dial)[1] is None:
        return "pump on"
    quantity, now = set_at(facts, dial)
    return f"pump on: {dial} to {facts.text(now, quantity, 4)}"


def _steps(facts: Facts, starts: Starts) -> list[str]:
    table: Any = facts.section("startup")
    steps = []
    if facts.units("irradiates"):
        steps += _light_steps(facts, starts, table)
    else:
        ramp = "" if table is None else f", evenly within {facts.text(table.pump_ramp, 'time')}"
        steps.append(f"{_setting(facts).capitalize()}{ramp}.")
    if facts.units("semipermeable"):
        steps += _membrane_steps(facts, starts)
    if facts.with_hazard("chlorine"):
        steps.append("Dosing pump on as soon as water runs; count its strokes; read free chlorine.")
    return [*steps, "Write the first line of the log: flow, drops and readings as they settle."]


def _light_steps(facts: Facts, starts: Starts, table: Any) -> list[str]:
    lamp = "0 s: lamp on; look at its indicator, never at the lamp."
    found = starts.light
    if found is None or table is None:
        late = "Lamp on and warm (its sensor steady, or the time its maker states); look at its "
        return [
            f"{late}indicator, never at the lamp.",
            f"{_setting(facts).capitalize()}. All to waste until the sensor is steady and the "
            "standing water has been changed.",
            "Product valve to the tank.",
        ]
    delay, ramp = (facts.text(x, "time") for x in (table.pump_delay, table.pump_ramp))
    steps = [lamp, f"{delay}: {_setting(facts)}, evenly within {ramp}."]
    if math.isfinite(found.clean.filled):
        steps.append(f"{facts.text(found.clean.filled, 'time')}: water comes out, to waste.")
    if not math.isfinite(found.opens):
        return [*steps, "The product valve never stays open: DO NOT GIVE OUT."]
    by = "its sensor" if table.opens_when == "sensor" else "its clock"
    wasted = facts.text(found.wasted, "volume")
    steps.append(
        f"{facts.text(found.opens, 'time')}: product valve opens by {by}; {wasted} have gone to "
        f"waste. {_met(facts, found)}"
    )
    return steps


def _met(facts: Facts, found: Startup) -> str:
    if not found.judged:
        return "NOT JUDGED: no dose is asked for."
    if not math.isfinite(found.clean.met):
        return "The water NEVER comes to its dose: do not give it out."
    met = facts.text(found.clean.met, "time")
    if not found.meets:
        under = facts.text(found.under_dose, "volume")
        return f"Its dose is met from {met}: {under} UNDER DOSE reach the product: open later."
    return f"By hand never before {met}, when its dose is met."


def _membrane_steps(facts: Facts, starts: Starts) -> list[str]:
    found, table = starts.membranes, facts.section("operation")
    if found is not None:
        up = f"{facts.text(found.pressure_up, 'time')}: pressure is up."
        salt = facts.text(found.salt, "concentration")
        if not math.isfinite(found.ready):
            return [f"{up} The product never goes to the tank ({salt}): DO NOT GIVE OUT."]
        good = "under its limit of salt" if found.judged else "as salty as it stays (NOT JUDGED)"
        gone = facts.text(found.made(found.ready), "volume")
        return [
            f"{up} Product to waste until {facts.text(found.ready, 'time')} ({gone}), when it is "
            f"{good}, in steady run {salt}; then to the tank."
        ]
    if table is not None and None not in (table.warm_up, table.flush):
        warm = facts.text(table.warm_up, "short_duration")
        flush = facts.text(table.flush, "volume")
        return [
            f"Valves open, raise the pressure slowly. Product to waste for {warm} and until "
            f"{flush} have run, both as [operation] states; then to the tank."
        ]
    return [
        "Valves open, raise the pressure slowly. Product to waste until its conductivity is steady "
        "and at the line of the table; then to the tank."
    ]


def _stop(facts: Facts, starts: Starts) -> list[str]:
    table: Any = facts.section("startup")
    shut = None if table is None else table.valve_time
    first = "Product valve shut" + (f" ({facts.text(shut, 'time')})" if shut else "")
    lines = [f"{first}, what comes goes to waste."]
    if facts.with_hazard("chlorine"):
        lines.append("Dosing pump off.")
    if facts.units("semipermeable"):
        lines.append("Let the pressure down slowly; flush the membranes with product water, no "
                     "chlorine; for days of rest as their data sheet says.")  # fmt: skip
    lines.append(
        "Pump off" + ("; then the lamp, never before." if facts.units("irradiates") else ".")
    )
    lines.append("Lock out and let the pressure out before anything is opened. Write the log.")
    return lines
