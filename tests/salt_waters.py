"""Invented, balanced well waters and other waters of the tests."""

from functools import cache

from treatsim.water import analysis
from treatsim.water.water_table import water_table

WELLS = {  # mg/L, pH 7.6
    "BWa": {
        "Na": 554.84, "K": 12, "Mg": 60, "Ca": 110, "Sr": 2.5, "Ba": 0.05,
        "Cl": 900, "SO4": 220, "HCO3": 300, "F": 0.8, "SiO2": 22,
    },
    "BWb": {
        "Na": 316.23, "K": 8, "Mg": 150, "Ca": 380, "Sr": 8, "Ba": 0.02,
        "Cl": 350, "SO4": 1500, "HCO3": 260, "F": 1.6, "SiO2": 28,
    },
    "BWc": {
        "Na": 483.23, "K": 5, "Mg": 15, "Ca": 25, "Sr": 0.4, "Ba": 0.03,
        "Cl": 250, "SO4": 120, "HCO3": 850, "F": 3, "SiO2": 35,
    },
    "BWd": {
        "Na": 2368.74, "K": 80, "Mg": 290, "Ca": 190, "Sr": 3, "Ba": 0.03,
        "Cl": 4300, "SO4": 620, "HCO3": 260, "F": 0.7, "SiO2": 18,
    },
}  # fmt: skip

SALTS = {
    "NaCl": {"Na": 1, "Cl": 1},
    "MgCl2": {"Mg": 1, "Cl": 2},
    "Na2SO4": {"Na": 2, "SO4": 1},
    "CaCl2": {"Ca": 1, "Cl": 2},
    "KCl": {"K": 1, "Cl": 1},
    "NaHCO3": {"Na": 1, "HCO3": 1},
    "KBr": {"K": 1, "Br": 1},
    "SrCl2": {"Sr": 1, "Cl": 2},
    "NaF": {"Na": 1, "F": 1},
}


def well(name, factor=1.0):
    return analysis.of_ions({k: v * factor * 1e-3 for k, v in WELLS[name].items()}, ph=7.6)


@cache
def table(name):
    if name in WELLS:
        return water_table(well(name))
    return water_table(analysis.of_salt(name, mass_fraction=0.001 if name == "fresh" else 0.035))
