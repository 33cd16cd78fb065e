"""Elements changed one by one: as if together while they fill alike, apart where they come apart.

Elements of one lot that start alike fill alike: where mass or time ends their lives, all of a
filter end at once, and whole lives are summed. Where a drop or the flow ends one, it alone is
changed, and its scenario is run again with every element by itself, which takes some tenfold.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from treatsim.arrays import Array, Flags, Index
from treatsim.running.filter_line import Line
from treatsim.running.filter_run import Run
from treatsim.running.filter_state import CAUSES, History, Law, Rules, bank_of
from treatsim.running.filter_stretch import Clock

Track = tuple[Array, Array, Array]  # scenario, exposure and flow of stretches
DRIFT = tuple(CAUSES.index(word) for word in ("pressure drop", "flow"))  # end one of several


def followed(
    line: Line,
    law: Law,
    clock: Clock,
    rules: Rules,
    together: Flags,
    tracked: bool = False,
    progress: Callable[[float], None] = lambda share: None,
) -> tuple[History, Track, int]:
    """Return what happens to the filters, the flow of every stretch if `tracked`, and how many
    scenarios had elements that came apart.

    law: of each filter, shape (scenarios, filters); together: filters whose elements are changed
    at once, shape (filters,).
    """
    elements = line.filters.elements
    run = Run(line, bank_of(elements, np.ones(elements.size, bool)), law, clock, rules, tracked)
    history, track = run.run(progress), _joined(run.track)
    rows = _come_apart(history, ~np.asarray(together, bool) & (elements > 1))
    if not rows.size:
        return history, track, 0
    bank = bank_of(elements, together)
    own = Law(law.clean[bank.filter_of], *(part[np.ix_(rows, bank.filter_of)] for part in law[1:]))
    part = Clock(clock.exposure[rows], clock.running[rows])
    apart = Run(line, bank, own, part, rules, tracked)
    _put(history, apart.run(progress), rows)
    stays = ~np.isin(track[0], rows)
    again = _joined(apart.track)
    moved = (rows[again[0].astype(int)].astype(float), *again[1:])
    both = zip(track, moved, strict=True)
    return history, _joined([[old[stays], new] for old, new in both]), rows.size


def _come_apart(history: History, single: Flags) -> Index:
    """Return the scenarios in which one of several elements is changed before the others."""
    cause, which = history.column("cause"), history.column("filter").astype(int)
    return np.unique(history.column("scenario")[np.isin(cause, DRIFT) & single[which]]).astype(int)


def _put(history: History, apart: History, rows: Index) -> None:
    """Put what happened in some scenarios in the place of what was told of them."""
    stays = ~np.isin(history.column("scenario"), rows)
    columns = {name: history.column(name)[stays] for name in history.changes}
    for name, old in columns.items():
        new = apart.column(name)
        new = rows[new.astype(int)] if name == "scenario" else new
        history.changes[name] = [old, np.asarray(new, float)]
    for all_, some in ((history.product, apart.product), (history.drop, apart.drop)):
        for stop, values in enumerate(some):
            all_[stop][rows] = values
    for name in ("fed", "held", "started", "removed"):
        getattr(history, name)[rows] = getattr(apart, name)


def _joined(track: Sequence[Sequence[Array]]) -> Track:
    one, two, three = (np.concatenate(part) if part else np.empty(0) for part in track)
    return one, two, three
