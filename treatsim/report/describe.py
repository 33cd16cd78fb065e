"""One subject by its name: everything, a kind, a table, a case, or an address."""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Sequence
from pathlib import Path

from treatsim import operations
from treatsim.case_text import STANDARD_INPUT
from treatsim.errors import RequestError
from treatsim.report.described import (
    LIMITS,
    Description,
    of_kind,
    of_table,
    overview,
    tables,
    unknown,
)
from treatsim.water.substances import SUBSTANCES

SUFFIX = ".toml"
LIMITS_OF = re.compile(rf"units\.\w+\.{LIMITS}")  # as a file heads the table, units.NAME.limits


def describe(names: Sequence[str]) -> Description:
    """Return the description of what is named; RequestError names the nearest there is."""
    if not names:
        return overview()
    if len(names) > 2:
        raise RequestError("describe: one kind, table, case or address, or a case and an address")
    if len(names) == 2:
        from treatsim.report.described_case import of_address

        return of_address(*names)
    (name,) = names
    if name in operations.kinds():
        return of_kind(name)
    if name in tables():
        return of_table(name)
    if LIMITS_OF.fullmatch(name):
        return of_table(LIMITS)
    if name == STANDARD_INPUT or name.endswith(SUFFIX) or "/" in name or Path(name).is_file():
        from treatsim.report.described_case import of_case

        return of_case(name)
    return without_case(name)


def without_case(name: str) -> Description:
    """Return one key or result of a kind or of a table, or a result of every case."""
    owner, _, key = name.partition(".")
    if owner not in operations.kinds() and owner not in tables():
        return _overall(name)
    whole = of_kind(owner) if owner in operations.kinds() else of_table(owner)
    keys = tuple(row for row in whole.keys if row.key == key)
    results = tuple(row for row in whole.results if row.address == key)
    limits = tuple(row for row in whole.limits if row.key == key)
    if key == LIMITS and owner in operations.kinds():
        return of_table(LIMITS)._replace(limits=whole.limits)
    if not (keys or results or limits):
        within = [row.key for row in whole.keys] + [row.address for row in whole.results]
        raise unknown(name, [f"{owner}.{row}" for row in within])
    place = key if owner in operations.kinds() else name
    uses: tuple[str, ...] = ()
    if results:
        uses = (f"--show UNIT.{key}", f'--until "UNIT.{key} >= VALUE"')
    if keys:
        address = f"UNIT.{place}" if owner in operations.kinds() else name
        value = keys[0].example.strip('"')
        uses = (f'--set "{address}={value}"', *uses)
    return Description("address", name, whole.about, keys=keys, results=results,
                       limits=limits, uses=uses)  # fmt: skip


def _overall(name: str) -> Description:
    """Return a result that every case tells, such as energy.specific."""
    from treatsim.report.described_case import overall

    rows = overall()
    known = {row.name for row in SUBSTANCES} & set(name.split("."))
    found = tuple(
        row
        for row in rows
        if row.address == name or (known and fnmatch.fnmatchcase(name, row.address))
    )
    if not found:
        raise unknown(name, _all_names() + [row.address for row in rows])
    uses = (f"--show {name}", f'--until "{name} >= VALUE"')
    return Description("address", name, "a result of every case that has it",
                       results=found, uses=uses)  # fmt: skip


def _all_names() -> list[str]:
    """Return every kind, table, and address below them."""
    found = [*operations.kinds(), *tables()]
    for owner in operations.kinds():
        whole = of_kind(owner)
        found += [f"{owner}.{row.key}" for row in whole.keys]
        found += [f"{owner}.{row.address}" for row in whole.results if row.words]
    for owner in tables():
        found += [f"{owner}.{row.key}" for row in of_table(owner).keys]
    return found
