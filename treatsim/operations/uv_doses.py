"""From the light of a reactor to its doses: by mixing assumption, by organism, by class."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np

from treatsim.correlations.uv import annulus_flow, dose, validation_factor
from treatsim.correlations.uv.dose_response import FirstOrder
from treatsim.correlations.uv.dose_table import DOSE_TABLE
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.correlations.uv.lamp_field import LampField
from treatsim.correlations.uv.lamp_geometry import LampGeometry
from treatsim.operations.outcome import Value, later
from treatsim.operations.uv_target import stand_in

MIXINGS = ("unmixed", "laminar", "tanks")
# organism whose dose response stands for a class of pathogens
STAND_FOR = {"bacteria": "e_coli"} | {name: stand_in(name) for name in DOSE_TABLE}


def dose_bands(field: LampField, geometry: LampGeometry, flow, tanks) -> dict[str, Any]:
    """Return the dose distribution of each mixing assumption, keyed as MIXINGS.

    field: of the points, shape (...); flow [m3/s], same shape.
    """
    velocity = annulus_flow.mean_velocity(
        flow, geometry.sleeve_outer_radius, geometry.chamber_radius
    )
    inner, outer = (
        np.asarray(r)[..., None] if np.ndim(r) else r
        for r in (geometry.sleeve_outer_radius, geometry.chamber_radius)
    )
    profile = annulus_flow.laminar_profile(field.radius, inner, outer)
    mean = dose.mean_dose(field.mean, geometry.volume, flow)
    shape = dose.tanks_dose(1.0, tanks)  # of one number of tanks, worked out once for all points
    return {
        "unmixed": dose.unmixed_dose(
            field.axial_integral, field.axial_integral_at_wall, field.area_weight, velocity
        ),
        "laminar": dose.laminar_dose(field.axial_integral, field.area_weight, profile, velocity),
        "tanks": shape._replace(dose=mean[..., None] * shape.dose, minimum=np.zeros_like(mean)),
    }


def lowest(doses: Mapping[str, Value], organism: str):
    """Return the lowest equivalent dose of the mixing assumptions. [J/m2]

    doses: as of `equivalent_doses`.
    """
    rows = [doses[f"red.{organism}.{name}"].value for name in MIXINGS]
    return np.minimum.reduce(np.broadcast_arrays(*rows))


def laminar_counts(doses: Mapping[str, Value], organism: str):
    """Return where the laminar profile alone gives the lowest equivalent dose."""
    rows = [doses[f"red.{organism}.{name}"].value for name in MIXINGS if name != "laminar"]
    return doses[f"red.{organism}.laminar"].value < np.minimum.reduce(np.broadcast_arrays(*rows))


def creditable(doses: Mapping[str, Value], test_organism: str, target_organism: str, factor):
    """Return the dose that a validation with this factor would let be credited. [J/m2]

    doses: as of `equivalent_doses`. The factor divides the dose of its test organism; where it is
    smaller than the bias the model itself shows, the dose of the target organism counts.
    """
    tested = validation_factor.validated_dose(lowest(doses, test_organism), factor)
    return np.minimum(tested, lowest(doses, target_organism))


def dispersed_doses(mean, peclet) -> dict[str, Value]:
    """Return "red.<organism>.dispersed" of the organisms with a first-order response."""
    found = {}
    for organism, row in ORGANISMS.items():
        if isinstance(row.response, FirstOrder):
            survival = dose.dispersed_log_survival(mean, peclet, row.response.dose_per_log)
            equivalent = row.response.dose_for(dose.log_reduction(survival))
            found[f"red.{organism}.dispersed"] = Value(equivalent, "dose")
    return found


def equivalent_doses(bands: dict[str, Any]) -> dict[str, Value]:
    """Return "red.<organism>.<mixing>" for every organism."""
    return {
        f"red.{organism}.{name}": later(
            partial(dose.equivalent_dose, bands[name], row.response), "dose"
        )
        for organism, row in ORGANISMS.items()
        for name in MIXINGS
    }


def by_points(band: dose.DoseDistribution, points: int) -> dose.DoseDistribution:
    """Give a distribution one leading axis of points."""
    n = band.dose.shape[-1]
    weight = band.weight if band.weight.ndim == 1 else np.broadcast_to(band.weight, (points, n))
    return band._replace(
        dose=np.broadcast_to(band.dose, (points, n)),
        weight=weight,
        minimum=np.broadcast_to(band.minimum, (points,)),
    )


def class_doses(
    doses: Mapping[str, Value], test_organism: str, factor, virus_factor=None
) -> dict[str, Any]:
    """Return the dose that a validation would let be credited, by class of pathogen. [J/m2]

    doses: as of `equivalent_doses`; virus_factor: None for `factor`. Bacteria have a dose only
    where the model shows every log that was measured for theirs.
    """
    factors = {"virus": factor if virus_factor is None else virus_factor}
    found = {
        name: creditable(doses, test_organism, STAND_FOR[name], factors.get(name, factor))
        for name in DOSE_TABLE
    }
    tested = validation_factor.validated_dose(lowest(doses, test_organism), factor)
    row = ORGANISMS[STAND_FOR["bacteria"]]
    shown = lowest(doses, STAND_FOR["bacteria"]) >= row.response.dose_for(row.measured_log)
    return found | {"bacteria": np.where(shown, tested, 0.0)}


def reported_class_doses(values: Mapping[str, Value], virus_factor=None) -> dict[str, Any]:
    """Return the dose of a report that may be credited, by class of pathogen. [J/m2]

    values: "dose_reported" and "dose_credited", 0 where nothing is; virus_factor: validation factor
    for virus, None for that of the reactor.
    """
    credited = np.asarray(values["dose_credited"].value)
    found = dict.fromkeys(STAND_FOR, credited)
    if virus_factor is not None:
        virus = validation_factor.validated_dose(values["dose_reported"].value, virus_factor)
        found["virus"] = np.where(credited > 0, virus, 0.0)
    return found
