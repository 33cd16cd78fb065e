"""Values over points from whatever holds them; what is none is refused in one line."""

from __future__ import annotations

import numpy as np
import pandas
import pytest
from numpy.testing import assert_allclose
from plant import ROOT

import treatsim
from treatsim import Amounts, RequestError

SPEED, RISE = "lift_pump.speed", "hose.rise"
CONTAINERS = [list, tuple, np.array, pandas.Series, lambda v: Amounts(v, "speed")]


@pytest.fixture(scope="module")
def case():
    return treatsim.load(ROOT / "cases/river.toml")


@pytest.mark.parametrize("container", CONTAINERS)
def test_every_container_is_read_alike(case, container):
    plain = case.solve({SPEED: np.array([0.6, 0.8])})["product.flow"]
    assert_allclose(case.solve({SPEED: container([0.6, 0.8])})["product.flow"], plain, rtol=1e-14)
    table = treatsim.sweep(case, {SPEED: container([0.6, 0.8])})
    assert_allclose(table[SPEED], [0.6, 0.8], rtol=1e-14)


def test_texts_units_and_single_values(case):
    warm = np.array(297.15)
    result = case.solve({SPEED: ["60 %", "80 %"], RISE: "4 m", "water.temperature": warm})
    assert_allclose(result["product.flow"], case.solve({SPEED: [0.6, 0.8]})["product.flow"])
    assert str(case.solve({SPEED: "74 %"})["product.flow"]) == "6.784 m3/h"
    assert len(treatsim.sweep(case, {SPEED: 0.7})) == 1
    assert len(treatsim.sweep(case, {SPEED: "70 %"})) == 1


@pytest.mark.parametrize(
    "metres",
    [
        ([3, 4], "m"),
        (np.array([3.0, 4.0]), "m"),
        (pandas.Series([300, 400]), "cm"),
        ["3 m", "400 cm"],
        Amounts([3, 4], "head"),
        list(Amounts([3, 4], "head")),
    ],
    ids=str,
)
def test_a_sweep_takes_values_with_their_unit(case, metres):
    assert_allclose(treatsim.sweep(case, {RISE: metres})[RISE], [3, 4], rtol=1e-14)


BAD = [
    ([], "no values"),
    (np.array([]), "no values"),
    (pandas.Series([], dtype=float), "no values"),
    ([0.6, np.nan], "every value is a finite number"),
    (np.array([0.6, np.inf]), "every value is a finite number"),
    (np.ma.array([0.6, 0.7], mask=[False, True]), "some are masked"),
    ([0.6, None], "numbers in SI, or texts with a unit"),
    ([True, False], "numbers in SI, or texts with a unit"),
    (np.array([0.6 + 1j]), "numbers in SI, or texts with a unit"),
    (np.array(["2026-01-01"], dtype="datetime64[D]"), "numbers in SI, or texts with a unit"),
    (Amounts([1e5], "pressure"), "gauge pressure"),
    ([0.6, 1.9], "a speed lies above 0"),
    (["60 m"], "is no unit of share"),
]


@pytest.mark.parametrize("study", ["solve", "sweep"])
@pytest.mark.parametrize(("values", "words"), BAD, ids=lambda v: str(v)[:30])
def test_what_is_no_value_is_refused_in_one_line(case, study, values, words):
    with pytest.raises(RequestError, match=words) as told:
        case.solve({SPEED: values}) if study == "solve" else treatsim.sweep(case, {SPEED: values})
    assert len(str(told.value).splitlines()) == 1
    assert str(told.value).startswith(SPEED)


@pytest.mark.parametrize(
    ("study", "words"),
    [
        (lambda case: treatsim.solve("river.toml"), 'a case, .*not the text "river.toml"'),
        (lambda case: treatsim.sweep("river.toml", {}), "a case, "),
        (lambda case: treatsim.find(case.solve(), SPEED), "a case, .*not a Result"),
        (lambda case: treatsim.judge(case), "a Result, .*not a Case"),
        (lambda case: case.solve([0.6]), "a mapping of addresses .*not a list"),
        (lambda case: treatsim.sweep(case, None), "a mapping of addresses "),
        (lambda case: case.solve()[3], 'no result has the address "3"'),
    ],
)
def test_the_wrong_thing_is_named_in_one_line(case, study, words):
    with pytest.raises(RequestError, match=words):
        study(case)


@pytest.mark.parametrize("values", [np.ones((2, 3)), [[0.6, 0.7], [0.8, 0.9]], [[0.6], [0.7, 0.8]]])
def test_an_ill_shaped_array_is_refused(case, values):
    for study in (case.solve, lambda vary: treatsim.sweep(case, vary)):
        with pytest.raises(RequestError) as told:
            study({SPEED: values})
        assert str(told.value).startswith(SPEED)
        assert len(str(told.value).splitlines()) == 1


def test_unequal_lengths_are_named(case):
    with pytest.raises(RequestError, match=f"{SPEED} has 3, {RISE} has 2"):
        case.solve({SPEED: [0.6, 0.7, 0.8], RISE: [3.0, 4.0]})
    assert case.solve({SPEED: [0.6, 0.7, 0.8], RISE: [4.0]}).points == 3


def test_what_is_no_input_or_no_number_is_named(case):
    with pytest.raises(RequestError, match=r"lift_pump\.speed\"\?$"):
        case.solve({"lift_pump.sped": [0.6]})
    with pytest.raises(RequestError, match="not a number to vary"):
        case.solve({"uv.emission": ["cosine"]})
    with pytest.raises(RequestError, match="bare number"):
        treatsim.sweep(case, {RISE: [3.0, 4.0]})


RIVER = ROOT / "cases/river.toml"
MISSING = (
    (lambda: treatsim.Water(), "Water: make it by treatsim.Water.fresh"),
    (lambda: treatsim.Water(kind="fresh"), "Water: make it by treatsim.Water.fresh"),
    (lambda: treatsim.Water({"temperature": "9 degC"}), "Water: make it by treatsim.Water.fresh"),
    (lambda: treatsim.Hose(), r'Hose: name is missing: Hose\(name="hose", ...\)'),
    (lambda: treatsim.load(None), "the path of a case file belongs here, not None"),
    (lambda: treatsim.load(RIVER, 3), "a mapping of addresses to their values belongs here"),
    (lambda: treatsim.find(treatsim.load(RIVER), SPEED, "much"), '^until "much": write ADDRESS'),
)


@pytest.mark.parametrize(("make", "words"), MISSING, ids=range(len(MISSING)))
def test_what_is_missing_altogether_is_told_in_our_words(make, words):
    with pytest.raises(RequestError, match=words):
        make()
