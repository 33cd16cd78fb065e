"""What a kind of unit declares of itself, in its own file, for the rooms that need to know."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple, Protocol

from treatsim.operations.outcome import Value
from treatsim.water.stream import Stream

SLOWER = "slow down: {address} = {value}, which gives {flow}"
FASTER = "go faster: {address} = {value}, which gives {flow}"


class Ruled(NamedTuple):
    """A limit that a kind may state, by its key below the unit."""

    quantity: str
    group: str  # one of outcome.GROUPS
    words: str


class Earns(NamedTuple):
    """By which rule of the ledger a kind earns log credit; without a rule, why it earns none."""

    rule: str = ""
    reason: str = ""


class Row(NamedTuple):
    """A result in words, for a page or a comparison."""

    key: str  # address below the unit
    words: str


class Told(NamedTuple):
    """A result that a kind may tell, by its key below the unit; a * stands for several keys.

    Without words it has them in a Row of the same kind.
    """

    quantity: str
    words: str = ""
    or_else: str = ""  # the other quantity, where a choice decides


class Move(NamedTuple):
    """An input worth moving where a limit is missed, from where it stands to its useful end."""

    words: str  # with {address}, {value}, and {flow} for the product then
    field: str
    start: float
    end: float


class Mend(NamedTuple):
    """One change that restores a unit."""

    words: str
    changes: Mapping[str, Any]  # field -> value


class Company(Protocol):
    """The others of a flowsheet, as one solved unit sees them."""

    @property
    def inlet(self) -> Stream:
        """What enters the unit."""

    @property
    def values(self) -> Mapping[str, Value]:
        """What the unit itself tells."""

    @property
    def source_ph(self) -> Any:
        """Acidity of the source; None if not known."""

    @property
    def behind(self) -> Sequence[Any]:
        """Units that the water reaches from here, nearest first."""

    @property
    def line(self) -> Sequence[Any] | None:
        """Units of the one line from its source through this unit; None where lines meet."""

    def values_of(self, unit: str) -> Mapping[str, Value]:
        """What another unit tells."""
