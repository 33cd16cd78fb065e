"""`agree("A24_straight", computed)` compares with a row of data; a table of evidence ends the run.

It fails if the value is missing or wrong, and for a finding if the value is right after all.
"""

from __future__ import annotations

import numpy as np
import pytest
from evidence import CHECKS, deviation

SEEN: dict[str, float] = {}  # id -> deviation as a share of the tolerance
OFF: dict[str, object] = {}  # id of a finding -> our value


@pytest.fixture
def agree():
    def check(key, computed):
        row = CHECKS[key]
        share = deviation(row, computed)
        SEEN[key] = max(SEEN.get(key, 0.0), share)
        if "finding" in row:
            OFF[key] = computed
            assert share > 1, f"{key} agrees: {row['quantity']}: take it off the findings"
            return
        assert share <= 1, (
            f"{key}: {row['quantity']}: computed {computed}, {row['source']} has "
            f"{row['expected']} {row['unit']} ({share:.3g} times the tolerance)"
        )

    return check


def _text(value) -> str:
    return ", ".join(f"{x:.5g}" for x in np.ravel(np.asarray(value, float)))


def pytest_terminal_summary(terminalreporter):
    if not SEEN:
        return
    groups: dict[tuple, list] = {}
    for key in SEEN.keys() - OFF.keys():
        row = CHECKS[key]
        groups.setdefault((row["file"], row["source"], row["kind"]), []).append((SEEN[key], key))
    write = terminalreporter.write_line
    write("")
    write("evidence: deviation as a share of the tolerance the source allows")
    write(f"{'subject':<16} {'source':<44} {'kind':<16} {'rows':>4} {'worst':>7}  at")
    for (subject, source, kind), rows in sorted(groups.items()):
        worst, key = max(rows)
        write(f"{subject:<16} {source[:44]:<44} {kind:<16} {len(rows):>4} {worst:>7.3f}  {key}")
    if OFF:
        write("")
        write("findings: the reference is believed, ours is off by more than it allows")
    for key, ours in sorted(OFF.items()):
        row = CHECKS[key]
        values = f"{_text(ours)} against {_text(row['expected'])} {row['unit']}"
        write(f"{key:<22} {values}; {row['quantity']}: {row['finding']}")
