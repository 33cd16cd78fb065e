"""Ultraviolet reactor: one lamp on the axis of a round chamber, from its light to its dose.

Every dose is given for the stated lamp (old, fouled) and, beside it, for a new lamp in a clean
sleeve. Between no radial mixing and tanks in series lies the truth; the band is always shown, and
the dose that is credited comes from its lowest edge.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, ClassVar

import numpy as np

from treatsim.constants import CELSIUS_20
from treatsim.correlations.uv import annulus_flow, dose, lamp
from treatsim.correlations.uv.dose_response import FirstOrder
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.correlations.uv.lamp_field import ABSORPTION_RANGE, LampField, lamp_field
from treatsim.correlations.uv.lamp_geometry import LampGeometry
from treatsim.operations.declarations import Earns, Mend, Row, Ruled
from treatsim.operations.outcome import Details, Finding, Outcome, Value, later, loss
from treatsim.operations.parameters import Parameters, choice, quantity, reference
from treatsim.operations.unit import Unit
from treatsim.ranges import Excursion, excursions
from treatsim.water.stream import Stream

MIXINGS = ("unmixed", "laminar", "tanks")
TABLE_END = 4.0  # log; where the stepped dose table of a class ends (cfr_141_720)


def light_output(new, ageing, fouling, temperature, warm_up):
    """Return the light that reaches the water side of a lamp, factor by factor. [W]"""
    return lamp.usable_output(new, ageing, temperature, warm_up, fouling)


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


@dataclass(frozen=True, kw_only=True)
class UvReactorParameters(Parameters):
    """Lamp, sleeve, chamber and the assumptions of the dose."""

    lamp_uvc_output: float = quantity(
        "power", "output at 254 nm of a new lamp", low=0, open_low=True
    )
    lamp_power: float = quantity("power", "electrical power with ballast", low=0, open_low=True)
    arc_length: float = quantity("length", "length of the lit arc", open_low=True, high=5)
    chamber_length: float = quantity("length", "length of the chamber", open_low=True, high=10)
    chamber_radius: float = quantity(
        "small_length", "inner radius of the chamber", open_low=True, high=1
    )
    sleeve_outer_radius: float = quantity(
        "small_length", "outer radius of the sleeve", open_low=True, high=1
    )
    sleeve_inner_radius: float = quantity(
        "small_length", "inner radius of the sleeve", open_low=True, high=1
    )
    ageing_factor: float = quantity(
        "factor", "output at the end of lamp life over new", open_low=True, high=1
    )
    fouling_factor: float = quantity(
        "factor", "light through the sleeve as fouled over clean", open_low=True, high=1
    )
    temperature_factor: float = quantity(
        "factor", "output at this water temperature over best", open_low=True, high=1
    )
    warm_up_factor: float = quantity(
        "factor", "share of output reached since switching on", open_low=True, high=1, default=1.0
    )
    quartz_absorption: float = quantity("absorption", "absorption of the sleeve's quartz")
    emission: str = choice(("isotropic", "cosine"), "how the arc radiates", default="isotropic")
    interfaces: str = choice(("refracting", "straight"), "rays at the sleeve", default="refracting")
    tanks_in_series: int = quantity(
        "count", "tanks that stand for the mixing", low=1, high=1000, default=10
    )
    peclet: float | None = quantity(
        "factor",
        "Peclet number of a tracer test; with it dispersed flow is told as well",
        low=0.01,
        high=1e5,
        default=None,
    )
    validation_factor: float = quantity(
        "factor", "tested dose over dose that may be credited", low=1, high=20
    )
    quadratic_loss: float = quantity(
        "quadratic_loss", "pressure loss over flow squared", default=0.0
    )
    target: dict | None = reference("organism, and the log or the dose asked for", default=None)

    def conflicts(self):
        """Check what must fit together: radii, lengths, powers, the target."""
        faults = []
        if np.any(np.asarray(self.sleeve_inner_radius) > self.sleeve_outer_radius):
            faults.append("sleeve_inner_radius: must not be above the outer radius of the sleeve")
        if np.any(np.asarray(self.sleeve_outer_radius) >= self.chamber_radius):
            faults.append("sleeve_outer_radius: must be below the radius of the chamber")
        if np.any(np.asarray(self.arc_length) > self.chamber_length):
            faults.append("arc_length: must not be above the length of the chamber")
        if np.any(np.asarray(self.lamp_uvc_output) >= self.lamp_power):
            faults.append("lamp_uvc_output: must be below the electrical power of the lamp")
        return faults + target_faults(self.target)


def largest_log(organism: str) -> float:
    """Return the largest reduction measured for an organism, or told by the table of a class."""
    row = ORGANISMS.get(organism)
    return row.measured_log if row else TABLE_END


def target_faults(target) -> list[str]:
    """Return what is wrong with a target table."""
    if target is None:
        return []
    known = ", ".join(ORGANISMS)
    if not isinstance(target, dict) or "organism" not in target:
        return [
            f'target: a table such as {{ organism = "cryptosporidium", log = 3.0 }}; known: {known}'
        ]
    faults = [
        f"target.{key}: no such key; known: organism, log, dose"
        for key in target
        if key not in ("organism", "log", "dose")
    ]
    if target["organism"] not in ORGANISMS and target["organism"] not in ("giardia", "virus"):
        faults.append(f'target.organism = "{target["organism"]}": known: {known}, giardia, virus')
    if ("log" in target) == ("dose" in target):
        faults.append("target: give one of log and dose")
    elif "log" in target and not (
        isinstance(target["log"], int | float) and 0 < target["log"] <= 8
    ):
        faults.append(f"target.log = {target['log']!r}: a number above 0 and not above 8")
    elif "log" in target and target["log"] > (largest := largest_log(target["organism"])):
        faults.append(
            f"target.log = {target['log']!r}: nothing beyond {largest:g} log is known for "
            f"{target['organism']}; no claim above it"
        )
    elif "dose" in target and not isinstance(target["dose"], str):
        faults.append('target.dose: a text with a unit, such as "40 mJ/cm2"')
    return faults


@dataclass(frozen=True, kw_only=True)
class UvReactor(Unit):
    """A reactor computed from its lamp and chamber."""

    parameters: UvReactorParameters
    hazards = ("uv", "electricity")
    dials = ("ageing_factor", "fouling_factor")
    headline = ("dose_credited",)
    compared = (
        Row("dose_credited", "dose credited"),
        Row("dose_required", "dose required"),
        Row("largest_flow", "largest flow that meets the dose"),
    )
    told = (
        Row("light_output", "light at 254 nm, old lamp and fouled sleeve"),
        Row("fluence_rate_mean", "mean fluence rate"),
        Row("wall_irradiance", "irradiance a flat wall sensor reads"),
        Row("residence_time", "residence time"),
        Row("reynolds_number", "Reynolds number"),
        Row("dose_mean", "mean dose"),
        Row("dose_min", "smallest dose, unmixed"),
        Row("dose_credited", "dose credited"),
        Row("dose_credited_new", "dose credited with a new lamp, clean sleeve"),
        Row("dose_required", "dose required"),
    )
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns("design_dose")
    ends_product = False
    irradiates = True
    needs = ("absorption",)

    def mends(self) -> Iterator[Mend]:
        """Yield a clean sleeve and a new lamp."""
        if np.any(np.asarray(self.parameters.fouling_factor) < 1):
            words = f"clean the sleeve of {self.name} (fouling factor 1)"
            yield Mend(words, {"fouling_factor": 1.0})
        if np.any(np.asarray(self.parameters.ageing_factor) < 1):
            words = f"put a new lamp into {self.name} (ageing factor 1)"
            yield Mend(words, {"ageing_factor": 1.0})

    @property
    def geometry(self) -> LampGeometry:
        """Lamp, sleeve and chamber as the field needs them."""
        p = self.parameters
        return LampGeometry(
            p.arc_length,
            p.chamber_length,
            p.chamber_radius,
            p.sleeve_outer_radius,
            p.sleeve_inner_radius,
            p.quartz_absorption,
            p.emission,
            p.interfaces,
        )

    def output(self, new: bool = False):
        """Return the light given, of the stated lamp or of a new one in a clean sleeve. [W]"""
        p = self.parameters
        ageing, fouling = (1.0, 1.0) if new else (p.ageing_factor, p.fouling_factor)
        return light_output(
            p.lamp_uvc_output, ageing, fouling, p.temperature_factor, p.warm_up_factor
        )

    def bands(self, inlet: Stream, new: bool = False) -> tuple[LampField, dict[str, Any]]:
        """Return the field and the dose distribution of each mixing assumption."""
        power, absorption, flow = np.broadcast_arrays(
            self.output(new), inlet.contents["absorption"], inlet.flow
        )
        field = lamp_field(self.geometry, power, absorption)
        return field, dose_bands(field, self.geometry, flow, self.parameters.tanks_in_series)

    def largest_flow(self, inlet: Stream, required: float, points: int) -> np.ndarray:
        """Return the largest flow at which the credited dose meets `required` [J/m2]. [m3/s]

        Shape (points,); 0 where no flow does.
        """
        _, bands = self.bands(inlet)
        response = ORGANISMS[credited_organism(self.parameters.target)].response
        factor = np.broadcast_to(np.asarray(self.parameters.validation_factor, float), (points,))
        rows = {name: _rows(band, points) for name, band in bands.items()}

        def credited(scale, index):
            scaled = [rows[name].scaled(scale, index) for name in MIXINGS]
            return (
                np.min([dose.equivalent_dose(row, response) for row in scaled], axis=0)
                / factor[index]
            )

        flow = np.broadcast_to(np.asarray(inlet.flow, float), (points,))
        found = dose.largest_flow(credited, flow, np.full(points, required))
        return np.where(found.found, found.flow, 0.0)

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream, which only loses pressure; the light is in the details."""
        drop = self.parameters.quadratic_loss * inlet.flow**2
        outlet = inlet.changed(pressure=inlet.pressure - drop)
        return Outcome({"outlet": outlet}, loss(inlet, drop), lambda: self._details(inlet, drop))

    def _details(self, inlet: Stream, drop) -> Details:
        p = self.parameters
        geometry = self.geometry
        field, bands = self.bands(inlet)
        radii = geometry.sleeve_outer_radius, geometry.chamber_radius
        velocity = annulus_flow.mean_velocity(inlet.flow, *radii)
        kinematic = inlet.viscosity / inlet.density
        reynolds = annulus_flow.reynolds_number(velocity, *radii, kinematic)
        organism = credited_organism(p.target)
        mean = dose.mean_dose(field.mean, geometry.volume, inlet.flow)
        values = {
            "light_output": Value(self.output(), "power"),
            "fluence_rate_mean": Value(field.mean, "fluence_rate"),
            "wall_irradiance": Value(field.irradiance_at_wall, "fluence_rate"),
            "residence_time": Value(geometry.volume / inlet.flow, "time"),
            "reynolds_number": Value(reynolds, "factor"),
            "dose_mean": Value(mean, "dose"),
            "dose_mean_new": Value(mean * self.output(new=True) / self.output(), "dose"),
            "dose_min": Value(bands["unmixed"].minimum, "dose"),
            **equivalent_doses(bands),
            **({} if p.peclet is None else dispersed_doses(mean, p.peclet)),
            "dose_credited": Value(lowest(bands, organism) / p.validation_factor, "dose"),
            "dose_credited_new": later(
                lambda: lowest(self.bands(inlet, new=True)[1], organism) / p.validation_factor,
                "dose",
            ),
            "pressure_drop": Value(drop, "pressure_difference"),
            "lost_power": Value(drop * inlet.flow, "power"),
        }
        return Details(
            values,
            findings=self._findings(inlet),
            excursions=self._excursions(inlet),
            power=p.lamp_power,
            losses={"lamp and ballast": p.lamp_power},
            sources=("bolton_2000", "liu_2004", ORGANISMS[organism].source),
            choices=(
                f"{self.name}: emission {p.emission}, interfaces {p.interfaces}, "
                f"{p.tanks_in_series} tanks in series, wall absorbs what reaches it",
                f"{self.name}: the laminar profile holds below a Reynolds number of "
                f"{annulus_flow.LAMINAR_BELOW:g}; above, it is there for comparison",
                f"{self.name}: the dose credited is the lowest equivalent dose of the mixing "
                f"assumptions for {organism.replace('_', ' ')}, over the validation factor",
                f"{self.name}: numerical error of the field {field.error:.0e}",
            ),
        )

    def _findings(self, inlet: Stream) -> list[Finding]:
        text = (
            "the water is at {temperature}: a plain low-pressure lamp gives less outside "
            "10 to 30 degC; state its temperature factor"
        )
        told = {"temperature": Value(np.asarray(inlet.temperature), "temperature")}
        return [Finding(beyond.outside, text, told) for beyond in self._cold_or_warm(inlet)]

    def _excursions(self, inlet: Stream) -> list[Excursion]:
        dark = excursions(ABSORPTION_RANGE, inlet.contents["absorption"])
        return dark + self._cold_or_warm(inlet)

    def _cold_or_warm(self, inlet: Stream) -> list[Excursion]:
        """Where the water is no lamp's comfort, and no factor was stated for it."""
        unstated = np.asarray(self.parameters.temperature_factor) == 1.0
        return excursions(lamp.TEMPERATURE_RANGE, np.where(unstated, inlet.temperature, CELSIUS_20))


def credited_organism(target) -> str:
    """Return the organism whose equivalent dose is credited."""
    name = (target or {}).get("organism", "cryptosporidium")
    return {"giardia": "cryptosporidium", "virus": "adenovirus_40"}.get(name, name)


def lowest(bands: dict[str, Any], organism: str):
    """Return the lowest equivalent dose of the mixing assumptions. [J/m2]"""
    response = ORGANISMS[organism].response
    return np.min([dose.equivalent_dose(bands[name], response) for name in MIXINGS], axis=0)


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


def _rows(band, points: int):
    """Give a distribution one leading axis of points."""
    n = band.dose.shape[-1]
    weight = band.weight if band.weight.ndim == 1 else np.broadcast_to(band.weight, (points, n))
    return band._replace(
        dose=np.broadcast_to(band.dose, (points, n)),
        weight=weight,
        minimum=np.broadcast_to(band.minimum, (points,)),
    )
