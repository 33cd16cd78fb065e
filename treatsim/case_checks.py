"""What must fit together in a case before it is solved: names, links, what units need, holds."""

from __future__ import annotations

import re

from treatsim import case_sections, operations
from treatsim.case_text import Problems
from treatsim.errors import CaseError, FlowsheetError, RequestError
from treatsim.flowsheet.counting import check_count
from treatsim.flowsheet.hold import check_hold
from treatsim.flowsheet.wiring import connect

UNIT_NAME = re.compile(r"[a-z][a-z0-9_]*$")


def name_problem(name: str) -> str:
    """Return what is wrong with the name of a unit, or ""."""
    if UNIT_NAME.match(name) and name not in case_sections.RESERVED:
        return ""
    return (
        "a unit's name is made of a-z, 0-9 and _, and is not "
        f"one of {', '.join(sorted(case_sections.RESERVED))}"
    )


def check_links(case, problems: Problems) -> None:
    """Tell faults of the links beside faults of the parameters, which links do not need."""
    units = {
        name: operations.unit_class(kind)(name=name, parameters=None)
        for name, kind in case.kinds.items()
    }
    try:
        connect(units, case.links)
    except FlowsheetError as error:
        for line in error.problems:
            problems.add("flowsheet.links", line)


def check_structure(case, problems: Problems) -> None:
    """Connect the units once, so that wiring faults are told with everything else."""
    water = case.sections["water"]
    site = case.sections["site"]
    for line in case_sections.given_twice(case.sections):
        problems.add("analytes", line)
    for line in case_sections.unlit(case.sections):
        problems.add(line.partition(":")[0].partition(" ")[0], line)
    for name, kind in case.kinds.items():
        if operations.unit_class(kind).sucks and getattr(site, "altitude", None) is None:
            problems.add("site", f"site.altitude is missing: {kind} {name} needs it")
        for content in operations.unit_class(kind).needs:
            field = "uv_transmittance" if content == "absorption" else content
            if getattr(water, field) is None:
                problems.add("water", f"water.{field} is missing: {kind} {name} needs it")
    if problems.found:
        return
    try:
        sheet = case.flowsheet()
        check_count(sheet)
    except FlowsheetError as error:
        for line in error.problems:
            problems.add(_key_of(line, "flowsheet.links"), line)
    except CaseError:
        raise
    except RequestError as error:
        for line in error.problems:
            problems.add(_key_of(line, "water"), line)
    _check_holds(case, problems)
    if not problems.found:
        for number, hold in enumerate(case.holds):
            try:
                check_hold(sheet, hold)
            except RequestError as error:
                problems.add(f"hold.{number}", str(error))


def _key_of(line: str, otherwise: str) -> str:
    """Return the key path that a fault of the water or of a unit begins with."""
    path = re.match(r"(water|units)(\.\w+)+", line)
    return path[0] if path else otherwise


def _check_holds(case, problems: Problems) -> None:
    """Every hold adjusts one number of a unit, and no two share an input or a result."""
    for number, hold in enumerate(case.holds):
        where = f"hold.{number}"
        try:
            case.numeric(hold.adjust)
        except RequestError as error:
            problems.add(where, f"hold.adjust: {error}")
            continue
        if hold.adjust.partition(".")[0] not in case.kinds:
            problems.add(where, f'hold.adjust: "{hold.adjust}" is no input of a unit')
        before = case.holds[:number]
        if hold.adjust in {other.adjust for other in before}:
            problems.add(where, f'hold.adjust: "{hold.adjust}" is adjusted by an earlier hold')
        if hold.until in {other.until for other in before}:
            problems.add(where, f'hold.until: "{hold.until}" is held by an earlier hold')
