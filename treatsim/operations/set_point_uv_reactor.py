"""Ultraviolet reactor held to an intensity set point by its validation report.

While sensor and flow hold what the report states, its dose is there, whatever dims the light; a
reading below the set point, a flow above the largest tested, or duller water, and there is none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.correlations.uv import validation_factor
from treatsim.correlations.uv.inactivation import SLACK
from treatsim.correlations.uv.optics import absorption_from_transmittance
from treatsim.correlations.uv.sensor import set_point_dose
from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Value
from treatsim.operations.parameters import Parameters, quantity, record, reference
from treatsim.operations.uv_reported import ReportedReactor
from treatsim.operations.uv_sensor import CHECKED, checked_words, counted
from treatsim.operations.uv_target import ASKED, TARGETED, target_faults
from treatsim.water.stream import Stream


@record
class SetPointUvReactorParameters(Parameters):
    """Set point and doses of the report, and what the sensor reads."""

    set_point: float = quantity("fluence_rate", "alarm set point of the report", open_low=True)
    sensor_reading: float = quantity("fluence_rate", "what the sensor reads now")
    sensor_over_reference: float | None = quantity(
        "factor", CHECKED, open_low=True, high=10, default=None
    )
    tested_flow_high: float = quantity("flow", "largest tested at this set point", open_low=True)
    tested_transmittance_low: float = quantity("uv_transmittance", "lowest tested", open_low=True)
    dose_dull: float = quantity(
        "dose", "of the report at its set point: dull water, full power", open_low=True
    )
    dose_clear: float = quantity(
        "dose", "of the report at its set point: clear water, power turned down", open_low=True
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
        """Check the target."""
        return target_faults(self.target)


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class SetPointUvReactor(ReportedReactor):
    """A reactor that has its dose while its set point is held."""

    parameters: SetPointUvReactorParameters
    hazards = ("uv", "electricity")
    dials = ("sensor_reading",)
    headline = ("dose_credited",)
    compared = (
        Row("dose_credited", "dose credited"),
        Row("dose_required", "dose required"),
        Row("largest_flow", "largest flow that meets the dose"),
    )
    told = (
        Row("sensor_counted", "sensor, as it counts by its check"),
        Row("dose_reported", "dose by the report at its set point"),
        Row("dose_credited", "dose credited"),
        Row("dose_required", "dose required"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "sensor_counted": Told("fluence_rate"),
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
        """Return the dose by the report [J/m2], 0 where its conditions do not hold.

        absorption [1/m], flow [m3/s]; light: share of that at which the sensor was read.
        """
        p = self.parameters
        seen = counted(p.sensor_reading * np.asarray(light), p.sensor_over_reference)
        dose = set_point_dose(
            seen, p.set_point, flow, p.tested_flow_high, p.dose_dull, p.dose_clear
        )
        dull = absorption_from_transmittance(p.tested_transmittance_low)
        return np.where(np.asarray(absorption) <= dull * SLACK, dose, 0.0)

    def largest_flow(self, inlet: Stream, required, points: int) -> np.ndarray:
        """Return the largest tested flow if it gives a dose [J/m2], 0 where it does not. [m3/s]

        Shape (points,).
        """
        p = self.parameters
        dose = self.reported(inlet.contents["absorption"], p.tested_flow_high)
        credited = validation_factor.validated_dose(dose, p.validation_factor)
        meets = credited * SLACK >= required
        return np.broadcast_to(np.where(meets, p.tested_flow_high, 0.0), (points,))

    def _details(self, inlet: Stream, drop) -> Details:
        p = self.parameters
        absorption, flow, reading = np.broadcast_arrays(
            inlet.contents["absorption"], inlet.flow, p.sensor_reading
        )
        dose = self.reported(absorption, flow)
        values = {
            "flow": Value(flow, "flow"),
            "sensor": Value(counted(reading, p.sensor_over_reference), "fluence_rate"),
            "point": Value(p.set_point, "fluence_rate"),
        }
        text = (
            "sensor {sensor} at set point {point}, flow {flow} or transmittance do not hold what "
            "the report states: no credit"
        )
        lost = dose <= 0
        return Details(
            {
                "sensor_counted": values["sensor"],
                "dose_reported": Value(dose, "dose"),
                "dose_credited": Value(
                    validation_factor.validated_dose(dose, p.validation_factor), "dose"
                ),
                "pressure_drop": Value(drop, "pressure_difference"),
                "lost_power": Value(drop * inlet.flow, "power"),
            },
            findings=[Finding(lost, text, values)] if np.any(lost) else [],
            power=p.lamp_power,
            losses={"lamp and ballast": p.lamp_power},
            sources=("uvdgm_2006",),
            choices=(
                f"{self.name}: the lower of the report's two doses at its set point, while sensor, "
                "flow and water hold it",
                *checked_words(self.name, p.sensor_over_reference),
            ),
        )
