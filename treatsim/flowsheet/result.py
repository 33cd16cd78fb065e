"""What a solve gives back: every value by its address, findings, balances; nothing is judged."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from treatsim import errors, quantities
from treatsim.amounts import Amount, Amounts
from treatsim.arrays import Array, ArrayLike, Flags
from treatsim.flowsheet.at_ports import stream_values
from treatsim.flowsheet.energy import energy_values
from treatsim.flowsheet.equations import Failure
from treatsim.flowsheet.flowsheet import Flowsheet, Port
from treatsim.flowsheet.recycle import less_returned
from treatsim.flowsheet.shafts import on_its_shaft
from treatsim.flowsheet.solver import Solved
from treatsim.flowsheet.wiring import PRODUCT_END
from treatsim.notebook import html_table
from treatsim.operations.declarations import Told
from treatsim.operations.outcome import Details, Finding, Outcome, Value, at
from treatsim.operations.unit import Unit
from treatsim.ranges import Excursion
from treatsim.water.stream import Stream

RESULTS = {
    "product.flow": Told("flow", "flow of the product"),
    "product.concentration": Told("concentration", "salt in the product"),
}
BALANCE_LIMIT = 1e-9  # of the throughput
END_TOLERANCE = 10.0  # Pa; a millimetre of water
OVERGROWN = 10.0  # what comes back over fresh water, from which on the recycle is to blame
FLOW_SHARE = 0.01  # of the rated flow; common practice: below, a meter at its full scale reads none


class Context(NamedTuple):
    """What a case says beside its flowsheet: what is asked, and what is let be."""

    title: str = ""
    path: str = ""
    sections: Mapping[str, Any] = {}  # tables that are no units, as solved
    notes: tuple[str, ...] = ()  # what was assumed about the source water
    overrides: Mapping[str, Mapping[str, Any]] = {}  # unit -> key -> Override


class Result:
    """Operating points of one flowsheet; nothing is written into it after the solve.

    `result["uv.inlet.flow"]` is one result with its unit, at one point or at all. `values` maps an
    address to a Value; entries of points without an answer are meaningless and marked by `solved`.
    """

    def __init__(self, solved: Solved, points: int, context: Context | None = None) -> None:
        self.sheet = solved.sheet
        self.streams = solved.last.streams
        self.outcomes = solved.last.outcomes
        self.found = solved.found
        self.points = points
        self.context = context or Context()
        self.failures: list[Failure] = list(solved.failures)
        self._details: dict[str, Details] = {}
        self.balances = self._balances()

    def __getitem__(self, address: str) -> Amount | Amounts:
        return self.amount(self.value(address))

    def __iter__(self) -> Iterator[str]:
        return iter(self.values)

    def amount(self, value: Value) -> Amount | Amounts:
        """Return a value with its unit: one number, or NaN where a point has no answer.

        Raises NoSolutionError where the one point there is has none.
        """
        if self.points > 1:
            numbers = np.broadcast_to(np.asarray(value.value, float), (self.points,))
            return Amounts(np.where(self.solved, numbers, np.nan), value.quantity)
        if not self.solved[0]:
            raise errors.NoSolutionError(self.reason(0))
        return Amount(at(value.value, 0), value.quantity)

    def to_pandas(self, system: str = "si") -> Any:
        """Return every result as a pandas DataFrame, a row for each point; headings have units."""
        import pandas

        columns = {}
        for address, value in self.values.items():
            numbers, unit = quantities.show(np.asarray(value.value, float), value.quantity, system)
            full = np.broadcast_to(numbers, (self.points,))
            columns[f"{address} [{unit or '1'}]"] = np.where(self.solved, full, np.nan)
        return pandas.DataFrame(columns)

    def __repr__(self) -> str:
        name = f' of "{self.context.title}"' * bool(self.context.title)
        if self.points == 1:
            told = "" if self.solved[0] else f", no answer: {self.reason(0)}"
            return f"<Result{name}, 1 point{told}; nothing judged>"
        answered = int(np.sum(self.solved))
        return f"<Result{name}, {self.points} points, {answered} with an answer; nothing judged>"

    def _repr_html_(self) -> str:
        if not np.any(self.solved):
            return html_table(("no answer",), [[self.reason(0)]], title=self.context.title)
        wanted = ["product.flow", "product.concentration", "energy.specific"]
        wanted += [f"{n}.{key}" for n, unit in self.sheet.units.items() for key in unit.headline]
        rows = [[a, self[a].text()] for a in dict.fromkeys(wanted) if a in self.values]
        title = f"{self.context.title or 'result'}: nothing is judged here"
        return html_table(("address", "value"), rows, title=title)

    def __getstate__(self) -> dict[str, Any]:
        """Return everything but what is worked out on request, which is worked out first."""
        state = dict(self.__dict__) | {"all_details": self.all_details}
        plain = {name: Outcome(o.outlets, o.added) for name, o in self.outcomes.items()}
        return state | {"outcomes": plain, "_details": dict(self.all_details)}

    def held(self, found: Mapping[str, Any], failures: Sequence[Failure] | None = None) -> Result:
        """Return the same points with values that a hold has found, and its reasons if any."""
        twin = object.__new__(Result)
        kept = {k: v for k, v in self.__dict__.items() if k not in ("blocks", "solved", "values")}
        twin.__dict__.update(kept | {"found": {**self.found, **found}})
        if failures is not None:
            twin.failures = list(failures)
        return twin

    @property
    def sections(self) -> Mapping[str, Any]:
        """Tables of the case that are no units, as solved."""
        return self.context.sections

    def unfailed(self) -> np.ndarray:
        """Points for which the solver reports no failure; findings of units are not asked."""
        return _outside(self.failures, self.points)

    def details(self, unit: str) -> Details:
        """Return what one unit has to say; computed on first use."""
        if unit not in self._details:
            with np.errstate(all="ignore"):  # unsolved points carry arbitrary numbers
                own = self.outcomes[unit].details()
                self._details[unit] = on_its_shaft(self.sheet.units, unit, own, self.details)
        return self._details[unit]

    @cached_property
    def all_details(self) -> dict[str, Details]:
        """Details of every unit, in order of calculation."""
        return {name: self.details(name) for name in self.sheet.order}

    @cached_property
    def blocks(self) -> list[Failure]:
        """Why points have no answer; of several reasons the first is the point's own."""
        stops = [Failure(f.where, f.text, dict(f.values)) for f in self.findings if f.blocks]
        firm = [failure for failure in self.failures if not failure.vague]
        known = [
            *firm,
            *overgrown(self, stops),
            *stops,
            *(failure for failure in self.failures if failure.vague),
        ]
        known += dry_ends(self.sheet, self.streams, _outside(known, self.points))
        return known + no_flow(self, _outside(known, self.points))

    @cached_property
    def solved(self) -> np.ndarray:
        """Which points have an answer."""
        return _outside(self.blocks, self.points)

    def reason(self, point: int = 0, system: str = "si") -> str:
        """Return why a point has no answer, or "" if it has one."""
        for block in self.blocks:
            if np.broadcast_to(block.where, (self.points,))[point]:
                return Finding(block.where, block.reason, block.values).message(point, system)
        return ""

    @cached_property
    def findings(self) -> list[Finding]:
        """Findings of all units, their texts led by the unit's name."""
        return [
            Finding(f.where, f"{name}: {f.text}", f.values, f.blocks)
            for name, details in self.all_details.items()
            for f in details.findings
        ]

    @property
    def excursions(self) -> list[tuple[str, Excursion]]:
        """Uses of formulas outside their fitted range, by unit."""
        return [(name, e) for name, d in self.all_details.items() for e in d.excursions]

    @cached_property
    def product_end(self) -> tuple[str, str] | None:
        """Port of the product: where it leaves, or the inlet of the unit it ends in."""
        ends = self.sheet.wiring.ends
        if PRODUCT_END in ends:
            return ends[PRODUCT_END]
        last = [name for name, unit in self.sheet.units.items() if unit.ends_product]
        return (last[0], "inlet") if last else None

    @property
    def product(self) -> Stream | None:
        """The water that leaves as product."""
        return None if self.product_end is None else self.streams[self.product_end]

    @property
    def power(self) -> ArrayLike:
        """Electrical power of all consumers. [W]"""
        return sum(np.asarray(d.power) for d in self.all_details.values())

    @cached_property
    def values(self) -> Mapping[str, Value]:
        """Every result by its address."""
        found: dict[str, Value] = {}
        for (unit, port), stream in self.streams.items():
            found |= {f"{unit}.{port}.{key}": v for key, v in stream_values(stream).items()}
        for name, details in self.all_details.items():
            found |= {f"{name}.{key}": value for key, value in details.values.items()}
        for address in self.found:
            unit, _, field = address.partition(".")
            item = self.sheet.units[unit].parameters_field(field) if field else None
            if item is not None:
                value = getattr(self.sheet.units[unit].parameters, field)
                found[address] = Value(value, item.metadata["kind"])
        if self.product is not None:
            found["product.flow"] = Value(self.product.flow, "flow")
            found["product.concentration"] = Value(self.product.concentration, "concentration")
        with np.errstate(all="ignore"):  # unsolved points carry arbitrary numbers
            return found | energy_values(self)

    def value(self, address: str) -> Value:
        """Return one result; a RequestError names the nearest address if there is none."""
        unit, _, rest = str(address).partition(".")
        if unit in self.outcomes:  # the common case, without asking every unit
            port, _, key = rest.partition(".")
            if (unit, port) in self.streams:
                streams = stream_values(self.streams[unit, port])
                if key in streams:
                    return streams[key]
            if rest in (own := self.details(unit).values):
                return own[rest]
        return addressed(self.values, address)

    def _balances(self) -> dict[str, float]:
        """Worst imbalance of each component over all units and solved points, per throughput."""
        worst: dict[str, float] = {}
        good = self.unfailed()
        for name, unit in self.sheet.units.items():
            if not np.any(good):
                break
            for component, share in unit_balance(unit, self.streams, self.outcomes[name]).items():
                whole = np.size(share) == 1  # the same at every point
                own = share if whole else np.broadcast_to(share, (self.points,))[good]
                most = float(np.max(own))
                worst[component] = max(worst.get(component, 0.0), most)
                if not most <= BALANCE_LIMIT:
                    raise errors.TreatsimError(
                        f"{name}: the balance of {component} is open by {most:.2g} of its "
                        "throughput; please report this case"
                    )
        return worst


def addressed(values: Mapping[str, Value], address: str) -> Value:
    """Return one of the values; a RequestError names the nearest address if there is none."""
    if address in values:
        return values[address]
    near = difflib.get_close_matches(str(address), values, n=3)
    hint = f"; near: {', '.join(near)}" if near else ""
    raise errors.RequestError(f'no result has the address "{address}"{hint}')


def _outside(failures: Sequence[Failure], points: int) -> np.ndarray:
    """Return the points that none of the failures concerns."""
    good = np.ones(points, bool)
    for failure in failures:
        good &= ~np.broadcast_to(failure.where, (points,))
    return good


def no_flow(result: Result, good: Flags) -> list[Failure]:
    """Say at which of the points `good` what leaves as product is no flow to speak of.

    What counts as flow is a share, FLOW_SHARE, of the smallest rated flow that any unit states.
    """
    rated = [u.rated_flow() for u in result.sheet.units.values() if u.rated_flow() is not None]
    if result.product is None or not rated:
        return []
    least = FLOW_SHARE * np.min(np.broadcast_arrays(*rated), axis=0)
    flow = np.broadcast_to(np.asarray(result.product.flow, float), good.shape)
    dry = good & (flow < least)
    if not np.any(dry):
        return []
    text = "nothing flows to speak of: a product of {flow} is below {least}, 1 % of the rated flow"
    values = {"flow": Value(flow, "flow"), "least": Value(least, "flow")}
    return [Failure(dry, text, values)]


def overgrown(result: Result, stops: Sequence[Failure]) -> list[Failure]:
    """Say at which of the points a unit stops because far too much comes round a recycle."""
    sheet, streams = result.sheet, result.streams
    stopped = ~_outside(stops, result.points)
    if not sheet.tears or not np.any(stopped):
        return []
    inlets = [streams[name, sheet.units[name].inlets[0]] for name in sheet.wiring.sources]
    fresh = sum(np.asarray(stream.flow) for stream in inlets)
    text = (
        "the recycle into {} has no steady state that its units can pass: {{back}} comes back to "
        f"{{{{fresh}}}} of fresh water; {less_returned(sheet)}"
    )
    found = []
    for cut in sheet.tears:
        back = np.broadcast_to(np.asarray(streams[cut].flow), stopped.shape)
        values = {"back": Value(back, "flow"), "fresh": Value(fresh, "flow")}
        found.append(Failure(stopped & (back > OVERGROWN * fresh), text.format(cut[0]), values))
    return found


def dry_ends(sheet: Flowsheet, streams: Mapping[Port, Stream], good: Flags) -> list[Failure]:
    """Say at which of the points `good` water would have to be sucked out at an end."""
    ends = dict(sheet.wiring.ends)
    ends |= {n: (n, port) for n, u in sheet.units.items() if not u.outlets for port in u.inlets}
    found = []
    for end, port in ends.items():
        pressure = np.broadcast_to(np.asarray(streams[port].pressure, float), good.shape)
        dry = good & (pressure < -END_TOLERANCE)
        if np.any(dry):
            text = (
                f"water would reach {end} at {{pressure}} and does not leave there: it needs more"
            )
            found.append(
                Failure(dry, text + " pressure", {"pressure": Value(pressure, "pressure")})
            )
    return found


def unit_balance(unit: Unit, streams: Mapping[Port, Stream], outcome: Outcome) -> dict[str, Array]:
    """Return |in + added - out| over the larger of in and out, per component."""
    total_in: dict = {}
    total_out: dict = {}
    for port in unit.inlets:
        for component, rate in streams[unit.name, port].carried().items():
            total_in[component] = total_in.get(component, 0.0) + rate
    if not unit.outlets:
        return {}
    for stream in outcome.outlets.values():
        for component, rate in stream.carried().items():
            total_out[component] = total_out.get(component, 0.0) + rate
    names = list(total_in | total_out)
    rows = [
        [np.asarray(part.get(name, 0.0), float) for name in names]
        for part in (total_in, total_out, outcome.added)
    ]
    if all(value.size == 1 for row in rows for value in row):  # one point: all components at once
        shares = _open_shares(*(np.array([value.item() for value in row]) for row in rows))
        return dict(zip(names, shares, strict=True))
    return {name: _open_shares(*three) for name, *three in zip(names, *rows, strict=True)}


def _open_shares(a: Array, b: Array, added: Array) -> Array:
    scale = np.maximum(np.maximum(np.abs(a), np.abs(b)), np.abs(added))
    return np.abs(a + added - b) / np.where(scale > 0, scale, 1.0)
