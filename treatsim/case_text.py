"""The text of a case file: reading it, finding lines, turning entries into parameter values."""

from __future__ import annotations

import dataclasses
import re
import sys
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from treatsim import quantities
from treatsim.case_hints import Homes, did_you_mean, known_keys, misplaced, takers
from treatsim.errors import CaseError, RequestError, plain
from treatsim.operations.declarations import Ruled
from treatsim.operations.outcome import Override
from treatsim.operations.parameters import read_value
from treatsim.operations.sheets import Given, entries

STANDARD_INPUT = "-"  # as the name of a case
LONGEST_NUMBER = 4000  # bits of a whole number
ENDLESS = "a number of thousands of digits"
DEEPEST = 20  # tables in one another
LARGEST_FILE = 1_000_000  # bytes; a case file is a page or two
TEXTS = re.compile(  # texts and comments; one that does not end takes all, so that time is linear
    r'"""[\s\S]*?(?:"""|\Z)|\'\'\'[\s\S]*?(?:\'\'\'|\Z)|"(?:[^"\\\n]|\\.)*(?:"|\\?$)|\'[^\'\n]*(?:\'|$)|#.*',
    re.MULTILINE,
)
LONGEST_KEY = 300  # letters of a line in which a key or a table is looked for
HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]")
KEY = re.compile(r"""\s*("[^"]*"|'[^']*'|[A-Za-z0-9_.-]+)\s*=""")


Reader = Callable[[dataclasses.Field, Any], Any]
OPEN_GROUPS = ("rating", "practice")  # limits that a case may override or waive


class Problems:
    """Collects one line per fault, each led by its place."""

    def __init__(
        self,
        path: str,
        lines: Mapping[str, int],
        homes: Homes = lambda key: (),
    ) -> None:
        self.path, self.lines, self.found = path, lines, list[str]()
        self.homes = homes

    def add(self, where: str, text: str) -> None:
        """Add a fault at the key path `where`, such as "units.uv.arc_length", once."""
        place = self.place(where)
        line = plain(f"{place}: {text}" if place else text)
        if line not in self.found:
            self.found.append(line)

    def place(self, where: str) -> str:
        """Return file and line of a key path, such as "camp.toml:13"."""
        line = self.line(where)
        return f"{self.path}{f':{line}' if line else ''}"

    def line(self, where: str) -> int | None:
        """Return the line of the key, or of the nearest table around it."""
        while where and where not in self.lines:
            where = where.rpartition(".")[0]
        return self.lines.get(where)

    def rename(self, old: str, new: str) -> None:
        """Keep the lines of a table or key that is read on by another name."""
        moved = {
            new + path.removeprefix(old): line
            for path, line in self.lines.items()
            if path == old or path.startswith(f"{old}.")
        }
        self.lines = {**self.lines, **moved}

    def raise_if_any(self) -> None:
        """Raise CaseError with every fault."""
        if self.found:
            raise CaseError(self.found)


def read_text(path: Path) -> str:
    """Return the text of a case file, or raise CaseError in one line."""
    name = str(path)
    if name == STANDARD_INPUT:
        return _decoded(_standard_input(), "standard input")
    try:
        if path.is_dir():
            raise CaseError(f"{name}: this is a directory; name a case file")
        size = path.stat().st_size
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)  # a device tells no size, and has no end
        if len(raw) > LARGEST_FILE:
            told = f"{size / 1e6:.0f} MB" if size > LARGEST_FILE else "more than 1 MB"
            raise CaseError(f"{name}: {told} is no case file; at most 1 MB is read")
    except ValueError as error:  # a name that no file can have
        raise CaseError(f"{name}: cannot be read: {error}") from error
    except OSError as error:
        raise CaseError(f"{name}: cannot be read: {(error.strerror or 'error').lower()}") from error
    return _decoded(raw, name)


def _standard_input() -> bytes:
    """Return what a case may hold of standard input."""
    if sys.stdin is None or sys.stdin.isatty():
        raise CaseError("standard input: nothing comes from there; name a case file")
    raw = sys.stdin.buffer.read(LARGEST_FILE + 1)
    if len(raw) > LARGEST_FILE:
        raise CaseError("standard input: this is no case file; at most 1 MB is read")
    return raw


def _decoded(raw: bytes, name: str) -> str:
    """Return the text of bytes in UTF-8."""
    try:
        return raw.decode("utf-8-sig")  # some editors put a mark before the text
    except UnicodeDecodeError as error:
        raise CaseError(
            f"{name}: byte {error.start} is no UTF-8 text; this is no case file"
        ) from error


def _endless(part: Any) -> bool:
    """Whether somewhere a whole number stands that cannot even be shown."""
    if isinstance(part, dict | list):
        return any(_endless(inner) for inner in (part.values() if isinstance(part, dict) else part))
    return isinstance(part, int) and part.bit_length() > LONGEST_NUMBER


def parse(text: str, name: str) -> dict[str, Any]:
    """Parse TOML; a fault in the syntax is told with its line."""
    dots = max((part.count(".") for part in re.split(r"[=,{}\n]", TEXTS.sub("_", text))), default=0)
    if dots > DEEPEST:  # before the parser, which takes memory by the square of them
        raise CaseError(f"{name}: a key of more than {DEEPEST} parts; this is no case file")
    try:
        tables = tomllib.loads(text)
        if _depth(tables) > DEEPEST:
            raise CaseError(f"{name}: tables lie more than {DEEPEST} deep; this is no case file")
        if _endless(tables):
            raise CaseError(f"{name}: {ENDLESS}; this is no case file")
        return tables
    except RecursionError as error:
        raise CaseError(f"{name}: nested too deep; this is no case file") from error
    except ValueError as error:  # faults of syntax, and numbers of thousands of digits
        line = re.search(r"at line (\d+)", str(error))
        what = re.sub(r"\s*\(at .*\)$", "", str(error))
        if "integer string conversion" in what:  # the words of Python are for programmers
            raise CaseError(f"{name}: {ENDLESS}; this is no case file") from error
        what = re.sub(r"[^\x20-\x7e]", "?", what)[:100]
        raise CaseError(
            f"{name}{f':{line[1]}' if line else ''}: not readable as TOML: {what}"
        ) from error


def _depth(tables) -> int:
    """Return how deep tables and lists lie in one another; counting stops beyond DEEPEST."""
    depth, layer = 0, [tables]
    while layer and depth <= DEEPEST:
        depth += 1
        layer = [
            inner
            for outer in layer
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
    return depth


def line_numbers(text: str) -> dict[str, int]:
    """Return the line of every table and key, by its dotted path."""
    found: dict[str, int] = {}
    table, counts = "", dict[str, int]()
    for number, line in enumerate((line[:LONGEST_KEY] for line in text.splitlines()), 1):
        if header := HEADER.match(line):
            table = header[2].replace('"', "")
            if header[1] == "[[":
                counts[table] = counts.get(table, -1) + 1
                table = f"{table}.{counts[table]}"
            found.setdefault(table, number)
        elif key := KEY.match(line):
            name = key[1].strip("\"'")
            found.setdefault(f"{table}.{name}" if table else name, number)
    return found


def read_record(
    cls,
    table: Mapping[str, Any],
    where: str,
    problems: Problems,
    read: Reader = read_value,
    given: list[Given] | None = None,
):
    """Turn a table into a parameter record, or None after adding every fault to `problems`.

    `read` turns one entry into the value of its field. What sheets stand for is filled in; `given`
    takes what they say.
    """
    fields = {item.name: item for item in dataclasses.fields(cls)}
    before = len(problems.found)
    table, values, forms = _from_sheets(cls, table, where, problems, read)
    if given is not None:
        given += forms
    known = known_keys(cls)
    for key, raw in table.items():
        if key not in fields:
            hint = misplaced(key, known, where, problems.homes, fields.values())
            problems.add(f"{where}.{key}", f"{where}.{key}: no such key; {hint}")
            continue
        try:
            slot = slot_for(fields, key, raw)
            values[slot] = read(fields[slot], raw)
        except RequestError as error:
            other = fields[key].metadata.get("or_else", "")
            also = f", or {legal_of(fields[other])}" if other and "legal" in str(error) else ""
            hint = takers(fields, key, raw)
            problems.add(f"{where}.{key}", f"{where}.{key} = {entry(raw)}: {error}{also}{hint}")
    for name, item in fields.items():
        if item.default is dataclasses.MISSING and name not in table and name not in values:
            problems.add(where, _missing(cls, item, where))
    for name, others in lacking(cls, {*table, *values}):
        problems.add(where, _missing(cls, fields[name], where, others))
    if len(problems.found) > before:
        return None
    try:
        return cls(**values)
    except RequestError as error:
        for line in error.problems:
            problems.add(f"{where}.{line.split(':')[0]}", f"{where}.{line}")
        return None


def beside(record, where: str, problems: Problems):
    """Return a record with the files it names looked up beside the case, if it names any."""
    try:
        return record.beside(Path(problems.path).parent) if hasattr(record, "beside") else record
    except RequestError as error:
        for line in error.problems:
            problems.add(where, f"{where}: {line}")
        return None


def lacking(cls, given: Collection[str]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield the fields still asked for where one of several sets is, each with what would do."""
    for sets in cls.either:
        if any(set(names) <= set(given) for names in sets):
            continue
        nearest = max(sets, key=lambda names: len(set(names) & set(given)))
        others = tuple(name for names in sets if names != nearest for name in names)
        yield from ((name, others) for name in nearest if name not in given)


def _missing(cls, item: dataclasses.Field, where: str, others: Sequence[str] = ()) -> str:
    """Say that a field is missing, and which `others` or which form would give it."""
    names = (item.name, *others)
    forms = [entries(sheet) for sheet in cls.forms if set(names) & set(sheet.gives)]
    forms = [(name,) for name in others] + forms
    other = "".join(f"; or give {', '.join(form)}" for form in forms)
    return f"{where}.{item.name} is missing: {item.metadata['meaning']}{example(item)}{other}"


def _from_sheets(
    cls, table: Mapping[str, Any], where: str, problems: Problems, read: Reader
) -> tuple[dict[str, Any], dict[str, Any], list[Given]]:
    """Take the entries of sheets out of a table; return rest, fields and words."""
    rest, values, given = dict(table), dict[str, Any](), list[Given]()
    for sheet in cls.forms:
        own = {key: rest.pop(key) for key in entries(sheet) if key in table}
        if not own:
            continue
        values |= dict.fromkeys(sheet.gives)  # not missing, whatever becomes of the sheet
        first = next(iter(own))
        twice = [name for name in sheet.gives if name in table]
        for name in twice:
            rest.pop(name)
            problems.add(f"{where}.{name}", f"{where}.{name}: {first} gives it too; keep one")
        declared = {item.name: item for item in dataclasses.fields(cls)}
        for name in sheet.needs:
            if name not in table:
                text = declared[name].metadata["meaning"].partition(";")[0]
                text = f"{where}.{name} is missing: {first} needs it; {text}"
                problems.add(f"{where}.{first}", text + example(declared[name]))
        record = read_record(sheet, own, where, problems, read)
        if record is None or twice:
            continue
        try:
            found = record.coefficients()
        except RequestError as error:
            for line in error.problems:
                problems.add(f"{where}.{first}", f"{where}.{first} = {entry(own[first])}: {line}")
            continue
        values |= found
        given.append(Given(found, f"{where.removeprefix('units.')}: {record.told(found)}"))
    return rest, values, given


def read_overrides(
    ruled: Mapping[str, Ruled], table: Mapping[str, Any], where: str, problems: Problems
) -> dict[str, Override]:
    """Read the table `limits` of a unit: a rating or a habit replaced, or waived with a reason."""
    rows = table.get("limits", {})
    where = f"{where}.limits"
    if not isinstance(rows, dict):
        problems.add(where, f"{where} = {entry(rows)}: a table [{where}] belongs here")
        return {}
    open_ones = {key: rule for key, rule in ruled.items() if rule.group in OPEN_GROUPS}
    found = {}
    for key, raw in rows.items():
        place = f"{where}.{key}"
        if key not in open_ones:
            none = "known: none: this kind has no rating and no habit"
            hint = did_you_mean(key, open_ones) if open_ones else none
            fixed = "; what people rely on is not waived" if key in ruled else ""
            problems.add(place, f"{place}: no limit to be overridden{fixed}; {hint}")
            continue
        try:
            found[key] = _override(raw, open_ones[key])
        except RequestError as error:
            problems.add(place, f"{place} = {entry(raw)}: {error}")
    return found


def _override(raw, rule: Ruled) -> Override:
    """Read one entry: a value with its unit, or { waived = "why" }."""
    if isinstance(raw, dict) and set(raw) == {"waived"}:
        reason = raw["waived"]
        if isinstance(reason, str) and reason.strip() and reason.isprintable():
            return Override(reason=reason.strip())
        raise RequestError("a limit is waived with a reason, in one line of text")
    reason = ""
    if isinstance(raw, dict) and {"value"} <= set(raw) <= {"value", "source"}:
        reason, raw = str(raw.get("source", "")), raw["value"]
    if not isinstance(raw, str):
        raise RequestError('a text with a unit, or { waived = "why" }, belongs here')
    return Override(quantities.read(raw, rule.quantity), reason)


def legal_of(item: dataclasses.Field) -> str:
    """Return the usual units of a field."""
    return quantities.legal_units(item.metadata["kind"])


def slot_for(fields: Mapping[str, dataclasses.Field], key: str, raw) -> str:
    """Return the field an entry belongs to: its own, or the one for another kind of unit."""
    other = fields[key].metadata.get("or_else", "")
    if other:
        try:
            read_value(fields[other], raw)
        except RequestError:
            return key
        return other
    return key


def entry(raw) -> str:
    """Return an entry as it would stand in the file, cut to a readable length."""
    if isinstance(raw, dict) and "value" in raw:
        raw = raw["value"]
    try:
        text = f'"{raw}"' if isinstance(raw, str) else str(raw)
        text = text.lower() if isinstance(raw, bool) else text
    except ValueError:  # an integer of thousands of digits
        text = "a number of thousands of digits"
    text = "".join(letter if letter.isprintable() else "?" for letter in text[:100])
    return text if len(text) <= 60 else text[:57] + "..."


def example(item: dataclasses.Field) -> str:
    """Return ", for example ..." for a field with a unit."""
    kind = item.metadata["kind"]
    if item.metadata.get("example"):
        return f', for example "{item.metadata["example"]}"'
    if kind == "choice":
        return f", one of {', '.join(item.metadata['options'])}"
    unit = quantities.QUANTITIES[kind].shown if kind in quantities.QUANTITIES else ""
    return f", in {unit} or another unit, as text" if unit else ""
