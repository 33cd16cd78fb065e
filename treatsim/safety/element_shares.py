"""Autopsy of a vessel: what each element uses of each limit, and which limit binds it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.operations.outcome import Limit
from treatsim.safety.verdict import Verdict
from treatsim.water.scaling import SCALES

HELD: Mapping[str, tuple[str, str]] = {  # key of a limit -> result of the element, in words
    "flux_first": ("flux", "flux"),
    "element_recovery_max": ("recovery", "recovery"),
    "polarisation_max": ("polarisation_max", "polarisation"),
    "element_feed_flow_max": ("feed_flow", "feed flow"),
    "element_concentrate_flow_min": ("concentrate_flow", "concentrate flow"),
    "element_pressure_max": ("feed_pressure", "feed pressure"),
    "element_pressure_drop_max": ("pressure_drop", "pressure drop"),
    "carbonate_index": ("carbonate_index", "carbonate"),
    **{mineral: (f"saturation.{mineral}", mineral) for mineral in SCALES if mineral != "calcite"},
}


class Share(NamedTuple):
    """One limit along the elements of a vessel."""

    key: str  # of the element's result
    words: str
    limit: Limit  # of the vessel
    value: Any  # SI, shape (elements, points)
    share: Any  # of the limit, 1 is on it; NaN where it is not judged or no element is there


def share_of(key: str, value, limit, relation: str):
    """Return how much of a limit is used.

    Parameters
    ----------
    key : str
        Of the limit. [-]
    value, limit : array_like
        What is held against what. [SI]
    relation : str
        "<=" or ">=". [-]

    Returns
    -------
    ndarray
        1 on the limit, more beyond it. [1]

    Validity
    --------
    Polarisation counts by what is above 1, since there is none below; an index of calcium
    carbonate, a logarithm, by the saturation over the one that is let be. A limit of zero, or of
    no polarisation, is used up by anything.

    Source
    ------
    definition
    """
    value, limit = np.asarray(value, float), np.asarray(limit, float)
    if key == "carbonate_index":
        return 10 ** (value - limit)
    if key == "polarisation_max":
        value, limit = value - 1, limit - 1
    part, whole = (value, limit) if relation == "<=" else (limit, value)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(whole > 0, part / whole, np.where(part > 0, np.inf, 0.0))


def element_shares(verdict: Verdict, vessel: str) -> list[Share]:
    """Return what every element uses of each limit that can be told by element.

    Parameters
    ----------
    verdict : Verdict
        Judged case. [-]
    vessel : str
        Name of the vessel. [-]

    Returns
    -------
    list of Share
        In the order of HELD; a limit as the case lets it stand, waived ones among them.

    Validity
    --------
    A limit that is not judged of the vessel is not judged of an element. The limit of the flux of
    the first element is held against every element.

    Source
    ------
    definition
    """
    result, values = verdict.result, verdict.values
    count = np.asarray(result.sheet.units[vessel].parameters.elements_in_series)
    places = np.arange(1, int(np.max(count)) + 1)
    there = (places[:, None] <= count) & result.solved
    limits = {limit.key: limit for limit in verdict.limits
              if limit.address.startswith(f"{vessel}.")}  # fmt: skip
    found = []
    for key, (name, words) in HELD.items():
        if key not in limits:
            continue
        limit, keys = limits[key], [f"{vessel}.element_{n}.{name}" for n in places]
        rows = [np.broadcast_to(values[k].value, (result.points,)) for k in keys]
        judged = there & np.asarray(limit.judged) & np.isfinite(np.asarray(limit.value, float))
        share = share_of(key, rows, limit.limit, limit.relation)
        found.append(Share(name, words, limit, np.array(rows), np.where(judged, share, np.nan)))
    return found


def binding(shares: list[Share], element: int, point: int) -> Share | None:
    """Return the limit of which an element uses most; None where none is judged.

    Parameters
    ----------
    shares : list of Share
        From `element_shares`. [-]
    element : int
        Counted from 0. [-]
    point : int
        Operating point. [-]

    Returns
    -------
    Share or None
        The row with the largest share that is not waived.

    Validity
    --------
    As `element_shares`.

    Source
    ------
    definition
    """
    judged = [row for row in shares
              if not row.limit.waived and not np.isnan(row.share[element, point])]  # fmt: skip
    return max(judged, key=lambda row: row.share[element, point], default=None)
