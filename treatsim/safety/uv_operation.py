"""Running a validated UV reactor: calculated dose, off-specification water, repair by light."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.uv.inactivation import SLACK, DoseEquation
from treatsim.errors import DomainError, require
from treatsim.ranges import Range

IN_SPECIFICATION_SHARE = 0.95  # of the water of a month
# extra dose that bacteria needed for 4 log when light could repair them, measured span
REPAIR_FACTORS = (1.18, 2.60)
# log lost between 0.25 and 20 NTU at equal mean dose, one lake water
PARTICLE_LOSS = {"cryptosporidium": 0.8, "giardia": 0.5}
PARTICLE_RANGE = Range("turbidity", 0.25, 20.0, "NTU", "shielding by particles")


class DoseReading(NamedTuple):
    """Dose of the moment, and where there is none."""

    dose: Any  # J/m2; 0 where refused
    refused: Any  # bool: outside the validated box on the dangerous side
    held_at_edge: Any  # bool: better than tested, counted as the best tested


class OffSpecification(NamedTuple):
    """Water delivered outside the validated conditions."""

    time: Any  # s
    volume: Any  # m3
    share_in: Any  # share of the volume inside
    meets: Any  # bool


def calculated_dose(
    equation: DoseEquation, absorption, intensity_ratio, flow, banks=1.0
) -> DoseReading:
    """Dose of the moment that may be counted, by the reactor's own dose equation.

    Parameters
    ----------
    equation : DoseEquation
        Equation and tested box of the validation report.
    absorption : array_like
        Napierian absorption of the water. [1/m]
    intensity_ratio : array_like
        Sensor reading over that of new clean lamps in the same water. [1]
    flow : array_like
        Flow. [m3/s]
    banks : array_like
        Banks of lamps in operation. [1]

    Returns
    -------
    DoseReading
        Dose and flags, broadcast shape. [J/m2]

    Validity
    --------
    Never beyond the box: faster, duller or dimmer than tested is refused (dose 0); slower,
    clearer or brighter counts as the edge of the box. Impossible values, and an equation whose
    dose would rise with flow or absorption or fall with intensity, raise DomainError.

    Source
    ------
    uvdgm_2006, from memory
    """
    if not (equation.b < 0 and equation.c > 0 and equation.d > 0):
        raise DomainError("a dose equation needs b below 0, and c and d above 0")
    a = require("absorption", absorption, 0.0, np.inf, "1/m", open_low=True)
    s = require("intensity ratio", intensity_ratio, 0.0, np.inf, "")
    Q = require("flow", flow, 0.0, np.inf, "m3/s", open_low=True)
    flows, absorptions = equation.flow_tested, equation.absorption_tested
    intensities = equation.intensity_tested
    refused = _above(Q, flows) | _above(a, absorptions) | _below(s, intensities)
    held = _below(Q, flows) | _below(a, absorptions) | _above(s, intensities)
    inside = np.clip(a, *absorptions), np.clip(s, *intensities), np.clip(Q, *flows)
    dose = np.where(refused, 0.0, equation.dose(*inside, banks).dose)
    return DoseReading(dose, refused, held & ~refused)


def _below(value, box: tuple[float, float]):
    return value * SLACK < box[0]


def _above(value, box: tuple[float, float]):
    return value > box[1] * SLACK


def off_specification(durations, flow, in_specification) -> OffSpecification:
    """Time and water outside the validated conditions, and whether the monthly rule is met.

    Parameters
    ----------
    durations : array_like
        Lengths of the intervals of the month. [s]
    flow : array_like
        Water delivered in each interval, last axis. [m3/s]
    in_specification : array_like of bool
        Whether flow, transmittance, sensor, lamps and calibration were all in range. [1]

    Returns
    -------
    OffSpecification
        Time [s], volume [m3], share inside and verdict, shape without the last axis.

    Validity
    --------
    Warm-up and restarts count as outside unless the water is held back. A month without water
    has a share of 1.

    Source
    ------
    cfr_141_720 (d)(3), from memory
    """
    seconds = require("interval", durations, 0.0, np.inf, "s")
    flow = require("flow", flow, 0.0, np.inf, "m3/s")
    outside = ~np.asarray(in_specification, dtype=bool)
    delivered = flow > 0
    time = np.sum(seconds * (outside & delivered), axis=-1)
    volume = np.sum(seconds * flow * outside, axis=-1)
    total = np.sum(seconds * flow * np.ones_like(outside), axis=-1)
    share = 1.0 - volume / np.where(total > 0, total, 1.0)
    return OffSpecification(time, volume, share, share * SLACK >= IN_SPECIFICATION_SHARE)


def repaired_dose(dose):
    """Dose that bacteria may need if light can repair them afterwards.

    Parameters
    ----------
    dose : array_like
        Dose for the reduction wanted, without repair. [J/m2]

    Returns
    -------
    tuple of ndarray
        Lower and upper end of the measured span. [J/m2]

    Validity
    --------
    4 log of bacteria, one flow-through study; virus and protozoa hardly repair. The answer is a
    dark closed tank and a residual, rather than this figure.

    Source
    ------
    common practice; measured span of one study with light-emitting diodes
    """
    dose = require("dose", dose, 0.0, np.inf, "J/m2")
    return tuple(dose * factor for factor in REPAIR_FACTORS)


def particle_loss(turbidity, organism: str):
    """Logs that shielding by particles cost in one lake water. Information.

    Parameters
    ----------
    turbidity : array_like
        Turbidity at the reactor. [NTU]
    organism : str
        "cryptosporidium" or "giardia".

    Returns
    -------
    ndarray
        Logs lost against 0.25 NTU at equal mean dose, shape of `turbidity`. [log]

    Validity
    --------
    0.25 to 20 NTU (PARTICLE_RANGE), straight line between the two ends measured; computed beyond,
    0 below. Turbidity alone does not rank waters. Another organism raises DomainError.

    Source
    ------
    common practice; ends measured in one lake water
    """
    if organism not in PARTICLE_LOSS:
        raise DomainError(f'organism "{organism}": known are {", ".join(PARTICLE_LOSS)}')
    value = require("turbidity", turbidity, 0.0, np.inf, "NTU")
    share = (value - PARTICLE_RANGE.low) / (PARTICLE_RANGE.high - PARTICLE_RANGE.low)
    return PARTICLE_LOSS[organism] * np.maximum(share, 0.0)
