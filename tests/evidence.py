"""Reference values with their provenance: how they are written down, and when a value agrees.

Every file below tests/validation/data is a TOML table of checks, one table per value, named by a
short id; the subject is the file's name. `kind` says what stands behind a value, `known` how it
came into the file, `source` who says so: a key of the bibliography, or a citation in full.

A row with `finding` is a disagreement on record: the reference is believed, ours is off by more
than the reference allows, and the row fails on the day it no longer is.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np

DATA = Path(__file__).parent / "validation" / "data"

KINDS = {
    "regulation": "rule, standard or guideline value of an authority",
    "measurement": "read off an instrument, or a smoothing of such readings",
    "worked example": "printed with its numbers in a book, report or documentation",
    "closed form": "follows from a definition, or a published formula put into numbers by hand",
    "second program": "computed by another program or library than the one under test",
    "common practice": "rule of thumb without a source",
}
KNOWN = {
    "read": "in the source or a copy of it",
    "computed": "from formulas or by the program named",
    "memory": "recalled, to be read again before it carries a decision",
    "read and computed": "inputs read, result computed",
    "memory and computed": "inputs recalled, result computed",
}
REQUIRED = {"quantity", "expected", "unit", "source", "kind", "known"}
TOLERANCES = {"rtol", "atol", "range"}  # relative, absolute, or [lowest, highest] seen
OPTIONAL = {"locator", "why", "note", "given", "bound", "finding"}
BOUNDS = {"at most", "at least"}


def load() -> dict[str, dict]:
    """Return every row by its id."""
    checks: dict[str, dict] = {}
    for path in sorted(DATA.rglob("*.toml")):
        for key, row in tomllib.loads(path.read_text("utf-8")).items():
            assert key not in checks, f"{path.name}: {key} stands twice"
            checks[key] = row | {"file": path.stem}
    return checks


def faults(key: str, row: dict) -> list[str]:
    """Return what is wrong with the way a row is written."""
    fields = set(row) - {"file"}
    found = [f"{key}: unknown {name}" for name in fields - REQUIRED - TOLERANCES - OPTIONAL]
    found += [f"{key}: {name} is missing" for name in REQUIRED - fields]
    if len(TOLERANCES & fields) != 1:
        found.append(f"{key}: one of {', '.join(sorted(TOLERANCES))} (0 for exact)")
    for name, allowed in (("kind", KINDS), ("known", KNOWN), ("bound", BOUNDS)):
        if name in row and row[name] not in allowed:
            found.append(f"{key}: {name} {row[name]!r}")
    return found


CHECKS = load()


def deviation(row: dict, computed) -> float:
    """Deviation as a share of what the source allows; above 1 is a miss."""
    expected, computed = np.asarray(row["expected"], float), np.asarray(computed, float)
    assert expected.shape == computed.shape, f"shape {computed.shape}, expected {expected.shape}"
    with np.errstate(invalid="ignore"):
        beyond = np.where(computed == expected, 0.0, computed - expected)  # also of infinities
    if "bound" in row:
        beyond = np.maximum(beyond if row["bound"] == "at most" else -beyond, 0.0)
    rounding = 4e-16 * np.abs(expected)  # "exact" still goes through float64
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(np.abs(beyond) <= rounding, 0.0, np.abs(beyond) / _allowed(row, beyond))
    return float(np.max(np.where(np.isnan(share), np.inf, share)))


def _allowed(row: dict, beyond):
    expected = np.asarray(row["expected"], float)
    if "range" in row:
        low, high = row["range"]
        return np.where(beyond > 0, high - expected, expected - low)
    return row["atol"] if "atol" in row else row["rtol"] * np.abs(expected)
