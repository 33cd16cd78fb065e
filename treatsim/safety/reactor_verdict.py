"""What the ultraviolet reactor must reach, and the largest flow at which it does."""

from __future__ import annotations

from functools import partial

import numpy as np

from treatsim import quantities
from treatsim.correlations.uv import dose
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Limit, Value, later
from treatsim.operations.uv_reactor import MIXINGS, UvReactor, credited_organism
from treatsim.operations.validated_uv_reactor import ValidatedUvReactor
from treatsim.safety.dose_requirements import DOSE_TABLE, credited_log, dose_for_credit
from treatsim.safety.train_barriers import validated_doses
from treatsim.water.stream import Stream

TURBIDITY_LIMIT = 1.0  # NTU entering the lamp; common practice, and a condition of the dose table


def judge_reactor(result: Result, unit: UvReactor | ValidatedUvReactor, mover: str) -> Value | None:
    """Add credits, criteria and the largest flow of one reactor to the result.

    Parameters
    ----------
    result : Result
        Solved case.
    unit : UvReactor or ValidatedUvReactor
        The reactor.
    mover : str
        Address of the input that sets the flow.

    Returns
    -------
    Value or None
        Largest flow at which the reactor still meets its dose; None without a target. [m3/s]

    Validity
    --------
    As the dose and the table it is held against.

    Source
    ------
    cfr_141_720, or as the target says
    """
    name = unit.name
    inlet = result.streams[name, "inlet"]
    proof = result.sections.get("health")
    doses = validated_doses(result, unit, None if proof is None else proof.uv_virus_factor)
    for cls in DOSE_TABLE:
        validated = np.where(result.solved, doses[cls], 0.0)
        result.extra[f"{name}.log_credit.{cls}"] = Value(
            credited_log(cls, validated), "log_reduction"
        )
    if "turbidity" in inlet.contents:
        result.extra_limits.append(
            Limit(
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
        return None
    required, source, wording = required_dose(unit.parameters.target)
    result.extra[f"{name}.dose_required"] = Value(required, "dose")
    result.extra_limits.insert(
        0,
        Limit(
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
    if isinstance(unit, ValidatedUvReactor):
        largest = Value(unit.largest_flow(inlet, required), "flow")
    else:
        search = partial(_largest_flow, unit, inlet, required, result.points)
        largest = later(search, "flow")
    result.extra[f"{name}.largest_flow"] = largest
    return largest


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


def _largest_flow(unit: UvReactor, inlet: Stream, required: float, points: int) -> np.ndarray:
    """Return the largest flow at which the credited dose meets what is required."""
    _, bands = unit.bands(inlet)
    flow = inlet.flow
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
    return np.where(found.found, found.flow, 0.0)


def _rows(band, points: int):
    """Give a distribution one leading axis of points."""
    n = band.dose.shape[-1]
    weight = band.weight if band.weight.ndim == 1 else np.broadcast_to(band.weight, (points, n))
    return band._replace(
        dose=np.broadcast_to(band.dose, (points, n)),
        weight=weight,
        minimum=np.broadcast_to(band.minimum, (points,)),
    )
