"""What every unit operation is made of: parameters, ports, and the outcome of one evaluation."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar, NamedTuple, cast

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.ranges import Excursion
from treatsim.water.stream import Stream

UNCERTAIN = {"value", "spread", "source"}  # keys of an entry that is a table
LARGEST_NUMBER = 1e300  # a bare number in a file
SMALLEST, LARGEST = 1e-20, 1e20  # SI; beyond, powers and products overflow


def quantity(
    kind: str,
    meaning: str,
    *,
    low: float | None = None,
    high: float | None = None,
    open_low: bool = False,
    source: str = "",
    or_else: str = "",
    **default,
):
    """Declare a parameter field: its quantity, range and source. None stands for "not given".

    `or_else` names a second field that takes the entry if its unit is that field's.
    """
    table = quantities.QUANTITIES[kind]
    meta = {
        "kind": kind,
        "meaning": meaning,
        "low": table.low if low is None else low,
        "high": table.high if high is None else high,
        "open_low": open_low,
        "source": source,
        "or_else": or_else,
    }
    return field(metadata=meta, **default)


def choice(options: tuple[str, ...], meaning: str, *, source: str = "", **default):
    """Declare a parameter field that is one of a few words."""
    meta = {"kind": "choice", "meaning": meaning, "options": options, "source": source}
    return field(metadata=meta, **default)


def reference(meaning: str, *, source: str = "", **default):
    """Declare a parameter field that is a free text or a table read by the unit itself."""
    return field(metadata={"kind": "text", "meaning": meaning, "source": source}, **default)


def bounds_text(meta: Mapping[str, Any], system: str = "si") -> str:
    """Return the range of a field in words and in the unit shown."""
    low, high, kind = meta["low"], meta["high"], meta["kind"]

    def show(value):
        return quantities.text(value, kind, system)

    above = f"above {show(low)}" if meta["open_low"] else f"not below {show(low)}"
    if np.isinf(high):
        return above if np.isfinite(low) else "any number"
    below = f"not above {show(high)}"
    return below if np.isinf(low) else f"{above} and {below}"


def field_problem(item: dataclasses.Field, value) -> str | None:
    """Return what is wrong with `value` for a declared field, or None."""
    meta, name = item.metadata, item.name.replace("_", " ")
    if value is None:
        return None if item.default is None else f"{name} is missing ({meta['meaning']})"
    if meta["kind"] == "text":
        return None
    if meta["kind"] == "choice":
        if value in meta["options"]:
            return None
        return f"{name} is one of {', '.join(meta['options'])}"
    array = np.asarray(value, dtype=float)
    above = array > meta["low"] if meta["open_low"] else array >= meta["low"]
    size = np.abs(array)
    if np.any((size > LARGEST) | ((size < SMALLEST) & (size > 0))):  # also what is not finite
        return "no number of this size belongs here"
    if np.all(above & (array <= meta["high"]) & np.isfinite(array)):
        if meta["kind"] == "count" and np.any(array != np.round(array)):
            return f"{_named(name, 'is', 'are')} a whole number"
        return None
    return f"{_named(name, 'lies', 'lie')} {bounds_text(meta)}"


def _named(name: str, one: str, many: str) -> str:
    """Return the words of a field with its verb: "an arc length lies", "losses lie"."""
    head = name.partition(" in ")[0]
    if head.endswith("s") and not head.endswith(("ss", "us")):
        return f"{name} {many}"
    return f"{'an' if name[0] in 'aeio' else 'a'} {name} {one}"  # a UV transmittance


def read_value(item: dataclasses.Field, raw) -> Any:
    """Turn one entry into the value of a declared field; RequestError says what is wrong."""
    kind = item.metadata["kind"]
    if kind == "text":
        return raw
    if isinstance(raw, dict) and "value" in raw:
        if extra := set(raw) - UNCERTAIN:
            raise RequestError(
                f"unknown {', '.join(sorted(extra))}; a table here has value, spread and source"
            )
        raw = raw["value"]
    if kind == "choice":
        value = raw
    elif isinstance(raw, bool) or not isinstance(raw, int | float | str):
        raise RequestError("a number or a text with a unit belongs here")
    elif isinstance(raw, str):
        value = quantities.read(raw, kind)
    elif abs(raw) > LARGEST_NUMBER:  # an int may be too large for a float, or to be shown
        raise RequestError("no number of this size belongs here")
    elif quantities.QUANTITIES[kind].si != "1" or kind in quantities.BASED:
        unit = quantities.QUANTITIES[kind].shown
        raise RequestError(f'a bare number; write a text with its unit, for example "{raw} {unit}"')
    else:
        value = float(raw)
    if problem := field_problem(item, value):
        raise RequestError(problem)
    return int(value) if kind == "count" else value


@dataclass(frozen=True, kw_only=True)
class Parameters:
    """Base of all parameter records; quantity(), choice() or reference() declares each field."""

    def __post_init__(self) -> None:
        problems = [
            f"{item.name} = {getattr(self, item.name)!r}: {problem}"
            for item in dataclasses.fields(self)
            if (problem := field_problem(item, getattr(self, item.name)))
        ]
        problems = problems or self.conflicts()  # which may compute with the fields
        if problems:
            raise RequestError(problems)

    def conflicts(self) -> list[str]:
        """Return what does not fit together between fields; nothing in the base."""
        return []

    def take(self, index):
        """Return the operating points `index` of every field that is an array."""
        changes = {
            item.name: value[index]
            for item in dataclasses.fields(self)
            if isinstance(value := getattr(self, item.name), np.ndarray) and value.ndim
        }
        return dataclasses.replace(self, **changes) if changes else self


class Value(NamedTuple):
    """A result: SI number (or array over points) and the name of its quantity."""

    value: Any
    quantity: str


class _Later:
    """A Value whose number is worked out when it is first asked for."""

    def __init__(self, function: Callable[[], Any], kind: str) -> None:
        self._function, self.quantity = function, kind

    @cached_property
    def value(self):
        """The number, as of a Value."""
        with np.errstate(all="ignore"):  # unsolved points carry arbitrary numbers
            return self._function()


def later(function: Callable[[], Any], kind: str) -> Value:
    """Return what behaves as a Value, for numbers that are dear and seldom asked for."""
    return cast(Value, _Later(function, kind))


@dataclass(frozen=True)
class Criterion:
    """A limit to be met at every point."""

    name: str  # in words
    address: str  # of the result that is compared
    value: Any  # SI
    relation: str  # ">=" or "<="
    limit: Any  # SI
    quantity: str
    source: str
    binding_input: str = ""  # address of the input that would have to move
    advice: str = ""  # what to do about it, in words

    @property
    def meets(self):
        """Whether the criterion is met, per point; round-off on the limit counts as met."""
        slack = 1e-9 * np.abs(self.limit)
        if self.relation == ">=":
            return np.asarray(self.value) >= self.limit - slack
        return np.asarray(self.value) <= self.limit + slack

    @property
    def margin(self):
        """(value - limit) / limit, signed so that negative means not met."""
        sign = 1.0 if self.relation == ">=" else -1.0
        scale = np.where(np.asarray(self.limit) == 0, 1.0, np.abs(self.limit))
        return sign * (np.asarray(self.value, dtype=float) - self.limit) / scale


@dataclass(frozen=True)
class Finding:
    """Something to tell about some points. One that blocks means: there is no answer there."""

    where: Any  # bool, scalar or per point
    text: str  # may hold {name} for the values below
    values: Mapping[str, Value] = field(default_factory=dict)
    blocks: bool = False

    def message(self, point: int = 0, system: str = "si") -> str:
        """Return the text for one point, numbers in the unit shown."""
        numbers = {
            name: quantities.text(at(item.value, point), item.quantity, system)
            for name, item in self.values.items()
        }
        return self.text.format(**numbers)


@dataclass
class Details:
    """Everything a unit has to say about its operating point."""

    values: dict[str, Value] = field(default_factory=dict)
    criteria: list[Criterion] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    excursions: list[Excursion] = field(default_factory=list)
    power: Any = 0.0  # electrical, W; negative for recovered shaft power given back
    losses: dict[str, Any] = field(default_factory=dict)  # where that power goes, W
    sources: tuple[str, ...] = ()  # keys of sources.toml
    choices: tuple[str, ...] = ()  # model choices, in words


@dataclass
class Outcome:
    """Streams that leave, what was added on the way, and the details on request."""

    outlets: dict[str, Stream]
    added: dict[str, Any] = field(default_factory=dict)  # per component of Stream.carried()
    details: Callable[[], Details] = Details


@dataclass(frozen=True, kw_only=True)
class Unit:
    """Base of all unit operations: named ports, parameters, one pure method.

    `evaluate` takes the inlet streams by port name and the rest is declared:
    `free_parameters` are fields left out by the user that the solver is to find, `conditions` are
    the equations that the surroundings of the unit must meet.
    """

    name: str
    parameters: Any
    inlets: ClassVar[tuple[str, ...]] = ("inlet",)
    outlets: ClassVar[tuple[str, ...]] = ("outlet",)
    open_surface: ClassVar[bool] = False  # what arrives loses its pressure, the flow goes on
    gives_way: ClassVar[bool] = False  # takes whatever pressure is left
    through: ClassVar[tuple[str, ...]] = ()  # ports meant when a link names none
    sucks: ClassVar[bool] = False  # whether the atmosphere at the site matters
    needs: ClassVar[tuple[str, ...]] = ()  # contents the inlet water must tell
    recycles: ClassVar[tuple[str, ...]] = ()  # inlets at which a loop may be cut
    anchored: ClassVar[tuple[str, ...]] = ()  # outlets whose pressure the unit itself sets

    def evaluate(self, *args: Any, **inlets: Any) -> Outcome:
        """Return the outcome for the inlet streams."""
        raise NotImplementedError

    def source_flow(self):
        """Return the flow the unit takes from a source by itself [m3/s], or None."""
        return

    def flow_ceiling(self):
        """Return a flow the unit can never pass [m3/s], or None."""
        return

    def static_rise(self):
        """Return the height the water gains inside the unit. [m]"""
        return 0.0

    def free_parameters(self) -> dict[str, tuple[float, float, float]]:
        """Return the fields for the solver to find: name -> (low, guess, high)."""
        return {}

    def condition_names(self) -> tuple[str, ...]:
        """Return the names of the equations this unit imposes."""
        return ()

    def conditions(self, inlets: Mapping[str, Stream], outlets: Mapping[str, Stream]):
        """Return the residuals by name, of order one, zero when met."""
        return {}

    def parameters_field(self, name: str) -> dataclasses.Field | None:
        """Return the declaration of one parameter, or None."""
        return next((f for f in dataclasses.fields(self.parameters) if f.name == name), None)

    def with_parameters(self, **changes):
        """Return a copy with some parameters changed."""
        return dataclasses.replace(self, parameters=dataclasses.replace(self.parameters, **changes))

    def with_trial(self, **changes):
        """Return a copy with values of a solver, which on trial may leave the declared ranges."""
        parameters = copy.copy(self.parameters)
        for name, value in changes.items():
            object.__setattr__(parameters, name, value)
        return dataclasses.replace(self, parameters=parameters)

    def take(self, index):
        """Return the unit at the operating points `index`."""
        if self.parameters is None:
            return self
        return dataclasses.replace(self, parameters=self.parameters.take(index))


def at(value, point: int):
    """Return the entry of one point, of a scalar or an array over points."""
    array = np.asarray(value)
    return array.item() if array.ndim == 0 else array[point if array.size > 1 else 0].item()


def loss(stream: Stream, drop) -> dict[str, Any]:
    """Return the `added` entry of a unit that only loses pressure. drop [Pa]"""
    return {"hydraulic_power": -drop * stream.flow}
