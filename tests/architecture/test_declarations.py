"""A kind says in its own file all that other rooms must know; no other room knows kinds by name."""

from __future__ import annotations

import ast
import re

import pytest
from package import modules

from treatsim import operations
from treatsim.operations.outcome import GROUPS
from treatsim.operations.unit import DECLARED, Unit
from treatsim.quantities import QUANTITIES
from treatsim.safety.barrier_rules import RULES
from treatsim.safety.cautions import cautions_for

KINDS = operations.kinds()
CLASSES = {operations.unit_class(kind).__name__: kind for kind in KINDS}
# module -> kinds it may name: it builds a case out of them, or draws exactly them
BUILDERS = {"treatsim.studies.remedy_cases": {"chlorine_dosing", "storage_tank"}}
DRAWERS = "treatsim.report.plots."


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_declares_everything_itself(kind):
    own = vars(operations.unit_class(kind))
    assert not [name for name in DECLARED if name not in own]


def test_the_base_declares_nothing_for_them():
    assert not [name for name in DECLARED if hasattr(Unit, name)]


@pytest.mark.parametrize("kind", KINDS)
def test_declarations_make_sense(kind):
    unit = operations.unit_class(kind)
    fields = operations.parameters_class(kind).__dataclass_fields__
    assert set(unit.dials) <= set(fields)
    assert not unit.moves_water or unit.dials
    cautions_for(unit.hazards)  # an unknown group raises
    for key, rule in unit.ruled.items():
        assert rule.group in GROUPS, key
        assert rule.quantity in QUANTITIES, key
    assert unit.earns.rule in RULES if unit.earns.rule else unit.earns.reason
    assert not unit.treated or unit.treated in unit.outlets


@pytest.mark.parametrize(
    ("kind", "groups"),
    [
        ("uv_reactor", {"uv", "electricity"}),
        ("validated_uv_reactor", {"uv", "electricity"}),
        ("set_point_uv_reactor", {"uv", "electricity"}),
        ("feed_pump", {"electricity"}),
        ("high_pressure_pump", {"electricity", "ro"}),
        ("booster_pump", {"electricity", "ro"}),
        ("ro_vessel", {"ro"}),
        ("chlorine_dosing", {"chlorine"}),
        ("chemical_dosing", {"acid", "caustic", "bisulfite", "antiscalant"}),
        ("storage_tank", {"storage"}),
    ],
)
def test_what_can_hurt_carries_its_caution(kind, groups):
    assert groups <= set(operations.unit_class(kind).hazards)


def names_and_texts(tree: ast.Module):
    """Yield every name and every text that is no docstring."""
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value
        elif isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr


def test_no_other_room_asks_for_a_kind_by_name():
    for module, tree in modules().items():
        if module == "treatsim" or module.startswith(("treatsim.operations", DRAWERS)):
            continue  # the package lists the classes as names for Python
        told = set(names_and_texts(tree))
        named = {CLASSES[word] for word in told & set(CLASSES)}
        named |= {text for text in told & set(KINDS) if re.fullmatch(r"[a-z]+(_[a-z]+)+", text)}
        assert named <= BUILDERS.get(module, set()), f"{module} knows {sorted(named)} by name"
