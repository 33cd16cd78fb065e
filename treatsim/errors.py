"""One tree of errors. The library raises, the command line prints.

TreatsimError
├── RequestError        the request or the case is wrong (exit status 2)
│   ├── CaseError       a case file; carries every problem found in it
│   ├── OutputError     the answer cannot be delivered
│   ├── FlowsheetError  units and links that cannot be connected
│   └── DomainError     an impossible value given to a formula (also a ValueError)
└── NoSolutionError     the case is sound, but no operating point exists (exit status 3)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:  # so that help does not load arrays
    import numpy.typing as npt

    from treatsim.arrays import Array


class TreatsimError(Exception):
    """Anything treatsim raises on purpose."""


LONGEST = 2000  # characters of a message


def plain(text: str) -> str:
    """Return a text as one printable line: control letters escaped, what is endless cut."""
    if not text.isprintable():
        ends = text if len(text) <= 4 * LONGEST else text[: 2 * LONGEST] + text[-2 * LONGEST :]
        text = "".join(c if c.isprintable() else repr(c)[1:-1] for c in ends)
    half = LONGEST // 2 - 2  # what is wrong stands at the end, where it is stands first
    return text if len(text) <= LONGEST else f"{text[:half]}...{text[-half:]}"


class RequestError(TreatsimError):
    """The request or the case is wrong; `problems` holds one line for each."""

    def __init__(self, problems: str | Sequence[str]) -> None:
        lines = [problems] if isinstance(problems, str) else problems
        self.problems = [plain(line) for line in lines]
        super().__init__("\n".join(self.problems))


class CaseError(RequestError):
    """A case file is wrong."""


class FlowsheetError(RequestError):
    """Units and links do not make a flowsheet."""


class OutputError(RequestError):
    """The answer is there and cannot be delivered: a full disk, a closed output."""


class Impossible(NamedTuple):
    """What a formula was given and may not be; numbers in the SI unit."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    open_low: bool

    def words(self, show: Callable[[float], str]) -> str:
        """Return the fault in words, every number as `show` writes it."""
        start = "above" if self.open_low else "from"
        return (
            f"{self.name} = {show(self.value)}: allowed is {start} {show(self.low)} to "
            f"{show(self.high)}"
        )


class DomainError(RequestError, ValueError):
    """A formula was given a value that cannot exist; `given` and `place` tell it, where known."""

    given: Impossible | None = None
    place: str = ""  # unit of the flowsheet


class NoSolutionError(TreatsimError):
    """No operating point exists at this setting; the text says why in words."""


def require(
    name: str, value: npt.ArrayLike, low: float, high: float, unit: str, *, open_low: bool = False
) -> Array:
    """Return `value` as a float64 array, or raise DomainError if any entry is outside the bounds.

    NaN is outside. `open_low` makes the lower bound itself illegal.
    """
    import numpy as np  # here, so that help does not load it

    array = np.asarray(value, dtype=float)
    if array.size == 0:
        return array
    # the ends tell, and are NaN if any entry is; comparing all entries costs three arrays
    least, most = (array.item(),) * 2 if array.size == 1 else (array.min(), array.max())
    if not ((least > low if open_low else least >= low) and most <= high):
        inside = (array > low if open_low else array >= low) & (array <= high)
        bad = np.atleast_1d(array)[~np.atleast_1d(inside)]
        bound = f"{'above' if open_low else 'from'} {low:g} to {high:g} {unit}".rstrip()
        many = f" ({bad.size} values outside)" if bad.size > 1 else ""
        error = DomainError(f"{name} = {bad[0]:g} {unit}".rstrip() + f"{many}: allowed is {bound}")
        error.given = Impossible(name, float(bad[0]), low, high, unit, open_low)
        raise error
    return array
