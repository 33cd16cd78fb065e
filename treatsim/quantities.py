"""One table of quantities, and text with a unit <-> SI number.

Inside treatsim every number is a plain float64 in the SI unit of this table. Units exist only at
the border: `read` turns text into SI, `shown` turns SI into a number and the unit people read.
Pressure is gauge everywhere; where absolute pressure matters, the site's altitude gives the
atmosphere.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import Any, NamedTuple

from treatsim.constants import ATMOSPHERE, ZERO_CELSIUS
from treatsim.errors import RequestError


class Quantity(NamedTuple):
    """A kind of physical quantity: how it is held, shown and bounded."""

    si: str  # unit inside
    shown: str  # unit shown with --units si
    us: str  # unit shown with --units us
    low: float  # physical bounds, SI
    high: float
    meaning: str


INF = float("inf")
ICE_POINT = 273.15  # K; 0 degC by definition

QUANTITIES: dict[str, Quantity] = {
    "absorption": Quantity("1/m", "1/m", "1/m", 0, 2000, "Napierian absorption at 254 nm"),
    "altitude": Quantity("m", "m", "ft", -430, 6000, "height above sea level"),
    "angle": Quantity("rad", "deg", "deg", -6.2832, 6.2832, "plane angle"),
    "area": Quantity("m2", "m2", "ft2", 0, INF, "area"),
    "concentration": Quantity("kg/m3", "mg/L", "mg/L", 0, 400, "mass per volume of solution"),
    "concentration_time": Quantity(
        "kg s/m3", "mg min/L", "mg min/L", 0, INF, "CT of a disinfectant"
    ),
    "conductivity": Quantity("S/m", "uS/cm", "uS/cm", 0, 30, "electrical conductivity at 25 degC"),
    "count": Quantity("1", "", "", 0, INF, "a whole number"),
    "decay_rate": Quantity("1/s", "1/h", "1/h", 0, INF, "decay of first order"),
    "decay_rate_second_order": Quantity(
        "m3/(kg s)", "L/(mg h)", "L/(mg h)", 0, INF, "decay of second order"
    ),
    "density": Quantity("kg/m3", "kg/m3", "lb/ft3", 0, INF, "mass per volume"),
    "dose": Quantity("J/m2", "mJ/cm2", "mJ/cm2", 0, INF, "fluence at 254 nm"),
    "duration": Quantity("s", "h", "h", 0, INF, "length of time"),
    "energy_per_volume": Quantity("J/m3", "kWh/m3", "Wh/gal", -INF, INF, "energy per water volume"),
    "factor": Quantity("1", "", "", 0, INF, "a plain number"),
    "filter_resistance": Quantity("1/m3", "1/m3", "1/m3", 0, INF, "pressure / (viscosity x flow)"),
    "flow": Quantity("m3/s", "m3/h", "gal/min", 0, INF, "volume flow"),
    "fluence_rate": Quantity("W/m2", "W/m2", "W/m2", 0, INF, "radiant power from all directions"),
    "flux": Quantity("m/s", "L/(m2 h)", "gal/(ft2 d)", -INF, INF, "volume per area and time"),
    "fraction": Quantity("1", "%", "%", 0, 1, "share of a whole"),
    "head": Quantity("m", "m", "ft", -INF, INF, "pressure as a height of water"),
    "length": Quantity("m", "m", "ft", 0, INF, "length"),
    "log_reduction": Quantity("1", "log", "log", 0, INF, "decimal logarithm of a reduction"),
    "molar_energy": Quantity("J/mol", "kJ/mol", "kJ/mol", 0, INF, "energy per amount"),
    "mass": Quantity("kg", "g", "g", 0, INF, "mass"),
    "mass_fraction": Quantity("1", "g/kg", "g/kg", 0, 0.4, "mass per mass of solution"),
    "people": Quantity("1", "people", "people", 0, INF, "number of people"),
    "organisms": Quantity("1/m3", "1/L", "1/L", 0, INF, "organisms per volume"),
    "ph": Quantity("1", "", "", 0, 14, "acidity"),
    "power": Quantity("W", "W", "W", -INF, INF, "power"),
    "pressure": Quantity("Pa", "bar", "psi", -ATMOSPHERE, INF, "gauge pressure"),
    "pressure_difference": Quantity("Pa", "bar", "psi", -INF, INF, "difference of pressures"),
    "quadratic_loss": Quantity("Pa s2/m6", "bar h2/m6", "psi/(gal/min)**2", 0, INF, "loss / flow2"),
    "salt_permeability": Quantity(
        "m/s", "L/(m2 h)", "gal/(ft2 d)", 0, INF, "solute per area, time and concentration"
    ),
    "short_duration": Quantity("s", "min", "min", 0, INF, "length of time"),
    "small_flow": Quantity("m3/s", "mL/h", "mL/h", 0, INF, "small volume flow"),
    "small_length": Quantity("m", "mm", "in", 0, INF, "bore, thickness, roughness"),
    "small_volume": Quantity("m3", "mL", "mL", 0, INF, "small volume"),
    "speed": Quantity("1", "%", "%", 0, 1.2, "share of full speed"),
    "temperature": Quantity(
        "K", "degC", "degF", ZERO_CELSIUS, 318.15, "temperature of liquid water"
    ),
    "time": Quantity("s", "s", "s", 0, INF, "length of time"),
    "turbidity": Quantity("NTU", "NTU", "NTU", 0, 4000, "turbidity"),
    "uv_transmittance": Quantity("1", "%", "%", 0, 1, "transmittance per cm at 254 nm"),
    "velocity": Quantity("m/s", "m/s", "ft/s", 0, INF, "velocity"),
    "volume": Quantity("m3", "L", "gal", 0, INF, "volume"),
    "water_permeability": Quantity(
        "m/(s Pa)", "L/(m2 h bar)", "gal/(ft2 d psi)", 0, INF, "flux per pressure"
    ),
}

BASED = {"mass_fraction", "uv_transmittance"}  # pure numbers that mean nothing without a unit

# (unit, SI) -> SI = factor * number: units that a case uses every day, exact by definition, so that
# what only reads and shows these need not wait for pint; a test holds them against it
EVERYDAY: dict[tuple[str, str], float] = {
    ("deg", "rad"): math.pi / 180,
    ("mg/L", "kg/m3"): 1e-3,
    ("ug/L", "kg/m3"): 1e-6,
    ("g/L", "kg/m3"): 1.0,
    ("mg min/L", "kg s/m3"): 0.06,
    ("uS/cm", "S/m"): 1e-4,
    ("1/h", "1/s"): 1 / 3600,
    ("L/(mg h)", "m3/(kg s)"): 1 / 3.6,
    ("mJ/cm2", "J/m2"): 10.0,
    ("h", "s"): 3600.0,
    ("min", "s"): 60.0,
    ("kWh/m3", "J/m3"): 3.6e6,
    ("m3/h", "m3/s"): 1 / 3600,
    ("mL/h", "m3/s"): 1e-6 / 3600,
    ("L/(m2 h)", "m/s"): 1e-3 / 3600,
    ("%", "1"): 1e-2,
    ("kJ/mol", "J/mol"): 1e3,
    ("g", "kg"): 1e-3,
    ("g/kg", "1"): 1e-3,
    ("1/L", "1/m3"): 1e3,
    ("1/dL", "1/m3"): 1e4,
    ("bar", "Pa"): 1e5,
    ("bar h2/m6", "Pa s2/m6"): 1e5 * 3600.0**2,
    ("mm", "m"): 1e-3,
    ("mL", "m3"): 1e-6,
    ("L", "m3"): 1e-3,
}

# spellings of the trade that pint does not know
DEFINITIONS = (
    "turbidity_unit = [turbidity] = NTU = FNU",
    "gpm = gallon / minute",
    "gpd = gallon / day",
    "gfd = gallon / foot ** 2 / day",
    "LMH = liter / meter ** 2 / hour",
)
AMBIGUOUS = {
    "ppm": "say mg/L or mg/kg",
    "ppb": "say ug/L or ug/kg",
    "barg": "pressures are gauge already: say bar",
    "psig": "pressures are gauge already: say psi",
    "bara": "pressures are gauge: subtract the atmosphere and say bar",
    "psia": "pressures are gauge: subtract the atmosphere and say psi",
}
NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
POWER = re.compile(r"(?<![A-Za-z_])((?:[kcdmuµ]?m)|ft|in|yd|s|h)([2-6])(?![A-Za-z0-9])")
ODD = re.compile(r"\d\d|\d\s*\)?\s*(?:\*\*|\^)|(?:\*\*|\^)(?!\s*[-+]?\d)")  # powers of numbers
LONGEST_UNIT = 40  # characters; with ODD it keeps the unit parser from computing 9**9**9
BLANKS = re.compile("[\u00a0\u2009\u202f]")  # no-break and thin blanks, as word processors set
BASIS = re.compile(r"\s+as\s+([A-Za-z0-9]+)$")


@cache
def _registry() -> Any:
    import pint

    registry: pint.UnitRegistry = pint.UnitRegistry(cache_folder=None)
    for line in DEFINITIONS:
        registry.define(line)
    return registry


def _pint_text(unit: str) -> str:
    text = unit.replace("°", "deg").replace("·", " ").replace("%", "percent").replace("µ", "u")
    return POWER.sub(r"\1**\2", text) or "dimensionless"


@cache
def conversion(unit: str, si: str) -> tuple[float, float]:
    """Return (factor, offset) so that SI = factor * number + offset; RequestError if impossible."""
    if unit == si:
        return 1.0, 0.0
    if (unit, si) in EVERYDAY:
        return EVERYDAY[unit, si], 0.0
    if (unit, si) == ("degC", "K"):
        return 1.0, ICE_POINT
    return _by_pint(unit, si)


def _by_pint(unit: str, si: str) -> tuple[float, float]:
    """Return (factor, offset) for whatever people write."""
    registry = _registry()
    if unit in AMBIGUOUS:
        raise RequestError(f'"{unit}" is ambiguous: {AMBIGUOUS[unit]}')
    if len(unit) > LONGEST_UNIT or ODD.search(unit):
        raise RequestError(f'"{unit[:LONGEST_UNIT]}" is not a unit known here')
    import pint

    try:
        source, target = (registry.Unit(_pint_text(text)) for text in (unit, si))
        zero = registry.Quantity(0.0, source).to(target).magnitude
        one = registry.Quantity(1.0, source).to(target).magnitude
    except pint.DimensionalityError as error:
        raise RequestError(f'"{unit}" has the wrong dimension; use for example "{si}"') from error
    except Exception as error:  # pint raises many kinds, from its own tree and from the tokenizer
        raise RequestError(f'"{unit}" is not a unit known here') from error
    return float(one - zero), float(zero)


def split(text: str) -> tuple[float, str, str]:
    """Split "20 mg/L as CaCO3" into its number, unit and basis ("" if none)."""
    text = BLANKS.sub(" ", text)
    match = NUMBER.match(text) if text.isprintable() else None
    if match is None:
        raise RequestError("no number with a unit")
    number, unit = float(match[1]), match[2]
    basis = BASIS.search(unit)
    return number, BASIS.sub("", unit), basis[1] if basis else ""


def read(text: str, quantity: str) -> float:
    """Turn text such as "30 gal/min" into the SI number of `quantity`.

    Raises RequestError with one line that says what is wrong and what a right value looks like.
    """
    kind = QUANTITIES[quantity]
    number, unit, basis = split(text)
    if basis:
        raise RequestError(f'"as {basis}" has no meaning for {kind.meaning}')
    if not unit and (kind.si != "1" or quantity in BASED):
        raise RequestError(f'a unit is missing; for example "{number:g} {kind.shown}"')
    try:
        factor, offset = conversion(unit, kind.si)
    except RequestError as error:
        if "dimension" in str(error):
            message = f'"{unit}" is no unit of {kind.meaning}; for example "{kind.shown}"'
            raise RequestError(message) from error
        raise
    return factor * number + offset


def shown(quantity: str, system: str = "si") -> tuple[str, float, float]:
    """Return the unit shown for `quantity`, and (factor, offset): number = factor * SI + offset."""
    kind = QUANTITIES[quantity]
    unit = kind.us if system == "us" else kind.shown
    if unit in ("", "people", "log"):
        return unit, 1.0, 0.0
    factor, offset = conversion(unit, kind.si)
    return unit, 1.0 / factor, -offset / factor


def show(value: Any, quantity: str, system: str = "si") -> tuple[Any, str]:
    """Return `value` (SI, scalar or array) in the unit shown, and that unit."""
    unit, factor, offset = shown(quantity, system)
    return value * factor + offset, unit


def text(value: float, quantity: str, system: str = "si", digits: int = 4) -> str:
    """Return `value` as people read it, such as "6.81 m3/h"; round-off around zero is zero."""
    number, unit = show(value, quantity, system)
    if abs(number) < 1e-9:
        number = 0.0
    plain = f"{number:.{digits}g}"
    if "e" in plain and 1 <= abs(number) < 1e6:  # 37400 reads better than 3.74e+04
        plain = f"{float(plain):.0f}"
    return f"{plain} {unit}".rstrip()
