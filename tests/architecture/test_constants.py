"""Each physical constant stands once, in constants.py, and is right."""

from __future__ import annotations

import ast

import pytest
import scipy.constants
from package import modules

from treatsim import constants

# numbers that are a constant or a reference state wherever they stand, with their usual roundings
KNOWN = {
    "gravity": (9.80665, 9.807, 9.81),
    "gas constant": (8.31446261815324, 8.314462618, 8.314472, 8.31446, 8.3145, 8.314, 8.31432),
    "Faraday": (96485.33212, 96485.3, 96485.0, 96500.0),
    "Avogadro": (6.02214076e23, 6.022e23),
    "Boltzmann": (1.380649e-23, 1.38e-23),
    "charge": (1.602176634e-19, 1.602e-19),
    "vacuum": (8.8541878128e-12, 8.854e-12),
    "0, 20 or 25 degC": (273.15, 293.15, 298.15, 273.0, 293.0, 298.0),
    "atmosphere": (101325.0, 101300.0, 1.01325, 1.013),
    "day": (86400.0,),
    "US gallon": (3.785411784, 3.785411784e-3, 3.785, 3.785e-3),
}
# module -> values it may hold a copy of, and why; a copy that has gone must leave this list
COPIES = {
    "treatsim.water.properties": ({8.31432}, "what the 1976 standard atmosphere is defined with"),
    "treatsim.correlations.disinfection.chlorine": ({273.15}, "when its room is next opened"),
    "treatsim.correlations.disinfection.chlorine_decay": ({273.15}, "when next opened"),
    "treatsim.correlations.disinfection.contact_time": ({273.15, 298.15}, "when next opened"),
    "treatsim.studies.remedy_cases": ({293.15, 86400.0}, "when its room is next opened"),
}


def numbers(tree: ast.Module):
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and type(node.value) in (int, float):
            yield float(node.value)


def copies(tree: ast.Module) -> set[float]:
    known = {value for values in KNOWN.values() for value in values}
    return known & set(numbers(tree))


def test_no_module_holds_a_copy():
    held = {name: copies(tree) for name, tree in modules().items() if name != constants.__name__}
    allowed = {name: values for name, (values, _) in COPIES.items()}
    assert {name: values for name, values in held.items() if values} == allowed


def test_the_search_finds_a_copy():
    assert copies(ast.parse('"""9.81"""\nx = f"{y - 273.15:.1f}"\nz = -101325')) == {273.15, 101325}


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("GRAVITY", scipy.constants.g),
        ("GAS_CONSTANT", scipy.constants.R),
        ("AVOGADRO", scipy.constants.N_A),
        ("BOLTZMANN", scipy.constants.k),
        ("ELEMENTARY_CHARGE", scipy.constants.e),
        ("VACUUM_PERMITTIVITY", scipy.constants.epsilon_0),
        ("ZERO_CELSIUS", scipy.constants.zero_Celsius),
        ("CELSIUS_20", scipy.constants.convert_temperature(20.0, "C", "K")),
        ("CELSIUS_25", scipy.constants.convert_temperature(25.0, "C", "K")),
        ("ATMOSPHERE", scipy.constants.atm),
        ("BAR", scipy.constants.bar),
        ("DAY", scipy.constants.day),
        ("LITRE", scipy.constants.liter),
    ],
)
def test_constants_are_those_of_scipy(name, expected):
    """CODATA and definitions, as a general library has them; ten digits are kept."""
    within = 2e-9 if name == "VACUUM_PERMITTIVITY" else 5e-11  # measured; CODATA moves it by 1e-10
    assert getattr(constants, name) == pytest.approx(expected, rel=within, abs=0)


def test_every_constant_is_checked():
    names = {name for name in vars(constants) if name.isupper()}
    (mark,) = (m for m in test_constants_are_those_of_scipy.pytestmark if m.name == "parametrize")
    assert names == {name for name, _ in mark.args[1]}
