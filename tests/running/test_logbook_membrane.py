"""Logs made by the train itself, element by element, give back what was done to them.

The wear is ours; who makes the log solves one element after the other with its own permeabilities,
who reads it knows one vessel only. Noise is that of the instruments the case states.
"""

from __future__ import annotations

from types import SimpleNamespace

import logs
import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.correlations.ro.membrane_transport import arrhenius_factor
from treatsim.correlations.ro.normalisation import OperatingData, flow_temperature_factor
from treatsim.operations.ro_element import element_of
from treatsim.running import logbook, membrane_log
from treatsim.running.log_checks import read_log
from treatsim.running.logbook_table import HABIT
from treatsim.running.membrane_causes import BRINE_SEAL, O_RING
from treatsim.running.membrane_inverse import VesselReadings
from treatsim.running.membrane_normal import by_standard

CASE = cases.load("cases/worn_well.toml")
UNITS = CASE.flowsheet().units
TABLE = CASE.sections["logbook"]
HOURS = np.arange(0.0, 60 * 24, 8.0)
SHARE = HOURS / HOURS[-1]
LATE = HOURS >= 44 * 24
FRESH = logs.fresh(HOURS.size)
SEEDS = (1, 2)
FRONT = "fouling at the front: particles, film of germs"
NOTHING = "no change beyond what these instruments show"


def cooling(hours):
    return 25 - 8 * hours / hours[-1]


def saltier(hours):
    return 2.45 * (1 + 0.3 * hours / hours[-1])


def read(folder, wear=FRESH, noise=logs.NONE, seed=1, digits=0, hours=HOURS, **site):
    """Return the readings of a log that was written to a file and read back."""
    rows = logs.as_rows(hours, logs.vessel_log(hours, wear, noise, seed, **site), digits=digits)
    path = folder / "log.csv"
    path.write_text(logs.as_csv(logs.HEAD, rows), "utf-8")
    return read_log(str(path), logbook.known_columns(UNITS), logbook.trade_words(UNITS))


def judged(*arguments, **site):
    return membrane_log.study(UNITS["ro"], CASE, read(*arguments, **site), TABLE)


WORN = {
    "front fouling": (logs.front_fouling(FRESH, 0.6 * SHARE), {}, FRONT, False),
    "tail scale": (logs.tail_scale(FRESH, 0.6 * SHARE), {}, "scale in the tail", False),
    "o-ring": (FRESH._replace(leak=np.where(LATE, 0.008, 0.0)), {}, O_RING, True),
    "brine seal": (FRESH._replace(past=np.where(LATE, 0.35, 0.0)), {}, BRINE_SEAL, True),
    "o-ring in the last two rows": (
        FRESH._replace(leak=np.where(HOURS[-2] <= HOURS, 0.01, 0.0)), {}, O_RING, True,
    ),
    "chlorine": (
        FRESH._replace(water=FRESH.water * (1 + 0.25 * SHARE), salt=FRESH.salt * (1 + SHARE)),
        {}, "membrane attacked, as by chlorine", False,
    ),
    "film": (
        FRESH._replace(water=FRESH.water * (1 - 0.15 * SHARE)),
        {}, "a film on the membrane, or compaction", False,
    ),
    "permeate meter drifts": (  # as more salt would look: nobody can tell, and it says so
        FRESH._replace(salt=FRESH.salt * (1 + 0.25 * SHARE)),
        {}, "ageing, an early leak, or the conductivity meter", False,
    ),
    "colder": (FRESH, {"warmth": cooling}, "temperature only", False),
    "saltier": (FRESH, {"salt": saltier}, "the feed changed", False),
    "colder and saltier": (
        FRESH, {"warmth": cooling, "salt": saltier}, "temperature and feed changed", False,
    ),
    "nothing": (FRESH, {}, NOTHING, False),
}  # fmt: skip


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", WORN)
def test_a_log_gives_its_cause_back(tmp_path, name, seed):
    """The cause alone, no second one; what is not the membrane's calls for nothing."""
    wear, site, cause, stop = WORN[name]
    found = judged(tmp_path, wear, logs.Noise(), seed, **site)
    assert [c.name for c in found.causes] == [cause]
    assert [c.stop for c in found.causes] == [stop]
    if name in ("film", "permeate meter drifts"):
        assert found.causes[0].verdict == "cannot tell"
    if not stop and wear is FRESH:
        assert found.causes[0].verdict == "nothing"
        assert not found.acts


def test_a_seal_that_fails_after_a_season_of_fouling_is_told_beside_it(tmp_path):
    wear = logs.front_fouling(FRESH, 0.6 * SHARE)._replace(leak=np.where(LATE, 0.008, 0.0))
    found = judged(tmp_path, wear, logs.Noise())
    assert [c.name for c in found.causes] == [O_RING, FRONT]
    slow = found.causes[1].evidence
    (salt,) = [line for line in slow if line.startswith("salt")]
    assert "no change beyond" in salt  # though the whole change of salt is large
    assert found.trends["salt"].now > 0.3


def test_words_of_the_evidence_follow_the_numbers(tmp_path):
    """Said to have fallen, risen or not changed, as the interval beside it says."""
    for name, (wear, site, *_) in WORN.items():
        for cause in judged(tmp_path, wear, logs.Noise(), 2, **site).causes:
            for line in cause.evidence:
                number = line.partition("(95 %")[0].split()[-2:-1]
                if line.endswith((": fell", ": rose")):
                    assert number[0][0] == ("-" if line.endswith("fell") else "+"), (name, line)
                    assert abs(float(number[0])) >= 4.7, (name, line)  # half of a trigger


def test_no_false_alarm(tmp_path):
    """60 logs of a sound unit through a season of warmth and salt: none calls for anything.

    With none in 60 the rate lies under 5 % with 95 % (rule of three).
    """
    hours = np.arange(0.0, 60 * 24, 24.0)
    wear = logs.fresh(hours.size)
    alarms = []
    for seed in range(60):
        found = judged(
            tmp_path, wear, logs.Noise(), seed, hours=hours,
            warmth=lambda h: 24 + 2 * np.sin(2 * np.pi * h / 500),
            salt=lambda h: 2.45 * (1 + 0.03 * np.sin(2 * np.pi * h / 300)),
        )  # fmt: skip
        if found.acts or any(c.verdict != "nothing" for c in found.causes):
            alarms.append((seed, found.causes))
    assert alarms == []


def worn_evenly(hours):
    """Wear that is the same in every element, so that the lumped model is the true one."""
    fresh, share = logs.fresh(hours.size), hours / hours[-1]
    return fresh._replace(
        water=fresh.water * np.exp(-0.15 * share), salt=fresh.salt * np.exp(0.2 * share)
    )


def test_without_noise_the_permeabilities_come_back(tmp_path):
    """To the digits of the file."""
    wear = worn_evenly(HOURS)
    found = judged(tmp_path, wear, digits=4, warmth=cooling, salt=saltier)
    assert_allclose(found.series["water"].values, wear.water[0], rtol=2e-5)
    assert_allclose(found.series["salt"].values, wear.salt[0], rtol=2e-5)
    assert_allclose(found.series["drop"].values, 1.0, rtol=2e-4)


def test_with_noise_they_come_back_within_the_stated_uncertainty(tmp_path):
    """Single rows: the stated standard error is that of the scatter, and 95 % of rows lie within.

    Bounds: four standard deviations of the share and of the scatter over as many rows.
    """
    wear = worn_evenly(HOURS)
    truth = {"water": wear.water[0], "salt": wear.salt[0], "drop": np.ones(HOURS.size)}
    misses = {key: [] for key in truth}
    covered = []
    for seed in range(20):
        found = judged(tmp_path, wear, logs.Noise(), seed, digits=2, warmth=cooling)
        first = found.time <= found.time[0] + TABLE.baseline
        for key, true in truth.items():
            one, trend = found.series[key], found.trends[key]
            misses[key].append(np.log(one.values / true) * one.values / one.error)
            change = np.log(true[-1] / np.median(true[first]))
            covered.append(abs(trend.now - change) <= trend.error)
    for key, parts in misses.items():
        z = np.concatenate(parts)
        assert abs(np.mean(np.abs(z) < 1.96) - 0.95) < 4 * np.sqrt(0.05 * 0.95 / z.size), key
        assert abs(np.std(z) - 1) < 4 / np.sqrt(2 * z.size), key
    # of the changes since the start, 95 % intervals: three standard deviations of 60
    assert np.mean(covered) > 0.95 - 3 * np.sqrt(0.05 * 0.95 / len(covered))


def test_a_drop_by_its_own_gauge_has_its_own_error(tmp_path):
    """One gauge instead of two: the stated error of the drop is smaller by the root of two."""
    log = read(tmp_path, FRESH, logs.Noise())
    columns = dict(log.columns)
    columns["ro.pressure_drop"] = columns["ro.feed.pressure"] - columns["ro.concentrate.pressure"]
    own = membrane_log.study(UNITS["ro"], CASE, log._replace(columns=columns), TABLE)
    two = membrane_log.study(UNITS["ro"], CASE, log, TABLE)
    gauge = TABLE.pressure_error / columns["ro.pressure_drop"]
    errors = [found.series["drop"].error / found.series["drop"].values for found in (own, two)]
    assert_allclose(errors[1] ** 2 - errors[0] ** 2, gauge**2, rtol=1e-9)
    # of the feed gauge twice, all and by half, against both by half: more in the driving pressure
    assert np.all(own.series["water"].error > two.series["water"].error)


def test_learnt_values_hold_the_truth(tmp_path):
    wear = worn_evenly(HOURS)
    found = judged(tmp_path, wear, logs.Noise(), 5)
    for key, true in (("water", 0.92 * np.exp(-0.15)), ("salt", 1.15 * np.exp(0.2))):
        item = found.learnt[f"ro.{key}_permeability_ratio"]
        assert abs(item.value - true) < 3 * item.spread
    drop = found.learnt["ro.pressure_drop_ratio"]
    assert abs(drop.value - 1.0) < 3 * drop.spread
    closed = logs.front_fouling(FRESH, 0.6 * SHARE)
    item = judged(tmp_path, closed, logs.Noise(), 5).learnt["ro.pressure_drop_ratio"]
    assert 1.2 < item.value < np.max(closed.drop)


@pytest.mark.parametrize("name", ["o-ring", "brine seal"])
def test_what_runs_past_a_seal_is_not_learnt_as_the_membranes(tmp_path, name):
    wear, site, cause, _ = WORN[name]
    found = judged(tmp_path, wear, logs.Noise(), 3, **site)
    assert np.exp(found.trends["salt"].now) > 1.3
    for key, true in (("water", 0.92), ("salt", 1.15)):
        item = found.learnt[f"ro.{key}_permeability_ratio"]
        assert abs(item.value - true) < 0.03 * true
    assert cause in found.learnt["ro.salt_permeability_ratio"].said


def test_the_standard_as_its_worked_example_has_it():
    """Reference case N1 (constructed; tests/validation): the element's own temperature factors.

    They stand where the example has 1.03 per kelvin; the ratio of both is exact.
    """
    unit = SimpleNamespace(parameters=SimpleNamespace(element="brackish-4in"))
    element = element_of("brackish-4in")
    hour = 3600.0
    start = VesselReadings(2.5 / hour, 55e5, 1.4e5, 0.5e5, 35.0, 1.00 / hour, 0.350, 298.15)
    now = VesselReadings(0.9 / 0.35 / hour, 58e5, 1.6e5, 0.4e5, 36.0, 0.90 / hour, 0.420, 291.15)
    flow, passage = by_standard(unit, VesselReadings(*map(np.atleast_1d, now)), start)
    fall = flow_temperature_factor(291.15)
    own = arrhenius_factor(np.array([291.15]), element.water_activation)
    assert_allclose(flow * hour * own / fall, 0.886260, rtol=2e-6)
    salt = arrhenius_factor(np.array([291.15]), element.salt_activation)
    assert_allclose(passage * salt / fall, 1.339899e-2, rtol=2e-6)


def test_beyond_the_range_of_the_standards_formula_is_told(tmp_path):
    from treatsim.running.membrane_normal import _outside

    start = VesselReadings(2.5, 55e5, 1.4e5, 0.5e5, 35.0, 1.0, 0.35, 298.15)
    (told,) = _outside(start._replace(feed_concentration=np.array([35.0, 90.0])), start)
    assert told.startswith("1 rows lie outside")
    assert OperatingData  # the fields are the practice's own


def test_cleaning_is_called_for_where_the_trade_does(tmp_path):
    """10 % of normalised flow, 15 % of pressure drop, 10 % of salt passage; the day it crossed."""
    front = judged(tmp_path, logs.front_fouling(FRESH, 0.6 * SHARE), digits=3)
    scale = judged(tmp_path, logs.tail_scale(FRESH, 0.6 * SHARE), digits=3)
    assert [round(t.limit, 2) for t in front.triggers] == [-0.10, 0.15, 0.10]
    assert {t.source for t in front.triggers} == {HABIT}
    assert [t.state for t in scale.triggers] == ["reached", "none", "reached"]
    assert [t.state for t in front.triggers[:2]] == ["reached", "reached"]
    for found, n, key in ((front, 0, "flow_normalised"), (scale, 2, "passage_normalised")):
        trigger, values = found.triggers[n], found.series[key].values
        first = found.time <= found.time[0] + TABLE.baseline
        change = values / np.median(values[first]) - 1
        crossed = found.time[np.argmax(np.abs(change) >= abs(trigger.limit))]
        # the trend is straight in the logarithm, the wear is not quite: a tenth of the log
        assert abs(trigger.when - crossed) < 0.1 * found.time[-1]


def test_a_trigger_ahead_has_a_date_with_its_band(tmp_path):
    """Half of the fouling in the log: the date lies where the same pace goes on to."""
    half = logs.front_fouling(FRESH, 0.3 * SHARE)
    found = judged(tmp_path, half, logs.Noise(), 4)
    (flow, *_) = found.triggers
    assert flow.state == "ahead"
    assert found.time[-1] < flow.earliest < flow.when < flow.latest
    twice = judged(tmp_path, logs.front_fouling(FRESH, 0.6 * SHARE), digits=3)
    begun = twice.triggers[0].when / found.time[-1] * 2  # at half the pace
    assert flow.earliest < begun * found.time[-1] * 1.15
    assert flow.latest > begun * found.time[-1] * 0.85


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ro.permeate.conductivity": lambda v: 120 * v}, "as salty as the feed"),
        ({"ro.permeate.flow": lambda v: 3 * v}, "the permeate is as much as the feed"),
        ({"ro.concentrate.pressure": lambda v: v + 2e5}, "the concentrate's pressure is not below"),
        ({"ro.feed.conductivity": lambda v: np.where(np.arange(v.size) == 3, np.nan, v)},
         "a reading is missing"),
        ({"ro.permeate.flow": lambda v: np.where(np.arange(v.size) == 3, 0, v)}, "no permeate"),
    ],
)  # fmt: skip
def test_rows_that_contradict_themselves_are_named(tmp_path, change, words):
    log = read(tmp_path)
    columns = {name: values.copy() for name, values in log.columns.items()}
    for name, move in change.items():
        moved = move(columns[name])
        columns[name][:4] = moved[:4]
    found = membrane_log.study(UNITS["ro"], CASE, log._replace(columns=columns), TABLE)
    rows = [fault for fault in found.left_out if words in fault.what]
    assert rows
    assert all(fault.dropped for fault in rows)
    assert {fault.line for fault in rows} <= {int(n) for n in log.line[:4]}
    assert found.time.size == log.time.size - len({fault.line for fault in found.left_out})
