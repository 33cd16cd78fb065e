"""How far before each scale, and the acid or antiscalant it takes: a page, and one document."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import treatsim
from treatsim import quantities
from treatsim.operations.chemical_dosing import CHEMICALS
from treatsim.report.ageing_text import cautions_of
from treatsim.report.page import Page
from treatsim.studies.scale_doses import CALCITE, Dose, Scale, Vessel

WIDTH = 80
NOTES = (
    "Limits are common practice, from memory; the antiscalant's data sheet decides, and its dose "
    "is the one that sheet asks for.",
    "Recovery is told by how far the salt of the source is concentrated (of a second pass that of "
    "its feed); polarisation and passage stay those of the vessel as it runs.",
    "Acid goes into the water of the source (of a second pass into its feed), closed to air, on "
    "top of what the case doses; it helps against calcium carbonate alone, and sulfuric acid "
    "brings sulfate.",
    "What the elements bear in pH counts as well: solve the case with the dose.",
)


def scaling_text(
    case: Any, found: Sequence[Vessel], system: str = "si", *, colour: bool = False
) -> str:
    """Return the page, the worst of all conditions of each vessel."""
    page = Page(colour, WIDTH)
    page.line(case.title, "bold")
    page.line(f"{case.path}: scale, and what it takes")
    for name in dict.fromkeys(vessel.name for vessel in found):
        own = [vessel for vessel in found if vessel.name == name]
        page.head(f"{name}, {_where(own)}")
        _scales(page, own)
        page.listing(_answer(own))
        _acids(page, own, system)
    page.head("what this rests on")
    page.listing(NOTES)
    page.head("cautions")
    page.listing(cautions_of(case))
    return page.text()


def _where(own: Sequence[Vessel]) -> str:
    shares = sorted({f"{100 * vessel.recovery:.3g} %" for vessel in own})
    told = f"at a recovery of {' to '.join((shares[0], shares[-1])[: len(shares)])}"
    return told if len(own) == 1 else f"{told}, worst of {len(own)} conditions"


def _scales(page: Page, own: Sequence[Vessel]) -> None:
    several = len(own) > 1
    rows = []
    for mineral in dict.fromkeys(scale.mineral for vessel in own for scale in vessel.scales):
        scale, vessel = worst(own, mineral)
        value, bare, held = scale.levels
        least = [_recovery(own, mineral, key) for key in ("recovery_bare", "recovery_held")]
        cells = (mineral + (" index" if mineral == CALCITE else ""), f"{value:.3g}", f"{bare:.3g}",
                 f"{held:.3g}", *least)  # fmt: skip
        rows.append((*cells, _short(vessel.condition)) if several else cells)
    heads = ("scale", "value", "limit", "with a.", "recovery", "with a.")
    page.table((*heads, "worst at") if several else heads, rows)


def worst(own: Sequence[Vessel], mineral: str) -> tuple[Scale, Vessel]:
    """Return a scale where it stands nearest to, or furthest beyond, its limit."""
    pairs = [(s, v) for v in own for s in v.scales if s.mineral == mineral]
    return max(pairs, key=lambda pair: pair[0].levels[0] - pair[0].levels[1])


def _recovery(own: Sequence[Vessel], mineral: str, key: str) -> str:
    pairs = [(getattr(s, key), v.searched) for v in own for s in v.scales if s.mineral == mineral]
    share = min(pairs)[0]
    if not math.isfinite(share):
        return f"over {100 * math.floor(100 * min(t for _, t in pairs)) / 100:.0f} %"
    return f"{100 * share:.0f} %" if share else "none"


def _answer(own: Sequence[Vessel]):
    """Yield what is needed, by what goes beyond its limits."""
    names = list(dict.fromkeys(scale.mineral for vessel in own for scale in vessel.scales))
    over = {n: worst(own, n)[0].levels for n in names}
    bare = [n for n in names if over[n][0] > over[n][1]]
    held = [n for n in names if over[n][0] > over[n][2]]
    dosed = all(vessel.dosed for vessel in own)
    yield f"the case doses {'an' if dosed else 'no'} antiscalant ahead of it"
    if not bare:
        yield "no scale goes beyond its limit: neither acid nor antiscalant is needed"
        return
    yield f"beyond the limit without an antiscalant: {', '.join(bare)}"
    if held:
        yield f"beyond what antiscalants commonly hold: {', '.join(held)}; recover less"
    else:
        yield "an antiscalant commonly holds all of it, at its data sheet's dose"
    others = [n for n in bare if n != CALCITE]
    if CALCITE in bare and others:
        yield f"acid alone is not enough: it does nothing for {', '.join(others)}"


def _acids(page: Page, own: Sequence[Vessel], system: str) -> None:
    rows = []
    for acid, antiscalant in dict.fromkeys((d.acid, d.antiscalant) for v in own for d in v.doses):
        dose, vessel = worst_dose(own, acid, antiscalant)
        where = _short(vessel.condition) if dose.dose else ""
        cells = (CHEMICALS[acid].words, "yes" if antiscalant else "no", *_told(dose, system), where)
        rows.append(cells if len(own) > 1 else cells[:-1])
    if rows:
        page.line()
        page.line(" acid that brings calcium carbonate to its limit")
        heads = ("", "antiscalant", "pure acid", "target pH", "gypsum then", "worst at")
        page.table(heads[: len(rows[0])], rows, left=2)


def _short(condition: str) -> str:
    """Return a condition of one input by its value alone."""
    return condition if " and " in condition else condition.rpartition(" = ")[2]


def worst_dose(own: Sequence[Vessel], acid: str, antiscalant: bool) -> tuple[Dose, Vessel]:
    """Return the largest dose of one acid over the conditions."""
    pairs = [(d, v) for v in own for d in v.doses if (d.acid, d.antiscalant) == (acid, antiscalant)]
    return max(pairs, key=lambda pair: pair[0].dose)


def _told(dose: Dose, system: str) -> tuple[str, str, str]:
    if not math.isfinite(dose.dose):
        return "not enough at any", "", ""
    gypsum = f"{dose.gypsum:.3g}" if math.isfinite(dose.gypsum) else ""
    if dose.dose == 0:
        return "none", f"{dose.ph:.2f} as is", gypsum
    return quantities.text(dose.dose, "concentration", system, 3), f"{dose.ph:.2f}", gypsum


def scaling_document(case: Any, found: Sequence[Vessel]) -> dict[str, Any]:
    """Return every vessel at every condition as plain data; doses in mg/L, null: not at any."""

    def number(value: float) -> float | None:
        return float(value) if math.isfinite(value) else None

    return {
        "treatsim": treatsim.__version__,
        "case": case.path,
        "title": case.title,
        "vessels": [
            {
                "vessel": v.name,
                "condition": v.condition or None,
                "recovery": v.recovery,
                "recovery_as_run": v.as_run,
                "recovery_searched": v.searched,
                "antiscalant_dosed": v.dosed,
                "beyond_limits": v.beyond,
                "scales": [
                    {
                        "scale": s.mineral,
                        **dict(zip(("value", "limit", "limit_antiscalant"), s.levels, strict=True)),
                        "highest_recovery": number(s.recovery_bare),
                        "highest_recovery_antiscalant": number(s.recovery_held),
                    }
                    for s in v.scales
                ],
                "acid": [
                    {"acid": d.acid, "antiscalant": d.antiscalant,
                     "dose_mg_per_litre": number(1e3 * d.dose), "target_ph": number(d.ph),
                     "gypsum": number(d.gypsum)}
                    for d in v.doses
                ],
            }
            for v in found
        ],
    }  # fmt: skip
