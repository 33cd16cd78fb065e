"""New, today and at the end of life, in cold and in warm water, and what a worn membrane asks for.

All membranes of a case age together. Each water is a batch of its own, for its pH is that of its
own temperature; what pressure keeps the design flow is found by a hold on the same points and along
a ladder of losses.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from treatsim.errors import RequestError
from treatsim.flowsheet.hold import Hold
from treatsim.operations.outcome import ROUND_OFF
from treatsim.safety.verdict import NOT_JUDGED, Verdict, judge
from treatsim.studies.ageing_table import AgeingParameters

AGES = ("new", "today", "end of life")
WATERS = ("coldest", "today", "warmest")
LADDER = 41  # water permeabilities over new, evenly in their logarithm
LEAST = 0.3  # last of them
WATER, SALT, WEAR = "water_permeability_ratio", "salt_permeability_ratio", "wear"
TEMPERATURE = "water.temperature"


class Reach(NamedTuple):
    """How far membranes may age at one temperature before something runs out."""

    ratio: float | None  # water permeability over new at which it does; None: not on the ladder
    years: float | None  # from today, negative: it is past; None where ratio is
    binds: str  # what runs out first, in words


class Ageing(NamedTuple):
    """The envelope of a case."""

    section: AgeingParameters
    temperatures: np.ndarray  # K, of WATERS
    ratios: np.ndarray  # water and salt permeability over new by AGES, shape (3, 2)
    fixed: tuple[Verdict, ...]  # by WATERS, at the case's setting; points by AGES
    design_flow: float  # m3/s
    ladder: np.ndarray  # water permeability over new
    kept: tuple[Verdict, ...]  # by WATERS, dial moved for the flow; points AGES, then the ladder
    reaches: tuple[Reach, ...]  # by WATERS


def ageing(case, report: Callable[[int, int], None] = lambda done, total: None) -> Ageing:
    """Return the envelope of a case with a table [ageing].

    Parameters
    ----------
    case : Case
        From `treatsim.load`.
    report : callable
        Told how many batches are solved.

    Returns
    -------
    Ageing
        Verdicts at every state, and what runs out when.

    Raises
    ------
    RequestError
        No table [ageing], no membranes, membranes of today beyond the end of their life, or a
        dial that is no stated pressure.

    Validity
    --------
    Along the ladder the salt permeability follows the water permeability by the power that joins
    today to the end of life, and beyond it by the same power. Fouling of the channel is left out.
    """
    section = case.sections.get("ageing")
    if section is None:
        raise RequestError(f"{case.path}: ageing is missing: a table [ageing] with coldest, "
                           "warmest and dial")  # fmt: skip
    now = _today(case, section)
    ratios = np.array([[1.0, 1.0], now, [section.end_water_permeability_ratio,
                                         section.end_salt_permeability_ratio]])  # fmt: skip
    waters = np.array([section.coldest, case.field(TEMPERATURE)[1], section.warmest], float)
    wear = (1.0, None, section.end_wear)
    fixed, kept = [], []
    for number, temperature in enumerate(waters):
        report(number, 2 * len(waters))
        fixed.append(judge(case.solve(_arrays(case, ratios, temperature, wear))))
    flow = section.design_flow or _design(fixed[1])
    keeping = _keeping(case, section.dial, flow)
    ladder = np.geomspace(1.0, LEAST, LADDER)
    steps = np.vstack([ratios, np.array([ladder, _salt(ladder, ratios)]).T])
    for number, temperature in enumerate(waters):
        report(len(waters) + number, 2 * len(waters))
        points = _arrays(case, steps, temperature, (*wear, *[None] * LADDER))
        kept.append(judge(keeping.solve(points)))
    reaches = tuple(_reach(v, ladder, now[0], section.water_loss_per_year) for v in kept)
    return Ageing(section, waters, ratios, tuple(fixed), flow, ladder, tuple(kept), reaches)


def _vessels(case) -> list[str]:
    return [name for name, unit in case.flowsheet().units.items() if unit.semipermeable]


def _today(case, section: AgeingParameters) -> list[float]:
    """Return the ratios of today, the same of all vessels."""
    names = _vessels(case)
    if not names:
        raise RequestError(f"{case.path}: no membranes are among the units: nothing ages")
    if case.numeric(section.dial).metadata["kind"] != "pressure" or not _stated(case, section.dial):
        raise RequestError(f'ageing.dial: "{section.dial}" is no pressure that the case states')
    own = [[float(case.field(f"{name}.{key}")[1]) for key in (WATER, SALT)] for name in names]
    if any(row != own[0] for row in own):
        raise RequestError(
            f"ageing: {', '.join(names)} differ in their ratios of today; membranes are taken to "
            "age together"
        )
    water, salt = own[0]
    ends = (section.end_water_permeability_ratio, section.end_salt_permeability_ratio)
    for key, value, end, beyond in ((WATER, water, ends[0], water < ends[0]),
                                    (SALT, salt, ends[1], salt > ends[1])):  # fmt: skip
        if beyond:
            raise RequestError(
                f"ageing.end_{key} = {end:g}: the membranes of today are at {value:g} already"
            )
    return own[0]


def _stated(case, address: str) -> bool:
    return case.field(address)[1] is not None


def _salt(ladder, ratios):
    """Salt permeability along the ladder: through today's where it has changed, then the end."""
    (_, _), (water, salt), (last, most) = ratios
    knots = {0.0: 0.0, float(np.log(water)): np.log(salt), float(np.log(last)): np.log(most)}
    x, y = np.array(sorted(knots.items())).T
    slope = (y[0] - y[1]) / (x[0] - x[1]) if len(x) > 1 else 0.0
    found = np.log(ladder)
    return np.exp(np.where(found < x[0], y[0] + slope * (found - x[0]), np.interp(found, x, y)))


def _arrays(case, ratios, temperature: float, wear) -> dict[str, Any]:
    """Return the inputs of the points; a wear of None is today's."""
    arrays = {TEMPERATURE: np.full(len(ratios), temperature)}
    for name in _vessels(case):
        arrays |= {f"{name}.{WATER}": ratios[:, 0], f"{name}.{SALT}": ratios[:, 1]}
    for name, record in case.parameters.items():
        if getattr(record, "volumetric_efficiency", None) is not None:
            own = float(record.wear)
            arrays[f"{name}.{WEAR}"] = np.array([own if w is None else w for w in wear], float)
    return arrays


def _design(fixed: Verdict) -> float:
    """Return the product of new membranes at the case's temperature."""
    if not fixed.result.solved[0]:
        raise RequestError("ageing.design_flow is missing: new membranes have no operating point "
                           "at the case's setting")  # fmt: skip
    return float(np.broadcast_to(fixed.value("product.flow").value, (len(AGES),))[0])


def _keeping(case, dial: str, flow: float):
    """Return the case with its dial moved for a flow of the product."""
    if any(hold.adjust == dial or hold.until == "product.flow" for hold in case.holds):
        raise RequestError("ageing: the case holds the dial or the product's flow already")
    return case.changed(holds=(*case.holds, Hold(dial, "product.flow", flow, "ageing: ")))


def _reach(kept: Verdict, ladder, now: float, loss: float) -> Reach:
    """Return where along the ladder a limit or the answer ends."""
    lost = ~kept.result.solved[len(AGES) :]
    place, words = float(LADDER), ""
    if np.any(lost):
        place, words = float(np.argmax(lost)), "no setting of the dial gives the design flow"
    for name, margin in margins(kept):
        rungs = margin[len(AGES) :]
        over = np.flatnonzero(~(rungs >= -ROUND_OFF) & ~lost)
        if over.size and (crossed := _crossed(rungs, int(over[0]))) < place:
            blind = np.isnan(rungs[over[0]])
            place, words = crossed, f"{name}, not judged beyond" if blind else name
    if not words:
        return Reach(None, None, "nothing as far as looked")
    ratio = float(np.exp(np.interp(place, np.arange(LADDER), np.log(ladder))))
    years = np.log(ratio / now) / np.log(1 - loss)
    return Reach(ratio, float(years), words)


def _crossed(rungs, step: int) -> float:
    """Return the place, counted in rungs, at which a margin becomes negative or ends."""
    if step == 0:
        return 0.0
    before, after = rungs[step - 1], rungs[step]
    if np.isnan(after):
        return float(step - 1)
    return step - 1 + max(before, 0.0) / (max(before, 0.0) - after)


def margins(verdict: Verdict) -> list[tuple[str, np.ndarray]]:
    """Return what may run out: every limit that is judged and no habit, and the array.

    Parameters
    ----------
    verdict : Verdict
        Judged points. [-]

    Returns
    -------
    list of tuple
        Words and margin at every point, negative beyond, NaN where it is not judged. [1]

    Validity
    --------
    The array is held against the train at its peak power through the inverter: what no sun
    exceeds. Litres of a day are told by the year.
    """
    points = (verdict.result.points,)
    found = [
        (limit.full_name,
         np.where(limit.states == NOT_JUDGED, np.nan, np.broadcast_to(limit.margin, points)))
        for limit in verdict.limits
        if limit.group != "practice" and np.any(limit.states < NOT_JUDGED) and not limit.waived
    ]  # fmt: skip
    array, loads = (verdict.result.sections.get(name) for name in ("array", "loads"))
    if array is not None:
        through = getattr(loads, "inverter_efficiency", 1.0)
        most = float(np.min(array.peak_power)) * float(np.min(through))
        power = sum(np.broadcast_to(d.power, points) for d in verdict.result.all_details.values())
        found.append(("power of the array at full sun", np.asarray(1 - power / most)))
    return found
