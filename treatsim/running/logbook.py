"""A log against its case: which units it can judge, and what it says of each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from treatsim.errors import RequestError
from treatsim.running import filter_log, membrane_log, membrane_rows, pump_log, uv_log
from treatsim.running.log_checks import read_log
from treatsim.running.log_file import METER, Readings
from treatsim.running.logbook_table import LogbookParameters
from treatsim.running.membrane_inverse import nobody
from treatsim.running.records import UnitLog
from treatsim.running.timed_table import Column

SHARED = {
    "water.temperature": Column("temperature"),
    "water.uv_transmittance": Column("uv_transmittance"),
    "product.flow": Column("flow"),
    METER: Column("duration"),
}
WORDS = {
    "temperature": "water.temperature", "feed temperature": "water.temperature",
    "water temperature": "water.temperature", "uvt": "water.uv_transmittance",
    "uv transmittance": "water.uv_transmittance", "hour meter": METER, "run hours": METER,
    "date": "time", "date and time": "time", "timestamp": "time", "remark": "event",
    "note": "event", "remarks": "event", "events": "event",
}  # fmt: skip


class Logbook(NamedTuple):
    """A log and what it says."""

    readings: Readings
    units: tuple[UnitLog, ...]
    not_judged: tuple[str, ...]  # a unit, and what its readings lack

    @property
    def acts(self) -> bool:
        """Whether something is to be done now."""
        return any(unit.acts for unit in self.units) or bool(self.blind)

    @property
    def stops(self) -> tuple[tuple[str, str], ...]:
        """What forbids to give out water until it is checked: what it is, and what to do."""
        found = [
            (f"{unit.unit}: {cause.name} {cause.verdict}", cause.do)
            for unit in self.units
            for cause in unit.causes
            if cause.stop
        ]
        if self.blind:
            told = f"the last {self.blind} rows are left out: the state of today is not judged"
            found.append((told, "mend what is wrong with them and read the log again"))
        return tuple(found)

    @property
    def urgent(self) -> tuple[str, ...]:
        """The stops, a line each."""
        return tuple(": ".join(stop) for stop in self.stops)

    @property
    def blind(self) -> int:
        """Rows at the very end that were left out: today is not judged."""
        dropped = {fault.line for fault in self.readings.faults if fault.dropped}
        dropped |= {fault.line for unit in self.units for fault in unit.left_out}
        used = [int(unit.line[-1]) for unit in self.units]
        return sum(line > min(used) for line in dropped) if used else 0


class Judge(NamedTuple):
    """How one sort of unit is judged."""

    fits: Callable[[Any], bool]  # unit -> whether it is of the sort
    columns_of: Callable[[str], dict[str, Column]]
    lacks: Callable[[Any, Readings], list[str]]
    study: Callable[..., UnitLog]  # unit, case, log, table, and whom to report to where it is slow
    words: Mapping[str, str]  # of the trade -> end of the address
    slow: bool = False


JUDGES = (
    Judge(
        lambda unit: unit.semipermeable, membrane_rows.columns_of, membrane_rows.lacks,
        membrane_log.study, membrane_rows.WORDS, slow=True,
    ),
    Judge(
        lambda unit: unit.fouled == "filter", filter_log.columns_of, filter_log.lacks,
        filter_log.study, filter_log.WORDS,
    ),
    Judge(
        lambda unit: hasattr(unit, "curve"), pump_log.columns_of, pump_log.lacks, pump_log.study,
        pump_log.WORDS,
    ),
    Judge(
        lambda unit: unit.irradiates, uv_log.columns_of, uv_log.lacks, uv_log.study, uv_log.WORDS
    ),
)  # fmt: skip


def _judged(units: Mapping[str, Any]) -> list[tuple[Any, Judge]]:
    return [(unit, judge) for unit in units.values() for judge in JUDGES if judge.fits(unit)]


def known_columns(units: Mapping[str, Any]) -> dict[str, Column]:
    """Return every column that units can use, by its address."""
    found = dict(SHARED)
    for unit, judge in _judged(units):
        found |= judge.columns_of(unit.name)
    return found


def trade_words(units: Mapping[str, Any]) -> dict[str, str]:
    """Return the trade's words for columns, where one unit alone can be meant."""
    found = dict(WORDS)
    for judge in JUDGES:
        fitting = [unit for unit in units.values() if judge.fits(unit)]
        if len(fitting) == 1:
            name = fitting[0].name
            found |= {word: f"{name}.{end}" for word, end in judge.words.items()}
    return found


def study(case: Any, path: str, report: Callable[[int, int], None] = nobody) -> Logbook:
    """Judge the log at `path` against a case: its units, its water and its table `[logbook]`.

    `report` is told how many rows of a vessel are inverted, and how many there are.
    """
    table: LogbookParameters | None = case.sections.get("logbook")
    if table is None:
        raise RequestError(
            f"{case.path}: logbook is missing: a table [logbook] with the instruments' errors, "
            'such as flow_error = "2 %"; treatsim describe logbook'
        )
    units = case.flowsheet().units
    log = read_log(path, known_columns(units), trade_words(units))
    found, lacking = [], []
    for unit, judge in _judged(units):
        if missing := judge.lacks(unit, log):
            lacking.append(f"{unit.name}: its log needs {', '.join(missing)}")
            continue
        more = (report,) if judge.slow else ()
        found.append(judge.study(unit, case, log, table, *more))
    if not found:
        told = "; ".join(lacking) or "no unit of this case is judged by a log"
        raise RequestError([f"{path}: nothing to judge: {line}" for line in told.split("; ")])
    return Logbook(log, tuple(found), tuple(lacking))
