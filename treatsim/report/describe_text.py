"""A description as text to be read at 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Mapping

from treatsim.report.described import Answer, Description, Held, Key

WIDTH = 80
WIDEST = 34  # address that shares its line
MEANING = 6  # columns by which what an entry means is set in


def describe_text(told: Description) -> str:
    """Return a description for people."""
    write = {"all": _all, "kind": _kind, "table": _table, "case": _case, "address": _address}
    return "\n".join(line.rstrip() for line in write[told.of](told)) + "\n"


def _all(told: Description) -> list[str]:
    lines = ["KINDS OF UNIT, kind = ... in a table [units.NAME]"]
    lines += _named((row.name, row.about) for row in told.kinds)
    lines += ["", "TABLES BESIDE THE UNITS"]
    lines += _named((_header(row.name), row.about) for row in told.tables)
    return [
        *lines,
        "",
        "GOING ON",
        *_named(
            (
                ("treatsim describe KIND", "its ports, keys with examples, limits, results"),
                ("treatsim describe TABLE", "the same of a table, such as water or hold"),
                ("treatsim describe CASE", "every input and result of a case by its address"),
                ("treatsim describe CASE ADDRESS", "one of them: meaning, unit, use"),
                ("treatsim new START", "writes a commented case file, as follows"),
            )
        ),
        "",
        "CASE FILES TO START FROM",
        *_named((row.name, row.about) for row in told.starts),
    ]


def _header(table: str) -> str:
    """Return how a table is headed in a file."""
    return {"hold": "[[hold]]", "limits": "[units.NAME.limits]"}.get(table, f"[{table}]")


def _named(rows: Iterable[tuple[str, str]], indent: int = 1) -> list[str]:
    """Return two columns, the second one wrapped."""
    rows = list(rows)
    width = max((len(name) for name, _ in rows), default=0) + 2
    lines = []
    for name, about in rows:
        first, *rest = textwrap.wrap(about, WIDTH - indent - width) or [""]
        lines.append(f"{' ' * indent}{name:<{width}}{first}")
        lines += [f"{' ' * (indent + width)}{line}" for line in rest]
    return lines


def _wrapped(text: str, indent: int) -> list[str]:
    blank = " " * indent
    return textwrap.wrap(text, WIDTH, initial_indent=blank, subsequent_indent=blank)


def _kind(told: Description) -> list[str]:
    lines = [*_wrapped(f"{told.name}: {told.about}", 0), ""]
    lines += ["PORTS", f" in   {', '.join(told.inlets)}"]
    lines.append(f" out  {', '.join(told.outlets) or 'none: water ends here'}")
    lines += ["", "[units.NAME]", f'kind = "{told.name}"']
    lines += _keys(told.keys)
    if told.classes:
        lines += ["", "CLASSES OF THE CATALOGUE (round values of a size, none a product)"]
        lines += _named((row.name, row.about) for row in told.classes)
    lines += ["", "LIMITS IT MAY STATE"]
    lines += _limits(told.limits)
    lines += ["", "RESULTS (below the name of the unit; in the order of its page)"]
    own = [row for row in told.results if not _at_port(row, told)]
    own.sort(key=lambda row: not row.page)
    lines += _named((row.address, _with_unit(row.words, row.unit)) for row in own)
    lines += _ports(told)
    return lines


def _at_port(row: Answer, told: Description) -> bool:
    port, _, key = row.address.partition(".")
    plain = f"{key.replace('_', ' ')} at {port}"
    return port in (*told.inlets, *told.outlets) and row.words == plain


def _ports(told: Description) -> list[str]:
    """Return what is told at the ports, once for all of them."""
    port = (*told.inlets, *told.outlets)[0]
    rows = [row for row in told.results if _at_port(row, told)]
    keys = dict.fromkeys(f"{row.address.partition('.')[2]} [{row.unit}]" for row in rows)
    words = f"At each port, such as {port}.flow, what the water there carries of: "
    return ["", *_wrapped(words + ", ".join(keys) + ".", 1)]


def _with_unit(words: str, unit: str) -> str:
    return f"{words} [{unit}]" if unit else words


def _keys(keys: tuple[Key, ...]) -> list[str]:
    """Return keys as they would stand in a file, those asked for first."""
    outer = [row for row in keys if "." not in row.key and not row.form]
    inner = [row for row in keys if "." in row.key]
    groups = (
        ("ASKED FOR", [row for row in outer if row.required or row.one_of]),
        ("MAY BE LEFT OUT", [row for row in outer if not (row.required or row.one_of)]),
        ("WRITTEN AS A TABLE: ASKED FOR", [row for row in inner if row.required]),
        ("WRITTEN AS A TABLE: MAY BE LEFT OUT", [row for row in inner if not row.required]),
    )
    lines = []
    for head, rows in groups:
        lines += ["", head] if rows else []
        for row in rows:
            lines += _entry(row)
    return [*lines, *_forms(keys)] or ["", "No keys of its own."]


def _forms(keys: tuple[Key, ...]) -> list[str]:
    """Return what a data sheet or a bench gives in place of other keys, form by form."""
    lines: list[str] = []
    for form in dict.fromkeys(row.form for row in keys if row.form):
        rows = [row for row in keys if row.form == form]
        lines += ["", *_wrapped(f"IN PLACE OF {_listed(rows[0].stands_for)}", 0)]
        lines += _wrapped(form, 1)
        for row in rows:
            lines += _entry(row)
    return lines


def _listed(names: Iterable[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _entry(row: Key) -> list[str]:
    start = f" {row.key} = "
    lines = textwrap.wrap(row.example, WIDTH - len(start)) or ['""']
    told = [start + lines[0], *(" " * len(start) + line for line in lines[1:])]
    return [*told, *_wrapped(meaning_of(row), MEANING)]


def meaning_of(row: Key) -> str:
    """Return meaning, range, options and default in one text."""
    parts = [row.meaning]
    if row.range:
        parts.append(row.range)
    elif row.unit:
        parts.append(f"in {row.unit}")
    if row.options:
        lead = "one of" if row.kind == "choice" else "known:"
        parts.append(f"{lead} {', '.join(row.options)}")
    if row.default:
        parts.append(f"left out: {row.default}")
    if row.one_of:
        parts.append(f"this or {' or '.join(row.one_of)}")
    if row.instead:
        parts.append(f"or by {_listed(row.instead)}")
    return "; ".join(part for part in parts if part)


def _limits(rows: tuple[Held, ...], with_kind: bool = False) -> list[str]:
    if not rows:
        return [" none"]
    lines = _named(
        (
            f"{row.kind}.{row.key}" if with_kind else row.key,
            f"{row.group}: {row.words}{f' [{row.unit}]' if row.unit else ''}"
            + ("" if row.open else "; holds in any case"),
        )
        for row in rows
    )
    if free := next((row for row in rows if row.open), None):
        lines += _wrapped(
            "A rating or a practice is overridden or waived with its reason in "
            f'[units.NAME.limits], such as {free.key} = {{ waived = "why" }} or '
            f"{free.key} = a value with its unit.",
            1,
        )
    return lines


def _table(told: Description) -> list[str]:
    lines = [*_wrapped(f"{_header(told.name)}: {told.about}", 0)]
    if told.limits:
        return [*lines, "", *_limits(told.limits, with_kind=True)]
    return [*lines, *_keys(told.keys)]


def _address(told: Description) -> list[str]:
    lines = _wrapped(f"{told.name}: {told.about}", 0)
    for key in told.keys:
        lines += _wrapped(meaning_of(key), 1)
        rows = [("as a file has it", f"{key.key.rpartition('.')[2]} = {key.example}")]
        rows += [("value here", f"{key.value} ({key.state})")] * bool(key.value)
        rows += [("value here", key.state)] * (bool(key.state) and not key.value)
        lines += ["", *_named(rows)]
    for row in told.results:
        lines += _wrapped(_with_unit(row.words, row.unit), 1)
        lines += ["", *_named([("value here", row.text)])] if row.text else []
    if told.limits:
        lines += ["", "LIMIT", *_limits(told.limits)]
    return [*lines, "", "MAY BE USED AS", *(f" {use}" for use in told.uses)]


def _case(told: Description) -> list[str]:
    lines = [told.about, told.name, "", "INPUTS"]
    for owner, rows in _grouped(told.keys, lambda row: row.key).items():
        lines += ["", f" {owner}"]
        lines += _named(((row.key, _input(row)) for row in rows), 2)
    lines += ["", "RESULTS"]
    if told.results and not any(row.text for row in told.results):
        lines += ["", " no operating point at this setting: addresses only"]
    for owner, rows in _grouped(told.results, lambda row: row.address).items():
        lines += ["", f" {owner}"]
        lines += _columns(_folded(rows))
    return lines


def _input(row: Key) -> str:
    if row.state == "given":
        return row.value
    return f"{row.value} ({row.state})" if row.value else row.state


def _grouped(rows, address: Callable) -> Mapping[str, list]:
    found: dict[str, list] = {}
    for row in rows:
        found.setdefault(address(row).partition(".")[0], []).append(row)
    return found


def _folded(rows: list[Answer]) -> list[tuple[str, str, str]]:
    """Return address, value and words; what falls under one pattern is one line."""
    groups: dict[str, list[Answer]] = {}
    for row in rows:
        groups.setdefault(row.pattern, []).append(row)
    return [
        (group[0].address, group[0].text, group[0].words)
        if len(group) == 1
        else (pattern, _span(group), group[0].words)
        for pattern, group in groups.items()
    ]


def _span(group: list[Answer]) -> str:
    """Return how many there are, and from which to which."""
    known = sorted((row for row in group if row.value is not None), key=lambda row: row.value or 0)
    if not known:
        return f"{len(group)} of them"
    low, high = known[0].text, known[-1].text
    unit = known[0].unit
    if low == high:
        return f"{len(group)} of {low}"
    return f"{len(group)}: {low.removesuffix(unit).rstrip()} to {high}"


def _columns(rows: list[tuple[str, str, str]]) -> list[str]:
    """Return three columns; a long address has a line to itself, words are wrapped."""
    width = min(max(len(address) for address, _, _ in rows), WIDEST) + 2
    room = max(len(value) for _, value, _ in rows)
    lines = []
    for address, value, words in rows:
        if len(address) > WIDEST:
            lines.append(f"  {address}")
            address = ""
        start = f"  {address:<{width}}{value:<{room}}"
        first, *rest = textwrap.wrap(words, WIDTH - len(start) - 1) or [""]
        lines.append(f"{start} {first}")
        lines += [f"{' ' * len(start)} {line}" for line in rest]
    return lines
