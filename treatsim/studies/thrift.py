"""How much solving a page may ask of a train: much, or little where every solve is dear."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from treatsim.safety.verdict import Verdict
from treatsim.studies.dials import Dial


class Thrift(NamedTuple):
    """What a page may ask of a train."""

    dials: int | None  # most of them, those that move most; None: all
    span: float  # of a dial's range to begin with, on both sides of where it stands
    rounds: int  # cuts for errors
    nodes: int  # of all first grids together; a dial is left out where they are more
    finest: int  # nodes of one grid
    along: int  # nodes along one dial to begin with, at most
    fine: float  # of the size: largest miss a fit is asked for
    by_flow: bool  # whether it may be tried that numbers act through the flow alone


FREE = Thrift(None, 1.0, 3, 10**9, 9_000, 9, 0.0015, True)
DEAR = Thrift(
    6, 0.5, 0, 4_000, 1_100, 5, 0.003, False
)  # of a point, some 2 ms; of a solve, half a second


def thrift_of(verdict: Verdict) -> Thrift:
    """Return what a page may ask of a train; little, where something comes back to be mixed in."""
    return DEAR if verdict.result.sheet.tears else FREE


def narrowed(dials: Sequence[Dial], thrift: Thrift) -> tuple[Dial, ...]:
    """Return dials with their ranges drawn in around where they stand."""
    return tuple(
        dial._replace(
            low=dial.now + thrift.span * (dial.low - dial.now),
            high=dial.now + thrift.span * (dial.high - dial.now),
        )
        for dial in dials
    )
