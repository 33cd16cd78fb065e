"""`describe` says what can be written and what is told, and what it says is so."""

from __future__ import annotations

import dataclasses
import json
import tomllib

import pytest
from command import ROOT, treatsim

from treatsim import case_sections, operations
from treatsim.case_text import lacking
from treatsim.operations.parameters import read_value
from treatsim.report.describe import describe
from treatsim.report.described import records, tables
from treatsim.safety.analytes import read_analyte
from treatsim.safety.measured_analytes import AnalytesParameters

WELL = ROOT / "cases/brackish_well.toml"
CHLORINE = ROOT / "cases/river_chlorine.toml"
PAPERS = ROOT / "cases/papers_well.toml"
RECORDS = {kind: operations.parameters_class(kind) for kind in operations.kinds()} | {
    name: record for name, record in records().items() if record is not AnalytesParameters
}
SUBJECTS = (
    (),
    *((kind,) for kind in operations.kinds()),
    *((table,) for table in tables()),
    ("uv_reactor.dose_credited",),
    ("water.temperature",),
    ("energy.specific",),
    (str(CHLORINE),),
    (str(CHLORINE), "uv.dose_credited"),
    (str(CHLORINE), "uv.target.log"),
    (str(CHLORINE), "analytes.nitrate"),
)


def entry(example: str):
    return tomllib.loads(f"v = {example}")["v"]


@pytest.mark.parametrize("names", SUBJECTS, ids="_".join)
def test_every_subject_reads_at_80_columns(names):
    run = treatsim("describe", *names)
    assert run.status == 0, run.err
    assert run.err == ""
    long = [line for line in run.out.splitlines() if len(line) > 80 and str(ROOT) not in line]
    assert not long


def shape(value):
    """Types of a document; rows of one list have one shape."""
    if isinstance(value, dict):
        return {key: shape(item) for key, item in value.items()}
    if isinstance(value, list) and all(isinstance(item, str) for item in value):
        return "texts"
    if isinstance(value, list):
        shapes = [shape(item) for item in value]
        assert all(one == shapes[0] for one in shapes)
        return shapes[:1]
    return "number" if value is None or type(value) in (int, float) else type(value).__name__


def test_the_document_has_one_form():
    rows: dict[str, list] = {}
    for names in SUBJECTS:
        data = json.loads(treatsim("describe", *names, "--json").out)
        assert set(data) == {
            "treatsim", "of", "name", "about", "inlets", "outlets", "kinds", "tables", "starts",
            "classes", "keys", "limits", "results", "uses",
        }  # fmt: skip
        for key, told in shape(data).items():
            assert (told == "str") == isinstance(data[key], str)
            if data[key] and isinstance(data[key], list):
                assert told == rows.setdefault(key, told), f"{names}: {key}"
    assert len(rows) == 10, "every list is filled by some subject"


def test_everything_names_every_kind_and_table():
    text = treatsim("describe").out
    for kind in operations.kinds():
        assert f"\n {kind} " in text
    for name in (*case_sections.SECTIONS, "[hold]", "units.NAME.limits"):
        assert f"[{name}]" in text


@pytest.mark.parametrize("owner", RECORDS)
def test_every_key_has_an_example_that_is_accepted(owner):
    told = {key.key: key for key in describe([owner]).keys}
    items = dataclasses.fields(RECORDS[owner])
    second = {item.metadata.get("or_else") for item in items}
    for item in items:
        if item.name in second:
            continue
        key = told[item.name]
        raw, other = entry(key.example), item.metadata.get("or_else")
        if other and isinstance(raw, str) and "/L" in raw:
            item = next(one for one in items if one.name == other)
        assert read_value(item, raw) is not None
        assert key.meaning
        assert key.required == (item.default is dataclasses.MISSING)
        assert not key.form
        assert f"\n {item.name if not other else key.key} = " in treatsim("describe", owner).out


@pytest.mark.parametrize("kind", operations.kinds())
def test_the_examples_of_what_is_asked_for_make_a_unit(kind):
    record = operations.parameters_class(kind)
    items = {item.name: item for item in dataclasses.fields(record)}
    told = [key for key in describe([kind]).keys if key.key in items]
    first = [name for sets in record.either for name in sets[0]]
    keys = [key for key in told if key.required or key.key in first]
    record(**{key.key: read_value(items[key.key], entry(key.example)) for key in keys})


SHEETS = [(owner, sheet) for owner, record in RECORDS.items() for sheet in record.forms]


@pytest.mark.parametrize(
    ("owner", "sheet"), SHEETS, ids=lambda value: getattr(value, "__name__", value)
)
def test_the_examples_of_a_data_sheet_make_what_it_stands_for(owner, sheet):
    told = [key for key in describe([owner]).keys if key.stands_for == sheet.gives]
    items = {item.name: item for item in dataclasses.fields(sheet)}
    assert [key.key for key in told] == list(items)
    record = sheet(**{key.key: read_value(items[key.key], entry(key.example)) for key in told})
    assert set(record.coefficients()) == set(sheet.gives)
    text = " ".join(treatsim("describe", owner).out.split())
    assert f"IN PLACE OF {sheet.gives[0]}" in text
    for name in sheet.gives:
        assert f"or by {told[0].key}" in text
        assert told[0].key in next(k for k in describe([owner]).keys if k.key == name).instead
    assert all(f"{name} " in text or f"{name}." in text for name in sheet.needs)


@pytest.mark.parametrize("owner", [name for name, record in RECORDS.items() if record.either])
def test_one_of_several_forms_is_asked_for_at_once(owner):
    """None given: the first is asked for with what would do instead, each by its name."""
    record = RECORDS[owner]
    told = {key.key: key for key in describe([owner]).keys}
    for first, *others in record.either:
        assert {told[name].one_of for name in first} == {
            tuple(" and ".join(names) for names in others)
        }
        found = dict(lacking(record, ()))
        assert tuple(found) == first
        assert not list(lacking(record, others[0]))


def test_the_examples_of_an_element_make_an_element():
    keys = [key for key in describe(["ro_vessel"]).keys if key.key.startswith("element.")]
    table = {key.key.partition(".")[2]: entry(key.example) for key in keys}
    fields = {item.name for item in dataclasses.fields(operations.ro_element.RoElementParameters)}
    assert set(table) == fields
    operations.ro_element.element_of(table)


def test_every_analyte_has_an_example_that_is_accepted():
    keys = [key for key in describe(["analytes"]).keys if key.unit]
    assert len(keys) > 20
    for key in keys:
        read_analyte(key.key, entry(key.example))


@pytest.mark.parametrize("kind", operations.kinds())
def test_a_kind_tells_ports_limits_and_results(kind):
    unit, told = operations.unit_class(kind), describe([kind])
    assert (told.inlets, told.outlets) == (unit.inlets, unit.outlets)
    assert {row.key for row in told.limits} == set(unit.ruled)
    addresses = {row.address for row in told.results}
    assert {row.key for row in (*unit.told, *unit.compared)} | set(unit.headline) <= addresses
    assert all(row.words for row in told.results)


def test_only_ratings_and_practices_may_be_overridden():
    told = {(row.kind, row.key) for row in describe(["limits"]).limits}
    assert ("cartridge_filter", "largest_flow") not in told
    assert ("cartridge_filter", "element_flow") in told
    assert not [key for kind, key in told if kind in ("chlorine_dosing", "storage_tank")]


def test_the_classes_of_elements_are_told():
    text = treatsim("describe", "ro_vessel").out
    for name in ("brackish-2.5in", "brackish-4in", "seawater-2.5in", "seawater-4in"):
        assert f"\n {name} " in text


@pytest.mark.parametrize("path", [WELL, CHLORINE, PAPERS], ids=lambda path: path.stem)
def test_a_case_tells_every_input_and_every_result(path):
    told = describe([str(path)])
    solved = json.loads(treatsim("solve", path, "--json").out)["values"]
    assert {row.address: row.value for row in told.results} == {
        address: value["value"] for address, value in solved.items()
    }
    keys = {row.key: row for row in told.keys}
    for name, table in tomllib.loads(path.read_text("utf-8"))["units"].items():
        for key in set(table) - {"kind"}:
            assert keys[f"{name}.{key}"].state == "given"
    states = {row.state for row in told.keys if not row.state.startswith("from ")}
    assert states <= {"given", "default", "not given", "held"}


def test_what_stands_on_a_data_sheet_is_told_as_written_and_what_comes_from_it_as_such():
    keys = {row.key: row for row in describe(["cases/papers_well.toml"]).keys}
    assert keys["well_pump.curve"].state == "given"
    assert "60 m at 0 m3/h" in keys["well_pump.curve"].value
    assert keys["well_pump.shutoff_head"].state == "from curve"
    assert keys["well_pump.speed"].state == "given"


def test_a_case_without_an_answer_tells_addresses_only(tmp_path):
    text = (ROOT / "cases/river.toml").read_text("utf-8")
    path = tmp_path / "low.toml"
    assert text.count('"74 %"') == 1
    path.write_text(text.replace('"74 %"', '"5 %"'), "utf-8")
    told = describe([str(path)])
    assert told.results
    assert all(row.value is None and row.text == "" for row in told.results)
    assert "no operating point at this setting" in treatsim("describe", path).out


def test_a_held_input_is_told_as_held(tmp_path):
    text = (ROOT / "cases/river.toml").read_text("utf-8")
    hold = '\n[[hold]]\nadjust = "lift_pump.speed"\nuntil = "product.flow"\nequals = "6 m3/h"\n'
    path = tmp_path / "held.toml"
    path.write_text(text + hold, "utf-8")
    told = describe([str(path), "lift_pump.speed"])
    assert told.keys[0].state == "held"
    assert not [use for use in told.uses if use.startswith("--")]


USES = (
    ("lift_pump.speed", {"--set", "--vary", "--adjust", "[[hold]]"}),
    ("water.temperature", {"--set", "--vary", "--adjust"}),
    ("uv.emission", {"--set", "--vary"}),
    ("uv.dose_credited", {"--show", "--until", "[[hold]]"}),
    ("product.people_served", {"--show", "--until"}),
)


@pytest.mark.parametrize(("address", "uses"), USES)
def test_where_an_address_may_be_used(address, uses):
    assert {use.split()[0] for use in describe([str(CHLORINE), address]).uses} == uses


def test_a_use_can_be_used():
    told = describe([str(CHLORINE), "lift_pump.speed"])
    change = next(use for use in told.uses if use.startswith("--set"))
    run = treatsim("solve", CHLORINE, "--set", change.split('"')[1])
    assert run.status in (0, 1), run.err


NEAR = (
    (("uv_reactr",), "uv_reactor"),
    (("watr",), "water"),
    (("uv_reactor.dose_credite",), "uv_reactor.dose_credited"),
    (("feed_pump.sped",), "feed_pump.speed"),
    (("energy.specfic",), "energy.specific"),
    ((str(CHLORINE), "uv.dose_credite"), "uv.dose_credited"),
    ((str(CHLORINE), "lift_pump.sped"), "lift_pump.speed"),
)


@pytest.mark.parametrize(("names", "meant"), NEAR)
def test_an_unknown_name_is_told_its_nearest(names, meant):
    run = treatsim("describe", *names)
    assert run.status == 2
    assert f"did you mean {meant}" in run.err


def test_what_is_no_case_is_said_in_one_line(tmp_path):
    run = treatsim("describe", tmp_path / "nothing.toml")
    assert run.status == 2
    assert "cannot be read" in run.lines[0]
    assert treatsim("describe", "a", "b", "c").status == 2


def test_a_limit_put_in_place_of_another_is_told(tmp_path):
    text = (ROOT / "cases/river.toml").read_text("utf-8")
    extra = '\n[units.bags.limits]\npressure_drop = "0.8 bar"\nelement_flow = { waived = "why" }\n'
    path = tmp_path / "own.toml"
    path.write_text(text + extra, "utf-8")
    keys = {row.key: row.value for row in describe([str(path)]).keys}
    assert keys["bags.limits.pressure_drop"] == "0.8 bar"
    assert keys["bags.limits.element_flow"] == "waived: why"


def test_a_substance_of_the_product_is_told_without_a_case():
    assert "a substance in the product" in treatsim("describe", "product.boron").out
    run = treatsim("describe", "product.flw")
    assert run.status == 2
    assert "did you mean product.flow" in run.err


@pytest.mark.parametrize(
    "names",
    [("units.NAME.limits",), ("ro_vessel.limits",), (str(WELL), "ro.limits"),
     (str(WELL), "units.ro.limits")],
)  # fmt: skip
def test_the_table_of_limits_is_told_as_a_file_heads_it(names):
    told = describe(names)
    assert told.of == "table"
    assert {"flux_mean", "element_recovery_max"} <= {row.key for row in told.limits}
    assert (len(names) == 1 and "NAME" in names[0]) or {row.kind for row in told.limits} == {
        "ro_vessel"
    }
