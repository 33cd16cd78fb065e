"""An analysis as PHREEQC takes it, and the same water concentrated at constant carbon dioxide.

Carbon dioxide passes a membrane freely, alkalinity does not: along a vessel the salts are
concentrated while dissolved CO2 stays what it was in the feed, and the pH follows from that.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from treatsim.errors import RequestError
from treatsim.kept import library_versions
from treatsim.water.acid_base import Constants, thin_constants
from treatsim.water.analysis import WaterAnalysis
from treatsim.water.cache import load_or_build
from treatsim.water.ions import IONS, SEA_SALT, SEA_SALT_MOLAR_MASS
from treatsim.water.phreeqc import PITZER, Recipe, database_fingerprint, run
from treatsim.water.salt_solutions import seawater_density

ELEMENT = {"SO4": "S(6)", "SiO2": "Si", "NO3": "N(5)"}
# pitzer.dat has no parameters for these: counted, mole for mole, as chloride
AS_CHLORIDE = ("F", "NO3")
ELEMENTS = tuple(sorted({ELEMENT.get(name, name) for name in IONS} - {"HCO3", "CO3"}))
LEAST = 1e-50  # below, PHREEQC means that a species is not there
DENSITY_PASSES = 5  # each pass gains a factor of ten or more


class Feed(NamedTuple):
    """Salts per kg of water, and the inorganic carbon, at the temperature of the sample."""

    molality: dict[str, float]  # PHREEQC element -> mol/kg, without carbon
    alkalinity: float  # eq/kg
    carbon: float  # total inorganic carbon, mol/kg
    ph: float
    temperature: float  # K
    salt_ratio: float  # kg of salt per kg of water
    database: str

    @property
    def salinity(self) -> float:
        """Mass fraction of salt. [kg/kg]"""
        return self.salt_ratio / (1 + self.salt_ratio)

    @property
    def ideal_molality(self) -> float:
        """Rejected particles per kg of water at infinite dilution, carbon as HCO3. [mol/kg]"""
        return sum(m for n, m in self.molality.items() if n != "B") + self.alkalinity


class State(NamedTuple):
    """A concentrated water in equilibrium."""

    ph: float
    log_water_activity: float  # base 10
    density: float  # kg/m3
    carbon_dioxide: float  # mol/kg
    boric_acid: float  # mol/kg
    ionic_strength: float  # mol/kg
    alkalinity: float  # eq/kg
    apparent: Constants  # of carbonate and borate; without pairs where the database is another
    extra: tuple[float, ...]  # what else was asked for


STATE_OUTPUTS = ('-LA("H+")', 'LA("H2O")', "RHO", 'MOL("CO2")', 'MOL("{boric}")', "MU", "ALK")
FORM_OUTPUTS = (  # of pitzer.dat, each with its ion pairs; CO2 and boric acid stand above
    'MOL("HCO3-")',
    'MOL("CO3-2") + MOL("MgCO3")',
    'MOL("B(OH)4-") + MOL("MgB(OH)4+") + MOL("CaB(OH)4+")',
    'MOL("OH-") + MOL("MgOH+")',
    'MOL("H+") + MOL("HSO4-")',
)
BORIC_ACID = {"pitzer.dat": "B(OH)3", "phreeqc.dat": "H3BO3"}


def feed(analysis: WaterAnalysis, database: str = PITZER) -> Feed:
    """Return the molalities of an analysis, with the carbon that its pH and alkalinity imply.

    Parameters
    ----------
    analysis : WaterAnalysis
        Of kind "ions", or "seawater" (reference composition) with a pH. [-]
    database : str
        PHREEQC database whose species are used. [-]

    Returns
    -------
    Feed
        Per kg of water; chloride (or sodium) takes up the last trace of imbalance.

    Validity
    --------
    Other kinds of water, or sea water without a pH, raise RequestError: there is nothing to
    speciate.

    Source
    ------
    parkhurst_appelo_2013
    """
    if analysis.ph is None or analysis.kind not in ("ions", "seawater"):
        raise RequestError(
            f"chemistry of {analysis.kind} water needs an ion analysis (or sea water) and water.ph"
        )
    return _feed(AnalysisKey(analysis), database)


class AnalysisKey:
    """An analysis as a key: equal if every number is."""

    def __init__(self, analysis: WaterAnalysis) -> None:
        self.analysis = analysis
        self.content = (
            analysis.kind,
            analysis.mass_fraction,
            analysis.mass_concentration,
            analysis.temperature,
            analysis.ph,
            tuple(sorted(analysis.ions.items())),
        )

    @property
    def plain(self) -> list:
        """The content as text and numbers, for what is kept on disk."""
        kind, *numbers, ions = self.content
        own = [None if number is None else float(number) for number in numbers]
        return [kind, *own, [[name, float(value)] for name, value in ions]]

    def __hash__(self) -> int:
        return hash(self.content)

    def __eq__(self, other) -> bool:
        return self.content == other.content


@lru_cache(maxsize=2048)  # one water is asked for many times; its density takes several passes
def _feed(key: AnalysisKey, database: str) -> Feed:
    found = load_or_build(
        "feed",
        {
            "analysis": key.plain,
            "versions": library_versions("phreeqpython"),
            "database": [database, database_fingerprint(database)],
        },
        lambda: _stored(_asked(key.analysis, database)),
        {"held": (len(ELEMENTS),), "molality": (len(ELEMENTS),), "carbonates": (3,)},
    )
    held, analysis = found["held"] > 0, key.analysis
    molality = {n: float(m) for n, m, there in zip(ELEMENTS, found["molality"], held, strict=True)
                if there}  # fmt: skip
    alkali, carbon, salt_ratio = (float(v) for v in found["carbonates"])
    ph, T = float(analysis.ph or 7.0), analysis.temperature
    return Feed(molality, alkali, carbon, ph, T, salt_ratio, database)


def _stored(water: Feed) -> dict[str, np.ndarray]:
    """Return what PHREEQC has said of a feed as arrays of one shape."""
    own = water.molality
    return {
        "held": np.array([float(name in own) for name in ELEMENTS]),
        "molality": np.array([own.get(name, 0.0) for name in ELEMENTS]),
        "carbonates": np.array([water.alkalinity, water.carbon, water.salt_ratio]),
    }


def _asked(analysis: WaterAnalysis, database: str) -> Feed:
    if analysis.kind == "seawater":
        molality, alkali, salt_ratio = _sea_salt(analysis)
        return _with_carbon(molality, alkali, salt_ratio, analysis, database)
    density = 1000.0 + 0.75 * float(analysis.mass_concentration or 0)
    for _ in range(DENSITY_PASSES):
        result, density = _from_ions(analysis, density, database)
    return result


def _from_ions(analysis: WaterAnalysis, density: float, database: str) -> tuple[Feed, float]:
    solids = float(sum(analysis.ions.values()))
    water = density - solids
    per_kg = {name: v / IONS[name].molar_mass / water for name, v in analysis.ions.items()}
    alkali = per_kg.pop("HCO3", 0.0) + 2 * per_kg.pop("CO3", 0.0)
    result = _with_carbon(per_kg, alkali, solids / water, analysis, database)
    return result, equilibrium(result, 1.0, analysis.temperature).density


def _sea_salt(analysis: WaterAnalysis):
    fraction = analysis.mass_fraction
    if fraction is None:
        concentration = float(analysis.mass_concentration or 0.0)
        fraction = concentration / 1025.0
        for _ in range(DENSITY_PASSES):
            fraction = concentration / float(seawater_density(fraction, analysis.temperature))
    ratio = fraction / (1 - fraction)
    per_kg = {n: x * ratio / SEA_SALT_MOLAR_MASS for n, x in SEA_SALT.items()}
    borate = per_kg.pop("B(OH)4")
    per_kg["B"] = borate + per_kg.pop("B(OH)3")
    alkali = per_kg.pop("HCO3") + 2 * per_kg.pop("CO3") + borate + per_kg.pop("OH")
    del per_kg["CO2"]  # follows from the pH
    return per_kg, alkali, ratio


def _with_carbon(per_kg, alkali, salt_ratio, analysis: WaterAnalysis, database: str) -> Feed:
    elements: dict[str, float] = {}
    for name, value in per_kg.items():
        swap = database == PITZER and name in AS_CHLORIDE
        element = "Cl" if swap else ELEMENT.get(name, name)
        elements[element] = elements.get(element, 0.0) + value
    ion = "Cl" if elements.get("Cl", 0) > 0.1 * sum(elements.values()) else "Na"
    totals = elements | ({"Alkalinity": alkali} if alkali else {})
    recipe = Recipe(totals, analysis.temperature, float(analysis.ph or 7.0), charge_ion=ion)
    carbon, closing = run(recipe, ('TOT("C(4)")', f'TOT("{ion}")'), database)
    elements[ion] = closing
    return Feed(
        elements,
        alkali,
        carbon,
        float(analysis.ph or 7.0),
        analysis.temperature,
        salt_ratio,
        database,
    )


@lru_cache(maxsize=2048)
def _dissolved_gas(key: tuple, temperature: float) -> tuple[float, float]:
    """pH and log10 CO2 fugacity of the closed feed at another temperature."""
    water = _thaw(key)
    recipe = Recipe(
        water.molality | {"C(4)": water.carbon}, temperature, water.ph, ph_from_charge=True
    )
    ph, gas = run(recipe, ('-LA("H+")', 'SI("CO2(g)")'), water.database)
    return ph, gas


def _freeze(water: Feed) -> tuple:
    return (tuple(water.molality.items()), *water[1:])


def _thaw(key: tuple) -> Feed:
    return Feed(dict(key[0]), *key[1:])


def equilibrium(
    water: Feed,
    factor: float,
    temperature: float,
    *,
    ph: float | None = None,
    outputs: tuple[str, ...] = (),
) -> State:
    """Return the state of a water with its salts concentrated and its dissolved CO2 unchanged.

    Parameters
    ----------
    water : Feed
        The feed. [per kg water]
    factor : float
        Concentration factor of the rejected salts per kg of water. [1]
    temperature : float
        Of the concentrate. [K]
    ph : float, optional
        Impose this pH (alkalinity times factor) instead of constant carbon dioxide. [1]
    outputs : tuple of str
        Further PHREEQC expressions. [-]

    Returns
    -------
    State
        pH [1], density [kg/m3], molalities [mol/kg water].

    Validity
    --------
    Nothing precipitates. Below a factor of about 0.05 PHREEQC may not converge; NoSolutionError.

    Source
    ------
    parkhurst_appelo_2013
    """
    recipe = _recipe(water, factor, temperature, ph)
    asked = tuple(o.format(boric=BORIC_ACID[water.database]) for o in STATE_OUTPUTS)
    paired = FORM_OUTPUTS if water.database == PITZER else ()
    v = run(recipe, asked + paired + outputs, water.database)
    own, forms, extra = v[:7], v[7 : 7 + len(paired)], v[7 + len(paired) :]
    apparent = _apparent(own, forms or [0.0] * len(FORM_OUTPUTS), temperature)
    ph, log_water, density, gas, boric, strength, alkalinity = own
    return State(
        ph, log_water, density * 1e3, gas, boric, strength, alkalinity, apparent, tuple(extra)
    )


def _apparent(own: list[float], forms: list[float], temperature: float) -> Constants:
    """Apparent constants of a water; of a form that is not there, those of a thin water."""
    ph, _, _, gas, boric, strength, _ = own
    one, two, borate, hydroxide, free = forms
    h = 10**-ph
    thin = thin_constants(strength, temperature)
    parts = (h * one, gas), (h * two, one), (h * borate, boric), (h * hydroxide, 1.0), (h, free)
    return Constants(
        *(a / b if min(a, b) > LEAST else float(k) for (a, b), k in zip(parts, thin, strict=True))
    )


def _recipe(water: Feed, factor: float, temperature: float, ph: float | None) -> Recipe:
    molality = {n: m * factor for n, m in water.molality.items()}
    if not water.alkalinity and not water.carbon:
        return Recipe(molality, temperature, water.ph if ph is None else ph)
    if ph is not None:
        ion = "Cl" if "Cl" in water.molality else "Na"
        totals = molality | {"Alkalinity": water.alkalinity * factor}
        return Recipe(totals, temperature, ph, charge_ion=ion)
    ph_feed, gas = _dissolved_gas(_freeze(water), temperature)
    totals = molality | {"C(4)": water.carbon * factor}
    return Recipe(totals, temperature, ph_feed, ph_from_charge=True, carbon_dioxide=gas)
