"""A judged log as a file: JSON, every row as CSV, a picture, and the case as it is today."""

from __future__ import annotations

import copy
import csv
import io
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from treatsim import __version__, quantities
from treatsim.constants import DAY
from treatsim.errors import RequestError, plain
from treatsim.report.as_text import as_json, toml_text
from treatsim.report.logbook_text import VERDICTS, every_fault, logbook_text
from treatsim.running.logbook import Logbook
from treatsim.running.records import Learnt, Series, UnitLog, moment

BARE = re.compile(r"[A-Za-z0-9_-]+")


def document(case: Any, book: Logbook, system: str) -> dict[str, Any]:
    """Return everything a log says, every row included."""
    log = book.readings
    return {
        "treatsim": __version__,
        "case": case.path,
        "readings": log.path,
        "title": case.title,
        "rows": log.rows,
        "used": int(log.time.size),
        "acts": book.acts,
        "urgent": list(book.urgent),
        "faults": [fault._asdict() for fault in every_fault(book)],
        "notes": list(log.notes),
        "events": [{"time": moment(log.start, t), "text": text} for t, text in log.events],
        "units": [_unit(unit, log.start, system) for unit in book.units],
        "not_judged": list(book.not_judged),
    }


def _unit(unit: UnitLog, start, system: str) -> dict[str, Any]:
    return {
        "unit": unit.unit,
        "kind": unit.words,
        "lines": unit.line.tolist(),
        "hours": (unit.time / 3600).tolist(),
        "series": {key: _series(series, system) for key, series in unit.series.items()},
        "trends": {
            key: {
                "start": float(np.exp(t.start)),
                "change": float(np.expm1(t.now)),
                "low": float(np.expm1(t.now - t.error)),
                "high": float(np.expm1(t.now + t.error)),
                "per_day": None if t.slope is None else [
                    float(np.expm1(DAY * v)) for v in (t.slope.slope, t.slope.low, t.slope.high)
                ],
                "steps": [
                    {"line": int(unit.line[s.place]), "time": moment(start, unit.time[s.place]),
                     "change": float(np.expm1(s.size))} for s in t.steps
                ],
            }
            for key, t in unit.trends.items()
        },
        "triggers": [
            {**t._asdict(), **{key: None if (v := getattr(t, key)) is None else moment(start, v)
                               for key in ("when", "earliest", "latest")}}
            for t in unit.triggers
        ],
        "causes": [{**c._asdict(), "evidence": list(c.evidence)} for c in unit.causes],
        "learnt": {address: _learnt(item, system) for address, item in unit.learnt.items()},
        "notes": list(unit.notes),
    }  # fmt: skip


def _series(series: Series, system: str) -> dict[str, Any]:
    unit, factor, offset = quantities.shown(series.quantity, system)
    return {
        "words": series.words,
        "unit": unit,
        "values": _list(series.values * factor + offset),
        "standard_error": _list(series.error * factor),
    }


def _list(values) -> list[float | None]:
    return [float(v) if np.isfinite(v) else None for v in np.asarray(values)]


def _learnt(item: Learnt, system: str) -> dict[str, Any]:
    unit, factor, offset = quantities.shown(item.quantity, system)
    return {
        "value": item.value * factor + offset,
        "standard_error": item.spread * factor,
        "unit": unit,
    }


def json_text(case: Any, book: Logbook, system: str) -> str:
    """Return the document as text."""
    return as_json(document(case, book, system))


def csv_text(case: Any, book: Logbook, system: str) -> str:
    """Return every row of every unit, a line for each quantity."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(("unit", "line", "time [h]", "quantity", "value", "standard_error", "shown_in"))
    for unit in book.units:
        for key, series in unit.series.items():
            shown, factor, offset = quantities.shown(series.quantity, system)
            for line, time, value, error in zip(
                unit.line, unit.time, series.values, series.error, strict=True
            ):
                cells = [
                    f"{v:.9g}" if np.isfinite(v) else ""
                    for v in (value * factor + offset, error * factor)
                ]
                writer.writerow((unit.unit, line, f"{time / 3600:.6g}", key, *cells, shown))
    return buffer.getvalue()


def case_text(case: Any, book: Logbook, system: str) -> str:
    """Return the case with what was learnt put in its place, each value with its origin.

    What the log said stands above it, and what forbids giving out the water stays forbidden: it
    goes into `logbook.stop`, beside what stood there, until a person takes it out.
    """
    data = copy.deepcopy(dict(case.data))
    changed, units = 0, case.flowsheet().units
    fields = {name: units[name].parameters.__dataclass_fields__ for name in data["units"]}
    for unit in book.units:
        table = data["units"][unit.unit]
        when = moment(book.readings.start, unit.time[-1])
        for address, item in unit.learnt.items():
            key = address.rpartition(".")[2]
            left_out = isinstance(fields[unit.unit][key].default, float)
            if key not in table and not left_out:  # by a sheet, which the log cannot rewrite
                continue
            source = f"{len(unit.line)} rows of {Path(book.readings.path).name} up to {when}"
            table[key] = {
                "value": _entry(item.value, item.quantity),
                "spread": _entry(item.spread, item.quantity),
                "source": f"{source}; {item.said}" if item.said else source,
            }
            changed += 1
    stop = list(
        dict.fromkeys([*data["logbook"].get("stop", ()), *(what for what, _ in book.stops)])
    )
    if not changed and not stop:
        raise RequestError(f"{book.readings.path}: nothing was learnt that could be written back")
    if stop:
        data["logbook"]["stop"] = stop
    return "\n".join([*_said(case, book), "", _toml(data)])


def _said(case: Any, book: Logbook) -> list[str]:
    """Return what the log said, as remarks above the case."""
    own, log = (Path(path).name for path in (case.path, book.readings.path))
    lines = [f"{own} as {log} has it: what the log said of each unit"]
    for unit in book.units:
        lines += [f"{unit.unit}: {cause.name}: {VERDICTS[cause.verdict]}" for cause in unit.causes]
    lines += [f"not judged: {line}" for line in book.not_judged]
    return [f"# {plain(line)}" for line in lines]


def _entry(value: float, quantity: str) -> str | float:
    number, unit = quantities.show(value, quantity)
    return f"{number:.4g} {unit}" if unit else float(f"{number:.4g}")


def _toml(data: Mapping[str, Any]) -> str:
    """Return a case file: tables of the first two levels as such, all deeper ones in a line."""
    lines = [f"{_key(k)} = {toml_text(v)}" for k, v in data.items() if not _table(v)]
    for name, table in data.items():
        if isinstance(table, list) and _table(table):
            for row in table:
                lines += ["", f"[[{_key(name)}]]", *_entries(row)]
        elif name == "units" and isinstance(table, Mapping):
            for unit, rows in table.items():
                lines += ["", f"[units.{_key(unit)}]", *_entries(rows)]
        elif isinstance(table, Mapping):
            lines += ["", f"[{_key(name)}]", *_entries(table)]
    return "\n".join(lines) + "\n"


def _table(value: Any) -> bool:
    rows = isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)
    return isinstance(value, Mapping) or rows


def _entries(table: Mapping[str, Any]) -> list[str]:
    return [f"{_key(key)} = {_inline(value)}" for key, value in table.items()]


def _inline(value: Any) -> str:
    if isinstance(value, Mapping):
        inner = ", ".join(f"{_key(key)} = {_inline(item)}" for key, item in value.items())
        return f"{{ {inner} }}"
    return toml_text(value)


def _key(key: str) -> str:
    return key if BARE.fullmatch(key) else toml_text(key)


def picture(case: Any, book: Logbook, form: str) -> bytes:
    """Return the log as a picture."""
    from treatsim.report.plots import logbook, style

    figure = logbook.draw(logbook.data_of(book))
    style.sign(figure, f"{case.title} ({Path(case.path).name}); {Path(book.readings.path).name}")
    return style.render(figure, form)


WRITERS: Mapping[str, Callable[[Any, Logbook, str], str]] = {
    ".txt": logbook_text,
    ".json": json_text,
    ".csv": csv_text,
    ".toml": case_text,
}
