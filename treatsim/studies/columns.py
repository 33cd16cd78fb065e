"""Which results a table shows."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import numpy as np

from treatsim import operations
from treatsim.errors import RequestError
from treatsim.safety.verdict import Verdict
from treatsim.studies.points import solve_points
from treatsim.studies.vary import Grid, with_words

PROBES = 33  # points solved to learn which results there are
FIRST = ("product.flow", "product.people_served", "energy.specific")


def choose(case, grid: Grid, show: Sequence[str], chunk: int) -> dict[str, str]:
    """Return address -> quantity of the results to be shown."""
    verdicts = _probe(case, grid, chunk)
    known = {address: value.quantity for v in verdicts for address, value in v.values.items()}
    if "all" in show:
        varied = {axis.address for axis in grid.axes}
        return {address: kind for address, kind in known.items() if address not in varied}
    answered = any(np.any(v.result.solved) for v in verdicts)
    if show:
        return {address: _kind(case, address, known, answered) for address in dict.fromkeys(show)}
    wanted = [*FIRST, *(hold.adjust for hold in case.holds)]
    wanted += [
        f"{name}.{key}"
        for name, kind in case.kinds.items()
        for key in operations.unit_class(kind).headline
    ]
    wanted += [limit.address for v in verdicts for limit in v.limits]
    return {address: known[address] for address in dict.fromkeys(wanted) if address in known}


def _probe(case, grid: Grid, chunk: int) -> list[Verdict]:
    """Solve a few points, the case's own settings first."""
    pieces = solve_points(case, {}, 1)
    words, positions = next(iter(grid.blocks(chunk)))
    spread = positions[np.unique(np.linspace(0, positions.size - 1, PROBES).astype(int))]
    pieces += solve_points(with_words(case, words), grid.arrays(spread), spread.size)
    return [piece.verdict for piece in pieces if piece.verdict is not None]


def _kind(case, address: str, known: dict[str, str], answered: bool) -> str:
    if address in known:
        return known[address]
    if address in case.inputs():
        raise RequestError(f"--show {address}: this is an input; it shows where it is varied")
    if not answered:  # nothing tells what would have been there
        return "factor"
    near = difflib.get_close_matches(address, known, n=3)
    hint = f"; near: {', '.join(near)}" if near else ""
    if "," in address:
        hint = "; one address each: " + " ".join(f"--show {a.strip()}" for a in address.split(","))
    raise RequestError(f'no result has the address "{address}"{hint}')
