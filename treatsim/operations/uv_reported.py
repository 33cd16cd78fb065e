"""What every reactor that answers by its validation report has in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from treatsim.correlations.uv import validation_factor
from treatsim.operations.outcome import Outcome, Value, loss
from treatsim.operations.unit import Unit
from treatsim.operations.uv_doses import reported_class_doses
from treatsim.water.stream import Stream


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class ReportedReactor(Unit):
    """A reactor whose dose is that of its report, and none where its conditions do not hold."""

    fouled = "sleeve"
    irradiates = True
    needs = ("absorption",)

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream, which only loses pressure; the dose is in the details."""
        drop = self.parameters.quadratic_loss * inlet.flow**2
        outlet = inlet.changed(pressure=inlet.pressure - drop)
        return Outcome({"outlet": outlet}, loss(inlet, drop), lambda: self._details(inlet, drop))

    def reported(self, absorption, flow, light=1.0):
        """Return the dose by the report [J/m2], 0 where its conditions do not hold.

        absorption [1/m], flow [m3/s]; light: share of that at which the sensor was read.
        """
        raise NotImplementedError

    def class_doses(self, values: Mapping[str, Value], virus_factor=None) -> dict[str, Any]:
        """Return the dose that may be credited, by class of pathogen; 0 where none is. [J/m2]

        values: of the details; virus_factor: validation factor for virus, None for the reactor's.
        """
        return reported_class_doses(values, virus_factor)

    def dose_by_report(self):
        """Return the dose credited [J/m2] over absorption [1/m], flow [m3/s] and share of light.

        The share is of the light in steady run.
        """

        def credited(absorption, flow, light):
            dose = self.reported(absorption, flow, light)
            return validation_factor.validated_dose(dose, self.parameters.validation_factor)

        return credited

    def _details(self, inlet: Stream, drop):
        raise NotImplementedError
