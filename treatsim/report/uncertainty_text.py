"""How sure an answer is, for people and as plain data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.operations.outcome import at
from treatsim.report.document import number
from treatsim.report.page import Page
from treatsim.report.screen import counted, share
from treatsim.studies.sensitivity import Sensitivity, Swing
from treatsim.studies.uncertainty import PERCENTS, Chance, Uncertainty

WIDTH = 100
SHOWN = (0, 2, 4)  # of the percentiles: the page has room for three
MOVERS = 3  # limits whose inputs are ranked on the page
SURE = 0.9995  # a limit that is met this often needs no ranking
SMALL_SWING = 0.01  # of the widest
ONLY = (
    "The chances are those of the stated spreads alone; what the formulas miss, what was not "
    "measured and what is not judged is not in them."
)


def uncertainty_text(
    told: Uncertainty,
    moved: Mapping[str, Swing],
    movers: Mapping[str, Sensitivity],
    system: str = "si",
    *,
    colour: bool = False,
) -> str:
    """Return the page: inputs, chances, what moves them, percentiles.

    moved, movers : by address of a result; `movers` is empty where nothing works out indices.
    """
    page = Page(colour, WIDTH)
    context = told.nominal.result.context
    page.line(context.title, "bold")
    samples = f"{told.samples:,}".replace(",", " ")
    many = counted(len(told.inputs.spreads), "uncertain input")
    page.line(f"{context.path}: {samples} samples of {many}")
    if missed := [limit.full_name for limit in told.nominal.of_state("not_met")]:
        page.line(f"NOT MET at the settings in the case: {', '.join(missed)}", "bold red")
    _inputs(page, told, system)
    _chances(page, told, system)
    _movers(page, told, moved, movers, system)
    _percentiles(page, told, system)
    page.line()
    page.listing(remarks(told))
    return page.text()


def weakest(told: Uncertainty) -> list[Chance]:
    """Return the limits that may be missed, the least sure first; one result once."""
    found: dict[str, Chance] = {}
    for one in sorted(told.chances, key=lambda chance: chance.met):
        if one.limit is not None and one.met < SURE:
            found.setdefault(one.limit.address, one)
    return list(found.values())


def remarks(told: Uncertainty) -> list[str]:
    """Return what has to be known to read the chances."""
    lines = [ONLY]
    if told.answered < 1:
        lines.append(
            f"{share(1 - told.answered)} of the samples have no operating point; they meet nothing"
        )
    lines += [
        f"{one.limit.name}: not judged at {share(one.unjudged)} of the samples, which do not "
        "count as met"
        for one in told.chances
        if one.limit is not None and one.unjudged > 0
    ]
    open_ = [limit.name for limit in told.nominal.of_state("not_judged")]
    if open_:
        lines.append(f"not judged at the case's settings, so without a chance: {', '.join(open_)}")
    if told.inputs.left_out:
        lines.append(
            f"spread stated and not carried, for it is no input of its own: "
            f"{', '.join(told.inputs.left_out)}"
        )
    if told.inputs.correlated:
        lines.append("the ranking of inputs lets them move independently; the chances do not")
    return lines


def _inputs(page: Page, told: Uncertainty, system: str) -> None:
    page.head("uncertain inputs")
    rows = []
    for one in told.inputs.spreads:
        ends = one.quantiles(np.array([0.05, 0.95]))
        rows.append((
            one.address,
            _cell(one.value, one.quantity, system),
            one.distribution,
            " to ".join(_cell(end, one.quantity, system) for end in ends),
        ))  # fmt: skip
    page.table(("", "value", "distribution", "90 % of it lie between"), rows)


def _chances(page: Page, told: Uncertainty, system: str) -> None:
    page.head(f"chance that each limit is met (asked: {share(told.confidence)})")
    rows, rest = [], 0
    for one in sorted(told.chances, key=lambda chance: chance.met):
        limit = one.limit
        if one.met == 1 and one.met >= told.confidence:
            rest += 1
            continue
        assert limit is not None
        value, asked = limit.told(system, 0, 3)
        rows.append((
            limit.full_name,
            value,
            f"{limit.relation} {asked}",
            share(one.met),
            f"{share(one.low)} to {share(one.high)}",
            "" if one.met >= told.confidence else "TOO LOW",
        ))  # fmt: skip
    if rest:
        rows.append((f"{counted(rest, 'limit')} met in every sample", "", "", "", "", ""))
    page.table(("", "as set", "", "met", "95 % band of it", ""), rows)
    together = told.all_met
    page.line(
        f" all of these together: {share(together.met)} "
        f"({share(together.low)} to {share(together.high)})",
        "bold",
    )


def _movers(
    page: Page,
    told: Uncertainty,
    moved: Mapping[str, Swing],
    movers: Mapping[str, Sensitivity],
    system: str,
) -> None:
    shown = [one.limit for one in weakest(told) if one.limit and one.limit.address in moved]
    if not shown:
        return
    page.head("which input moves it most")
    for limit in shown[:MOVERS]:
        page.line(f" {limit.name}", "bold")
        swing, index = moved[limit.address], movers.get(limit.address)
        widths = np.abs(np.diff(swing.ends, axis=1)[:, 0])
        rows = [
            (
                told.inputs.spreads[n].address,
                " to ".join(_cell(end, swing.quantity, system) for end in swing.ends[n]),
                _index(index.first[n], index.first_band[n]) if index else "",
                _index(index.total[n], index.total_band[n]) if index else "",
            )
            for n in swing.order
            if widths[n] > SMALL_SWING * widths.max()
        ]
        heads = ("share of variance alone", "with others") if index else ("", "")
        page.table(("", "at its 10 % to 90 % point", *heads), rows)


def _index(value: float, band: float) -> str:
    return f"{100 * value:.0f} % +- {100 * band:.0f}"


def _percentiles(page: Page, told: Uncertainty, system: str) -> None:
    page.head("percentiles of results")
    rows = []
    for address, (quantity, _) in told.results.items():
        levels = told.percentiles(address)
        if not np.all(np.isfinite(levels)):
            continue
        if np.ptp(levels) <= 1e-5 * np.max(np.abs(levels)):
            continue
        rows.append((address, *(_cell(levels[n], quantity, system) for n in SHOWN)))
    page.table(("", *(f"P{PERCENTS[n]:.0f}" for n in SHOWN)), rows)


def _cell(value: float, quantity: str, system: str) -> str:
    return quantities.text(float(value), quantity, system, 3)


def uncertainty_document(
    told: Uncertainty,
    moved: Mapping[str, Swing],
    movers: Mapping[str, Sensitivity],
    system: str = "si",
) -> dict[str, Any]:
    """Return everything as plain data."""
    context = told.nominal.result.context
    return {
        "treatsim": treatsim.__version__,
        "case": context.path,
        "title": context.title,
        "samples": told.samples,
        "answered": told.answered,
        "confidence": told.confidence,
        "sure": told.sure,
        "inputs": [
            {
                "address": one.address,
                **number(one.value, one.quantity, system),
                "distribution": one.distribution,
                "p5": number(one.quantiles(0.05), one.quantity, system)["value"],
                "p95": number(one.quantiles(0.95), one.quantity, system)["value"],
            }
            for one in told.inputs.spreads
        ],
        "chances": [_chance(one, system) for one in told.chances],
        "all_limits": {"met": told.all_met.met, "low": told.all_met.low, "high": told.all_met.high},
        "results": {
            address: {
                f"p{p:.0f}": number(v, quantity, system)["value"]
                for p, v in zip(PERCENTS, told.percentiles(address), strict=True)
            }
            | {"unit": quantities.shown(quantity, system)[0]}
            for address, (quantity, _) in told.results.items()
        },
        "sensitivity": {
            address: [
                {
                    "input": told.inputs.spreads[n].address,
                    "at_p10": number(swing.ends[n, 0], swing.quantity, system)["value"],
                    "at_p90": number(swing.ends[n, 1], swing.quantity, system)["value"],
                    **_indices(movers.get(address), n),
                }
                for n in swing.order
            ]
            for address, swing in moved.items()
        },
        "remarks": remarks(told),
    }


def _indices(one: Sensitivity | None, place: int) -> dict[str, float | None]:
    names = ("first", "first_band", "total", "total_band")
    return {name: float(getattr(one, name)[place]) if one else None for name in names}


def _chance(one: Chance, system: str) -> dict[str, Any]:
    limit = one.limit
    assert limit is not None
    return {
        "name": limit.name,
        "address": limit.address,
        "state": limit.state(),
        "met": one.met,
        "low": one.low,
        "high": one.high,
        "not_judged": one.unjudged,
        "limit": number(at(limit.limit, 0), limit.quantity, system)["value"],
        "value": number(at(limit.value, 0), limit.quantity, system)["value"],
        "unit": quantities.shown(limit.quantity, system)[0],
        "relation": limit.relation,
    }
