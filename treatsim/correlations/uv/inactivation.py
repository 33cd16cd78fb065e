"""Organisms and their sensitivity at 254 nm; the dose equation of a validation report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from treatsim.correlations.uv.dose_response import DoseResponse, FirstOrder, Tabulated
from treatsim.correlations.uv.optics import CENTIMETRE, decadic_absorption
from treatsim.errors import require

MJ_PER_CM2 = 10.0  # J/m2
SLACK = 1.0 + 1e-9  # round-off on an edge of the tested box counts as inside


class Organism(NamedTuple):
    """A dose response with its origin."""

    response: DoseResponse
    measured_log: float  # largest inactivation measured; no claim above it
    source: str  # key of sources.toml
    known: str  # read | memory


def _table(doses, source, known):
    logs = tuple(float(n + 1) for n in range(len(doses)))
    return Organism(Tabulated(tuple(d * MJ_PER_CM2 for d in doses), logs), logs[-1], source, known)


def _line(dose_per_log, measured_log, source, known):
    return Organism(FirstOrder(dose_per_log * MJ_PER_CM2), measured_log, source, known)


# doses in mJ/cm2 for 1, 2, 3, 4 log
ORGANISMS: dict[str, Organism] = {
    "ms2": _line(20.0, 4.0, "uvdgm_2006", "memory"),
    "cryptosporidium": _line(4.0, 4.0, "cfr_141_720", "read"),  # 12 mJ/cm2 at 3 log
    "ms2_measured": _table((16.0, 34.0, 52.0, 71.0), "uvdgm_2006", "memory"),
    "adenovirus_40": _table((56.0, 111.0, 167.0), "epa_ireland_2011", "read"),
    "poliovirus": _table((7.0, 15.0, 22.0, 30.0), "epa_ireland_2011", "read"),
    "bacillus_subtilis": _table((28.0, 39.0, 50.0, 62.0), "uvdgm_2006", "memory"),
    "q_beta": _table((10.9, 22.5, 34.6, 47.6), "malayeri_2016", "memory"),
    "t7": _table((3.6, 7.5, 11.8, 16.6), "malayeri_2016", "memory"),
    "t1": _table((5.0, 10.0, 15.0, 20.0), "malayeri_2016", "memory"),
    "phi_x174": _table((2.2, 5.3, 7.3, 11.0), "malayeri_2016", "memory"),
    "e_coli": _table((3.0, 4.8, 6.7, 8.4), "malayeri_2016", "memory"),
}


def claimable_log(log_reduction, organism: Organism):
    """Log reduction cut at what was measured for the organism.

    Parameters
    ----------
    log_reduction : array_like
        Modelled log10 reduction. [1]
    organism : Organism
        Entry of ORGANISMS.

    Returns
    -------
    ndarray
        Log reduction that may be claimed. [1]

    Validity
    --------
    Dose responses were seldom measured beyond 4 to 6 log.

    Source
    ------
    Common practice, no source.
    """
    return np.minimum(log_reduction, organism.measured_log)


def ms2_acceptance(dose):
    """Band in which the measured inactivation of MS2 must lie for a test to count.

    Parameters
    ----------
    dose : array_like
        Dose of the collimated beam. [J/m2]

    Returns
    -------
    tuple of two ndarray
        Lower and upper log10 inactivation. [1]

    Validity
    --------
    Doses up to about 1500 J/m2. A negative dose raises DomainError.

    Source
    ------
    uvdgm_2006, appendix A (from memory).
    """
    dose = require("dose", dose, 0.0, np.inf, "J/m2") / MJ_PER_CM2
    return dose * (4.5e-2 - 9.6e-5 * dose), dose * (7.6e-2 - 1.4e-4 * dose)


class CalculatedDose(NamedTuple):
    """Dose from a validated equation. Shape of the points."""

    dose: np.ndarray  # J/m2
    tested: np.ndarray  # bool; where False no credit may be given


@dataclass(frozen=True)
class DoseEquation:
    """Equivalent dose fitted in a validation report, combined-variable form.

    dose = 10**a * A10**b * (S/S0)**c * (1/Q)**d * B**e, with A10 per centimetre.

    Parameters
    ----------
    a, b, c, d, e : float
        Coefficients as printed, for dose in mJ/cm2 and flow in `flow_unit`. [1]
    flow_unit : float
        The report's unit of flow. [m3/s]
    absorption_tested, intensity_tested, flow_tested : tuple of 2 floats
        Tested box: Napierian absorption [1/m], S/S0 [1], flow [m3/s].

    Validity
    --------
    Inside the tested box. Outside it a dose is computed and marked as untested: refuse credit.

    Source
    ------
    iuva_2009, PDF page 520 (form); uvdgm_2006, chapter 5 (from memory).
    """

    a: float
    b: float
    c: float
    d: float
    absorption_tested: tuple[float, float]
    intensity_tested: tuple[float, float]
    flow_tested: tuple[float, float]
    flow_unit: float
    e: float = 0.0

    def dose(self, absorption, intensity_ratio, flow, banks=1.0) -> CalculatedDose:
        """Dose at absorption [1/m], S/S0 [1], flow [m3/s] and number of banks."""
        flow = require("flow", flow, 0.0, np.inf, "m3/s", open_low=True)
        value = self._without_flow(absorption, intensity_ratio, banks)
        value = value * (self.flow_unit / flow) ** self.d
        return CalculatedDose(
            value * MJ_PER_CM2, self._tested(absorption, intensity_ratio, flow, value.shape)
        )

    def flow_for(self, dose, absorption, intensity_ratio, banks=1.0):
        """Flow [m3/s] that gives `dose` [J/m2], and whether it was tested there."""
        dose = require("dose", dose, 0.0, np.inf, "J/m2", open_low=True) / MJ_PER_CM2
        ratio = self._without_flow(absorption, intensity_ratio, banks) / dose
        flow = self.flow_unit * ratio ** (1 / self.d)
        return flow, self._tested(absorption, intensity_ratio, flow, flow.shape)

    def _without_flow(self, absorption, intensity_ratio, banks):
        absorption = require("absorption", absorption, 0.0, np.inf, "1/m", open_low=True)
        ratio = require("intensity ratio", intensity_ratio, 0.0, np.inf, "1", open_low=True)
        banks = require("banks", banks, 0.0, np.inf, "1", open_low=True)
        per_centimetre = decadic_absorption(absorption) * CENTIMETRE
        return 10**self.a * per_centimetre**self.b * ratio**self.c * banks**self.e

    def _tested(self, absorption, intensity_ratio, flow, shape):
        tested = np.ones(shape, dtype=bool)
        for value, (low, high) in (
            (absorption, self.absorption_tested),
            (intensity_ratio, self.intensity_tested),
            (flow, self.flow_tested),
        ):
            tested &= (np.asarray(value) * SLACK >= low) & (np.asarray(value) <= high * SLACK)
        return tested
