"""Values as texts: an entry of a case file, a JSON document."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any


def toml_text(value: Any) -> str:
    """Return a text, number, list or table as TOML, in one line."""
    if isinstance(value, Mapping):
        inner = ", ".join(f"{key} = {toml_text(item)}" for key, item in value.items())
        return f"{{ {inner} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml_text(item) for item in value)}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return str(value).lower() if isinstance(value, bool) else str(value)


def as_json(data: dict[str, Any]) -> str:
    """Return the text of a document; a NaN would be an error, never a token."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
