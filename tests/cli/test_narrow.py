"""A page on a terminal of 80 columns: nothing is cut off, and no number is parted from its unit."""

from __future__ import annotations

import re

import numpy as np
import pytest

from treatsim.operations.outcome import Limit
from treatsim.report import sweep_text
from treatsim.report.page import Page, hung
from treatsim.studies.table import Column, Table

HEADS = ("", "limit", "at", "value", "asked", "chance")
ROWS = [
    ("met", "UV dose for 3 log of cryptosporidium", "uv", "13.4 mJ/cm2", ">= 12 mJ/cm2", "72.8 %"),
    ("met", "mean flux of the first element", "ro", "27.3 L/(m2 h)", "<= 35 L/(m2 h)", "100 %"),
]


@pytest.mark.parametrize(("columns", "lines"), [(120, 3), (80, 4)])
def test_a_table_fits_its_terminal(monkeypatch, columns, lines):
    monkeypatch.setenv("COLUMNS", str(columns))
    page = Page(colour=True)
    page.table(HEADS, ROWS, left=3)
    told = re.sub(r"\x1b\[[0-9;]*m", "", page.text())
    assert max(map(len, told.splitlines())) <= columns
    assert len(told.splitlines()) == lines
    for word in ("cryptosporidium", "27.3 L/(m2 h)", "<= 35 L/(m2 h)", ">= 12 mJ/cm2"):
        assert word in told


def test_lines_are_wrapped_with_what_follows_set_in(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    first, second = hung(["  above 80.8 %: UV dose for 3 log of cryptosporidium; " + "x" * 40])
    assert first.startswith("  above")
    assert second == " " * 6 + "x" * 40


def test_a_wide_sweep_stands_in_tables_that_fit_each_with_setting_and_state(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    names = ["product.flow", "uv.largest_flow", *(f"unit_{n}.of_a_long_address" for n in range(9))]
    numbers = [Column(name, "flow", np.array([1.12396, 2.0]) / 3600) for name in names]
    state = Column("state", "", ["not_met", "met"])
    status = Column("status", "", ["not met: " + "a dose that is long in words " * 5, ""])
    speed = Column("pump.speed", "speed", np.array([0.5, 0.6]))
    text = sweep_text.grid(Table([speed, *numbers, state, status], 1))
    blocks = text.split("\n\n")
    assert max(map(len, text.splitlines())) <= 80
    assert len(blocks) > 2
    assert all(re.search(r"^ +50  not_met ", block, re.MULTILINE) for block in blocks)
    assert " 1.124  " in blocks[0]
    assert " 1.123" in blocks[0]  # the largest flow is kept by going no higher


def test_a_word_within_another_does_not_name_the_unit():
    limit = Limit("pressure drop of an element", "ro.drop", 1.0, "<=", 2.0, "pressure", "memory")
    assert limit.full_name == "pressure drop of an element (ro)"
