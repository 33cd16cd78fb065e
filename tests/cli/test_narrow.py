"""A page on a terminal of 80 columns: nothing is cut off, and no number is parted from its unit."""

from __future__ import annotations

import re

import pytest

from treatsim.report.page import Page, hung

HEADS = ("", "limit", "at", "value", "asked", "chance")
ROWS = [
    ("met", "UV dose for 3 log of cryptosporidium", "uv", "13.4 mJ/cm2", ">= 12 mJ/cm2", "72.8 %"),
    ("met", "mean flux of the first element", "ro", "27.3 L/(m2 h)", "<= 35 L/(m2 h)", "100 %"),
]


@pytest.mark.parametrize(("columns", "lines"), [(120, 3), (80, 5)])
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
