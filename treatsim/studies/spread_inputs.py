"""The uncertain inputs of a case, and samples of them: scrambled Sobol points, correlated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.normal import normal_score, normal_share
from treatsim.operations.parameters import Parameters, quantity, record, reference
from treatsim.spreads import Spread, misfit, read_spread

MOST_INPUTS = 60
STATE = "state a spread, such as turbidity = { value = ..., spread = ... }"


@record
class UncertaintyParameters(Parameters):
    """How uncertain inputs hang together, and how sure an answer must be."""

    correlations: list = reference(
        'inputs that rise and fall together, each as "INPUT with INPUT = COEFFICIENT"; of the '
        "normal scores, -1 to 1",
        example=["water.turbidity with water.uv_transmittance = -0.6"],
        default=(),
    )
    confidence: float = quantity(
        "fraction", "chance asked for each limit", low=0.5, high=0.999, default=0.95
    )


@dataclass(frozen=True)
class SpreadInputs:
    """Uncertain inputs, and the factor of their correlation."""

    spreads: tuple[Spread, ...]
    factor: Array  # lower triangle L of the correlation L L'
    left_out: tuple[str, ...] = ()  # spreads stated where nothing can be varied

    @property
    def correlated(self) -> bool:
        """Whether any two inputs hang together."""
        return bool(np.any(np.tril(self.factor, -1)))

    def values(self, shares: Array) -> dict[str, Array]:
        """Return the inputs (SI) at shares of shape (n, inputs), each above 0 and below 1."""
        if self.correlated:
            shares = normal_share(normal_score(shares) @ self.factor.T)
        return {
            one.address: one.quantiles(column)
            for one, column in zip(self.spreads, np.asarray(shares).T, strict=True)
        }


def spread_inputs(case) -> SpreadInputs:
    """Return the uncertain inputs of a case; RequestError says what is missing or impossible."""
    found, left_out = [], []
    for address, raw in _entries(case.data):
        try:
            item, value = case.field(address)
            stated = case.numeric(address) and not np.ndim(value)
        except RequestError:
            stated = False
        if not stated:
            left_out.append(address)
            continue
        if one := read_spread(item, raw, float(value), address):
            found.append(one)
    if not found:
        raise RequestError(
            f"{case.path}: no input has a spread: {STATE}"
            + (f"; it cannot be varied at {', '.join(left_out)}" if left_out else "")
        )
    if len(found) > MOST_INPUTS:
        raise RequestError(f"{len(found)} uncertain inputs; at most {MOST_INPUTS} are sampled")
    if wrong := [f"{case.path}: {one.address}: {why}" for one in found if (why := misfit(one))]:
        raise RequestError(wrong)
    held = {hold.adjust for hold in case.holds}
    if adjusted := [one.address for one in found if one.address in held]:
        raise RequestError(
            f"{', '.join(adjusted)}: a [[hold]] moves it, so that its spread says nothing; "
            "leave one out"
        )
    factor = _factor(case, [one.address for one in found])
    return SpreadInputs(tuple(found), factor, tuple(left_out))


def _entries(data: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield address and entry of everything in a case that states a spread."""
    tables = {name: table for name, table in data.items() if name != "units"}
    for owner, table in {**tables, **data.get("units", {})}.items():
        for key, raw in table.items() if isinstance(table, Mapping) else ():
            if isinstance(raw, Mapping) and "spread" in raw:
                yield f"{owner}.{key}", raw
            elif isinstance(raw, Mapping):
                yield from (
                    (f"{owner}.{key}.{inner}", entry)
                    for inner, entry in raw.items()
                    if isinstance(entry, Mapping) and "spread" in entry
                )


def _factor(case, names: Sequence[str]) -> Array:
    """Return the Cholesky factor of the correlations."""
    matrix = np.eye(len(names))
    section = case.sections.get("uncertainty")
    for text in section.correlations if section else ():
        where = f'uncertainty.correlations: "{text}"'
        left, equals, number = str(text).partition("=")
        pair = [part.strip() for part in left.split(" with ")]
        try:
            value = float(number)
        except ValueError:
            value = np.nan
        if not equals or len(pair) != 2 or not -1 < value < 1:
            raise RequestError(
                f'{where}: write "INPUT with INPUT = COEFFICIENT", above -1 and below 1'
            )
        for one in pair:
            if one not in names:
                raise RequestError(
                    f"{where}: {one} has no spread; uncertain are {', '.join(names)}"
                )
        i, j = (names.index(one) for one in pair)
        if i == j:
            raise RequestError(f"{where}: an input with itself")
        if matrix[i, j] not in (0.0, value):
            raise RequestError(f"{where}: the same two are given {matrix[i, j]:g} too; keep one")
        matrix[i, j] = matrix[j, i] = value
    try:
        return np.asarray(np.linalg.cholesky(matrix), float)
    except np.linalg.LinAlgError:
        least = np.linalg.eigvalsh(matrix)[0]
        raise RequestError(
            "uncertainty.correlations: no inputs can hang together like this (the least "
            f"eigenvalue of their matrix is {least:.2g}, below 0); weaken some of them"
        ) from None


def sobol(inputs: int, count: int, seed: int) -> Array:
    """Return scrambled Sobol points, shape (count, inputs), inside the unit cube.

    count : a power of two, for the balance of the points.
    """
    from scipy.stats import qmc

    drawn = qmc.Sobol(inputs, scramble=True, seed=seed).random(count)
    edge = 2.0**-33  # half a step of the points: none lies on the border, where a tail is endless
    return np.clip(drawn, edge, 1 - edge)
