"""The verdict: what each stage must reach, by how much it does, and what would have to move."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.correlations import dose
from treatsim.correlations.inactivation import ORGANISMS
from treatsim.flowsheet.result import Result
from treatsim.operations.base import Criterion, Value
from treatsim.operations.uv_reactor import MIXINGS, UvReactor, credited_organism
from treatsim.safety.cautions import cautions_for
from treatsim.safety.dose_requirements import DOSE_TABLE, credited_log, dose_for_credit

TURBIDITY_LIMIT = 1.0  # NTU entering the lamp; common practice, and a condition of the dose table
# whose equivalent dose stands for a class of the dose table
CREDIT_ORGANISM = {
    "cryptosporidium": "cryptosporidium",
    "giardia": "cryptosporidium",
    "virus": "adenovirus_40",
}


@dataclass
class Verdict:
    """A solved case and what it amounts to."""

    case: Any  # treatsim.cases.Case
    result: Result
    largest_flows: dict[str, Value]  # UV unit -> largest flow that still meets its dose

    @property
    def meets(self) -> np.ndarray:
        """Which points have an answer that meets every criterion."""
        good = self.result.solved.copy()
        for criterion in self.result.criteria:
            good &= np.broadcast_to(criterion.meets, good.shape)
        return good

    @property
    def choices(self) -> list[str]:
        """Model choices that entered, in words."""
        return [c for d in self.result.all_details.values() for c in d.choices]

    @property
    def cautions(self) -> list[str]:
        """Cautions for this train."""
        return [" ".join(c.text.split()) for c in cautions_for(self.case.kinds.values())]

    @property
    def sources(self) -> list[str]:
        """Keys of the sources used."""
        keys = [k for d in self.result.all_details.values() for k in d.sources]
        keys += [c.source for c in self.result.criteria if " " not in c.source]
        return sorted(set(keys))

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
            f"{unit}: {e.range.formula}: {e.range.name} {e.worst:.4g} {e.range.unit} lies outside "
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
            if isinstance(unit, UvReactor):
                _judge_reactor(verdict, unit, name, mover)
    return verdict


def _mover(case) -> str:
    """Return the input with which the flow is set: a pump's dial or the intake."""
    for kind, field in (("feed_pump", "speed"), ("intake", "flow")):
        for name, own in case.kinds.items():
            if own == kind:
                return f"{name}.{field}"
    return ""


def _judge_reactor(verdict: Verdict, unit: UvReactor, name: str, mover: str) -> None:
    result = verdict.result
    inlet = result.streams[name, "inlet"]
    _, bands = unit.bands(inlet)
    factor = unit.parameters.validation_factor
    for credit, organism in CREDIT_ORGANISM.items():
        validated = (
            np.min(
                [result.value(f"{name}.red.{organism}.{mixing}").value for mixing in MIXINGS],
                axis=0,
            )
            / factor
        )
        result.extra[f"{name}.log_credit.{credit}"] = Value(
            credited_log(credit, validated), "log_reduction"
        )
    if "turbidity" in inlet.contents:
        result.extra_criteria.append(
            Criterion(
                "turbidity entering the UV reactor",
                f"{name}.inlet.turbidity",
                inlet.contents["turbidity"],
                "<=",
                TURBIDITY_LIMIT,
                "turbidity",
                "common practice; the dose table holds for filtered water",
                "water.turbidity",
                "settle or filter finer: particles shield what hides in them",
            )
        )
    if unit.parameters.target is None:
        return
    required, source, wording = required_dose(unit.parameters.target)
    result.extra[f"{name}.dose_required"] = Value(required, "dose")
    result.extra_criteria.insert(
        0,
        Criterion(
            f"UV dose for {wording}",
            f"{name}.dose_credited",
            result.value(f"{name}.dose_credited").value,
            ">=",
            required,
            "dose",
            source,
            mover,
            "slow the pump, clean the sleeve, change the lamp, or clear the water",
        ),
    )
    largest = _largest_flow(bands, unit, inlet.flow, required, result.points)
    result.extra[f"{name}.largest_flow"] = largest
    verdict.largest_flows[name] = largest


def required_dose(target: dict) -> tuple[float, str, str]:
    """Return the dose a target asks for, its source and its wording.

    Parameters
    ----------
    target : dict
        `organism`, and `log` or `dose` (a text with a unit), as checked by the reactor.

    Returns
    -------
    tuple of float and str
        Dose [J/m2], key of the source or words, and the target in words.

    Validity
    --------
    By the stepped dose table for the classes it has, else by the organism's response; beyond its
    tested range that raises DomainError.

    Source
    ------
    cfr_141_720, table; else the source of the organism's response.
    """
    organism = target["organism"]
    words = organism.replace("_", " ")
    if "dose" in target:
        text = target["dose"]
        return quantities.read(text, "dose"), "stated in the case", f"{words}, {text} as stated"
    log = float(target["log"])
    if organism in DOSE_TABLE:
        return float(dose_for_credit(organism, log)), "cfr_141_720", f"{log:g} log of {words}"
    row = ORGANISMS[organism]
    return float(row.response.dose_for(log)), row.source, f"{log:g} log of {words}"


def _largest_flow(bands, unit: UvReactor, flow, required: float, points: int) -> Value:
    """Return the largest flow at which the credited dose meets what is required."""
    response = ORGANISMS[credited_organism(unit.parameters.target)].response
    factor = np.broadcast_to(np.asarray(unit.parameters.validation_factor, float), (points,))
    rows = {name: _rows(band, points) for name, band in bands.items()}

    def credited(scale, index):
        lowest = np.min(
            [dose.equivalent_dose(rows[name].scaled(scale, index), response) for name in MIXINGS],
            axis=0,
        )
        return lowest / factor[index]

    found = dose.largest_flow(
        credited, np.broadcast_to(np.asarray(flow, float), (points,)), np.full(points, required)
    )
    return Value(np.where(found.found, found.flow, 0.0), "flow")


def _rows(band, points: int):
    """Give a distribution one leading axis of points."""
    n = band.dose.shape[-1]
    weight = band.weight if band.weight.ndim == 1 else np.broadcast_to(band.weight, (points, n))
    return band._replace(
        dose=np.broadcast_to(band.dose, (points, n)),
        weight=weight,
        minimum=np.broadcast_to(band.minimum, (points,)),
    )
