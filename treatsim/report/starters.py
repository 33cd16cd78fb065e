"""Case files to start from: entries from the catalogue, comments from the declarations."""

from __future__ import annotations

import dataclasses
import difflib

from treatsim import case_sections, catalogue, operations
from treatsim.errors import RequestError

COMMENT_COLUMN = 44


def starter(kind: str) -> str:
    """Return the text of a case file of a kind; RequestError names the kinds."""
    kinds = catalogue.load("starters")
    if kind not in kinds:
        near = difflib.get_close_matches(kind, kinds, n=1)
        hint = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(kinds)}"
        raise RequestError(f"new {kind}: no such kind; {hint}")
    data = kinds[kind]
    lines = [
        "# A case to start from. Every value is invented: replace it by what you measured.",
        "# A number with a dimension is text with its unit. Planning aid, not an approval.",
        "",
        f"title = {_toml(data['title'])}",
    ]
    for name, record in case_sections.SECTIONS.items():
        if name in data:
            lines += ["", f"[{name}]", *_entries(data[name], record)]
    for name, table in data["units"].items():
        rest = {key: value for key, value in table.items() if key != "kind"}
        lines += [
            "",
            f"[units.{name}]",
            f"kind = {_toml(table['kind'])}",
            *_entries(rest, operations.parameters_class(table["kind"])),
        ]
    lines += ["", "[flowsheet]", "links = [", *(f"  {_toml(link)}," for link in data["links"]), "]"]
    return "\n".join(lines) + "\n"


def _entries(table, record) -> list[str]:
    meanings = {f.name: f.metadata["meaning"] for f in dataclasses.fields(record)}
    return [
        f"{f'{key} = {_toml(value)}':<{COMMENT_COLUMN}}# {meanings[key]}"
        for key, value in table.items()
    ]


def _toml(value) -> str:
    if isinstance(value, dict):
        inner = ", ".join(f"{key} = {_toml(item)}" for key, item in value.items())
        return f"{{ {inner} }}"
    return f'"{value}"' if isinstance(value, str) else str(value)
