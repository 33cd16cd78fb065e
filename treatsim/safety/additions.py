"""What one part of the judging adds: values, limits, findings, words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from treatsim.operations.composed import Composed
from treatsim.operations.outcome import Finding, Limit, Value
from treatsim.ranges import Excursion


@dataclass(frozen=True)
class Additions:
    """Values by address, limits, findings, and what goes with them; parts are joined in order."""

    values: Mapping[str, Value] = field(default_factory=dict)
    limits: tuple[Limit, ...] = ()
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()  # what was assumed, in words
    sources: tuple[str, ...] = ()  # keys of the bibliography
    records: Mapping[str, Any] = field(default_factory=dict)  # what a page sets out in full
    excursions: tuple[tuple[str, Excursion], ...] = ()  # by unit
    composed: Mapping[str, Composed] = field(default_factory=dict)  # address -> how it is made

    def joined(self, more: Additions) -> Additions:
        """Return both; limits that govern the duty stay in the order in which they came.

        Parameters
        ----------
        more : Additions
            What comes on top.

        Returns
        -------
        Additions
            A value of one address that is added twice is the later one.

        Validity
        --------
        Any parts.

        Source
        ------
        definition
        """
        return Additions(
            {**self.values, **more.values},
            self.limits + more.limits,
            self.findings + more.findings,
            self.notes + more.notes,
            self.sources + more.sources,
            {**self.records, **more.records},
            self.excursions + more.excursions,
            {**self.composed, **more.composed},
        )
