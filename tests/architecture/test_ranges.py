"""Every fitted range is held against the numbers at the place where its formula is used."""

from __future__ import annotations

import ast
import importlib
from functools import cache

import numpy as np
import reach
from package import modules

from treatsim.ranges import Range, excursions

# range -> the formula it belongs to, which waits for a later capability (test_reach.py) and must
# evaluate it when it comes; the list may only shrink
WAITING = {
    "correlations.disinfection.contact_time.SMITH_CHLORINE": "giardia_ct_regression",
    "correlations.disinfection.contact_time.SMITH_PH": "giardia_ct_regression",
    "correlations.disinfection.contact_time.SMITH_TEMPERATURE": "giardia_ct_regression",
    "correlations.disinfection.contact_time.VIRUS_TEMPERATURE": "virus_log_regression",
    "safety.uv_operation.PARTICLE_RANGE": "particle_loss",
    "water.analysis.PRACTICAL_SALINITY_RANGE": "from_practical_salinity",
}


@cache
def ranges() -> set[str]:
    """Every Range held by a module, alone or in a table of them."""
    found = set()
    for module in modules():
        if module in ("treatsim.ranges", "treatsim.cli") or "plots" in module:
            continue
        loaded = importlib.import_module(module)
        for name, value in vars(loaded).items():
            held = value.values() if isinstance(value, dict) else [value]
            here = f"{module}.{name}"
            if any(isinstance(v, Range) for v in held) and here in reach.definitions():
                found.add(here)
    return found


@cache
def evaluated() -> tuple[set[str], set[str]]:
    """First arguments of `excursions(...)` in what is reached: definitions, and attributes."""
    found, attributes = set(), set()
    for name in reach.from_the_top():
        known = reach.names_of(name.rpartition(".")[0])
        for node in reach.definitions()[name]:
            for call in ast.walk(node):
                if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "excursions":
                    first = call.args[0]
                    attributes |= {a.attr for a in ast.walk(first) if isinstance(a, ast.Attribute)}
                    found |= {reach.home(used) for used in reach.uses(first, known)}
    # a range chosen beforehand, by name, in the same function
    for name in reach.from_the_top():
        if name.endswith("WaterTable"):
            known = reach.names_of(name.rpartition(".")[0])
            (cls,) = reach.definitions()[name]
            method = next(f for f in cls.body if getattr(f, "name", "") == "excursions")
            found |= {reach.home(used) for used in reach.uses(method, known)}
    return found, attributes


def test_every_range_is_evaluated_or_waits_with_its_formula():
    found, _ = evaluated()
    idle = {name.removeprefix("treatsim.") for name in ranges() - found}
    assert idle - set(WAITING) == set(), "declared, but no kind or water table evaluates it"
    assert set(WAITING) - idle == set(), "evaluated now, or gone: take it off the list"


def test_what_waits_belongs_to_a_formula_that_nothing_reaches():
    for name, formula in WAITING.items():
        module = name.rpartition(".")[0]
        assert f"treatsim.{module}.{formula}" in reach.definitions()
        used = f"treatsim.{module}.{formula}" in reach.from_the_top()
        assert not used, f"{formula} is used: evaluate {name}"


def test_ranges_held_by_records_are_evaluated():
    """A record such as a water table that carries ranges must have them evaluated too."""
    _, attributes = evaluated()
    fields = {
        item.target.id
        for nodes in (reach.definitions()[n] for n in reach.from_the_top())
        for node in nodes
        if isinstance(node, ast.ClassDef)
        for item in node.body
        if isinstance(item, ast.AnnAssign) and ast.unparse(item.annotation) == "Range"
    } - {"range"}  # of an Excursion itself
    assert fields
    assert fields <= attributes


def test_the_worst_is_told_and_what_is_no_number_is_not_outside():
    limits = Range("x", 1.0, 2.0, "1", "a formula")
    (found,) = excursions(limits, [np.nan, 0.5, 1.0, 1.5, 2.0, 4.0, np.nan])
    assert list(found.outside) == [False, True, False, False, False, True, False]
    assert found.worst == 4.0
    assert excursions(limits, [1.0, 2.0, np.nan]) == []
    (below,) = excursions(limits, -7.0)
    assert below.worst == -7.0


def test_a_range_says_what_it_is_of():
    assert len(ranges()) > 20
    for name in ranges():
        module, _, attribute = name.rpartition(".")
        held = getattr(importlib.import_module(module), attribute)
        for item in held.values() if isinstance(held, dict) else [held]:
            assert item.low < item.high, name
            assert item.formula, name
            assert item.unit, name
