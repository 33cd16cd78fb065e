"""The silt density test of a membrane's feed, and what its index says."""

from __future__ import annotations

import numpy as np

from treatsim import quantities
from treatsim.correlations.solids.retention import PLUGGING_RANGE, silt_density_index
from treatsim.errors import RequestError
from treatsim.operations.outcome import Finding, Value
from treatsim.operations.parameters import quantity, record
from treatsim.operations.sheets import Sheet
from treatsim.ranges import excursions

GOOD, WORST = 3.0, 5.0  # % per minute; common practice, no source
FOULS = "the silt density index of the feed is {index}"


@record
class SiltTest(Sheet):
    """Times to fill 500 mL through 0.45 um at 2.07 bar, at the start and after the test time."""

    gives = ("silt_density_index",)
    silt_first_filling: float = quantity("time", "time of the first filling", open_low=True)
    silt_last_filling: float = quantity("time", "time of the last filling", open_low=True)
    silt_test_time: float = quantity(
        "short_duration", "between them: 15 min, or 10 or 5 if it plugs", open_low=True
    )

    def coefficients(self):
        """Return the index; RequestError where the disc was plugged and it says nothing."""
        found = silt_density_index(
            self.silt_first_filling, self.silt_last_filling, self.silt_test_time
        )
        if excursions(PLUGGING_RANGE, found.plugging):
            raise RequestError(
                f"{float(found.plugging):.0f} % plugged, where the index says nothing: filter "
                "finer, or test for a shorter time"
            )
        return {"silt_density_index": float(found.value)}

    def told(self, found):
        """Say the index and its time."""
        time = quantities.text(self.silt_test_time, "short_duration")
        return f"silt density index {found['silt_density_index']:.3g} by the fillings over {time}"


def silt_findings(index) -> list[Finding]:
    """Say where the feed fouls a membrane by its index [% per minute]; None if not known."""
    if index is None:
        return []
    index = np.asarray(index, dtype=float)
    values = {"index": Value(index, "factor")}
    bad = index > WORST
    fair = (index > GOOD) & ~bad
    texts = (
        (bad, f"{FOULS}, above {WORST:g}: particles foul the membranes; filter finer first"),
        (fair, f"{FOULS}, above {GOOD:g}: expect to clean the membranes often"),
    )
    return [
        Finding(where, f"{text} (common practice)", values) for where, text in texts if where.any()
    ]
