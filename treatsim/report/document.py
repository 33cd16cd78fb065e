"""The one JSON document of `solve`."""

from __future__ import annotations

import json
import math
from typing import Any

import treatsim
from treatsim import quantities
from treatsim.operations.outcome import at
from treatsim.report.health_text import health_document
from treatsim.safety.verdict import Verdict


def number(value, quantity: str, system: str, point: int = 0) -> dict[str, Any]:
    """Return a value with the unit shown; what is not finite becomes null."""
    shown, unit = quantities.show(float(at(value, point)), quantity, system)
    return {"value": shown if math.isfinite(shown) else None, "unit": unit}


def document(verdict: Verdict, system: str = "si", point: int = 0) -> dict[str, Any]:
    """Return everything of one operating point as plain data."""
    result, case = verdict.result, verdict.case
    answered = bool(result.solved[point])
    return {
        "treatsim": treatsim.__version__,
        "case": case.path,
        "title": case.title,
        "solved": answered,
        "reason": result.reason(point, system),
        "meets": bool(answered and verdict.meets[point]),
        "criteria": [_criterion(c, system, point) for c in result.limits] if answered else [],
        "values": {
            address: number(v.value, v.quantity, system, point)
            for address, v in sorted(result.values.items())
        }
        if answered
        else {},
        **(health_document(verdict, point) if answered else {}),
        "findings": verdict.findings(point, system),
        "excursions": verdict.excursions(point, system),
        "choices": verdict.choices,
        "balances": result.balances,
        "cautions": verdict.cautions,
        "sources": verdict.sources,
    }


def _criterion(criterion, system: str, point: int) -> dict[str, Any]:
    value = number(criterion.value, criterion.quantity, system, point)
    limit = number(criterion.limit, criterion.quantity, system, point)
    return {
        "name": criterion.name,
        "address": criterion.address,
        "value": value["value"],
        "relation": criterion.relation,
        "limit": limit["value"],
        "unit": value["unit"],
        "meets": bool(at(criterion.meets, point)),
        "margin": at(criterion.margin, point),
        "source": criterion.source,
        "binding_input": criterion.binding_input,
    }


def as_json(data: dict[str, Any]) -> str:
    """Return the text of a document; a NaN would be an error, never a token."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
