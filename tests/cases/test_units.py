"""Units as people write them: each read as what it means, or refused with a hint that is right.

Factors by definition: inch 25.4 mm, foot 0.3048 m, US gallon 231 in3, pound 0.45359237 kg,
g 9.80665 m/s2, UK gallon 4.54609 L, horsepower 550 ft lbf/s (NIST SP 811, appendix B, recalled).
"""

from __future__ import annotations

import re

import pytest
from command import RIVER, river, treatsim

from treatsim import quantities, spellings
from treatsim.errors import RequestError
from treatsim.quantities import QUANTITIES, read

INCH, FOOT, HOUR, DAY = 0.0254, 0.3048, 3600.0, 86400.0
GALLON, UK_GALLON = 231 * INCH**3, 4.54609e-3
POUND_FORCE = 0.45359237 * 9.80665
PSI = POUND_FORCE / INCH**2
WRITTEN = [
    ("flow", GALLON / 60, "gpm GPM Gpm usgpm USGPM|US GPM|US gal/min|U.S. gal/min|gal/min GAL/MIN"
                          "|gal (US)/min|gallons/minute|gal per min"),
    ("flow", UK_GALLON / 60, "igpm|imp gal/min|UK gal/min"),
    ("flow", GALLON / DAY, "gpd GPD gal/d"),
    ("flow", 1e-3 / 60, "lpm LPM L/min l/min L/MIN liters/minute"),
    ("flow", 1e-3 / HOUR, "LPH lph L/h l/h L/H L/hr|litres per hour"),
    ("flow", 1e-3, "L/s l/s L/S lps"),
    ("flow", 1 / DAY, "m3/d m³/d m3/day M3/D m^3/d m**3/d"),
    ("flow", 1 / HOUR, "m3/h m³/h M3/H m3/hr|m3 per hour|cu m/h|m3 h-1"),
    ("flow", 1e-6 / 60, "mL/min ml/min cc/min"),
    ("pressure", PSI, "psi PSI Psi"),
    ("pressure", 1e5, "bar BAR Bar"),
    ("pressure", 1e3, "kPa kpa KPA KPa"),
    ("pressure", 1e6, "MPa"),
    ("pressure", 9806.65, "mH2O mh2o mWC"),
    ("pressure_difference", PSI, "psid psi"),
    ("small_length", INCH, 'inch in in. " \'\' IN Inches ″ ”'),
    ("length", FOOT, "ft FT Ft feet foot ' ′"),
    ("length", 1.0, "m meters metre"),
    ("turbidity", 1.0, "NTU ntu Ntu FNU fnu"),
    ("power", 550 * FOOT * POUND_FORCE, "hp HP Hp"),
    ("power", 1.0, "W w"),
    ("power", 1e3, "kW kw KW"),
    ("conductivity", 0.1, "mS/cm ms/cm mS/CM"),
    ("conductivity", 1e-4, "uS/cm µS/cm μS/cm US/CM us/cm umho/cm"),
    ("concentration", 1e-3, "mg/L mg/l g/m3"),
    ("concentration", 1e-6, "ug/L µg/L UG/L ug/l"),
    ("flux", 1e-3 / HOUR, "LMH lmh L/m2/h L/m2·h|l/(m2 h)|L/m2 h|L m-2 h-1|l/m2h"),
    ("flux", GALLON / FOOT**2 / DAY, "gfd GFD gal/ft2/d|gal/sq ft/day"),
    ("dose", 10.0, "mJ/cm2 mJ/cm² mj/cm2 mJ/CM2"),
    ("fluence_rate", 1.0, "W/m2 W/m² w/m2 W/M2"),
    ("energy_per_volume", 3.6e6, "kWh/m3 KWH/M3 kwh/m³ Wh/L"),
    ("duration", HOUR, "h hr hrs hours H"),
    ("duration", DAY, "d day days"),
    ("volume", GALLON, "gal GAL gallons|US gal"),
    ("absorption", 100.0, "1/cm cm-1 cm⁻¹"),
    ("fraction", 0.01, "% percent pct"),
    ("log_reduction", 1.0, "log logs"),
    ("people", 1.0, "people"),
]  # fmt: skip


WITH_BLANKS = {
    "US GPM", "US gal/min", "U.S. gal/min", "gal (US)/min", "gal per min", "imp gal/min",
    "UK gal/min", "litres per hour", "m3 per hour", "cu m/h", "m3 h-1", "l/(m2 h)", "L/m2 h",
    "L m-2 h-1", "gal/sq ft/day", "US gal",
}  # fmt: skip


def spelled(text: str) -> list[str]:
    """Units of a row: parted by blanks, or by bars where a unit holds a blank itself."""
    rows = [row for row in text.split("|") if row]
    return [u for row in rows for u in ([row] if row in WITH_BLANKS else row.split())]


@pytest.mark.parametrize(
    ("quantity", "factor", "unit"),
    [(quantity, factor, unit) for quantity, factor, text in WRITTEN for unit in spelled(text)],
)
def test_written(quantity, factor, unit):
    assert read(f"3 {unit}", quantity) == pytest.approx(3 * factor, rel=1e-6)
    if unit[0] != "1":
        assert read(f"3{unit}", quantity) == pytest.approx(3 * factor, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [("20 C", 293.15), ("68 F", 293.15), ("20 °C", 293.15), ("20C", 293.15), ("68°F", 293.15),
     ("20 deg C", 293.15), ("20 degc", 293.15), ("293 K", 293.0), ("\u22122 C", 271.15)],
)  # fmt: skip
def test_temperatures(text, kelvin):
    assert read(text, "temperature") == pytest.approx(kelvin, abs=1e-9)


REFUSED = [
    ("pressure", "0,5 bar", 'a decimal comma: write "0.5 bar"'),
    ("pressure", "1,000 kPa", 'write "1000 kPa" or "1.000 kPa"'),
    ("pressure", "1 500 kPa", 'write "1500 kPa"'),
    ("pressure", "1,234,567 Pa", 'write "1234567 Pa"'),
    ("pressure", "1.234,5 kPa", "with one point"),
    ("pressure", "5-6 bar", "one value belongs here"),
    ("pressure", "5 to 6 bar", "one value belongs here"),
    ("small_length", '1/2"', 'write "0.5 in"'),
    ("small_length", "1 1/2 in", 'write "1.5 in"'),
    ("pressure", "50 psig", "pressures are gauge already: say psi"),
    ("pressure", "50 PSIG", "pressures are gauge already: say psi"),
    ("pressure", "5 bar(g)", "pressures are gauge already: say bar"),
    ("pressure", "5 psia", "subtract the atmosphere"),
    ("concentration", "5 ppm", "say mg/L or mg/kg"),
    ("concentration", "5 PPM", "say mg/L or mg/kg"),
    ("mass_fraction", "35 psu", "in g/kg"),
    ("conductivity", "1.2 MS/cm", 'write "mS/cm"'),
    ("conductivity", "1.2 MS/CM", 'write "mS/CM"'),
    ("concentration", "5 MG/L", 'write "mg/L"'),
    ("concentration", "5 Mg/L", 'write "mg/L"'),
    ("pressure", "5 mPa", 'write "MPa"'),
    ("length", "50 M", 'write "m"'),
    ("small_length", "50 MM", 'write "mm"'),
    ("flow", "5 gmp", 'did you mean "gpm"?'),
    ("flow", "5 m3/hh", "is not a unit known here"),
    ("length", "5 Min", "is no"),
    ("length", "15 bar", "is no unit of length; legal: m, ft, cm, mm"),
    ("uv_transmittance", "0.86", 'for example "86 %"'),
    ("uv_transmittance", "86", 'for example "86 %"'),
    ("flow", "1" + " " * 100_000 + "x", "no number with a unit"),
    ("flow", "5 " + "m" * 100_000, "no number with a unit"),
    ("people", "3 log", "is not a unit known here"),
]


@pytest.mark.parametrize(("quantity", "text", "words"), REFUSED)
def test_refused(quantity, text, words):
    with pytest.raises(RequestError) as error:
        read(text, quantity)
    (line,) = error.value.problems
    assert words in line
    assert len(line) < 300


@pytest.mark.parametrize(("quantity", "text", "words"), REFUSED)
def test_a_hint_is_read(quantity, text, words):
    """What a message tells to write in the place of an entry can be read there."""
    with pytest.raises(RequestError) as error:
        read(text, quantity)
    hints = re.findall(r'(?:write|or|mean|example) "([^"]+)"', str(error.value))
    for hint in hints:
        entry = hint if hint[0].isdigit() else f"5 {hint}"
        assert read(entry, quantity) >= 0


@pytest.mark.parametrize("name", sorted(QUANTITIES))
def test_every_legal_unit_can_be_read(name):
    legal = quantities.legal_units(name)
    if "none" in legal:
        assert read("0", name) == 0
        return
    for unit in legal.split(", "):
        read(f"1 {unit}", name)


def test_no_spelling_reads_mega_for_milli():
    """Whatever the case of a spelling, its factor is that of the unit it stands for, or none."""
    for unit, words in spellings.WRITTEN.items():
        if unit[0] not in "mM" or unit in ("min", "m", "mol"):
            continue
        si = quantities._registry().Unit(unit)
        target = f"{si.dimensionality}" and f"{quantities._registry().get_base_units(si)[1]:~}"
        right = quantities.conversion(unit, target)[0] if unit not in spellings.TRAPS else 0
        for word in words.split():
            for text in (word, word.upper(), word.title(), word[0].swapcase() + word[1:]):
                try:
                    factor = quantities.conversion(text, target)[0]
                except RequestError:
                    continue
                mega = text[0] == "M"
                assert factor == pytest.approx(right if mega == (unit[0] == "M") else factor)


PERCENTS = [
    ("ageing_factor = 0.80", "ageing_factor = 80", '80 is 8000 %: write "80 %" or 0.8'),
    ("ageing_factor = 0.80", 'ageing_factor = "0.80 %"', 'write "80 %" or 0.8'),
    ("pump_efficiency = 0.52", "pump_efficiency = 52", 'write "52 %" or 0.52'),
    ("pump_efficiency = 0.52", 'pump_efficiency = "0.52 %"', 'write "52 %" or 0.52'),
    ("pump_efficiency = 0.52", 'pump_efficiency = "52"', 'write "52 %" or 0.52'),
    ('value = "86 %"', 'value = "0.85 %"', '0.85 % is 0.0085: write "85 %"'),
    ('value = "86 %"', "value = 0.85", 'for example "85 %"'),
    ('value = "86 %"', "value = 85", 'for example "85 %"'),
    ('free_area = "70 %"', 'free_area = "0.7 %"', 'write "70 %" or 0.7'),
    ('salinity = "0.3 g/L"', "salinity = 0.0003", "g/kg, g/L or %"),
    ('temperature = "24 degC"', "temperature = 68", '"68 degC" or "68 degF"'),
]


@pytest.mark.parametrize(("old", "new", "words"), PERCENTS)
def test_fraction_and_percent(old, new, words, tmp_path):
    run = treatsim("solve", river(tmp_path, (old, new)))
    assert run.status == 2
    assert words in run.err, run.err


def test_a_share_that_may_be_small_is_read_as_it_stands(tmp_path):
    path = river(tmp_path, ('losses = "15 %"', 'losses = "0.5 %"'))
    assert treatsim("solve", path).status == 0


def test_a_percent_below_one_can_still_be_meant(tmp_path):
    path = river(tmp_path, ('free_area = "70 %"', 'free_area = "0.7 %"'))
    run = treatsim("solve", path)
    low = re.search(r"if so little is meant, write ([\d.]+)", run.err)[1]
    assert treatsim("solve", RIVER, "--set", f"strainer.free_area={low}").status in (0, 1, 3)
