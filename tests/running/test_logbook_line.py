"""Logs of the river's pump, filters and lamp give back what was done to them."""

from __future__ import annotations

import logs
import numpy as np
import pytest

from treatsim import cases
from treatsim.running import logbook

CASE = "cases/river_log.toml"
HOURS = np.arange(0.0, 42 * 24, 8.0)
SHARE, DAYS = HOURS / HOURS[-1], HOURS / 24
SOUND = logs.new_line(HOURS.size)
SEEDS = (1, 2)
WIPE = {84: "sleeve wiped"}  # row
NO_SENSOR = "no change beyond what this sensor shows"
NOTHING = "no change beyond what these instruments show"
LOST = 0.004  # of light in a day, as a logarithm


def judged(folder, line=SOUND, noise=None, seed=1, events=None, reference=None, head=None):
    columns = logs.river_readings(line, noise or logs.Noise(), seed)
    names = list(head or logs.RIVER_HEAD)
    if reference is not None:
        columns["uv.reference_sensor [W/m2]"] = reference(columns["uv.sensor [W/m2]"])
        names.insert(-1, "uv.reference_sensor [W/m2]")
    path = folder / "log.csv"
    rows = logs.as_rows(HOURS, columns, events)
    path.write_text(logs.as_csv(names, rows), "utf-8")
    book = logbook.study(cases.load(CASE), str(path))
    return {unit.unit: unit for unit in book.units}


def names(unit):
    return [cause.name for cause in unit.causes]


def monthly(values, duty_drift=0.0):
    """Readings of a reference sensor once a week; the duty sensor has drifted away from it."""
    shown = np.full(values.size, np.nan)
    shown[::21] = (values / np.exp(duty_drift * SHARE))[::21]
    return shown


@pytest.mark.parametrize("seed", SEEDS)
def test_worn_pump(tmp_path, seed):
    found = judged(tmp_path, SOUND._replace(head=1 - 0.12 * SHARE), seed=seed)
    pump = found["lift_pump"]
    assert names(pump) == ["wear of the pump"]
    assert pump.causes[0].verdict == "suspected"
    assert pump.triggers[0].state == "reached"  # 10 % of the shut-off head
    item = pump.learnt["lift_pump.shutoff_head"]
    assert abs(item.value - 38.0 * 0.88) < 3 * item.spread + 0.003 * 38  # digits of the gauge
    for other in ("bags", "cartridges"):
        assert names(found[other]) == [NOTHING] or not found[other].acts


@pytest.mark.parametrize("seed", SEEDS)
def test_clogged_bags(tmp_path, seed):
    """What is learnt is the mass that was put in; the largest drop is told ahead, then reached."""
    found = judged(tmp_path, SOUND._replace(bags=0.06 + 0.5 * SHARE), seed=seed)["bags"]
    assert names(found) == ["loading, as filters do"]
    assert found.triggers[0].state == "ahead"
    item = found.learnt["bags.captured_mass"]
    assert abs(item.value - 0.56) < 3 * item.spread + 0.01
    full = judged(tmp_path, SOUND._replace(bags=0.06 + 0.9 * SHARE), seed=seed)["bags"]
    assert full.triggers[0].state == "reached"
    assert full.acts


def test_flow_and_temperature_are_no_load(tmp_path):
    """Colder by 8 K: the drop as read rises by the viscosity, the filter is as it was."""
    colder = SOUND._replace(kelvin=297.15 - 8 * SHARE)
    found = judged(tmp_path, colder)
    for name in ("bags", "cartridges"):
        assert not found[name].acts, names(found[name])
        assert abs(found[name].trends["resistance"].now) < 0.05


@pytest.mark.parametrize("seed", SEEDS)
def test_burst_element_stops_the_water(tmp_path, seed):
    line = SOUND._replace(bypass=np.where(DAYS >= 30, 0.55, 1.0))
    found = judged(tmp_path, line, seed=seed)["cartridges"]
    assert names(found) == ["bypass"]
    assert found.causes[0].stop
    assert found.learnt == {}
    noted = judged(tmp_path, line, seed=seed, events={90: "cartridges changed"})["cartridges"]
    assert not any(cause.name == "bypass" for cause in noted.causes)


@pytest.mark.parametrize("seed", SEEDS)
def test_fouled_sleeve(tmp_path, seed):
    """A wipe brings all back: the sleeve, and no lamp."""
    since = np.where(DAYS >= 28, DAYS - 28, DAYS)
    line = SOUND._replace(light=1.25 * np.exp(-LOST * since))
    assert names(judged(tmp_path, line, seed=seed, events=WIPE)["uv"]) == ["fouling of the sleeve"]


@pytest.mark.parametrize("seed", SEEDS)
def test_aged_lamp(tmp_path, seed):
    """A wipe brings nothing back: lamp, and the sensor too where no reference tells them apart."""
    line = SOUND._replace(light=1.25 * np.exp(-LOST * DAYS))
    found = judged(tmp_path, line, seed=seed, events=WIPE)["uv"]
    assert names(found) == ["ageing of the lamp, or the duty sensor"]
    known = judged(tmp_path, line, seed=seed, events=WIPE, reference=monthly)["uv"]
    assert names(known) == ["ageing of the lamp"]


@pytest.mark.parametrize("seed", SEEDS)
def test_lamp_and_sleeve_together(tmp_path, seed):
    since = np.where(DAYS >= 28, DAYS - 28, DAYS)
    line = SOUND._replace(light=1.35 * np.exp(-LOST * since - LOST * DAYS))
    found = judged(tmp_path, line, seed=seed, events=WIPE, reference=monthly)["uv"]
    assert names(found) == ["fouling of the sleeve", "ageing of the lamp"]


@pytest.mark.parametrize("seed", SEEDS)
def test_drifting_sensor(tmp_path, seed):
    """The duty sensor loses a fifth against the reference: no lamp and no sleeve are blamed."""
    line = SOUND._replace(light=1.35 * np.exp(-0.2 * SHARE))
    found = judged(tmp_path, line, seed=seed, reference=lambda v: monthly(v, -0.2))["uv"]
    assert names(found) == ["drift of the duty sensor"]


def test_without_a_wipe_nobody_can_tell(tmp_path):
    found = judged(tmp_path, SOUND._replace(light=1.25 * np.exp(-LOST * DAYS)))["uv"]
    (cause,) = found.causes
    assert cause.verdict == "cannot tell"
    assert cause.name == "slow loss of light: sleeve, lamp or sensor"


def test_dull_water_is_no_lamp(tmp_path):
    """Transmittance falls by 4 points and the sensor with it; light corrected for it does not."""
    found = judged(tmp_path, SOUND._replace(clear=np.round(0.86 - 0.04 * SHARE, 3)))["uv"]
    assert abs(found.trends["light"].now) < 0.02
    assert names(found) == [NO_SENSOR]


def test_less_light_than_the_case_counts_on_stops_the_water(tmp_path):
    found = judged(tmp_path, SOUND._replace(light=np.full(HOURS.size, 0.93)))["uv"]
    stops = [cause.name for cause in found.causes if cause.stop]
    assert "less light than the case counts on" in stops
    item = found.learnt["uv.fouling_factor"]
    assert abs(item.value - 0.93 * 0.90) < 0.01
    more = judged(tmp_path, SOUND)["uv"]
    assert more.learnt == {}  # more light earns nothing


def test_no_false_alarm(tmp_path):
    """20 logs of a sound line through warmth and dull water."""
    alarms = []
    for seed in range(20):
        line = SOUND._replace(
            kelvin=297.15 + 2 * np.sin(DAYS / 5),
            clear=np.round(0.86 - 0.03 * np.sin(DAYS / 3), 3),
        )
        alarms += [
            (seed, unit.unit, names(unit))
            for unit in judged(tmp_path, line, seed=seed).values()
            if unit.acts or any(cause.verdict != "nothing" for cause in unit.causes)
        ]
    assert alarms == []
