"""What a log said that forbids giving out the water, carried by the case until it is checked."""

from __future__ import annotations

from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Limit
from treatsim.safety.additions import Additions

ADVICE = "check what the log said, mend it, and only then take it out of logbook.stop"


def log(result: Result, earlier: Additions) -> Additions:
    """Hold each line of `logbook.stop` as a limit that is not met.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        One limit for each line; none where the case carries no stop.

    Validity
    --------
    Whatever the operating point: no setting mends what a log has found.

    Source
    ------
    definition
    """
    table = result.sections.get("logbook")
    lines = table.stop if table is not None else ()
    limits = (
        Limit(
            f"by its log: {line}", "logbook.checked", 0.0, ">=", 1.0, "factor",
            "the case's own log", "", ADVICE,
        )
        for line in lines
    )  # fmt: skip
    return Additions(limits=tuple(limits))
