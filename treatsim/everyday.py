"""Units that a case uses every day, with exact factors: they need no unit library."""

from __future__ import annotations

import math

from treatsim.constants import DAY, GRAVITY

FOOT = 0.3048  # m
POUND = 0.45359237  # kg
GALLON = 231 * (FOOT / 12) ** 3  # m3, of the United States
PSI = POUND * GRAVITY / (FOOT / 12) ** 2  # Pa

# (unit, SI) -> SI = factor * number: units that a case uses every day, exact by definition, so that
# what only reads and shows these need not wait for pint; a test holds them against it
EVERYDAY: dict[tuple[str, str], float] = {
    ("1/cm", "1/m"): 100.0,
    ("kg/cm2", "Pa"): GRAVITY * 1e4,  # of force, as on gauges
    ("kgf/cm2", "Pa"): GRAVITY * 1e4,
    ("deg", "rad"): math.pi / 180,
    ("mg/L", "kg/m3"): 1e-3,
    ("ug/L", "kg/m3"): 1e-6,
    ("g/L", "kg/m3"): 1.0,
    ("mg min/L", "kg s/m3"): 0.06,
    ("uS/cm", "S/m"): 1e-4,
    ("mg/L per uS/cm", "kg/(m2 S)"): 10.0,
    ("1/h", "1/s"): 1 / 3600,
    ("L/(mg h)", "m3/(kg s)"): 1 / 3.6,
    ("mJ/cm2", "J/m2"): 10.0,
    ("h", "s"): 3600.0,
    ("min", "s"): 60.0,
    ("kWh", "J"): 3.6e6,
    ("Ah", "C"): 3600.0,
    ("kWh/m3", "J/m3"): 3.6e6,
    ("m3/h", "m3/s"): 1 / 3600,
    ("mL/h", "m3/s"): 1e-6 / 3600,
    ("L/(m2 h)", "m/s"): 1e-3 / 3600,
    ("%", "1"): 1e-2,
    ("%/K", "1/K"): 1e-2,
    ("%/degC", "1/K"): 1e-2,  # as data sheets write it: of a difference
    ("kWh/m2/day", "W/m2"): 1000 / 24,
    ("kWh/day", "W"): 1000 / 24,
    ("kJ/mol", "J/mol"): 1e3,
    ("g", "kg"): 1e-3,
    ("g/kg", "1"): 1e-3,
    ("1/L", "1/m3"): 1e3,
    ("1/dL", "1/m3"): 1e4,
    ("bar", "Pa"): 1e5,
    ("bar/s", "Pa/s"): 1e5,
    ("bar h2/m6", "Pa s2/m6"): 1e5 * 3600.0**2,
    ("mm", "m"): 1e-3,
    ("um", "m"): 1e-6,
    ("mL", "m3"): 1e-6,
    ("L", "m3"): 1e-3,
    ("L/min", "m3/s"): 1e-3 / 60,
    ("m3/d", "m3/s"): 1 / DAY,
    ("d", "s"): DAY,
    ("kW", "W"): 1e3,
    ("Pa h2/m6", "Pa s2/m6"): 3600.0**2,
    ("", "1"): 1.0,
    ("L/(m2 h bar)", "m/(s Pa)"): 1e-3 / 3600 / 1e5,
    ("gal", "m3"): GALLON,
    ("gal/min", "m3/s"): GALLON / 60,
    ("gal/(ft2 d)", "m/s"): GALLON / FOOT**2 / DAY,
    ("gal/(ft2 d psi)", "m/(s Pa)"): GALLON / FOOT**2 / DAY / PSI,
    ("Wh/gal", "J/m3"): 3600 / GALLON,
    ("psi", "Pa"): PSI,
    ("in", "m"): FOOT / 12,
    ("ft", "m"): FOOT,
    ("ft/s", "m/s"): FOOT,
    ("ft2", "m2"): FOOT**2,
    ("lb/ft3", "kg/m3"): POUND / FOOT**3,
}
UNLIKE = {("g/kg", "kg/m3")}  # (unit, SI) that people try, and that do not measure the same
