"""One table of quantities, and text with a unit <-> SI number.

Inside treatsim every number is a plain float64 in SI. Units exist only at the border: `read` turns
text into SI, `shown` SI into what people read. Pressure is gauge: altitude gives the atmosphere.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from functools import cache
from typing import Any, NamedTuple

from treatsim.constants import ATMOSPHERE, ZERO_CELSIUS
from treatsim.errors import RequestError
from treatsim.everyday import EVERYDAY as EVERYDAY
from treatsim.everyday import UNLIKE
from treatsim.written_numbers import COMMA, SIGN, number_problem


class Quantity(NamedTuple):
    """A kind of physical quantity: how it is held, shown and bounded."""

    si: str  # unit inside
    shown: str  # unit shown with --units si
    us: str  # unit shown with --units us
    low: float  # physical bounds, SI
    high: float
    meaning: str


INF = float("inf")


QUANTITIES: dict[str, Quantity] = {
    "absorbance": Quantity("1/m", "1/cm", "1/cm", 0, INF, "decadic absorbance at 254 nm"),
    "absorption": Quantity("1/m", "1/m", "1/m", 0, 2000, "Napierian absorption at 254 nm"),
    "air_temperature": Quantity("K", "degC", "degF", 213.15, 333.15, "temperature of air"),
    "altitude": Quantity("m", "m", "ft", -430, 6000, "height above sea level"),
    "angle": Quantity("rad", "deg", "deg", -2 * math.pi, 2 * math.pi, "plane angle"),
    "area": Quantity("m2", "m2", "ft2", 0, INF, "area"),
    "charge": Quantity("C", "Ah", "Ah", 0, INF, "electric charge"),
    "clock_offset": Quantity("s", "h", "h", -43200, 50400, "local clock less universal time"),
    "concentration": Quantity("kg/m3", "mg/L", "mg/L", 0, 400, "mass per volume of solution"),
    "concentration_time": Quantity(
        "kg s/m3", "mg min/L", "mg min/L", 0, INF, "CT of a disinfectant"
    ),
    "conductivity": Quantity("S/m", "uS/cm", "uS/cm", 0, 30, "electrical conductivity at 25 degC"),
    "count": Quantity("1", "", "", 0, INF, "a whole number"),
    "daily_energy": Quantity("W", "kWh/day", "kWh/day", 0, INF, "energy per day"),
    "decay_rate": Quantity("1/s", "1/h", "1/h", 0, INF, "decay of first order"),
    "decay_rate_second_order": Quantity(
        "m3/(kg s)", "L/(mg h)", "L/(mg h)", 0, INF, "decay of second order"
    ),
    "density": Quantity("kg/m3", "kg/m3", "lb/ft3", 0, INF, "mass per volume"),
    "dose": Quantity("J/m2", "mJ/cm2", "mJ/cm2", 0, INF, "fluence at 254 nm"),
    "duration": Quantity("s", "h", "h", 0, INF, "length of time"),
    "energy": Quantity("J", "kWh", "kWh", 0, INF, "energy"),
    "energy_per_volume": Quantity("J/m3", "kWh/m3", "Wh/gal", -INF, INF, "energy per water volume"),
    "factor": Quantity("1", "", "", 0, INF, "a plain number"),
    "efficiency": Quantity("1", "%", "%", 0.01, 1, "efficiency of a machine"),
    "filter_resistance": Quantity("1/m3", "1/m3", "1/m3", 0, INF, "pressure / (viscosity x flow)"),
    "flow": Quantity("m3/s", "m3/h", "gal/min", 0, INF, "volume flow"),
    "fluence_rate": Quantity("W/m2", "W/m2", "W/m2", 0, INF, "radiant power from all directions"),
    "flux": Quantity("m/s", "L/(m2 h)", "gal/(ft2 d)", -INF, INF, "volume per area and time"),
    "fraction": Quantity("1", "%", "%", 0, 1, "share of a whole"),
    "head": Quantity("m", "m", "ft", -INF, INF, "pressure as a height of water"),
    "heat_loss": Quantity(
        "W/(m2 K)", "W/(m2 K)", "W/(m2 K)", 0, INF, "heat lost per area and kelvin"
    ),
    "length": Quantity("m", "m", "ft", 0, INF, "length"),
    "irradiation": Quantity(
        "W/m2", "kWh/m2/day", "kWh/m2/day", 0, INF, "energy of the sun per area and day"
    ),
    "log_reduction": Quantity("1", "log", "log", 0, INF, "decimal logarithm of a reduction"),
    "molar_energy": Quantity("J/mol", "kJ/mol", "kJ/mol", 0, INF, "energy per amount"),
    "mass": Quantity("kg", "g", "g", 0, INF, "mass"),
    "weight": Quantity("kg", "kg", "lb", 0, INF, "mass of what is carried to the site"),
    "mass_fraction": Quantity("1", "g/kg", "g/kg", 0, 0.4, "mass per mass of solution"),
    "people": Quantity("1", "people", "people", 0, INF, "number of people"),
    "organisms": Quantity("1/m3", "1/L", "1/L", 0, INF, "organisms per volume"),
    "ph": Quantity("1", "", "", 0, 14, "acidity"),
    "power": Quantity("W", "W", "W", -INF, INF, "power"),
    "pressure": Quantity("Pa", "bar", "psi", -ATMOSPHERE, INF, "gauge pressure"),
    "pressure_difference": Quantity("Pa", "bar", "psi", -INF, INF, "difference of pressures"),
    "pressure_rate": Quantity("Pa/s", "bar/s", "psi/s", 0, INF, "pressure gained per time"),
    "quadratic_loss": Quantity("Pa s2/m6", "bar h2/m6", "psi/(gal/min)**2", 0, INF, "loss / flow2"),
    "salt_per_conductivity": Quantity(
        "kg/(m2 S)", "mg/L per uS/cm", "mg/L per uS/cm", 3, 12, "salt over conductivity at 25 degC"
    ),
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
    "temperature_coefficient": Quantity("1/K", "%/K", "%/K", -0.01, 0, "change per kelvin"),
    "temperature_difference": Quantity("K", "K", "K", 0, 40, "difference of temperatures"),
    "time": Quantity("s", "s", "s", 0, INF, "length of time"),
    "turbidity": Quantity("NTU", "NTU", "NTU", 0, 4000, "turbidity"),
    "uv_transmittance": Quantity("1", "%", "%", 0, 1, "transmittance per cm at 254 nm"),
    "velocity": Quantity("m/s", "m/s", "ft/s", 0, INF, "velocity"),
    "voltage": Quantity("V", "V", "V", 0, INF, "voltage"),
    "volume": Quantity("m3", "L", "gal", 0, INF, "volume"),
    "water_permeability": Quantity(
        "m/(s Pa)", "L/(m2 h bar)", "gal/(ft2 d psi)", 0, INF, "flux per pressure"
    ),
    "wind_heat_loss": Quantity(
        "J/(m3 K)", "J/(m3 K)", "J/(m3 K)", 0, INF, "heat lost per area, kelvin and wind"
    ),
}

SIZES: dict[str, tuple[float, float]] = {  # least and most that is typed in beside 0, SI
    "area": (1e-6, 1e5),  # a screen of 1 mm2, a basin of 10 ha
    "decay_rate": (1e-12, 1.0),
    "decay_rate_second_order": (1e-9, 1e3),
    "dose": (1e-3, 1e6),
    "charge": (3.6, 3.6e8),  # 1 mAh to 100 000 Ah
    "energy": (1.0, 3.6e12),  # to 1 GWh
    "duration": (1.0, 3.2e8),  # 10 years
    "filter_resistance": (1.0, 1e18),
    "flow": (1 / 3.6e9, 1 / 3.6),  # 1 mL/h, a drop each few minutes, to 1000 m3/h
    "head": (1e-6, 3000.0),  # above any pump here: 120 bar are 1220 m
    "length": (1e-6, 1e5),
    "mass": (1e-9, 1e5),
    "weight": (1e-3, 1e6),
    "people": (1.0, 1e7),
    "power": (1e-6, 1e7),
    "pressure": (1e-3, 2e7),  # 200 bar, above any membrane
    "pressure_difference": (1e-3, 2e7),
    "quadratic_loss": (1.0, 1e20),
    "short_duration": (0.1, 3.2e8),
    "small_length": (1e-9, 2.0),
    "speed": (0.01, 1.2),
    "uv_transmittance": (0.01, 1.0),  # darker water is not treated by light
    "volume": (1e-7, 1e4),  # a drop, to a reservoir of 10 000 m3
}
ANY_SIZE = (1e-20, 1e20)  # of all others; beyond, powers and products overflow
BASED = {"mass_fraction", "uv_transmittance"}  # pure numbers that mean nothing without a unit
COUNTED = {"people": ("people", "persons"), "log_reduction": ("log", "logs")}  # words for 1

# units of the trade that pint does not know
DEFINITIONS = (
    "turbidity_unit = [turbidity] = NTU = FNU",
    "gpm = gallon / minute",
    "gpd = gallon / day",
    "gfd = gallon / foot ** 2 / day",
    "LMH = liter / meter ** 2 / hour",
    "mH2O = 9806.65 * pascal",
    "ftH2O = 0.3048 * mH2O",
    "inH2O = 0.0254 * mH2O",
)
NUMBER = re.compile(SIGN + r"(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*)")
POWER = re.compile(r"(?<![A-Za-z_])((?:[kcdmuµ]?m)|ft|in|yd|s|h)([2-6])(?![A-Za-z0-9])")
LONGEST = 120  # characters of an entry with a unit
BLANKS = re.compile("[\u00a0\u2009\u202f]")  # no-break and thin blanks, as word processors set
BASIS = re.compile(r"\s+as\s+([A-Za-z0-9]+)$")


WHOLE = ("hour", "minute", "day", "year", "inch", "foot", "yard", "percent", "horsepower")


class UnknownUnitError(RequestError):
    """A unit that cannot be read."""


CELSIUS = ("degC", "C")  # as temperatures, which have an offset


class WrongDimensionError(RequestError):
    """A unit of something else."""


@cache
def _registry() -> Any:
    import pint

    registry: pint.UnitRegistry = pint.UnitRegistry(cache_folder=None)
    for line in DEFINITIONS:
        registry.define(line)
    return registry


@cache
def _parsed(unit: str) -> Any:
    """Return a unit as pint reads it, or None."""
    try:
        found = _registry().Unit(POWER.sub(r"\1**\2", unit) or "dimensionless")
    except Exception:  # pint raises many kinds, from its own tree and from the tokenizer
        return None
    prefixed = (
        name[: -len(end)] for name in dict(found._units) for end in WHOLE if name.endswith(end)
    )
    odd = any(prefix.isalpha() for prefix in prefixed)  # a watt_hour and a psi are none
    return None if odd else found  # nobody writes hectohours or megainches


def _factor(unit: str, si: str) -> tuple[float, float] | None:
    """Return (factor, offset) of one reading, or None if its dimension is another."""
    source, target = _parsed(unit), _parsed(si)
    if source is None or source.dimensionality != target.dimensionality:
        return None
    quantity = _registry().Quantity
    zero = quantity(0.0, source).to(target).magnitude
    return float(quantity(1.0, source).to(target).magnitude - zero), float(zero)


@cache
def conversion(unit: str, si: str) -> tuple[float, float]:
    """Return (factor, offset) so that SI = factor * number + offset; RequestError if impossible."""
    if unit == si:
        return 1.0, 0.0
    if (unit, si) in EVERYDAY:
        return EVERYDAY[unit, si], 0.0
    if si == "K" and unit in CELSIUS:
        return 1.0, ZERO_CELSIUS
    if (unit, si) in UNLIKE:
        raise WrongDimensionError(f'"{unit}" has the wrong dimension')
    return _by_units(unit, si)


def _by_units(unit: str, si: str) -> tuple[float, float]:
    """Return (factor, offset) for whatever people write."""
    from treatsim import spellings

    told = f'"{unit[: spellings.LONGEST_UNIT]}"'
    text = spellings.clean(unit)
    legal = spellings.LEGAL.get(si, si)
    if len(unit) > spellings.LONGEST_UNIT or spellings.ODD.search(text):
        raise UnknownUnitError(f"{told} is not a unit known here; legal: {legal}")
    if reason := spellings.refused(text):
        raise RequestError(f"{told} is ambiguous: {reason}")
    meant = spellings.trapped(text)
    if meant and _read_any(meant, si):
        raise RequestError(
            f'{told}: M is mega, m is milli or metre; write "{meant}" if that is meant'
        )
    if found := _read_any(text, si):
        return found
    if any(_parsed(reading) is not None for reading in (text, *spellings.readings(text))):
        raise WrongDimensionError(f"{told} has the wrong dimension; legal: {legal}")
    near = spellings.nearest(text, legal)
    hint = f'did you mean "{near}"? legal: ' if near else "legal: "
    raise UnknownUnitError(f"{told} is not a unit known here; {hint}{legal}")


def _read_any(text: str, si: str) -> tuple[float, float] | None:
    """Return what a unit means as it stands, else as people write it; None if nothing fits."""
    from treatsim import spellings

    if exact := _factor(text, si):
        return exact
    fits = {_factor(reading, si) for reading in spellings.readings(text)}
    found = {one for one in fits if one is not None}
    if len({round(math.log10(factor), 6) for factor, _ in found}) > 1:
        raise RequestError(f'"{text}" can be read in several ways; write it in SI letters')
    return found.pop() if found else None


def split(text: str) -> tuple[float, str, str]:
    """Split "20 mg/L as CaCO3" into its number, unit and basis ("" if none)."""
    if len(text) > LONGEST or not BLANKS.sub(" ", text).isprintable():
        raise RequestError("no number with a unit")
    text = BLANKS.sub(" ", text).replace("\u2212", "-").strip()
    if problem := number_problem(text):
        raise RequestError(problem)
    match = NUMBER.match(text)
    if match is None:
        raise RequestError("no number with a unit")
    if math.isinf(number := float(match[1])):
        raise RequestError("no number of this size belongs here")
    basis = BASIS.search(unit := match[2])
    return number, BASIS.sub("", unit), basis[1] if basis else ""


def example(number: float, quantity: str) -> str:
    """Return how a bare number would be written with a unit; not a claim of which is meant."""
    kind = QUANTITIES[quantity]
    if quantity == "uv_transmittance":
        return f'"{100 * number if 0 < number < 1 else number:g} %"'
    if quantity == "mass_fraction":
        return 'g/kg, g/L or %, such as "35 g/kg"'
    units = dict.fromkeys((kind.shown, kind.us))
    return " or ".join(f'"{number:g} {unit}"' for unit in units)


def read(text: str, quantity: str) -> float:
    """Turn text such as "30 gal/min" into the SI number of `quantity`.

    Raises RequestError with one line that says what is wrong and what a right value looks like.
    """
    kind = QUANTITIES[quantity]
    comma = COMMA.match(text)
    if comma and "thousands" not in number_problem(text):
        raise RequestError(_with_a_point(comma, quantity))
    number, unit, basis = split(text)
    if basis:
        raise RequestError(f'"as {basis}" has no meaning for {kind.meaning}')
    if not unit and (kind.si != "1" or quantity in BASED):
        raise RequestError(f"a unit is missing; for example {example(number, quantity)}")
    if unit.lower() in COUNTED.get(quantity, ()):
        unit = ""
    try:
        factor, offset = conversion(unit, kind.si)
    except WrongDimensionError as error:
        raise WrongDimensionError(
            f'"{unit}" is no unit of {kind.meaning}; {_bare(text, unit, kind)}'
            f"legal: {legal_units(quantity)}"
        ) from error
    except UnknownUnitError as error:
        from treatsim import spellings

        near = spellings.nearest(unit, legal_units(quantity))
        hint = f'did you mean "{near}"? legal' if near else "legal"
        hint = _bare(text, unit, kind) + "legal" if _bare(text, unit, kind) else hint
        raise UnknownUnitError(
            f'"{unit[: spellings.LONGEST_UNIT]}" is not a unit known here; '
            f"{hint}: {legal_units(quantity)}"
        ) from error
    value = factor * number + offset
    if not abs(value) <= ANY_SIZE[1]:
        raise RequestError("no number of this size belongs here")
    return value


def _with_a_point(comma: re.Match, quantity: str) -> str:
    """Return what is wrong with a decimal comma, and with the unit behind it."""
    text = f"{comma[1]}.{comma[2]} {comma[3]}".strip()
    try:
        read(text, quantity)
    except RequestError as error:
        return f"a decimal comma: write {comma[1]}.{comma[2]}; and {error}"
    return f'a decimal comma: write "{text}"'


def _bare(text: str, unit: str, kind: Quantity) -> str:
    """Return how to write an entry without the words behind its unit, or ""."""
    from treatsim import spellings

    bare = spellings.without_words(unit)
    if not bare or all(_read_any(one, kind.si) is None for one in (bare, spellings.clean(bare))):
        return ""
    return f'write "{text.strip().removesuffix(unit).strip()} {bare}"; '


def legal_units(quantity: str) -> str:
    """Return the usual units of a quantity, the shown ones first."""
    from treatsim import spellings

    kind = QUANTITIES[quantity]
    if quantity in spellings.OWN_LEGAL:
        return spellings.OWN_LEGAL[quantity]
    more = spellings.LEGAL.get(kind.si, kind.si).split(", ")
    return ", ".join(dict.fromkeys(unit for unit in (kind.shown, kind.us, *more) if unit))


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
    number = 0.0 if abs(number) < 1e-9 else number
    plain = f"{number:.{digits}g}"
    if "e" in plain and 1 <= abs(number) < 1e6:  # 37400 reads better than 3.74e+04
        plain = f"{float(plain):.0f}"
    return f"{plain} {unit}".rstrip()


def apart(values: Sequence[float], quantity: str, system: str = "si") -> list[str]:
    """Return values as people read them, with the digits it takes to tell unequal ones apart."""
    found: list[str] = []
    for digits in range(4, 16):
        found = [text(value, quantity, system, digits) for value in values]
        if len(set(found)) >= len(set(values)):
            break
    return found
