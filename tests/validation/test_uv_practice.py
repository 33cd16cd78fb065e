"""What the trade holds of lamps and of a field unit, row by row: a check, or a reason.

Of nameplate and hydraulics (light, lamp, sleeve, mixing) and of what a field engineer knows of
lamps; then of the field engineer's job. Rows without a check in this file:
- Output as a product of factors: A42 (whole chain). Warm-up by first order: SU01. Faces of quartz
  in place: A08, A09. Mean dose by light and stay, with any mixing: A28, A45. Profiles flat,
  laminar, mixed: A29 to A32; tanks, dispersion, laminar pipe: A33 to A35; annulus: A36; t10: P62.
- Dose by set point, sensor's check, box of a report: test_set_point_uv_reactor,
  test_uv_operation.
- A diode's share of light: no diode is a kind of unit. Ageing by starts: not told, since no
  number of it agrees with another (one source says 6 h a start); starts a day are bounded instead
  (test_year). A stagnant chamber that heats up: not told, the flow is never shut behind the lamp.
- Radial mixing between the two bounds: optional there; the band is shown and its lowest counts.
- Prefilter of 5 um: a rating earns nothing here, turbidity at the light is the limit. Tannin: is
  absorption, and counts as that. Sleeve wiped every so often: by the sensor (test_logbook_line).
- Dose falls with the flow, a pump turned up: A45, test_start_events. Fail-safe, power lost, hot
  lamp: test_start_events, test_start_reactors. Energy of the warm-up: L02. What is logged:
  test_log_file.
- Burns, mercury: the caution of the hazard, told of every kind with a lamp (test_declarations).
- Readings and what they mean: drop, flow and blocking test_logbook_line and test_flow_balance;
  sensor, lamp, wipe test_logbook_line; membranes test_logbook_membrane. By eye or hand only
  (slime, smell, vents, amperes, vials, taste): no reading, so nothing to hold; they stand on the
  sheet.
- Hours -72 to 24, papers, officials, trust: a job, not a number. Sheet: tests/sheet. Nitrate,
  boron and what light does not remove: G_nitrate, G_boron, test_guidelines. Hypochlorite, acid,
  pressure, wells: cautions, each with its hazard (test_parts_alone).
"""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from command import ROOT

from treatsim import cases, operations
from treatsim.constants import ZERO_CELSIUS
from treatsim.correlations.uv.dose import tanks_dose
from treatsim.correlations.uv.lamp import TEMPERATURE_RANGE
from treatsim.correlations.uv.optics import INDEX_QUARTZ, INDEX_WATER
from treatsim.operations import storage_tank
from treatsim.report.starters import kinds, starter
from treatsim.safety import barriers
from treatsim.safety.cautions import short_cautions
from treatsim.safety.parts import dose, fouling, product
from treatsim.safety.verdict import judge


@pytest.fixture(scope="module")
def demos():
    """Every demo case and start with a computed reactor, read but not solved."""
    texts = {path: path.read_text("utf-8") for path in sorted((ROOT / "cases").glob("*.toml"))}
    texts |= {name: starter(name) for name in kinds()}
    return [
        cases.interpret(tomllib.loads(text), str(name))
        for name, text in texts.items()
        if '"uv_reactor"' in text
    ]


def of_lamps(demos, *names: str):
    """Return the values of a lamp's entries in all demos."""
    lamps = [
        case.parameters[unit]
        for case in demos
        for unit, kind in case.kinds.items()
        if kind == "uv_reactor"
    ]
    return [np.array([float(getattr(lamp, name)) for lamp in lamps]) for name in names]


def test_the_lamps_of_the_demos_are_those_of_the_trade(agree, demos):
    light, power, ageing, fouling_factor = of_lamps(
        demos, "lamp_uvc_output", "lamp_power", "ageing_factor", "fouling_factor"
    )
    for share in light / power:
        agree("U14_efficiency", share)
    for factor in fouling_factor:
        agree("U14_fouling", factor)
    for factor in ageing[ageing < 0.9]:  # one is told by its hours, half its life
        agree("U14_end_of_life", factor)
    for case in demos:
        start = case.sections.get("startup")
        if start is not None:
            agree("U5_warm_up", start.lamp_warm_up)
    lamp = cases.load(ROOT / "cases/river_chlorine.toml").data["units"]["uv"]
    agree("U5_lamp_life", float(lamp["lamp_life"].removesuffix(" h")))


def test_faces_and_comfort_of_a_lamp(agree):
    one, two = (
        ((a - b) / (a + b)) ** 2 for a, b in ((1.0, INDEX_QUARTZ), (INDEX_QUARTZ, INDEX_WATER))
    )
    agree("U14_faces", [one, two])
    agree("U14_comfort", np.array([TEMPERATURE_RANGE.low, TEMPERATURE_RANGE.high]) - ZERO_CELSIUS)


def test_the_spread_of_tanks(agree):
    spread = []
    for tanks in (1, 4, 10):
        shape = tanks_dose(1.0, tanks)
        mean = np.sum(shape.weight * shape.dose)
        spread.append(np.sum(shape.weight * (shape.dose - mean) ** 2) / mean**2)
    agree("U15_recirculating", spread)


def test_what_the_light_is_given(agree):
    agree("U5_turbidity", [dose.TURBIDITY_LIMIT, barriers.HIGHEST_TURBIDITY])
    rules = {rule.analyte: rule.above * 1e3 for rule in fouling.RULES["sleeve"]}
    agree("U5_metals", [rules[name] for name in ("iron", "manganese", "hardness")])
    agree("U5_ph", [product.LOWEST, product.HIGHEST])
    agree("U5_transmittance", [100 * dose.LEAST_TRANSMITTANCE, 1e3 * dose.MOST_SOLIDS])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"water.uv_transmittance": "74 %"}, "below 75 %"),
        ({"water.suspended_solids": "200 mg/L"}, "above 10 mg/L"),
        ({}, None),
    ],
)
def test_water_that_few_reactors_know_is_told(changes, words):
    told = judge(cases.load("cases/river.toml", changes).solve())
    texts = [
        finding.message()
        for finding in told.findings
        if finding.text.startswith("uv: ") and "common practice" in finding.text
    ]
    assert bool(texts) == bool(words)
    assert not words or any(words in text for text in texts)


def test_before_water_is_given_out(agree):
    wait, chlorine = storage_tank.WAIT / 60.0, storage_tank.AFTER_CONTACT * 1e3
    agree("FP_handout", [barriers.HIGHEST_TURBIDITY, chlorine, wait])
    lines = [short_cautions([], height)[1] for height in (2000.0, 2001.0)]
    agree("FP_boil", [float(line.rsplit(" min", 1)[0].rsplit(" ", 1)[1]) for line in lines])


def test_every_lamp_carries_its_caution():
    lit = [kind for kind in operations.kinds() if operations.unit_class(kind).irradiates]
    assert len(lit) == 3
    assert all("uv" in operations.unit_class(kind).hazards for kind in lit)
