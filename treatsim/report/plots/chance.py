"""How sure the least sure limit is

Where the curve of all samples crosses the limit stands the chance of meeting it, and the bars say
which input is worth measuring again.

Left: share of samples below a value, hollow ring the case as set. Right: the result with one input
alone at its 10 % (light) and 90 % (dark) point, all others at their medians, the widest first.

Sources: owen_1998, saltelli_2010
"""

from __future__ import annotations

import numpy as np

from treatsim.errors import NoSolutionError, RequestError
from treatsim.operations.outcome import at
from treatsim.report.plots import style
from treatsim.report.plots.table import Table, column, pick, select, stacked, table
from treatsim.studies.sensitivity import swings
from treatsim.studies.spread_inputs import spread_inputs
from treatsim.studies.uncertainty import uncertainty

CASES = ("sea",)
SAMPLES = 2**13
SHARES = np.linspace(0.002, 0.998, 167)
NARROW = 0.005  # of the widest swing: no bar
FEWEST = 3  # places for bars
LONGEST = 28  # letters of an input beside its bar

__all__ = ["CASES", "applies", "data", "draw"]


def applies(case) -> bool:
    """Whether inputs have spreads and a limit hangs on them."""
    try:
        spread_inputs(case)
        return bool(_weakest(case)[1])
    except (RequestError, NoSolutionError):
        return False


def _weakest(case):
    """Return the samples and the limit least often met, of the duty before all others."""
    told = uncertainty(case, samples=SAMPLES)
    moving = [(one.limit.group != "duty", one.met, n) for n, one in enumerate(told.chances)
              if one.limit is not None and one.met < 1]  # fmt: skip
    return told, told.chances[min(moving)[2]] if moving else None


def data(case) -> Table:
    """Return the distribution of the result, and the swing each input gives it."""
    told, weakest = _weakest(case)
    limit = weakest.limit
    quantity, samples = told.results[limit.address]
    known = samples[~np.isnan(samples)]
    swing = swings(case, told.inputs, {limit.address: quantity})[limit.address]
    fixed = (
        column("limit", at(limit.limit, 0), quantity),
        column("as_set", at(limit.value, 0), quantity),
        {
            "chance [%]": np.array(100 * weakest.met),
            "name": np.array(limit.name),
            "relation": np.array(limit.relation),
            "quantity": np.array(quantity),
        },
    )
    width = np.abs(np.diff(swing.ends, axis=1)[:, 0])
    order = [n for n in swing.order if width[n] > NARROW * width.max()]
    curve = table(
        {"part": np.array("samples"), "input": np.array(""), "share [%]": 100 * SHARES},
        column("low", np.quantile(known, SHARES), quantity),
        column("high", np.quantile(known, SHARES), quantity),
        *fixed,
    )
    bars = table(
        {
            "part": np.array("input"),
            "input": np.array([told.inputs.spreads[n].address for n in order]),
            "share [%]": 100 * width[order] / width.max(),
        },
        column("low", swing.ends[order, 0], quantity),
        column("high", swing.ends[order, 1], quantity),
        *fixed,
    )
    return stacked(curve, bars)


@style.quiet
def draw(data: Table):
    """Draw the distribution beside the swings."""
    quantity, name = (str(pick(data, key)[0]) for key in ("quantity", "name"))
    figure, (left, right) = style.new_figure(
        "How sure the least sure limit is", 9.2, 3.6, 1, 2, gridspec_kw={"width_ratios": (1, 1.15)}
    )
    _curve(left, select(data, "part", "samples"))
    left.set(xlabel=style.label(name, quantity), ylabel="Samples below [%]", ylim=(0, 100))
    _bars(right, select(data, "part", "input"))
    right.set_xlabel(style.label(name, quantity))
    return figure


def _curve(axis, rows: Table) -> None:
    values, share = pick(rows, "low"), pick(rows, "share")
    limit, chance = float(pick(rows, "limit")[0]), float(pick(rows, "chance")[0])
    below = str(pick(rows, "relation")[0]) == ">="
    missed = values <= limit if below else values >= limit
    axis.fill_between(values, 0, 100, where=missed, color=style.WASH, linewidth=0)
    axis.plot(values, share, **style.line(0))
    axis.axvline(limit, **style.LIMIT)
    now = float(pick(rows, "as_set")[0])
    axis.plot([now], [np.interp(now, values, share)], **style.RING)
    axis.set_title(f"met in {chance:.3g} % of the samples; shaded: not met")
    axis.set_xlim(values[0], values[-1])


def _bars(axis, rows: Table) -> None:
    low, high = pick(rows, "low"), pick(rows, "high")
    now = float(pick(rows, "as_set")[0])
    for place, (first, last) in enumerate(zip(low, high, strict=True)):
        middle = min(max(now, min(first, last)), max(first, last))
        axis.barh(place, first - middle, 0.55, left=middle, color=style.FAINT, edgecolor=style.INK,
                  linewidth=0.6)  # fmt: skip
        axis.barh(place, last - middle, 0.55, left=middle, color=style.COLOURS[0],
                  edgecolor=style.INK, linewidth=0.6)  # fmt: skip
    axis.axvline(float(pick(rows, "limit")[0]), **style.LIMIT)
    names = [text if len(text) <= LONGEST else f"...{text[-LONGEST:]}" for text in
             pick(rows, "input").tolist()]  # fmt: skip
    axis.set(
        yticks=range(len(names)), yticklabels=names, ylim=(max(len(names), FEWEST) - 0.4, -0.6)
    )
    axis.grid(visible=False, axis="y")
    axis.tick_params(axis="y", length=0)
    axis.set_title("one input alone, light at its 10 %, dark at its 90 % point")
