"""Tables as CSV, XLSX and Parquet, chosen by the suffix of the file."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.report.as_text import as_json
from treatsim.report.files import suffix_of
from treatsim.studies.table import Column, Table, cell

ROWS_AT_ONCE = 8192
LARGEST_SHEET = 1_048_575  # rows below the header that an XLSX sheet can hold
NEEDED = {".csv": (), ".xlsx": ("openpyxl",), ".parquet": ("pyarrow",), ".json": ()}


def check_path(out: str, points: int = 0) -> str:
    """Return the suffix, or raise RequestError for a file that cannot be written in the end."""
    path = Path(out)
    suffix = suffix_of(out, tuple(NEEDED))
    try:
        parent = path.parent.is_dir()
    except OSError as error:  # a name too long, a folder that may not be looked into
        reason = (error.strerror or "error").lower()
        raise RequestError(f"--out {out}: cannot be written: {reason}") from error
    if not parent:
        raise RequestError(f"--out {out}: there is no directory {path.parent}")
    for package in NEEDED[suffix]:
        if find_spec(package) is None:
            raise RequestError(f"--out {out}: this needs {package}; pip install treatsim[tables]")
    if suffix == ".xlsx" and points > LARGEST_SHEET:
        raise RequestError(
            f"--out {out}: {points:,} rows; a sheet holds {LARGEST_SHEET:,}. Write .csv or .parquet"
        )
    return suffix


def encode(table: Table, suffix: str, system: str = "si") -> bytes:
    """Return the content of the file."""
    writers: dict[str, Callable[[Table, str], bytes]] = {
        ".csv": _csv_bytes,
        ".xlsx": _xlsx,
        ".parquet": _parquet,
    }
    return writers[suffix](table, system)


def json_text(path: str, table: Table, system: str = "si") -> str:
    """Return the sweep of a case as one JSON document: columns with their units, then rows."""
    columns = [
        {
            "address": column.address,
            "unit": quantities.shown(column.quantity, system)[0] if column.quantity else None,
        }
        for column in table.columns
    ]
    cells = [_plain(column, system) for column in table.columns]
    endless = [[None if v in (np.inf, -np.inf) else v for v in column] for column in cells]
    return as_json(
        {
            "treatsim": treatsim.__version__,
            "case": path,
            "title": table.title,
            "inputs": table.inputs,
            "columns": columns,
            "rows": [list(row) for row in zip(*endless, strict=True)],
        }
    )


def csv_text(table: Table, system: str = "si") -> str:
    """Return the table as CSV; cells without an answer are empty."""
    buffer = io.StringIO()
    _write_csv(table, system, buffer)
    return buffer.getvalue()


def _csv_bytes(table: Table, system: str) -> bytes:
    raw = io.BytesIO()
    text = io.TextIOWrapper(raw, "utf-8", newline="", write_through=True)
    _write_csv(table, system, text)
    text.flush()
    text.detach()
    return raw.getvalue()


def _write_csv(table: Table, system: str, file) -> None:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(table.headings(system))
    columns = [column.shown(system) for column in table.columns]
    for start in range(0, len(table), ROWS_AT_ONCE):
        part = [_texts(values[start : start + ROWS_AT_ONCE]) for values in columns]
        writer.writerows(zip(*part, strict=True))


def _texts(values) -> list[str]:
    array = np.asarray(values)
    if array.dtype == np.float64:
        return ["" if v != v else f"{v:.10g}" for v in array.tolist()]
    return [cell(v) for v in array.tolist()]


def _plain(column: Column, system: str) -> list:
    """Return a column as Python values; None where there is no answer."""
    values = np.asarray(column.shown(system)).tolist()
    return [None if isinstance(v, float) and v != v else v for v in values]


def _xlsx(table: Table, system: str) -> bytes:
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("sweep")
    sheet.freeze_panes = "A2"
    sheet.append(table.headings(system))
    columns = [_plain(column, system) for column in table.columns]
    for row in zip(*columns, strict=True):  # a sheet knows no infinity
        sheet.append([str(v) if isinstance(v, float) and abs(v) == np.inf else v for v in row])
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _parquet(table: Table, system: str) -> bytes:
    import pyarrow
    from pyarrow import parquet

    arrays = [pyarrow.array(np.asarray(c.shown(system)), from_pandas=True) for c in table.columns]
    buffer = io.BytesIO()
    parquet.write_table(pyarrow.table(arrays, names=table.headings(system)), buffer)
    return buffer.getvalue()
