"""Bench readings for a settling basin: the jar test, and the settling column."""

from __future__ import annotations

import numpy as np

from treatsim import quantities
from treatsim.correlations.solids import settling
from treatsim.errors import RequestError
from treatsim.operations.parameters import points, quantity, record
from treatsim.operations.sheets import Sheet

FINE = 8  # classes between two readings of a column
FASTEST = 1e3  # m/s; no basin is loaded so
STILL = 1e-12  # m/s; loading of a basin without flow


@record
class JarTest(Sheet):
    """Turbidity of a jar before and after it has settled."""

    gives = ("turbidity_removal",)
    jar_turbidity_before: float = quantity("turbidity", "of the raw water in the jar", low=1e-3)
    jar_turbidity_after: float = quantity("turbidity", "of the clear water above the sludge")
    jar_coagulant_dose: float = quantity("concentration", "coagulant in that jar; 0 for none")

    def coefficients(self):
        """Return the share of the turbidity removed."""
        if self.jar_turbidity_after > self.jar_turbidity_before:
            raise RequestError("the jar is more turbid after settling than before: read again")
        return {"turbidity_removal": 1.0 - self.jar_turbidity_after / self.jar_turbidity_before}

    def told(self, found):
        """Say what the removal hangs on."""
        dose = quantities.text(self.jar_coagulant_dose, "concentration")
        with_it = f"holds while {dose} of coagulant is dosed" if self.jar_coagulant_dose else (
            "without coagulant"
        )  # fmt: skip
        return (
            f"turbidity removal {found['turbidity_removal']:.1%} by jar test, {with_it}; a jar is "
            "stiller than a basin: measure behind it"
        )


@record
class ColumnTest(Sheet):
    """Samples drawn from a settling column at one depth: what is still in suspension, and when."""

    gives = ("settling_curve",)
    column_depth: float = quantity("length", "depth of the tap below the surface", open_low=True)
    column_readings: tuple = points(
        "fraction",
        "short_duration",
        "share of the suspended solids still in the sample, at the time it was drawn",
        example=["70 % at 10 min", "45 % at 30 min"],
    )

    def coefficients(self):
        """Return the share that settles slower than depth over time, slowest first."""
        share, time = np.array(self.column_readings).T
        if share.size < 2 or np.any(time <= 0):
            raise RequestError("two samples or more, each some time after the start, belong here")
        if np.any(np.diff(share) > 0):
            raise RequestError("the share left in suspension cannot rise with time")
        curve = zip(share[::-1].tolist(), (self.column_depth / time[::-1]).tolist(), strict=True)
        return {"settling_curve": tuple(curve)}

    def told(self, found):
        """Say how far the readings reach."""
        slow, fast = (quantities.text(v, "velocity") for _, v in (
            found["settling_curve"][0], found["settling_curve"][-1]))  # fmt: skip
        return (
            f"settling velocities by column test, from {slow} to {fast}; what is slower counts as "
            "not settling, what is faster as settling at the fastest; flocs may settle otherwise"
        )


def whole_curve(curve) -> tuple[np.ndarray, np.ndarray]:
    """Return velocities [m/s] from 0 on and the share slower than each, to beyond any loading.

    Nothing is known slower than the first reading or faster than the last: the first counts as
    not settling, the last as all at the last velocity, so that the removal is told too low.
    """
    share, velocity = np.array(curve, dtype=float).T
    beyond = [velocity[-1] * (1 + 1e-9), FASTEST]
    return np.concatenate([[0.0], velocity, beyond]), np.concatenate([share[:1], share, [1.0, 1.0]])


def column_capture(curve, loading, tanks):
    """Return the captured mass share by a column test, in tanks and in an ideal basin.

    curve: pairs (share slower, velocity [m/s]), rising; loading [m/s], shape (...) -> two of (...)
    """
    loading = np.maximum(np.asarray(loading, dtype=float), STILL)
    share, velocity = np.array(curve, dtype=float).T
    steps = (np.arange(FINE) + 0.5) / FINE
    inner = velocity[:-1, None] + np.diff(velocity)[:, None] * steps
    weight = np.repeat(np.diff(share) / FINE, FINE)
    classes = np.concatenate([inner.ravel(), velocity[-1:]])
    weight = np.concatenate([weight, [1.0 - share[-1]]])
    removal = settling.basin_removal(classes, loading[..., None], np.asarray(tanks)[..., None])
    ideal = settling.column_test_removal(*whole_curve(curve), loading)
    return np.sum(weight * removal, axis=-1), ideal
