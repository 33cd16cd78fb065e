"""What a bed of calcite gives by its contact time

Most of the hardness is taken up in the first minutes; what a larger bed adds is certainty: beyond
four fifths of equilibrium the product hardly moves with flow and warmth.

Volume of the grains varied at the case's cross-section, for the case's water and 8 degC to either
side; the ring is the case. The limits of 80 % of equilibrium and of 15 m/h through the empty bed
are common practice, no source.

Sources: plummer_wigley_parkhurst_1978, wakao_funazkri_1978
"""

from __future__ import annotations

import numpy as np

from treatsim import operations
from treatsim.errors import NoSolutionError
from treatsim.operations.calcite_bed import LEAST_SHARE
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, kinds, pick, select, stacked, table
from treatsim.safety.verdict import judge

CASES = ("sea_calcite",)
SIZES = np.append(np.geomspace(0.02, 1.0, 22), (1.15, 1.3))  # of the case's bed
NOW = 21  # the place of 1 among them
COLDER = 8.0  # K
SHOWN = {"contact_time": "time", "hardness_added": "concentration", "ph_behind": "ph",
         "equilibrium_share": "fraction"}  # fmt: skip

__all__ = ["CASES", "applies", "data", "draw"]


def applies(case) -> bool:
    """Whether there is a bed, and a pH to tell what it gives."""
    return bool(_beds(case)) and case.sections["water"].ph is not None


def _beds(case) -> list[str]:
    return [
        name for name, kind in case.kinds.items()
        if "equilibrium_share" in operations.unit_class(kind).results
    ]  # fmt: skip


def data(case) -> Table:
    """Return what the bed gives by its size, in water of three temperatures."""
    warmth = float(case.sections["water"].temperature)
    rows = [_rows(case, warmth + step) for step in (-COLDER, 0.0, COLDER)]
    found = [part for part in rows if part]
    if not found:
        raise NoSolutionError("no operating point at any temperature of the bed's picture")
    return stacked(*found)


def _rows(case, warmth: float) -> Table:
    """Rows of one temperature; none where the train has no operating point."""
    bed = _beds(case)[0]
    volume = SIZES * float(case.parameters[bed].bed_volume)
    verdict = judge(case.solve({f"{bed}.bed_volume": volume, "water.temperature": warmth}))
    solved = verdict.result.solved
    if not np.any(solved):
        return {}
    told = [column(key, np.broadcast_to(verdict.value(f"{bed}.{key}").value, solved.shape)[solved],
                   kind) for key, kind in SHOWN.items()]  # fmt: skip
    return table(
        column("temperature", warmth, "temperature"),
        {"now": (np.arange(SIZES.size) == NOW)[solved].astype(float)},
        column("least_share", LEAST_SHARE, "fraction"),
        *told,
    )


@style.quiet
def draw(data: Table):
    """Draw hardness, share of equilibrium and pH over the contact time."""
    figure, axes = style.new_figure("What a bed of calcite gives by its contact time", 8.6, 3.4,
                                    1, 3)  # fmt: skip
    warmths = kinds(data, "temperature")
    for number, warmth in enumerate(warmths):
        rows = select(data, "temperature", warmth)
        time = pick(rows, "contact_time") / 60
        for axis, key in zip(axes, list(SHOWN)[1:], strict=True):
            axis.plot(time, pick(rows, key), label=f"water of {warmth:g} °C", **style.line(number))
            if number == len(warmths) // 2:
                axis.plot(time[pick(rows, "now") > 0], pick(rows, key)[pick(rows, "now") > 0],
                          **style.RING)  # fmt: skip
    axes[-1].axhline(pick(data, "least_share")[0], **style.LIMIT)
    axes[0].axhline(np.nan, label="usual least share", **style.LIMIT)
    axes[0].plot([], [], label="this case", **style.RING)
    axes[0].set_ylabel(style.label("Taken up, as CaCO3", "concentration"))
    axes[1].set_ylabel("pH behind the bed")
    axes[2].set_ylabel(style.label("Share of equilibrium", "fraction"))
    for axis in axes:
        axis.set_xlabel("Contact time of the empty bed [min]")
        axis.set_xlim(0, None)
    for axis in (axes[0], axes[2]):
        axis.set_ylim(0, None)
    style.legend_below(figure, axes[0], 5)
    return figure
