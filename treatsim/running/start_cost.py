"""What one start costs: of the transient, or as the case states it."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.errors import NoSolutionError, RequestError
from treatsim.running import plant
from treatsim.running.operation import OperationParameters
from treatsim.running.ro_start import membrane_start
from treatsim.running.startup import startup


def start_cost(case: Any) -> tuple[float, float, float]:
    """Return what one start takes before the product valve opens.

    Parameters
    ----------
    case : Case
        With its table [startup], and a light, membranes, or both.

    Returns
    -------
    tuple of float
        Time [s], water to waste until the valve stands open [m3], electricity [J]; of light and
        membranes the larger. Membranes that start flushed took permeate at their last stop.

    Validity
    --------
    As of `startup` and `membrane_start`, at the dial of the case. NoSolutionError where the valve
    never opens, or the dose or the limit of salt is never met.
    """
    units = case.flowsheet().units.values()
    costs = []
    if any(unit.irradiates for unit in units):
        found = startup(case)
        if found.judged and not np.isfinite(found.clean.met):
            raise NoSolutionError("this start never comes to water that meets its dose")
        costs.append((found.opens, found.wasted, found.energy))
    if any(unit.semipermeable for unit in units):
        salty = membrane_start(case)
        if salty.judged and not np.isfinite(salty.met):
            raise NoSolutionError("this start never comes to product under its limit of salt")
        flow, power = (float(salty.train.flows(name, 1.0)) for name in ("flow", "power"))
        flush = salty.stop_flush / flow  # time in which the permeate for the last stop was made
        costs.append((
            salty.ready + flush, salty.wasted + salty.stop_flush, salty.energy + power * flush
        ))  # fmt: skip
    if not costs:
        raise RequestError("neither light nor membranes: there is no start to tell")
    time, waste, energy = (max(row) for row in zip(*costs, strict=True))
    if not np.isfinite(time):
        raise NoSolutionError("the product valve never stays open after this start")
    return time, waste, energy


def cost_at_bus(
    case: Any, operation: OperationParameters, inverter: float, flow: float, power: float
) -> tuple[float, float]:
    """Return energy at the bus [J] and time [s] of a start without product.

    Parameters
    ----------
    case : Case
        Asked where [operation] states no warm-up.
    operation : OperationParameters
        Table [operation].
    inverter : float
        Efficiency of the inverter. [1]
    flow, power : float
        Of the train at its highest dial, power at the bus. [m3/s], [W]

    Returns
    -------
    tuple of float

    Validity
    --------
    What is typed goes first.

    Raises
    ------
    RequestError
        Neither a warm-up nor a table [startup].
    """
    if operation.warm_up is not None:
        warming = operation.warm_up_power
        return plant.start_cost(
            operation.warm_up, power if warming is None else warming / inverter,
            operation.flush or 0.0, flow, power,
        )  # fmt: skip
    if case.sections.get("startup") is None:
        raise RequestError(
            "what a start costs is not known: state operation.warm_up and operation.flush, or the "
            "table [startup], of which they are worked out"
        )
    time, _, energy = start_cost(case)
    return energy / inverter, time
