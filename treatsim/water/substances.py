"""Substances as a laboratory reports them: by symbol or by name, in mass, amount or charge.

"84 mg/L", "210 mg/L as CaCO3", "1.1 mg/L as N", "2 mmol/L", "4.2 meq/L", "12 degrees dH",
"below 0.01 mg/L". Inside: kg/m3 of the substance itself, on the basis that guideline values and
the chemistry use.
"""

from __future__ import annotations

import difflib
import re
from typing import NamedTuple

from treatsim import quantities
from treatsim.errors import RequestError, require
from treatsim.everyday import GALLON
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT, IONS

BELOW = re.compile(r"\s*(?:below|less than|under|<)\s*(.*)", re.IGNORECASE)
SIGNS = (re.compile(r"[\s^]*[+-]+$"), re.compile(r"[\s^]*\d[+-]+$"))  # Na+, SO4--; Ca2+, SO4^2-
UNSEEN = re.compile(
    r"\s*(not detected|not found|none detected|n\.?d\.?|bdl|absent|traces?)\s*$", re.IGNORECASE
)
AMOUNT = re.compile(r"(m|u|µ)?(mol|eq|val)\s*/\s*(L|l|m3)$")  # val: eq, in older reports
PREFIX = {"m": 1e-3, "u": 1e-6, "µ": 1e-6, "": 1.0}
# degrees of hardness, eq/m3 of calcium, magnesium or alkalinity, by definition: German 10 mg of CaO
# in a litre, French 10 mg of CaCO3 in a litre, English a grain of CaCO3 in an imperial gallon
LIME_MOLAR_MASS = 56.077e-3  # CaO, kg/mol; standard atomic weights
GRAIN, IMPERIAL_GALLON = 64.79891e-6, 4.54609e-3  # kg, m3; both exact
DEGREES = {
    "d": 1e-2 / (LIME_MOLAR_MASS / 2),
    "f": 1e-2 / CALCIUM_CARBONATE_EQUIVALENT,
    "e": GRAIN / IMPERIAL_GALLON / CALCIUM_CARBONATE_EQUIVALENT,
    "g": GRAIN / GALLON / CALCIUM_CARBONATE_EQUIVALENT,  # grains per gallon
}
DEGREE = re.compile(
    r"°\s*([dfet])[KG]?H?|(?:deg(?:rees?)?\s+)?(?:([df])[KG]?H|(C)lark|(German|French|English))"
    r"(?:\s+degrees?)?|(gpg|gr(?:ains?)?\s*/\s*gal(?:lon)?)",
    re.IGNORECASE,
)
LETTERS = {"german": "d", "clark": "e", "english": "e", "french": "f", "t": "f"}  # titre, in French
# "mg/L NO3-N", "mg/L as NO3-N", "mg N/L": stated as N without the word, or by what holds it
STATED = re.compile(r"(.*?g\s*/\s*(?:L|l|m3))\s+(?:as\s+)?(?:[A-Za-z0-9]+-)?([A-Z][A-Za-z0-9]*)$")
INSIDE = re.compile(r"(.*?g)\s+([A-Z][A-Za-z0-9]*)\s*/\s*(L|l|m3)$")
IN_DEGREES = ("calcium", "magnesium", "hardness", "alkalinity")
LARGEST = 400.0  # kg/m3; no water holds more
HARDNESS = re.compile(r"(calcium|magnesium)[\s_-]*hardness", re.IGNORECASE)
NITROGEN = re.compile(
    r"(nitrate|nitrite|ammonia|ammonium|no3|no2|nh3|nh4)[\s_-]*n(itrogen)?", re.IGNORECASE
)


class Substance(NamedTuple):
    """One substance: its name here, and what a laboratory may call it and state it as."""

    name: str  # as in the table of guideline values where there is one
    molar_mass: float  # kg/mol of the substance as counted here; 0 where amounts mean nothing
    charge: int = 0
    symbol: str = ""  # in `IONS`, where the ion analysis takes it
    others: tuple[str, ...] = ()  # further spellings
    bases: tuple[tuple[str, float], ...] = ()  # basis -> kg of it in a mol of the substance
    ask_basis: bool = False  # whether the bare name says too little


def _ion(symbol: str, name: str, *others: str, bases=(), ask=False) -> Substance:
    row = IONS[symbol]
    return Substance(name, row.molar_mass, row.charge, symbol, others, bases, ask)


# molar masses of what is reported "as", from the standard atomic weights
SUBSTANCES: tuple[Substance, ...] = (
    _ion("Na", "sodium"),
    _ion("K", "potassium"),
    _ion("Mg", "magnesium"),
    _ion("Ca", "calcium"),
    _ion("Sr", "strontium"),
    _ion("Ba", "barium"),
    _ion("Cl", "chloride"),
    _ion("SO4", "sulfate", "sulphate", bases=(("S", 32.06e-3),)),
    _ion("HCO3", "hydrogen_carbonate", "bicarbonate", "hydrogencarbonate"),
    _ion("CO3", "carbonate"),
    _ion("F", "fluoride"),
    _ion("NO3", "nitrate", bases=(("N", 14.0067e-3),), ask=True),
    _ion("Br", "bromide"),
    _ion("SiO2", "silica", "silicon_dioxide", "dissolved_silica", "silicate",
         bases=(("Si", 28.0855e-3),)),
    _ion("B", "boron", bases=(("H3BO3", 61.833e-3),)),
    Substance("nitrite", 46.0055e-3, -1, "", ("NO2",), (("N", 14.0067e-3),), True),
    Substance("ammonia", 17.0305e-3, 0, "", ("ammonium", "NH3", "NH4"),
              (("N", 14.0067e-3), ("NH4", 18.0385e-3)), True),
    Substance("iron", 55.845e-3, 0, "", ("Fe", "total_iron")),
    Substance("manganese", 54.938e-3, 0, "", ("Mn",)),
    Substance("arsenic", 74.9216e-3, 0, "", ("As",)),
    Substance("aluminium", 26.9815e-3, 0, "", ("Al", "aluminum")),
    Substance("hydrogen_sulfide", 34.08e-3, 0, "", ("hydrogen_sulphide", "sulfide", "sulphide",
              "H2S"), (("S", 32.06e-3),)),
    Substance("hardness", 2 * CALCIUM_CARBONATE_EQUIVALENT, 2, "", ("total_hardness",),
              (), True),
    Substance("alkalinity", CALCIUM_CARBONATE_EQUIVALENT, -1, "", ("total_alkalinity",),
              (("HCO3", IONS["HCO3"].molar_mass),), True),
    Substance("lead", 0.2072, 0, "", ("Pb",)),
    Substance("copper", 63.546e-3, 0, "", ("Cu",)),
    Substance("cadmium", 0.112414, 0, "", ("Cd",)),
    Substance("chromium", 51.9961e-3, 0, "", ("Cr",)),
    Substance("mercury", 0.200592, 0, "", ("Hg",)),
    Substance("nickel", 58.6934e-3, 0, "", ("Ni",)),
    Substance("selenium", 78.971e-3, 0, "", ("Se",)),
    Substance("antimony", 0.12176, 0, "", ("Sb",)),
    Substance("uranium", 0.238029, 0, "", ("U",)),
)  # fmt: skip
OWN_BASIS = {"nitrate": "NO3", "nitrite": "NO2", "ammonia": "NH3", "hardness": "CaCO3",
             "alkalinity": "CaCO3", "hydrogen_sulfide": "H2S"}  # fmt: skip


def _key(text: str) -> str:
    """Spell a name as in the table: lower case, underscores."""
    return re.sub(r"[\s_-]+", "_", text.strip()).lower()


BY_NAME = {
    _key(word): row for row in SUBSTANCES for word in (row.name, row.symbol, *row.others) if word
}


class Reading(NamedTuple):
    """A measured value."""

    value: float  # kg/m3
    below: bool = False  # whether `value` is a limit of detection that was not reached


def substance(name: str) -> Substance | None:
    """Return the substance that a laboratory calls by this name or symbol, or None.

    Parameters
    ----------
    name : str
        Such as "Ca", "calcium", "Hydrogen carbonate", "SO4 2-". [-]

    Returns
    -------
    Substance or None
        None for what is not in the table.

    Validity
    --------
    Any text; case, blanks and signs of charge do not matter.

    Source
    ------
    definition
    """
    bare = name.strip()
    readings = (bare, *(sign.sub("", bare) for sign in SIGNS))
    return next((BY_NAME[key] for text in readings if (key := _key(text)) in BY_NAME), None)


def basis_of(name: str) -> str:
    """Return how to write a name that holds its basis, such as nitrate-N, or "".

    Parameters
    ----------
    name : str
        As the report has it. [-]

    Returns
    -------
    str
        What to write: the bare name would be other water. [-]

    Validity
    --------
    Hardness of one metal, and nitrogen of four substances.

    Source
    ------
    common practice, no source
    """
    for pattern, basis in ((HARDNESS, "CaCO3"), (NITROGEN, "N")):
        if (found := pattern.fullmatch(name.strip())) and (row := substance(found[1])):
            return f'write {row.name} with its basis, such as {row.name} = "9 mg/L as {basis}"'
    return ""


def nearest(name: str) -> str:
    """Return the known name or symbol that is spelled most like this one, or "".

    Parameters
    ----------
    name : str
        A name that is not known. [-]

    Returns
    -------
    str
        As it would be written in a case.

    Validity
    --------
    Any text.

    Source
    ------
    definition
    """
    near = difflib.get_close_matches(_key(name), BY_NAME, n=1)
    return BY_NAME[near[0]].name if near else ""


def detection(text: str) -> tuple[str, bool]:
    """Return a measured value without its "below" or "<", and whether there was one.

    Parameters
    ----------
    text : str
        Such as "< 0.01 mg/L". [-]

    Returns
    -------
    tuple of str and bool
        "0.01 mg/L" and True.

    Validity
    --------
    Any text.

    Source
    ------
    definition
    """
    found = BELOW.match(text)
    return (found[1], True) if found else (text, False)


def read(row: Substance, text: str) -> Reading:
    """Turn what a laboratory reports of a substance into its mass per volume.

    Parameters
    ----------
    row : Substance
        From `substance`. [-]
    text : str
        Number, unit and, where the name says too little, what it is stated as. [-]

    Returns
    -------
    Reading
        Hardness and alkalinity as CaCO3, nitrate as NO3, silica as SiO2. [kg/m3]

    Validity
    --------
    A missing or foreign unit, a missing or unknown basis, charge of what has none, or a value
    below 0 raise RequestError.

    Source
    ------
    definition; molar masses
    """
    if UNSEEN.match(text):
        raise RequestError('a limit of detection belongs here, such as "below 0.001 mg/L"')
    plain, below = detection(text)
    number, unit, basis = quantities.split(INSIDE.sub(r"\1/\3 as \2", STATED.sub(_as, plain)))
    if not unit:
        raise RequestError('a unit is missing; for example "0.1 mg/L"')
    if amount := AMOUNT.match(unit):
        if basis:
            raise RequestError(f'"{unit}" is an amount: leave "as {basis}" away')
        value = number * PREFIX[amount[1] or ""] * _molar(row, amount[2])
        value *= 1.0 if amount[3] == "m3" else 1e3
    elif degree := DEGREE.fullmatch(unit):
        value = number * _of_degree(row, degree, basis)
    else:
        factor, offset = quantities.conversion(unit, "kg/m3")
        value = (factor * number + offset) * basis_factor(row, basis)
    return Reading(float(require(row.name, value, 0.0, LARGEST, "kg/m3")), below)


def _of_degree(row: Substance, degree: re.Match, basis: str) -> float:
    """Mass per volume of one degree of hardness. [kg/m3]"""
    if row.name not in IN_DEGREES:
        raise RequestError(f"{row.name} is not stated in degrees of hardness; use mg/L")
    if basis:
        raise RequestError(f'a degree of hardness says what it counts: leave "as {basis}" away')
    word = next(text for text in degree.groups() if text).lower()
    word = {"c": "clark"}.get(word, word)
    return DEGREES[LETTERS.get(word, word[0])] * _molar(row, "eq")


def _as(stated: re.Match) -> str:
    return f"{stated[1]} as {stated[2]}"


def _molar(row: Substance, kind: str) -> float:
    """Mass per mol of substance, or of charge. [kg/mol]"""
    if kind == "mol":
        return row.molar_mass
    if not row.charge:
        raise RequestError(f"{row.name} carries no charge that is told in equivalents; use mg/L")
    return row.molar_mass / abs(row.charge)


def basis_factor(row: Substance, basis: str) -> float:
    """Return the mass of a substance over the mass of what it is stated as.

    Parameters
    ----------
    row : Substance
        From `substance`. [-]
    basis : str
        "CaCO3", "N" and so on; "" if nothing was said. [-]

    Returns
    -------
    float
        Factor. [1]

    Validity
    --------
    RequestError for a basis that is missing where the name says too little, or has no meaning.

    Source
    ------
    definition
    """
    own = OWN_BASIS.get(row.name) or row.symbol or row.others[0]
    known = {own: row.molar_mass, **dict(row.bases)}
    if row.charge:
        known.setdefault("CaCO3", CALCIUM_CARBONATE_EQUIVALENT * abs(row.charge))
    if basis in known:
        return row.molar_mass / known[basis]
    examples = " or ".join(f'"mg/L as {name}"' for name in list(known)[:3])
    if basis and row.ask_basis:
        raise RequestError(f'basis "{basis}" is not known; say {examples}')
    if basis:
        raise RequestError(f'"as {basis}" has no meaning here; a plain "mg/L", or {examples}')
    if row.ask_basis:
        raise RequestError(f"the basis is missing; say {examples}")
    return 1.0
