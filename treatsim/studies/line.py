"""One input as the only variable: the settings to be tried, and the margins along them."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from treatsim.errors import RequestError
from treatsim.operations.parameters import bounds_text, field_problem
from treatsim.studies.points import Texts
from treatsim.studies.requirements import Evaluation, Remark, Target
from treatsim.studies.throughout import Conditions
from treatsim.studies.vary import check_input, with_words

SCAN = 129  # settings of the first scan
REACH = 30.0  # an input without an upper bound is searched up to so many times its present value
LARGEST_COUNT = 128
SHOWN = ("product.flow",)


class Line:
    """One input as the only variable: its scanned values and the margins along them."""

    def __init__(
        self, case, address: str, wanted: Sequence[Target], conditions: Conditions | None = None
    ) -> None:
        check_input(case, address)
        self.item, self.now = case.field(address)
        self.kind = self.item.metadata["kind"]
        if self.kind in ("choice", "text"):
            raise RequestError(f'"{address}" is no number to adjust; sweep its values instead')
        self.case, self.address, self.wanted = case, address, wanted
        self.conditions = conditions or Conditions()
        self.shown = results_told(case)

    def evaluate(self, x) -> Evaluation:
        """Return the margins at settings of the input."""
        x = np.asarray(x, float)
        if self.kind != "count":
            told = {self.address: x}
            return self.conditions.evaluate(self.case, told, x.size, self.wanted, self.shown)
        parts = [
            self.conditions.evaluate(
                with_words(self.case, {self.address: int(value)}), {}, 1, self.wanted, self.shown
            )
            for value in x
        ]
        return joined_evaluation(parts)

    def remark(self, x: float) -> Remark:
        """Return what else is to be told about a setting."""
        if self.kind == "count":
            return self.conditions.remark(with_words(self.case, {self.address: int(x)}), {})
        return self.conditions.remark(self.case, {self.address: x})

    def scan(self) -> tuple[np.ndarray, str, str]:
        """Return settings to be tried, and what their two ends are."""
        meta = self.item.metadata
        if self.kind == "count":
            top = min(meta["high"], meta["low"] + LARGEST_COUNT - 1)
            end = "allowed range" if top == meta["high"] else "range searched"
            return (
                np.arange(meta["low"], top + 1),
                "the end of the allowed range",
                f"the end of the {end}",
            )
        low, high, ends = span(self.item, self.now, self.address)
        values = spread_values(low, high, self.now)
        problem = [field_problem(self.item, float(v)) is None for v in values]
        return values[np.array(problem)], *ends


def results_told(case) -> list[str]:
    """Return the results told along with a setting, where the case has them."""
    known = case.solve().values
    return [address for address in SHOWN if address in known]


def joined_evaluation(parts: list[Evaluation]) -> Evaluation:
    """Join evaluations of one point each."""
    requirements = {r.name: r for part in parts for r in part.requirements}
    points = len(parts)
    margins = np.full((len(requirements), points), np.nan)
    why = Texts(points)
    shown = {a: np.array([part.shown[a][0] for part in parts]) for a in parts[0].shown}
    kinds: dict[str, str] = {}
    for n, part in enumerate(parts):
        own = {
            r.name: margin for r, margin in zip(part.requirements, part.margins[:, 0], strict=True)
        }
        margins[:, n] = [
            own.get(name, np.inf if part.answered[0] else np.nan) for name in requirements
        ]
        why.put(slice(n, n + 1), part.reasons.codes, part.reasons.texts)
        kinds |= part.quantities
    answered = np.array([part.answered[0] for part in parts])
    open_ones = tuple(dict.fromkeys(text for part in parts for text in part.unjudged))
    return Evaluation(list(requirements.values()), margins, answered, why, shown, kinds, open_ones)


def span(item: dataclasses.Field, now, address: str) -> tuple[float, float, tuple[str, str]]:
    """Return the ends of the settings to be searched, and what they are."""
    meta = item.metadata
    low, high = meta["low"], meta["high"]
    allowed, searched = "the end of the allowed range", "the end of the range searched"
    if np.isfinite(low) and np.isfinite(high):
        return low, high, (allowed, allowed)
    if now is None:
        raise RequestError(
            f"{address} is not given in the case, and allowed is "
            f"{bounds_text(meta)}: give it a value to start from"
        )
    size = abs(float(now)) or 1.0
    start, stop = max(low, now - REACH * size), min(high, now + REACH * size)
    return (
        start,
        stop,
        (allowed if start == low else searched, allowed if stop == high else searched),
    )


def spread_values(low: float, high: float, now) -> np.ndarray:
    """Return settings over the whole span, half of them evenly, half around the present one."""
    values = [np.linspace(low, high, SCAN // 2 + 1)]
    if now is not None:
        factor = np.geomspace(1 / REACH, REACH, SCAN // 2)
        values += [np.atleast_1d(float(now)), float(now) * factor]
    together = np.unique(np.concatenate(values))
    return together[(together >= low) & (together <= high)]
