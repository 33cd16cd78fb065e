"""Rule that turns a UV reactor into a barrier: what its validation covers, and what it earns."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.uv.dose_table import DOSE_TABLE, credited_log
from treatsim.errors import require
from treatsim.safety.barriers import HIGHEST_TURBIDITY, SLACK, turbidity_remarks, turbidity_term
from treatsim.safety.composed_credit import held, single, stepped_dose
from treatsim.safety.log_credit import CLASSES, Barrier, Term
from treatsim.safety.uv_operation import repaired_dose

DAYLIGHT = "no daylight on the water: bacteria repair themselves, {:g} mJ/cm2 are asked for"
CAUSE = "ultraviolet light"  # dull water and want of power reach every lamp of a train at once
BACTERIA_DOSE = 400.0  # J/m2 of validated dose that is planned with 4 log of bacteria


class UvBox(NamedTuple):
    """What a validation covers; None: not stated, so nothing is covered."""

    flow: Any  # largest, m3/s
    transmittance: Any  # lowest per centimetre, 1

    def terms(self, flow, transmittance) -> tuple[Term, Term]:
        """Return the conditions that flow [m3/s] and transmittance [1] lie inside."""
        slow = self.flow is not None and np.asarray(flow) <= np.asarray(self.flow) * SLACK
        clear = self.transmittance is not None and (
            np.asarray(transmittance) * SLACK >= np.asarray(self.transmittance)
        )
        return (
            Term("flow at or below the validated flow", slow),
            Term("transmittance at or above the validated one", clear),
        )

    def missing(self) -> tuple[str, ...]:
        """Return what the report would have to state."""
        words = ("the validated flow: health.uv_validated_flow",
                 "the validated transmittance: health.uv_validated_transmittance")  # fmt: skip
        return tuple(text for text, given in zip(words, self, strict=True) if given is None)


def uv_barrier(
    validated_dose, flow, transmittance, box: UvBox, turbidity, *, sensor_in_range, certificate,
    daylight=False,
) -> Barrier:  # fmt: skip
    """UV reactor as a barrier; only a validated reactor inside its envelope earns anything.

    Parameters
    ----------
    validated_dose : array_like or mapping
        Reduction-equivalent dose divided by the validation factor, or one for each class. [J/m2]
    flow : array_like
        Flow through the reactor. [m3/s]
    transmittance : array_like
        Transmittance of the water per centimetre. [1]
    box : UvBox
        Largest flow and lowest transmittance of the validation.
    turbidity : array_like
        Turbidity at the reactor. [NTU]
    sensor_in_range : array_like of bool
        Sensor at or above its set point, and transmittance inside the validated range. [1]
    certificate : bool
        Whether a validation report of this reactor exists. [1]
    daylight : bool
        Whether light comes to the treated water afterwards. [1]

    Returns
    -------
    Barrier
        Virus, Giardia and Cryptosporidium by the dose table; bacteria 4 log from 40 mJ/cm2. [log]

    Validity
    --------
    4 log of bacteria at 400 J/m2 is a planning figure; where light can repair them, the upper end
    of the extra dose measured is asked for, of one study with 4 log.

    Source
    ------
    cfr_141_720; bacteria from memory (nsf_ansi_55 class A dose)
    """
    given = validated_dose if isinstance(validated_dose, Mapping) else {}
    doses = {
        name: require("validated dose", given.get(name, validated_dose), 0.0, np.inf, "J/m2")
        for name in CLASSES
    }
    credits = {name: credited_log(name, doses[name] * SLACK) for name in DOSE_TABLE}
    asked = float(repaired_dose(BACTERIA_DOSE)[1]) if daylight else BACTERIA_DOSE
    credits["bacteria"] = np.where(doses["bacteria"] * SLACK >= asked, 4.0, 0.0)
    terms = (
        Term("validation report of this reactor", certificate),
        *box.terms(flow, transmittance),
        Term(
            "sensor at or above its set point, transmittance inside the validated range",
            sensor_in_range,
        ),
        turbidity_term(turbidity),
    )
    missing = (
        *box.missing(),
        *turbidity_remarks(turbidity),
        *([DAYLIGHT.format(asked / 10)] if daylight else []),
        "a residual: keep water dark, closed, chlorinated",
    )
    sound = certificate and sensor_in_range is True
    bounds = {"turbidity": HIGHEST_TURBIDITY, "flow": single(box.flow)}
    least = {"transmittance": single(box.transmittance)}
    steps = {
        cls: held(stepped_dose(cls, asked), bounds, least) if sound else 0.0 for cls in CLASSES
    }
    reads = {f"dose for {cls}": doses[cls] for cls in CLASSES}
    reads |= {"turbidity": turbidity, "flow": flow, "transmittance": transmittance}
    told = steps if isinstance(sensor_in_range, bool) else {}
    return Barrier("UV", credits, "cfr_141_720", terms, missing, CAUSE, told, reads)
