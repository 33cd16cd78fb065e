"""When to shut the tap: stop rules, each with the limit that the case is judged by."""

from __future__ import annotations

from treatsim import quantities
from treatsim.operations.chlorine_dosing import HEALTH_LIMIT, HIGHEST_TURBIDITY
from treatsim.operations.outcome import at
from treatsim.report.sheet.blocks import Block, Listing, Words
from treatsim.report.sheet.facts import Facts
from treatsim.safety.cautions import short_cautions, too_much_dissolved
from treatsim.safety.guideline_values import TASTE_CLASSES

HEAD = "1 STOP RULES"
FIRST = "SHUT THE TAP, give nothing out, boil or fetch elsewhere, and call, when:"
JUMP = 1.2  # of the salt of the table, from one day to the next; common practice, no source


def stop_block(facts: Facts) -> Block:
    """Return the stop rules of what the train has."""
    rules = [
        "the source smells of fuel or chemicals, is scummed, coloured or full of dead fish: "
        "boiling does NOT help; change the source",
        *_light(facts),
        *_clarity(facts),
        *_chlorine(facts),
        *_filters(facts),
        *_membranes(facts),
        "a tank or can has been open, dirty or flooded; people fall ill; anything is not as on "
        "this sheet and nobody knows why",
    ]
    missed = too_much_dissolved(facts.verdict.of_state("not_met"))
    boil = " ".join(short_cautions((), altitude_of(facts), missed)[1:])
    return Block(HEAD, (Words(FIRST, loud=True), Listing(tuple(rules)), Words(boil)))


def altitude_of(facts: Facts) -> float | None:
    """Return the height of the site; None if it is not stated. [m]"""
    site = facts.section("site")
    return None if site is None or site.altitude is None else float(site.altitude)


def _light(facts: Facts) -> list[str]:
    rules = []
    for name in facts.units("irradiates"):
        rules.append(f"the lamp of {name} is dark, its indicator out, or its sensor alarms")
        if facts.has(f"{name}.largest_flow"):
            largest = facts.value(f"{name}.largest_flow").value
            most = f"{facts.bound(largest, 'flow')} {quantities.shown('flow', facts.system)[0]}"
            rules.append(f"the flow through {name} is above {most} (table 4 for other water)")
    return rules


def _clarity(facts: Facts) -> list[str]:
    for name in facts.units("irradiates"):
        if most := facts.limit_text(f"{name}.inlet.turbidity"):
            return [f"turbidity behind the filters is above {most}"]
    if facts.with_hazard("chlorine"):
        most = facts.text(HIGHEST_TURBIDITY, "turbidity")
        return [f"turbidity where chlorine is dosed is above {most}"]
    return []


def _chlorine(facts: Facts) -> list[str]:
    rules = []
    for tank in (n for n, u in facts.sheet.units.items() if u.usable_volume() is not None):
        for key, where in (
            ("after_contact", "before the tank is opened"),
            ("at_tap", "at the tap"),
        ):
            if least := facts.limit_text(f"{tank}.residual_{key}"):
                rules.append(f"free chlorine {where} is below {least}")
    if facts.with_hazard("chlorine"):
        rules.append(f"free chlorine is above {facts.text(HEALTH_LIMIT, 'concentration')}")
    return rules


def _filters(facts: Facts) -> list[str]:
    rules = []
    if facts.filters:
        rules.append(
            "the pressure drop of a filter falls at once, or the flow jumps up: an element has "
            "burst or is bypassed"
        )
    told = [(n, facts.limit_text(f"{n}.pressure_drop")) for n in facts.filters]
    if any(most for _, most in told):
        texts = ", ".join(f"{name} {most}" for name, most in told if most)
        rules.append(f"a pressure drop is above its change value: {texts}")
    return rules


def salt_stop(facts: Facts) -> float:
    """Return the salt of the product that says something is torn or open. [kg/m3]

    A fifth above that of the sheet, and never above what people refuse.
    """
    now = float(at(facts.value("product.concentration").value, 0))
    return max(now, min(JUMP * now, TASTE_CLASSES[-1][0]))


def _membranes(facts: Facts) -> list[str]:
    if not facts.units("semipermeable"):
        return []
    most = facts.text(salt_stop(facts), "concentration")
    rules = [
        f"salt of the product is above {most} (common practice: a fifth above its line of "
        "table 4): an element or a ring is torn, or a valve open"
    ]
    told = {n: facts.limit_text(f"{n}.element_pressure_max") for n in facts.units("semipermeable")}
    return rules + [
        f"pressure at {n} is above {text}: pump off" for n, text in told.items() if text
    ]
