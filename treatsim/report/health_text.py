"""The health part of the page and of the document: ledger, chlorine, people, analytes, remedies."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.operations.outcome import Value, at
from treatsim.safety.log_credit import CLASSES, Barrier
from treatsim.safety.parts.germs import Germs
from treatsim.safety.verdict import Verdict
from treatsim.studies.remedies import Remedy

PEOPLE_ROWS = (
    ("daily_volume", "water a day"),
    ("people_served", "people served at the level planned"),
    ("people_served_drinking", "people, drinking only (3 L)"),
    ("people_served_survival", "people, survival (7.5 L)"),
    ("people_served_full", "people, full (15 L)"),
    ("tank_buffer", "storage between running and drawing"),
)


def _text(value: Value, system: str, point: int, digits: int = 3) -> str:
    return quantities.text(float(at(value.value, point)), value.quantity, system, digits)


def _log(value, point: int) -> str:
    number = float(at(value, point))
    return f"{np.floor(number * 10 + 1e-6) / 10:g}"  # a credit is never rounded up


def health_part(page, verdict: Verdict, system: str, point: int) -> None:
    """Add ledger, chlorine, people and analytes to the page."""
    if verdict.germs is not None:
        _ledger(page, verdict.germs, point)
    _people(page, verdict, system, point)
    _analytes(page, verdict, system, point)


def remedies_part(page, remedies: Sequence[Remedy]) -> None:
    """Add what would help, if that was computed."""
    if not remedies:
        return
    page.head("Why not: what would help most, one change at a time, each solved anew")
    for number, remedy in enumerate(remedies, 1):
        done = f"meets {', '.join(remedy.closes)}" if remedy.closes else "brings it nearer"
        rest = f"; not met then: {', '.join(remedy.leaves)}" if remedy.leaves else ""
        page.numbered(number, f"{remedy.text}: {done}{rest}")


def _ledger(page, ledger: Germs, point: int) -> None:
    page.head("Log credit, barrier by barrier")
    rows = [(name, *_row(barrier, point), barrier.source)
            for name, barrier in ledger.barriers.items()]  # fmt: skip
    totals = ledger.credit.totals
    rows.append(("earned", *(_log(totals[c], point) for c in CLASSES), ""))
    if ledger.target:
        clauses = ", ".join(dict.fromkeys(ledger.source.values()))
        rows.append(("asked", *(_asked(ledger, c, point) for c in CLASSES), clauses))
        rows.append(("missing", *(_missing(ledger, c, point) for c in CLASSES), ""))
    page.table(("barrier", *CLASSES, "clause"), rows)
    if any("(" in cell for row in rows for cell in row[1:5]):
        page.line(" in brackets: the design figure, which counts once the terms below hold")
    page.listing(_sentences(ledger, point))


def _row(barrier: Barrier, point: int) -> list[str]:
    """Return the credit per class; the figure without its terms in brackets."""
    cells = []
    for cls in CLASSES:
        earned, design = _log(barrier.earned(cls), point), _log(barrier.credits[cls], point)
        cells.append(earned if earned != "0" or design == "0" else f"0 ({design})")
    return cells


def _asked(ledger: Germs, cls: str, point: int) -> str:
    if cls not in ledger.target:
        return "-"
    high = f"{float(at(ledger.target[cls], point)):.3g}"
    if cls in ledger.lower:
        return f"{float(at(ledger.lower[cls], point)):.2g} to {float(high):.2g}"
    return high


def _missing(ledger: Germs, cls: str, point: int) -> str:
    if cls not in ledger.target:
        return "-"
    short = -float(at(ledger.credit.margins[cls], point))
    return f"{np.ceil(short * 10 - 1e-6) / 10:g}" if short > 1e-9 else "0"


def _sentences(ledger: Germs, point: int) -> list[str]:
    found = [weakest(ledger, point)]
    share = float(at(ledger.untreated_share, point))
    if share > 0:
        found.append(f"{100 * share:.2g} % of the water passes untreated; survival is averaged, "
                     "so that share alone caps every class "
                     f"at {-np.log10(share):.1f} log")  # fmt: skip
    for name, barrier in ledger.barriers.items():
        broken = barrier.broken(point)
        if broken:
            found.append(f"{name} earns no credit (of the classes concerned) unless this holds: "
                         f"{'; '.join(broken)}")  # fmt: skip
    owed: dict[tuple[str, ...], list[str]] = {}
    for name, barrier in ledger.barriers.items():
        if barrier.missing:
            owed.setdefault(barrier.missing, []).append(name)
    found += [f"missing at {', '.join(names)}: {'; '.join(texts)}"
              for texts, names in owed.items()]  # fmt: skip
    return found


def weakest(ledger: Germs, point: int = 0) -> str:
    """Return the weakest link as a sentence."""
    cls = str(np.atleast_1d(ledger.credit.weakest_class)[_at(ledger.credit.weakest_class, point)])
    name = str(
        np.atleast_1d(ledger.credit.weakest_barrier)[_at(ledger.credit.weakest_barrier, point)]
    )
    margin = float(at(ledger.credit.margins[cls], point))
    stars = f"household scheme: {int(at(ledger.tier, point))} of 3 stars"
    if not ledger.target:
        first = f"weakest class: {cls}, {_log(margin, point)} log; no target is stated ({stars})"
    elif margin < -1e-9:
        first = (f"weakest link: {cls}, {_missing(ledger, cls, point)} log short of the "
                 f"{ledger.wording} ({stars})")  # fmt: skip
    else:
        first = (f"weakest link: {cls}, {_log(margin, point)} log to spare over the "
                 f"{ledger.wording} ({stars})")  # fmt: skip
    if name and any(float(at(ledger.barriers[name].earned(c), point)) > 0 for c in CLASSES):
        return f"{first}; the barrier whose failure would cost most is {name}"
    return f"{first}; no barrier earns credit"


def _at(value, point: int) -> int:
    return point if np.size(value) > 1 else 0


def _people(page, verdict: Verdict, system: str, point: int) -> None:
    extra = verdict.added.values
    rows = [(words, _text(extra[f"product.{key}"], system, point, 6 if "people" in key else 3))
            for key, words in PEOPLE_ROWS if f"product.{key}" in extra]  # fmt: skip
    if rows:
        page.head("People")
        page.table(("", ""), rows)


def _analytes(page, verdict: Verdict, system: str, point: int) -> None:
    found = verdict.analytes
    if found.taste is None:
        return
    page.head("What is dissolved")
    rows, pleasant = [], []
    for row in found.rows:
        if row.guideline.kind == "health" or row.after is None or _over(row, point):
            rows.append(row)
        elif row.guideline.kind == "taste":
            pleasant.append(row.guideline.analyte.replace("_", " "))
    if rows:
        page.table(
            ("analyte", "for", "value", "before", "after", "how known", "remark"),
            [_analyte(row, system, point) for row in rows], left=2,
        )  # fmt: skip
        page.line(" P: provisional. Values carry their edition; national ones go before.")
    words = [name.replace("_", " ") for name in found.untouched]
    taste = str(np.atleast_1d(found.taste)[_at(found.taste, point)])
    page.listing([
        f"taste of the dissolved solids: {taste}",
        *([f"within the values for taste and use: {', '.join(pleasant)}"] if pleasant else []),
        f"no stage here removes: {', '.join(words)}",
        *([f"removed only in part: {', '.join(n.replace('_', ' ') for n in found.partly)}"]
          if found.partly else []),
        *(["no analytes are stated: measure before anyone drinks"] if not found.rows else []),
    ])  # fmt: skip


def _over(row, point: int) -> bool:
    return row.after is not None and bool(at(row.after.exceeds, point))


def _analyte(row, system: str, point: int) -> tuple[str, ...]:
    line = row.guideline
    kind = {"NTU": "turbidity", "1/m3": "organisms"}.get(line.unit, "concentration")

    def side(verdict):
        return "" if verdict is None else _text(Value(verdict.value, kind), system, point)

    remark = "ABOVE" if _over(row, point) else "not known after" if row.after is None else "within"
    mark = " P" if line.provisional else ""
    return (
        line.analyte.replace("_", " "),
        line.kind,
        _text(Value(line.limit, kind), system, 0) + mark,
        side(row.before),
        side(row.after),
        f"{line.known} {line.edition}",
        remark,
    )


def health_document(verdict: Verdict, remedies: Sequence[Remedy], point: int) -> dict[str, Any]:
    """Return ledger, analytes and remedies as plain data."""
    ledger = verdict.germs
    return {
        "ledger": None if ledger is None else _ledger_data(ledger, point),
        "analytes": [_analyte_data(row, point) for row in verdict.analytes.rows],
        "not_removed": verdict.analytes.untouched,
        "partly_removed": verdict.analytes.partly,
        "remedies": [
            {"text": r.text, "closes": list(r.closes), "leaves": list(r.leaves),
             "shortfall": r.shortfall} for r in remedies
        ],
    }  # fmt: skip


def _ledger_data(ledger: Germs, point: int) -> dict[str, Any]:
    def logs(table):
        return {cls: float(at(table[cls], point)) for cls in CLASSES if cls in table}

    return {
        "barriers": [
            {
                "unit": name,
                "earned": {cls: float(at(b.earned(cls), point)) for cls in CLASSES},
                "design": logs(b.credits),
                "clause": b.source,
                "broken": list(b.broken(point)),
                "missing": list(b.missing),
            }
            for name, b in ledger.barriers.items()
        ],
        "earned": logs(ledger.credit.totals),
        "asked": logs(ledger.target),
        "asked_low": logs(ledger.lower),
        "asked_by": ledger.wording,
        "margins": {cls: float(at(m, point)) for cls, m in ledger.credit.margins.items()},
        "untreated_share": float(at(ledger.untreated_share, point)),
        "weakest": weakest(ledger, point),
    }


def _analyte_data(row, point: int) -> dict[str, Any]:
    line = row.guideline

    def side(verdict):
        return None if verdict is None else float(at(verdict.value, point))

    return {
        "analyte": line.analyte, "kind": line.kind, "limit": line.limit, "unit": line.unit,
        "basis": line.basis, "provisional": line.provisional, "edition": line.edition,
        "source": line.source, "known": line.known, "before": side(row.before),
        "after": side(row.after), "remark": row.remark,
    }  # fmt: skip
