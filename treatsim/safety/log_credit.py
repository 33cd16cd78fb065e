"""The ledger of log credit: what each barrier earns, per class, on which terms.

A barrier that breaks one of its terms earns nothing. Barriers add their logs only while their
causes of failure are independent; streams and periods that mix are averaged in survival, never in
logs.
Every credit may be an array over operating points.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike, Flags, Index, Words
from treatsim.errors import DomainError, require

CLASSES = ("bacteria", "virus", "giardia", "cryptosporidium")
BARRIER_CAP = 4.0  # log that one barrier can earn in one class


class Term(NamedTuple):
    """One condition of a credit."""

    text: str  # what must hold, in words
    met: Any  # bool, scalar or per point
    classes: tuple[str, ...] = CLASSES  # classes that lose their credit with it


@dataclass(frozen=True)
class Barrier:
    """One treatment step and what it earns while its terms hold."""

    name: str
    credits: Mapping[str, Any]  # class -> log while all terms hold; a class left out earns 0
    source: str  # key of sources.toml and clause
    terms: tuple[Term, ...] = ()
    missing: tuple[str, ...] = ()  # proof or measurement that would earn more, or that is owed
    shared_cause: str = ""  # barriers with the same word can fail together
    steps: Mapping[str, Any] = field(default_factory=dict)  # class -> tree of `composed`, terms in
    reads: Mapping[str, Any] = field(default_factory=dict)  # what the trees read, per point, SI

    def __post_init__(self) -> None:
        unknown = set(self.credits) - set(CLASSES)
        if unknown:
            raise DomainError(f"{self.name}: unknown class of pathogen {sorted(unknown)}")
        checked = {
            name: require(
                f"{self.name}, {name} credit", self.credits.get(name, 0.0), 0.0, np.inf, "log"
            )
            for name in CLASSES
        }
        object.__setattr__(self, "credits", checked)

    @property
    def cause(self) -> str:
        """What it fails by: of barriers in series with one cause only the best counts."""
        return self.shared_cause or self.name

    def holds(self, name: str) -> Flags:
        """Return whether every term of a class is met, per point."""
        met = np.array(True)
        for term in self.terms:
            if name in term.classes:
                met = met & np.asarray(term.met, dtype=bool)
        return met

    def broken(self, point: int = 0) -> tuple[str, ...]:
        """Return the terms that are not met at one point, in words."""
        return tuple(
            term.text for term in self.terms if not np.atleast_1d(term.met)[_at(term.met, point)]
        )

    def earned(self, name: str) -> Array:
        """Return the credit of a class: 0 where a term is broken, never above the cap."""
        return np.where(self.holds(name), np.minimum(self.credits[name], BARRIER_CAP), 0.0)


def _at(value: ArrayLike | Flags, point: int) -> int:
    return point if np.size(value) > 1 else 0


@dataclass(frozen=True)
class Ledger:
    """Barriers in series against a target."""

    barriers: tuple[Barrier, ...]
    target: Mapping[str, Any]  # class -> log wanted
    totals: Mapping[str, Any]  # class -> log earned
    margins: Mapping[str, Any] = field(default_factory=dict)  # total minus target
    meets: Any = False  # bool, per point
    weakest_class: Any = ""  # class with the smallest margin, per point
    weakest_barrier: Any = ""  # barrier whose loss leaves the smallest margin, per point


def in_parallel(shares: Sequence[ArrayLike], log_credits: Sequence[ArrayLike]) -> Array:
    """Log credit of streams or periods that mix: averaged in survival.

    Parameters
    ----------
    shares : sequence of array_like
        Share of the water in each stream or period; they add up to 1. [1]
    log_credits : sequence of array_like
        Log credit of each. [log]

    Returns
    -------
    ndarray
        Log credit of the mixture, broadcast shape. [log]

    Validity
    --------
    Any number of streams. Shares that do not add up to 1 (within 1e-9), negative shares or
    credits raise DomainError.

    Source
    ------
    definition of log reduction
    """
    if len(shares) != len(log_credits) or not shares:
        raise DomainError("each stream needs one share and one log credit")
    parts = [require("share", share, 0.0, 1.0, "") for share in shares]
    if np.any(np.abs(sum(parts) - 1.0) > 1e-9):
        raise DomainError("the shares of parallel streams must add up to 1")
    logs = [require("log credit", value, 0.0, np.inf, "log") for value in log_credits]
    survival = sum(share * 10.0**-log for share, log in zip(parts, logs, strict=True))
    return np.maximum(-np.log10(survival), 0.0)  # round-off of the shares only


def part_time(log_credit: ArrayLike, untreated_share: ArrayLike) -> Array:
    """Log credit of a barrier that part of the water, or of the time, passes untreated.

    Parameters
    ----------
    log_credit : array_like
        Credit of the treated part. [log]
    untreated_share : array_like
        Share of the water that is not treated. [1]

    Returns
    -------
    ndarray
        Log credit of all the water, broadcast shape. [log]

    Validity
    --------
    Steady flow if the share is one of time. Impossible values raise DomainError.

    Source
    ------
    definition of log reduction
    """
    share = require("untreated share", untreated_share, 0.0, 1.0, "")
    return in_parallel([1.0 - share, share], [log_credit, 0.0])


def in_series(barriers: Sequence[Barrier]) -> dict[str, Any]:
    """Total credit per class of barriers that all the water passes one after the other.

    Parameters
    ----------
    barriers : sequence of Barrier
        Barriers in the order of flow.

    Returns
    -------
    dict
        Class -> total, broadcast shape. [log]

    Validity
    --------
    Logs add between independent causes of failure; of barriers that share a cause only the best
    counts, point by point.

    Source
    ------
    common practice of the multiple-barrier rule
    """
    totals = {}
    for name in CLASSES:
        best: dict[str, Any] = {}
        for number, barrier in enumerate(barriers):
            cause = barrier.shared_cause or f"own {number}"
            best[cause] = np.maximum(best.get(cause, 0.0), barrier.earned(name))
        totals[name] = sum(best.values(), np.array(0.0))
    return totals


def _margins(totals: Mapping[str, Any], target: Mapping[str, Any]) -> dict[str, Any]:
    return {name: totals[name] - np.asarray(wanted, float) for name, wanted in target.items()}


def _smallest(margins: Mapping[str, Array]) -> tuple[Array, Index]:
    """Smallest margin, and the index of its class, per point."""
    stack = np.stack(np.broadcast_arrays(*margins.values()))
    return np.min(stack, axis=0), np.argmin(stack, axis=0)


def _weakest_barrier(barriers: Sequence[Barrier], target: Mapping[str, Any]) -> Words:
    left = [
        _smallest(_margins(in_series([*barriers[:i], *barriers[i + 1 :]]), target))[0]
        for i in range(len(barriers))
    ]
    if not left:
        return np.array("")
    names = np.array([barrier.name for barrier in barriers])
    return names[np.argmin(np.stack(np.broadcast_arrays(*left)), axis=0)]


def ledger(barriers: Sequence[Barrier], target: Mapping[str, Any]) -> Ledger:
    """Add up barriers in series, hold them against a target, and name the weakest link.

    Parameters
    ----------
    barriers : sequence of Barrier
        Barriers in the order of flow.
    target : mapping
        Class -> log wanted; at least one class. [log]

    Returns
    -------
    Ledger
        Totals, margins [log], whether the target is met, the class with the smallest margin and
        the barrier whose failure would leave the least, all per point.

    Validity
    --------
    As `in_series`. An empty target or an unknown class raises DomainError.

    Source
    ------
    common practice of the multiple-barrier rule
    """
    if not target or set(target) - set(CLASSES):
        raise DomainError(f"a target names one or more of {', '.join(CLASSES)}")
    totals = in_series(barriers)
    margins = _margins(totals, target)
    worst, index = _smallest(margins)
    return Ledger(
        barriers=tuple(barriers),
        target=dict(target),
        totals=totals,
        margins=margins,
        meets=worst >= -1e-9,
        weakest_class=np.array(list(margins))[index],
        weakest_barrier=_weakest_barrier(barriers, target),
    )
