"""What a setting has to meet, and by how much it does: margins at many points."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.operations.outcome import Limit, at
from treatsim.safety.verdict import NOT_JUDGED, Verdict, judge
from treatsim.studies.points import Texts, limit_label, reasons, solve_points, unjudged_words

MET = -1e-9  # margin from which a requirement counts as met, as in Limit.meets
FORM = re.compile(r"\s*([a-z][a-z0-9_.]*)\s*(>=|<=)\s*(.+?)\s*$")


class Target(NamedTuple):
    """A requirement as stated: a result, a relation, a value with its unit."""

    address: str
    relation: str
    value: str

    @property
    def text(self) -> str:
        """The requirement in words."""
        return f"{self.address} {self.relation} {self.value}"


class Requirement(NamedTuple):
    """One requirement, as it is reported."""

    name: str
    address: str
    relation: str
    limit: float  # SI
    quantity: str


class Evaluation(NamedTuple):
    """Margins of all requirements at all points; NaN where there is no answer."""

    requirements: list[Requirement]
    margins: np.ndarray  # (requirements, points)
    answered: np.ndarray  # bool
    reasons: Texts  # why not
    shown: dict[str, np.ndarray]  # further results asked for, SI
    quantities: dict[str, str]
    unjudged: tuple[str, ...] = ()  # limits that no number here speaks of, with what they need

    @property
    def worst(self) -> np.ndarray:
        """Smallest margin of each point; NaN without an answer."""
        return np.where(self.answered, np.min(self.margins, axis=0, initial=np.inf), np.nan)

    @property
    def met(self) -> np.ndarray:
        """Whether a point meets everything."""
        return self.answered & (self.worst >= MET)

    def binding(self, point: int) -> Requirement:
        """Return the requirement with the smallest margin."""
        return self.requirements[int(np.argmin(self.margins[:, point]))]


def targets(texts: Sequence[str]) -> list[Target]:
    """Read texts such as "uv.dose_credited >= 12 mJ/cm2"."""
    found = []
    for text in texts:
        match = FORM.match(text)
        if match is None:
            raise RequestError(
                f'until "{text}": write ADDRESS >= VALUE or ADDRESS <= VALUE, '
                'such as "uv.dose_credited >= 12 mJ/cm2"'
            )
        found.append(Target(*match.groups()))
    return found


def evaluate(
    case,
    arrays: Mapping[str, np.ndarray],
    points: int,
    wanted: Sequence[Target],
    shown: Sequence[str] = (),
) -> Evaluation:
    """Return the margins of the stated targets, or of every limit of the case without any."""
    rows: dict[str, tuple[Requirement, np.ndarray]] = {}
    answered, why = np.zeros(points, bool), Texts(points)
    more = {address: np.full(points, np.nan) for address in shown}
    kinds: dict[str, str] = {}
    open_ones: dict[str, None] = {}
    for piece in solve_points(case, arrays, points):
        if piece.verdict is None:
            why.put(piece.where, np.zeros(1, dtype=int), [piece.reason])
            continue
        solved = piece.verdict.result.solved
        answered[piece.where] = solved
        own = reasons(piece.verdict)
        why.put(piece.where, own.codes, own.texts)
        if not np.any(solved):
            continue
        for label, limit in _held(piece.verdict, wanted):
            _fill(rows, label, limit, piece.where, points)
        if not wanted:
            open_ones |= dict.fromkeys(unjudged_words(piece.verdict))
        for address, row in more.items():
            value = piece.verdict.value(address)
            kinds[address] = value.quantity
            row[piece.where] = np.where(solved, np.asarray(value.value, float), np.nan)
    if np.any(answered) and not rows:
        raise RequestError(
            'the case states no limits: say until what, such as until "product.flow >= 1 m3/h"'
        )
    margins = np.array([row for _, row in rows.values()]).reshape(len(rows), points)
    margins[:, ~answered] = np.nan
    found = [requirement for requirement, _ in rows.values()]
    return Evaluation(found, margins, answered, why, more, kinds, tuple(open_ones))


def _fill(rows, label: str, limit: Limit, where: np.ndarray, points: int) -> None:
    if label not in rows:
        requirement = Requirement(
            label,
            limit.address,
            limit.relation,
            float(at(limit.limit, 0)),
            limit.quantity,
        )
        # a limit that does not arise at a point is kept there
        rows[label] = requirement, np.full(points, np.inf)
    margin = np.asarray(limit.margin, float)
    open_ = np.asarray(limit.states) == NOT_JUDGED
    rows[label][1][where] = np.where(open_, np.inf, np.where(np.isnan(margin), -np.inf, margin))


def _held(verdict: Verdict, wanted: Sequence[Target]):
    """Yield label and limit of every requirement."""
    if not wanted:
        for limit in verdict.limits:
            if not limit.waived and np.any(limit.states != NOT_JUDGED):
                yield limit_label(limit), limit
    for target in wanted:
        value = verdict.value(target.address)
        try:
            asked = quantities.read(target.value, value.quantity)
        except RequestError as error:
            raise RequestError(f'until "{target.text}": {error}') from error
        yield (
            target.text,
            Limit(
                target.text,
                target.address,
                value.value,
                target.relation,
                asked,
                value.quantity,
                "stated",
            ),
        )


class Remark(NamedTuple):
    """What else is to be told about one setting."""

    missed: tuple[str, ...]  # limits of the case that are not met, though nobody asked here
    outside: tuple[str, ...]  # formulas used outside their range
    unjudged: tuple[str, ...] = ()  # limits nobody can judge there, and what they need


def remark_at(case, settings: Mapping[str, float]) -> Remark:
    """Return what is to be told about one setting, judged as `solve` judges it."""
    verdict = judge(case.solve({a: np.array([v]) for a, v in settings.items()}))
    if not verdict.result.solved[0]:
        return Remark((), ())
    missed = [limit_label(limit) for limit in verdict.of_state("not_met")]
    return Remark(tuple(missed), tuple(verdict.excursions(0)), tuple(unjudged_words(verdict)))


def remark_lines(remark: Remark) -> list[str]:
    """Say in words what else is to be told."""
    found = []
    if remark.missed:
        found.append(f"but NOT met there: {'; '.join(remark.missed)}")
    if remark.unjudged:
        found.append(f"not judged there: {'; '.join(remark.unjudged)}")
    if remark.outside:
        found.append(f"outside a formula's range there: {'; '.join(remark.outside)}")
    return found
