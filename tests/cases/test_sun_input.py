"""What a case may not say of site, sun and array: one line, with what was found and is allowed."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from treatsim import cases
from treatsim.errors import RequestError
from treatsim.power.weather import sampled_years

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "cases/sea.toml").read_text("utf-8")


def tables():
    return tomllib.loads(TEXT)


def refused(change) -> list[str]:
    data = tables()
    change(data)
    with pytest.raises(RequestError) as error:
        cases.interpret(data, "camp.toml")
    return error.value.problems


def put(table, **entries):
    def change(data):
        data.setdefault(table, {}).update(entries)
        for key, value in entries.items():
            if value is None:
                del data[table][key]

    return change


def together(*changes):
    def change(data):
        for one in changes:
            one(data)

    return change


def light(unit="kWh/m2/day", factor=1.0):
    def change(data):
        given = [float(t.split()[0]) for t in data["sun"]["monthly_irradiation"]]
        data["sun"]["monthly_irradiation"] = [f"{factor * v:.4g} {unit}" for v in given]

    return change


def months(number):
    def change(data):
        data["sun"]["monthly_irradiation"] = (2 * data["sun"]["monthly_irradiation"])[:number]

    return change


EXCHANGED = put("site", latitude="42.6 deg", longitude="16.2 deg")
MEGAJOULES = light(factor=3.6)
SHARES = ["50 %"] * 12
FAULTS = [
    (EXCHANGED, ("from outside the air", "latitude and longitude exchanged?")),
    (put("site", latitude="-16.2 deg"), ("clear sky's", "south is negative")),
    (MEGAJOULES, ("in February, where 9.0", "MJ/m2/day written as kWh/m2/day?")),
    (light("MJ/m2/day"), ("less than any place has", "written as MJ/m2/day?")),
    (put("site", latitude="120 deg"), ("latitude", "not above 90 deg")),
    (put("site", longitude="-42.6 deg"), ("5.8 h from the sun", "west taken for east?")),
    (put("site", time_zone="8 h"), ("time_zone: 8 h", "within 3.5 h")),
    (put("site", latitude=None), ("site.latitude is missing", "the sun needs")),
    (put("site", longitude=None), ("site.longitude is missing",)),
    (lambda data: data.pop("sun"), ("sun is missing",)),
    (months(11), ("11 months; 12 belong here",)),
    (months(13), ("13 months",)),
    (put("sun", monthly_irradiation="5 kWh/m2/day"), ("a list of 12 texts",)),
    (put("sun", monthly_irradiation=[5.0] * 12), ("January: a bare number",)),
    (put("sun", monthly_irradiation=["5 kWh/m2"] * 12), ("legal: kWh/m2/day, MJ/m2/day",)),
    (put("sun", monthly_irradiation=None), ("monthly_irradiation is missing",)),
    (put("sun", monthly_clearness=SHARES), ("monthly_irradiation tells the light too",)),
    (put("sun", file="hours.epw"), ("file: monthly_irradiation tells the light too",)),
    (put("sun", air_temperature=None), ("air_temperature is missing",)),
    (put("sun", air_temperature=["25 degC"] * 11), ("11 months",)),
    (put("sun", linke_turbidity=12), ("not above 10",)),
    (put("sun", linke_turbidity=True), ("a list of 12 texts",)),
    (put("array", peak_power="0 W"), ("above 0 W",)),
    (put("array", peak_power="-4 kW"), ("above 0 W",)),
    (put("array", tilt="95 deg"), ("not above 90 deg",)),
    (put("array", azimuth="-20 deg"), ("not below 0 deg",)),
    (put("array", unfolded=1.5), ("1.5",)),
    (put("array", ground_slope="8 deg"), ("ground_azimuth is missing",)),
    (put("array", horizon=["5 deg at 90 deg"]), ("1 points; 8 to 36",)),
    (put("array", horizon=[f"{-2 if k else 5} deg at {40 * k} deg" for k in range(9)]),
     ("a height lies between",)),
    (put("array", cleaned_on="02-30"), ("month and day",)),
    (put("array", cleaned_on=315), ("month and day",)),
    (put("array", cleaned_on=f"{10**30}-01"), ("month and day",)),
    (put("array", cleaning_interval=None), ("cleaning_interval is missing",)),
    (put("array", cleaning_interval="365 d"), ("54%", "followed to 50 %")),
    (put("array", temperature_coefficient="0.4 %/K"), ("not above 0 %/K",)),
    (put("array", heat_loss="29 W/(m2 K)"), ("nominal_cell_temperature gives it too",)),
    (put("array", nominal_cell_temperature="90 degC"), ("not above 60 degC",)),
]  # fmt: skip


@pytest.mark.parametrize(("change", "words"), FAULTS)
def test_one_line_says_what_was_found_and_is_allowed(change, words):
    (line,) = refused(change)
    assert line.startswith("camp.toml: ")
    for word in words:
        assert word in line


def test_what_may_be_written():
    """One text for all months, clearness instead of irradiation, coefficients as data sheets."""
    data = tables()
    base = cases.interpret(data, "camp.toml").sections
    means = np.array(base["sun"].monthly_irradiation)
    data["sun"]["monthly_irradiation"] = [f"{3.6 * h * 24 / 1000} MJ/m2/day" for h in means]
    data["sun"]["air_temperature"] = "28 degC"
    data["array"] |= {"temperature_coefficient": "-0.35 %/degC"}
    found = cases.interpret(data, "camp.toml").sections
    assert found["sun"].monthly_irradiation == pytest.approx(means)
    assert found["sun"].air_temperature == pytest.approx((301.15,) * 12)
    assert found["array"].temperature_coefficient == pytest.approx(-0.0035)
    del data["sun"]["monthly_irradiation"]
    data["sun"]["monthly_clearness"] = SHARES
    found = cases.interpret(data, "camp.toml").sections
    assert found["sun"].monthly_clearness == (0.5,) * 12


def test_months_too_bright_to_be_real_are_refused_where_they_are_used():
    """A clear sky's light in every month: allowed to a tenth above, not beyond."""
    case = cases.interpret(tables(), "camp.toml").sections
    site, sun = case["site"], case["sun"]
    clearest = {"linke_turbidity": None, "monthly_irradiation": None}
    with pytest.raises(RequestError, match="clear sky's and a tenth more"):
        sampled_years(site, type(sun)(**(vars(sun) | clearest | {
            "monthly_clearness": (0.84,) * 12})), 1, 1)  # fmt: skip


def test_a_case_without_sun_needs_no_coordinates():
    data = tables()
    for key in ("sun", "array"):
        del data[key]
    for key in ("latitude", "longitude", "time_zone"):
        del data["site"][key]
    assert cases.interpret(data, "camp.toml").sections["sun"] is None
