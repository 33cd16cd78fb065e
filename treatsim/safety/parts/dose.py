"""What the ultraviolet reactor must reach, and the largest flow at which it does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.correlations.uv.dose_table import DOSE_TABLE, credited_log, dose_for_credit
from treatsim.correlations.uv.inactivation import ORGANISMS, claimable_log
from treatsim.correlations.uv.optics import CENTIMETRE
from treatsim.flowsheet.flowsheet import Flowsheet, Port
from treatsim.flowsheet.result import Result
from treatsim.flowsheet.wiring import reach
from treatsim.operations.composed import Composed
from treatsim.operations.outcome import Finding, Limit, Value, later, unjudged
from treatsim.operations.unit import Unit
from treatsim.safety.additions import Additions
from treatsim.safety.barriers import SLACK
from treatsim.safety.composed_credit import single

LEAST_TRANSMITTANCE = 0.75  # per cm, of small reactors; common practice, no source
MOST_SOLIDS = 10e-3  # kg/m3 at a reactor; common practice, no source
DULL = (
    "transmittance of {value}, below {limit} (common practice): few small reactors were tested "
    "there"
)
SOLIDS = "suspended solids of {value}, above {limit} (common practice): they hide germs from light"
TURBIDITY_LIMIT = 1.0  # NTU entering the lamp; common practice, and a condition of the dose table


def dose(result: Result, earlier: Additions) -> Additions:
    """Credits, limits and the largest flow of every reactor.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        Log credits, dose required and largest flow by address, and what is held.

    Validity
    --------
    As the dose and the table it is held against; without a target the dose is not judged.

    Source
    ------
    cfr_141_720, or as the target says
    """
    found = Additions()
    for unit in result.sheet.units.values():
        if unit.irradiates:
            found = found.joined(_target(result, unit)).joined(_water(result, unit))
            found = found.joined(Additions(findings=_unkind_water(result, unit.name)))
    return found.joined(_round_the_light(result))


def _round_the_light(result: Result) -> Additions:
    """What is asked of a dose holds for all that is drunk: water led round the light has none."""
    sheet, end = result.sheet, result.product_end
    lit = [name for name, unit in sheet.units.items() if unit.irradiates]
    asked = any(sheet.units[name].parameters.target is not None for name in lit)
    wiring = sheet.wiring
    if not asked or end is None or end[0] not in reach(wiring, *wiring.sources, round_=lit):
        return Additions()
    limit = Limit(
        "share of the product that has passed the light",
        f"{lit[0]}.share_of_product",
        _lit_share(result, lit, end),
        ">=",
        1.0,
        "fraction",
        "the dose asked for is asked of all that is drunk",
        "",
        "lead no water round the light",
    )
    return Additions({limit.address: Value(limit.value, limit.quantity)}, (limit,))


def _lit_share(result: Result, lit: Sequence[str], end: Port) -> Array:
    """Return the share of the product that has passed one of the reactors, by flow.

    Where streams meet inside a unit they are taken as mixed; a recycle's return as source water.
    """
    sheet = result.sheet
    at: dict[Port, Array] = {}
    for name in sheet.order:
        unit = sheet.units[name]
        flows = {port: result.streams[name, port].flow for port in unit.inlets}
        shares = [
            at.get(sheet.wiring.feeds.get((name, port), end), np.array(0.0)) for port in flows
        ]
        mixed = sum(flow * share for flow, share in zip(flows.values(), shares, strict=True))
        passed = np.where(name in lit, 1.0, mixed / sum(flows.values()))
        for port in (*unit.inlets, *unit.outlets):
            at[name, port] = passed
    return at[end]


def _water(result: Result, unit: Unit) -> Additions:
    """Log credit by the dose table, and the turbidity on which that table rests."""
    name, inlet = unit.name, result.streams[unit.name, "inlet"]
    proof = result.sections.get("health")
    told = result.details(name).values
    doses = unit.class_doses(told, None if proof is None else proof.uv_virus_factor)
    values = {
        f"{name}.log_credit.{cls}": Value(
            credited_log(cls, np.where(result.solved, doses[cls], 0.0)), "log_reduction"
        )
        for cls in DOSE_TABLE
    }
    if "turbidity" not in inlet.contents:
        needs = "water.turbidity"
        return Additions(values, (unjudged("turbidity entering the UV reactor", needs),))
    limit = Limit(
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
    return Additions(values, (limit,))


def _unkind_water(result: Result, name: str) -> tuple[Finding, ...]:
    """Say where the water is duller, or carries more, than such reactors are usually given."""
    contents = result.streams[name, "inlet"].contents
    rows = []
    if "absorption" in contents:
        clear = np.exp(-CENTIMETRE * np.asarray(contents["absorption"], float))
        dull = clear * SLACK < LEAST_TRANSMITTANCE
        rows.append((dull, clear, LEAST_TRANSMITTANCE, "uv_transmittance", DULL))
    if "suspended_solids" in contents:
        solids = np.asarray(contents["suspended_solids"], float)
        laden = solids > MOST_SOLIDS * SLACK
        rows.append((laden, solids, MOST_SOLIDS, "concentration", SOLIDS))
    return tuple(
        Finding(
            where & result.solved,
            f"{name}: {text}",
            {"value": Value(value, quantity), "limit": Value(limit, quantity)},
        )
        for where, value, limit, quantity, text in rows
        if np.any(where & result.solved)
    )


def _target(result: Result, unit: Unit) -> Additions:
    """The dose asked for, and the largest flow at which it is given."""
    name = unit.name
    if unit.parameters.target is None:
        address = f"{name}.dose_credited"
        return Additions(limits=(unjudged("UV dose", f"{name}.target", address=address),))
    required, source, wording = required_dose(unit.parameters.target)
    limit = Limit(
        f"UV dose for {wording}",
        f"{name}.dose_credited",
        result.value(f"{name}.dose_credited").value,
        ">=",
        required,
        "dose",
        source,
        mover(result.sheet),
        "slow the pump, clean the sleeve, change the lamp, or clear the water",
    )
    inlet = result.streams[name, "inlet"]
    proof = result.sections.get("health")
    most = None if proof is None else proof.uv_validated_flow

    def largest_flow():
        found = unit.largest_flow(inlet, required, result.points)
        return found if most is None else np.minimum(found, most)

    largest = later(largest_flow, "flow")
    values = {f"{name}.dose_required": Value(required, "dose"), f"{name}.largest_flow": largest}
    parts = unit.largest_flow_parts(inlet, required, result.points)
    ends = () if most is None else (single(np.min(most)) if np.ptp(most) == 0 else None,)
    composed = {}
    if parts and None not in ends:  # else the flow validated differs from point to point
        composed[f"{name}.largest_flow"] = Composed(["least", *parts, *ends], parts)
    return Additions(values | _shown(result, unit), (limit,), composed=composed)


def _shown(result: Result, unit: Unit) -> dict[str, Value]:
    """Log of the target's own organism, where no table has it: no more than was measured."""
    name, organism = unit.name, unit.parameters.target["organism"]
    if organism in DOSE_TABLE:
        return {}
    row = ORGANISMS[organism]
    credited = np.where(result.solved, result.value(f"{name}.dose_credited").value, 0.0)
    log = claimable_log(row.response.log_inactivation(credited), row)
    return {f"{name}.log_credit.{organism}": Value(log, "log_reduction")}


def mover(sheet: Flowsheet) -> str:
    """Address of the input with which the flow is set: a pump's dial or the intake.

    Parameters
    ----------
    sheet : Flowsheet
        Units and links. [-]

    Returns
    -------
    str
        Such as "lift_pump.speed"; "" where nothing moves the water.

    Validity
    --------
    The first unit that moves water counts.

    Source
    ------
    definition
    """
    movers = [unit for unit in sheet.units.values() if unit.moves_water]
    return f"{movers[0].name}.{movers[0].dials[0]}" if movers else ""


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
