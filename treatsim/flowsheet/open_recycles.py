"""The equations of a flowsheet with its recycles left open: what returns is unknown as well."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.errors import DomainError
from treatsim.flowsheet.equations import Equations, residuals, set_unknowns
from treatsim.flowsheet.flowsheet import Port
from treatsim.flowsheet.recycle import balanced, evaluate, first_guess, merged, run
from treatsim.water.stream import Stream

FIRST_PASSES = 2  # round a recycle, for a first guess of what returns
GROWTH = 20.0  # largest flow and salinity at a cut over the first guess
LEAST = np.array([[1e-6], [1e-4], [1e5]])  # scales of the state: kg/s, mass fraction, Pa
SALTIEST = 0.4  # mass fraction at a cut
PRESSURES = (-1e5, 2e7)  # Pa, at a cut


class OpenRecycles:
    """The residuals over the open values and the state at every cut.

    The state is mass flow, salinity and pressure. Temperature and contents follow pass by pass:
    hardly a flow or a pressure depends on them, and the closed recycles settle the rest. What the
    state misses is told by what closes the balances, not by what returns: where nearly all
    returns, that would be nearly right for any state.
    """

    def __init__(self, equations: Equations, x: Array, index: Index) -> None:
        self.equations, self.index = equations, index
        self.start = {cut: stream.take(index) for cut, stream in equations.memory.items()}
        filled, flows = set_unknowns(equations.part(index), equations.unknowns, x)
        try:
            evaluate(filled, flows, self.start, FIRST_PASSES, equations.needed)
        except DomainError:  # at some point the first guess is out of all reason
            self.start = first_guess(filled, flows)
        self.first = self._states(self.start, index.size)
        self.scale = np.maximum(np.abs(self.first), np.tile(LEAST, (len(self.start), 1)))

    def limits(self) -> tuple[Array, Array]:
        """Return the least and the largest state, shape (states, points)."""
        least, most = np.zeros_like(self.scale), GROWTH * self.scale
        most[1::3] = np.minimum(most[1::3], SALTIEST)
        least[2::3], most[2::3] = PRESSURES
        return least, most

    def __call__(self, values: Array, part: Index) -> Array:
        """Return the residuals at `part` of the points, shape (equations, points)."""
        sheet, own = self.equations.part(self.index[part]), len(self.equations.unknowns)
        filled, flows = set_unknowns(sheet, self.equations.unknowns, values[:own])
        done = run(filled, flows, self._streams(values[own:], part), self.equations.needed)
        met = residuals(filled, done, self.equations.conditions)
        for cut in self.start:
            back = done.streams[sheet.wiring.feeds[cut]]
            self.start[cut] = merged(self.start[cut], back, part, self.index.size)
        due = {cut: balanced(sheet, done, cut) for cut in self.start}
        missed = (self._states(due, part.size) - values[own:]) / self.scale[:, part]
        return np.array([*(np.broadcast_to(row, part.shape) for row in met), *missed])

    def keep(self, values: Array, part: Index) -> None:
        """Let the closed recycles start from the state found at `part` of the points."""
        own = len(self.equations.unknowns)
        if part.size:
            streams = self._streams(values[own:, part], part)
            self.equations.remember(streams, self.index[part])

    def _states(self, streams: dict[Port, Stream], points: int) -> Array:
        rows = [(s.mass_flow, s.salinity, s.pressure) for s in streams.values()]
        return np.array([np.broadcast_to(value, (points,)) for row in rows for value in row])

    def _streams(self, states: Array, part: Index) -> dict[Port, Stream]:
        names = ("mass_flow", "salinity", "pressure")
        return {
            cut: stream.take(part).changed(
                **dict(zip(names, states[3 * i : 3 * i + 3], strict=True))
            )
            for i, (cut, stream) in enumerate(self.start.items())
        }
