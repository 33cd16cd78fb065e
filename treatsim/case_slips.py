"""Slips that make a file no TOML: read on as they were meant, so that all else is told too.

Nothing is solved of such a case, for each line that was mended is told as a problem.
"""

from __future__ import annotations

import json
import re
from typing import Any

from treatsim.case_text import parse
from treatsim.errors import CaseError

MOST_SLIPS = 60  # lines mended; a file of more is no case file
ENTRY = re.compile(r"(\s*[A-Za-z0-9_.-]+\s*)([=:])\s*(.*)$")
HEADER = re.compile(r"\s*(\[\[?)\s*([A-Za-z0-9_.-]+)\s*\]*\s*$")
COMMA = re.compile(r"([-+]?\d+),(\d+)\s*(?:#.*)?$")  # 7,4
QUOTES = "\"'`\u00b4\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb\u2039\u203a"


def parse_as_meant(text: str, name: str) -> tuple[dict[str, Any], list[str]]:
    """Return the tables of a case and a line for every slip of its writing.

    CaseError where a line cannot be read in any way, with the slips before it.
    """
    lines = text.split("\n")
    told: dict[int, str] = {}
    while True:
        try:
            return parse("\n".join(lines), name), list(told.values())
        except CaseError as error:
            place = re.match(re.escape(name) + r":(\d+): not readable", error.problems[0])
            number = int(place[1]) - 1 if place else -1
            mended = _mended(lines[number]) if 0 <= number < len(lines) else None
            if mended is None or number in told or len(told) == MOST_SLIPS:
                raise CaseError([*told.values(), *error.problems]) from error
            lines[number], words = mended
            told[number] = f"{name}:{number + 1}: {words}"


def _mended(line: str) -> tuple[str, str] | None:
    """Return a line as it was meant, and what to write; None if nobody could tell."""
    if header := HEADER.match(line):
        ends = "]" * len(header[1])
        return f"{header[1]}{header[2]}{ends}", f"write the table as {header[1]}{header[2]}{ends}"
    entry = ENTRY.match(line)
    if not entry:
        return None
    key, sign, raw = entry.groups()
    colon = "" if sign == "=" else "an equals sign stands behind a key: "
    if comma := COMMA.match(raw):
        told = f"{key.strip()} = {comma[1]}.{comma[2]}"
        return told, f"{colon}a decimal comma: write {told}"
    value = _bare(raw)
    if not value:
        return f'{key}= ""', f"{key.strip()}: nothing stands behind it"
    if not set(value).isdisjoint('[]{}"') or not value.isprintable():
        return None
    told = f"{key.strip()} = {json.dumps(value, ensure_ascii=False)}"
    if colon and re.fullmatch(r"[-+]?\d+(\.\d+)?|true|false", value):
        told = f"{key.strip()} = {value}"
    return told, f"{colon or 'a text stands between straight quotation marks: '}write {told}"


def _bare(raw: str) -> str:
    """Return the text of an entry without its marks and without a comment behind."""
    text = re.sub(r"\s+#.*$", "", raw).strip()
    return text.strip(QUOTES).strip()
