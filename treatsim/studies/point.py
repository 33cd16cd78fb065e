"""One operating point for a notebook: values by address, criteria, the verdict."""

from __future__ import annotations

from dataclasses import dataclass

from treatsim import quantities
from treatsim.errors import NoSolutionError
from treatsim.operations.outcome import at
from treatsim.safety.verdict import Verdict, judge
from treatsim.studies.table import html_table


@dataclass(frozen=True)
class Point:
    """A solved and judged case. `point["uv.dose_credited"]` is a number in SI."""

    verdict: Verdict

    @property
    def state(self) -> str:
        """What the point amounts to: "met", "not_met" or "not_judged"."""
        return self.verdict.state()

    @property
    def meets(self) -> bool:
        """Whether every limit of the case is judged and met."""
        return bool(self.verdict.meets[0])

    def __getitem__(self, address: str) -> float:
        return float(at(self.verdict.value(address).value, 0))

    def text(self, address: str, system: str = "si") -> str:
        """Return one value with its unit."""
        return quantities.text(self[address], self.verdict.value(address).quantity, system)

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

    def _repr_html_(self) -> str:
        rows = [
            [
                limit.state().replace("_", " "),
                limit.name,
                limit.address,
                quantities.text(float(at(limit.value, 0)), limit.quantity),
                f"{limit.relation} {quantities.text(float(at(limit.limit, 0)), limit.quantity)}",
            ]
            for limit in self.verdict.limits
        ]
        title = self.verdict.result.context.title
        return html_table(("", "limit", "address", "value", "asked"), rows, len(rows), title)


def solve(case) -> Point:
    """Solve a case at its settings and judge it.

    Parameters
    ----------
    case : Case
        The case, from `treatsim.load`.

    Returns
    -------
    Point
        Every value by its address.

    Raises
    ------
    NoSolutionError
        No operating point exists at these settings; the text says why.
    """
    verdict = judge(case.solve())
    if not verdict.result.solved[0]:
        raise NoSolutionError(verdict.result.reason(0))
    return Point(verdict)
