"""What every unit operation is: named ports, parameters, one pure method, and its declarations."""

from __future__ import annotations

import copy
import dataclasses
import inspect
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from treatsim import operations
from treatsim.case_text import Problems, read_record
from treatsim.errors import RequestError
from treatsim.examples import entry_of
from treatsim.given import read_given
from treatsim.operations.declarations import Company, Earns, Mend, Move, Row, Ruled, Told
from treatsim.operations.outcome import Details, Outcome, Value
from treatsim.water.stream import Stream

DECLARED = (
    "hazards",
    "dials",
    "headline",
    "compared",
    "told",
    "results",
    "ruled",
    "earns",
    "ends_product",
)


KEYWORDS = object()  # stands for parameters that are given one by one


class _Signature:
    """The parameters of a kind as keywords, for help() and for completion."""

    def __get__(self, unit, owner: type) -> inspect.Signature:
        if kind_of(owner) not in operations.kinds():
            raise AttributeError("__signature__")
        only, none = inspect.Parameter.KEYWORD_ONLY, inspect.Parameter.empty
        found = [inspect.Parameter("name", only)]
        for item in dataclasses.fields(operations.parameters_class(kind_of(owner))):
            default = none if item.default is dataclasses.MISSING else item.default
            found.append(inspect.Parameter(item.name, only, default=default))
        return inspect.Signature(found)


def kind_of(unit: type) -> str:
    """Return the kind of a class of units: the name of its module."""
    return unit.__module__.rpartition(".")[2]


def _read(kind: str, name: str, given: Mapping[str, Any]):
    """Return the record of parameters given by keyword; what is None is not given."""
    problems = Problems("", {})
    table = {key: value for key, value in given.items() if value is not None}
    record = read_record(
        operations.parameters_class(kind), table, f"units.{name}", problems, read_given
    )
    if problems.found:
        raise RequestError(problems.found)
    return record


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class Unit:
    """Base of all unit operations: named ports, parameters, one pure method.

    A unit is made from its parameters by keyword, each a text with its unit or a number in SI, or
    from a whole record as `parameters`.

    `evaluate` takes the inlet streams by port name and the rest is declared:
    `free_parameters` are fields left out by the user that the solver is to find, `conditions` are
    the equations that the surroundings of the unit must meet. What other rooms must know of a
    kind stands in its own file: every name in DECLARED, without a default here.
    """

    name: str
    parameters: Any
    hazards: ClassVar[tuple[str, ...]]  # groups of cautions
    dials: ClassVar[tuple[str, ...]]  # inputs a person turns; of a pump, the first sets the flow
    headline: ClassVar[tuple[str, ...]]  # results one looks at first, below the unit
    compared: ClassVar[tuple[Row, ...]]  # results set side by side
    told: ClassVar[tuple[Row, ...]]  # results of its part of the page
    results: ClassVar[Mapping[str, Told]]  # every result it may tell, by key
    ruled: ClassVar[Mapping[str, Ruled]]  # limits it may state, by key
    earns: ClassVar[Earns]  # log credit
    ends_product: ClassVar[bool]  # whether what arrives is the product

    called: ClassVar[tuple[str, ...]] = ()  # the trade's other words for it, as a kind is written
    inlets: ClassVar[tuple[str, ...]] = ("inlet",)
    outlets: ClassVar[tuple[str, ...]] = ("outlet",)
    open_surface: ClassVar[bool] = False  # what arrives loses its pressure, the flow goes on
    gives_way: ClassVar[bool] = False  # takes whatever pressure is left
    through: ClassVar[tuple[str, ...]] = ()  # ports meant when a link names none
    sucks: ClassVar[bool] = False  # whether the atmosphere at the site matters
    moves_water: ClassVar[bool] = False  # whether its first dial sets the flow
    irradiates: ClassVar[bool] = False  # gives a dose of light, asked for by its target
    fouled: ClassVar[str] = ""  # what of it dissolved substances foul: filter, sleeve, membrane
    semipermeable: ClassVar[bool] = False  # whether dissolved matter passes it only in part
    adds_dissolved: ClassVar[bool] = False  # whether it doses what is followed as dissolved
    has_shaft: ClassVar[bool] = False  # whether a hydraulic motor may help to turn it
    treated: ClassVar[str] = ""  # of several outlets, the one that has passed the barrier
    needs: ClassVar[tuple[str, ...]] = ()  # contents the inlet water must tell
    recycles: ClassVar[tuple[str, ...]] = ()  # inlets at which a loop may be cut
    anchored: ClassVar[tuple[str, ...]] = ()  # outlets whose pressure the unit itself sets

    __signature__ = _Signature()

    def __init__(self, *, name: str = "", parameters: Any = KEYWORDS, **given: Any) -> None:
        """Make a unit; RequestError has a line for every fault of its parameters."""
        if not name:
            own = type(self).__name__
            raise RequestError(f'{own}: name is missing: {own}(name="{self.kind}", ...)')
        object.__setattr__(self, "name", name)
        if parameters is KEYWORDS:
            parameters = _read(self.kind, name, given)
        elif given:
            raise RequestError(f"{name}: parameters are given as a record or by keyword, not both")
        object.__setattr__(self, "parameters", parameters)

    def __repr__(self) -> str:
        told = [f"{name} = {self._told(name)}" for name in self.dials]
        return f"<{type(self).__name__}, {self.name}{': ' * bool(told)}{', '.join(told)}>"

    def _told(self, name: str) -> str:
        """Return an input as a file has it, in few letters."""
        item, value = self.parameters_field(name), getattr(self.parameters, name)
        if item is None or value is None:
            return "open"
        if np.ndim(value):
            return f"{np.size(value)} values"
        return str(entry_of(value, item.metadata["kind"]))

    @property
    def kind(self) -> str:
        """The word for it in a case file: the name of its module."""
        return kind_of(type(self))

    def evaluate(self, *args: Any, **inlets: Any) -> Outcome:
        """Return the outcome for the inlet streams."""
        raise NotImplementedError

    def dissolved(
        self,
        inlets: Mapping[str, Any],
        outlets: Mapping[str, Any],
        holds: Mapping[str, Any],
        passing: Any,
    ) -> dict[str, Any]:
        """Return the concentration of dissolved substances in each outlet; mixed, in the base.

        Flows of the ports [m3/s]; what each inlet holds [any, substances x points]; of a membrane,
        what passes over what is fed.
        """
        if not outlets:
            return {}
        amount = sum(holds[port] * flow for port, flow in inlets.items())
        flow = np.asarray(sum(outlets.values()))
        moves = flow != 0  # where nothing does, it holds what it would be given
        alike = sum(holds.values()) / len(holds)
        return dict.fromkeys(outlets, np.where(moves, amount / np.where(moves, flow, 1.0), alike))

    def dosed(self, inlet: Stream, held: Mapping[str, Any], acidity: Any) -> dict[str, Any]:
        """Return what it adds of dissolved substances, of kinds that do. [per volume of water]

        What the inlet holds by symbol [kg/m3], and the acidity of the source or None.
        """
        return {}

    def recipe(self, inlet: Stream, held: Mapping[str, Any], before, behind, acidity) -> Details:
        """Return what its dosing takes, of kinds that dose: as `dosed`, with the acidity around."""
        raise NotImplementedError

    def dangers(self) -> tuple[str, ...]:
        """Return the groups of cautions of this one."""
        return self.hazards

    def in_company(self, company: Company) -> Details:
        """Return what it can tell only where it knows the units around it."""
        return Details()

    def moves(self) -> Iterator[Move]:
        """Yield the inputs worth moving where a limit is missed."""
        yield from ()

    def mends(self) -> Iterator[Mend]:
        """Yield the changes that restore it."""
        yield from ()

    def tied_to(self) -> str:
        """Return the name of the unit whose shaft takes its power, or ""."""
        return ""

    def relieved(self, details: Details, given) -> Details:
        """Return its details where others on its shaft give some of the power. given [W]"""
        raise NotImplementedError

    def source_flow(self):
        """Return the flow the unit takes from a source by itself [m3/s], or None."""
        return

    def flow_ceiling(self):
        """Return a flow the unit can never pass [m3/s], or None."""
        return

    def rated_flow(self):
        """Return the flow it is made to move [m3/s], or None."""
        return

    def usable_volume(self):
        """Return the water it can hold for people [m3], or None."""
        return

    def largest_flow(self, inlet: Stream, required, points: int):
        """Return the largest flow at which a dose is still given, of kinds that irradiate."""
        raise NotImplementedError

    def largest_flow_parts(self, inlet: Stream, required, points: int) -> dict[str, Value]:
        """Return the smooth flows of which the largest one is the least, where they are known."""
        return {}

    def exposure(self, temperature) -> Any:
        """Return how its light adds up to a dose over time, of kinds that know their chamber."""
        return

    def dose_by_report(self) -> Any:
        """Return the dose credited over absorption, flow and share of light, of reported kinds."""
        return

    def pipe(self):
        """Return length and bore of what it leads water through [m], or None."""
        return

    def class_doses(self, values: Mapping[str, Value], virus_factor=None) -> dict[str, Any]:
        """Return the dose over its factor by class of pathogen, of kinds that irradiate. [J/m2]"""
        raise NotImplementedError

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
        for name in parameters.__dict__.keys() - type(parameters).__dataclass_fields__.keys():
            del parameters.__dict__[name]  # worked out from the values before
        for name, value in changes.items():
            object.__setattr__(parameters, name, value)
        return dataclasses.replace(self, parameters=parameters)

    def take(self, index):
        """Return the unit at the operating points `index`."""
        if self.parameters is None:
            return self
        return dataclasses.replace(self, parameters=self.parameters.take(index))
