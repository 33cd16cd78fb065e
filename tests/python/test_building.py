"""A flowsheet written in Python gives what its case file gives, and says what is wrong as one."""

from __future__ import annotations

import dataclasses
import inspect
import pickle
import re
import tomllib

import numpy as np
import pytest
from numpy.testing import assert_allclose
from plant import ROOT

import treatsim
from treatsim import (
    FeedPump,
    Flowsheet,
    Hose,
    NoSolutionError,
    RequestError,
    ThrottleValve,
    Water,
    cases,
    operations,
)

RTOL = 1e-12
WATERS = {"seawater": "sea"}
HOSE = {"length": "15 m", "bore": "50 mm", "roughness": "0.02 mm", "rise": "4 m", "fittings": 5}
PUMP = {
    "speed": "85 %", "shutoff_head": "38 m", "rated_flow": "9 m3/h", "rated_head": "29 m",
    "pump_efficiency": 0.52, "motor_efficiency": 0.8, "drive_efficiency": 0.94,
    "electronics": "12 W", "suction_lift": "2 m", "required_suction_head": "2.5 m",
}  # fmt: skip
FRESH = {"temperature": "24 degC", "salinity": "0.3 g/L"}
SITE = {"altitude": "210 m"}


def by_name(kind: str):
    return getattr(treatsim, operations.unit_class(kind).__name__)


def written(name: str) -> Flowsheet:
    """Write a case in Python, with the texts of its file as keywords."""
    data = tomllib.loads((ROOT / f"cases/{name}.toml").read_text("utf-8"))
    units = [
        by_name(table["kind"])(name=unit, **{k: v for k, v in table.items() if k != "kind"})
        for unit, table in data["units"].items()
    ]
    water = data["water"]
    make = getattr(Water, WATERS.get(water["kind"], water["kind"]))
    first = [water.pop("ions")] if water.pop("kind") == "ions" else []
    sections = {s: data[s] for s in ("site", "people", "health", "analytes") if s in data}
    holds = [(h["adjust"], h["until"], h["equals"]) for h in data.get("hold", [])]
    return Flowsheet(
        units, data["flowsheet"]["links"], make(*first, **water),
        title=data["title"], holds=holds, **sections,
    )  # fmt: skip


def same(one, other):
    assert set(one.values) == set(other.values)
    for address, value in one.values.items():
        assert_allclose(other.values[address].value, value.value, rtol=RTOL, err_msg=address)


@pytest.mark.parametrize("name", ["river", "sea", "brackish_well", "river_chlorine"])
def test_it_gives_what_the_case_file_gives(name):
    case, line = treatsim.load(ROOT / f"cases/{name}.toml"), written(name)
    result = line.solve()
    same(case.solve(), result)
    verdicts = treatsim.judge(case.solve()), treatsim.judge(result)
    assert [v.state() for v in verdicts] == [verdicts[0].state()] * 2
    same(*verdicts)
    for address in ("product.flow", "energy.specific"):
        assert_allclose(result[address], treatsim.solve(case)[address], rtol=RTOL)


def test_numbers_in_si_are_the_same_line():
    case = treatsim.load(ROOT / "cases/river.toml")

    def plain(record):
        return {item.name: getattr(record, item.name) for item in dataclasses.fields(record)}

    units = [by_name(k)(name=n, **plain(case.parameters[n])) for n, k in case.kinds.items()]
    water = {k: v for k, v in plain(case.sections["water"]).items() if k not in ("kind", "ions")}
    line = Flowsheet(
        units, case.links, Water.fresh(**water), site=plain(case.sections["site"])
    )  # fmt: skip
    for address in ("product.flow", "energy.specific", "uv.dose_credited"):
        assert_allclose(line.solve()[address], case.solve()[address], rtol=RTOL, err_msg=address)


def small(**changes) -> Flowsheet:
    units = [FeedPump(name="pump", **PUMP), Hose(name="hose", **HOSE)]
    given = {"units": units, "links": "pump > hose > tank", "water": Water.fresh(**FRESH)}
    return Flowsheet(**(given | {"site": SITE} | changes))


def test_studies_take_it():
    line = small(title="small, invented")
    assert treatsim.solve(line).state in ("met", "not_judged")
    assert treatsim.find(line, "pump.speed", "product.flow >= 5 m3/h").found
    table = treatsim.sweep(line, {"hose.length": ([10, 20], "m"), "pump.speed": "60 %,80 %"})
    assert len(table) == 4
    assert pickle.loads(pickle.dumps(line)).solve()["product.flow"] == line.solve()["product.flow"]
    assert repr(line) == "<Flowsheet, small, invented: pump > hose > tank>"


def test_a_hold_is_met():
    line = small(holds=[("pump.speed", "product.flow", "6 m3/h")])
    assert_allclose(line.solve()["product.flow"].to("m3/h"), 6.0, rtol=1e-9)


def test_a_limit_is_overridden_and_waived():
    key = "suction_head_available"
    strict = treatsim.judge(small(limits={"pump": {key: "40 m"}}).solve())
    assert [limit.address for limit in strict.of_state("not_met")] == [f"pump.{key}"]
    waived = treatsim.judge(small(limits={"pump": {key: {"waived": "submerged soon"}}}).solve())
    assert [limit.address for limit in waived.of_state("waived")] == [f"pump.{key}"]


def test_a_flowsheet_alone_promises_nothing():
    """Nobody asked for a dose, a log credit or an analysis: that is not judged, never met."""
    verdict = treatsim.judge(small().solve())
    assert verdict.state() == "not_judged"
    assert not verdict.meets[0]


def test_without_an_operating_point_there_is_no_number():
    result = small(units=[FeedPump(name="pump", **PUMP | {"speed": "15 %"}),
                          Hose(name="hose", **HOSE)]).solve()  # fmt: skip
    with pytest.raises(NoSolutionError, match="nothing flows"):
        result["product.flow"]
    assert "no answer" in repr(result)
    assert "no answer" in result._repr_html_()
    with pytest.raises(NoSolutionError):
        treatsim.solve(small().changed(parameters=dict(result_parameters(result))))


def result_parameters(result):
    return {name: unit.parameters for name, unit in result.sheet.units.items()}


def test_units_and_answers_say_in_short_what_they_are():
    pump = FeedPump(name="pump", **PUMP)
    assert repr(pump) == "<FeedPump, pump: speed = 85 %>"
    assert repr(Hose(name="hose", **HOSE)) == "<Hose, hose>"
    line = Flowsheet([pump], "pump > tank", Water.fresh(**FRESH), site=SITE)
    result = line.solve()
    assert "product.flow" in result
    assert list(treatsim.judge(result))[: len(list(result))] == list(result)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"links": None}, "links is empty|not fed"),
        ({"links": [3]}, "links: texts such as"),
        ({"holds": ("pump.speed", "product.flow", "6 m3/h")}, "holds: a list of"),
        ({"holds": [("pump.speed", "product.flow")]}, "holds: a list of"),
    ],
)
def test_arguments_of_another_kind_are_refused(change, words):
    given = {"links": "pump > tank", "water": Water.fresh(**FRESH), "site": SITE} | change
    with pytest.raises(RequestError, match=words):
        Flowsheet([FeedPump(name="pump", **PUMP)], **given)
    with pytest.raises(RequestError, match="ions is missing"):
        Water.ions(None, temperature="20 degC", ph=7.0)


def test_a_flowsheet_has_no_text_to_change():
    line = Flowsheet(
        [FeedPump(name="pump", **PUMP)], "pump > tank", Water.fresh(**FRESH), site=SITE
    )
    with pytest.raises(RequestError, match="make it anew"):
        line.with_settings({"pump.speed": "80 %"})


# what is wrong is told in one line for each fault, as in a case file


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({"length": "15"}, 'units.hose.length = "15": a unit is missing; for example "15 m"'),
        ({"lenght": 3}, 'units.hose.lenght: no such key; did you mean "length"?'),
        ({"bore": "50 bar"}, 'units.hose.bore = "50 bar": "bar" is no unit of bore'),
        ({"bore": -1.0}, "units.hose.bore = -1.0: a bore lies "),
        ({"length": float("nan")}, "units.hose.length = nan: every value is a finite number"),
        ({"length": True}, "units.hose.length = true: a number or a text with a unit belongs here"),
        ({"length": [1, 2]}, "units.hose.length = [1, 2]: one value belongs here; give several"),
        ({"length": None}, "units.hose.length is missing: "),
        ({"roughness": "4 mm"}, "units.hose.roughness: more than a twentieth"),
    ],
)
def test_a_wrong_parameter_is_one_line(changes, line):
    with pytest.raises(RequestError) as told:
        Hose(name="hose", **HOSE | changes)
    assert len(told.value.problems) == 1
    assert str(told.value).startswith(line)


def test_the_line_is_that_of_the_case_file():
    text = (ROOT / "cases/river.toml").read_text("utf-8").replace('"74 %"', '"740 %"')
    data = tomllib.loads(text)
    with pytest.raises(RequestError) as by_file:
        cases.interpret(data, "r.toml")
    table = {k: v for k, v in data["units"]["lift_pump"].items() if k != "kind"}
    with pytest.raises(RequestError) as by_python:
        FeedPump(name="lift_pump", **table)
    assert by_file.value.problems == [f"r.toml: {by_python.value}"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"water": None}, "water: treatsim.Water.fresh"),
        ({"water": {"temperature": 297}}, "water: treatsim.Water.fresh"),
        ({"links": "pump > hos > tank"}, 'no unit "hos"; did you mean "hose"'),
        ({"links": []}, "flowsheet.links is empty"),
        ({"units": [Hose(name="hose", **HOSE)] * 2}, "units.hose: two units have this name"),
        ({"units": ["pump"]}, "'pump' is no unit operation"),
        ({"units": [Hose(name="water", **HOSE)]}, 'units.water: "water" is the name of a table'),
        ({"units": [Hose(name="Big Hose", **HOSE)]}, "units.Big Hose: a unit's name"),
        ({"site": {}}, "site.altitude is missing: feed_pump pump needs it"),
        ({"site": {"altitude": "9 km"}}, 'site.altitude = "9 km": an altitude lies'),
        ({"site": "210 m"}, "site: a mapping"),
        ({"helth": {}}, "helth: no such table; known: site, sun, array, battery, loads"),
        ({"limits": {"pmp": {}}}, "limits: no unit pmp"),
        ({"limits": {"pump": {"speed": "1 m"}}}, "units.pump.limits.speed: no limit to be"),
        ({"holds": [("pump.sped", "product.flow", "6 m3/h")]}, "hold.adjust: no input"),
        ({"analytes": {"arsenik": "1 mg/L"}}, 'analytes.arsenik: no guideline value for it; did'),
    ],
)  # fmt: skip
def test_a_wrong_flowsheet_is_told(changes, words):
    with pytest.raises(RequestError, match=re.escape(words)):
        small(**changes)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Water.fresh(temperature="24 degC"), "water.salinity is missing"),
        (lambda: Water.fresh(temperature=24, salinity="0.3 g/L"), "water.temperature = 24: "),
        (lambda: Water.fresh(salinity="0.3 g/L"), "water.temperature is missing"),
        (lambda: Water.sea(temperature="20 degC", salinity="35 psu"), "water.salinity"),
        (lambda: Water.sea(temperature="20 degC", conductivity="50 mS/cm"), "water.salinity is"),
        (lambda: Water.fresh(uv_transmittance=86, **FRESH), "uv_transmittance = 86: "),
        (lambda: Water.ions({"Na": "1 mg/L"}, temperature="20 degC"), "water.ph is missing"),
        (lambda: Water.ions({"Na": 0.1}, temperature="20 degC", ph=7), "a bare number"),
        (lambda: Water.ions({}, temperature="20 degC", ph=7), "water.ions is missing"),
    ],
)
def test_a_wrong_water_is_told(make, words):
    with pytest.raises(RequestError, match=re.escape(words)):
        make()


# the classes


@pytest.mark.parametrize("kind", operations.kinds())
def test_every_kind_is_a_name_and_takes_its_parameters_by_keyword(kind):
    unit = by_name(kind)
    assert unit is operations.unit_class(kind)
    assert not unit.__dataclass_params__.init, "@dataclass(..., init=False): Unit makes it"
    fields = [f.name for f in dataclasses.fields(operations.parameters_class(kind))]
    assert list(inspect.signature(unit).parameters) == ["name", *fields]


def test_a_record_or_keywords_not_both():
    record = Hose(name="hose", **HOSE).parameters
    assert Hose(name="hose", parameters=record) == Hose(name="hose", **HOSE)
    with pytest.raises(RequestError, match="not both"):
        Hose(name="hose", parameters=record, length="3 m")
    assert ThrottleValve(name="valve").parameters is not None


@pytest.mark.parametrize(
    "number", [15, np.float32(15), np.int64(15), np.array(15.0), treatsim.Amount(15, "length")]
)
def test_one_number_of_any_kind(number):
    made = Hose(name="hose", **HOSE | {"length": number}).parameters.length
    assert made == 15.0
    assert type(made) is float


def test_an_amount_of_something_else_is_refused():
    with pytest.raises(RequestError, match="gauge pressure"):
        Hose(name="hose", **HOSE | {"length": treatsim.Amount(15, "pressure")})


def test_water_is_shown_in_short():
    from treatsim import Water

    water = Water.fresh(temperature="24 degC", salinity="0.3 g/L")
    assert repr(water) == "<Water, fresh at 24 degC>"


def test_every_name_is_offered_once():
    import treatsim

    assert treatsim.Water in vars(treatsim).values()  # loaded, and still one name
    assert len(dir(treatsim)) == len(set(dir(treatsim)))
