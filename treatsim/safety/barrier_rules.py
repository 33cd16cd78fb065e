"""Rules by which kinds of units earn: each with its clause, terms and what is missing."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from treatsim.constants import CELSIUS_20
from treatsim.flowsheet.result import Result
from treatsim.operations.unit import Unit
from treatsim.safety import barriers as rules
from treatsim.safety.evidence import HealthParameters
from treatsim.safety.log_credit import Barrier

# organism whose equivalent dose stands for a class: sensitive ones see less of an uneven dose
DOSE_OF_CLASS = {
    "bacteria": "e_coli",
    "virus": "adenovirus_40",
    "giardia": "cryptosporidium",
    "cryptosporidium": "cryptosporidium",
}
MIXINGS = ("unmixed", "laminar", "tanks")
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
    return found


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


def validated_doses(result: Result, unit: Unit, virus_factor) -> dict[str, Any]:
    """Validated dose for each class: the lowest of the mixing assumptions over its factor.

    Parameters
    ----------
    result : Result
        Solved case.
    unit : UvReactor or ValidatedUvReactor
        The reactor.
    virus_factor : array_like or None
        Validation factor for virus; None for that of the reactor. [1]

    Returns
    -------
    dict
        Class -> dose, per point. [J/m2]

    Validity
    --------
    The bias between test organism and target that a factor holds differs by class: none where the
    test organism is no harder to kill than the target.

    Source
    ------
    uvdgm_2006, from memory
    """
    own = np.asarray(unit.parameters.validation_factor, float)
    values = result.details(unit.name).values
    if "dose_reported" in values:
        return _reported(values, virus_factor)
    doses = {}
    for cls, organism in DOSE_OF_CLASS.items():
        factor = own if cls != "virus" or virus_factor is None else np.asarray(virus_factor)
        rows = [values[f"red.{organism}.{mixing}"].value for mixing in MIXINGS]
        doses[cls] = np.minimum.reduce(np.broadcast_arrays(*rows)) / factor
    return doses


def _reported(values, virus_factor) -> dict[str, Any]:
    """Return the dose of the validation report for each class, 0 outside its tested box."""
    credited = np.asarray(values["dose_credited"].value)
    doses = dict.fromkeys(DOSE_OF_CLASS, credited)
    if virus_factor is not None:
        reported = np.asarray(values["dose_reported"].value) / virus_factor
        doses["virus"] = np.where(credited > 0, reported, 0.0)
    return doses


def _by_report(result: Result, unit: Unit, proof, solved, ph) -> Barrier:
    """A reactor entered by its report: the report is the certificate and draws the box."""
    doses = validated_doses(result, unit, proof.uv_virus_factor)
    inside = _sound(doses["giardia"], solved, 0.0) > 0
    return rules.uv_barrier(
        {cls: _sound(dose, solved, 0.0) for cls, dose in doses.items()},
        _sound(result.streams[unit.name, "inlet"].flow, solved, 0.0),
        unit.parameters.tested_flow_high,
        _turbidity(result, unit.name, solved),
        sensor_in_range=inside,
        certificate=True,
    )


def _uv(result: Result, unit: Unit, proof, solved, ph) -> Barrier:
    doses = validated_doses(result, unit, proof.uv_virus_factor)
    flow = result.streams[unit.name, "inlet"].flow
    limit = np.inf if proof.uv_validated_flow is None else proof.uv_validated_flow
    return rules.uv_barrier(
        {cls: _sound(dose, solved, 0.0) for cls, dose in doses.items()},
        _sound(flow, solved, 0.0),
        limit,
        _turbidity(result, unit.name, solved),
        sensor_in_range=proof.uv_sensor_in_range == "yes",
        certificate=proof.uv_certificate == "yes",
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
        _sound(ph, solved, 7.0),
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
    "design_dose": Rule(_uv, tuple(f"red.{o}.{m}" for o in set(DOSE_OF_CLASS.values())
                                   for m in MIXINGS)),
    "reported_dose": Rule(_by_report, ("dose_reported", "dose_credited")),
    "settling": Rule(_settling),
}  # fmt: skip
