"""The state of the trial that came nearest to a hold, at every point: where the next one begins."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.flowsheet.equations import State
from treatsim.flowsheet.recycle import merged
from treatsim.flowsheet.result import Result


class Nearby:
    """Keeps a state for each point; one without an answered trial has none."""

    def __init__(self, points: int) -> None:
        self.least = np.full(points, np.inf)  # miss of the trial kept
        self.state: State | None = None

    def keep(self, result: Result, index: Index, miss: Array) -> None:
        """Keep the trials at the points `index` that miss less than those kept so far."""
        if any("balance" in unit.condition_names() for unit in result.sheet.units.values()):
            return  # an exchanger's march is nearer than any trial before
        here = np.flatnonzero(np.abs(miss) < self.least[index])  # not what is no number
        here = here[np.argsort(-np.abs(miss[here]), kind="stable")]  # the least is written last
        cuts = {cut: result.streams[cut].take(here) for cut in result.sheet.tears}
        if here.size == 0 or not cuts:
            return
        points, those = self.least.size, index[here]
        if self.state is None:
            nothing = {name: np.full(points, np.nan) for name in result.found}
            everyone = np.zeros(points, int)
            self.state = State(nothing, {c: stream.take(everyone) for c, stream in cuts.items()})
        self.least[those] = np.abs(miss[here])
        for name, values in self.state.values.items():
            values[those] = np.broadcast_to(result.found[name], index.shape)[here]
        for cut, stream in cuts.items():
            self.state.cuts[cut] = merged(self.state.cuts[cut], stream, those, points)

    def take(self, index: Index) -> State | None:
        """Return the states at the points `index`."""
        return self.state and self.state.take(index)
