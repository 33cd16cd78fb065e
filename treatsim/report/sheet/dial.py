"""The dial and what it gives: settings about the present one, each solved and judged."""

from __future__ import annotations

import numpy as np

from treatsim.errors import NoSolutionError, RequestError
from treatsim.operations.outcome import at
from treatsim.operations.parameters import field_problem
from treatsim.report.sheet.blocks import Block, Grid, Listing, Part, Words
from treatsim.report.sheet.facts import Facts, column, missed, round_steps, states_of, untold
from treatsim.safety.parts.dose import mover
from treatsim.studies.find import find

STEPS = (-3, -2, -1, 0, 1, 2, 3)
HEAD = "3 DIAL: WHAT A SETTING GIVES"


def dial_of(facts: Facts) -> str:
    """Return the address of the dial: as [operation] names it, else what moves the water.

    Ahead of membranes it is the pressure of the last pump that has one.
    """
    operation = facts.section("operation")
    if operation is not None and operation.dial is not None:
        return operation.dial
    units = facts.sheet.units
    if facts.units("semipermeable"):
        pressed = [n for n in units if "outlet_pressure" in units[n].dials and units[n].moves_water]
        for name in reversed(pressed):
            if facts.field(f"{name}.outlet_pressure")[1] is not None:
                return f"{name}.outlet_pressure"
    return mover(facts.sheet)


def set_at(facts: Facts, address: str) -> tuple[str, float | None]:
    """Return quantity and setting of a dial: what a hold found, else what the case says."""
    quantity, stated = facts.field(address)
    if any(hold.adjust == address for hold in facts.case.holds):
        return quantity, float(at(facts.value(address).value, 0))
    return quantity, stated


def dial_block(facts: Facts) -> Block:
    """Return the table of the dial, and the range in which every judged limit is met."""
    address = dial_of(facts)
    if not address:
        return Block(HEAD, (Words("NOT TOLD: nothing in this case moves the water"),))
    if held := next((h for h in facts.case.holds if h.adjust == address), None):
        quantity, now = set_at(facts, address)
        text = (
            f"{address} is set so that {held.until} is {facts.told(held.until)}: turn it until "
            f"that is read, at about {facts.text(now, quantity)} here."
        )
        return Block(HEAD, (Words(text),))
    try:
        parts = _table(facts, address)
    except (RequestError, NoSolutionError) as error:
        return Block(HEAD, (Words(untold(error)),))
    return Block(HEAD, (*parts, *_range(facts, address)))


def settings(facts: Facts, address: str) -> np.ndarray:
    """Return the settings of the table that the input may have. [SI]"""
    quantity, now = facts.field(address)
    if now is None:
        raise RequestError(f"{address} is left open, so it is no dial")
    item = facts.case.numeric(address)
    found = round_steps(now, quantity, facts.system, STEPS)
    return np.array([one for one in found if not field_problem(item, np.array([one]))])


def shown_results(facts: Facts) -> list[tuple[str, str]]:
    """Return the results of the table: what is read at the unit, and what it must reach."""
    wanted = [("product.flow", "flow")]
    wanted += [(f"{name}.dose_credited", "dose credited") for name in facts.units("irradiates")]
    for name in facts.units("semipermeable"):
        wanted += [(f"{name}.feed.pressure", f"{name} pressure"), (f"{name}.recovery", "recovery")]
    if facts.units("semipermeable"):
        wanted += [("product.concentration", "salt")]
    else:
        wanted += [(f"{name}.pressure_drop", f"drop {name}") for name in facts.filters]
    return [(address, words) for address, words in wanted if facts.has(address)]


def _table(facts: Facts, address: str) -> list[Part]:
    values = settings(facts, address)
    quantity, now = facts.field(address)
    verdict = facts.solved({address: values})
    results = [(a, words, facts.value(a).quantity) for a, words in shown_results(facts)]
    columns = [column(verdict, a) for a, _, _ in results]
    states = states_of(verdict)
    rows: list[tuple[str, ...]] = []
    missing: dict[str, list[str]] = {}  # limits -> settings that miss them
    for point, value in enumerate(values):
        told = [
            "–" if np.isnan(numbers[point]) else facts.number(numbers[point], kind)
            for numbers, (_, _, kind) in zip(columns, results, strict=True)
        ]
        rows.append((facts.number(value, quantity, 4), *told, states[point]))
        if names := missed(verdict, point):
            missing.setdefault("; ".join(names), []).append(facts.text(value, quantity, 4))
    own = int(np.argmin(np.abs(values - now)))
    heads = (
        facts.head("dial", quantity),
        *(facts.head(words, kind) for _, words, kind in results),
        "limits",
    )
    words = f"The dial is {address}. In bold: the setting of this sheet."
    parts: list[Part] = [Words(words), Grid(heads, tuple(rows), loud=(own,))]
    lines = [f"NOT MET at {', '.join(where)}: {names}" for names, where in missing.items()]
    return [*parts, Listing(tuple(lines))] if lines else parts


def _range(facts: Facts, address: str) -> list[Part]:
    """Return where every judged limit holds, as `find` says it; not where each point is dear."""
    if facts.sheet.tears:
        ask = f"treatsim find {facts.case.path} --adjust {address}"
        return [Words(f"Between these settings nothing was looked for: {ask}.")]
    try:
        lines = find(facts.case, address).lines(facts.system)
    except (RequestError, NoSolutionError) as error:
        return [Words(untold(error))]
    ends = [line.strip() for line in lines[1:] if line.startswith("  ") and line[2] != " "]
    return [Words(f"{lines[0]}."), Listing(tuple(ends[:2]))]
