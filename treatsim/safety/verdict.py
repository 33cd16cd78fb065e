"""The verdict: each limit with its state, folded from parts over a result that stays as it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from treatsim.amounts import Amount, Amounts
from treatsim.errors import RequestError
from treatsim.flowsheet.result import Result, addressed
from treatsim.given import belongs
from treatsim.operations.composed import Composed
from treatsim.operations.outcome import STATES, Finding, Limit, Value, excursion_text
from treatsim.ranges import Excursion
from treatsim.safety.additions import Additions
from treatsim.safety.cautions import cautions_for
from treatsim.safety.parts.dissolved import Analytes, dissolved
from treatsim.safety.parts.dose import dose
from treatsim.safety.parts.dosing import dosing
from treatsim.safety.parts.fouling import fouling
from treatsim.safety.parts.germs import Germs, germs
from treatsim.safety.parts.log import log
from treatsim.safety.parts.membranes import membranes
from treatsim.safety.parts.people import people
from treatsim.safety.parts.product import product
from treatsim.safety.parts.units import units

PARTS = (log, dose, units, germs, product, dosing, dissolved, people, membranes, fouling)
NO_ANSWER = "no_answer"
WORDS = (*STATES[:3], NO_ANSWER)  # of a whole point, by the worst of its limits
MET, NOT_MET, NOT_JUDGED, WITHOUT = range(4)


@dataclass(frozen=True)
class Verdict:
    """A result and what it amounts to."""

    result: Result
    added: Additions

    @property
    def limits(self) -> tuple[Limit, ...]:
        """Every limit, those of the dose first."""
        return self.added.limits

    @cached_property
    def values(self) -> Mapping[str, Value]:
        """Every result by its address, those of the judging among them."""
        return {**self.result.values, **self.added.values}

    def __getitem__(self, address: str) -> Amount | Amounts:
        return self.result.amount(self.value(address))

    def __iter__(self) -> Iterator[str]:
        return iter(self.values)

    def __repr__(self) -> str:
        words = [word.replace("_", " ") for word in WORDS]
        counts = [int(np.sum(self.states == n)) for n in range(len(WORDS))]
        if self.result.points == 1:
            return f"<Verdict: {words[int(self.states[0])]}; {len(self.limits)} limits>"
        told = [f"{count} {word}" for count, word in zip(counts, words, strict=True) if count]
        return f"<Verdict of {self.result.points} points: {', '.join(told)}>"

    def value(self, address: str) -> Value:
        """Return one result; a RequestError names the nearest address if there is none."""
        if address in self.added.values:
            return self.added.values[address]
        try:
            return self.result.value(address)
        except RequestError:
            return addressed(self.values, address)

    @cached_property
    def states(self) -> np.ndarray:
        """Index into WORDS, per point: an open limit, else an unjudged one, else all is met."""
        points = (self.result.points,)
        worst = np.zeros(points, dtype=np.int8)
        for limit in self.limits:
            own = np.broadcast_to(limit.states, points)
            worst = np.where(own == NOT_MET, NOT_MET, worst)
            worst = np.where((own == NOT_JUDGED) & (worst != NOT_MET), NOT_JUDGED, worst)
        if not self.limits:
            worst = np.full(points, NOT_JUDGED, dtype=np.int8)
        return np.where(self.result.solved, worst, WITHOUT)

    def state(self, point: int = 0) -> str:
        """Return what one point amounts to, one of WORDS."""
        return WORDS[int(self.states[point])]

    @property
    def meets(self) -> np.ndarray:
        """Which points have an answer whose limits are all judged and met, or waived."""
        return self.states == MET

    @property
    def broken(self) -> np.ndarray:
        """Which points have an answer that misses a limit."""
        return self.states == NOT_MET

    def of_state(self, state: str, point: int = 0) -> list[Limit]:
        """Return the limits in one of the four states at a point."""
        return [limit for limit in self.limits if limit.state(point) == state]

    @cached_property
    def composed(self) -> Mapping[str, Composed]:
        """How numbers that jump or bend are made of smooth ones, by address."""
        own = {
            f"{name}.{key}": made
            for name, details in self.result.all_details.items()
            for key, made in details.composed.items()
        }
        return {**own, **self.added.composed}

    @property
    def germs(self) -> Germs | None:
        """The ledger of the barriers."""
        return self.added.records.get("germs")

    @property
    def analytes(self) -> Analytes:
        """What is dissolved, before and after."""
        return self.added.records.get("dissolved", Analytes())

    @property
    def choices(self) -> list[str]:
        """Model choices and assumptions that entered, in words."""
        told = [c for d in self.result.all_details.values() for c in d.choices]
        return [*self.result.context.notes, *told, *self.added.notes]

    @property
    def cautions(self) -> list[str]:
        """Cautions for this train."""
        groups = [group for unit in self.result.sheet.units.values() for group in unit.dangers()]
        return [" ".join(c.text.split()) for c in cautions_for(groups)]

    @property
    def sources(self) -> list[str]:
        """Keys of the sources used."""
        keys = [k for d in self.result.all_details.values() for k in d.sources]
        keys += [limit.source for limit in self.limits if " " not in limit.source]
        return sorted({*keys, *self.added.sources} - {"common", ""})

    @cached_property
    def findings(self) -> list[Finding]:
        """What units and judging have to tell."""
        return [*self.result.findings, *self.added.findings]

    def told(self, point: int = 0, system: str = "si") -> list[str]:
        """What is to be told about one point, in words."""
        return [
            f.message(point, system)
            for f in self.findings
            if np.broadcast_to(f.where, (self.result.points,))[point]
        ]

    @property
    def beyond(self) -> list[tuple[str, Excursion]]:
        """Uses of formulas outside their fitted range, by unit."""
        return [*self.result.excursions, *self.added.excursions]

    def excursions(self, point: int = 0, system: str = "si") -> list[str]:
        """Formulas used outside their range at one point, in words."""
        return [
            f"{unit}: {excursion_text(excursion, system)}"
            for unit, excursion in self.beyond
            if np.broadcast_to(excursion.outside, (self.result.points,))[point]
        ]


def judge(result: Result) -> Verdict:
    """Fold the parts of the judging over a result, which is not changed.

    Parameters
    ----------
    result : Result
        Operating points of a case.

    Returns
    -------
    Verdict
        The result, and beside it doses asked for, log credits, limits and their states.

    Validity
    --------
    Points without an answer carry meaningless numbers and are marked by `result.solved`. Without
    any answer nothing is judged.

    Source
    ------
    definition; each limit names its own.

    >>> import treatsim
    >>> verdict = treatsim.judge(treatsim.load("cases/river.toml").solve())
    >>> verdict.state(), [limit.name for limit in verdict.of_state("not_judged")]
    ('not_judged', ['germs', 'what is dissolved'])
    """
    belongs(result, "outcomes", "a Result, such as that of case.solve(),")
    total = Additions()
    if np.any(result.solved):
        with np.errstate(all="ignore"):
            for part in PARTS:
                total = total.joined(part(result, total))
    return Verdict(result, total)
