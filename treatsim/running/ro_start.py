"""The start of membranes: until their pressure is up and the product is as salty as it will stay.

The membranes are quasi-steady at every dial of the ramp; what takes time is the water that stands
ahead of them and behind them, each well mixed. Flushed with permeate before the stop, both begin
as permeate. Left with salt water, salt has come through the membrane: both begin as the source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.running.schedule import Schedule, Turning
from treatsim.running.start_flow import Flows, flows
from treatsim.running.start_parameters import MEMBRANES, StartupParameters, check

BAND = 0.05  # of the steady salinity: nearer, the product is as it will stay
PRESSURE_BAND = 0.01
NODES = 9  # of the tables over the ramp, which is short beside the washing out
CHANGES = 12.0  # times the standing water is changed in the time looked at


class Membranes(NamedTuple):
    """What the transient needs of a case, solved once."""

    start: StartupParameters
    flows: Flows
    salt: float  # of the product in steady run, kg/m3
    source: float  # kg/m3


@dataclass(frozen=True)
class MembraneStart:
    """What is told of the start of membranes."""

    pressure_up: float  # time at which every dial is within 1 % of its setting, s
    steady: float  # time from which on the product is within 5 % of its steady salinity, s
    before_steady: float  # product until then, which goes to waste, m3
    salt: float  # steady salinity, kg/m3
    saltiest: float  # of what comes out, kg/m3
    times: Array  # s
    salts: Array  # what comes out, kg/m3


def membranes_of(case: Any, report: Callable[[int, int], None]) -> Membranes:
    """Solve what the transient needs of a case; raises as `membrane_start` does."""
    start = check(case.sections.get("startup"), MEMBRANES, "the start of membranes")
    units = case.flowsheet().units
    if not any(unit.semipermeable for unit in units.values()):
        raise RequestError("no membranes in this case")
    first = next(name for name, unit in units.items() if unit.semipermeable)
    table = flows(
        case,
        {
            "flow": lambda result: result.value("product.flow").value,
            "salt": lambda result: result.value("product.concentration").value,
            "feed": lambda result: result.value(f"{first}.feed.flow").value,
        },
        nodes=NODES,
        report=report,
    )
    inlet = table.result.streams[first, "feed"]
    source = np.broadcast_to(np.asarray(inlet.concentration, float), (table.result.points,))
    return Membranes(start, table, float(table("salt", 1.0)), float(source[table.here]))


def membrane_start(
    case: Any, report: Callable[[int, int], None] = lambda done, total: None
) -> MembraneStart:
    """Return the start of the membranes of a case.

    Parameters
    ----------
    case : Case
        With its table [startup].
    report : callable
        Called with what is done and all there is to do.

    Returns
    -------
    MembraneStart

    Validity
    --------
    Two mixed volumes, feed and product; the salt in the product follows that in the feed in
    proportion. Told simply: no recovery device, no salt held back in spacers.

    Raises
    ------
    RequestError
        There are no membranes, or the table leaves out what they need.
    NoSolutionError
        The case has no operating point.
    """
    return solve_membranes(membranes_of(case, report))


def solve_membranes(train: Membranes, rtol: float = 1e-9) -> MembraneStart:
    """Integrate the two volumes; SciPy's event is the salinity coming into its band for good."""
    from scipy.integrate import solve_ivp

    start, table = train.start, train.flows
    plan = Schedule(
        (Turning(0.0, 0.0, 1.0, 1.0),),
        (Turning(0.0, 0.0, 0.0, 0.0), Turning(start.pump_delay, start.pump_ramp, 0.0, 1.0)),
        dead=table.dead,
    )
    ahead, behind = start.feed_volume or 0.0, start.permeate_volume or 0.0
    rest = train.salt if start.membranes_at_start == "flushed" else train.source

    def slope(time, state):
        share = plan.dial(time)
        flow = float(table("flow", share))
        made = float(table("salt", share)) * state[0] / train.source
        fed = float(table("feed", share)) / ahead * (train.source - state[0]) if ahead else 0.0
        return [fed, flow / behind * (made - state[1]) if behind else 0.0, flow]

    def off(_, state):
        return abs(state[1] / train.salt - 1.0) - BAND

    end = start.pump_delay + start.pump_ramp
    end += CHANGES * (ahead / float(table("feed", 1.0)) + behind / float(table("flow", 1.0)))
    state = [rest if ahead else train.source, rest if behind else train.salt, 0.0]
    knots = sorted({0.0, end, *(knot for knot in plan.knots if 0 < knot < end)})
    times, states, marks = [0.0], [np.array(state)], [0.0]
    for first, last in pairwise(knots):
        found = solve_ivp(slope, (first, last), states[-1], "LSODA", events=off, rtol=rtol,
                          atol=1e-12, max_step=(last - first) / 40)  # fmt: skip
        times += list(found.t[1:])
        states += list(found.y.T[1:])
        marks += list(found.t_events[0])
    salts, made = np.array(states)[:, 1], np.array(states)[:, 2]
    steady = max(*marks, plan.pump[-1].reaches(table.dead))
    return MembraneStart(
        start.pump_delay + (1 - PRESSURE_BAND) * start.pump_ramp,
        float(steady),
        float(np.interp(steady, times, made)),
        train.salt,
        float(np.max(salts[made > 0])),
        np.array(times),
        salts,
    )
