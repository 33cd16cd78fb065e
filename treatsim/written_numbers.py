"""Numbers as people write them: what stands in the way of reading one, and how to write it."""

from __future__ import annotations

import re

SIGN = r"\s*([-+]?"
COMMA = re.compile(SIGN + r"\d+),(\d+)(?![\d.,])\s*(.*)")  # 0,5
GROUPS = re.compile(SIGN + r"\d{1,3}(?:([ ,.'])\d{3})(?:\2\d{3})*)(?![\d,])(?:\.\d+)?\s*(\D.*|)")
SHARE = re.compile(r"\s*(?:(\d+)[\s-]+)?(\d+)/(2|4|8|16)(?!\d)\s*(.*)")  # 1 1/2
RANGE = re.compile(SIGN + r"[\d.]+)(?:\s*(?:-|\u2013|\.\.)|\D{0,9}(?:\bto\b|\u00b1|\+/-))\s*\d")


def number_problem(text: str) -> str:
    """Return what is wrong with how the number is written, and how to write it, or ""."""
    if groups := GROUPS.match(text):
        plain = re.sub(r"[ ,']", "", groups[1])
        if groups[2] == "." and groups[1].count(".") == 1:
            return ""
        plain = plain.replace(".", "") if groups[2] == "." else plain
        told = f'"{plain} {groups[3]}"'.replace(' "', '"')
        if groups[2] == "," and groups[1].count(",") == 1:
            point = f'"{groups[1].replace(",", ".")} {groups[3]}"'.replace(' "', '"')
            return f"a comma that parts thousands, or decimals? write {told} or {point}"
        return f"thousands are not parted: write {told}"
    if comma := COMMA.match(text):
        return f'a decimal comma: write "{f"{comma[1]}.{comma[2]} {comma[3]}".strip()}"'
    if share := SHARE.match(text):
        number = int(share[1] or 0) + int(share[2]) / int(share[3])
        unit = share[4].replace('"', "in")
        return f'a fraction: write "{f"{number:g} {unit}".strip()}"'
    if re.match(r"\s*[-+]?[\d.]+,", text):
        return "a comma in the number: write it with one point, such as 1234.5"
    if span := RANGE.match(text):
        return f"one value belongs here, such as {span[1]} with its unit, not a range"
    return ""
