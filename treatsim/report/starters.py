"""Case files to start from: entries from the catalogue, comments from the declarations."""

from __future__ import annotations

import difflib
import textwrap
from typing import Any

from treatsim import case_sections, catalogue, operations
from treatsim.errors import RequestError
from treatsim.examples import without_kind
from treatsim.operations.parameters import Parameters
from treatsim.report.as_text import toml_text
from treatsim.report.described import held_by, keys_of, records

COMMENT_COLUMN = 44
WIDTH = 100
HELD = "\u00a0"  # a blank at which no line is broken


def kinds() -> dict[str, str]:
    """Return the kinds of starts, each in one line."""
    return {name: start["about"] for name, start in catalogue.load("starters").items()}


def starter(kind: str) -> str:
    """Return the text of a case file of a kind; RequestError names the kinds."""
    known = kinds()
    if kind not in known:
        near = difflib.get_close_matches(kind, known, n=1)
        hint = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(known)}"
        raise RequestError(f"new {kind}: no such kind; {hint}")
    start = catalogue.load("starters")[kind]
    every = "based_on" in start
    data = {**catalogue.load("starters")[start["based_on"]], **start} if every else start
    lines = [*_head(data), f"title = {toml_text(data['title'])}"]
    for name, record in case_sections.SECTIONS.items():
        if name in data:
            lines += ["", f"[{name}]", *_entries(data[name], record, name, every)]
        elif name in data.get("commented", {}):
            inner = _entries(data["commented"][name], record, name, False)
            lines += ["", *_commented([f"[{name}]", *inner])]
    for name, table in data["units"].items():
        lines += ["", *_unit(name, table, every)]
    lines += ["", "[flowsheet]", "links = ["]
    lines += [*(f"  {toml_text(link)}," for link in data["links"]), "]"]
    return "\n".join(lines + (_hold() if every else [])) + "\n"


def _head(data: dict[str, Any]) -> list[str]:
    """Return what stands first: what this is, and why something is not judged yet."""
    texts = [
        f"A case to start from: {data['about']}.",
        "Every value is invented: replace it by what you measured. A number with a dimension is "
        "text with its unit. treatsim describe KIND tells all keys of a unit.",
        "Planning aid: it is no approval, and nobody drinks on its word.",
    ]
    texts += [f"Not judged yet: {reason}." for reason in data["open"]]
    lines = [f"# {line}" for text in texts for line in textwrap.wrap(text, WIDTH - 2)]
    return [*lines, ""]


def _unit(name: str, table: dict[str, Any], every: bool) -> list[str]:
    """Return the table of a unit; with `every`, also what is left out, and its open limits."""
    kind = table["kind"]
    record = operations.parameters_class(kind)
    lines = [f"[units.{name}]", f"kind = {toml_text(kind)}"]
    lines += _entries(without_kind(table), record, kind, every)
    rows = [row for row in held_by(kind) if row.open] if every else []
    if rows:
        lines.append(f"# [units.{name}.limits]")
    return lines + [_line(f'# {row.key} = {{ waived = "why" }}', row.words) for row in rows]


def _entries(table: dict[str, Any], record: type[Parameters], owner: str, every: bool) -> list[str]:
    """Return what is given, in the order of the declaration, and with `every` what is not."""
    if hasattr(record, "entries"):
        return [f"{key} = {toml_text(value)}" for key, value in table.items()]
    found = []
    form = ""
    for key in keys_of(record, owner):
        if every and key.form != form:
            form = key.form
            text = f"in place of {' and '.join(key.stands_for)}: {form}"
            found += [f"# {line}" for line in textwrap.wrap(text, WIDTH - 2)]
        if key.key in table:
            found.append(_line(f"{key.key} = {toml_text(table[key.key])}", key.meaning))
        elif every and "." not in key.key:
            found.append(_line(f"# {key.key} = {key.example}", key.meaning))
    return found


def _commented(lines: list[str]) -> list[str]:
    """Return lines as comments; a list too long for one line is broken."""
    found = []
    for line in (inner for entry in lines for inner in entry.splitlines()):
        if len(line) + 2 <= WIDTH:
            found.append(line if line.startswith("#") else f"# {line}")
            continue
        if not line.endswith("]"):  # an entry whose words no longer fit behind it
            entry, _, words = line.partition("  #")
            found += [f"# {words.strip()}", f"# {entry.rstrip()}"]
            continue
        head, _, values = line.partition("[")
        items = values.removesuffix("]").replace(" ", HELD).replace(f",{HELD}", ", ")
        wrapped = textwrap.wrap(items, WIDTH - 4)
        rows = (part.replace(HELD, " ") for part in wrapped)
        found += [f"# {head}[", *(f"#   {row}" for row in rows), "# ]"]
    return found


def _hold() -> list[str]:
    """Return a hold as a comment, on the first dial of the start."""
    keys = keys_of(records()["hold"], "hold")
    return ["", "# [[hold]]", *(_line(f"# {k.key} = {k.example}", k.meaning) for k in keys)]


def _line(entry: str, meaning: str) -> str:
    """Return an entry with what it means behind it, or above it where there is no room."""
    line = f"{entry:<{COMMENT_COLUMN - 1}} # {meaning}"
    if len(line) <= WIDTH:
        return line
    return "\n".join([*(f"# {part}" for part in textwrap.wrap(meaning, WIDTH - 2)), entry])
