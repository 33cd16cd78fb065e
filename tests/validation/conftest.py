"""Reference values with their provenance, and the table of evidence printed at the end of a run.

Every file in data/ is a TOML table of checks: one table per value, named by a short id.
`agree("A24_uvt95", computed)` compares, and fails if a value is missing, wrong or never used.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

DATA = Path(__file__).parent / "data"
KINDS = {
    "check values",
    "measurement",
    "worked example",
    "closed form",
    "second implementation",
    "regulation",
    "common practice",
    "trap",
}
KNOWN = {
    "read",
    "computed",
    "memory",
    "read and computed",
    "memory and computed",
    "common practice",
}
FIELDS = {
    "quantity",
    "expected",
    "unit",
    "rtol",
    "atol",
    "source",
    "locator",
    "kind",
    "known",
    "why",
    "note",
}


def load():
    checks = {}
    for path in sorted(DATA.glob("*.toml")):
        for key, row in tomllib.loads(path.read_text()).items():
            assert key not in checks, f"{path.name}: {key} stands twice"
            assert not set(row) - FIELDS, f"{path.name}: {key}: unknown {set(row) - FIELDS}"
            assert {"quantity", "expected", "unit", "source", "kind", "known"} <= set(row), key
            assert ("rtol" in row) != ("atol" in row), f"{key}: one of rtol, atol (0 for exact)"
            assert row["kind"] in KINDS, f"{key}: kind {row['kind']}"
            assert row["known"] in KNOWN, f"{key}: known {row['known']}"
            checks[key] = row | {"file": path.stem}
    return checks


CHECKS = load()
SEEN: dict[str, float] = {}  # id -> deviation as a share of the tolerance


def deviation(row, computed):
    """Deviation as a share of what the source allows; above 1 is a miss."""
    expected, computed = np.asarray(row["expected"], float), np.asarray(computed, float)
    assert expected.shape == computed.shape, f"shape {computed.shape}, expected {expected.shape}"
    off = np.abs(computed - expected)
    allowed = row["atol"] if "atol" in row else row["rtol"] * np.abs(expected)
    rounding = 4e-16 * np.abs(expected)  # "exact" still goes through float64
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(off <= rounding, 0.0, off / allowed)
    return float(np.max(np.where(np.isnan(share), np.inf, share)))


@pytest.fixture
def agree():
    def check(key, computed):
        row = CHECKS[key]
        share = deviation(row, computed)
        SEEN[key] = max(SEEN.get(key, 0.0), share)
        assert share <= 1, (
            f"{key}: {row['quantity']}: computed {computed}, {row['source']} has "
            f"{row['expected']} {row['unit']} ({share:.3g} times the tolerance)"
        )

    return check


def pytest_terminal_summary(terminalreporter):
    if not SEEN:
        return
    groups: dict[tuple, list] = {}
    for key, share in SEEN.items():
        row = CHECKS[key]
        groups.setdefault((row["file"], row["source"], row["kind"]), []).append((share, key))
    write = terminalreporter.write_line
    write("")
    write("evidence: deviation as a share of the tolerance the source allows")
    write(f"{'subject':<16} {'source':<28} {'kind':<22} {'rows':>4} {'worst':>7}  at")
    for (subject, source, kind), rows in sorted(groups.items()):
        worst, key = max(rows)
        write(f"{subject:<16} {source:<28} {kind:<22} {len(rows):>4} {worst:>7.3f}  {key}")
