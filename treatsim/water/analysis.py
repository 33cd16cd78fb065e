"""What was measured on site: fresh water, a sodium chloride solution, sea water, or ions.

An analysis is checked and corrected here, and what was corrected is said. Nothing is guessed: a sum
of dissolved solids without ions becomes sodium chloride or sea salt only if the user says it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, NamedTuple

from treatsim.constants import CELSIUS_25, ZERO_CELSIUS
from treatsim.errors import RequestError, require
from treatsim.ranges import Range
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT, IONS

KINDS = ("fresh", "sodium_chloride", "seawater", "ions")
LARGEST_IMBALANCE = 0.10  # refused above; common practice calls 5 % a good analysis
GOOD_IMBALANCE = 0.05
PRACTICAL_TO_ABSOLUTE = 35.16504 / 35.0 * 1e-3  # kg/kg per unit of Practical Salinity
SOLIDS_PER_CONDUCTIVITY = (5.0, 7.0)  # kg/m3 per S/m, i.e. 0.5 to 0.7 mg/L per uS/cm
CONDUCTIVITY_PER_KELVIN = 0.02  # common practice, no source
PRACTICAL_SALINITY_RANGE = Range(
    "practical_salinity", 2.0, 42.0, "1", "practical to reference salinity"
)
# relative standard uncertainty of the osmotic pressure that the kind of knowledge allows
OSMOTIC_UNCERTAINTY = MappingProxyType(
    {"seawater": 0.003, "ions": 0.01, "sodium_chloride": 0.003, "fresh": 0.5}
)


@dataclass(frozen=True)
class ChargeBalance:
    """Charge balance of an ion analysis as reported, and what was added to close it."""

    cations: float  # eq/m3
    anions: float  # eq/m3
    adjusted: str  # ion that was added to; "" if nothing was
    added: float  # kg/m3 of that ion

    @property
    def imbalance(self) -> float:
        """(cations - anions) / (cations + anions). [1]"""
        return (self.cations - self.anions) / (self.cations + self.anions)


class OwnWaters(NamedTuple):
    """What differs between the waters of many points; both broadcast over them."""

    ph: Any
    salinity: Any  # kg/kg


@dataclass(frozen=True)
class WaterAnalysis:
    """What was measured. Give salinity as a mass fraction or per volume, never both."""

    kind: str
    mass_fraction: float | None = None  # kg of salt per kg of solution
    mass_concentration: float | None = None  # kg/m3, at `temperature`
    temperature: float = CELSIUS_25  # K, at which pH and concentrations were measured
    ph: float | None = None
    ions: Mapping[str, float] = field(default_factory=dict)  # kg/m3, balanced
    balance: ChargeBalance | None = None
    notes: tuple[str, ...] = ()
    own: OwnWaters | None = None  # of each point; pH and salinity above are then one of them

    @property
    def osmotic_uncertainty(self) -> float:
        """Relative standard uncertainty of the osmotic pressure. [1]"""
        return OSMOTIC_UNCERTAINTY[self.kind]


def of_salt(
    kind: str,
    *,
    mass_fraction: float | None = None,
    mass_concentration: float | None = None,
    temperature: float = CELSIUS_25,
    ph: float | None = None,
) -> WaterAnalysis:
    """Return the analysis of a water known by one salinity.

    Parameters
    ----------
    kind : str
        "fresh" (weakly mineralised, treated as sodium chloride of the same mass),
        "sodium_chloride" or "seawater". [-]
    mass_fraction, mass_concentration : float
        Dissolved salt, one of the two. [kg/kg], [kg/m3]
    temperature : float
        At which it was measured. [K]
    ph : float, optional
        Needed for scaling and boron only. [1]

    Returns
    -------
    WaterAnalysis
        As stated; nothing is corrected.

    Validity
    --------
    Salinity up to 0.26 kg/kg (saturated sodium chloride), fresh up to 1.5 kg/m3; another kind, no
    salinity or both raise RequestError.

    Source
    ------
    definition
    """
    if kind not in KINDS[:3]:
        hint = "give the ions" if kind == "ions" else f"allowed are {', '.join(KINDS)}"
        raise RequestError(f'water.kind = "{kind}" is not known by one salinity: {hint}')
    if (mass_fraction is None) == (mass_concentration is None):
        raise RequestError(f"water.salinity: give {kind} water one salinity (g/kg or g/L)")
    _require_state(temperature, ph)
    if mass_fraction is not None:
        require("salinity", mass_fraction, 0, 0.0015 if kind == "fresh" else 0.26, "kg/kg")
    if mass_concentration is not None:
        require("salinity", mass_concentration, 0, 1.5 if kind == "fresh" else 312, "kg/m3")
    return WaterAnalysis(kind, mass_fraction, mass_concentration, temperature, ph)


def of_ions(
    ions: Mapping[str, float], *, ph: float, temperature: float = CELSIUS_25, adjust: str = ""
) -> WaterAnalysis:
    """Return an ion analysis with its charge balance closed, and say by what.

    The missing charge is added as sodium or chloride (whichever side is short), or as the ion named
    in `adjust`; nothing that was reported is taken away.

    Parameters
    ----------
    ions : mapping of str to float
        Mass per volume of each species; "B" as boron, "SiO2" as silica. [kg/m3]
    ph : float
        Measured at `temperature`. [1]
    temperature : float
        Of the sample. [K]
    adjust : str
        Ion to be added to instead of sodium or chloride. [-]

    Returns
    -------
    WaterAnalysis
        With `balance` and, above 5 %, a note.

    Validity
    --------
    An imbalance above 10 % of the summed charge, an unknown species, or an `adjust` of the wrong
    sign raise RequestError with every problem found.

    Source
    ------
    definition; limits of imbalance are common practice, no source.
    """
    unknown = [name for name in ions if name not in IONS]
    if unknown:
        raise RequestError(
            [f"water.ions.{name} is not known: {', '.join(IONS)}" for name in unknown]
        )
    for name, value in ions.items():
        require(f"water.ions.{name}", value, 0, 200, "kg/m3")
    _require_state(temperature, ph)
    balance = _charge_balance(ions, adjust)
    closed = dict(ions)
    if balance.adjusted:
        closed[balance.adjusted] = closed.get(balance.adjusted, 0.0) + balance.added
    return WaterAnalysis(
        "ions",
        mass_concentration=float(sum(closed.values())),
        temperature=float(temperature),
        ph=float(ph),
        ions=MappingProxyType(closed),
        balance=balance,
        notes=_balance_notes(balance),
    )


def _require_state(temperature, ph):
    require("water.temperature", temperature, ZERO_CELSIUS, 318.15, "K")
    if ph is not None:
        require("water.ph", ph, 0, 14, "")


def _charge_balance(ions: Mapping[str, float], adjust: str) -> ChargeBalance:
    charge = {n: v / IONS[n].molar_mass * IONS[n].charge for n, v in ions.items()}
    cations = sum(q for q in charge.values() if q > 0)
    anions = -sum(q for q in charge.values() if q < 0)
    if not cations or not anions:
        raise RequestError("water.ions: an analysis needs at least one cation and one anion")
    missing = anions - cations  # > 0: cations are short
    if abs(missing) > LARGEST_IMBALANCE * (cations + anions):
        raise RequestError(
            f"water.ions: cations {cations:.2f} eq/m3 and anions {anions:.2f} eq/m3 differ by "
            f"{abs(missing) / (cations + anions):.1%} of their sum, above {LARGEST_IMBALANCE:.0%}: "
            "an ion is missing or wrong"
        )
    ion = adjust or ("Na" if missing > 0 else "Cl")
    if ion not in IONS or IONS[ion].charge * missing < 0 or IONS[ion].charge == 0:
        raise RequestError(f"water.ions: {ion} cannot make up for {missing:+.3f} eq/m3 of charge")
    added = missing / IONS[ion].charge * IONS[ion].molar_mass
    return ChargeBalance(cations, anions, ion if added else "", added)


def _balance_notes(balance: ChargeBalance) -> tuple[str, ...]:
    if abs(balance.imbalance) <= GOOD_IMBALANCE:
        return ()
    return (
        f"the ion analysis is out of balance by {abs(balance.imbalance):.1%}; "
        f"{balance.added * 1e3:.0f} mg/L of {balance.adjusted} were added",
    )


def alkalinity(value: float, stated_as: str) -> float:
    """Return a titrated alkalinity in equivalents.

    Parameters
    ----------
    value : float
        Mass per volume of the substance it is stated as. [kg/m3]
    stated_as : str
        "CaCO3" or "HCO3"; they differ by a factor 1.22. [-]

    Returns
    -------
    float
        Alkalinity. [eq/m3]

    Validity
    --------
    Any value not below 0; another `stated_as` raises RequestError.

    Source
    ------
    definition
    """
    equivalent = {"CaCO3": CALCIUM_CARBONATE_EQUIVALENT, "HCO3": IONS["HCO3"].molar_mass}
    if stated_as not in equivalent:
        raise RequestError(f'alkalinity stated as "{stated_as}": say "CaCO3" or "HCO3"')
    return float(require("alkalinity", value, 0, 100, "kg/m3")) / equivalent[stated_as]


def from_calcium_carbonate(value, ion: str):
    """Return the mass of an ion from a concentration stated "as CaCO3".

    Parameters
    ----------
    value : array_like
        Concentration as CaCO3. [kg/m3]
    ion : str
        A charged species of `IONS`. [-]

    Returns
    -------
    float or ndarray, shape of value
        Concentration of the ion itself. [kg/m3]

    Validity
    --------
    Any value; an uncharged species raises RequestError.

    Source
    ------
    definition
    """
    if not IONS[ion].charge:
        raise RequestError(f"{ion} has no charge and cannot be stated as CaCO3")
    per_charge = IONS[ion].molar_mass / abs(IONS[ion].charge)
    return value / CALCIUM_CARBONATE_EQUIVALENT * per_charge


def from_practical_salinity(practical_salinity: float) -> float:
    """Return the mass fraction of sea salt of a Practical Salinity.

    Parameters
    ----------
    practical_salinity : float
        From a salinometer. [1]

    Returns
    -------
    float
        Reference-composition salinity. [kg/kg]

    Validity
    --------
    `PRACTICAL_SALINITY_RANGE`; sea water of normal composition. Computed outside.

    Source
    ------
    millero_2008, from memory
    """
    value = require("practical_salinity", practical_salinity, 0, 260, "")
    return float(value * PRACTICAL_TO_ABSOLUTE)


def solids_from_conductivity(conductivity: float, temperature: float) -> tuple[float, float]:
    """Return the band of dissolved solids that a conductivity allows.

    Parameters
    ----------
    conductivity : float
        As shown by an uncompensated meter. [S/m]
    temperature : float
        Of the sample; pass 298.15 for a meter that compensates to 25 degC. [K]

    Returns
    -------
    low, high : float
        Dissolved solids. [kg/m3]

    Validity
    --------
    Fresh and brackish water up to about 1 S/m. A band, not a value: the osmotic pressure that
    follows is uncertain by 20 to 100 % until the ions are known.

    Source
    ------
    common practice, no source
    """
    value = float(require("conductivity", conductivity, 0, 30, "S/m"))
    kelvin = float(require("temperature", temperature, ZERO_CELSIUS, 318.15, "K"))
    at_25 = value / (1 + CONDUCTIVITY_PER_KELVIN * (kelvin - CELSIUS_25))
    return SOLIDS_PER_CONDUCTIVITY[0] * at_25, SOLIDS_PER_CONDUCTIVITY[1] * at_25
