"""Units as people write them, whatever their case. Text in, text out; no conversion here.

Case is kept where it carries meaning: M is mega and m is milli, so neither stands for the other.
"""

from __future__ import annotations

import difflib
import itertools
import re

LONGEST_UNIT = 40  # characters; with ODD it keeps the unit parser from computing 9**9**9
ODD = re.compile(r"\d\d|\d\s*\)?\s*(?:\*\*|\^)|(?:\*\*|\^)(?!\s*[-+]?\d)")  # powers of numbers
SIGNS = str.maketrans(
    {
        "µ": "u", "μ": "u", "²": "2", "³": "3", "⁻": "-", "¹": "1", "·": " ", "⋅": " ", "×": " ",
        "°": "deg", "℃": "degC", "℉": "degF", "ℓ": "L", "⁄": "/", "∕": "/", "−": "-",
        "″": '"', "”": '"', "“": '"', "′": "'", "’": "'",
    }
)  # fmt: skip
REFUSED = {
    "ppm": "say mg/L or mg/kg",
    "ppb": "say ug/L or ug/kg",
    "ppt": "parts per thousand or per million million? say g/kg or ng/L",
    "psu": "say the salinity in g/kg",
    "barg": "pressures are gauge already: say bar",
    "mbarg": "pressures are gauge already: say mbar",
    "kpag": "pressures are gauge already: say kPa",
    "psig": "pressures are gauge already: say psi",
    "bara": "pressures are gauge: subtract the atmosphere and say bar",
    "mbara": "pressures are gauge: subtract the atmosphere and say mbar",
    "kpaa": "pressures are gauge: subtract the atmosphere and say kPa",
    "psia": "pressures are gauge: subtract the atmosphere and say psi",
}
PRESSURE_BASE = re.compile(r"(m?bar|psi|kpa)[\s(]*([ag])(?:auge|bs|bsolute)?\)?")
TRAPS = {  # SI reads them in one way, and whoever wrote them meant another
    "Mg": "mg", "MG": "mg", "MS": "mS", "Ms": "mS", "MM": "mm", "Mm": "mm", "M": "m",
    "MBAR": "mbar", "MBar": "mbar", "Mbar": "mbar", "mPa": "MPa", "mpa": "MPa", "mPA": "MPa",
}  # fmt: skip
# what the unit parser reads: how people write it, in small letters
WRITTEN = {
    "m": "m metre metres meter meters",
    "km": "km", "cm": "cm", "mm": "mm", "um": "um micron microns", "nm": "nm",
    "ft": "ft foot feet '", "inch": "in inch inches \" ''", "yd": "yd yds yard yards",
    "gallon": "gal gals gallon gallons usgal usg",
    "imperial_gallon": "impgal ukgal igal",
    "L": "l ltr ltrs liter liters litre litres", "mL": "ml cc", "uL": "ul", "kL": "kl",
    "kg": "kg kgs kilogram kilograms", "g": "g gram grams gramme grammes", "mg": "mg", "ug": "ug",
    "ng": "ng",
    "s": "s sec secs second seconds", "min": "min mins minute minutes",
    "h": "h hr hrs hour hours", "day": "d day days", "year": "y yr yrs year years",
    "(gallon/min)": "gpm usgpm", "(gallon/h)": "gph usgph", "(gallon/day)": "gpd usgpd",
    "(imperial_gallon/min)": "igpm", "(ft**3/min)": "cfm",
    "(L/s)": "lps", "(L/min)": "lpm", "(L/h)": "lph", "(L/day)": "lpd",
    "(gallon/ft**2/day)": "gfd", "(L/m**2/h)": "lmh",
    "bar": "bar bars", "mbar": "mbar", "Pa": "pa", "kPa": "kpa", "MPa": "mpa",
    "psi": "psi psid", "mH2O": "mh2o mwc", "ftH2O": "fth2o", "inH2O": "inh2o",
    "W": "w watt watts wp", "kW": "kw kwp", "mW": "mw", "uW": "uw", "hp": "hp bhp",
    "J": "j joule joules", "mJ": "mj", "kJ": "kj", "Wh": "wh", "kWh": "kwh",
    "S": "s siemens", "mS": "ms", "uS": "us umho umhos",
    "turbidity_unit": "ntu fnu",
    "degC": "c degc celsius centigrade", "degF": "f degf fahrenheit", "kelvin": "k kelvin",
    "mol": "mol mole moles", "mmol": "mmol",
    "percent": "% percent pct", "degree": "deg degree degrees", "radian": "rad",
}  # fmt: skip
OPTIONS: dict[str, list[str]] = {}
for _unit, _words in WRITTEN.items():
    for _word in _words.split():
        OPTIONS.setdefault(_word, []).append(_unit)
# by SI unit: what is worth naming, the usual ones first
LEGAL = {
    "m": "m, cm, mm, km, ft, in",
    "m2": "m2, cm2, ft2",
    "m3": "m3, L, mL, gal",
    "m3/s": "m3/h, m3/d, L/s, L/min, L/h, mL/h, gal/min, gpm, gpd, lpm, LPH",
    "m/s": "L/(m2 h), LMH, gfd, m/s, ft/s, m/h",
    "Pa": "bar, mbar, kPa, MPa, psi, mH2O, ftH2O",
    "K": "degC, degF, C, F, K",
    "kg": "g, kg, mg",
    "kg/m3": "mg/L, ug/L, g/L, g/m3, kg/m3",
    "NTU": "NTU, FNU",
    "S/m": "uS/cm, mS/cm, S/m",
    "kg/(m2 S)": "mg/L per uS/cm, g/L per mS/cm",
    "J/m2": "mJ/cm2, J/m2",
    "W/m2": "W/m2, mW/cm2, uW/cm2",
    "W": "W, kW, hp",
    "J/m3": "kWh/m3, Wh/L, Wh/gal",
    "s": "s, min, h, d",
    "1/s": "1/h, 1/min, 1/d",
    "rad": "deg, rad",
    "1/m": "1/m, 1/cm",
    "1/m3": "1/L, 1/mL, 1/m3",
    "kg s/m3": "mg min/L",
    "m3/(kg s)": "L/(mg h)",
    "Pa s2/m6": "bar h2/m6, Pa h2/m6, psi/(gal/min)**2",
    "J/mol": "kJ/mol, J/mol",
    "1": "%",
}
OWN_LEGAL = {
    "uv_transmittance": "%",
    "mass_fraction": "g/kg, %",
    "irradiation": "kWh/m2/day, MJ/m2/day",
    "temperature_difference": "K",
    "temperature_coefficient": "%/K, %/degC",
    "clock_offset": "h, min",
    "count": "none, a whole number",
    "factor": "none, or %",
    "ph": "none, a plain number",
    "log_reduction": "log, or none",
    "people": "people, or none",
}
MULTI = (  # words that belong together
    (re.compile(r"\bu\.?\s*s\.?\s*(?=g(?:al|p))", re.I), ""),
    (re.compile(r"\b(gal\w*)\s*\(\s*u\.?s\.?\s*\)", re.I), r"\1"),
    (re.compile(r"\b(?:imp(?:erial|\.)?|uk)\s*gal(?:lons?|s)?\b", re.I), "impgal"),
    (re.compile(r"\bsq(?:uare|\.)?\s*(?=[a-z])([a-z]+)", re.I), r"\g<1>2"),
    (re.compile(r"\bcu(?:bic|\.)?\s*(?=[a-z])([a-z]+)", re.I), r"\g<1>3"),
    (re.compile(r"\bdeg(?:rees?|\.)?\s*([cf])\b", re.I), r"\1"),
    (re.compile(r"^(\S+/\S+)\s+per\s+(\S+/\S+)$", re.I), r"(\1)/(\2)"),
    (re.compile(r"\s+per\s+", re.I), "/"),
    (re.compile(r"(?<=[A-Za-z0-9])[-.](?=[A-Za-z])|\*(?!\*)(?<!\*\*)"), " "),
    (re.compile(r"(m2)(?=h$)", re.I), r"\1 "),
    (re.compile(r"([A-Za-z)])\.$"), r"\1"),
)
TOKEN = re.compile(
    r"(?P<word>(?:m|ft|in)H2O|[A-Za-z_%]+|''|[\"'])(?:(?:\*\*|\^)?\s*(?P<power>-?[1-6](?!\d)))?",
    re.I,
)
MOST = 24  # readings of one unit that are looked at


def clean(unit: str) -> str:
    """Return a unit with the signs of word processors replaced."""
    return " ".join(unit.translate(SIGNS).replace("%", "percent").split())


def refused(unit: str) -> str:
    """Return why a unit is refused that is known but says too little, or ""."""
    text = unit.lower()
    if based := PRESSURE_BASE.fullmatch(text):
        text = based[1] + based[2]
    return next((REFUSED[word] for word in re.findall("[a-z]+", text) if word in REFUSED), "")


def trapped(unit: str) -> str:
    """Return what is meant by a unit in which M and m are taken for one another, or ""."""
    found = False

    def mended(match: re.Match) -> str:
        nonlocal found
        word, power = match["word"], match["power"] or ""
        if word not in TRAPS or (word == "M" and power):  # nobody means cubic molar
            return match[0]
        found = True
        return TRAPS[word] + power

    text = TOKEN.sub(mended, unit)
    return text if found else ""


def readings(unit: str) -> list[str]:
    """Return every way to read a unit, as texts for the unit parser; unknown words stay."""
    text = unit
    for pattern, new in MULTI:
        text = pattern.sub(new, text)
    parts: list[list[str]] = []
    end = 0
    for match in TOKEN.finditer(text):
        parts += [[text[end : match.start()]], _options(match["word"], match["power"])]
        end = match.end()
    parts.append([text[end:]])
    found = ["".join(chosen) for chosen in itertools.islice(itertools.product(*parts), MOST)]
    if "/" in text:  # "L/m2 h" is written where L/(m2 h) is meant
        heads = [one.split("/", 1) for one in found if one.count("/") == 1]
        found += [f"{top}/({below})" for top, below in heads if " " in below.strip()]
    return found


def _options(word: str, power: str | None) -> list[str]:
    tail = f"**{power}" if power else ""
    known = [one for one in OPTIONS.get(word.lower(), ()) if not _crosses(word, one, power)]
    return [f"{one}{tail}" for one in dict.fromkeys([word, *known])]


def _crosses(word: str, option: str, power: str | None) -> bool:
    """Whether reading `word` as `option` would take M for m, or m for M."""
    prefixed = len(option) > 1 and option[0] in "mM" and option not in ("min", "mol")
    bare = option == "m" and not power and len(word) == 1
    return (prefixed or bare) and word[0] != option[0]


def without_words(unit: str) -> str:
    """Return a unit without the words behind it, such as m of "m a.s.l.", or "" if none stand."""
    bare = re.split(r"[\s@(]", unit, maxsplit=1)[0]
    return "" if bare == unit or ODD.search(bare) else bare


def nearest(unit: str, legal: str) -> str:
    """Return the legal spelling nearest to an unknown one, or ""."""
    known = {one.lower(): one for one in legal.split(", ") if "none" not in legal}
    near = difflib.get_close_matches(unit.lower(), known, n=1, cutoff=0.6)
    return known[near[0]] if near else ""
