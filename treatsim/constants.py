"""Physical constants and reference states, each once, in SI units.

Constants of nature and of definition carry their source; reference states are those that standards
and data sheets are written for.
"""

from __future__ import annotations

GRAVITY = 9.80665  # m/s2, standard acceleration: 3rd CGPM, 1901
GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018 to the ten digits printed (exact in the SI)
AVOGADRO = 6.02214076e23  # 1/mol, exact in the SI of 2019
BOLTZMANN = 1.380649e-23  # J/K, exact in the SI of 2019
ELEMENTARY_CHARGE = 1.602176634e-19  # C, exact in the SI of 2019
VACUUM_PERMITTIVITY = 8.8541878128e-12  # F/m, CODATA 2018

ZERO_CELSIUS = 273.15  # K, definition; also where water freezes at one atmosphere
CELSIUS_20 = ZERO_CELSIUS + 20.0  # K, room temperature of pump and filter data
CELSIUS_25 = ZERO_CELSIUS + 25.0  # K, laboratory reports, membrane tests, chemical constants

ATMOSPHERE = 101325.0  # Pa, standard atmosphere: 10th CGPM, 1954
BAR = 1e5  # Pa, definition

DAY = 86400.0  # s, definition
LITRE = 1e-3  # m3, 12th CGPM, 1964
