"""A table over settings: every combination of varied inputs, solved in chunks."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import treatsim
from treatsim.safety.verdict import NOT_JUDGED, NOT_MET, WITHOUT, WORDS
from treatsim.studies import columns
from treatsim.studies.partial import SideFile, fingerprint
from treatsim.studies.points import (
    Piece,
    Texts,
    joined,
    limit_label,
    reasons,
    solve_points,
)
from treatsim.studies.table import Column, Table
from treatsim.studies.vary import Axis, Grid, grid_of, with_words

GOOD = "ok"  # status where nothing is amiss
CHUNK = 8192  # points solved together: more leave the processor's cache, fewer waste calls


@dataclass(frozen=True)
class Watch:
    """Who follows a sweep: called with (points done, points) and with remarks."""

    progress: Callable[[int, int], object] = lambda done, points: None
    tell: Callable[[str], object] = lambda text: None


def sweep(
    case,
    vary: Mapping[str, Any],
    *,
    show: Sequence[str] = (),
    strict: bool = False,
    system: str = "si",
    keep: str | Path | None = None,
    finish: Callable[[Table], None] | None = None,
    watch: Watch | None = None,
) -> Table:
    """Solve every combination of the varied inputs.

    Parameters
    ----------
    case : Case
        The case, from `treatsim.load`.
    vary : mapping
        Address -> "FROM:TO:COUNT", "a,b,c", a sequence, or (array, unit). The last one changes
        fastest.
    show : sequence of str
        Addresses of results to be shown; "all" for all; empty for the usual ones.
    strict : bool
        Let points at which a formula leaves its range count as not met.
    system : str
        Units in the texts of `status`, "si" or "us".
    keep : path, optional
        Finished chunks are kept in a side file next to this path, and taken up from there.
    finish : callable, optional
        Called with the table before the side file is removed.
    watch : Watch, optional
        Told of progress and remarks.

    Returns
    -------
    Table
        Varied inputs, results, `state` ("met", "not_met", "not_judged" or "no_answer"), `status`
        ("ok", the limits not met or not judged, or why there is no answer) and `outside` (formulas
        used outside their range). Numbers of points without an answer are NaN.
    """
    grid = grid_of(case, vary)
    chosen = columns.choose(case, grid, show, CHUNK)
    rows = Rows(grid, list(chosen))
    side = _side_file(case, grid, chosen, (strict, system), keep)
    _fill(case, rows, side, (strict, system), watch or Watch())
    table = rows.table(chosen, case.title)
    if finish is not None:
        finish(table)
    if side is not None:
        side.remove()
    return table


def _side_file(case, grid: Grid, chosen, ways, keep) -> SideFile | None:
    if keep is None or grid.points <= CHUNK:
        return None
    request = {
        "treatsim": treatsim.__version__,
        "case": case.data,
        "chunk": CHUNK,
        "vary": [[a.address, list(a.values)] for a in grid.axes],
        "show": list(chosen),
        "ways": ways,
    }
    return SideFile(keep, fingerprint(request))


def _fill(case, rows: Rows, side: SideFile | None, ways, watch: Watch) -> None:
    """Fill all rows, those kept from before first."""
    kept = list(side.read()) if side is not None else []
    if side is not None:
        if side.stale:
            watch.tell(f"{side.path} belongs to another request or another version; starting anew")
        elif kept:
            watch.tell(f"taking up {sum(c['state'].size for c in kept):,} points from {side.path}")
    done = 0
    try:
        for number, (words, positions) in enumerate(rows.grid.blocks(CHUNK)):
            if number < len(kept):
                block = kept[number]
            else:
                block = _block(with_words(case, words), rows, positions, *ways)
                if side is not None:
                    side.add(block)
            rows.put(positions, block)
            done += positions.size
            watch.progress(done, rows.grid.points)
    except KeyboardInterrupt:
        if side is not None and done:
            watch.tell(
                f"{done:,} of {rows.grid.points:,} points are kept in {side.path}; the same "
                "command goes on from there"
            )
        raise


def _block(case, rows: Rows, positions, strict: bool, system: str) -> dict[str, np.ndarray]:
    """Solve one chunk."""
    points = positions.size
    values = np.full((len(rows.addresses), points), np.nan)
    states = np.full(points, WITHOUT, dtype=np.int8)
    status, outside = Texts(points, GOOD), Texts(points)
    for piece in solve_points(case, rows.grid.arrays(positions), points):
        if piece.verdict is None:
            status.put(piece.where, np.zeros(1, dtype=int), [piece.reason])
            continue
        _numbers(piece, rows.addresses, values)
        states[piece.where] = _judge(piece, status, outside, strict, system)
    return {
        "values": values,
        "state": states,
        "status": status.codes,
        "outside": outside.codes,
        "status_texts": np.array(status.texts),
        "outside_texts": np.array(outside.texts),
    }


def _numbers(piece: Piece, addresses: Sequence[str], values) -> None:
    assert piece.verdict is not None
    found, solved = piece.verdict.values, piece.verdict.result.solved
    for row, address in zip(values, addresses, strict=True):
        if address in found:
            row[piece.where] = np.where(solved, np.asarray(found[address].value, float), np.nan)


def _judge(piece: Piece, status: Texts, outside: Texts, strict: bool, system: str) -> np.ndarray:
    """Write the texts of one piece and return the state of its points."""
    verdict = piece.verdict
    assert verdict is not None
    result, where = verdict.result, piece.where
    points, solved = result.points, result.solved
    masks, words = [], []
    for state, head in ((NOT_MET, "not met: "), (NOT_JUDGED, "not judged: ")):
        for limit in verdict.limits:
            masks.append(solved & (np.broadcast_to(limit.states, (points,)) == state))
            words.append(f"{head}{limit_label(limit)}")
    codes, texts = joined(masks, words, "", points)
    status.put(where, codes, [text or GOOD for text in texts])
    states = verdict.states.astype(np.int8)
    beyond = [solved & np.broadcast_to(e.outside, (points,)) for _, e in verdict.beyond]
    words = [f"{unit}: {e.range.formula}, {e.range.name}" for unit, e in verdict.beyond]
    codes, texts = joined(beyond, words, "", points)
    outside.put(where, codes, texts)
    if strict and beyond:
        bad = np.any(beyond, axis=0)
        place = where[bad]
        status.put(place, codes[bad], [f"outside a formula's range: {text}" for text in texts])
        states[bad] = NOT_MET
    why = reasons(verdict, system)
    place = where[~solved]
    status.put(place, why.codes[~solved], why.texts)
    return states


class Rows:
    """The rows of a sweep while they are being filled."""

    def __init__(self, grid: Grid, addresses: list[str]) -> None:
        self.grid, self.addresses = grid, addresses
        self.values = np.full((len(addresses), grid.points), np.nan)
        self.states = np.full(grid.points, WITHOUT, dtype=np.int8)
        self.status, self.outside = Texts(grid.points, GOOD), Texts(grid.points)

    def put(self, positions, block: Mapping[str, np.ndarray]) -> None:
        """Take over one chunk."""
        self.values[:, positions] = block["values"]
        self.states[positions] = block["state"]
        self.status.put(positions, block["status"], block["status_texts"].tolist())
        self.outside.put(positions, block["outside"], block["outside_texts"].tolist())

    def table(self, chosen: Mapping[str, str], title: str) -> Table:
        """Return the finished table."""
        found = [_input_column(self.grid, n, a) for n, a in enumerate(self.grid.axes)]
        found += [
            Column(address, kind, row)
            for (address, kind), row in zip(chosen.items(), self.values, strict=True)
        ]
        words = np.array(WORDS, dtype=object)
        found += [
            Column("state", "", words[self.states]),
            Column("status", "", np.array(self.status.texts, dtype=object)[self.status.codes]),
            Column("outside", "", np.array(self.outside.texts, dtype=object)[self.outside.codes]),
        ]
        return Table(found, len(self.grid.axes), title, self.grid.shape)


def _input_column(grid: Grid, number: int, one: Axis) -> Column:
    index = grid.column(number, np.arange(grid.points))
    if one.quantity == "":
        return Column(one.address, "", np.array(one.values, dtype=object)[index])
    return Column(one.address, one.quantity, np.asarray(one.values)[index])
