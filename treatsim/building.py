"""A flowsheet written in Python: units, links and water -> the same case that a file makes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from treatsim import case_sections, operations
from treatsim.case_checks import check_needs, check_structure
from treatsim.case_names import name_problem
from treatsim.case_sections import WaterParameters, analysis_of
from treatsim.case_text import Problems, beside, read_overrides, read_record
from treatsim.cases import Case
from treatsim.errors import RequestError
from treatsim.flowsheet.hold import Hold
from treatsim.given import read_given
from treatsim.operations.unit import Unit
from treatsim.quantities import text


@dataclass(frozen=True, init=False)
class Water:
    """What was measured of the source; each text with its unit, or number in SI.

    Keywords are those of [water] in a case file: `temperature`, `salinity`, `ph`, `turbidity`,
    `suspended_solids`, `uv_transmittance` (per cm at 254 nm) and the others.

    >>> Water.fresh(temperature="24 degC", salinity="0.3 g/L").parameters.temperature
    297.15
    >>> Water.sea(temperature="24 degC")
    Traceback (most recent call last):
    treatsim.errors.RequestError: water.salinity is missing: seawater water needs it, in g/L or g/kg
    """

    parameters: WaterParameters

    def __init__(self, parameters: WaterParameters | None = None, **measured: Any) -> None:
        """Take what a method for the type of water has read; RequestError names the methods."""
        if measured or not isinstance(parameters, WaterParameters):
            raise RequestError(
                "Water: make it by treatsim.Water.fresh(...), .sodium_chloride(...), .sea(...) or "
                ".ions(...)"
            )
        object.__setattr__(self, "parameters", parameters)

    def __repr__(self) -> str:
        warmth = text(self.parameters.temperature, "temperature")
        return f"<Water, {self.parameters.kind} at {warmth}>"

    @classmethod
    def fresh(cls, **measured: Any) -> Water:
        """Return weakly mineralised water, known by `salinity` or `conductivity`."""
        return cls(_water("fresh", measured))

    @classmethod
    def sodium_chloride(cls, **measured: Any) -> Water:
        """Return water whose salt is sodium chloride."""
        return cls(_water("sodium_chloride", measured))

    @classmethod
    def sea(cls, **measured: Any) -> Water:
        """Return water whose salt is sea salt, known by `salinity`."""
        return cls(_water("seawater", measured))

    @classmethod
    def ions(cls, ions: Mapping[str, str], **measured: Any) -> Water:
        """Return water by its analysis, such as {"Na": "120 mg/L", "Cl": "180 mg/L"}; give `ph`."""
        listed = dict(ions) if isinstance(ions, Mapping) else None
        return cls(_water("ions", measured | {"ions": listed}))


def _water(kind: str, measured: Mapping[str, Any]) -> WaterParameters:
    problems = Problems("", {})
    record = _record(WaterParameters, {"kind": kind, **measured}, "water", problems)
    if problems.found:
        raise RequestError(problems.found)
    analysis_of(record)  # raises where what was measured makes no water
    return record


def _record(cls, table: Mapping[str, Any], where: str, problems: Problems):
    given = {key: value for key, value in table.items() if value is not None}
    return read_record(cls, given, where, problems, read_given)


class Flowsheet(Case):
    """Units joined by links and fed with one water: what a case file says, written in Python.

    It is a case: `solve()` gives a Result, and `treatsim.solve`, `find` and `sweep` take it.

    Parameters
    ----------
    units : sequence of Unit
        Such as `treatsim.Hose(name="hose", length="15 m", ...)`; every name once.
    links : str or sequence of str
        Such as "pump > hose > tank"; a bare name that is no unit ends a line, `tank` is the
        product.
    water : Water
        The source.
    title : str
        One line.
    holds : sequence of (adjust, until, equals)
        The solver moves the input `adjust` until the result `until` equals `equals`.
    limits : mapping
        Unit -> key -> value or {"waived": "why"}, as in [units.NAME.limits].
    **sections : mapping
        `site`, `people`, `health`, `analytes`, as in a case file.

    Raises
    ------
    RequestError
        One line for every fault.

    >>> from treatsim import FeedPump, Flowsheet, Hose, Water
    >>> pump = FeedPump(
    ...     name="pump", speed="85 %", shutoff_head="38 m", rated_flow="9 m3/h", rated_head="29 m",
    ...     pump_efficiency=0.52, motor_efficiency=0.8, drive_efficiency=0.94, electronics="12 W",
    ...     suction_lift="2 m", required_suction_head="2.5 m",
    ... )
    >>> hose = Hose(
    ...     name="hose", length="60 m", bore="50 mm", roughness="0.02 mm", rise="6 m", fittings=5
    ... )
    >>> water = Water.fresh(temperature="24 degC", salinity="0.3 g/L")
    >>> line = Flowsheet([pump, hose], "pump > hose > tank", water, site={"altitude": "210 m"})
    >>> line.solve()["product.flow"]
    11.75 m3/h
    """

    def __init__(
        self,
        units: Sequence[Unit],
        links: str | Sequence[str],
        water: Water,
        *,
        title: str = "Flowsheet",
        holds: Iterable[Hold | tuple[str, str, str | float]] = (),
        limits: Mapping[str, Mapping[str, Any]] | None = None,
        **sections: Mapping[str, Any],
    ) -> None:
        problems = Problems("", {})
        named = _named([units] if isinstance(units, Unit) else units, problems)
        read = _sections(sections, problems)
        if isinstance(water, Water):
            read["water"] = water.parameters
        else:
            problems.add("water", "water: treatsim.Water.fresh(...), .sea(...) or .ions(...)")
        if stray := set(limits or {}) - set(named):
            problems.add("limits", f"limits: no unit {', '.join(sorted(stray))}")
        overrides = {
            name: read_overrides(named[name].ruled, {"limits": rows}, f"units.{name}", problems)
            for name, rows in (limits or {}).items()
            if name in named
        }
        lines = (links,) if isinstance(links, str) else tuple(links or ())
        if not all(isinstance(line, str) for line in lines):
            raise RequestError('links: texts such as "pump > hose > tank" belong here')
        parameters = {name: unit.parameters for name, unit in named.items()}
        kinds = {name: unit.kind for name, unit in named.items()}
        told = {"units": repr(parameters), "sections": repr(read), "links": lines}
        asked = _holds(holds)
        super().__init__("", title, read, kinds, parameters, lines, asked, overrides, told)
        if not problems.found:
            check_needs(self, problems)
            check_structure(self, problems)
        if problems.found:
            raise RequestError(problems.found)

    def with_settings(self, changes: Mapping[str, str]) -> Case:
        """Refuse what only a file can do."""
        raise RequestError(
            "a flowsheet written in Python has no text to change: make it anew from its units, or "
            "give values to solve() or sweep()"
        )


def _holds(holds: Iterable[Hold | tuple[str, str, str | float]]) -> tuple[Hold, ...]:
    rows = list(holds)
    if not all(isinstance(row, tuple | list) and len(row) in (3, 4) for row in rows):
        raise RequestError(
            'holds: a list of (adjust, until, equals), such as ("pump.speed", "product.flow", '
            '"6 m3/h"), belongs here'
        )
    return tuple(Hold(*row) for row in rows)


def _named(units: Sequence[Unit], problems: Problems) -> dict[str, Unit]:
    """Return the units by name, after adding what is wrong with their names."""
    found: dict[str, Unit] = {}
    for unit in units:
        if not isinstance(unit, Unit) or unit.kind not in operations.kinds():
            problems.add("units", f"units: {unit!r} is no unit operation known here")
        elif problem := name_problem(str(unit.name)):
            problems.add("units", f"units.{unit.name}: {problem}")
        elif unit.name in found:
            problems.add("units", f"units.{unit.name}: two units have this name")
        else:
            found[unit.name] = unit
    return found


def _sections(sections: Mapping[str, Any], problems: Problems) -> dict[str, Any]:
    """Return the tables of a case that are no units, each read or None."""
    known = {name: cls for name, cls in case_sections.SECTIONS.items() if name != "water"}
    for name, table in sections.items():
        if name not in known:
            problems.add(name, f"{name}: no such table; known: {', '.join(known)}")
        elif not isinstance(table, Mapping):
            problems.add(name, f"{name}: a mapping such as {{key: value}} belongs here")
    read: dict[str, Any] = dict.fromkeys(case_sections.SECTIONS)
    for name, cls in known.items():
        if not isinstance(table := sections.get(name), Mapping):
            continue
        if reader := getattr(cls, "from_table", None):
            read[name] = reader(dict(table), name, problems.add, "")
        else:
            read[name] = beside(_record(cls, table, name, problems), name, problems)
    return read
