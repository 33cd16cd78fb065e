"""A file that is no TOML by a slip of the pen is read on, and every slip is told."""

from __future__ import annotations

import pytest

from treatsim.case_slips import parse_as_meant
from treatsim.errors import CaseError

SLIPS = [
    ("ph = 7,4", 7.4, "a decimal comma: write ph = 7.4"),
    ("ph = 7,4  # strip", 7.4, "a decimal comma: write ph = 7.4"),
    ("ph: 7.4", 7.4, "an equals sign stands behind a key: write ph = 7.4"),
    ("ph = 8 \u00b0C", "8 \u00b0C", 'straight quotation marks: write ph = "8 \u00b0C"'),
    ("ph = \u201e86 %\u201c", "86 %", 'write ph = "86 %"'),
    ("ph = yes", "yes", 'write ph = "yes"'),
    ('ph = "86 %', "86 %", 'write ph = "86 %"'),
    ("ph =", "", "nothing stands behind it"),
]


@pytest.mark.parametrize(("line", "meant", "words"), SLIPS)
def test_a_line_is_read_as_it_was_meant(line, meant, words):
    tables, told = parse_as_meant(f'title = "x"\n[water\n{line}\nkind = "fresh"\n', "camp.toml")
    assert tables == {"title": "x", "water": {"ph": meant, "kind": "fresh"}}
    assert told[0] == "camp.toml:2: write the table as [water]"
    assert told[1].startswith("camp.toml:3: ")
    assert words in told[1]


@pytest.mark.parametrize("line", ['ph = { a = "b"', "ph = 7.4 = 8 [", "what is it"])
def test_what_nobody_could_tell_is_refused_with_its_line(line):
    with pytest.raises(CaseError) as error:
        parse_as_meant(f"a = 1,5\n{line}\nb = 2\n", "camp.toml")
    first, last = error.value.problems
    assert "a decimal comma" in first
    assert "not readable as TOML" in last
