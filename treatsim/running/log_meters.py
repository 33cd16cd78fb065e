"""Meters that hang, or read a while by another range: told by what stands before and behind."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.constants import ZERO_CELSIUS
from treatsim.running.log_file import Fault, Table

TENTH, NEAR = np.log(0.1), np.log(1.15)  # a range of a meter, and how near it counts as one
BESIDE = 3  # readings on either side of a change, of which the middle one counts
SAME = 12  # equal readings in a row: by hand or of a coarse gauge they are usual
MOVING = ("conductivity", "pressure", "flow")
LIKE = 3.0  # K; how near to the others a temperature in degF must be, once read as such
SALTY = "; if the meter is right, the water is salty: check it before anyone drinks"
PERMEATE = "permeate"  # a jump there may be true, and then it is the dangerous one
RARE = 0.1  # share of equal neighbours in a column that else moves


def salty(name: str, kind: str, high: Any) -> str:
    """Return what a reading of the permeate that is left out, and is high, may mean; or ""."""
    seen = PERMEATE in name and kind == "conductivity" and high
    return SALTY if seen else ""


def another_range(table: Table, known, keep: Flags) -> list[Fault]:
    """Conductivities that fall to a tenth and come back: nobody's water does, a meter's range does.

    Ten times as much is believed, and so is a tenth that stays: a torn element does the one, its
    repair the other.
    """
    found = []
    for name, values in table.columns.items():
        good = np.flatnonzero(keep & (values > 0))
        if known[name].kind != "conductivity" or good.size <= 2 * BESIDE:
            continue
        for first, behind in _tenths(np.log(values[good])):
            found += [
                Fault(int(line), f"{name} is about 0.1 times the readings around: a meter in the "
                      "wrong range", True)
                for line in table.line[good][first:behind]
            ]  # fmt: skip
    return found


def fahrenheit(table: Table, known, keep: Flags) -> list[Fault]:
    """Temperatures far above the others that are among them once read in degF.

    Of cold water no bound refuses them: 50 under a head in degC is a warm well.
    """
    found = []
    for name, values in table.columns.items():
        good = keep & np.isfinite(values)
        if known[name].kind != "temperature" or np.count_nonzero(good) < 5:
            continue
        usual = float(np.median(values[good]))
        read = (values - ZERO_CELSIUS - 32.0) / 1.8 + ZERO_CELSIUS
        with np.errstate(invalid="ignore"):
            off = good & (np.abs(read - usual) <= LIKE) & (values - usual > 5 * LIKE)
        found += [
            Fault(int(line), f"{name} is far above the others, and near them as degF: degF under "
                  "a head in degC", True)
            for line in table.line[off]
        ]  # fmt: skip
    return found


def _tenths(logs: Array) -> list[tuple[int, int]]:
    """First row of each stretch at a tenth, and the row behind it."""
    steps = np.diff(logs)
    found: list[tuple[int, int]] = []
    start: int | None = None
    for place in np.flatnonzero(np.abs(np.abs(steps) + TENTH) <= 2 * NEAR) + 1:
        before, behind = logs[max(place - BESIDE, 0) : place], logs[place : place + BESIDE]
        step = np.median(behind) - np.median(before)
        single = np.abs(steps[place - 1])
        if np.abs(step) + 3 * NEAR < single:  # a single reading: its neighbours are as before
            step = steps[place - 1]
        if np.abs(step - TENTH) <= NEAR:
            start = int(place)
        elif start is not None and np.abs(step + TENTH) <= NEAR:
            found.append((start, int(place)))
            start = None
    return found


def hanging(table: Table, known, keep: Flags) -> list[Fault]:
    """Readings that stand still to the last digit, of a meter that else never does."""
    found = []
    for name, values in table.columns.items():
        good = np.flatnonzero(keep & np.isfinite(values) & (values != 0))
        if known[name].kind not in MOVING or good.size <= SAME:
            continue
        same = np.diff(values[good]) == 0
        edges = np.flatnonzero(np.diff(np.concatenate([[0], same.astype(int), [0]])))
        runs = [(a, b + 1) for a, b in edges.reshape(-1, 2) if b + 1 - a >= SAME]
        held = sum(b - a - 1 for a, b in runs)
        if np.sum(same) - held > RARE * (same.size - held) or 2 * held > same.size:
            continue
        found += [
            Fault(int(line), f"{name} stands still to the last digit over {b - a} rows: a meter at "
                  "the end of its range, or a logger that hangs"
                  + salty(name, known[name].kind, values[good][a] >= np.max(values[good])), True)
            for a, b in runs
            for line in table.line[good][a:b]
        ]  # fmt: skip
    return found
