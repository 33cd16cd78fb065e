"""What one evaluation of a unit gives: streams, and on request all it has to say."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple, cast

import numpy as np

from treatsim import quantities
from treatsim.ranges import Excursion
from treatsim.water.stream import Stream


class Value(NamedTuple):
    """A result: SI number (or array over points) and the name of its quantity."""

    value: Any
    quantity: str


class _Later:
    """A Value whose number is worked out when it is first asked for, or sent elsewhere."""

    def __init__(self, function: Callable[[], Any], kind: str) -> None:
        self._function, self.quantity = function, kind

    @cached_property
    def value(self):
        """The number, as of a Value."""
        with np.errstate(all="ignore"):  # unsolved points carry arbitrary numbers
            return self._function()

    def __reduce__(self):
        return Value, (self.value, self.quantity)


def later(function: Callable[[], Any], kind: str) -> Value:
    """Return what behaves as a Value, for numbers that are dear and seldom asked for."""
    return cast(Value, _Later(function, kind))


STATES = ("met", "not_met", "not_judged", "waived")
GROUPS = ("duty", "rating", "practice", "health")  # the classes of limits; all of them count
# SI unit of a range -> quantity in whose unit it is told; all others are told in their own
SHOWN = {"K": "temperature", "kg/kg": "mass_fraction", "kg/m3": "concentration"}
ROUND_OFF = 1e-9  # relative; a value this close to its limit is on it
MOST_DIGITS = 12  # that tell a value from its limit: beyond, it is on it


@dataclass(frozen=True)
class Limit:
    """Something to be kept at every point: a value, what it is held against, and its state.

    Not judged is not met: where `judged` is false, or the value is not a number, the state says so
    and `needs` names the input that would let it be judged.
    """

    name: str  # in words
    address: str  # of the result that is compared
    value: Any  # SI
    relation: str  # ">=" or "<="
    limit: Any  # SI
    quantity: str
    source: str
    binding_input: str = ""  # address of the input that would have to move
    advice: str = ""  # what to do about it, in words
    group: str = "duty"  # one of GROUPS
    needs: str = ""  # address of the input that would let it be judged
    judged: Any = True  # bool, scalar or per point
    waived: str = ""  # reason given in the case for letting it be

    @property
    def key(self) -> str:
        """Its name in the table of limits of its unit."""
        return self.address.rpartition(".")[2]

    @property
    def full_name(self) -> str:
        """Its name in words, with the unit it is of where the words do not say it."""
        owner = self.address.partition(".")[0]
        of_all = owner in ("", "health", "product", "analytes")
        said = of_all or owner in re.findall(r"\w+", self.name)  # "drop" does not say "ro"
        return self.name if said else f"{self.name} ({owner})"

    @property
    def meets(self):
        """Whether it is judged and kept, per point; round-off on the limit counts as kept."""
        slack = ROUND_OFF * np.abs(self.limit)
        value = np.asarray(self.value, float)
        kept = value >= self.limit - slack if self.relation == ">=" else value <= self.limit + slack
        return kept & self.judged

    @property
    def margin(self):
        """(value - limit) / limit, signed so that negative means not met."""
        sign = 1.0 if self.relation == ">=" else -1.0
        scale = np.where(np.asarray(self.limit) == 0, 1.0, np.abs(self.limit))
        return sign * (np.asarray(self.value, dtype=float) - self.limit) / scale

    @property
    def states(self) -> np.ndarray:
        """Index into STATES, per point."""
        judged = np.asarray(self.judged) & ~np.isnan(np.asarray(self.value, float))
        if self.waived:
            return np.full(np.broadcast(judged, self.limit).shape, 3)
        return np.where(judged, np.where(self.meets, 0, 1), 2)

    def state(self, point: int = 0) -> str:
        """Return its state at one point, one of STATES."""
        return STATES[int(at(self.states, point))]

    def told(self, system: str = "si", point: int = 0, digits: int = 4) -> tuple[str, str]:
        """Return value and limit as people read them, never as if the other side were true."""
        value, limit = float(at(self.value, point)), float(at(self.limit, point))
        kept = bool(at(self.meets, point))
        return weighed(value, self.relation, limit, kept, self.quantity, system, digits)


def weighed(
    value: float,
    relation: str,
    limit: float,
    kept: bool,
    quantity: str,
    system: str = "si",
    digits: int = 4,
) -> tuple[str, str]:
    """Return a value and its limit with the digits it takes to look as kept, or missed, as it is.

    A value may be infinite: then it is told as it stands.
    """
    first = tuple(quantities.text(one, quantity, system, digits) for one in (value, limit))
    for more in range(digits, MOST_DIGITS):
        shown = [quantities.text(one, quantity, system, more) for one in (value, limit)]
        a, b = (float(text.split()[0]) for text in shown)
        if (a >= b if relation == ">=" else a <= b) == kept:
            return shown[0], shown[1]
    return first[0], first[1]


def unjudged(name: str, needs: str, *, address: str = "", group: str = "health") -> Limit:
    """Return a limit that nobody can judge before the input `needs` is given."""
    return Limit(name, address, np.nan, ">=", np.nan, "factor", "", needs, "", group, needs, False)


@dataclass(frozen=True)
class Override:
    """What a case puts in place of a limit, or why it lets the limit be."""

    limit: float | None = None  # SI
    reason: str = ""


@dataclass(frozen=True)
class Finding:
    """Something to tell about some points. One that blocks means: there is no answer there."""

    where: Any  # bool, scalar or per point
    text: str  # may hold {name} for the values below
    values: Mapping[str, Value] = field(default_factory=dict)
    blocks: bool = False

    def message(self, point: int = 0, system: str = "si") -> str:
        """Return the text for one point, numbers in the unit shown."""
        kinds = {item.quantity for item in self.values.values()}
        numbers: dict[str, str] = {}
        for kind in kinds:
            alike = {n: at(v.value, point) for n, v in self.values.items() if v.quantity == kind}
            numbers |= dict(
                zip(alike, quantities.apart(list(alike.values()), kind, system), strict=True)
            )
        return self.text.format(**numbers)


@dataclass
class Details:
    """Everything a unit has to say about its operating point."""

    values: dict[str, Value] = field(default_factory=dict)
    limits: list[Limit] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    excursions: list[Excursion] = field(default_factory=list)
    power: Any = 0.0  # electrical, W; negative for recovered shaft power given back
    losses: dict[str, Any] = field(default_factory=dict)  # where that power goes, W
    sources: tuple[str, ...] = ()  # keys of sources.toml
    choices: tuple[str, ...] = ()  # model choices, in words
    composed: dict[str, Any] = field(default_factory=dict)  # key -> Composed, of what is not smooth


@dataclass
class Outcome:
    """Streams that leave, what was added on the way, and the details on request."""

    outlets: dict[str, Stream]
    added: dict[str, Any] = field(default_factory=dict)  # per component of Stream.carried()
    details: Callable[[], Details] = Details


def at(value, point: int):
    """Return the entry of one point, of a scalar or an array over points."""
    array = np.asarray(value)
    return array.item() if array.ndim == 0 else array[point if array.size > 1 else 0].item()


def loss(stream: Stream, drop) -> dict[str, Any]:
    """Return the `added` entry of a unit that only loses pressure. drop [Pa]"""
    return {"hydraulic_power": -drop * stream.flow}


def excursion_text(found: Excursion, system: str = "si") -> str:
    """Say which argument lies outside which range, in the unit shown where it has one."""
    limits = found.range
    if limits.unit in SHOWN:
        ends = (found.worst, limits.low, limits.high)
        worst, low, high = quantities.apart(ends, SHOWN[limits.unit], system)
        low = low.partition(" ")[0]
    else:
        unit = "" if limits.unit == "1" else f" {limits.unit}"
        worst, low, high = f"{found.worst:.4g}{unit}", f"{limits.low:g}", f"{limits.high:g}"
    name = limits.name.replace("_", " ")
    return f"{limits.formula}: {name} {worst} lies outside {low} to {high}"
