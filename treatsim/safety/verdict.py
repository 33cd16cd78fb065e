"""The verdict: what each stage must reach, by how much it does, and what would have to move."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from treatsim.correlations.hydraulics.pump_curve import dead_speed
from treatsim.flowsheet.flowsheet import reach
from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Value
from treatsim.operations.uv_reactor import UvReactor
from treatsim.operations.validated_uv_reactor import ValidatedUvReactor
from treatsim.safety.analysis_verdict import Analytes, analysis
from treatsim.safety.cautions import cautions_for
from treatsim.safety.chlorination import chlorination
from treatsim.safety.health import Health, health
from treatsim.safety.reactor_verdict import judge_reactor, required_dose
from treatsim.safety.ro_quality import osmosis_quality
from treatsim.safety.served import served

__all__ = ["Verdict", "judge", "required_dose"]


@dataclass
class Verdict:
    """A solved case and what it amounts to."""

    case: Any  # treatsim.cases.Case
    result: Result
    largest_flows: dict[str, Value]  # UV unit -> largest flow that still meets its dose
    health: Health | None = None
    analytes: Analytes = field(default_factory=Analytes)
    remedies: list[Any] = field(default_factory=list)  # what would help, where it was asked for

    @property
    def meets(self) -> np.ndarray:
        """Which points have an answer that meets every criterion."""
        good = self.result.solved.copy()
        for criterion in self.result.limits:
            good &= np.broadcast_to(criterion.meets, good.shape)
        return good

    @property
    def choices(self) -> list[str]:
        """Model choices that entered, in words."""
        told = [c for d in self.result.all_details.values() for c in d.choices]
        return self.result.notes + told

    @property
    def cautions(self) -> list[str]:
        """Cautions for this train."""
        return [" ".join(c.text.split()) for c in cautions_for(self.case.kinds.values())]

    @property
    def sources(self) -> list[str]:
        """Keys of the sources used."""
        keys = [k for d in self.result.all_details.values() for k in d.sources]
        keys += [c.source for c in self.result.limits if " " not in c.source]
        if self.health is not None:
            keys += [b.source.split()[0] for b in self.health.barriers.values()]
        if "product.people_served" in self.result.extra:
            keys.append("sphere_2011")
        return sorted(set(keys) - {"common"})

    def findings(self, point: int = 0, system: str = "si") -> list[str]:
        """What is to be told about one point, in words."""
        return [
            f.message(point, system)
            for f in self.result.findings
            if np.broadcast_to(f.where, (self.result.points,))[point]
        ]

    def excursions(self, point: int = 0, system: str = "si") -> list[str]:
        """Formulas used outside their range at one point, in words."""
        return [
            f"{unit}: {e.range.formula}: {e.range.name} {e.worst:.4g}"
            f"{'' if e.range.unit == '1' else f' {e.range.unit}'} lies outside "
            f"{e.range.low:g} to {e.range.high:g}"
            for unit, e in self.result.excursions
            if np.broadcast_to(e.outside, (self.result.points,))[point]
        ]


def judge(case, result: Result) -> Verdict:
    """Add the criteria and values of the verdict to a result.

    Parameters
    ----------
    case : Case
        The case that was solved; its unit kinds choose the cautions.
    result : Result
        Its operating points.

    Returns
    -------
    Verdict
        With the result, to which doses asked for, log credits and criteria were added.

    Validity
    --------
    Points without an answer carry meaningless numbers and are marked by `result.solved`.

    Source
    ------
    definition; each criterion names its own.
    """
    verdict = Verdict(case, result, {})
    if not np.any(result.solved):
        return verdict
    mover = _mover(case)
    with np.errstate(all="ignore"):
        for name, unit in result.sheet.units.items():
            if isinstance(unit, UvReactor | ValidatedUvReactor):
                largest = judge_reactor(result, unit, mover)
                if largest is not None:
                    verdict.largest_flows[name] = largest
        for name in (n for n, kind in case.kinds.items() if kind == "feed_pump"):
            _dead_speed(result, name)
        chlorination(result, getattr(result.sections.get("water"), "ph", None))
        verdict.health = health(result)
        verdict.analytes = analysis(result, case.kinds.values())
        served(result, mover)
        osmosis_quality(result)
    return verdict


def _dead_speed(result: Result, pump: str) -> None:
    """Add the speed below which nothing flows, where one line decides it."""
    wiring = result.sheet.wiring
    units: dict[str, Any] = dict(result.sheet.units)
    line = [
        name
        for source in wiring.sources
        if pump in reach(wiring, source)
        for name in reach(wiring, source)
    ]
    rise: Any = 0.0
    pumps = [name for name in line if hasattr(units[name], "curve")]
    if pumps != [pump]:  # two pumps share the lift between them
        return
    for name in line:
        rise = rise + np.asarray(units[name].static_rise())
        if units[name].outlets[:1] and units[name].outlets[0] in units[name].anchored:
            break
        if len(units[name].outlets) > 1 or len(units[name].inlets) > 1:
            return
    speed = dead_speed(units[pump].curve, np.maximum(rise, 0.0))
    result.extra[f"{pump}.dead_speed"] = Value(speed, "speed")


def _mover(case) -> str:
    """Return the input with which the flow is set: a pump's dial or the intake."""
    for kind, key in (("feed_pump", "speed"), ("intake", "flow")):
        for name, own in case.kinds.items():
            if own == kind:
                return f"{name}.{key}"
    return ""
