"""What a day, a year and a search over years need of a case before any walk through time."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from treatsim.errors import NoSolutionError
from treatsim.power.sun import DAYS
from treatsim.power.weather import Weather, weather_of
from treatsim.running.plan import tables
from treatsim.running.train_curve import Curve, curve_of
from treatsim.safety.verdict import judge

YEARS, SEED = 20, 1  # drawn from monthly means; a file of hours has its own


class Prepared(NamedTuple):
    """Weather and train of a case, and how its limits stand at its setting."""

    weather: Weather
    curve: Curve
    missed: tuple[str, ...]  # limits that the train misses at its setting in the case
    open: tuple[str, ...]  # limits that are not judged there


def prepared(case: Any, folder: Path, years: int = YEARS, seed: int = SEED) -> Prepared:
    """Return weather and train of a case.

    Parameters
    ----------
    case : Case
        With the tables that `plan.tables` asks for.
    folder : Path
        Where a file of hours lies.
    years, seed : int
        Of the draw, where no file is stated.

    Returns
    -------
    Prepared

    Raises
    ------
    RequestError
        A table is missing or cannot be.
    NoSolutionError
        The train has no answer at its setting.

    Validity
    --------
    As `weather_of` and `curve_of`.

    Source
    ------
    As these.
    """
    stated = tables(case.sections)
    weather = weather_of(stated["site"], stated["sun"], years, seed, folder)
    verdict = judge(case.solve({}))
    if not np.all(verdict.result.solved):
        raise NoSolutionError(verdict.result.reason(0))
    missed, unjudged = (
        tuple(limit.name for limit in verdict.of_state(state))
        for state in ("not_met", "not_judged")
    )
    return Prepared(weather, curve_of(case, stated["operation"], DAYS), missed, unjudged)
