"""A flow meter that drifts is told apart from a membrane that does, where three flows are logged.

Logs are made by the train itself with the noise of the stated instruments; one meter then drifts.
Who is hurt: a membrane thrown out, or cleaned with acid, for a meter; water given out by a meter.
"""

import logs
import numpy as np
import pytest

from treatsim import cases
from treatsim.running import logbook, membrane_log
from treatsim.running.log_checks import read_log

CASE = cases.load("cases/worn_well.toml")
UNITS = CASE.flowsheet().units
TABLE = CASE.sections["logbook"]
HOURS = np.arange(0.0, 60 * 24, 8.0)
SHARE = HOURS / HOURS[-1]
FRESH = logs.fresh(HOURS.size)
FLOW = {"feed": logs.HEAD[3], "permeate": logs.HEAD[4],
        "concentrate": "ro.concentrate.flow [m3/h]"}  # fmt: skip


def study(folder, wear=FRESH, drifts=(), three=True, seed=1, apart=1.0):
    """Return what a log says; `drifts` holds a port and the share its meter moves by the end."""
    columns = logs.vessel_log(HOURS, wear)
    columns[FLOW["concentrate"]] = apart * (columns[FLOW["feed"]] - columns[FLOW["permeate"]])
    for port, share in drifts:
        columns[FLOW[port]] = columns[FLOW[port]] * (1 + share * SHARE)
    random, noise = np.random.default_rng(seed), logs.Noise()
    sizes = {"flow": noise.flow, "conductivity": noise.conductivity}
    for head, values in columns.items():
        kind = next((v for k, v in sizes.items() if k in head), None)
        shift = random.standard_normal(HOURS.size)
        if kind:
            columns[head] = values * (1 + kind * shift)
        elif "pressure" in head:
            columns[head] = values + noise.pressure * shift
        elif "temperature" in head:
            columns[head] = values + noise.temperature * shift
    if not three:
        del columns[FLOW["concentrate"]]
    path = folder / "log.csv"
    head = [logs.HEAD[0], *columns, logs.HEAD[-1]]
    path.write_text(logs.as_csv(head, logs.as_rows(HOURS, columns, digits=1)), "utf-8")
    log = read_log(str(path), logbook.known_columns(UNITS), logbook.trade_words(UNITS))
    return membrane_log.study(UNITS["ro"], CASE, log, TABLE)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("port", "share"), [("permeate", -0.12), ("permeate", 0.12),
                                             ("feed", -0.10)])  # fmt: skip
def test_the_meter_that_drifts_is_named_and_the_membrane_let_be(tmp_path, port, share, seed):
    found = study(tmp_path, drifts=[(port, share)], seed=seed)
    assert [c.name for c in found.causes] == [f"the {port} flow meter drifts"]
    assert found.causes[0].verdict == "suspected"
    assert found.acts
    assert not any(t.state == "reached" for t in found.triggers)
    for key, truth in (("water", FRESH.water[0, 0]), ("salt", FRESH.salt[0, 0])):
        item = found.learnt[f"ro.{key}_permeability_ratio"]  # the membrane's, not the meter's
        assert abs(item.value / truth - 1) < max(0.02, 3 * item.spread / truth)
        assert port in item.said


def test_without_the_third_flow_it_says_that_it_cannot_tell(tmp_path):
    found = study(tmp_path, drifts=[("permeate", -0.12)], three=False)
    assert "flow meter" not in found.causes[0].name
    assert found.causes[0].verdict == "cannot tell"
    assert any("not all logged" in line for line in found.causes[0].evidence)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_membrane_that_is_worn_is_no_meter(tmp_path, seed):
    wear = FRESH._replace(water=FRESH.water * (1 - 0.15 * SHARE))
    found = study(tmp_path, wear, seed=seed)
    assert [c.name for c in found.causes] == ["a film on the membrane, or compaction"]
    assert any("no flow meter" in line for line in found.causes[0].evidence)


@pytest.mark.parametrize("seed", range(12))
def test_a_sound_unit_accuses_no_meter(tmp_path, seed):
    assert not any("meter" in c.name for c in study(tmp_path, seed=seed).causes)


def test_where_membrane_and_meter_both_move_it_does_not_guess(tmp_path):
    wear = FRESH._replace(water=FRESH.water * (1 - 0.2 * SHARE))
    found = study(tmp_path, wear, drifts=[("permeate", -0.12)])
    assert found.causes[0].name.startswith("a flow meter drifts")
    assert found.causes[0].verdict == "cannot tell"
    learnt = found.learnt["ro.water_permeability_ratio"]
    assert "not known" in learnt.said
    assert abs(learnt.value - wear.water[0, -1]) < 1.96 * learnt.spread  # the doubt is in it


def test_a_seal_that_fails_still_stops_the_water(tmp_path):
    wear = FRESH._replace(leak=np.where(HOURS >= 44 * 24, 0.008, 0.0))
    found = study(tmp_path, wear, drifts=[("feed", -0.10)])
    assert found.causes[0].stop
    assert any("flow meter" in c.name for c in found.causes)


def test_meters_that_never_agreed_are_noted_and_accuse_nobody(tmp_path):
    assert not any("calibrate" in note for note in study(tmp_path).notes)
    found = study(tmp_path, apart=1.08)
    assert any("calibrate the flow meters" in note for note in found.notes)
    assert not any("meter" in c.name for c in found.causes)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_concentrate_meter_never_costs_the_membrane_its_name(tmp_path, seed):
    found = study(tmp_path, drifts=[("concentrate", 0.15)], seed=seed)
    assert len(found.causes) == 1
    assert "concentrate" in found.causes[0].name
