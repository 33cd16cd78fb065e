"""Case file -> flowsheet and questions. Every problem of a file is reported at once."""

from __future__ import annotations

import copy
import dataclasses
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from os import PathLike
from pathlib import Path
from typing import Any, Self

import numpy as np

from treatsim import case_sections, operations
from treatsim.case_checks import check_links, check_needs, check_structure
from treatsim.case_hints import addresses, nearest
from treatsim.case_meant import as_meant
from treatsim.case_names import mend_names, name_problem
from treatsim.case_report import one_report
from treatsim.case_settings import apply_setting
from treatsim.case_slips import parse_as_meant
from treatsim.case_text import (
    STANDARD_INPUT,
    Problems,
    beside,
    entry,
    line_numbers,
    read_overrides,
    read_record,
    read_text,
)
from treatsim.case_view import case_html
from treatsim.errors import RequestError
from treatsim.flowsheet.flowsheet import Flowsheet
from treatsim.flowsheet.hold import Hold, operate
from treatsim.flowsheet.result import Context, Result
from treatsim.given import belongs, named, over_points
from treatsim.operations.outcome import Override, Value
from treatsim.operations.parameters import Parameters
from treatsim.operations.sheets import Given, sheet_of, still_told
from treatsim.operations.unit import Unit
from treatsim.safety.verdict import judge
from treatsim.water.stream import Stream

MOST_UNITS, MOST_PARTS, LONGEST_LINK = 200, 1000, 4000
SOURCE = ("site", "water")  # tables that the source's water is made of
ARROW = re.compile("[-=]+>|\u2192")  # as people draw it
TOP_LEVEL = ("title", *case_sections.SECTIONS, "units", "flowsheet", "hold")


@dataclass(frozen=True)
class Case:
    """A case as read: parameters in SI, nothing solved yet."""

    path: str
    title: str
    sections: Mapping[str, Parameters | None]  # site, water, ...
    kinds: Mapping[str, str]  # unit name -> kind
    parameters: Mapping[str, Parameters]  # unit name -> parameters
    links: tuple[str, ...]
    holds: tuple[Hold, ...]
    overrides: Mapping[str, Mapping[str, Override]]  # unit -> key of a limit
    data: Mapping[str, Any]  # the file's tables, with changes from --set
    given: Mapping[str, Sequence[Given]] = dataclasses.field(default_factory=dict)

    def __repr__(self) -> str:
        return f"<{type(self).__name__}, {self.title}: {'; '.join(self.links)}>"

    def _repr_html_(self) -> str:
        return case_html(self)

    def changed(self, **fields: Any) -> Self:
        """Return a copy with some fields replaced."""
        twin = copy.copy(self)
        for made in ("_arranged", "_source"):
            twin.__dict__.pop(made, None)
        for name, value in fields.items():
            object.__setattr__(twin, name, value)
        return twin

    def field(self, address: str) -> tuple[dataclasses.Field, Any]:
        """Return declaration and value of an input; RequestError names the nearest address."""
        owner, _, name = address.partition(".")
        record = self.sections.get(owner) or self.parameters.get(owner)
        found = {item.name: item for item in dataclasses.fields(record)} if record else {}
        if name in found:
            other = found[name].metadata.get("or_else", "")
            if other and getattr(record, name) is None:  # given in the other kind of unit
                name = other
            return found[name], getattr(record, name)
        if record is not None and (sheet := sheet_of(type(record), name)):
            raise RequestError(
                f'"{address}" stands for {" and ".join(sheet.gives)}: change it in the file or by '
                f"--set, or vary {owner}.{sheet.gives[0]}"
            )
        outer, inner = name.partition(".")[::2]
        table = getattr(record, outer, None) if outer in found else None
        if isinstance(table, Mapping) and inner in table:
            raise RequestError(
                f'"{address}" is an entry of the table {owner}.{outer}: no number to adjust; '
                "sweep its values instead"
            )
        near = nearest(address, [*self.inputs(), *addresses(self.data, case_sections.SECTIONS)])
        hint = f'; did you mean "{near}"?' if near else ""
        raise RequestError(f'no input has the address "{address}"{hint}')

    def inputs(self) -> dict[str, Any]:
        """Return every input given, by its address."""
        records = {**self.sections, **self.parameters}
        return {
            f"{owner}.{item.name}": getattr(record, item.name)
            for owner, record in records.items()
            if record is not None
            for item in dataclasses.fields(record)
        }

    def moves_a_point(self, address: str) -> None:
        """Refuse an input that no single operating point knows."""
        if address.partition(".")[0] in case_sections.OVER_MONTHS:
            raise RequestError(
                f'"{address}" tells of months, and a single operating point does not know it; '
                f"treatsim spares CASE --set {address}=... does"
            )

    def numeric(self, address: str) -> dataclasses.Field:
        """Return the declaration of an input that is a number and can be varied."""
        item, _ = self.field(address)
        self.moves_a_point(address)
        if item.metadata["kind"] in ("choice", "text"):
            raise RequestError(f'"{address}" is a {item.metadata["kind"]}, not a number to vary')
        return item

    def records(self, arrays: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """Return sections and units' parameters; `arrays` replaces inputs over points (SI)."""
        changed: dict[str, dict[str, Any]] = {}
        for address, value in (arrays or {}).items():
            owner = address.partition(".")[0]
            changed.setdefault(owner, {})[self.numeric(address).name] = value
        return {
            owner: dataclasses.replace(record, **changed[owner])
            if record is not None and owner in changed
            else record
            for owner, record in {**self.sections, **self.parameters}.items()
        }

    def flowsheet(self, arrays: Mapping[str, np.ndarray] | None = None) -> Flowsheet:
        """Return the flowsheet; `arrays` replaces inputs by arrays over operating points (SI)."""
        return self._connected(self.records(arrays))

    def _connected(self, records: Mapping[str, Any]) -> Flowsheet:
        return self._arranged.with_units(*self._parts(records))

    def _parts(self, records: Mapping[str, Any]) -> tuple[dict[str, Unit], Stream]:
        units: dict[str, Unit] = {
            name: operations.unit_class(kind)(name=name, parameters=records[name])
            for name, kind in self.kinds.items()
        }
        same = all(records[name] is self.sections[name] for name in SOURCE)
        return units, self._source if same else _water_of(records)

    @cached_property
    def _source(self) -> Stream:
        """The water as the case has it, whose properties are worked out once for all solves."""
        return _water_of(self.sections)

    @cached_property
    def _arranged(self) -> Flowsheet:
        """The flowsheet as the case has it: its links are read once for all solves."""
        units, source = self._parts(self.records())
        return Flowsheet(units, self.links, source)

    def with_settings(self, changes: Mapping[str, str]) -> Case:
        """Return the case with `--set` changes."""
        return interpret(dict(self.data), self.path, None, changes)

    def other_waters(self) -> tuple[str, ...]:
        """Return the inputs whose values make another water, with a chemistry of its own."""
        water = self.sections["water"]
        return () if water is None else case_sections.other_waters(water)

    def solve(self, arrays: Mapping[str, np.ndarray] | None = None) -> Result:
        """Solve at the case's settings, or at operating points; nothing is judged.

        Parameters
        ----------
        arrays : mapping, optional
            Address of an input -> values over the points: an array, list or column of numbers in
            SI or of texts with units, or one value for all points.

        Returns
        -------
        Result
            Every value by its address; `treatsim.judge` holds it against its limits.

        Raises
        ------
        RequestError
            No such input, or values that are none: empty, of unequal numbers, not finite.

        >>> import treatsim
        >>> case = treatsim.load("cases/river.toml")
        >>> case.solve({"lift_pump.speed": ["60 %", "80 %"]})["product.flow"]
        [4.65, 7.644] m3/h
        """
        arrays = {} if arrays is None else arrays
        belongs(arrays, "items", "a mapping of addresses to their values")
        given = {address: (self.numeric(address), raw) for address, raw in arrays.items()}
        found = over_points(given)
        points = max((array.size for array in found.values()), default=1)
        records = self.records(found)
        context = Context(
            self.title,
            self.path,
            {name: records[name] for name in self.sections},
            (*case_sections.water_notes(records["water"]), *still_told(self.given, records)),
            self.overrides,
        )
        return operate(self._connected(records), points, self.holds, context, _judged)


def _judged(result: Result, address: str) -> Value:
    """Return what the judging tells of a result, such as a pH or a saturation."""
    return judge(result).value(address)


def _water_of(records: Mapping[str, Any]) -> Stream:
    return case_sections.source_stream(records["site"], records["water"])


def load(path: str | PathLike[str], changes: Mapping[str, str] | None = None) -> Case:
    """Read a case file, or "-" for standard input, and apply `--set` changes.

    CaseError lists every problem.
    """
    if not isinstance(path, str | PathLike):
        raise RequestError(f"the path of a case file belongs here, not {named(path)}")
    belongs({} if changes is None else changes, "items", "a mapping of addresses to their values")
    text = read_text(Path(path))
    name = "standard input" if str(path) == STANDARD_INPUT else str(path)
    tables, slips = parse_as_meant(text, name)
    return interpret(tables, name, line_numbers(text), changes, slips)


def interpret(
    data: dict,
    path: str,
    lines: Mapping[str, int] | None = None,
    changes: Mapping[str, str] | None = None,
    slips: Sequence[str] = (),
) -> Case:
    """Turn the tables of a case into a Case; `slips` are the problems of its writing."""
    problems = Problems(path, lines or {})
    problems.found += slips
    data = copy.deepcopy(data)
    for address, value in (changes or {}).items():
        apply_setting(data, address, value, problems)
    mend_names(data, problems)
    data = as_meant(data, case_sections.SECTIONS, TOP_LEVEL, problems)
    title = data.get("title", Path(path).stem)
    if not isinstance(title, str) or not title.strip() or not title.isprintable():
        problems.add("title", f"title = {entry(title)}: one line that says what this case is")
        title = ""
    given: dict[str, list[Given]] = {}
    shared = one_report(data, problems.add)
    sections = {
        name: _section(cls, _table(shared, name, problems), name, problems, given)
        if name in shared or name in case_sections.REQUIRED
        else None
        for name, cls in case_sections.SECTIONS.items()
    }
    kinds, parameters, overrides = _units(data, problems, given)
    links = _links(data, problems)
    holds = _holds(data, problems)
    case = Case(path, title, sections, kinds, parameters, links, holds, overrides, data, given)
    check_needs(case, problems)
    if links and kinds and len(kinds) == len(data["units"]):
        check_links(case, problems)
    if not problems.found:
        check_structure(case, problems)
    problems.raise_if_any()
    return case


def _section(
    cls: type[Parameters],
    table: dict,
    name: str,
    problems: Problems,
    given: dict[str, list[Given]],
):
    """Read a table of fields, or one whose keys only its own reader knows."""
    if reader := getattr(cls, "from_table", None):
        return reader(table, name, problems.add, problems.path)
    record = read_record(cls, table, name, problems, given=given.setdefault(name, []))
    return beside(record, name, problems)


def _table(data, name: str, problems: Problems) -> dict:
    value = data.get(name, {})
    if isinstance(value, dict):
        return value
    problems.add(name, f"{name} = {entry(value)}: a table [{name}] belongs here")
    return {}


def _units(data, problems: Problems, given: dict[str, list[Given]]):
    """Return kind, parameters and overridden limits of every unit, by its name."""
    kinds: dict[str, str] = {}
    parameters: dict[str, Parameters] = {}
    overrides: dict[str, dict[str, Override]] = {}
    tables = _table(data, "units", problems)
    if not tables and isinstance(data.get("units", {}), dict):
        problems.add("units", "units is missing: a table such as [units.lift_pump] for each unit")
    if len(tables) > MOST_UNITS:
        problems.add("units", f"units: {len(tables)} units; at most {MOST_UNITS} are solved")
        return kinds, parameters, overrides
    for name, table in tables.items():
        where = f"units.{name}"
        if not isinstance(table, dict):
            problems.add(where, f"{where} = {entry(table)}: a table [{where}] belongs here")
            continue
        if problem := name_problem(name):
            problems.add(where, f"{where}: {problem}")
            continue
        if not (kind := table["kind"]):  # told already, and like none
            continue
        rest = {key: value for key, value in table.items() if key not in ("kind", "limits")}
        forms = given.setdefault(name, [])
        record = read_record(operations.parameters_class(kind), rest, where, problems, given=forms)
        kinds[name] = kind
        if found := read_overrides(operations.unit_class(kind).ruled, table, where, problems):
            overrides[name] = found
        if record is not None:
            parameters[name] = record
    return kinds, parameters, overrides


def _links(data, problems: Problems) -> tuple[str, ...]:
    table = _table(data, "flowsheet", problems)
    for key in table:
        if key != "links":
            problems.add(f"flowsheet.{key}", f"flowsheet.{key}: no such key; known: links")
    links = table.get("links")
    if isinstance(links, list) and links and all(isinstance(link, str) for link in links):
        parts = sum(link.count(">") + 1 for link in links)
        if parts <= MOST_PARTS and max(map(len, links)) <= LONGEST_LINK:
            return tuple(ARROW.sub(">", link) for link in links)
        problems.add(
            "flowsheet.links",
            f"flowsheet.links: {parts} names; at most {MOST_PARTS}, and {LONGEST_LINK} letters a "
            "link, are read",
        )
        return ()
    problems.add("flowsheet.links", 'flowsheet.links is missing: a list such as ["a > b > tank"]')
    return ()


def _holds(data, problems: Problems) -> tuple[Hold, ...]:
    found = []
    wanted = {item.name for item in dataclasses.fields(case_sections.HoldParameters)}
    rows = data.get("hold", [])
    if not isinstance(rows, list):
        problems.add("hold", "hold: write it as [[hold]]")
        return ()
    for number, row in enumerate(rows):
        where = f"hold.{number}"
        if not isinstance(row, dict) or set(row) != wanted:
            problems.add(where, "hold: needs exactly adjust, until and equals")
            continue
        equals = row["equals"]
        if not isinstance(equals, str | int | float) or isinstance(equals, bool):
            problems.add(where, f"hold.equals = {entry(equals)}: a text with a unit belongs here")
            continue
        place = f"{problems.place(where)}: "
        found.append(Hold(str(row["adjust"]), str(row["until"]), str(equals), place))
    return tuple(found)
