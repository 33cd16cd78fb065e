"""Rules by which kinds of units earn: each with its clause, terms and what is missing."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np

from treatsim.constants import CELSIUS_20
from treatsim.correlations.uv.optics import CENTIMETRE
from treatsim.flowsheet.result import Result
from treatsim.operations.unit import Unit
from treatsim.operations.uv_doses import MIXINGS, STAND_FOR
from treatsim.safety import barriers as rules
from treatsim.safety.evidence import HealthParameters
from treatsim.safety.log_credit import Barrier
from treatsim.safety.uv_barrier import UvBox, uv_barrier

# sea water conducts about a quarter less per gram of salt than dilute water; common practice
CONDUCTIVITY_SHARE = 0.74


def train_barriers(result: Result, proof: HealthParameters | None, ph) -> dict[str, Barrier]:
    """Barriers of a solved train by unit, in order of flow.

    Parameters
    ----------
    result : Result
        Solved case.
    proof : HealthParameters or None
        What is proven; None: nothing.
    ph : array_like or None
        Acidity where chlorine acts; None if not known. [1]

    Returns
    -------
    dict
        Unit name -> Barrier, named after its unit.

    Validity
    --------
    Points without an answer carry harmless fill-ins; their credits mean nothing.

    Source
    ------
    as stated by each rule in barriers
    """
    proof = HealthParameters(survey_done="no") if proof is None else proof
    solved = result.solved
    found = {}
    for name in result.sheet.order:
        unit = result.sheet.units[name]
        rule = RULES[unit.earns.rule].barrier if unit.earns.rule else None
        barrier = rule(result, unit, proof, solved, ph) if rule else None
        if barrier is not None:
            found[name] = dataclasses.replace(barrier, name=name)
    return {name: _told(barrier, found) for name, barrier in found.items()}


def _told(barrier: Barrier, found: Mapping[str, Barrier]) -> Barrier:
    """Say which barriers fail by the same cause as this one."""
    others = [b.name for b in found.values() if b.shared_cause and b.shared_cause == barrier.cause]
    if barrier.name not in others or len(others) < 2:
        return barrier
    names = ", ".join(name for name in others if name != barrier.name)
    text = f"a cause of failure that {names} does not share: in one line only the best counts"
    return dataclasses.replace(barrier, missing=(*barrier.missing, text))


def _sound(value, solved, fill: float):
    """Return the value at points with an answer, `fill` elsewhere."""
    if value is None:
        return None
    return np.where(solved, np.asarray(value, float), fill)


def _turbidity(result: Result, name: str, solved):
    """Turbidity at a unit; infinite where nobody stated it. [NTU]"""
    contents = result.streams[name, "inlet"].contents
    return _sound(contents.get("turbidity", np.inf), solved, 0.0)


def _settling(result: Result, unit: Unit, proof, solved, ph) -> Barrier:
    return rules.settling_barrier()


def _cartridge(result: Result, unit: Unit, proof, solved, ph) -> Barrier:
    details = result.details(unit.name).values
    test = proof.challenges().get(unit.name)
    if test is None:
        return rules.cartridge_barrier(None, 0.0, 0.0, 0.0, 0.0)
    return rules.cartridge_barrier(
        test.log,
        _sound(details["element_flow"].value, solved, 0.0),
        test.flow,
        _sound(details["pressure_drop"].value, solved, 0.0),
        test.pressure_drop,
        bool(test.pair_with),
    )


def _by_report(result: Result, unit: Unit, proof, solved, ph) -> Barrier:
    """A reactor entered by its report: the report is the certificate and draws the box."""
    values, p = result.details(unit.name).values, unit.parameters
    doses = unit.class_doses(values, proof.uv_virus_factor)
    inside = _sound(doses["giardia"], solved, 0.0) > 0
    box = UvBox(p.tested_flow_high, p.tested_transmittance_low)
    proven = {"sensor_in_range": inside, "certificate": True}
    return _light(result, unit, doses, box, daylight=_daylight(proof), **proven)


def _uv(result: Result, unit: Unit, proof, solved, ph) -> Barrier:
    """A computed reactor: a design figure, until a report covers flow and water."""
    values = result.details(unit.name).values
    return _light(
        result,
        unit,
        unit.class_doses(values, proof.uv_virus_factor),
        UvBox(proof.uv_validated_flow, proof.uv_validated_transmittance),
        sensor_in_range=proof.uv_sensor_in_range == "yes",
        certificate=proof.uv_certificate == "yes",
        daylight=_daylight(proof),
    )


def _daylight(proof) -> bool:
    return proof.treated_water_kept == "daylight"


def _light(result: Result, unit: Unit, doses, box: UvBox, **proven) -> Barrier:
    inlet, solved = result.streams[unit.name, "inlet"], result.solved
    clear = np.exp(-CENTIMETRE * _sound(inlet.contents["absorption"], solved, 0.0))
    return uv_barrier(
        {cls: _sound(dose, solved, 0.0) for cls, dose in doses.items()},
        _sound(inlet.flow, solved, 0.0),
        clear,
        box,
        _turbidity(result, unit.name, solved),
        **proven,
    )


def _ro(result: Result, unit: Unit, proof, solved, ph) -> Barrier:
    permeate = result.streams[unit.name, unit.treated].concentration
    feed = result.streams[unit.name, unit.inlets[0]].concentration
    return rules.ro_barrier(
        _sound(feed, solved, 1.0) * CONDUCTIVITY_SHARE,
        np.maximum(_sound(permeate, solved, 1.0), 1e-9),
        proof.ro_conductivity_read == "yes",
    )


def _chlorine(result: Result, unit: Unit, proof, solved, ph) -> Barrier | None:
    values = result.details(unit.name).values
    inlet = result.streams[unit.name, "inlet"]
    if "residual_counted" not in values:
        if "free_chlorine" in inlet.contents:
            owed = (f"{unit.name}.{unit.parameters.untold}: without it no contact time counts",)
            return Barrier("free chlorine", {}, rules.CHLORINE_CLAUSE, (), owed)
        return None
    if ph is None:
        return Barrier(
            "free chlorine", {}, rules.CHLORINE_CLAUSE, (), ("pH of the water: water.ph",)
        )
    return rules.chlorine_barrier(
        _sound(values["residual_counted"].value, solved, 0.0),
        _sound(values["contact_time_counted"].value, solved, 0.0),
        _sound(inlet.temperature, solved, CELSIUS_20),
        ph if np.size(ph) == 1 else _sound(ph, solved, 7.0),
        _turbidity(result, unit.name, solved),
    )


def _dosing(result: Result, unit: Unit, proof, solved, ph) -> Barrier | None:
    if any(other.usable_volume() is not None for other in result.sheet.units.values()):
        return None
    owed = ("a storage_tank behind the dosing, with its draw_off: chlorine needs time",)
    return Barrier("free chlorine", {}, rules.CHLORINE_CLAUSE, (), owed)


class Rule(NamedTuple):
    """One rule, and the results it reads of the unit that declares it."""

    barrier: Callable[..., Barrier | None]
    reads: tuple[str, ...] = ()


RULES = {
    "awaits_contact": Rule(_dosing),
    "challenge_test": Rule(_cartridge, ("element_flow", "pressure_drop")),
    "conductivity": Rule(_ro),
    "contact_time": Rule(_chlorine),
    "design_dose": Rule(_uv, tuple(f"red.{o}.{m}" for o in set(STAND_FOR.values())
                                   for m in MIXINGS)),
    "reported_dose": Rule(_by_report, ("dose_reported", "dose_credited")),
    "settling": Rule(_settling),
}  # fmt: skip
