"""Records of a case read from tables, with the faults and with what sheets say."""

from __future__ import annotations

import tomllib
from pathlib import Path

from treatsim import operations
from treatsim.case_sections import SECTIONS
from treatsim.case_text import Problems, read_record
from treatsim.operations.sheets import entries

STATES = tomllib.loads(
    (Path(__file__).parent / "invariants" / "states.toml").read_text("utf-8")
)  # a working unit of every kind


def unit_table(kind: str, changes: dict, drop: tuple[str, ...] = ()) -> dict:
    """Return the entries of a working unit, with fields that a sheet gives taken out."""
    cls = operations.parameters_class(kind)
    given = {name for sheet in cls.forms if set(entries(sheet)) & set(changes)
             for name in sheet.gives}  # fmt: skip
    table = {k: v for k, v in STATES[kind]["parameters"].items() if k not in given | set(drop)}
    return table | changes


def read(kind: str, table: dict):
    """Return the record, the faults and what its sheets say."""
    problems, given = Problems("case", {}), []
    cls = SECTIONS.get(kind) or operations.parameters_class(kind)
    record = read_record(cls, table, f"units.{kind}", problems, given=given)
    return record, problems.found, given


def unit(kind: str, changes: dict, drop: tuple[str, ...] = ()):
    """Return a unit read from its table, which must be faultless."""
    record, faults, _ = read(kind, unit_table(kind, changes, drop))
    assert not faults, faults
    return operations.unit_class(kind)(name=kind, parameters=record)
