"""Three flow meters of one vessel hold one another: feed is permeate and concentrate.

Where the three are logged and their balance moves, one of them drifts. Which one is told by trial:
each is taken from the other two in turn, and the vessel inverted again; if with one of them, and
with no other, the membrane and the channel come out as they were at the start, it is that one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.running.log_file import Readings
from treatsim.running.logbook_table import LogbookParameters
from treatsim.running.membrane_inverse import Errors, Implied, Plant, VesselReadings, invert
from treatsim.running.membrane_rows import Rows
from treatsim.running.records import Cause, percent, with_interval
from treatsim.running.trends import SURE, Trend, trend_of

PORTS = ("feed", "permeate", "concentrate")
QUIET = 0.02  # of a logarithm: membranes and channel that moved less stood still
WIDE = 2.0  # standard errors of one balance: beyond, meters part from the start on
ALIKE = (
    "a permeate flow meter that drifts looks alike: feed, permeate and concentrate flow are not "
    "all logged, so it is not told apart"
)
BUCKET = "measure permeate and concentrate by bucket and watch"


class Meters(NamedTuple):
    """What the balance says, and the rows to go on with."""

    rows: Rows
    implied: Implied
    cause: Cause | None
    remark: str  # evidence for or against what else flow speaks for
    doubt: str  # of what is learnt; "" where there is none
    note: str
    aside: tuple[float, float, float] = (0.0, 0.0, 0.0)  # of logarithms: how far doubt moves
    # water and salt permeability and pressure drop


def hold_together(
    unit: Any,
    log: Readings,
    table: LogbookParameters,
    found: tuple[Rows, Implied],
    model: tuple[Plant, Errors],
) -> Meters:
    """Judge the flow meters of a vessel by the balance of its rows."""
    rows, implied = found
    names = [f"{unit.name}.{port}.flow" for port in PORTS]
    if not log.has(*names):
        return Meters(rows, implied, None, ALIKE, "", "")
    at = np.searchsorted(log.time, rows.time)
    flows = {port: log.columns[name][at] for port, name in zip(PORTS, names, strict=True)}
    balance = np.log((flows["permeate"] + flows["concentrate"]) / flows["feed"])
    good = np.isfinite(balance)
    if not np.all(good):
        many = np.count_nonzero(~good)
        note = f"{unit.name}: a flow is missing in {many} rows: its meters are not held together"
        return Meters(rows, implied, None, ALIKE, "", note)
    trend = trend_of(rows.time, balance, table.baseline)
    share = float(np.median(flows["permeate"] / flows["feed"]))
    note = _offset(unit.name, trend, share, table)
    if abs(trend.now) <= max(0.5 * share * table.flow_trigger, SURE[0] * trend.error):
        remark = "permeate and concentrate together still are the feed, "
        remark += f"{with_interval(trend)}: it is no flow meter"
        return Meters(rows, implied, None, remark, "", note)
    return _blamed(found, flows, trend, table, model)._replace(note=note)


def _offset(name: str, trend: Trend, share: float, table: LogbookParameters) -> str:
    one = float(table.flow_error or 0.0) * float(np.sqrt(1 + share**2 + (1 - share) ** 2))
    if abs(trend.start) <= WIDE * one:
        return ""
    return (
        f"{name}: from the start permeate and concentrate together are "
        f"{percent(np.expm1(trend.start))} of the feed apart from it: calibrate the flow meters"
    )


def _blamed(found, flows: Mapping[str, Array], trend: Trend, table, model) -> Meters:
    rows, implied = found
    trials = _trials(rows.readings, flows)
    trials_told, quiet, changes = [], {}, []
    for port, readings in trials.items():
        with np.errstate(invalid="ignore"):
            new = implied if readings is rows.readings else invert(readings, *model)
        moved, change = _moved(rows, new, table)
        changes.append(change)
        if not moved:
            quiet[port] = readings, new
        trials_told.append(
            f"if it is the {port} meter: " + ("; ".join(moved) or "nothing else moved")
        )
    said = (f"permeate and concentrate over feed {with_interval(trend)}", *trials_told)
    if len(quiet) != 1:
        names = " or ".join(quiet) if quiet else "feed, permeate or concentrate"
        cause = Cause(f"a flow meter drifts: {names}", "cannot tell", said, BUCKET)
        doubt = "the flow meters part, and which is wrong is not known"
        apart = np.nanmax(np.abs(np.array(changes) - np.array(changes[-1])), axis=0)
        water, salt, drop = (float(one) for one in apart)  # from the readings as they stand
        return Meters(rows, implied, cause, doubt, doubt, "", (water, salt, drop))
    ((port, (readings, new)),) = quiet.items()
    some = new.found & np.isfinite(new.drop)
    kept = Rows(
        rows.time[some], rows.line[some], VesselReadings(*(v[some] for v in readings)),
        rows.left_out,
    )  # fmt: skip
    new = Implied(*(v[..., some] for v in new))
    instead = "" if port == "concentrate" else f"{port} flow taken from the other two meters"
    do = f"{BUCKET}, then mend the {port} meter" + (f"; here, {instead}" if instead else "")
    cause = Cause(f"the {port} flow meter drifts", "suspected", said, do)
    return Meters(kept, new, cause, instead or "by the feed and the permeate meter", instead, "")


def _trials(readings: VesselReadings, flows: Mapping[str, Array]) -> dict[str, VesselReadings]:
    """Return the readings with each meter taken from the other two; concentrate is not read."""
    scale = readings.feed_flow / flows["feed"]  # of one vessel
    permeate = np.maximum(flows["feed"] - flows["concentrate"], 1e-3 * flows["feed"])
    feed = flows["permeate"] + flows["concentrate"]
    return {
        "permeate": readings._replace(permeate_flow=scale * permeate),
        "feed": readings._replace(feed_flow=scale * feed),
        "concentrate": readings,
    }


def _moved(rows: Rows, implied: Implied, table: LogbookParameters) -> tuple[list[str], list[float]]:
    """Say what of membrane and channel moved since the start, and how far; NaN where unknown."""
    words = ("water permeability", "salt permeability", "pressure drop of the channel")
    told, changes = [], []
    for name, values in zip(words, implied[:3], strict=True):
        good = implied.found & np.isfinite(values)
        if np.count_nonzero(good) < 0.9 * good.size:
            return ["no membrane explains its rows"], [np.nan] * 3
        trend = trend_of(rows.time[good], values[good], table.baseline)
        changes.append(trend.now)
        if abs(trend.now) > max(QUIET, SURE[0] * trend.error):
            told.append(f"{name} {percent(np.expm1(trend.now))}")
    return told, changes
