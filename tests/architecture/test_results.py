"""A kind declares every result it tells: key, quantity, words. Nothing else is declared."""

from __future__ import annotations

import fnmatch
import tomllib

import plant
import pytest
from command import ROOT

from treatsim import cases, catalogue, operations
from treatsim.quantities import QUANTITIES
from treatsim.report.described import words_of
from treatsim.report.described_case import OVERALL
from treatsim.report.starters import kinds, starter
from treatsim.safety.verdict import judge


def rarely_told(light: str) -> cases.Case:
    """A case for what neither demo cases nor starts have, with a kind of reactor."""
    data = tomllib.loads((ROOT / "cases/river_chlorine.toml").read_text("utf-8"))
    data["analytes"]["nitrite"] = "0.1 mg/L as NO2"
    data["health"]["untreated_time"] = "1 min"
    report = catalogue.load("examples")[light]
    target = {"organism": "cryptosporidium", "log": 3.0}
    data["units"]["uv"] = {"kind": light, "target": target, **report}
    return cases.interpret(data, "rare.toml")


def told(declared, key):
    if key in declared:
        return key
    return next((pattern for pattern in declared if fnmatch.fnmatchcase(key, pattern)), None)


@pytest.fixture(scope="module")
def verdicts():
    found = [cases.load(path) for path in sorted((ROOT / "cases").glob("*.toml"))]
    found += [cases.interpret(tomllib.loads(starter(name)), name) for name in kinds()]
    found += [rarely_told(kind) for kind in ("validated_uv_reactor", "set_point_uv_reactor")]
    return [(case, judge(case.solve())) for case in found]


@pytest.mark.parametrize("kind", operations.kinds())
def test_every_declared_result_has_words_and_a_quantity(kind):
    for key, result in operations.unit_class(kind).results.items():
        assert words_of(kind, key)
        assert result.quantity in QUANTITIES
        assert result.or_else in {"", *QUANTITIES}
        shown = {row.key for row in operations.unit_class(kind).told}
        assert not (result.words and key in shown), f"{key}: words twice"


@pytest.mark.parametrize("kind", operations.kinds())
def test_what_a_unit_tells_is_declared(kind):
    outcome = plant.unit(kind).evaluate(**plant.inlets(kind))
    declared = operations.unit_class(kind).results
    for key, value in outcome.details().values.items():
        match = told(declared, key)
        assert match, f"{kind}.{key} is not declared"
        assert value.quantity in (declared[match].quantity, declared[match].or_else)


def test_what_a_case_tells_is_declared(verdicts):
    for case, verdict in verdicts:
        for address, value in verdict.values.items():
            owner, _, key = address.partition(".")
            declared = operations.unit_class(case.kinds[owner]).results if owner in case.kinds \
                else OVERALL  # fmt: skip
            match = told(declared, key if owner in case.kinds else address)
            stream = owner in case.kinds and key.partition(".")[0] in {
                *operations.unit_class(case.kinds[owner]).inlets,
                *operations.unit_class(case.kinds[owner]).outlets,
            }
            inputs = f"{owner}.{key}" in case.inputs()
            assert match or stream or inputs, f"{case.title}: {address}"
            if match and not address.startswith("analytes.") and not stream:
                assert value.quantity in (declared[match].quantity, declared[match].or_else)


def test_what_is_declared_is_told_somewhere(verdicts):
    seen = set()
    for kind in operations.kinds():
        values = plant.unit(kind).evaluate(**plant.inlets(kind)).details().values
        seen |= {(kind, told(operations.unit_class(kind).results, key)) for key in values}
    sizes = dict.fromkeys(("median_size", "size_deviation", "particle_density"))
    column = plant.unit("settling_basin", settling_curve=((0.3, 5e-4), (0.6, 2e-3)), **sizes)
    values = column.evaluate(**plant.inlets("settling_basin")).details().values
    seen |= {("settling_basin", key) for key in values}
    worn = {"volumetric_efficiency": 0.9, "slip_pressure": 5e6, "largest_pressure": 7e6}
    for kind in ("high_pressure_pump", "booster_pump"):
        values = plant.unit(kind, **worn).evaluate(**plant.inlets(kind)).details().values
        seen |= {(kind, key) for key in values}
    for case, verdict in verdicts:
        for address in verdict.values:
            owner, _, key = address.partition(".")
            if owner in case.kinds:
                kind = case.kinds[owner]
                seen.add((kind, told(operations.unit_class(kind).results, key)))
            else:
                seen.add(("", told(OVERALL, address)))
    declared = {(kind, key) for kind in operations.kinds()
                for key in operations.unit_class(kind).results}  # fmt: skip
    declared |= {("", address) for address in OVERALL}
    assert not sorted(declared - seen)
