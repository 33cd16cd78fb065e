"""Rows of a log held against one another: clock, gaps, zeros, meters in the wrong range."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array, Flags
from treatsim.errors import RequestError
from treatsim.running.log_file import METER, Fault, Readings, Table, read_table
from treatsim.running.log_meters import another_range, fahrenheit, hanging, salty
from treatsim.running.timed_table import Column

LONG_GAP = 5.0  # of the usual step
JUMP = 2.0  # likewise, where the hour meter says that the clock was set forward
LEAST_DRIFT = 0.005  # of the hour meter against the clock
NEIGHBOURS = 21  # readings around one, with it
# factor between two units of one quantity -> what was likely meant; closeness in relative terms
MISTAKES: Mapping[str, tuple[float, Mapping[float, str]]] = {
    "conductivity": (
        0.8,
        {
            1e3: "mS read as uS, or a meter in the wrong range",
            1e-3: "uS read as mS, or a meter in the wrong range",
        },
    ),
    "pressure": (
        0.06,
        {
            14.5038: "psi under a head in bar",
            1 / 14.5038: "bar under a head in psi",
            100.0: "kPa under a head in bar",
            0.1: "MPa under a head in bar",
        },
    ),
    "flow": (
        0.06,
        {
            4.40287: "gal/min under a head in m3/h",
            1 / 4.40287: "m3/h under a head in gal/min",
            16.6667: "L/min under a head in m3/h",
            1e3: "L/h under a head in m3/h",
            24.0: "m3/d under a head in m3/h",
            1 / 3.6: "L/s under a head in m3/h",
        },
    ),
}
MISTAKES = {**MISTAKES, "pressure_difference": MISTAKES["pressure"]}


def read_log(path: str, known: Mapping[str, Column], words: Mapping[str, str]) -> Readings:
    """Read a log and leave out what cannot be, naming every row; RequestError if none is left."""
    table = read_table(path, known, words)
    faults = list(table.faults)
    bad = {fault.line for fault in faults if fault.dropped}
    keep = np.array([line not in bad for line in table.line], bool)
    for check in (_zeros, _wrong_range, fahrenheit, another_range, hanging, _clock_back):
        found = check(table, known, keep)
        faults += found
        bad = {fault.line for fault in found if fault.dropped}
        keep &= np.array([line not in bad for line in table.line], bool)
    if not np.any(keep):
        told = "; ".join(f"line {fault.line}: {fault.what}" for fault in faults[:3])
        raise RequestError(f"{path}: no row is left to judge: {told}")
    time, line = table.time[keep], table.line[keep]
    time = time - (0.0 if table.start else time[0])
    columns = {name: values[keep] for name, values in table.columns.items()}
    faults += _gaps(time, line, columns.get(METER), set(table.line.tolist()))
    notes = [*table.notes, *_drift(time, columns.get(METER))]
    words_at = [table.events[i] for i in np.flatnonzero(keep)]
    events = [(float(t), text) for t, text in zip(time, words_at, strict=True) if text]
    every = tuple(sorted(faults))
    return Readings(
        path,
        table.start,
        time,
        line,
        columns,
        tuple(events),
        every,
        tuple(notes),
        table.rows,
    )


def _zeros(table: Table, known, keep: Flags) -> list[Fault]:
    """Rows in which nothing was measured, or where what cannot be nothing is."""
    names = [name for name in table.columns if name != METER and known[name].kind != "temperature"]
    if not names:
        return []
    rows = np.array([table.columns[name] for name in names])
    with np.errstate(invalid="ignore"):
        still = keep & np.all((rows == 0) | np.isnan(rows), axis=0) & np.any(rows == 0, axis=0)
    found = [
        Fault(int(line), "every reading is 0: logger off, or the unit stands", True)
        for line in table.line[still]
    ]
    for name in names:
        if known[name].kind in ("conductivity", "flow", "fluence_rate"):
            dead = keep & ~still & (table.columns[name] == 0)
            found += [
                Fault(int(n), f"{name} is 0 beside other readings", True) for n in table.line[dead]
            ]
    return found


def _wrong_range(table: Table, known, keep: Flags) -> list[Fault]:
    """Readings that differ from the others by the factor between two units."""
    found = []
    for name, values in table.columns.items():
        near, factors = MISTAKES.get(known[name].kind, (0.0, {}))
        good = keep & (values > 0)
        if not factors or np.count_nonzero(good) < 5:
            continue
        logs = np.log(values[good])
        away = [logs - np.median(logs), logs - running_median(logs)]
        for factor, words in factors.items():
            off = [np.abs(one - np.log(factor)) <= np.log1p(near) for one in away]
            for place in np.flatnonzero(off[0] | off[1]):
                line = int(table.line[good][place])
                also = salty(name, known[name].kind, factor > 1)
                found.append(
                    Fault(
                        line, f"{name} is about {factor:.3g} times the others: {words}{also}", True
                    )
                )
    return found


def running_median(values: Array, width: int = NEIGHBOURS) -> Array:
    """Return the median of the `width` neighbours of each value, fewer at the ends."""
    half = min(width, values.size) // 2
    padded = np.pad(values, half, mode="reflect") if 0 < half < values.size else values
    if padded.size == values.size:
        return np.full(values.size, np.median(values))
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    return np.median(windows, axis=-1)


def _clock_back(table: Table, known, keep: Flags) -> list[Fault]:
    """Times that were there before, or run back; one time far ahead is the wrong one itself."""
    found = []
    rows = [i for i in np.flatnonzero(keep).tolist() if np.isfinite(table.time[i])]
    latest, last = -np.inf, 0
    for here, i in enumerate(rows):
        now, line = table.time[i], int(table.line[i])
        after = [table.time[j] for j in rows[here + 1 : here + 4]]
        if len(after) == 3 and now > max(after) and min(after) > latest:
            found.append(Fault(line, "the time runs ahead of the rows that follow", True))
        elif now == latest:
            twin = all(
                np.array_equal(v[i], v[last], equal_nan=True) for v in table.columns.values()
            )
            told = "the same readings" if twin else "other readings; which holds is not known"
            found.append(Fault(line, f"the time of line {table.line[last]} again, {told}", True))
        elif now < latest:
            back = quantities.text(latest - now, "duration", digits=3)
            told = f"the time runs back by {back} behind line {table.line[last]}: clock changed?"
            found.append(Fault(line, told, True))
        else:
            latest, last = now, i
    return found


def _gaps(time: Array, line: Array, meter: Array | None, noted: set[int]) -> list[Fault]:
    """Say where nothing was noted for much longer than usual; nothing is left out.

    A clock that ran slow and was set forward leaves the same gap; only the hour meter can tell.
    """
    if time.size < 3:
        return []
    steps = np.diff(time)
    usual = np.median(steps)
    found, since = [], 0
    for i in np.flatnonzero(steps > JUMP * usual).tolist():
        here, after = int(line[i]), int(line[i + 1])
        gap = quantities.text(steps[i], "duration", digits=3)
        between = noted & set(range(here + 1, after))
        slow = 0.0 if meter is None else _lost(time[since : i + 1], meter[since : i + 1])
        if not between and slow >= 0.5 * (steps[i] - usual):
            lost = quantities.text(slow, "duration", digits=3)
            said = (
                f"the clock jumps by {gap}: it had lost {lost} against the hour meter and was set "
                f"forward; dates from line {line[since]} to line {here} are early by up to that"
            )
            since = i + 1
        elif steps[i] <= LONG_GAP * usual:
            continue
        elif between:
            said = f"no row is left for {gap} since line {here}"
        else:
            or_else = ", or the clock was set forward" if meter is None else ""
            said = f"nothing noted for {gap} since line {here}{or_else}"
        found.append(Fault(after, said, False))
    return found


def _lost(time: Array, meter: Array) -> float:
    """Hours that a meter counted beyond those of the clock, which no machine can run. [s]"""
    good = np.isfinite(meter)
    if np.count_nonzero(good) < 2 or np.any(np.diff(meter[good]) < 0):
        return 0.0
    passed = float(np.ptp(time[good]))
    beyond = float(np.ptp(meter[good])) - passed
    return beyond if beyond > LEAST_DRIFT * passed else 0.0


def _drift(time: Array, meter: Array | None) -> list[str]:
    """Say whether an hour meter runs faster than the clock, which no machine can."""
    if meter is None or np.count_nonzero(np.isfinite(meter)) < 3:
        return []
    good = np.isfinite(meter)
    ran, passed = np.diff(meter[good]), np.diff(time[good])
    if np.any(ran < 0):
        return ["the hour meter runs back: reset or replaced; the clock alone is used"]
    pace = float(np.sum(ran) / np.sum(passed))
    if pace <= 1 + LEAST_DRIFT:
        return []
    return [
        f"the hour meter counts {pace:.3f} h in each hour of the clock: one of them drifts, and "
        f"every rate and date below may be off by {abs(pace - 1):.1%}"
    ]
