"""How the light of a reactor adds up to a dose in water whose stay and light change over time.

Behind equal tanks in series a germ that dies by first order survives a mean dose m by
(1 + k m / n)^-n. Whatever history the tanks carry, its survival therefore stands for one mean
dose, and the reactor's own model says what that mean dose is worth: at a steady state both are
those of the reactor. Doses of one water are in proportion to mean dose, so the flow is no input.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from treatsim.correlations.uv import validation_factor
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.correlations.uv.lamp_field import LampField, lamp_field
from treatsim.correlations.uv.lamp_geometry import LampGeometry
from treatsim.correlations.uv.optics import LN10
from treatsim.numerics import find_roots
from treatsim.operations.uv_doses import dose_bands, equivalent_doses, lowest

LEAST_DOSE, MOST_DOSE = 1e-6, 1e6  # J/m2, of a mean dose that is asked for
STEPS = 400  # along a curved dose response, for its steepest place
FAINT = 1e-30  # survival below which nothing is told apart


@dataclass(frozen=True)
class Exposure:
    """A chamber with its lamp, and the two germs whose doses are credited."""

    geometry: LampGeometry
    power: float  # light of the warm lamp as it is, W
    tanks: int
    organisms: tuple[str, str]  # of the test, of the target
    factor: float  # validation factor, divides the dose of the test

    @property
    def volume(self) -> float:
        """Water in the chamber. [m3]"""
        return float(self.geometry.volume)

    @property
    def rates(self) -> np.ndarray:
        """First-order rate of each germ; of a curved response the steepest. [m2/J], shape (2,)"""
        return np.array([_steepest(name) for name in self.organisms])

    def field(self, absorption) -> LampField:
        """Return the field of the warm lamp. absorption [1/m], shape (n,)"""
        return lamp_field(self.geometry, self.power, absorption)

    def mean_dose(self, survival):
        """Return the mean dose that a survival of each germ stands for.

        survival: behind the last tank, shape (2, ...) -> [J/m2], shape (2, ...)
        """
        survival = np.maximum(survival, FAINT)
        rates = self.rates.reshape(2, *[1] * (np.ndim(survival) - 1))
        return self.tanks * np.expm1(-np.log(survival) / self.tanks) / rates

    def survival(self, mean):
        """Return what of each germ survives a mean dose, shape (2, ...) [J/m2]; of `mean_dose`."""
        rates = self.rates.reshape(2, *[1] * (np.ndim(mean) - 1))
        return (1.0 + rates * mean / self.tanks) ** -float(self.tanks)

    def credited(self, mean, absorption):
        """Return the dose that is credited for the mean doses of both germs. [J/m2]

        mean: shape (2, n) [J/m2]; absorption: shape (n,) or one number [1/m].
        """
        tested, wanted = (
            self._equivalent(np.maximum(dose, LEAST_DOSE), absorption, name)
            for dose, name in zip(mean, self.organisms, strict=True)
        )
        return np.minimum(validation_factor.validated_dose(tested, self.factor), wanted)

    def least_mean(self, required: float, absorption) -> np.ndarray:
        """Return the mean doses above which `required` is credited. [J/m2], shape (2, n)

        absorption: shape (n,) [1/m].
        """
        asked = (required * self.factor, required)
        return np.array([
            self._least(dose, np.atleast_1d(absorption), name)
            for dose, name in zip(asked, self.organisms, strict=True)
        ])  # fmt: skip

    def _least(self, asked: float, absorption, organism: str):
        def short(log_mean, index):
            found = self._equivalent(np.exp(log_mean), absorption[index], organism)
            return np.log(found / asked)

        low, high = np.log(LEAST_DOSE), np.log(MOST_DOSE)
        guess = np.full(absorption.shape, np.log(2 * asked))
        roots = find_roots(short, guess, low, high, rtol=1e-13)
        return np.where(roots.converged, np.exp(roots.x), np.inf)

    def _equivalent(self, mean, absorption, organism: str):
        """Return the lowest equivalent dose of the mixing assumptions at a mean dose. [J/m2]"""
        field = self.field(absorption)
        bands = dose_bands(field, self.geometry, self.volume * field.mean / mean, self.tanks)
        return lowest(equivalent_doses(bands), organism)


@cache
def _steepest(organism: str) -> float:
    """Return the largest natural-log kill per dose anywhere on a dose response. [m2/J]"""
    row = ORGANISMS[organism]
    logs = np.linspace(0.0, row.measured_log, STEPS + 1)
    return float(LN10 * np.max(np.diff(logs) / np.diff(row.response.dose_for(logs))))
