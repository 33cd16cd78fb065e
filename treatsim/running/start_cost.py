"""What one start costs: of the transient, or as the case states it."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.errors import NoSolutionError, RequestError
from treatsim.running import plant
from treatsim.running.operation import OperationParameters
from treatsim.running.ro_start import membrane_start
from treatsim.running.startup import startup
from treatsim.running.train_curve import Curve

PLACES = 17  # along the dial
NEVER = DAY  # s, of a start that does not come to product


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
    case: Any, operation: OperationParameters, inverter: float, curve: Curve
) -> tuple[float, float, tuple[Array, Array, Array]]:
    """Return what a start without product costs, in the case's setting and along its dial.

    Parameters
    ----------
    case : Case
        Asked where [operation] states no warm-up.
    operation : OperationParameters
        Table [operation].
    inverter : float
        Efficiency of the inverter. [1]
    curve : Curve
        The train along its dial.

    Returns
    -------
    float, float
        Energy at the bus [J] and time [s], as typed or in the case's setting.
    tuple of ndarray
        Power at the bus [W], and energy and time there over these, (PLACES,).

    Validity
    --------
    What is typed goes first, its flush at the flow of the dial. Else the start is told in the
    case's setting, the lowest and the highest; between, its time goes with the time that a litre
    takes, to 1 %, and its mean power with the power of the dial, so that its energy is good to 2 %.
    Where a start at an end of the dial never comes to product, a day counts.

    Raises
    ------
    RequestError
        Neither a warm-up nor a table [startup].
    NoSolutionError
        In the setting of the case a start never comes to product.

    Source
    ------
    definition
    """
    row = int(np.argmax(curve.full))  # of the water with the widest dial
    setting, flows, powers = (a[row % len(a)] for a in (curve.setting, curve.flow, curve.power))
    ends = curve.low[row], curve.full[row]
    places = np.linspace(*ends, PLACES)
    along = np.interp(places, powers, flows)
    if operation.warm_up is not None:
        warming = operation.warm_up_power
        costs = [
            plant.start_cost(operation.warm_up, power if warming is None else warming,
                             operation.flush or 0.0, flow, power)
            for flow, power in zip(along, places, strict=True)
        ]  # fmt: skip
        energy, time = np.array(costs).T / np.array([[inverter], [1.0]])
        return energy[-1], time[-1], (places / inverter, energy / energy[-1], time / time[-1])
    if case.sections.get("startup") is None:
        raise RequestError(
            "what a start costs is not known: state operation.warm_up and operation.flush, or the "
            "table [startup], of which they are worked out"
        )
    now, _, power = start_cost(case)
    told = {float(np.max(case.field(curve.dial)[1])): (power, now)}
    for end in ends:
        turned = float(np.interp(end, powers, setting))
        told.setdefault(turned, _at_dial(case, curve.dial, turned))
    dials = np.array(sorted(told))
    slow = 1 / np.interp(dials, setting, flows)  # time of a litre: falls with the dial
    found = np.array([told[d] for d in dials])
    order = np.argsort(slow)
    time = np.interp(1 / along, slow[order], found[order, 1])
    mean = np.interp(places, np.interp(dials, setting, powers), found[:, 0] / found[:, 1])
    energy = mean * time  # the lamp's share of it does not turn with the dial
    return power / inverter, now, (places / inverter, energy / power, time / now)


def _at_dial(case: Any, address: str, value: float) -> tuple[float, float]:
    """Return energy [J] and time [s] of a start in another setting, NEVER if it does not come."""
    unit, _, name = address.partition(".")
    own = case.parameters
    turned = {**own, unit: dataclasses.replace(own[unit], **{name: value})}
    try:
        time, _, energy = start_cost(case.changed(parameters=turned))
    except NoSolutionError:
        return 0.0, NEVER
    return energy, time
