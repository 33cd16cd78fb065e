"""The one JSON document of `solve`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import treatsim
from treatsim import quantities
from treatsim.operations.outcome import STATES, Limit, at
from treatsim.report.element_text import element_document
from treatsim.report.health_text import health_document
from treatsim.safety.verdict import WITHOUT, WORDS, Verdict
from treatsim.studies.remedies import Remedy


def number(value, quantity: str, system: str, point: int = 0) -> dict[str, Any]:
    """Return a value with the unit shown; what is not finite becomes null."""
    shown, unit = quantities.show(float(at(value, point)), quantity, system)
    return {"value": shown if math.isfinite(shown) else None, "unit": unit}


def document(
    verdict: Verdict,
    remedies: Sequence[Remedy] = (),
    system: str = "si",
    point: int = 0,
    chances: Mapping[tuple[str, str], float] | None = None,
) -> dict[str, Any]:
    """Return everything of one operating point; `chances` of limits by name and address."""
    result = verdict.result
    answered = bool(result.solved[point])
    limits = verdict.limits if answered else ()
    return {
        "treatsim": treatsim.__version__,
        "case": result.context.path,
        "title": result.context.title,
        "solved": answered,
        "reason": result.reason(point, system),
        "state": verdict.state(point),
        "meets": bool(verdict.meets[point]),
        **{state: len(verdict.of_state(state, point)) for state in STATES[1:]},
        "criteria": [_limit(limit, system, point, chances or {}) for limit in limits],
        "values": {
            address: number(v.value, v.quantity, system, point)
            for address, v in sorted(verdict.values.items())
        }
        if answered
        else {},
        "elements": element_document(verdict, system, point) if answered else [],
        **(health_document(verdict, remedies, point) if answered else {}),
        "findings": verdict.told(point, system),
        "excursions": verdict.excursions(point, system),
        "choices": verdict.choices,
        "balances": result.balances,
        "cautions": verdict.cautions,
        "sources": verdict.sources,
    }


def unanswered(case: str, reason: str) -> dict[str, Any]:
    """Return the document of a case whose water could not even be made up."""
    lists = ("criteria", "findings", "excursions", "cautions", "sources")
    return {
        "treatsim": treatsim.__version__,
        "case": case,
        "solved": False,
        "reason": reason,
        "state": WORDS[WITHOUT],
        "meets": False,
        "values": {},
        **{name: [] for name in lists},
    }


def _limit(
    limit: Limit, system: str, point: int, chances: Mapping[tuple[str, str], float]
) -> dict[str, Any]:
    state = limit.state(point)
    told = {
        "name": limit.name,
        "address": limit.address,
        "state": state,
        "class": limit.group,
        "meets": state == "met",
        "source": limit.source,
        "binding_input": limit.binding_input,
    }
    if state == "not_judged":
        return told | {"needs": limit.needs}
    value = number(limit.value, limit.quantity, system, point)
    told |= {
        "value": value["value"],
        "relation": limit.relation,
        "limit": number(limit.limit, limit.quantity, system, point)["value"],
        "unit": value["unit"],
        "margin": at(limit.margin, point),
    }
    if (key := (limit.name, limit.address)) in chances:
        told["chance"] = chances[key]
    return told | ({"waived": limit.waived} if limit.waived else {})
