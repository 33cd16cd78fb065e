"""Several case files at once, changed where they have the address."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from treatsim.case_text import STANDARD_INPUT
from treatsim.cases import Case, load
from treatsim.errors import RequestError


def load_all(paths: Sequence[str | Path], changes: Mapping[str, str] | None = None) -> list[Case]:
    """Read cases; each change applies to every case that has its address.

    RequestError lists the problems of all of them, and every change that none has.
    """
    if [str(path) for path in paths].count(STANDARD_INPUT) > 1:
        raise RequestError("standard input holds one case: name - once")
    problems: list[str] = []
    loaded = [case for path in paths if (case := _tried(problems, load, path)) is not None]
    problems += [
        f'--set {address}: no case has the address "{address}"'
        for address in changes or {}
        if loaded and not any(has(case, address) for case in loaded)
    ]
    if problems:
        raise RequestError(problems)
    changed = [_tried(problems, _changed, case, changes or {}) for case in loaded]
    if problems:
        raise RequestError(problems)
    return [case for case in changed if case is not None]


def has(case: Case, address: str) -> bool:
    """Whether an input, or a key of a table that is one, has this address in a case."""
    owner, _, rest = address.partition(".")
    field = rest.partition(".")[0]
    if field == "limits":
        return owner in case.kinds
    return f"{owner}.{field}" in case.inputs()


def _changed(case: Case, changes: Mapping[str, str]) -> Case:
    own = {address: value for address, value in changes.items() if has(case, address)}
    return case.with_settings(own) if own else case


def _tried(problems: list[str], function, *args) -> Case | None:
    """Return what a function gives; its problems are added to the others."""
    try:
        return function(*args)
    except RequestError as error:
        problems += error.problems
        return None
