"""Ultraviolet reactor described by its validation report: a dose equation and its tested box.

Inside the box the report speaks; outside there is no credit, however large the number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.correlations.uv import validation_factor
from treatsim.correlations.uv.inactivation import DoseEquation
from treatsim.correlations.uv.optics import absorption_from_transmittance
from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Value
from treatsim.operations.parameters import Parameters, quantity, record, reference
from treatsim.operations.uv_reported import ReportedReactor
from treatsim.operations.uv_sensor import CHECKED, checked_words, counted
from treatsim.operations.uv_target import ASKED, TARGETED, target_faults
from treatsim.water.stream import Stream


@record
class ValidatedUvReactorParameters(Parameters):
    """The report's equation dose = 10^a A^b (S/S0)^c (1/Q)^d, and where it was tested."""

    coefficient_a: float = quantity("factor", "a of the report, dose in mJ/cm2", low=-100, high=100)
    coefficient_b: float = quantity("factor", "b, exponent of absorbance per cm", low=-10, high=0)
    coefficient_c: float = quantity("factor", "c, exponent of S/S0", open_low=True, high=10)
    coefficient_d: float = quantity("factor", "d, exponent of 1/Q", open_low=True, high=10)
    flow_unit: float = quantity("flow", "one unit of flow in the report", open_low=True)
    tested_flow_low: float = quantity("flow", "smallest flow tested")
    tested_flow_high: float = quantity("flow", "largest flow tested", open_low=True)
    tested_transmittance_low: float = quantity("uv_transmittance", "lowest tested", open_low=True)
    tested_transmittance_high: float = quantity(
        "uv_transmittance", "highest tested", open_low=True, high=0.9999
    )
    tested_intensity_low: float = quantity("factor", "smallest S/S0 tested", open_low=True)
    tested_intensity_high: float = quantity("factor", "largest S/S0 tested", open_low=True)
    intensity_ratio: float = quantity(
        "factor",
        "S/S0: sensor today over new and clean at this transmittance",
        open_low=True,
        high=2,
    )
    sensor_over_reference: float | None = quantity(
        "factor", CHECKED, open_low=True, high=10, default=None
    )
    validation_factor: float = quantity(
        "factor", "dose by the report over dose that may be credited", low=1, high=20
    )
    lamp_power: float = quantity("power", "electrical power with ballast", low=0, open_low=True)
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
        """Check the order of the box's ends, and the target."""
        faults = [
            f"tested_{name}_low: is below the highest tested"
            for name in ("flow", "transmittance", "intensity")
            if np.any(
                np.asarray(getattr(self, f"tested_{name}_low"))
                >= getattr(self, f"tested_{name}_high")
            )
        ]
        return faults + target_faults(self.target)

    @property
    def intensity_counted(self):
        """S/S0 over what its last check allows."""
        return counted(self.intensity_ratio, self.sensor_over_reference)

    @property
    def equation(self) -> DoseEquation:
        """The equation with its box."""
        clear, murky = (
            absorption_from_transmittance(t)
            for t in (self.tested_transmittance_high, self.tested_transmittance_low)
        )
        return DoseEquation(
            self.coefficient_a,
            self.coefficient_b,
            self.coefficient_c,
            self.coefficient_d,
            (clear, murky),
            (self.tested_intensity_low, self.tested_intensity_high),
            (self.tested_flow_low, self.tested_flow_high),
            self.flow_unit,
        )


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class ValidatedUvReactor(ReportedReactor):
    """A reactor that answers by its report."""

    parameters: ValidatedUvReactorParameters
    hazards = ("uv", "electricity")
    dials = ("intensity_ratio",)
    headline = ("dose_credited",)
    compared = (
        Row("dose_credited", "dose credited"),
        Row("dose_required", "dose required"),
        Row("largest_flow", "largest flow that meets the dose"),
    )
    told = (
        Row("dose_reported", "dose by the report's equation"),
        Row("dose_credited", "dose credited"),
        Row("dose_required", "dose required"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "dose_reported": Told("dose"),
        "dose_credited": Told("dose"),
        "dose_required": Told("dose"),
        "largest_flow": Told("flow"),
        "log_credit.*": Told("log_reduction", "logs credited, by class of germs"),
        "pressure_drop": Told("pressure_difference", "pressure drop"),
        "lost_power": Told("power", "hydraulic power lost"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns("reported_dose")
    ends_product = False

    def reported(self, absorption, flow, light=1.0):
        """Return the dose by the report [J/m2], 0 outside the tested box.

        absorption [1/m], flow [m3/s]; light: share of that at which the sensor was read.
        """
        p = self.parameters
        ratio = p.intensity_counted * np.asarray(light)
        dose, tested = p.equation.dose(absorption, ratio, np.asarray(flow))
        return np.where(tested, dose, 0.0)

    def largest_flow(self, inlet: Stream, required, points: int) -> np.ndarray:
        """Return the largest tested flow that gives a dose [J/m2], 0 where none does. [m3/s]

        Shape (points,).
        """
        p = self.parameters
        absorption, ratio, asked = np.broadcast_arrays(
            inlet.contents["absorption"], p.intensity_counted, required
        )
        flow, _ = p.equation.flow_for(asked * p.validation_factor, absorption, ratio)
        _, tested = p.equation.dose(absorption, ratio, p.tested_flow_high)  # water and sensor
        inside = np.minimum(flow, p.tested_flow_high)
        found = np.where(tested & (flow >= p.tested_flow_low), inside, 0.0)
        return np.broadcast_to(found, (points,))

    def _details(self, inlet: Stream, drop) -> Details:
        p = self.parameters
        absorption, ratio, flow = np.broadcast_arrays(
            inlet.contents["absorption"], p.intensity_counted, inlet.flow
        )
        dose, tested = p.equation.dose(absorption, ratio, flow)
        credited = validation_factor.validated_dose(dose, p.validation_factor)
        values = {"dose": Value(dose, "dose"), "flow": Value(flow, "flow")}
        text = (
            "flow {flow}, transmittance or sensor reading lies outside what the validation "
            "report tested: no credit"
        )
        return Details(
            {
                "dose_reported": Value(dose, "dose"),
                "dose_credited": Value(np.where(tested, credited, 0.0), "dose"),
                "pressure_drop": Value(drop, "pressure_difference"),
                "lost_power": Value(drop * inlet.flow, "power"),
            },
            findings=[Finding(~tested, text, values)] if np.any(~tested) else [],
            power=p.lamp_power,
            losses={"lamp and ballast": p.lamp_power},
            sources=("uvdgm_2006",),
            choices=(
                f"{self.name}: dose by the equation of its validation report, inside the "
                "tested box only",
                *checked_words(self.name, p.sensor_over_reference),
            ),
        )
