"""The same true year written in every format comes back the same; what is wrong is named.

The year is a clear one, worked out by the minute: what each format's label of an hour means is then
known, and half an hour of error is seen on planes to the east and west.
"""

from __future__ import annotations

import datetime
import json
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pvlib
import pytest

from treatsim.errors import RequestError
from treatsim.power import sky, weather
from treatsim.power.array import plane_irradiance
from treatsim.power.hours import parted
from treatsim.power.site import Place, SiteParameters
from treatsim.power.sun import position
from treatsim.power.tables import ArrayParameters, SunParameters

RAD = np.pi / 180
LATITUDE, LONGITUDE, ZONE = 33.0, 35.2, 2.0  # an invented place
SITE = SiteParameters(
    latitude=LATITUDE * RAD, longitude=LONGITUDE * RAD, altitude=300.0, time_zone=ZONE * 3600
)
PLACE = Place(LATITUDE * RAD, LONGITUDE * RAD, 300.0, ZONE)
YEAR = 2019
SIZE = 8760
OFFSET = 0.1761  # h, of a satellite after the full hour


def light(hour):
    """Global, diffuse and direct light of the clear year at moments of its clock."""
    seen = position(PLACE, hour)
    whole, direct = sky.ineichen(seen.cos_zenith, seen.normal, 3.0, 300.0)
    return whole, whole - direct * np.maximum(seen.cos_zenith, 0), direct


@cache
def truth():
    """Means of the hours, from minutes; and the light on planes to the east and to the west."""
    minute = (np.arange(SIZE * 60) + 0.5) / 60
    parts = light(minute)
    seen = position(PLACE, minute)
    diffuse, direct = parted(parts[0], parts[1], seen)
    year = weather.Weather(
        PLACE, minute, seen, parts[0][None], diffuse[None], direct[None],
        np.full((1, 1), 293.15), np.ones((1, 1)), 0.2,
    )  # fmt: skip
    planes = {a: plane_irradiance(plane(a), SITE, year).sum() / 60 for a in (90, 180, 270)}
    return [part.reshape(SIZE, 60).mean(axis=1) for part in parts], planes


def plane(azimuth) -> ArrayParameters:
    return ArrayParameters(
        peak_power=1000.0, tilt=25 * RAD, azimuth=azimuth * RAD, soiling=0.0, cover_loss=0.0
    )


def stamps(offset=0.0):
    start = datetime.datetime(YEAR, 1, 1) + datetime.timedelta(hours=offset)
    return [start + datetime.timedelta(hours=k) for k in range(SIZE)]


def epw(path, hours=None, zone=ZONE):
    ghi, dhi, dni = truth()[0] if hours is None else hours
    lines = [f"LOCATION,Nowhere,-,XXX,invented,0,{LATITUDE},{LONGITUDE},{zone},300"]
    lines += [f"LINE {k},0" for k in range(2, 9)]
    for k, at in enumerate(stamps()):
        row = [at.year, at.month, at.day, at.hour + 1, 60, "?"] + ["9"] * 29
        row[6], row[13], row[14], row[15], row[21] = 20.0, ghi[k], dni[k], dhi[k], 2.0
        lines.append(",".join(f"{v:.4f}" if isinstance(v, float) else str(v) for v in row))
    path.write_text("\n".join(lines) + "\n")
    return path


def tmy3(path):
    ghi, dhi, dni = truth()[0]
    lines = [f'723000,"NOWHERE",XX,{ZONE},{LATITUDE},{LONGITUDE},300']
    lines.append("Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),DNI (W/m^2),DHI (W/m^2),"
                 "Dry-bulb (C),Wspd (m/s)")  # fmt: skip
    for k, at in enumerate(stamps()):
        day = f"{at:%m/%d}/{at.year},{at.hour + 1:02d}:00"
        lines.append(f"{day},{ghi[k]:.4f},{dni[k]:.4f},{dhi[k]:.4f},20.0,2.0")
    path.write_text("\n".join(lines) + "\n")
    return path


def nsrdb(path):
    ghi, dhi, dni = truth()[0]
    head = {"Source": "NSRDB", "Location ID": 1, "Latitude": LATITUDE, "Longitude": LONGITUDE,
            "Time Zone": 2, "Elevation": 300, "Local Time Zone": 2}  # fmt: skip
    lines = [",".join(head), ",".join(str(v) for v in head.values())]
    lines.append("Year,Month,Day,Hour,Minute,DHI,DNI,GHI,Temperature,Wind Speed")
    for k, at in enumerate(stamps()):
        when = f"{at.year},{at.month},{at.day},{at.hour},30"
        lines.append(f"{when},{dhi[k]:.4f},{dni[k]:.4f},{ghi[k]:.4f},20.0,2.0")
    path.write_text("\n".join(lines) + "\n")
    return path


def at_moments():
    """Universal time, moments a little after the full hour."""
    return light(np.arange(SIZE) + OFFSET + ZONE)


def pvgis_csv(path):
    ghi, dhi, dni = at_moments()
    lines = [f"Latitude (decimal degrees): {LATITUDE}",
             f"Longitude (decimal degrees): {LONGITUDE}", "Elevation (m): 300.0",
             f"Irradiance Time Offset (h): {OFFSET}", "month,year"]  # fmt: skip
    lines += [f"{month},{YEAR}" for month in range(1, 13)]
    lines.append("time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP")
    for k, at in enumerate(stamps()):
        values = f"20.0,50,{ghi[k]:.4f},{dni[k]:.4f},{dhi[k]:.4f},300,2.0,90,98000"
        lines.append(f"{at:%Y%m%d:%H%M},{values}")
    path.write_text("\n".join([*lines, "", "T2m: 2-m air temperature", ""]) + "\n")
    return path


def pvgis_json(path):
    ghi, dhi, dni = at_moments()
    names = ("T2m", "RH", "G(h)", "Gb(n)", "Gd(h)", "IR(h)", "WS10m", "WD10m", "SP")
    rows = [
        {"time(UTC)": f"{at:%Y%m%d:%H%M}"}
        | dict(zip(names, (20.0, 50, ghi[k], dni[k], dhi[k], 300, 2.0, 90, 98000), strict=True))
        for k, at in enumerate(stamps())
    ]
    location = {"latitude": LATITUDE, "longitude": LONGITUDE, "elevation": 300.0}
    months = [{"month": m, "year": YEAR} for m in range(1, 13)]
    path.write_text(json.dumps({
        "inputs": {"location": location | {"irradiance_time_offset": OFFSET}},
        "outputs": {"months_selected": months, "tmy_hourly": rows},
        "meta": {"inputs": {}, "outputs": {}},
    }))  # fmt: skip
    return path


def pvgis_hourly(path, slope="0 deg."):
    ghi, dhi, _ = light(np.arange(SIZE) + 10 / 60 + ZONE)
    lines = [f"Latitude (decimal degrees):\t{LATITUDE}",
             f"Longitude (decimal degrees):\t{LONGITUDE}", "Elevation (m):\t300",
             "Radiation database:\tinvented", "", "", f"Slope: {slope}", "Azimuth: 0 deg.",
             "time,Gb(i),Gd(i),Gr(i),H_sun,T2m,WS10m,Int"]  # fmt: skip
    for k, at in enumerate(stamps(10 / 60)):
        beam = ghi[k] - dhi[k]
        lines.append(f"{at:%Y%m%d:%H%M},{beam:.4f},{dhi[k]:.4f},0.0,0.0,20.0,2.0,0.0")
    path.write_text("\n".join([*lines, "", "Gb(i): beam", ""]) + "\n")
    return path


WRITERS = {
    "year.epw": epw, "year.csv": tmy3, "psm.csv": nsrdb, "tmy.csv": pvgis_csv,
    "tmy.json": pvgis_json, "hourly.csv": pvgis_hourly,
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("weather")


@pytest.mark.parametrize("name", WRITERS)
def test_every_format_puts_the_light_where_the_sun_was(folder, name):
    """On planes to east, south and west within 1 %; half an hour wrong is more than 3 %."""
    found = weather.from_file(WRITERS[name](folder / name), SITE)
    assert found.ghi.shape == found.dni.shape == found.air_temperature.shape == (1, SIZE)
    assert np.all(np.diff(found.hour) == pytest.approx(1.0))
    assert 0 <= found.hour[0] < 1
    truth_planes = truth()[1]
    for azimuth, known in truth_planes.items():
        ours = plane_irradiance(plane(azimuth), SITE, found).sum()
        assert ours == pytest.approx(known, rel=0.01), azimuth
        late = found._replace(sun=position(found.place, found.hour + 0.5))
        wrong = plane_irradiance(plane(azimuth), SITE, late).sum() / known - 1
        assert abs(wrong) > 0.03 if azimuth != 180 else abs(wrong) < 0.02
    assert found.air_temperature.mean() == pytest.approx(293.15)
    assert found.wind.mean() == pytest.approx(2.0 * 0.748, rel=1e-3), "from 10 m down to 2 m"


def test_a_file_on_another_clock_is_put_on_that_of_the_site(folder):
    found = weather.from_file(pvgis_csv(folder / "again.csv"), SITE)
    assert any("+0 h, put on that of the site, +2 h" in note for note in found.notes)
    peak = found.hour[np.argmax(found.ghi[0, :24])]
    assert 11.0 < peak < 12.8, "noon of the clock, not of universal time"


def test_leap_days_and_several_years(folder):
    path = folder / "two.csv"
    ghi = np.maximum(light(np.arange(SIZE) + 0.5)[0], 0)
    lines = ["Source,Location ID,Latitude,Longitude,Time Zone,Elevation,Local Time Zone",
             f"NSRDB,1,{LATITUDE},{LONGITUDE},2,300,2",
             "Year,Month,Day,Hour,Minute,GHI,Temperature,Wind Speed"]  # fmt: skip
    at = datetime.datetime(2019, 1, 1)
    while at.year < 2021:
        n = (at.timetuple().tm_yday - 1 - (at.year == 2020 and at.month > 2)) * 24 + at.hour
        factor = 1.0 if at.year == 2019 else 0.5
        when = f"{at.year},{at.month},{at.day},{at.hour},30"
        lines.append(f"{when},{factor * ghi[n % SIZE]:.4f},20.0,2.0")
        at += datetime.timedelta(hours=1)
    path.write_text("\n".join(lines) + "\n")
    found = weather.from_file(path, SITE)
    assert found.ghi.shape == (2, SIZE)
    assert found.ghi[1] == pytest.approx(0.5 * found.ghi[0], abs=1e-3)
    assert 0 < found.dhi.sum() < found.ghi.sum(), "diffuse by correlation"


def refused(path, site=SITE, sun=None) -> str:
    with pytest.raises(RequestError) as error:
        weather.from_file(path, site, sun)
    (line,) = error.value.problems
    return line


def test_a_file_in_another_zone_than_it_says(folder):
    """Universal time under the head of a local clock: its light comes before the sun."""
    universal = [np.roll(part, -2) for part in truth()[0]]
    line = refused(epw(folder / "utc.epw", universal))
    assert "2.0 h before the sun" in line
    assert "0.75 h are allowed" in line
    night = [np.roll(part, 12) for part in truth()[0]]
    assert "12.0 h" in refused(epw(folder / "night.epw", night))


def test_a_file_of_another_place(folder):
    far = SiteParameters(latitude=35.0 * RAD, longitude=33.0 * RAD, time_zone=7200.0)
    line = refused(epw(folder / "far.epw"), far)
    assert "km from the site" in line
    assert "at most 200 km" in line


def without(path, *numbers):
    lines = path.read_text().splitlines()
    path.write_text("\n".join(line for k, line in enumerate(lines) if k not in numbers) + "\n")
    return path


def test_hours_missing_or_doubled(folder):
    line = refused(without(epw(folder / "gap.epw"), 8 + 24 * 31 + 5, 8 + 24 * 31 + 6))
    assert "2 of 8760 hours are missing, the first on 01.02., hour 5" in line
    path = epw(folder / "twice.epw")
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines, lines[-1]]) + "\n")
    assert "hours that stand twice: 1" in refused(path)


@pytest.mark.parametrize(("column", "bad", "word"), [
    (13, "9999", "ghi"), (13, "", "ghi"), (6, "99.9", "temp_air"), (21, "999", "wind_speed"),
])  # fmt: skip
def test_values_that_stand_for_none(folder, column, bad, word):
    path = epw(folder / "none.epw")
    lines = path.read_text().splitlines()
    row = lines[100].split(",")
    row[column] = bad
    lines[100] = ",".join(row)
    path.write_text("\n".join(lines) + "\n")
    line = refused(path)
    assert f"{word} is no number that can be in 1 of 8760 hours" in line


def test_what_is_no_file_of_hours(folder):
    assert "no such file" in refused(folder / "nothing.epw")
    assert "is a directory" in refused(folder)
    odd = folder / "notes.csv"
    odd.write_text("a,b\n1,2\n")
    assert "none of the formats known: EPW" in refused(odd)
    broken = folder / "broken.epw"
    broken.write_text("LOCATION,Nowhere\n1,2,3\n")
    assert "not readable as EPW" in refused(broken)
    assert "slope 30 deg." in refused(pvgis_hourly(folder / "tilted.csv", "30 deg."))


def test_the_library_is_asked_for_by_name(folder, monkeypatch):
    monkeypatch.setitem(sys.modules, "pvlib", None)
    assert "pip install treatsim[weather]" in refused(folder / "any.epw")


def test_a_site_needs_coordinates(folder):
    with pytest.raises(RequestError, match=r"site\.latitude is missing"):
        weather.from_file(folder / "any.epw", SiteParameters())


@pytest.mark.parametrize("hour", ["dark", "no_air"])
def test_files_that_lack_what_is_needed(folder, hour):
    if hour == "dark":
        dark = [np.zeros(SIZE)] * 3
        assert "no light in any hour" in refused(epw(folder / "dark.epw", dark))
        return
    path = folder / "noair.csv"
    lines = tmy3(path).read_text().splitlines()
    short = [lines[0], *(line.rsplit(",", 2)[0] for line in lines[1:])]
    path.write_text("\n".join(short) + "\n")
    assert "state sun.air_temperature" in refused(path)
    sun = SunParameters(file="noair.csv", air_temperature=(300.0,) * 12, daily_swing=0.0)
    assert weather.weather_of(SITE, sun, 1, 1, folder).air_temperature.mean() == pytest.approx(300)


def test_files_of_the_library_are_read_as_they_stand():
    """Real years: their own sums of global light, labels put right (the sun in the middle)."""
    data = Path(pvlib.__file__).parent / "data"
    frame = pvlib.iotools.read_tmy3(data / "723170TYA.CSV", coerce_year=2023, map_variables=True)[0]
    here = SiteParameters(latitude=36.1 * RAD, longitude=-79.95 * RAD, time_zone=-5 * 3600.0)
    found = weather.from_file(data / "723170TYA.CSV", here)
    assert found.ghi.sum() == frame["ghi"].sum()
    assert found.air_temperature.mean() - 273.15 == pytest.approx(frame["temp_air"].mean())
    assert found.hour[0] == 0.5
    lit = found.ghi.sum(axis=0)
    noon = lit @ found.sun.hour_angle / lit.sum() * 12 / np.pi
    assert abs(noon) < 0.1, "a label half an hour off would show as that"
