"""What is built, asked for the quantities that were measured."""

from __future__ import annotations

import itertools

import numpy as np
from oracles import pipes, spacer

from treatsim.correlations.disinfection import chlorine_decay
from treatsim.correlations.hydraulics import friction
from treatsim.correlations.ro import spacer_channel
from treatsim.correlations.uv.dose_table import credited_log
from treatsim.correlations.uv.inactivation import MJ_PER_CM2, ORGANISMS
from treatsim.power import module
from treatsim.safety import ct_tables
from treatsim.water import analysis, boron, osmosis, pitzer, properties, salt_solutions
from treatsim.water.ions import IONS, SODIUM_CHLORIDE_MOLAR_MASS
from treatsim.water.phreeqc import Recipe, run
from treatsim.water.scaling import SCALES
from treatsim.water.speciation import ELEMENT

SALTS = {
    "NaCl": {"Na": 1, "Cl": 1},
    "KCl": {"K": 1, "Cl": 1},
    "CaCl2": {"Ca": 1, "Cl": 2},
    "MgCl2": {"Mg": 1, "Cl": 2},
    "MgSO4": {"Mg": 1, "SO4": 1},
    "Na2SO4": {"Na": 2, "SO4": 1},
}
LN10 = np.log(10)
FREEZING = 273.15
# ln of the water activity of ice over (depression in K, its square): Robinson & Stokes 1959, ch. 2
ICE = (9.6918e-3, 4.955e-6)
MG_MIN_PER_L = 0.06  # kg s/m3
SILICA = 60.084  # g/mol


def molar_mass(salt):
    return sum(n * IONS[ion].molar_mass for ion, n in SALTS[salt].items())


def elements(salts):
    """PHREEQC totals of a solution of several salts, mol per kg of water."""
    totals: dict[str, float] = {}
    for salt, molality in salts.items():
        for ion, n in SALTS[salt].items():
            name = ELEMENT.get(ion, ion)
            totals[name] = totals.get(name, 0.0) + n * molality
    return totals


def ask(salts, kelvin, *outputs, **more):
    return run(Recipe(elements(salts), kelvin, 7.0, **more), outputs)


def worth(salt, molality, kelvin):
    """nu m phi: minus ln of the water activity over the molar mass of water."""
    if salt == "NaCl":
        return 2 * molality * float(pitzer.sodium_chloride_osmotic_coefficient(molality, kelvin))
    (log_activity,) = ask({salt: molality}, kelvin, 'LA("H2O")')
    return -log_activity * LN10 / osmosis.WATER_MOLAR_MASS


def isopiestic(salt, molality, reference, reference_molality, kelvin):
    return worth(salt, molality, kelvin) / worth(reference, reference_molality, kelvin)


def osmotic(salt, molality, kelvin):
    return worth(salt, molality, kelvin) / (sum(SALTS[salt].values()) * molality)


def activity(salt, molality, kelvin):
    """Mean activity coefficient as the saturation of minerals uses it."""
    parts = {ion: (n, f"{ion}{_charge(ion)}") for ion, n in SALTS[salt].items()}
    logs = ask({salt: molality}, kelvin, *(f'LG("{name}")' for _, name in parts.values()))
    counts = [n for n, _ in parts.values()]
    return 10 ** (np.dot(counts, logs) / sum(counts))


def _charge(ion):
    return {1: "+", 2: "+2", -1: "-", -2: "-2"}[IONS[ion].charge]


def of_mass_fraction(salt, mass_fraction):
    return mass_fraction / (1 - mass_fraction) / molar_mass(salt)


def freezing(salt, mass_fraction):
    """Depression at which ice and solution have one water activity, that at 0 degC."""
    a = worth(salt, of_mass_fraction(salt, mass_fraction), FREEZING) * osmosis.WATER_MOLAR_MASS
    return 2 * a / (ICE[0] + np.sqrt(ICE[0] ** 2 + 4 * ICE[1] * a))


def mixture_density(salts, kelvin):
    """As the table of an ion analysis has it: PHREEQC's ratio to its own pure water."""
    (solution,), (pure,) = ask(salts, kelvin, "RHO"), ask({}, kelvin, "RHO")
    return solution / pure * properties.density(kelvin)


def density(salt, mass_fraction, kelvin):
    if salt == "NaCl":
        return salt_solutions.sodium_chloride_density(mass_fraction, kelvin)
    return mixture_density({salt: of_mass_fraction(salt, mass_fraction)}, kelvin)


def mixture_viscosity(salts, kelvin):
    """As the table of an ion analysis has it: that of sea salt of the same mass. [mPa s]"""
    ratio = sum(m * molar_mass(salt) for salt, m in salts.items())
    return 1e3 * salt_solutions.seawater_viscosity(ratio / (1 + ratio), kelvin)


def viscosity(salt, kelvin, mass_fraction=None, molality=None):
    if molality is None:
        molality = of_mass_fraction(salt, mass_fraction)
    if salt == "NaCl":
        ratio = molality * SODIUM_CHLORIDE_MOLAR_MASS
        return 1e3 * salt_solutions.sodium_chloride_viscosity(ratio / (1 + ratio), kelvin)
    return mixture_viscosity({salt: molality}, kelvin)


def diffusivity(molarity):
    """One value for every concentration. [1e-9 m2/s]"""
    assert molarity >= 0
    return 1e9 * salt_solutions.diffusivity(298.15)


def conductivity(salt, conductivity, kelvin, molarity=None, g_per_kg=None):
    """Dissolved solids by the nearer end of the band, over those there are; 1 inside the band."""
    if molarity is None:
        true = g_per_kg * 1e-3 * density(salt, g_per_kg * 1e-3, kelvin)
    else:
        true = molarity * molar_mass(salt) * 1e3
    low, high = analysis.solids_from_conductivity(conductivity, kelvin)
    return np.clip(true, low, high) / true


def sea_density(practical_salinity, celsius_1968):
    kelvin = celsius_1968 / 1.00024 + FREEZING
    salinity = analysis.from_practical_salinity(practical_salinity)
    return salt_solutions.seawater_density(salinity, kelvin)


def sea_pressure(practical_salinity, kelvin):
    salinity = analysis.from_practical_salinity(practical_salinity)
    return osmosis.seawater_osmotic_pressure(salinity, kelvin) / 1e5


def _sea_worth(practical_salinity, kelvin):
    salinity = analysis.from_practical_salinity(practical_salinity)
    phi = osmosis.seawater_osmotic_coefficient(salinity, kelvin)
    return phi * salinity / (1 - salinity) / osmosis.SEA_SALT_MOLAR_MASS * osmosis.WATER_MOLAR_MASS


def sea_activity(practical_salinity, kelvin):
    return np.exp(-_sea_worth(practical_salinity, kelvin))


def sea_freezing(practical_salinity):
    a = _sea_worth(practical_salinity, FREEZING)
    return -2 * a / (ICE[0] + np.sqrt(ICE[0] ** 2 + 4 * ICE[1] * a))


def solubility(scale, element, others, kelvin):
    """Dissolved in equilibrium with the mineral, by the database that judges its scale."""
    rule = SCALES[scale]
    recipe = Recipe(elements(others), kelvin, 7.0, phases=(rule.phase,))
    (dissolved,) = run(recipe, (f'TOT("{element}")',), rule.database)
    return dissolved


def silica(scale, kelvin):
    """mg per kg of water, 0.3 % below mg/L at 25 degC."""
    return solubility(scale, "Si", {}, kelvin) * SILICA * 1e3


def log_k(scale, kelvin):
    rule = SCALES[scale]
    (value,) = run(Recipe({}, kelvin, 7.0), (f'LK_PHASE("{rule.phase}")',), rule.database)
    return value


def ion_pair(pair, kelvin):
    """Association constant from calcium and the other ion, by the database of ion pairs. [1]"""
    hydrogen = {"CaHCO3+": 1, "CaCO3": 0}[pair]  # ions of hydrogen the database counts in
    outputs = (f'LK_SPECIES("{pair}")', 'LK_SPECIES("HCO3-")')
    whole, acid = run(Recipe({}, kelvin, 7.0), outputs, "phreeqc.dat")
    return whole - hydrogen * acid


def silica_order(salts, molality, kelvin):
    """Least ratio of the silica dissolved in a salt to that in the one before."""
    found = [solubility("silica", "Si", {salt: molality}, kelvin) for salt in salts]
    return min(b / a for a, b in itertools.pairwise(found))


def most_soluble(scale, element, celsius):
    """Temperature of the highest solubility in pure water. [degC]"""
    places = np.arange(celsius[0], celsius[1] + 1, 5.0)
    found = [solubility(scale, element, {}, FREEZING + place) for place in places]
    return float(places[int(np.argmax(found))])


def calcite_under_gas(log_fugacity, kelvin):
    """Calcium where calcite and carbon dioxide of a fixed fugacity meet. [mmol/kg]"""
    rule = SCALES["calcite"]

    def index(calcium):
        totals = {"Ca": calcium, "C(4)": 2 * calcium}
        recipe = Recipe(totals, kelvin, 6.0, ph_from_charge=True, carbon_dioxide=log_fugacity)
        return run(recipe, (f'SI("{rule.phase}")',), rule.database)[0]

    from scipy.optimize import brentq

    return 1e3 * brentq(index, 1e-3, 5e-2, xtol=1e-7)


def boric_acid(practical_salinity):
    salinity = analysis.from_practical_salinity(practical_salinity)
    return -boron.log_boric_acid_constant(salinity, 298.15) / LN10


def rate(organism):
    """First-order rate, base e, over the first log. [cm2/mJ]"""
    return LN10 / (float(ORGANISMS[organism].response.dose_for(1.0)) / MJ_PER_CM2)


def virus_credit(rate, dose):
    assert rate > 0
    return credited_log("virus", dose * MJ_PER_CM2)


def protozoa_credit(organism, dose):
    return credited_log(organism, dose * MJ_PER_CM2)


def adenovirus(organism, dose):
    return ORGANISMS[organism].response.log_inactivation(np.array(dose) * MJ_PER_CM2)


def decay_warmth(warmer):
    cold = 283.15
    return chlorine_decay.rate_at(1.0, cold + warmer, cold)


def virus_ct(kelvin, ph):
    needed, refused, _ = ct_tables.virus_lookup(kelvin, ph)
    assert not refused
    return needed[..., -1] / MG_MIN_PER_L


def giardia_credit(kelvin, ph, free_chlorine, ct):
    return ct_tables.giardia_log_credit(ct * MG_MIN_PER_L, kelvin, ph, free_chlorine * 1e-3)


def giardia_ct(kelvin, ph, free_chlorine):
    """For 2 log, two thirds of the table's 3. [mg min/L]"""
    needed = ct_tables.giardia_ct_required(kelvin, ph, free_chlorine * 1e-3)
    return needed * 2 / 3 / MG_MIN_PER_L


def cryptosporidium_chlorine(ct):
    """Nothing is credited, however large the CT: there is no table. [log]"""
    assert ct > 0
    return float("cryptosporidium" in ct_tables.tables())


def polarisation_warmth(colder, warmer):
    """Wall over bulk concentration of sea water, warm over cold."""
    return _polarisation(warmer) / _polarisation(colder)


def _polarisation(kelvin, flux=20 / 3.6e6, velocity=0.15, diameter=0.9e-3, salinity=0.035):
    density = salt_solutions.seawater_density(salinity, kelvin)
    viscosity = salt_solutions.seawater_viscosity(salinity, kelvin)
    diffusivity = salt_solutions.diffusivity(kelvin)
    reynolds = spacer_channel.reynolds_number(velocity, diameter, density, viscosity)
    schmidt = spacer.schmidt_number(density, viscosity, diffusivity)
    sherwood = spacer.sherwood_number(spacer_channel.SCHOCK_MIQUEL, reynolds, schmidt)
    return np.exp(flux / spacer.mass_transfer_coefficient(sherwood, diffusivity, diameter))


def hose_friction(diameter, flow, drop_per_length):
    """Darcy factor of a smooth bore at 15 degC."""
    assert drop_per_length > 0
    kelvin = 288.15
    water = properties.density(kelvin), properties.viscosity(kelvin)
    reynolds = friction.reynolds_number(flow / 6e4, diameter, *water)
    return pipes.colebrook_factor(reynolds, 0.0)


MODULE = 322.305  # W, the module of the matrix
AT_200, AT_75 = 61.137, 273.651  # W, readings that give its two coefficients


def module_power(irradiance, celsius):
    """Power by the loss at 200 W/m2 and the change from 25 to 75 degC."""
    low_light = 0.2 - AT_200 / MODULE
    coefficient = (AT_75 / MODULE - 1) / 50
    cells = celsius + FREEZING
    return float(module.module_power(irradiance, cells, MODULE, coefficient, low_light))
