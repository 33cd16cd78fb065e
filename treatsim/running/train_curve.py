"""The train as a load: product against electrical power along its dial, through the year.

The dial is turned between the settings at which no limit is missed that is met today. Flow and
power come from the flowsheet itself, through a response surface whose error is measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.errors import NoSolutionError, RequestError
from treatsim.operations.parameters import field_problem
from treatsim.running.operation import MONTHS, OperationParameters, monthly
from treatsim.running.response import FIRST, response, train
from treatsim.safety.verdict import NOT_MET, Verdict, judge

CHECKS = 32  # points for each input at which the response is held against the train
PLACES = 17  # settings along the dial
SCAN, REFINED = 33, 17  # settings looked at for the ends of the dial, and closer at each
NODES = 9  # of the response along the dial, to begin with
REACH = (0.4, 1.6)  # of the present setting
LEAST_FLOW = 0.2  # of the present one
WANTED = ("product.flow", "energy.specific")
TOLERANCE = 2e-3  # of the response surface
MID_MONTH = (np.arange(MONTHS) + 0.5) / MONTHS  # share of the year


class Curve(NamedTuple):
    """Product against power, for each day of the year or for all, (days or 1, places)."""

    dial: str  # address of what is turned
    quantity: str
    setting: Array  # [SI]
    power: Array  # electrical, of the whole train [W]
    flow: Array  # product [m3/s]
    low: Array  # least power that keeps the limits, (days or 1,) [W]
    full: Array  # most power that keeps them
    free: Array  # most power if the duty, such as a dose, did not hold it
    error: float  # largest miss of the response surface seen, relative


def curve_of(case: Any, operation: OperationParameters, days: int) -> Curve:
    """Return the train of a case as a load.

    Parameters
    ----------
    case : Case
        The case; its present setting of the dial must have an answer.
    operation : OperationParameters
        Table [operation] of it.
    days : int
        Days of the year.

    Returns
    -------
    Curve
        One row for each day if the water changes over the year, else one for all.

    Validity
    --------
    Power rises with the dial. Above the flow alarm of [startup] the interlock shuts: the dial ends
    there. Between the middles of two months the water changes evenly, and the narrower of their two
    ranges of the dial holds.

    Raises
    ------
    NoSolutionError
        No operating point now, or none as smooth as the response needs.
    RequestError
        No dial, or one that is not to be turned.

    Source
    ------
    The flowsheet.
    """
    address = dial_of(case, operation)
    months = monthly(case, operation)
    low, high, free = _ends(case, address, operation, months)
    axes = {address: (float(low.min()), float(free.max()))}
    axes |= {a: (float(v.min()), float(v.max())) for a, v in months.items() if np.ptp(v) > 0}
    if axes[address][0] == axes[address][1]:  # a dial without play: a little of it, for the slope
        axes[address] = (axes[address][0] * (1 - 1e-3), axes[address][1])
    fixed = {a: float(v[0]) for a, v in months.items() if a not in axes}
    surface = response(
        _with(train(case, WANTED), fixed), axes, tolerance=TOLERANCE, checks=CHECKS * len(axes),
        first=NODES if len(axes) == 1 else FIRST,
    )  # fmt: skip
    rows = days if len(axes) > 1 else 1
    setting = np.broadcast_to(np.linspace(*axes[address], PLACES), (rows, PLACES))
    water = {a: over_days(months[a], days)[:, None] for a in axes if a != address}
    found = surface({address: setting, **water})
    power = found["energy.specific"] * found["product.flow"]
    if not np.all(np.diff(power, axis=1) > 0):
        raise NoSolutionError(f"the power of the train does not rise with {address} everywhere")

    def at(ends: Array, stricter) -> Array:
        along = ends[:1] if rows == 1 else _stricter(ends, days, stricter)
        return np.array([np.interp(*row) for row in zip(along, setting, power, strict=True)])

    return Curve(
        address, case.field(address)[0].metadata["kind"], setting, power, found["product.flow"],
        at(low, np.maximum), at(high, np.minimum), at(free, np.minimum),
        max(surface.error.values()),
    )  # fmt: skip


def dial_of(case: Any, operation: OperationParameters) -> str:
    """Return the address of the input that is turned with the sun."""
    if operation.dial is None:
        movers = [u for u in case.flowsheet().units.values() if u.moves_water]
        if len(movers) != 1:
            names = ", ".join(f"{u.name}.{f}" for u in movers for f in u.dials)
            raise RequestError(
                f"operation.dial is missing: say which is turned with the sun; {names}"
            )
        address = f"{movers[0].name}.{movers[0].dials[0]}"
    else:
        address = operation.dial
    item, now = case.field(address)
    if address.partition(".")[0] not in case.kinds or item.metadata["kind"] in (
        "choice",
        "text",
        "count",
    ):
        raise RequestError(f"operation.dial: {address} is no number of a unit")
    if now is None:
        raise RequestError(f"operation.dial: {address} needs a value in the case to start from")
    if address in {hold.adjust for hold in case.holds}:
        raise RequestError(f"operation.dial: {address} is set by a [[hold]]; take it out")
    return address


def over_days(values: Array, days: int) -> Array:
    """Return monthly values, in the middle of each month, over the days of the year."""
    place = (np.arange(days) + 0.5) / days
    return np.interp(place, MID_MONTH, values, period=1.0)


def _stricter(values: Array, days: int, stricter) -> Array:
    """Return the stricter of the two months around each day."""
    place = (np.arange(days) + 0.5) / days * MONTHS - 0.5
    before = np.floor(place).astype(int) % MONTHS
    return stricter(values[before], values[(before + 1) % MONTHS])


def _with(solve, fixed: Mapping[str, float]):
    """Return a train with some inputs held."""

    def held(arrays):
        count = len(next(iter(arrays.values())))
        return solve({**arrays, **{a: np.full(count, v) for a, v in fixed.items()}})

    return held


def _ends(case, address, operation, months) -> tuple[Array, Array, Array]:
    """Return lowest, highest, and highest without duty, of the dial, (months,). [SI]"""
    item, now = case.field(address)
    now = float(np.max(now))
    stated = [_stated(item, name, getattr(operation, name)) for name in ("lowest", "highest")]
    low = max(REACH[0] * now, item.metadata["low"]) if stated[0] is None else stated[0]
    high = min(REACH[1] * now, item.metadata["high"]) if stated[1] is None else stated[1]
    if not low <= now <= high:
        kind = item.metadata["kind"]
        shown = [quantities.text(v, kind) for v in (low, now, high)]
        raise RequestError(
            f"operation: {address} = {shown[1]} does not lie between its lowest, {shown[0]}, "
            f"and its highest, {shown[2]}"
        )
    judged = _judged(case, address, months)
    row = np.unique(np.append(np.linspace(low, high, SCAN), now))
    place = int(np.searchsorted(row, now))
    met = judged(np.broadcast_to(row, (_states(months), row.size)))
    if not np.all(met.answered[:, place]):
        raise NoSolutionError(f"no operating point at {address} as in the case in every month")
    counted = ~met.broken[:, :, place].any(axis=1)  # limits missed already narrow nothing
    rest = counted & ~met.duty
    flows = LEAST_FLOW * met.flow[:, place].min(), _alarm(case, float(met.flow[:, place].max()))
    sides = [(counted, -1), (counted, 1)] + [(rest, 1)] * bool(np.any(met.duty & counted))
    brackets = [_bracket(_good(met, limits, flows), row, place, way) for limits, way in sides]
    share = np.linspace(0.0, 1.0, REFINED)
    tried = [inside[:, None] + (outside - inside)[:, None] * share for inside, outside in brackets]
    again = judged(np.concatenate(tried, axis=1))
    found = []
    for number, ((limits, _), settings) in enumerate(zip(sides, tried, strict=True)):
        columns = slice(number * REFINED, (number + 1) * REFINED)
        found.append(_last(_good(again, limits, flows)[:, columns], settings))
    return found[0], found[1], np.maximum(found[1], found[-1])


def _alarm(case, flow: float) -> float:
    """Return the flow at which the interlock shuts, inf without one; above `flow`, or refused."""
    start = case.sections.get("startup")
    if start is None or start.flow_alarm is None:
        return np.inf
    alarm = float(start.flow_alarm)
    if flow > alarm:
        raise NoSolutionError(
            f"the product of the case, {quantities.text(flow, 'flow')}, is above "
            f"startup.flow_alarm = {quantities.text(alarm, 'flow')}: the interlock shuts, and "
            "nothing reaches the product"
        )
    return alarm


class _Judged(NamedTuple):
    answered: Any  # (12, settings)
    flow: Array
    broken: Array  # (limits, 12, settings)
    duty: Array  # which limits are such that people rely on, (limits,)


def _judged(case, address, months):
    def at(settings: Array) -> _Judged:
        shape = settings.shape
        water = {a: np.repeat(v, shape[1]) for a, v in months.items()}
        verdict: Verdict = judge(case.solve({address: settings.ravel(), **water}))
        result = verdict.result
        points = (result.points,)
        broken = [np.broadcast_to(limit.states, points) == NOT_MET for limit in verdict.limits]
        flow = np.broadcast_to(np.asarray(verdict.value("product.flow").value, float), points)
        return _Judged(
            result.solved.reshape(shape),
            np.where(result.solved, flow, 0.0).reshape(shape),
            np.array(broken).reshape(len(broken), *shape),
            np.array([limit.group in ("duty", "health") for limit in verdict.limits], dtype=bool),
        )

    return at


def _states(months: Mapping[str, Array]) -> int:
    """Return how many states of the water are looked at."""
    return MONTHS if months else 1


def _good(found: _Judged, counted: Array, flows: tuple[float, float]) -> Any:
    """Tell where there is an answer, and no limit of those counted is missed.

    flows: least that counts, and that at which the interlock shuts [m3/s]
    """
    enough = (found.flow >= flows[0]) & (found.flow <= flows[1])
    return enough & found.answered & ~found.broken[counted].any(axis=0)


def _bracket(good: Array, row: Array, place: int, way: int) -> tuple[Array, Array]:
    """Return the last setting on the way from the present one that is good, and the next one."""
    along, settings = good[:, place::way], row[place::way]
    last = _count(along) - 1
    return settings[last], settings[np.minimum(last + 1, settings.size - 1)]


def _last(good: Array, settings: Array) -> Array:
    """Return the last of settings in a row up to which all are good; the first one counts as such.

    Both (months, settings).
    """
    last = np.maximum(_count(good) - 1, 0)
    return settings[np.arange(last.size), last]


def _count(good: Array) -> Array:
    """Return how many are good from the first on, without a gap."""
    return np.where(good.all(axis=1), good.shape[1], np.argmin(good, axis=1))


def _stated(item, name: str, text: str | None) -> float | None:
    if text is None:
        return None
    try:
        value = quantities.read(str(text), item.metadata["kind"])
    except RequestError as error:
        raise RequestError(f"operation.{name} = {text!r}: {error}") from error
    if problem := field_problem(item, value):
        raise RequestError(f"operation.{name} = {text!r}: {problem}")
    return value
