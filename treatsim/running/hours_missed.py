"""Hours of product in which a limit is missed, though the water of the case keeps it: storms.

The one place that decides: a single simulated hour in which people are given water below the dose
asked for, or more turbid than the barriers of the train bear, is a limit not met.
"""

from __future__ import annotations

from typing import NamedTuple

from treatsim.running.forecast import Forecast
from treatsim.running.spares import Plan


class Missed(NamedTuple):
    """A limit that the water of some hours breaks."""

    name: str
    mean: float  # s of running, of all scenarios
    high: float  # s, one scenario in twenty has more
    mend: str


def hours_missed(plan: Plan, told: Forecast) -> tuple[Missed, ...]:
    """Return the limits of a train that some simulated hour misses. [s]

    Of turbidity those of the train itself, as at its lamp, and that above which no barrier earns
    anything. A unit that stands still above spares.stop_above gives nobody water, so that such
    hours do not count.
    """
    found = []
    if told.under is not None and told.under[0] > 0:
        words = (
            "shut the tap by the sensor, or above a turbidity (spares.stop_above); or more light"
        )
        found.append(Missed("dose of the light", *told.under, words))
    for most, mean, high in told.turbid:
        if mean > 0:
            words = (
                f"shut the tap above {most / plan.turbidity_left:.2g} NTU in the source "
                "(spares.stop_above), settle, or filter finer"
            )
            found.append(Missed(f"at most {most:g} NTU behind the filters", mean, high, words))
    return tuple(found)
