"""Ultraviolet reactor: one lamp on the axis of a round chamber, from its light to its dose.

Every dose is given for the stated lamp (old, fouled) and, beside it, for a new lamp in a clean
sleeve. The band between no radial mixing and tanks in series is always shown, and its lowest edge
counts; only where the tanks were measured does the truth lie inside. What is computed here is a
design dose: it earns no credit in law before a validation of the reactor covers it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, ClassVar

import numpy as np

from treatsim.correlations.uv import annulus_flow, dose, lamp
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.correlations.uv.lamp_field import ABSORPTION_RANGE, LampField, lamp_field
from treatsim.correlations.uv.lamp_geometry import LampGeometry
from treatsim.operations import uv_lamp
from treatsim.operations.declarations import Earns, Mend, Row, Ruled, Told
from treatsim.operations.lamp_hours import LampHours
from treatsim.operations.outcome import ROUND_OFF, Details, Finding, Outcome, Value, later, loss
from treatsim.operations.parameters import Parameters, choice, points, quantity, record, reference
from treatsim.operations.unit import Unit
from treatsim.operations.uv_doses import (
    MIXINGS,
    by_points,
    class_doses,
    creditable,
    dispersed_doses,
    dose_bands,
    equivalent_doses,
    laminar_counts,
    lowest,
)
from treatsim.operations.uv_exposure import Exposure
from treatsim.operations.uv_target import ASKED, TARGETED, credited_organism, target_faults
from treatsim.ranges import Excursion, excursions
from treatsim.water.stream import Stream


def light_output(new, ageing, fouling, temperature, warm_up):
    """Return the light that reaches the water side of a lamp, factor by factor. [W]"""
    return lamp.usable_output(new, ageing, temperature, warm_up, fouling)


@record
class UvReactorParameters(Parameters):
    """Lamp, sleeve, chamber and the assumptions of the dose."""

    forms = (LampHours, uv_lamp.LampReading)
    either = ((("temperature_factor",), ("output_by_temperature",)),)
    declined = dict.fromkeys(("lamps", "number_of_lamps", "lamp_count"), uv_lamp.SEVERAL)
    lamp_uvc_output: float = quantity("power", "output at 254 nm of a new lamp", open_low=True)
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
        "factor", "output at this water temperature over best", open_low=True, high=1, default=1.0
    )
    output_by_temperature: tuple | None = points(
        "fraction", "temperature", "of the best output, by water temperature; no factor then",
        example=["70 % at 5 degC", "100 % at 22 degC", "85 % at 38 degC"], default=None,
    )  # fmt: skip
    warm_up_factor: float = quantity(
        "factor", "share of output reached since switching on", open_low=True, high=1, default=1.0
    )
    quartz_absorption: float = quantity("absorption", "absorption of the sleeve's quartz")
    emission: str = choice(("isotropic", "cosine"), "how the arc radiates", default="isotropic")
    interfaces: str = choice(("refracting", "straight"), "rays at the sleeve", default="refracting")
    tanks_in_series: int = quantity("count", "tanks that stand for the mixing", low=1, high=1000)
    mixing_known: str = choice(
        ("measured", "assumed"), "whether a tracer test of the reactor gave the tanks"
    )
    peclet: float | None = quantity(
        "factor",
        "Peclet number of a tracer test; with it dispersed flow is told as well",
        low=0.01,
        high=1e5,
        default=None,
    )
    test_organism: str = choice(
        tuple(ORGANISMS), "test organism that the validation factor was made for"
    )
    validation_factor: float = quantity(
        "factor", "dose of the test organism over dose that may be credited", low=1, high=20
    )
    quadratic_loss: float = quantity(
        "quadratic_loss", "pressure loss over flow squared", default=0.0
    )
    target: dict | None = reference(
        "organism, and the log or the dose asked for",
        example=ASKED,
        names=lambda: TARGETED,
        default=None,
    )

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
        faults += uv_lamp.table_faults(self.output_by_temperature, self.temperature_factor)
        return faults + target_faults(self.target)


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class UvReactor(Unit):
    """A reactor computed from its lamp and chamber."""

    parameters: UvReactorParameters
    called = ("uv_lamp", "ultraviolet")
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
        Row("dose_credited", "dose credited, a design figure"),
        Row("dose_credited_new", "the same with a new lamp, clean sleeve"),
        Row("dose_required", "dose required"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "light_output": Told("power"),
        "fluence_rate_mean": Told("fluence_rate"),
        "wall_irradiance": Told("fluence_rate"),
        "residence_time": Told("time"),
        "reynolds_number": Told("factor"),
        "dose_mean": Told("dose"),
        "dose_mean_new": Told("dose", "mean dose with a new lamp, clean sleeve"),
        "dose_min": Told("dose"),
        "red.*": Told("dose", "equivalent dose, by organism and by what is assumed of the mixing"),
        "dose_credited": Told("dose"),
        "dose_credited_new": Told("dose"),
        "dose_required": Told("dose"),
        "largest_flow": Told("flow"),
        "log_credit.*": Told("log_reduction", "logs credited, by class of germs"),
        "pressure_drop": Told("pressure_difference", "pressure drop"),
        "lost_power": Told("power", "hydraulic power lost"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns("design_dose")
    fouled = "sleeve"
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

    def output(self, temperature, new: bool = False):
        """Return the light given in water of a temperature [K], old or new and clean. [W]"""
        p = self.parameters
        warm = uv_lamp.share_at(p.output_by_temperature, p.temperature_factor, temperature)
        ageing, fouling = (1.0, 1.0) if new else (p.ageing_factor, p.fouling_factor)
        return light_output(p.lamp_uvc_output, ageing, fouling, warm, p.warm_up_factor)

    def bands(self, inlet: Stream, new: bool = False) -> tuple[LampField, dict[str, Any]]:
        """Return the field and the dose distribution of each mixing assumption."""
        power, absorption, flow = np.broadcast_arrays(
            self.output(inlet.temperature, new), inlet.contents["absorption"], inlet.flow
        )
        field = lamp_field(self.geometry, power, absorption)
        return field, dose_bands(field, self.geometry, flow, self.parameters.tanks_in_series)

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream, which only loses pressure; the light is in the details."""
        drop = self.parameters.quadratic_loss * inlet.flow**2
        outlet = inlet.changed(pressure=inlet.pressure - drop)
        return Outcome({"outlet": outlet}, loss(inlet, drop), lambda: self._details(inlet, drop))

    def class_doses(self, values: Mapping[str, Value], virus_factor=None) -> dict[str, Any]:
        """Return the dose that a validation would let be credited, by class of pathogen. [J/m2]

        values: of the details; virus_factor: validation factor for virus, None for the reactor's.
        """
        p = self.parameters
        return class_doses(values, p.test_organism, p.validation_factor, virus_factor)

    def largest_flow(self, inlet: Stream, required, points: int, organism: str = "") -> np.ndarray:
        """Return the largest flow that gives a design dose `required` [J/m2]. [m3/s]

        Shape (points,); 0 where no flow does. organism: whose dose it is; left out, the target's.
        """
        p = self.parameters
        wanted = organism or credited_organism(p.target)

        def design_dose(doses, factor):
            return creditable(doses, p.test_organism, wanted, factor)

        return self._largest(inlet, required, points, design_dose)

    def largest_flow_parts(self, inlet: Stream, required, points: int) -> dict[str, Value]:
        """Return the smooth flows of which the target's largest one is the least.

        One for each organism and mixing that the design dose is the lowest of.
        """
        p, parts = self.parameters, {}
        for name in dict.fromkeys((p.test_organism, credited_organism(p.target))):
            for mixing in MIXINGS:
                own = partial(_one_dose, f"red.{name}.{mixing}", name == p.test_organism)
                flow = partial(self._largest, inlet, required, points, own)
                parts[f"{self.name}.largest flow by {name}, {mixing}"] = later(flow, "flow")
        return parts

    def _largest(self, inlet: Stream, required, points: int, design_dose) -> np.ndarray:
        """Return the largest flow at which a dose, of all equivalent ones, meets what is asked."""
        _, bands = self.bands(inlet)
        rows = {name: by_points(band, points) for name, band in bands.items()}
        flow, factor, asked = (
            np.broadcast_to(np.asarray(value, float), (points,))
            for value in (inlet.flow, self.parameters.validation_factor, required)
        )

        def dose_at(scale, index):
            scaled = {name: rows[name].scaled(scale, index) for name in MIXINGS}
            return design_dose(equivalent_doses(scaled), factor[index])

        return dose.largest_flow(dose_at, flow, asked).flow

    def exposure(self, temperature) -> Exposure:
        """Return how its light adds up to a dose over time, at one point. temperature [K]"""
        p = self.parameters
        return Exposure(
            self.geometry,
            float(self.output(temperature)),
            p.tanks_in_series,
            (p.test_organism, credited_organism(p.target)),
            p.validation_factor,
        )

    def _details(self, inlet: Stream, drop) -> Details:
        p = self.parameters
        geometry = self.geometry
        field, bands = self.bands(inlet)
        radii = geometry.sleeve_outer_radius, geometry.chamber_radius
        velocity = annulus_flow.mean_velocity(inlet.flow, *radii)
        kinematic = inlet.viscosity / inlet.density
        reynolds = annulus_flow.reynolds_number(velocity, *radii, kinematic)
        mean = dose.mean_dose(field.mean, geometry.volume, inlet.flow)
        light, old = self.output(inlet.temperature), p.ageing_factor * p.fouling_factor
        values = {
            "light_output": Value(light, "power"),
            "fluence_rate_mean": Value(field.mean, "fluence_rate"),
            "wall_irradiance": Value(field.irradiance_at_wall, "fluence_rate"),
            "residence_time": Value(geometry.volume / inlet.flow, "time"),
            "reynolds_number": Value(reynolds, "factor"),
            "dose_mean": Value(mean, "dose"),
            "dose_mean_new": Value(mean / old, "dose"),
            "dose_min": Value(bands["unmixed"].minimum, "dose"),
            **(doses := equivalent_doses(bands)),
            **({} if p.peclet is None else dispersed_doses(mean, p.peclet)),
            "dose_credited": Value(self._credited(doses), "dose"),
            "dose_credited_new": later(
                lambda: self._credited(equivalent_doses(self.bands(inlet, new=True)[1])), "dose"
            ),
            "pressure_drop": Value(drop, "pressure_difference"),
            "lost_power": Value(drop * inlet.flow, "power"),
        }
        return Details(
            values,
            findings=self._findings(inlet, doses),
            excursions=self._excursions(inlet, doses, reynolds),
            power=p.lamp_power,
            losses={"lamp and ballast": p.lamp_power},
            sources=(
                "bolton_2000",
                "liu_2004",
                ORGANISMS[p.test_organism].source,
                ORGANISMS[credited_organism(p.target)].source,
            ),
            choices=self._choices(field.error),
        )

    def _credited(self, doses: Mapping[str, Value]):
        p = self.parameters
        target = credited_organism(p.target)
        return creditable(doses, p.test_organism, target, p.validation_factor)

    def _choices(self, error: float) -> tuple[str, ...]:
        p = self.parameters
        tested, wanted = (
            name.replace("_", " ") for name in (p.test_organism, credited_organism(p.target))
        )
        mixing = (
            "measured: the truth lies between them and no mixing over the radius"
            if p.mixing_known == "measured"
            else "assumed: the truth may lie outside the band"
        )
        words = (
            f"emission {p.emission}, interfaces {p.interfaces}, wall absorbs what reaches it",
            f"{p.tanks_in_series} tanks in series, {mixing}",
            "the laminar profile holds below a Reynolds number of "
            f"{annulus_flow.LAMINAR_RANGE.high:g}; above, it may only lower the dose",
            "the dose credited is a design figure: the lowest equivalent dose of the mixing "
            f"assumptions for {tested}, over the validation factor, and not above that of {wanted}",
            "an equivalent dose above the last dose measured for its organism is at least that "
            "one: its response goes on straight, the log credited does not",
            f"numerical error of the field {error:.0e}",
        )
        return tuple(f"{self.name}: {line}" for line in words)

    def _findings(self, inlet: Stream, doses: Mapping[str, Value]) -> list[Finding]:
        p = self.parameters
        tested = lowest(doses, p.test_organism)
        wanted = lowest(doses, credited_organism(p.target))
        shown = {
            "temperature": Value(np.asarray(inlet.temperature), "temperature"),
            "factor": Value(p.validation_factor, "factor"),
            "bias": later(lambda: tested / wanted, "factor"),
        }
        cold = f"the water is at {{temperature}}: {uv_lamp.why_dim(p.output_by_temperature)}"
        rows = (
            *((beyond.outside, cold) for beyond in self._cold_or_warm(inlet)),
            (tested > wanted * p.validation_factor * (1 + ROUND_OFF),
             "the validation factor of {factor} is below the bias of {bias} between test organism "
             "and target in this water: the lower dose of the target counts"),
            (np.asarray(p.mixing_known == "assumed"),
             "the tanks in series are a guess: a tracer test of this reactor may show less dose"),
        )  # fmt: skip
        return [Finding(where, text, shown) for where, text in rows if np.any(where)]

    def _excursions(self, inlet: Stream, doses: Mapping[str, Value], reynolds) -> list[Excursion]:
        """Where a formula that the credited dose rests on is used outside its range."""
        counts = laminar_counts(doses, self.parameters.test_organism)
        return [
            *excursions(ABSORPTION_RANGE, inlet.contents["absorption"]),
            *excursions(annulus_flow.LAMINAR_RANGE, np.where(counts, reynolds, 0.0)),
            *self._cold_or_warm(inlet),
        ]

    def _cold_or_warm(self, inlet: Stream) -> list[Excursion]:
        p, water = self.parameters, inlet.temperature
        return uv_lamp.beyond_known(p.output_by_temperature, p.temperature_factor, water)


def _one_dose(address: str, tested: bool, doses: Mapping[str, Value], factor):
    """Return one of the doses that a design dose is the lowest of. [J/m2]"""
    own = doses[address].value
    return own / factor if tested else own
