"""What a setting has to meet, and by how much it does: margins at many points."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.operations.outcome import Limit, at
from treatsim.safety.verdict import Verdict, judge
from treatsim.studies.points import Texts, criterion_label, reasons, solve_points

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
                f'--until "{text}": write ADDRESS >= VALUE or ADDRESS <= VALUE, '
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
    """Return the margins of the stated targets, or of every criterion of the case without any."""
    rows: dict[str, tuple[Requirement, np.ndarray]] = {}
    answered, why = np.zeros(points, bool), Texts(points)
    more = {address: np.full(points, np.nan) for address in shown}
    kinds: dict[str, str] = {}
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
        for label, criterion in _criteria(piece.verdict, wanted):
            _fill(rows, label, criterion, piece.where, points)
        for address, row in more.items():
            value = piece.verdict.result.value(address)
            kinds[address] = value.quantity
            row[piece.where] = np.where(solved, np.asarray(value.value, float), np.nan)
    if np.any(answered) and not rows:
        raise RequestError(
            'the case states no limits: give --until, such as "product.flow >= 1 m3/h"'
        )
    margins = np.array([row for _, row in rows.values()]).reshape(len(rows), points)
    margins[:, ~answered] = np.nan
    found = [requirement for requirement, _ in rows.values()]
    return Evaluation(found, margins, answered, why, more, kinds)


def _fill(rows, label: str, criterion: Limit, where: np.ndarray, points: int) -> None:
    if label not in rows:
        requirement = Requirement(
            label,
            criterion.address,
            criterion.relation,
            float(at(criterion.limit, 0)),
            criterion.quantity,
        )
        # a criterion that does not arise at a point is met there
        rows[label] = requirement, np.full(points, np.inf)
    margin = np.asarray(criterion.margin, float)
    rows[label][1][where] = np.where(np.isnan(margin), -np.inf, margin)


def _criteria(verdict: Verdict, wanted: Sequence[Target]):
    """Yield label and criterion of every requirement."""
    if not wanted:
        for criterion in verdict.result.limits:
            yield criterion_label(criterion), criterion
    for target in wanted:
        value = verdict.result.value(target.address)
        try:
            limit = quantities.read(target.value, value.quantity)
        except RequestError as error:
            raise RequestError(f'--until "{target.text}": {error}') from error
        yield (
            target.text,
            Limit(
                target.text,
                target.address,
                value.value,
                target.relation,
                limit,
                value.quantity,
                "stated",
            ),
        )


class Remark(NamedTuple):
    """What else is to be told about one setting."""

    missed: tuple[str, ...]  # criteria of the case that are not met, though nobody asked here
    outside: tuple[str, ...]  # formulas used outside their range


def remark_at(case, settings: Mapping[str, float]) -> Remark:
    """Return what is to be told about one setting, judged as `solve` judges it."""
    verdict = judge(case, case.solve({a: np.array([v]) for a, v in settings.items()}))
    if not verdict.result.solved[0]:
        return Remark((), ())
    missed = [criterion_label(c) for c in verdict.result.limits if not at(c.meets, 0)]
    return Remark(tuple(missed), tuple(verdict.excursions(0)))


def remark_lines(remark: Remark) -> list[str]:
    """Say in words what else is to be told."""
    found = []
    if remark.missed:
        found.append(f"but NOT met there: {'; '.join(remark.missed)}")
    if remark.outside:
        found.append(f"outside a formula's range there: {'; '.join(remark.outside)}")
    return found
