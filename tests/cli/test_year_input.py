"""What cannot be of a site, its sun and its battery: each tried on the command line of the year."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from command import treatsim

SEA = Path("cases/sea.toml")
KWH = "kWh/m2/day"


def written(folder: Path, *changes: tuple[str, str]) -> Path:
    """Write the sea case with parts of its text changed."""
    text = SEA.read_text("utf-8")
    for pattern, new in changes:
        text, count = re.subn(pattern, new, text, count=1, flags=re.DOTALL | re.MULTILINE)
        assert count == 1, pattern
    path = folder / "case.toml"
    path.write_text(text, "utf-8")
    return path


def refused(path: Path, *words: str, command: str = "year") -> None:
    run = treatsim(command, path)
    assert run.status == 2, run.err
    assert run.out == ""
    assert "Traceback" not in run.err
    problems = [line for line in run.err.splitlines() if "nothing was run" not in line]
    assert len(problems) == 1, run.err
    for word in words:
        assert word in problems[0], (word, problems[0])


@pytest.mark.parametrize("command", ["year", "day"])
def test_a_month_above_what_comes_from_outside_the_air(tmp_path, command):
    path = written(tmp_path, (f'"6.3 {KWH}"', f'"16.3 {KWH}"'))
    refused(path, "monthly_irradiation", f"16.3 {KWH} in March", "outside the air", command=command)


def test_months_in_another_unit(tmp_path):
    light = ", ".join(f'"{v} {KWH}"' for v in (17.6, 20.5, 22.7, 24.5, 24.5, 23, 21.6, 21.6, 21.6,
                                               20.2, 18, 16.6))  # fmt: skip
    path = written(tmp_path, (r"monthly_irradiation = \[.*?\]", f"monthly_irradiation = [{light}]"))
    refused(path, "MJ/m2/day written as kWh/m2/day")


def test_latitude_and_longitude_exchanged(tmp_path):
    path = written(tmp_path, ('latitude = "16.2 deg"', 'latitude = "62.6 deg"'),
                   ('longitude = "42.6 deg"', 'longitude = "16.2 deg"'))  # fmt: skip
    refused(path, "latitude 62.6 deg", "are latitude and longitude exchanged?")


@pytest.mark.parametrize("command", ["year", "day"])
@pytest.mark.parametrize("key", ["latitude", "longitude"])
def test_a_site_without_coordinates(tmp_path, key, command):
    refused(written(tmp_path, (f"^{key} = .*?\n", "")), f"{key} is missing", command=command)


@pytest.mark.parametrize("command", ["year", "day"])
def test_a_bank_below_its_reserve(tmp_path, command):
    path = written(tmp_path, (r"^\[operation\].*?\n", '[operation]\nreserve = "19 kWh"\n'))
    refused(path, "operation.reserve = 19 kWh", "holds 18 kWh above", command=command)


def hours(tmp_path: Path, *, zone: str = "-5.0", drop: slice = slice(0)) -> Path:
    """Write a case beside a file of real hours at 36 N, its zone changed or hours dropped."""
    pvlib = pytest.importorskip("pvlib")
    rows = (
        (Path(pvlib.__file__).parent / "data" / "723170TYA.CSV").read_text("latin-1").splitlines()
    )
    head = rows[0].split(",")
    head[3] = zone
    body = rows[2:]
    del body[drop]
    (tmp_path / "hours.csv").write_text(
        "\n".join([",".join(head), rows[1], *body]) + "\n", "latin-1"
    )
    return written(
        tmp_path, (r"^\[site\].*?^\[sun\].*?^\[array\]", '[site]\nlatitude = "36.1 deg"\n'
        'longitude = "-79.95 deg"\naltitude = "273 m"\ntime_zone = "-5 h"\n\n[sun]\n'
        'file = "hours.csv"\n\n[array]'),
    )  # fmt: skip


def test_a_file_in_another_zone_than_it_says(tmp_path):
    refused(hours(tmp_path, zone="0.0"), "hours.csv", "in another time zone than it says", "0.75 h")


def test_a_file_with_missing_hours(tmp_path):
    refused(hours(tmp_path, drop=slice(100, 148)), "hours.csv", "hour")


def test_a_file_of_hours_as_it_should_be(tmp_path):
    run = treatsim("year", hours(tmp_path))
    assert run.status == 0, run.err
    assert "1 year of hours" in run.out


def test_a_cold_box_holds_back_charge_and_a_warm_one_does_not():
    cold, warm = (
        treatsim("year", SEA, "--set", f"battery.temperature={at} degC").out for at in (1, 25)
    )

    def mean(page: str) -> float:
        return float(re.search(r"(\d+) L a day on average", page)[1])

    assert mean(cold) <= mean(warm)
    assert "as warm as the air" not in warm


def test_the_months_of_the_sun_are_printed_as_they_were_given(tmp_path):
    """The table of the reference year at 30 N: what was typed comes out, beside plane and array."""
    light = [3.575, 4.574, 5.679, 6.681, 7.346, 7.771, 7.750, 7.159, 6.058, 4.808, 3.770, 3.215]
    months = ", ".join(f'"{value} {KWH}"' for value in light)
    path = written(
        tmp_path, ('latitude = "16.2 deg"', 'latitude = "30 deg"'),
        (r"monthly_irradiation = \[.*?\]", f"monthly_irradiation = [{months}]"),
        ("^linke_turbidity.*?\n", ""),
    )  # fmt: skip
    page = treatsim("year", path).out
    table = page[page.index("SUN AND ARRAY") : page.index("ENERGY OF")]
    rows = re.findall(r"^ [A-Z][a-z]{2} +([\d.]+) +([\d.]+) +([\d.]+) +([\d.]+)$", table, re.M)
    found = np.array(rows, float)
    assert found.shape == (12, 4)
    assert np.allclose(found[:, 0], light, atol=0.005)
    assert np.all(found[:, 3] < found[:, 2])
