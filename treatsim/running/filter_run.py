"""Filters through months: loads, changes and flow of many scenarios at once.

Exposure is the integral of the source's solids over running time: d(mass)/d(exposure) is capture x
arriving x flow, whatever the source did hour by hour. So the run goes from change to change, not
from hour to hour, in the solids that pass; the hours stand in the exposure alone.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.constants import ZERO_CELSIUS
from treatsim.correlations.solids import filtration
from treatsim.correlations.solids.sharing import shared_flow
from treatsim.errors import NoSolutionError
from treatsim.running.filter_line import Flows, Line
from treatsim.running.filter_lives import WEIGHTS, Lives, ahead_of_any, before_it, lives, summed
from treatsim.running.filter_state import Bank, History, Law, Rules, State
from treatsim.running.filter_stretch import (
    NODES,
    REACHED,
    SUMS,
    TO_POWERS,
    Clock,
    Slopes,
    Stretch,
    at_part,
    first_end,
    time_of,
)

SWEEPS = 12  # of the collocation
SETTLED = 1e-8  # relative change of a slope, far below the miss of the tabulated flow
SHORT = 1e-9  # of what was left to the bound: less is none
FIRST, MOST = 16, 256  # lives looked at in one go
SHARES = 6  # passes for the shares of unequal elements, at most


class Run:
    """One piece of scenarios through the hours; `run` does it."""

    def __init__(
        self, line: Line, bank: Bank, law: Law, clock: Clock, rules: Rules, followed: bool = False
    ) -> None:
        self.followed = followed  # whether the flow of every stretch is kept in `track`
        self.line, self.bank, self.law, self.clock, self.rules = line, bank, law, clock, rules
        self.growth = law.constant * law.clean ** (law.exponent - 1)  # of resistance, by mass
        self.fresh = self._fresh()  # m3/s, between the stops
        filters = line.filters
        self.each = bank.filter_of
        self.members = [np.flatnonzero(self.each == g) for g in range(len(filters.names))]
        scenarios = len(clock.exposure)
        self.mass = np.broadcast_to(
            np.minimum(filters.captured[self.each], law.capacity), law.capacity.shape
        ).copy()
        self.exposure, self.stop = np.zeros(scenarios), np.zeros(scenarios, int)
        shape = (scenarios, len(filters.names))
        self.lived = np.zeros(self.mass.shape)  # running time at installation, s
        equal = all(members.size == 1 for members in self.members)
        between = np.diff(rules.stops, prepend=0).max() * 3600.0
        self.leaps = line.even and equal and bool(np.all(rules.longest_use >= between))
        self.track: tuple[list[Array], ...] = ([], [], [])  # scenario, exposure, flow of stretches
        self.look = np.full(scenarios, FIRST)  # lives worth looking at in one go
        self.due = self._due(np.arange(scenarios)[:, None], np.zeros(self.mass.shape))
        self.history = History(fed=np.zeros(shape), removed=np.zeros(shape))
        self.history.started = self._held()
        self.history.product = [np.zeros(scenarios) for _ in rules.stops]
        self.history.drop = [np.zeros(shape) for _ in rules.stops]

    def run(self, progress: Callable[[float], None] = lambda share: None) -> History:
        """Follow every scenario to the last stop."""
        everyone = np.arange(len(self.exposure))
        stops = len(self.rules.stops)
        state = self.state(everyone, self.mass)
        while np.any(self.stop < stops):
            self._tell(state)
            if not np.any(self.stop < stops):
                break
            self._renew(state, self._change(state))
            if self.leaps:
                self._renew(state, self._leap(state))
            self._renew(state, self._step(state))
            progress(float(np.mean(self.stop)) / stops)
        self.history.held = self._held()
        return self.history

    def _renew(self, state: State, rows: Index) -> None:
        """Tell anew what the train does in some scenarios."""
        if rows.size:
            for whole, part in zip(state, self.state(rows, self.mass[rows]), strict=True):
                whole[rows] = part

    def state(self, rows: Index, mass: Array) -> State:
        """Return what the train does at some loads of the scenarios `rows`."""
        filters = self.line.filters
        flows, share, drop = self._shared(rows, mass)
        arriving = flows.arriving * filters.capture
        excess = np.concatenate(
            [mass / self.law.capacity[rows], drop / filters.largest_drop,
             (self.rules.flow_needed / flows.product)[:, None]], axis=1
        ) - 1.0  # fmt: skip
        rate = arriving[:, self.each] * share
        return State(rate, flows.arriving * flows.through, drop, excess, flows.product,
                     flows.through)  # fmt: skip

    def _shared(self, rows: Index, mass: Array) -> tuple[Flows, Array, Array]:
        """Return flows, flow through an element of each entry, and the loss of each filter."""
        law, filters, rules = self.law, self.line.filters, self.rules
        resistance = filtration.grown_resistance(
            np.minimum(mass, law.capacity[rows]) * self.growth[rows], law.clean, law.exponent[rows]
        )
        period = np.minimum(self.stop[rows], len(rules.stops) - 1)
        sticky, warm = rules.viscosity[period], rules.temperature[period]
        uneven = [g for g, members in enumerate(self.members) if members.size > 1]
        equal = resistance
        if uneven:  # as if housings lost nothing, to begin with
            equal = np.stack(
                [m.size / np.sum(1.0 / resistance[:, m], axis=1) for m in self.members], axis=1
            )
        shared: dict[int, tuple[Array, Array]] = {}
        for _ in range(SHARES if uneven else 1):
            flows = self.line.flows(equal, warm)
            before = equal.copy()
            for g in uneven:
                shared[g] = self._parallel(g, flows.through[:, g], resistance, sticky)
                each = flows.through[:, g] / filters.elements[g]
                equal[:, g] = (shared[g][1] / each - filters.quadratic[g] * each) / sticky
            if not uneven or np.max(np.abs(equal / before - 1.0)) <= SETTLED:
                break
        share = (flows.through / filters.elements)[:, self.each]
        drop = filtration.element_loss(
            flows.through / filters.elements, equal, sticky[:, None], filters.quadratic
        )
        for g, (part, loss) in shared.items():
            share[:, self.members[g]], drop[:, g] = part, loss
        return flows, share, drop

    def _parallel(self, g: int, flow: Array, resistance: Array, sticky: Array):
        quadratic = self.line.filters.quadratic[g]
        return shared_flow(flow, resistance[:, self.members[g]], sticky, quadratic)

    def _tell(self, state: State) -> None:
        """Note the state of every scenario that has come to its stop, and send it on."""
        while True:
            rows = np.flatnonzero(self.stop < len(self.rules.stops))
            rows = rows[self.exposure[rows] >= self._edge(rows)]
            if not rows.size:
                return
            for stop in np.unique(self.stop[rows]):
                here = rows[self.stop[rows] == stop]
                self.history.product[stop][here] = state.product[here]
                self.history.drop[stop][here] = state.drop[here]
            self.stop[rows] += 1

    def _edge(self, rows: Index) -> Array:
        stops = self.rules.stops[np.minimum(self.stop[rows], len(self.rules.stops) - 1)]
        return self.clock.exposure[rows, stops]

    def _change(self, state: State) -> Index:
        """Change what has reached a limit; return the scenarios in which something was changed."""
        old = np.any(self.exposure[:, None] >= self.due, axis=1)
        over = (np.max(state.excess, axis=1) >= REACHED) | old
        rows = np.flatnonzero(over & (self.stop < len(self.rules.stops)))
        if not rows.size:
            return rows
        entries, filters = len(self.each), len(self.line.filters.names)
        first = np.argmax(state.excess[rows], axis=1)
        by_time = state.excess[rows].max(axis=1) < REACHED
        cause = np.where(first < entries, 0, np.where(first < entries + filters, 1, 2))
        cause = np.where(by_time, 3, cause)
        worst = self._most_loaded(rows)
        of_filter = np.where(
            cause == 2, self._heaviest(rows, state), np.clip(first - entries, 0, filters - 1)
        )
        entry = np.where(cause == 0, first, worst[np.arange(rows.size), of_filter])
        entry = np.where(by_time, np.argmin(self.due[rows], axis=1), entry)
        self._replace(rows, np.minimum(entry, entries - 1), cause)
        return rows

    def _most_loaded(self, rows: Index) -> Array:
        """Return the fullest entry of each filter."""
        full = self.mass[rows] / self.law.capacity[rows]
        return np.stack([m[np.argmax(full[:, m], axis=1)] for m in self.members], axis=1)

    def _heaviest(self, rows: Index, state: State) -> Array:
        """Return the filter whose load costs most pressure: changing it gives most flow."""
        filters = self.line.filters
        clean = filtration.element_loss(
            state.through[rows] / filters.elements, filters.clean,
            self.rules.viscosity[np.minimum(self.stop[rows], len(self.rules.stops) - 1)][:, None],
            filters.quadratic,
        )  # fmt: skip
        return np.argmax(state.drop[rows] - clean, axis=1)

    def _replace(self, rows: Index, entry: Index, cause: Index) -> None:
        hour, running = time_of(self.clock, rows, self.exposure[rows])
        mass = self.mass[rows, entry] * self.bank.weight[entry]
        self._note(rows, entry, (hour, running, running - self.lived[rows, entry]), cause, mass)
        self.mass[rows, entry] = 0.0

    def _note(
        self, rows: Index, entry: Index, times: tuple[Array, Array, Array], cause, mass: Array
    ) -> None:
        """Write changes down: times are the hour, the running time and that of the life."""
        hour, running, life = times
        told = {
            "scenario": rows,
            "hour": hour,
            "filter": self.each[entry],
            "cause": np.broadcast_to(cause, rows.shape),
            "elements": self.bank.weight[entry],
            "mass": mass,
            "life": life,
        }
        for name, values in told.items():
            self.history.changes.setdefault(name, []).append(np.asarray(values, float))
        np.add.at(self.history.removed, (rows, self.each[entry]), mass)
        self.lived[rows, entry] = running  # of several in a scenario, the last one stays
        self.due[rows, entry] = self._due(rows, hour, entry)

    def _due(self, rows: Index, hour: Array, entry: Index | slice = slice(None)) -> Array:
        """Return the exposure at which an element has been in the water for as long as it may."""
        longest = self.rules.longest_use[self.each][entry]
        ends = self.clock.exposure.shape[1] - 1
        until = np.minimum(hour + longest / 3600.0, ends)
        left = np.minimum(until.astype(int), ends - 1)
        low, high = self.clock.exposure[rows, left], self.clock.exposure[rows, left + 1]
        due = low + (until - left) * (high - low)
        return np.where(hour + longest / 3600.0 >= ends, np.inf, due)

    def _free(self, state: State) -> Index:
        """Return the scenarios that wait for no change and are not at their end."""
        waits = (state.excess.max(axis=1) >= REACHED) | (self.stop >= len(self.rules.stops))
        return np.flatnonzero(~waits & ~np.any(self.exposure[:, None] >= self.due, axis=1))

    def _bound(self, rows: Index) -> Array:
        """Return the exposure to the next stop, or to where an element's time is over."""
        return np.minimum(self._edge(rows), self.due[rows].min(axis=1)) - self.exposure[rows]

    def _leap(self, state: State) -> Index:
        """Go on by whole lives, as long as each ends by its mass and before the next stop."""
        rows = self._free(state)
        bound, most = self._bound(rows), self.look[rows]
        slope = state.rate[rows] / state.product[rows, None]
        mass, capacity = self.mass[rows], self.law.capacity[rows]
        found = lives(mass, slope, capacity, bound * self.fresh[self.stop[rows]], most)
        row = found.row
        flows, _, drop = self._shared(
            np.tile(rows[row], len(WEIGHTS)),
            found.masses(mass, slope, capacity).reshape(-1, len(self.each)),
        )
        taken = WEIGHTS @ (1.0 / flows.product).reshape(len(WEIGHTS), -1)
        passed = summed(taken * (found.end - found.start), row)
        over = np.any(drop >= self.line.filters.largest_drop * (1 + REACHED), axis=1)
        over |= flows.product * (1 + REACHED) <= self.rules.flow_needed
        over = over.reshape(len(WEIGHTS), -1).any(axis=0)
        whole = ahead_of_any(over | (passed > bound[row] * (1 - SHORT)), row)
        counted = np.bincount(row[whole], minlength=rows.size)
        self.look[rows] = np.clip(2 * counted, FIRST, MOST)
        self._track(rows, self.exposure[rows], state.product[rows])
        return self._take(rows, found.chosen(whole), passed[whole], state)

    def _track(self, rows: Index, exposure: Array, product: Array) -> None:
        if not self.followed:
            return
        for kept, part in zip(self.track, (rows, exposure, product), strict=True):
            kept.append(np.array(part, float))

    def _follow(self, rows: Index, found: Lives, passed: Array, slope: Array) -> None:
        """Note the flow after each change of whole lives."""
        row, entries = found.row, np.arange(len(self.each))
        changed = found.before + (found.entry[:, None] == entries)
        mass = self.mass[rows[row]] + slope[row] * found.end[:, None]
        mass = np.maximum(mass - changed * self.law.capacity[rows[row]], 0.0)
        product = self.state(rows[row], mass).product
        self._track(rows[row], self.exposure[rows[row]] + passed, product)

    def _take(self, rows: Index, found: Lives, passed: Array, state: State) -> Index:
        """Write down lives that are over, and set loads and exposure to their end."""
        row, entry = found.row, found.entry
        if not row.size:
            return row
        last = np.flatnonzero(np.append(row[1:] != row[:-1], True))
        ends = rows[row[last]]
        hour, running = time_of(self.clock, rows[row], self.exposure[rows[row]] + passed)
        life = np.empty(row.size)
        for e in range(len(self.each)):
            own = entry == e
            life[own] = running[own] - before_it(running[own], row[own], self.lived[rows, e])
        full = self.law.capacity[rows[row], entry] * self.bank.weight[entry]
        self._note(rows[row], entry, (hour, running, life), 0, full)
        if self.followed:
            self._follow(rows, found, passed, state.rate[rows] / state.product[rows, None])
        solids = found.end[last][:, None]
        changed = found.before[last] + (entry[last][:, None] == np.arange(len(self.each)))
        slope = state.rate[ends] / state.product[ends, None]
        mass = self.mass[ends] + slope * solids - changed * self.law.capacity[ends]
        mass[np.arange(last.size), entry[last]] = 0.0
        self.mass[ends] = np.maximum(mass, 0.0)
        self.history.fed[ends] += state.fed[ends] / state.product[ends, None] * solids
        self.exposure[ends] += passed[last]
        return ends

    def _step(self, state: State) -> Index:
        """Go on to the next stop, change or end of life, whichever comes first."""
        rows = self._free(state)
        if not rows.size:
            return rows
        bound = self._bound(rows)
        self._track(rows, self.exposure[rows], state.product[rows])
        stretch = self._stretch(rows, state, bound)
        part = first_end(stretch, bound)
        left = bound - at_part(stretch.exposure, part)
        ended = left <= SHORT * bound
        self.exposure[rows] += np.where(ended, bound, bound - left)
        self.mass[rows] = at_part(stretch.mass, part)
        self.history.fed[rows] += at_part(stretch.fed, part)
        return rows

    def _stretch(self, rows: Index, start: State, bound: Array) -> Stretch:
        """Return what happens until an element is full or the bound is reached, at the nodes.

        Collocation in the solids that pass: loads are straight lines in them where elements are
        equal, so that one sweep does; shares that drift take a few.
        """
        product = start.product[rows]
        first = Slopes(start.rate[rows] / product[:, None], start.fed[rows] / product[:, None],
                       1.0 / product)  # fmt: skip
        room = self.law.capacity[rows] - self.mass[rows]
        with np.errstate(divide="ignore"):
            length = np.min(np.where(first.rate > 0, room / first.rate, np.inf), axis=1)
        length = np.minimum(length, bound * product)[:, None]
        slopes = Slopes(*(np.repeat(part[None], len(NODES), axis=0) for part in first))
        excess = np.empty((len(NODES), rows.size, start.excess.shape[1]))
        excess[0] = start.excess[rows]
        many = np.tile(rows, len(NODES) - 1)
        for _ in range(SWEEPS):
            mass = self.mass[rows] + length * np.tensordot(SUMS, slopes.rate, axes=1)
            told = self.state(many, mass[1:].reshape(many.size, -1))
            before = slopes.rate[1:].copy()
            for nodes, values in zip(
                slopes,
                (told.rate / told.product[:, None], told.fed / told.product[:, None],
                 1.0 / told.product),
                strict=True,
            ):  # fmt: skip
                nodes[1:] = values.reshape(nodes[1:].shape)
            excess[1:] = told.excess.reshape(excess[1:].shape)
            if np.max(np.abs(slopes.rate[1:] - before)) <= SETTLED * np.max(before):
                break
        mass = length * np.tensordot(SUMS, slopes.rate, axes=1)
        fed = length * np.tensordot(SUMS, slopes.fed, axes=1)
        exposure = length[:, 0] * np.tensordot(SUMS, slopes.exposure, axes=1)
        found = [np.tensordot(TO_POWERS, v, axes=1) for v in (mass, fed, exposure, excess)]
        found[0][0] += self.mass[rows]
        return Stretch(*found)

    def _held(self) -> Array:
        weighted = self.mass * self.bank.weight
        return np.stack([weighted[:, m].sum(axis=1) for m in self.members], axis=1)

    def _fresh(self) -> Array:
        """Return the product of fresh elements; refuse where they do not keep a limit.

        Then changing gains nothing.
        """
        filters, rules = self.line.filters, self.rules
        clean = np.tile(filters.clean, (len(rules.stops), 1))
        flows = self.line.flows(clean, rules.temperature)
        drop = filtration.element_loss(
            flows.through / filters.elements, clean, rules.viscosity[:, None], filters.quadratic
        )
        excess = np.concatenate(
            [drop / filters.largest_drop, (rules.flow_needed / flows.product)[:, None]], axis=1
        ) - 1.0  # fmt: skip
        period, limit = np.unravel_index(np.argmax(excess), excess.shape)
        if excess[period, limit] < REACHED:
            return flows.product
        names = filters.names
        warm = rules.temperature[period] - ZERO_CELSIUS
        if limit == len(names):
            text = (
                f"{flows.product[period] * 3600:.3g} m3/h, below the "
                f"{rules.flow_needed * 3600:.3g} m3/h needed"
            )
        else:
            text = (
                f"{drop[period, limit] / 1e5:.3g} bar over {names[limit]}, above its largest drop "
                f"of {filters.largest_drop[limit] / 1e5:.3g} bar"
            )
        raise NoSolutionError(
            f"fresh elements already give {text}, in water of {warm:.3g} degC: changing them "
            "gains nothing; add elements side by side, or ask for less"
        )
