"""The numbers of the sheet are those of solve, sweep and find, or of hand calculation."""

from __future__ import annotations

import functools
import re

import numpy as np
import pytest
from command import ROOT

from treatsim import cases
from treatsim.report.sheet import (
    chlorine,
    content,
    dial,
    facts,
    filters,
    light,
    membranes,
    start,
    stops,
)
from treatsim.safety.verdict import judge
from treatsim.studies.find import find
from treatsim.studies.sweep import sweep

LAST_DIGIT = 5.1e-3  # numbers on the sheet have three digits


@functools.cache
def facts_of(name: str, *changes: tuple[str, str]) -> facts.Facts:
    case = cases.load(ROOT / f"cases/{name}.toml", dict(changes))
    return facts.Facts(case, judge(case.solve()), "si")


def grids(block) -> list:
    return [part for part in block.parts if hasattr(part, "rows")]


@pytest.mark.parametrize(("clarity", "lamp"), [(0.86, 0.8), (0.85, 0.9), (0.90, 0.7)])
def test_the_largest_flow_is_that_of_find(clarity, lamp):
    """In water and with a lamp of the table, turned up until the dose is just met."""
    seen = facts_of("river")
    found = light.flows_of(seen, "uv")
    row = int(np.argmin(np.abs(found.clarity - clarity)))
    column = int(np.argmin(np.abs(found.lamps.values - lamp)))
    changes = {"water.uv_transmittance": f"{100 * clarity} %", "uv.ageing_factor": f"{lamp}"}
    case = cases.load(ROOT / "cases/river.toml", changes)
    edge = find(case, "lift_pump.speed", ["uv.dose_credited >= 12 mJ/cm2"]).intervals[-1].high
    flow = float(case.solve({"lift_pump.speed": [edge.value]})["uv.inlet.flow"])
    assert found.flows[row, column] == pytest.approx(flow, rel=1e-6)


def test_the_largest_flow_is_that_of_solve_and_no_report_is_left():
    seen = facts_of("river")
    found = light.flows_of(seen, "uv")
    own = found.flows[found.own, found.lamps.own]
    assert own == pytest.approx(float(np.ravel(seen.value("uv.largest_flow").value)[0]), rel=1e-12)
    (grid,) = grids(light.light_blocks(seen)[0])
    below = [row for row in grid.rows if float(row[0]) < 80]
    assert below
    assert all(cell == "stop" for row in below for cell in row[1:])
    assert np.nanmax(found.flows) * 3600 == pytest.approx(9.5), "the flow the report was made for"


def test_the_lamp_by_its_hours(tmp_path):
    text = (ROOT / "cases/river.toml").read_text("utf-8")
    old = re.search(r"^ageing_factor = .*$", text, re.M)[0]
    new = 'lamp_hours = "4500 h"\nlamp_life = "9000 h"\nend_of_life_factor = "80 %"'
    path = tmp_path / "hours.toml"
    path.write_text(text.replace(old, new), "utf-8")
    case = cases.load(path)
    lamps = light.lamps_of(facts.Facts(case, judge(case.solve()), "si"), "uv")
    assert lamps.words == ["0 h", "2250 h", "4500 h", "6750 h", "9000 h"]
    assert lamps.values == pytest.approx([1.0, 0.95, 0.9, 0.85, 0.8])
    assert lamps.own == 2


@pytest.mark.parametrize(
    ("name", "address"),
    [("river", "lift_pump.speed"), ("sea", "high_pressure_pump.flow"),
     ("brackish_well", "high_pressure_pump.outlet_pressure")],
)  # fmt: skip
def test_the_dial_table_is_that_of_sweep(name, address):
    seen = facts_of(name)
    assert dial.dial_of(seen) == address
    values = dial.settings(seen, address)
    shown = [one for one, _ in dial.shown_results(seen)]
    quantity = seen.field(address)[0]
    unit = {"speed": "1", "flow": "m3/s"}.get(quantity, "Pa")
    table = sweep(seen.case, {address: (values, unit)}, show=shown)
    grid = next(part for part in dial.dial_block(seen).parts if hasattr(part, "rows"))
    assert len(grid.rows) == len(values) >= 6
    for number, one in enumerate(shown):
        for row, value in zip(grid.rows, table.column(one).shown(), strict=True):
            assert float(row[1 + number]) == pytest.approx(float(value), rel=LAST_DIGIT)
    words = {"met": "met", "not_met": "NOT\xa0MET", "not_judged": "none\xa0missed"}
    assert [row[-1] for row in grid.rows] == [words[state] for state in table["state"]]
    assert "NOT\xa0MET" in {row[-1] for row in grid.rows}


def test_the_range_of_the_dial_is_that_of_find():
    seen = facts_of("river")
    told = " ".join(text for text in dial.dial_block(seen).texts())
    assert find(seen.case, "lift_pump.speed").lines()[0] in told


# 5 % label, 720 h old, half-life 4300 h: 5 * 2**(-720/4300) = 4.452 %, that is 44.52 g/L.
# By hand: millilitres = litres * mg/L / (g/L). Source: definition of the trade's percent.
STRENGTH = 50.0 * 2 ** (-720 / 4300)


@pytest.mark.parametrize(("dose", "litres"), [(1.0, 20), (1.5, 10_000), (5.0, 200), (2.0, 1000)])
def test_the_chlorine_table_by_hand(dose, litres):
    grid = chlorine.dose_table(facts_of("river_chlorine"), "chlorine")
    heads = [head.partition(" [")[0] for head in grid.heads]
    assert grid.heads[1].endswith("[mL]")
    row = next(row for row in grid.rows if float(row[0]) == dose)
    cell = float(row[heads.index(f"{litres} L")])
    assert cell == pytest.approx(litres * dose / STRENGTH, rel=LAST_DIGIT)


def test_the_can_by_hand():
    """10 L of 1 % take 10 * 10 / 44.52 = 2.246 L; poured onto 10 L it is 100 g in 12.246 L."""
    seen = facts_of("river_chlorine")
    text = chlorine.recipe(seen, "chlorine", STRENGTH)
    product, share, parts, other = (
        float(n) for n in re.search(
            r"can: ([\d.]+) mL .* is ([\d.]+) % \(1 part to ([\d.]+) .* only ([\d.]+) %", text
        ).groups()
    )  # fmt: skip
    litres = 10 * 10 / STRENGTH
    assert product == pytest.approx(1000 * litres, rel=LAST_DIGIT)
    assert share == pytest.approx(1.0)
    assert parts == pytest.approx(STRENGTH / 10 - 1, rel=LAST_DIGIT)
    assert other == pytest.approx(100 / (10 + litres) / 10, rel=LAST_DIGIT)


@pytest.mark.parametrize("warm", chlorine.WARM)
def test_the_lasting_dose_is_enough_and_a_little_less_is_not(warm):
    seen = facts_of("river_chlorine")
    tank = seen.sheet.units["tank"].parameters
    doses = chlorine.lasting_doses(seen, "chlorine", tank, 1800.0)
    assert np.all(np.diff(doses) > 0), "warmer asks for more"
    dose = doses[chlorine.WARM.index(warm)] * 1e3
    if warm == 30.0:  # the case's own
        told = float(np.ravel(seen.value("chlorine.dose_for_last_cup").value)[0])
        assert dose == pytest.approx(told * 1e3, rel=1e-9)
    for share, kept in ((1 + 1e-6, True), (0.99, False)):
        changes = {"tank.warmest_temperature": f"{warm} degC",
                   "chlorine.dose": f"{dose * share:.9f} mg/L"}  # fmt: skip
        verdict = judge(seen.case.with_settings(changes).solve())
        residuals = [one for one in verdict.limits if one.address.startswith("tank.residual")]
        assert len(residuals) == 3
        assert all(one.state() == "met" for one in residuals) is kept


@pytest.mark.parametrize(
    ("flow", "down", "up"), [(7.7689, "7.76", "7.77"), (7.76, "7.76", "7.76"), (0.0, "0", "0"),
                             (9.999, "9.99", "10"), (123.4, "123", "124")],
)  # fmt: skip
def test_a_bound_is_rounded_to_the_side_that_holds(flow, down, up):
    seen = facts_of("river")
    assert seen.bound(flow / 3600, "flow") == down
    assert seen.bound(flow / 3600, "flow", up=True) == up


def test_the_waiting_time_is_enough_and_five_minutes_less_is_not():
    """Turned up, the light earns 2.5 of 3 log of Giardia; in the cold chlorine needs longer."""
    seen = facts_of("river_chlorine", ("lift_pump.speed", "91.5 %"))
    grid = chlorine.waiting_table(seen, "tank")[0]
    cells = dict(zip(grid.heads[1:], grid.rows[0][1:], strict=True))
    asked = {warm: float(cell) for warm, cell in cells.items() if cell != "NONE"}
    assert min(asked.values()) >= 30
    longer = {warm: wait for warm, wait in asked.items() if wait > 30}
    assert longer, "nothing here asks for more than the least"
    for warm, wait in longer.items():
        base = seen.case.with_settings({"water.temperature": f"{warm} degC"})
        states = [judge(base.with_settings({"tank.waiting_time": f"{w} min"}).solve())
                  for w in (wait, wait - 5)]  # fmt: skip
        good = [chlorine.held(one, "tank")[0][0] for one in states]
        assert good == [True, False]


def test_no_wait_is_enough_without_chlorine_left():
    seen = facts_of("river_chlorine", ("chlorine.dose", "0.7 mg/L"))
    grid = chlorine.waiting_table(seen, "tank")[0]
    assert set(grid.rows[0][1:]) == {"NONE"}


def test_the_filters_are_those_of_solve():
    seen = facts_of("river")
    first, cold = grids(filters.filter_block(seen))
    for row in first.rows:
        name = row[0]
        assert float(row[2]) == pytest.approx(
            float(np.ravel(seen.value(f"{name}.clean_pressure_drop").value)[0]) / 1e5,
            rel=LAST_DIGIT,
        )
        assert float(row[-1]) == {"bags": 1.0, "cartridges": 1.5}[name]
    # viscosity of water, mPa s, at 5, 20 and 30 degC: 1.5182, 1.0016, 0.7972 (iapws_2008, table
    # of the release; from memory)
    factor = {float(row[0]): float(row[1]) for row in cold.rows}
    assert factor[5] / factor[20] == pytest.approx(1.5182 / 1.0016, abs=0.01)
    assert factor[30] / factor[20] == pytest.approx(0.7972 / 1.0016, abs=0.01)
    colder = seen.case.with_settings({"water.temperature": "5 degC"}).solve()
    told = float(colder["bags.clean_pressure_drop"]) / 1e5
    assert float(cold.rows[0][2]) == pytest.approx(told, rel=LAST_DIGIT)


def test_the_membranes_by_temperature_are_those_of_solve():
    seen = facts_of("sea")
    free, held = grids(membranes.membrane_block(seen))
    for row in free.rows[::3]:
        at = judge(seen.case.with_settings({"water.temperature": f"{row[0]} degC"}).solve())
        assert float(row[2]) == pytest.approx(float(at["product.flow"]) * 3600, rel=LAST_DIGIT)
        assert float(row[3]) == pytest.approx(float(at["product.concentration"]) * 1e3,
                                              rel=LAST_DIGIT)  # fmt: skip
    for row in (row for row in held.rows if row[1] != "–"):
        changes = {
            "water.temperature": f"{row[0]} degC",
            "high_pressure_pump.flow": f"{row[1]} m3/h",
        }
        flow = float(seen.case.with_settings(changes).solve()["product.flow"]) * 3600
        assert flow == pytest.approx(0.716, rel=2 * LAST_DIGIT)
    assert "out of reach" in {row[-1] for row in held.rows}


def test_the_salt_that_stops_lies_above_that_of_the_sheet():
    for name in ("sea", "brackish_well"):
        seen = facts_of(name)
        now = float(np.ravel(seen.value("product.concentration").value)[0])
        assert now < stops.salt_stop(seen) <= max(1.2 * now, 1.2)


def test_every_stop_value_is_the_limit_the_case_is_judged_by():
    told = "\n".join(stops.stop_block(facts_of("river_chlorine")).texts())
    for text in ("above 1 NTU", "is below 0.5 mg/L", "tap is below 0.2 mg/L", "above 5 mg/L",
                 "bags 1 bar", "cartridges 1.5 bar", "above 7.76 m3/h"):  # fmt: skip
        assert text in told
    tight = facts_of("river", ("uv.target.log", "2.0"))
    least = tight.told("uv.largest_flow")
    assert f"above {least}" in "\n".join(stops.stop_block(tight).texts())


def test_every_input_changes_the_mark(monkeypatch):
    path = ROOT / "cases/river_chlorine.toml"
    first = content.mark_of(cases.load(path))
    assert first == content.mark_of(cases.load(path))
    seen = {first}
    for address, value in (("lift_pump.speed", "74.01 %"), ("uv.lamp_hours", "8999 h"),
                           ("health.survey_done", "no"), ("chlorine.stock_age", "721 h"),
                           ("site.altitude", "211 m"), ("analytes.iron", "0.21 mg/L")):  # fmt: skip
        seen.add(content.mark_of(cases.load(path, {address: value})))
    monkeypatch.setattr(content.treatsim, "__version__", "9.9")
    seen.add(content.mark_of(cases.load(path)))
    assert len(seen) == 8


def test_a_dial_that_a_hold_sets_is_told_as_found():
    """The file's value is only a first guess."""
    seen = facts_of("well_sulfate")
    found = np.ravel(seen.value("high_pressure_pump.outlet_pressure").value)[0]
    told = f"{found / 1e5:.3g} bar"
    assert told != "10 bar"
    words = " ".join(
        text
        for block in (dial.dial_block(seen), start.start_block(seen, start.Starts()))
        for text in block.texts()
    )
    assert words.count(told) >= 1
    assert "outlet_pressure to 10 bar" not in words
