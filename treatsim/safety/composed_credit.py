"""Log credits as expressions of the smooth numbers they step on; tables are those of the rules."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np

from treatsim.constants import ZERO_CELSIUS
from treatsim.correlations.disinfection.contact_time import MG_MIN_PER_L
from treatsim.correlations.uv.dose_table import DOSE_TABLE, LOG_CREDITS
from treatsim.flowsheet.flowsheet import Flowsheet, Port
from treatsim.operations.composed import Composed, Tree, names_in, renamed
from treatsim.operations.outcome import Value
from treatsim.safety import ct_tables
from treatsim.safety.log_credit import BARRIER_CAP, CLASSES, Barrier
from treatsim.safety.path_credit import totals_in_product

MILLIGRAM = 1e-3  # kg/m3 in 1 mg/L
KINDS = {  # read of a barrier -> quantity
    "flow": "flow", "transmittance": "uv_transmittance", "turbidity": "turbidity",
    "residual": "concentration", "time": "time", "temperature": "temperature",
    "pressure drop": "pressure_difference", "feed conductivity": "conductivity",
    "permeate conductivity": "conductivity",
}  # fmt: skip


def single(value: Any) -> float | None:
    """Return a bound as one number.

    Parameters
    ----------
    value : array_like or None
        As the rule has it.

    Returns
    -------
    float or None
        None where nothing is stated, or where it differs from point to point.

    Validity
    --------
    Any.

    Source
    ------
    definition
    """
    if value is None or np.size(value) != 1 or not np.all(np.isfinite(value)):
        return None
    return float(np.ravel(np.asarray(value, float))[0])


def stepped_dose(cls: str, bacteria_dose: float) -> Tree:
    """Return the credit of a UV dose, which is read as "dose for" its class.

    Parameters
    ----------
    cls : str
        Class of germs.
    bacteria_dose : float
        Dose that earns 4 log of bacteria. [J/m2]

    Returns
    -------
    list
        Tree.

    Validity
    --------
    As `correlations.uv.dose_table.credited_log`.

    Source
    ------
    cfr_141_720
    """
    if cls not in DOSE_TABLE:
        return ["steps", f"dose for {cls}", [bacteria_dose], [0.0, BARRIER_CAP]]
    return ["steps", f"dose for {cls}", list(DOSE_TABLE[cls]), [0.0, *LOG_CREDITS]]


@cache
def stepped_chlorine(ph: float) -> dict[str, Tree]:
    """Return the credits of free chlorine by the tables, read down to their lines.

    Parameters
    ----------
    ph : float
        Acidity, of all points. [1]

    Returns
    -------
    dict
        Class -> tree over "residual", "time" and "temperature".

    Validity
    --------
    As `ct_tables`: of a residual between two lines the line that asks for the least time counts.

    Source
    ------
    cfr_141_74 (b)(3) for Giardia, epa_816_r_03_004 for virus, both from memory
    """
    virus: list[Tree] = [0.0]
    giardia: list[Tree] = [0.0]
    ct = ["times", "residual", "time"]
    for line in ct_tables.tables()["virus"]["temperature"]:
        needed, refused, _ = ct_tables.virus_lookup(line + ZERO_CELSIUS, ph)
        steps = [0.0, *ct_tables.tables()["virus"]["log_reduction"]]
        virus.append(0.0 if refused else ["steps", ct, needed.tolist(), steps])
    table = ct_tables.tables()["giardia"]
    lines = [line * MILLIGRAM for line in table["chlorine"]]
    for block in range(len(table["temperature"])):
        column = _column(table, block, ph)
        giardia.append(0.0 if column is None else _rate(lines, column))
    celsius = ["less", "temperature", ZERO_CELSIUS]
    by_virus = ["steps", celsius, list(ct_tables.tables()["virus"]["temperature"]), virus]
    by_giardia = ["steps", celsius, list(table["temperature"]), giardia]
    return {"bacteria": by_virus, "virus": by_virus, "giardia": by_giardia}


def _column(table: Mapping[str, Any], block: int, ph: float) -> list[float] | None:
    """Return the CT of every line of chlorine at a pH; None outside the table. [kg s/m3]"""
    found = ct_tables.giardia_lookup(table["temperature"][block] + ZERO_CELSIUS, ph, 0.0)
    if found.refused:
        return None
    place = int(np.argmin(np.abs(np.array(table["ph"]) - found.ph)))
    return [row[place] * MG_MIN_PER_L for row in table["ct"][block]]


def _rate(lines: list[float], column: list[float]) -> Tree:
    """Return 3 CT / CT99.9, each line counting no more than its own residual, capped."""
    counted = [
        ["times", 3.0 / ct, ["least", "residual", line]]
        for line, ct in zip(lines, column, strict=True)
    ]
    return ["least", ct_tables.GIARDIA_CAP, ["times", "time", ["most", *counted]]]


def held(tree: Tree, bounds: Mapping[str, float | None], least: Mapping[str, float | None]) -> Tree:
    """Return a credit that stands while reads keep their bounds.

    Parameters
    ----------
    tree : float, str or list
        The credit. [log]
    bounds, least : mapping
        Read -> most, and least, that it may be; None: nothing is covered. [SI]

    Returns
    -------
    list or float
        Tree; 0 where a bound is not stated.

    Validity
    --------
    A read on its bound keeps it.

    Source
    ------
    definition
    """
    if None in (*bounds.values(), *least.values()):
        return 0.0
    for name, bound in bounds.items():
        tree = ["upto", name, bound, tree, 0.0]
    for name, bound in least.items():
        tree = ["steps", name, [bound], [0.0, tree]]
    return tree


def composed_credits(
    sheet: Flowsheet,
    flows: Mapping[Port, Any],
    end: Port,
    barriers: Mapping[str, Barrier],
    share: Any,
) -> dict[str, Composed]:
    """Return how the log credit of each class is made, where all that is drunk passes in line.

    Parameters
    ----------
    sheet, flows, end, barriers
        As of `path_credit.totals_in_product`; flows [m3/s].
    share : array_like
        Share of the product that passes everything untreated. [1]

    Returns
    -------
    dict
        Class -> its credit; a class whose barriers do not tell how they step is left out.

    Validity
    --------
    A barrier that only part of the water passes makes a class be left out.

    Source
    ------
    definition of log reduction
    """
    passed = {}
    for name in barriers:
        probe = Barrier(name, dict.fromkeys(CLASSES, 1.0), "")
        whole = totals_in_product(sheet, flows, end, {name: probe})["virus"]
        passed[name] = bool(np.all(whole == 1.0))
        if not passed[name] and np.any(whole != 0.0):
            return {}
    apart = single(share)
    found = {}
    for cls in CLASSES if apart is not None else ():
        ways: dict[str, list[Tree]] = {}
        for name, barrier in barriers.items():
            if passed[name] and cls in barrier.credits:
                ways.setdefault(barrier.cause, []).append(_tree(barrier, cls))
        every = [tree for way in ways.values() for tree in way]
        if all(tree is not None for tree in every):
            total = ["sum", 0.0, *(["most", 0.0, *way] for way in ways.values())]
            tree = ["mixed", total, apart] if apart else total
            found[cls] = Composed(tree, _reads(barriers, names_in(tree)))
    return found


def _tree(barrier: Barrier, cls: str) -> Tree:
    """Return what a barrier earns in a class; None where it does not tell."""
    if cls in barrier.steps:
        names = {name: f"{barrier.name}.{name}" for name in barrier.reads}
        return ["least", BARRIER_CAP, renamed(barrier.steps[cls], names)]
    return 0.0 if not np.any(barrier.credits[cls]) else None


def _reads(barriers: Mapping[str, Barrier], wanted: set[str]) -> dict[str, Value]:
    return {
        f"{barrier.name}.{name}": Value(value, KINDS.get(name, "dose"))
        for barrier in barriers.values()
        for name, value in barrier.reads.items()
        if f"{barrier.name}.{name}" in wanted
    }
