"""Dissolved species that an analysis may name, and the composition of sea salt. Data only."""

from __future__ import annotations

from typing import NamedTuple


class Ion(NamedTuple):
    """One dissolved species."""

    charge: int
    molar_mass: float  # kg/mol
    diffusivity: float  # m2/s, infinite dilution, 25 degC
    name: str


# molar masses from the standard atomic weights; diffusivities are the infinitely dilute values
# in common use, from memory
IONS: dict[str, Ion] = {
    "Na": Ion(1, 22.98977e-3, 1.334e-9, "sodium"),
    "K": Ion(1, 39.0983e-3, 1.957e-9, "potassium"),
    "Mg": Ion(2, 24.305e-3, 0.706e-9, "magnesium"),
    "Ca": Ion(2, 40.078e-3, 0.792e-9, "calcium"),
    "Sr": Ion(2, 87.62e-3, 0.791e-9, "strontium"),
    "Ba": Ion(2, 137.327e-3, 0.847e-9, "barium"),
    "Cl": Ion(-1, 35.453e-3, 2.032e-9, "chloride"),
    "SO4": Ion(-2, 96.0626e-3, 1.065e-9, "sulfate"),
    "HCO3": Ion(-1, 61.0168e-3, 1.185e-9, "hydrogen carbonate"),
    "CO3": Ion(-2, 60.0089e-3, 0.923e-9, "carbonate"),
    "F": Ion(-1, 18.9984e-3, 1.475e-9, "fluoride"),
    "NO3": Ion(-1, 62.0049e-3, 1.902e-9, "nitrate"),
    "Br": Ion(-1, 79.904e-3, 2.080e-9, "bromide"),
    "SiO2": Ion(0, 60.0843e-3, 1.10e-9, "dissolved silica, as SiO2"),
    "B": Ion(0, 10.811e-3, 1.10e-9, "boron (boric acid), as B"),
}

CALCIUM_CARBONATE_EQUIVALENT = 50.0435e-3  # kg per mol of charge
SODIUM_CHLORIDE_MOLAR_MASS = IONS["Na"].molar_mass + IONS["Cl"].molar_mass
SEA_SALT_MOLAR_MASS = 31.4038218e-3  # kg/mol of particles, reference composition

# mole fraction of the reference sea salt (Millero et al. 2008, from memory; checked by its sum)
SEA_SALT: dict[str, float] = {
    "Na": 0.4188071,
    "Mg": 0.0471678,
    "Ca": 0.0091823,
    "K": 0.0091159,
    "Sr": 0.0000810,
    "Cl": 0.4874839,
    "SO4": 0.0252152,
    "HCO3": 0.0015340,
    "Br": 0.0007520,
    "CO3": 0.0002134,
    "B(OH)4": 0.0000900,
    "F": 0.0000610,
    "OH": 0.0000071,
    "B(OH)3": 0.0002807,
    "CO2": 0.0000086,
}
