"""Energy ledger: where the electrical power of all consumers goes, adding up to the total.

Every unit declares its losses. What it does not declare, it loses in friction; what leaves at an
end under pressure is lost there. Of the work done across the membranes, nature asks for the least
work of separation; the rest is driving pressure in excess of it, and what is mixed again later.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.correlations.ro.separation_energy import product_work
from treatsim.flowsheet.flowsheet import Flowsheet, Port
from treatsim.operations.declarations import Told
from treatsim.operations.high_pressure_pump import SHAFT
from treatsim.operations.intake import FROM_OUTSIDE
from treatsim.operations.outcome import Details, Outcome, Value
from treatsim.water.stream import Stream, Water

SMALLEST_SHARE, LARGEST_SHARE = 1e-9, 0.998  # of the feed that is product, for `product_work`
AT_ONCE = 512  # points whose integrals are summed together: all their numbers stay in the cache
MEMBRANE = "membrane"  # the loss a vessel declares across its membranes
LIFT = "lift"  # the entry of height gained
RESULTS = {
    "energy.specific": Told("energy_per_volume", "electricity of all consumers, per product"),
    "energy.*.power": Told("power", "electrical power of a unit; below zero, it gives some back"),
    "energy.loss.*": Told("energy_per_volume", "where it goes, per volume of product"),
    "energy.least_work": Told("energy_per_volume", "the least that separation can take"),
    "energy.second_law_efficiency": Told("fraction", "least work over what is used"),
}


class Run(Protocol):
    """What is asked of a result here."""

    sheet: Flowsheet
    streams: dict[Port, Stream]
    outcomes: dict[str, Outcome]

    @property
    def all_details(self) -> Mapping[str, Details]: ...

    @property
    def product(self) -> Stream | None: ...

    @property
    def power(self) -> ArrayLike: ...


def unit_losses(details: Details, added_power: ArrayLike) -> dict[str, Array]:
    """Return the losses of one unit [W]; undeclared hydraulic losses are friction.

    added_power: hydraulic power the unit adds to the water (negative if it takes some). [W]
    """
    total = np.asarray(details.power, float) - added_power
    declared = {name: np.asarray(value, float) for name, value in details.losses.items()}
    rest = total - sum(declared.values(), np.zeros(()))
    return declared | {"friction": declared.get("friction", 0.0) + rest}


def ledger(result: Run) -> dict[str, Array]:
    """Return the power of each kind of loss over all units and ends. [W]"""
    found: dict[str, ArrayLike] = {}

    def add(name: str, value: ArrayLike) -> None:
        found[name] = found.get(name, 0.0) + value

    for name, details in result.all_details.items():
        added = result.outcomes[name].added.get("hydraulic_power", 0.0)
        if result.sheet.units[name].outlets:
            for kind, value in unit_losses(details, added).items():
                add(kind, value)
        else:
            inlet = [result.streams[name, port] for port in result.sheet.units[name].inlets]
            add("pressure left at an end", sum(s.pressure * s.flow for s in inlet))
    found.pop(SHAFT, None)  # given and taken: nothing in all
    for port in result.sheet.wiring.ends.values():
        stream = result.streams[port]
        add("pressure left at an end", stream.pressure * stream.flow)
    if MEMBRANE in found and (product := result.product) is not None:
        least = system_least_work(result, product) * product.flow
        membrane = found.pop(MEMBRANE)
        found |= {"least work of separation": least, "excess driving pressure": membrane - least}
    return {name: np.asarray(value) for name, value in found.items()}


def system_least_work(result: Run, product: Stream) -> Array:
    """Return the least work to draw the product from the source, per volume of product. [J/m3]

    The product as it is, after every blend, with the salt it holds; all else that was taken leaves
    as one concentrate. Nothing for source water handed on unchanged.
    """
    source = result.sheet.source
    taken = sum(
        result.streams[name, result.sheet.units[name].inlets[0]].mass_flow
        for name in result.sheet.wiring.sources
    )
    share = np.clip(product.mass_flow / taken, SMALLEST_SHARE, LARGEST_SHARE)
    feed, salt, share, T = np.broadcast_arrays(
        source.salinity, product.salinity, share, source.temperature
    )
    columns = [v.ravel() for v in (feed, salt, share, T)]
    parts = [
        _least_work(source.water, *(v[start : start + AT_ONCE] for v in columns))
        for start in range(0, T.size, AT_ONCE)
    ]
    return np.concatenate(parts).reshape(T.shape)


def _least_work(water: Water, feed: Array, salt: Array, share: Array, T: Array) -> Array:
    def osmotic_pressure(w: Array) -> Array:
        return water.osmotic_pressure(w, T if np.ndim(w) == T.ndim else T[..., None])

    return product_work(osmotic_pressure, feed, salt, share, lambda w: water.density(w, T))


def brought_power(parts: dict[str, np.ndarray]) -> np.ndarray:
    """Return the power that reaches the water from outside without a consumer paying for it. [W]

    Pressure of the source, and water that on the whole runs down.
    """
    falling = np.minimum(parts.get(LIFT, 0.0), 0.0)
    return -np.asarray(parts.get(FROM_OUTSIDE, 0.0)) - falling


def energy_values(result: Run) -> dict[str, Value]:
    """Return "energy.specific" and its parts, by address; nothing without a product."""
    if result.product is None:
        return {}
    flow = result.product.flow
    parts = ledger(result)
    specific = result.power / flow
    found = {"energy.specific": Value(specific, "energy_per_volume")}
    for name, details in result.all_details.items():
        if np.any(np.asarray(details.power) != 0):
            found[f"energy.{name}.power"] = Value(details.power, "power")
    for kind, power in parts.items():
        key = kind.replace(" ", "_")
        found[f"energy.loss.{key}"] = Value(power / flow, "energy_per_volume")
    if "least work of separation" in parts:
        least = parts["least work of separation"] / flow
        found["energy.least_work"] = Value(least, "energy_per_volume")
        paid = specific + brought_power(parts) / flow
        share = np.divide(least, paid, out=np.zeros(np.shape(paid)), where=paid > 0)
        found["energy.second_law_efficiency"] = Value(share, "fraction")
    return found
