"""What iron, manganese, silica, sulfide and hardness of the source foul on their way."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from treatsim.flowsheet.result import Result
from treatsim.flowsheet.wiring import Wiring
from treatsim.operations.outcome import Finding, Value
from treatsim.safety.additions import Additions
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT as LIME
from treatsim.water.ions import IONS
from treatsim.water.laboratory import read_report

HARD = ("Ca", "Mg")


class Rule(NamedTuple):
    """A concentration in the feed above which something is fouled."""

    analyte: str
    above: float  # kg/m3
    effect: str


# common practice, no source
RULES: Mapping[str, tuple[Rule, ...]] = {
    "filter": (
        Rule("iron", 0.3e-3, "rust closes the elements once it meets air or chlorine"),
        Rule("manganese", 0.1e-3, "black oxide closes the elements once it meets chlorine"),
        Rule("hydrogen_sulfide", 0.1e-3, "sulfur closes the elements once it meets air"),
    ),
    "sleeve": (
        Rule("iron", 0.3e-3, "the sleeve turns brown and swallows the light: wipe it often"),
        Rule("manganese", 0.05e-3, "the sleeve turns black and swallows the light: wipe it often"),
        Rule("hydrogen_sulfide", 0.05e-3, "it darkens the sleeve and takes light itself"),
        Rule("hardness", 120e-3, "lime grows on the warm sleeve: wipe it with a weak acid"),
    ),
    "membrane": (
        Rule("iron", 0.05e-3, "it fouls the membranes and its rust speeds up their decay"),
        Rule("manganese", 0.05e-3, "it fouls the membranes"),
        Rule("hydrogen_sulfide", 0.05e-3, "sulfur fouls the membranes once it meets air, and no "
             "membrane holds the gas back"),
        Rule("silica", 20e-3, "silica may cap the recovery: see its saturation"),
    ),
}  # fmt: skip


def fouling(result: Result, earlier: Additions) -> Additions:
    """Warn of what the source's water fouls.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        One finding for each substance and unit that raw water reaches.

    Validity
    --------
    What was measured in the source, below detection or not at all counts as absent; filters are
    taken to hold back nothing dissolved, so that behind them it is told as well.

    Source
    ------
    common practice, no source
    """
    measured = _measured(result)
    findings = []
    for name in sorted(raw_reaches(result)):
        unit = result.sheet.units[name]
        for rule in RULES.get(unit.fouled, ()):
            value = measured.get(rule.analyte, 0.0)
            if value > rule.above:
                words = rule.analyte.replace("_", " ")
                told = {
                    "value": Value(np.array(value), "concentration"),
                    "limit": Value(np.array(rule.above), "concentration"),
                }
                text = f"{name}: {words} of {{value}}, above {{limit}} (common practice): "
                findings.append(Finding(True, text + rule.effect, told))
    return Additions(findings=tuple(findings))


def _measured(result: Result) -> dict[str, float]:
    """What was detected in the source. [kg/m3]"""
    water, table = (result.sections.get(name) for name in ("water", "analytes"))
    report = read_report(getattr(water, "ions", None) or {}, "water.ions")
    found = {name: reading.value for name, reading in report.items() if not reading.below}
    if {"calcium", "magnesium"} <= set(found):
        per_charge = ((found[IONS[s].name], IONS[s].molar_mass / IONS[s].charge) for s in HARD)
        found.setdefault("hardness", sum(v / m for v, m in per_charge) * LIME)
    if table is not None:
        found |= {name: v for name, v in table.before.items() if name not in table.below}
    return found


def raw_reaches(result: Result) -> set[str]:
    """Return the units that the source's water reaches without passing a membrane.

    Parameters
    ----------
    result : Result
        Solved case. [-]

    Returns
    -------
    set of str
        Names of units.

    Validity
    --------
    Any flowsheet.

    Source
    ------
    definition
    """
    wiring: Wiring = result.sheet.wiring
    seen, todo = set[str](), list(wiring.sources)
    while todo:
        name = todo.pop()
        if name in seen:
            continue
        seen.add(name)
        treated = result.sheet.units[name].treated
        todo += [
            to[0]
            for (unit, port), to in wiring.goes.items()
            if unit == name and len(to) == 2 and not (treated and port == treated)
        ]
    return seen
