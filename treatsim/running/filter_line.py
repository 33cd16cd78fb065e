"""The filters of a train, and its flow as their elements load: the flowsheet itself, tabulated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.running.response import Axes, Response, Train, response, train

TOLERANCE = 1e-5  # of the tabulated flow; the response states what it reaches
SAME = 1e-9  # relative: two results that never differ by more are one
PROBES = 24  # points at which that is looked at
TEMPERATURE = "water.temperature"
FULL_SPEED = 1.0
LAW = ("resistance", "quadratic_loss", "captured_mass", "capacity", "terminal_ratio",
       "loading_exponent", "capture_fraction", "largest_drop", "elements")  # fmt: skip


class Filters(NamedTuple):
    """What the filters of a train state, an entry for each filter. SI"""

    names: tuple[str, ...]
    elements: Array
    clean: Array  # resistance of a fresh element, 1/m3
    quadratic: Array  # Pa s2/m6
    captured: Array  # kg, at the start
    capacity: Array  # kg
    ratio: Array  # resistance at capacity over clean
    exponent: Array
    capture: Array
    largest_drop: Array  # Pa


class Flows(NamedTuple):
    """What the train does at some loads, shapes (n,) and (n, filters). SI"""

    product: Array  # m3/s
    through: Array  # m3/s, through each filter
    arriving: Array  # solids ahead of each filter over those of the source


@dataclass(frozen=True)
class Line:
    """A train as its filters see it; `filter_line` builds it."""

    filters: Filters
    unknown: tuple[str, ...]  # filters without a capacity: not judged, taken as clean
    response: Response
    known: Mapping[str, tuple[str, float]]  # result -> (tabulated result, or "" and its value)
    warm: bool  # whether the temperature is among the inputs
    target: tuple[str, float] | None = None  # flow that a hold keeps while the pump can
    reaching: tuple[float, ...] = ()  # factors of the solids ahead of each filter; () for 1

    @property
    def even(self) -> bool:
        """Whether every filter takes a fixed share of the product, and of its solids."""
        product = self.known["product.flow"][0]
        return all(
            self.known[f"{name}.inlet.flow"][0] == product
            and not self.known[f"{name}.inlet.suspended_solids"][0]
            for name in self.filters.names
        )

    def flows(self, resistance: Array, temperature: Array) -> Flows:
        """Return flows at equal resistances of a filter's elements, shape (n, filters). [1/m3]"""
        names, count = self.filters.names, len(resistance)
        points: dict[str, Array] = {}
        for number, name in enumerate(names):
            low, high = self.response.axes[f"{name}.resistance"]
            points[f"{name}.resistance"] = np.clip(resistance[:, number], low, high)
        if self.warm:
            points[TEMPERATURE] = np.broadcast_to(temperature, count)
        told = self.response(points)

        def value(address: str) -> Array:
            key, number = self.known[address]
            return told[key] if key else np.full(count, number)

        product = value("product.flow")
        through = np.stack([value(f"{name}.inlet.flow") for name in names], axis=1)
        arriving = np.stack([value(f"{name}.inlet.suspended_solids") for name in names], axis=1)
        if self.reaching:
            arriving = arriving * np.array(self.reaching)
        if self.target:
            address, wanted = self.target
            kept = np.minimum(1.0, wanted / value(address))
            product, through = product * kept, through * kept[:, None]
        return Flows(product, through, arriving)


def stated(case: Any) -> tuple[Filters, tuple[str, ...]]:
    """Return what a case states of its filters, and which have no capacity.

    Raises RequestError without any filter, or with none whose capacity is known.
    """
    records = {n: p for n, p in case.parameters.items() if hasattr(p, "captured_mass")}
    if not records:
        raise RequestError(f"{case.path}: no unit of this train is a filter whose elements load")
    known = [name for name, p in records.items() if p.capacity is not None]
    rows = [[float(getattr(records[n], key)) for key in LAW] for n in known]
    columns = dict(zip(LAW, np.array(rows).reshape(len(known), len(LAW)).T, strict=True))
    found = Filters(
        tuple(known),
        columns["elements"],
        columns["resistance"],
        columns["quadratic_loss"],
        columns["captured_mass"],
        columns["capacity"],
        columns["terminal_ratio"],
        columns["loading_exponent"],
        columns["capture_fraction"],
        columns["largest_drop"],
    )
    return found, tuple(name for name in records if name not in known)


def filter_line(case: Any, temperatures: Sequence[float]) -> Line:
    """Return the train of a case over the loads of its filters and the temperatures it will see.

    Parameters
    ----------
    case : Case
        At most one hold: of a flow, by the speed of a pump. Beyond full speed the flow falls.
    temperatures : sequence of float
        Of the water over the months. [K]

    Raises
    ------
    NoSolutionError
        Some load within the life of the elements has no operating point.
    RequestError
        No filter whose capacity is known; a hold of another kind.
    """
    filters, unknown = stated(case)
    if not filters.names:
        needs = " and ".join(f"{name}.capacity" for name in unknown)
        raise RequestError(
            f"{case.path}: how long the filters last is not judged: it needs {needs}, with "
            "captured_mass, terminal_ratio and loading_exponent"
        )
    free, fixed, target = without_hold(case)
    wanted = ["product.flow", *([target[0]] if target else [])]
    wanted += [f"{name}.inlet.{key}" for name in filters.names
               for key in ("flow", "suspended_solids")]  # fmt: skip
    fixed |= {f"{name}.captured_mass": 0.0 for name in filters.names}
    source = float(case.sections["water"].suspended_solids or 0.0)
    if source <= 0:
        raise RequestError(f"{case.path}: water.suspended_solids above 0 is needed")
    solve = _per_source(train(free, list(dict.fromkeys(wanted))), fixed, source)
    axes: dict[str, tuple[float, float]] = {
        f"{name}.resistance": (clean, clean * ratio)
        for name, clean, ratio in zip(filters.names, filters.clean, filters.ratio, strict=True)
    }
    warm = max(temperatures) - min(temperatures) > 1e-6
    if warm:
        axes[TEMPERATURE] = (min(temperatures), max(temperatures))
    known = _distinct(solve, axes)
    keys = {key for key, _ in known.values() if key} or {"product.flow"}

    def tabulated(arrays: Mapping[str, Array]) -> Mapping[str, Array]:
        found = solve(arrays)
        return {key: found[key] for key in sorted(keys)}

    table = response(tabulated, axes, tolerance=TOLERANCE)
    return Line(filters, unknown, table, known, warm, target)


def without_hold(case: Any) -> tuple[Any, dict[str, float], tuple[str, float] | None]:
    """Return the case with its pump at full speed, the setting, and the flow that is held."""
    if not case.holds:
        return case, {}, None
    hold = case.holds[0]
    kind = case.numeric(hold.adjust).metadata["kind"]
    if len(case.holds) > 1 or kind != "speed" or not hold.until.endswith("flow"):
        raise RequestError(
            f"{hold.place}hold: over months one hold is followed, of a flow by the speed of a "
            "pump; write the other settings in their units"
        )
    wanted = hold.equals
    number = quantities.read(wanted, "flow") if isinstance(wanted, str) else float(wanted)
    return case.changed(holds=()), {hold.adjust: FULL_SPEED}, (hold.until, number)


def _per_source(solve: Train, fixed: Mapping[str, float], source: float) -> Train:
    """Return the train at fixed other inputs; solids ahead of a filter over those of the source."""

    def values(arrays: Mapping[str, Array]) -> dict[str, Array]:
        count = next(iter(arrays.values())).size
        found = solve({**arrays, **{name: np.full(count, v) for name, v in fixed.items()}})
        return {
            name: value / source if name.endswith("suspended_solids") else value
            for name, value in found.items()
        }

    return values


def _distinct(solve: Train, axes: Axes) -> dict[str, tuple[str, float]]:
    """Return which results are constant, and which go with another: one table serves both."""
    draw = np.random.default_rng(0)
    found = solve({name: draw.uniform(low, high, PROBES) for name, (low, high) in axes.items()})
    known: dict[str, tuple[str, float]] = {}
    for name, value in found.items():
        size = np.max(np.abs(value))
        if np.ptp(value) <= SAME * size:
            known[name] = ("", float(np.mean(value)))
            continue
        twins = (key for key, _ in known.values() if key and
                 np.max(np.abs(found[key] - value)) <= SAME * size)  # fmt: skip
        known[name] = (next(twins, name), 0.0)
    return known
