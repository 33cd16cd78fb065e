"""The part of a page on water chemistry around reverse osmosis."""

from __future__ import annotations

from treatsim import quantities
from treatsim.operations.outcome import Value, at
from treatsim.safety.verdict import Verdict
from treatsim.water.scaling import SCALES

LINES = (  # address below the unit, in words
    ("feed.ph", "pH of the feed"),
    ("concentrate.ph", "pH of the concentrate"),
    ("permeate.ph", "pH of the permeate"),
    ("concentrate.langelier_index", "Langelier index of the concentrate, information only"),
    ("carbonate_index", "index of calcium carbonate that is held"),
    ("permeate.boron", "boron in the permeate"),
    ("permeate.sodium", "sodium in the permeate, estimate"),
    ("calcite_contact.ph", "pH of the permeate after calcite, closed to air"),
    ("calcite_contact.calcium", "calcium after calcite"),
    ("calcite_contact.alkalinity_as_calcium_carbonate", "alkalinity after calcite, as CaCO3"),
    ("blend_share", "share of source water in a blend of 300 mg/L"),
)
BY_INDEX = "calcite"  # judged by an index instead; its saturation is told


def chemistry_part(page, verdict: Verdict, system: str, point: int) -> None:
    """Add scale, pH and boron of each vessel, where they were worked out."""
    for name in verdict.result.sheet.units:
        extra = {
            key.removeprefix(f"{name}."): value
            for key, value in verdict.added.values.items()
            if key.startswith(f"{name}.")
        }
        if "permeate.sodium" in extra:
            page.head(f"Water chemistry, {name}")
            _scales(page, extra, point)
            _lines(page, extra, system, point)


def _scales(page, extra: dict[str, Value], point: int) -> None:
    found = [scale for scale in SCALES if f"saturation.{scale}" in extra]
    if not found:
        return
    page.line(" times saturated, and the highest recovery before scale forms at the membrane")
    page.table(
        (
            "",
            "concentrate",
            "membrane",
            "limit",
            "with antiscalant",
            "recovery",
            "with antiscalant",
        ),
        [
            (
                scale,
                f"{at(extra[f'saturation_bulk.{scale}'].value, point):.3g}",
                f"{at(extra[f'saturation.{scale}'].value, point):.3g}",
                *_limits(scale),
                *_recoveries(extra, scale, point),
            )
            for scale in found
        ],
    )


def _limits(scale: str) -> tuple[str, str]:
    if scale == BY_INDEX:
        return "index", "index"
    return f"{SCALES[scale].without:.3g}", f"{SCALES[scale].with_antiscalant:.3g}"


def _recoveries(extra: dict[str, Value], scale: str, point: int) -> list[str]:
    """Highest recovery without and with antiscalant; of a lone point."""
    if "recovery_searched" not in extra:
        return ["", ""]
    top = float(at(extra["recovery_searched"].value, point))
    found = []
    for key in ("recovery_limit", "recovery_limit_antiscalant"):
        share = float(at(extra[f"{key}.{scale}"].value, point))
        over = f"over {100 * top:.0f} %"
        found.append(over if share >= top - 1e-3 else f"{100 * share:.0f} %" if share else "none")
    return found


def _lines(page, extra: dict[str, Value], system: str, point: int) -> None:
    rows = [
        (words, quantities.text(float(at(extra[key].value, point)), extra[key].quantity, system, 3))
        for key, words in LINES
        if key in extra
    ]
    page.table(("", ""), rows)
