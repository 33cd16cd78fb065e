"""Filters in a train of one constant flow, and clocks: what the run's own tests are made of."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.solids.filtration import blocking_constant
from treatsim.running.filter_line import Filters, Line
from treatsim.running.filter_run import Run
from treatsim.running.filter_state import History, Law, Rules, bank_of
from treatsim.running.filter_stretch import Clock
from treatsim.running.response import Response

HOUR = 3600.0
MU = 1.0016e-3


def constant_line(flow, *, elements=1, clean=4e9, quadratic=0.0, capacity=0.2, ratio=200.0,
                  exponent=0.0, capture=1.0, largest_drop=1e5) -> Line:  # fmt: skip
    """Return a train whose flow does not depend on its one filter."""
    one = [np.array([float(v)]) for v in (elements, clean, quadratic, 0.0, capacity, ratio,
                                          exponent, capture, largest_drop)]  # fmt: skip
    axes = {"f.resistance": (float(clean), float(clean * ratio))}
    known = {"product.flow": ("", float(flow)), "f.inlet.flow": ("", float(flow)),
             "f.inlet.suspended_solids": ("", 1.0)}  # fmt: skip
    response = Response(axes, {"unused": np.ones(2)}, {"unused": 0.0}, 0)
    return Line(Filters(("f",), *one), (), response, known, False)


def steady_clock(solids: float, hours: int, scenarios: int = 1) -> Clock:
    """Return a clock of constant solids [kg/m3] and running all the time."""
    edges = np.arange(hours + 1) * HOUR
    return Clock(np.tile(edges * solids, (scenarios, 1)), np.tile(edges, (scenarios, 1)))


def law_of(line: Line, together=True, capacity=None, exponent=None) -> Law:
    """Return the elements as the line states them, or with others, shape (scenarios, 1)."""
    f = line.filters
    each = bank_of(f.elements, np.full(f.elements.size, together)).filter_of
    capacity = f.capacity[None, each] if capacity is None else capacity
    exponent = np.broadcast_to(f.exponent[each], capacity.shape) if exponent is None else exponent
    constant = blocking_constant(f.clean[each], f.clean[each] * f.ratio[each], capacity, exponent)
    return Law(f.clean[each], constant, exponent, capacity)


def rules_of(line: Line, hours: int, *, flow_needed=0.0, longest=np.inf, every=168) -> Rules:
    """Return what ends a life, told every week, at 20 degC."""
    stops = np.unique(np.append(np.arange(every, hours, every), hours))
    filters = line.filters.elements.size
    return Rules(flow_needed, np.full(filters, longest), stops, np.full(stops.size, 293.15),
                 np.full(stops.size, MU))  # fmt: skip


def followed(line: Line, clock: Clock, *, together=True, law=None, **rules) -> History:
    """Return what happens to a line over a clock."""
    bank = bank_of(line.filters.elements, np.full(line.filters.elements.size, together))
    hours = clock.exposure.shape[1] - 1
    law = law_of(line, together) if law is None else law
    shape = len(clock.exposure), law.capacity.shape[1]
    law = Law(law.clean, *(np.broadcast_to(part, shape) for part in law[1:]))
    return Run(line, bank, law, clock, rules_of(line, hours, **rules)).run()
