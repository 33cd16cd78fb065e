"""What must fit together in a case before it is solved: names, links, what units need, holds."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping

from treatsim import case_sections, operations
from treatsim.case_meant import stand_in
from treatsim.case_text import Problems
from treatsim.errors import CaseError, FlowsheetError, RequestError
from treatsim.flowsheet.counting import check_count
from treatsim.flowsheet.flowsheet import Flowsheet
from treatsim.flowsheet.hold import check_hold
from treatsim.flowsheet.wiring import PRODUCT_END, Wiring, complete, trace
from treatsim.operations.unit import Unit


def check_links(case, problems: Problems) -> None:
    """Tell faults of the links beside faults of the parameters, which links do not need.

    Where there is any fault, what is left open or fixed twice is told with it, of the links as
    they were meant; a case without is counted by `check_structure`.
    """
    units = {
        name: operations.unit_class(kind)(name=name, parameters=None)
        for name, kind in case.kinds.items()
    }
    wiring, faults = trace(units, case.links)
    if wiring.ends and not _has_product(units, wiring.ends):
        faults.append(
            f'flowsheet.links: no line ends in "{PRODUCT_END}", which is the product; here they '
            f"end in {', '.join(wiring.ends)}"
        )
    for line in faults:
        problems.add("flowsheet.links", line)
    if problems.found and complete(units, wiring):
        _count_as_meant(case, wiring, problems)


def _has_product(units: Mapping[str, Unit], ends: Collection[str]) -> bool:
    return PRODUCT_END in ends or any(unit.ends_product for unit in units.values())


def _count_as_meant(case, wiring: Wiring, problems: Problems) -> None:
    """Count open values and equations, with an example's unit for each that has a fault."""
    units: dict[str, Unit] = {}
    for name, kind in case.kinds.items():
        record = case.parameters.get(name)
        if record is not None:
            units[name] = operations.unit_class(kind)(name=name, parameters=record)
        elif unit := stand_in(name, kind, case.data["units"][name], problems):
            units[name] = unit
    if len(units) < len(case.kinds):
        return
    try:
        check_count(Flowsheet.structure(units, wiring))
    except FlowsheetError as error:
        for line in error.problems:
            problems.add(_key_of(line, "flowsheet.links"), line)


def check_needs(case, problems: Problems) -> None:
    """Tell what the units need to know of site and water, beside other faults."""
    water, site = case.sections["water"], case.sections["site"]
    no_altitude = getattr(site, "altitude", None) is None
    told_site = site is not None or "site" not in case.data
    for name, kind in case.kinds.items():
        unit = operations.unit_class(kind)
        if unit.sucks and no_altitude and told_site:
            problems.add("site", f"site.altitude is missing: {kind} {name} needs it")
        for content in unit.needs if water is not None else ():
            field = "uv_transmittance" if content == "absorption" else content
            if getattr(water, field) is None:
                problems.add("water", f"water.{field} is missing: {kind} {name} needs it")
    if water is not None:
        try:
            case_sections.analysis_of(water)
        except RequestError as error:
            for line in error.problems:
                problems.add(_key_of(line, "water"), line)


def check_structure(case, problems: Problems) -> None:
    """Count equations and try the holds, once parameters and links have no fault."""
    for line in case_sections.given_twice(case.sections):
        problems.add("analytes", line)
    for line in case_sections.unlit(case.sections):
        problems.add(line.partition(":")[0].partition(" ")[0], line)
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
