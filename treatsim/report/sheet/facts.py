"""What every block asks of a judged case: values as text, limits by their name, kinds of units."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.errors import NoSolutionError, RequestError
from treatsim.operations.outcome import Limit, Value, at
from treatsim.safety.verdict import NOT_JUDGED, NOT_MET, WITHOUT, Verdict, judge
from treatsim.studies.points import limit_label

DIGITS = 3
ROUND_OFF = 1e-6  # of the last digit
STATES = {
    0: "met",
    NOT_MET: "NOT\u00a0MET",
    NOT_JUDGED: "none\u00a0missed",
    WITHOUT: "no\u00a0flow",
}  # kept on one line


@dataclasses.dataclass(frozen=True)
class Facts:
    """A case at its settings, judged."""

    case: Any
    verdict: Verdict
    system: str

    def text(self, value: Any, quantity: str, digits: int = DIGITS) -> str:
        """Return a number in SI as people read it."""
        return quantities.text(float(at(value, 0)), quantity, self.system, digits)

    def number(self, value: Any, quantity: str, digits: int = DIGITS) -> str:
        """Return a number without its unit, for a column whose head names it."""
        unit = quantities.shown(quantity, self.system)[0]
        return self.text(value, quantity, digits).removesuffix(unit).rstrip()

    def bound(self, value: Any, quantity: str, *, up: bool = False) -> str:
        """Return a number that is kept by going no higher, or with `up` no lower, than is shown.

        Rounded to the side on which the limit still holds.
        """
        _, factor, offset = quantities.shown(quantity, self.system)
        number = float(at(value, 0)) * factor + offset
        if not np.isfinite(number) or number == 0:
            return self.number(value, quantity)
        step = 10.0 ** (np.floor(np.log10(abs(number))) - (DIGITS - 1))
        count = number / step
        whole = np.ceil(count - ROUND_OFF) if up else np.floor(count + ROUND_OFF)
        return self.number((whole * step - offset) / factor, quantity)

    def head(self, words: str, quantity: str) -> str:
        """Return the head of a column: words and unit."""
        unit = quantities.shown(quantity, self.system)[0]
        return f"{words} [{unit}]" if unit else words

    def told(self, address: str, digits: int = DIGITS) -> str:
        """Return a result as text."""
        value = self.value(address)
        return self.text(value.value, value.quantity, digits)

    def value(self, address: str) -> Value:
        """Return a result."""
        return self.verdict.value(address)

    def has(self, address: str) -> bool:
        """Whether a result exists."""
        return address in self.verdict.values

    def units(self, mark: str) -> list[str]:
        """Return the units of which something is declared: "irradiates", "semipermeable" ..."""
        return [n for n, unit in self.sheet.units.items() if getattr(unit, mark)]

    def with_hazard(self, hazard: str) -> list[str]:
        """Return the units with a group of cautions."""
        return [n for n, unit in self.sheet.units.items() if hazard in unit.dangers()]

    @property
    def filters(self) -> list[str]:
        """Filters with elements that are changed."""
        return [n for n, unit in self.sheet.units.items() if unit.fouled == "filter"]

    @property
    def sheet(self) -> Any:
        """The flowsheet as solved."""
        return self.verdict.result.sheet

    def section(self, name: str) -> Any:
        """Return a table of the case, or None."""
        return self.verdict.result.sections.get(name)

    def limit(self, address: str) -> Limit | None:
        """Return the limit on a result, if one is judged or could be."""
        return next((one for one in self.verdict.limits if one.address == address), None)

    def limit_text(self, address: str) -> str | None:
        """Return what a result is held against, as text."""
        found = self.limit(address)
        if found is None or np.isnan(float(at(found.limit, 0))):
            return None
        return self.text(found.limit, found.quantity)

    def field(self, address: str) -> tuple[str, float | None]:
        """Return quantity and value of an input, None where it is left open."""
        item, value = self.case.field(address)
        return item.metadata["kind"], None if value is None else float(at(value, 0))

    def solved(self, arrays: dict[str, np.ndarray]) -> Verdict:
        """Return the case over points, judged as `solve` and `sweep` do."""
        return judge(self.case.solve(arrays))


def states_of(verdict: Verdict) -> list[str]:
    """Return the state of every point in words."""
    return [STATES[int(state)] for state in verdict.states]


def missed(verdict: Verdict, point: int) -> list[str]:
    """Return the names of the limits that a point misses."""
    return [limit_label(limit) for limit in verdict.of_state("not_met", point)]


def column(verdict: Verdict, address: str) -> np.ndarray:
    """Return a result at every point; NaN where there is no answer."""
    value = np.asarray(verdict.value(address).value, float)
    values = np.broadcast_to(value, (verdict.result.points,))
    return np.where(verdict.result.solved, values, np.nan)


def untold(error: RequestError | NoSolutionError) -> str:
    """Return why a block has no numbers, in one line."""
    return f"NOT TOLD: {str(error).splitlines()[0]}"


def round_steps(now: float, quantity: str, system: str, steps: Sequence[int]) -> np.ndarray:
    """Return settings on round numbers about one, and that one; in SI, rising.

    A step is the round number (1, 2, 5 and their tenths) next to a fifteenth of the setting.
    """
    _, factor, offset = quantities.shown(quantity, system)
    number = now * factor + offset
    rough = max(abs(number), 1e-12) / 15
    power = 10.0 ** np.floor(np.log10(rough))
    step = power * min((1, 2, 5, 10), key=lambda n: abs(n - rough / power))
    middle = np.round(number / step)
    found = (middle + np.array(steps, float)) * step
    found = found[np.abs(found - number) > 0.25 * step]
    return (np.sort(np.append(found, number)) - offset) / factor
