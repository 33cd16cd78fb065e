"""How much solving a page may ask of a train: much, or little where every solve is dear."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from treatsim.safety.verdict import Verdict
from treatsim.studies.dials import Dial


class Thrift(NamedTuple):
    """What a page may ask of a train."""

    points: int  # scattered ones through which every number goes; 0: a grid for each
    dials: int  # most of them, those that move most
    span: float  # of a dial's range to begin with, on both sides of where it stands
    lines: int  # along each dial, to see what it moves
    line: int  # nodes along each of them


FREE = Thrift(0, 99, 1.0, 4, 17)
DEAR = Thrift(1100, 8, 0.5, 2, 9)  # of a point, some 5 ms; of a solve, one second or more
DEAREST = Thrift(1500, 7, 0.25, 2, 9)  # two passes: a point is some 12 ms


def thrift_of(verdict: Verdict) -> Thrift:
    """Return what a page may ask of a train; little, where something comes back to be mixed in."""
    sheet = verdict.result.sheet
    passes = sum(unit.semipermeable for unit in sheet.units.values())
    return (DEAREST if passes > 1 else DEAR) if sheet.tears else FREE


def narrowed(dials: Sequence[Dial], thrift: Thrift) -> tuple[Dial, ...]:
    """Return dials with their ranges drawn in around where they stand."""
    return tuple(
        dial._replace(
            low=dial.now + thrift.span * (dial.low - dial.now),
            high=dial.now + thrift.span * (dial.high - dial.now),
        )
        for dial in dials
    )
