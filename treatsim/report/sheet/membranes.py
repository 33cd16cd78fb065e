"""Membranes by the temperature of the water: at the set pressure, and at the product of today."""

from __future__ import annotations

import numpy as np

from treatsim.errors import NoSolutionError, RequestError
from treatsim.flowsheet.hold import Hold
from treatsim.report.sheet.blocks import Block, Grid, Part, Words
from treatsim.report.sheet.dial import dial_of
from treatsim.report.sheet.facts import Facts, column, states_of, untold
from treatsim.report.sheet.filters import temperatures
from treatsim.safety.verdict import Verdict, judge

HEAD = "4 PRESSURE, PRODUCT AND SALT BY TEMPERATURE"


def membrane_block(facts: Facts) -> Block | None:
    """Return the tables of a train with membranes; None for another."""
    names = facts.units("semipermeable")
    if not names:
        return None
    try:
        warm, own = temperatures(facts)
        verdict = facts.solved({"water.temperature": warm})
    except (RequestError, NoSolutionError) as error:
        return Block(HEAD, (Words(untold(error)),))
    heads = (
        facts.head("water", "temperature"),
        *(facts.head(f"{name} pressure", "pressure") for name in names),
        facts.head("product", "flow"),
        facts.head("salt", "concentration"),
        "limits",
    )
    rows = table(facts, verdict, warm, [f"{name}.feed.pressure" for name in names])
    parts: list[Part] = [
        Words(_as_set(facts)),
        Grid(heads, rows, loud=(own,)),
        *_held(facts, warm, own),
        Words(
            "Salt above its line at the same temperature and product: probe the elements, O-rings "
            "and valves. Product below its line: fouling, scale or age."
        ),
    ]
    return Block(HEAD, tuple(parts))


def _as_set(facts: Facts) -> str:
    if not facts.case.holds:
        return "With every dial as on this sheet:"
    told = (f"{h.until} is {facts.told(h.until)} by {h.adjust}" for h in facts.case.holds)
    return f"With the dials turned so that {', '.join(told)}:"


def table(
    facts: Facts, verdict: Verdict, warm: np.ndarray, pressures: list[str]
) -> tuple[tuple[str, ...], ...]:
    """Return one row for each temperature."""
    addresses = [*pressures, "product.flow", "product.concentration"]
    kinds = ["pressure"] * len(pressures) + ["flow", "concentration"]
    columns = [column(verdict, address) for address in addresses]
    states = states_of(verdict)
    return tuple(
        (
            facts.number(warm[n], "temperature"),
            *(
                "–" if np.isnan(values[n]) else facts.number(values[n], kind)
                for values, kind in zip(columns, kinds, strict=True)
            ),
            states[n],
        )
        for n in range(warm.size)
    )


def held_verdict(facts: Facts, warm: np.ndarray) -> tuple[str, Verdict]:
    """Return the dial that keeps the product of today at every temperature, and the points."""
    dial = dial_of(facts)
    if not dial:
        raise RequestError("nothing in this case is turned to set the product")
    product = float(np.ravel(facts.value("product.flow").value)[0])
    case = facts.case.changed(holds=(Hold(dial, "product.flow", product),))
    return dial, judge(case.solve({"water.temperature": warm}))


def _held(facts: Facts, warm: np.ndarray, own: int) -> list[Part]:
    if facts.case.holds:
        return []  # the table above is that of the product held
    try:
        dial, verdict = held_verdict(facts, warm)
        quantity = facts.field(dial)[0]
        setting = np.broadcast_to(np.asarray(verdict.result.value(dial).value, float), (warm.size,))
    except (RequestError, NoSolutionError) as error:
        return [Words(untold(error))]
    salt, states = column(verdict, "product.concentration"), states_of(verdict)
    solved = verdict.result.solved
    rows = tuple(
        (
            facts.number(warm[n], "temperature"),
            facts.number(setting[n], quantity) if solved[n] else "–",
            facts.number(salt[n], "concentration") if solved[n] else "–",
            states[n] if solved[n] else "out of reach",
        )
        for n in range(warm.size)
    )
    heads = (
        facts.head("water", "temperature"),
        facts.head("dial", quantity),
        facts.head("salt", "concentration"),
        "limits",
    )
    product = facts.told("product.flow")
    return [Words(f"Dial that keeps the product at {product}:"), Grid(heads, rows, loud=(own,))]
