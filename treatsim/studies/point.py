"""One operating point for a notebook: values by address, criteria, the verdict."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from treatsim import quantities
from treatsim.amounts import Amount
from treatsim.errors import NoSolutionError
from treatsim.given import CASE, belongs
from treatsim.notebook import html_table
from treatsim.operations.outcome import STATES, at
from treatsim.safety.verdict import Verdict, judge


@dataclass(frozen=True)
class Point:
    """A solved and judged case. `point["uv.dose_credited"]` is a number with its unit."""

    verdict: Verdict

    @property
    def state(self) -> str:
        """What the point amounts to: "met", "not_met" or "not_judged"."""
        return self.verdict.state()

    @property
    def meets(self) -> bool:
        """Whether every limit of the case is judged and met."""
        return bool(self.verdict.meets[0])

    def __getitem__(self, address: str) -> Amount:
        value = self.verdict.value(address)
        return Amount(at(value.value, 0), value.quantity)

    def __iter__(self) -> Iterator[str]:
        return iter(self.verdict)

    def text(self, address: str, system: str = "si") -> str:
        """Return one value with its unit."""
        return self[address].text(system)

    def rows(self, system: str = "si") -> list[tuple[str, float, str]]:
        """Return (address, number, unit) of every result."""
        return [
            (address, *quantities.show(float(at(v.value, 0)), v.quantity, system))
            for address, v in self.verdict.values.items()
        ]

    def to_pandas(self, system: str = "si"):
        """Return every result as a pandas DataFrame."""
        import pandas

        return pandas.DataFrame(self.rows(system), columns=["address", "value", "unit"])

    @property
    def answer(self) -> str:
        """The state of the point and how many limits are in which state, in words."""
        counts = [(state, len(self.verdict.of_state(state))) for state in STATES]
        told = ", ".join(f"{count} {state.replace('_', ' ')}" for state, count in counts if count)
        return f"{self.state.replace('_', ' ')} ({len(self.verdict.limits)} limits: {told or 0})"

    def __repr__(self) -> str:
        return f"<Point, {self.verdict.result.context.title}: {self.answer}>"

    def _repr_html_(self) -> str:
        rows = [
            [
                limit.state().replace("_", " "),
                limit.name,
                limit.address,
                limit.told()[0],
                f"{limit.relation} {limit.told()[1]}",
            ]
            for limit in self.verdict.limits
        ]
        title = f"{self.verdict.result.context.title}: {self.answer}"
        return html_table(("", "limit", "address", "value", "asked"), rows, title=title)


def solve(case) -> Point:
    """Solve a case at its settings and judge it.

    Parameters
    ----------
    case : Case
        From `treatsim.load`, or a `treatsim.Flowsheet`.

    Returns
    -------
    Point
        Every value by its address.

    Raises
    ------
    NoSolutionError
        No operating point exists at these settings; the text says why.

    >>> import treatsim
    >>> point = treatsim.solve(treatsim.load("cases/river.toml"))
    >>> point["product.flow"], point.state
    (6.784 m3/h, 'not_judged')
    """
    belongs(case, "flowsheet", CASE)
    verdict = judge(case.solve())
    if not verdict.result.solved[0]:
        raise NoSolutionError(verdict.result.reason(0))
    return Point(verdict)
