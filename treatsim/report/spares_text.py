"""What to bring, on one screen."""

from __future__ import annotations

import math
from collections.abc import Sequence

from treatsim import quantities
from treatsim.operations.outcome import weighed
from treatsim.report.basin_text import basin_lines
from treatsim.report.page import Page
from treatsim.report.screen import share
from treatsim.running.filter_state import CAUSES
from treatsim.running.forecast import FilterForecast, Item
from treatsim.running.moments import Moment
from treatsim.running.outlook import Outlook
from treatsim.running.spares import ONE_BY_ONE, SCENARIOS, SELDOM
from treatsim.safety.cautions import short_cautions

WIDTH = 80
HEADINGS = ("item", "why", "bring", "store", "level")
LIFE_WORDS = {
    "mass": "its capacity",
    "pressure drop": "its largest pressure drop",
    "flow": "the flow needed",
    "time in water": "its time in the water",
}


def spares_text(title: str, path: str, seen: Outlook, system: str = "si", *, colour: bool = False):
    """Return an outlook as text."""
    page, told = Page(colour, WIDTH), seen.told
    page.line(title, "bold")
    span = f"{told.months:.3g} month{'' if told.months == 1 else 's'}"
    page.line(f"{path}: {span}, {told.scenarios} scenarios of water and elements")
    page.line()
    page.line(
        f"BRING   so that nothing runs out with {_percent(told.level)}; all jointly "
        f"{_percent(told.joint)}", "bold",
    )  # fmt: skip
    page.table(HEADINGS, [_item(row) for row in told.items], left=2)
    page.listing(f"{name}: NOT JUDGED, needs {needs}; more may be needed"
                 for name, needs in seen.unjudged)  # fmt: skip
    page.line()
    page.line("FILTERS elements used in the months, and running time of one", "bold")
    page.table(
        ("filter", "mean", "median", "P90", "P95", "P99", "life", "first change"),
        [_filter(row, system) for row in told.filters],
    )
    page.listing(_why(row) for row in told.filters)
    page.line()
    if seen.basin is not None:
        daily = float(seen.plan.on[:24].sum()) * 3600.0
        basin_lines(page, seen.basin, daily, system)
    page.line("FLOW    solved at both ends of a life", "bold")
    page.listing(_moment(row, seen, system) for row in seen.moments)
    page.listing(_limits(seen, system))
    page.line()
    page.listing(_remarks(seen, system))
    groups = dict.fromkeys(("filters", *(["uv"] if _has_uv(seen) else [])))
    page.listing(short_cautions(groups)[:1])
    return page.text()


def _has_uv(seen: Outlook) -> bool:
    return any(row.quantity == "dose" for row in seen.limits)


def _percent(share: float) -> str:
    """Return a share, never rounded up to certainty."""
    return f"{math.floor(share * 1000) / 10:g} %"


def number(value: float) -> str:
    """Return a count as people read it."""
    return f"{value:.0f}" if abs(value - round(value)) < 1e-9 else f"{value:.3g}"


def _item(row: Item) -> tuple[str, ...]:
    level = "" if math.isnan(row.level) else _percent(row.level)
    unit = f" {row.unit}" if row.unit else ""
    order = "" if row.order_at is None else f"; order at {number(row.order_at)} left"
    packs = f", packs of {number(row.pack)}" if row.pack > 1 else ""
    return (row.name, f"{row.why}{packs}{order}", f"{number(row.bring)}{unit}", number(row.stock),
            level)  # fmt: skip


def _filter(row: FilterForecast, system: str) -> tuple[str, ...]:
    used = [f"{row.mean:.1f}", *(number(value) for value in row.quantiles)]
    if row.life is None or row.first is None:
        return (row.name, *used, "none changed", "")
    life = " to ".join(f"{row.life[n] / 3600:.2g}" for n in (0, 2))
    first = " to ".join(_days(row.first[n]) for n in (0, 2))
    return (row.name, *used, f"{life} h", f"day {first}")


def _days(hours: float) -> str:
    return f"{hours / 24:.0f}" if math.isfinite(hours) else "never"


def _why(row: FilterForecast) -> str:
    if not row.causes:
        return f"{row.name}: no element comes to its end in these months"
    main = max(row.causes, key=lambda word: row.causes[word])
    rest = [f"{LIFE_WORDS[word]} {row.causes[word]:.0%}" for word in CAUSES
            if word in row.causes and word != main]  # fmt: skip
    told = f"{row.name}: ended by {LIFE_WORDS[main]}" + (
        f" ({row.causes[main]:.0%}; {', '.join(rest)})" if rest else ""
    )
    return f"{told}, {quantities.text(row.mass, 'mass', digits=3)} in an element on average"


def _moment(row: Moment, seen: Outlook, system: str) -> str:
    warm = f" at {quantities.text(row.temperature, 'temperature', system, 3)}"
    if row.reason:
        return f"{row.words}{warm}: no operating point: {row.reason}"
    flow = quantities.text(row.flow, "flow", system, 3)
    energy = quantities.text(row.specific, "energy_per_volume", system, 3)
    speed = "" if row.setting is None else f", pump at {row.setting:.0%}"
    return f"{row.words}{warm}: {flow}, {energy}{speed}"


def _limits(seen: Outlook, system: str) -> list[str]:
    """Return every other limit that is missed or not judged, and how many are met."""
    lines = []
    for row in seen.limits:
        if row.worst == "not_met":
            worst = next(v for v, s in zip(row.values, row.states, strict=True) if s != "met")
            value, limit = weighed(worst, row.relation, row.limit, False, row.quantity, system, 3)
            lines.append(f"NOT MET: {row.name}: {value}, wanted {row.relation} {limit}")
    open_ = [row.name for row in seen.limits if row.worst == "not_judged"]
    if open_:
        lines.append(f"not judged: {', '.join(open_)}")
    lines += [
        f"NOT MET in muddy water: {row.name}: missed in {_hours(row.mean)} of running on average, "
        f"{_hours(row.high)} in one case of twenty: {row.mend}"
        for row in seen.missed
    ]
    if seen.told.under is not None:
        lines.append("hours under the dose are counted at the flow of elements as last changed")
    met = sum(row.worst in ("met", "waived") for row in seen.limits)
    return [*lines, f"{met} other limits are met at both ends, in the water of the case"]


def _hours(seconds: float) -> str:
    hours = seconds / 3600
    return f"{hours:.0f} h" if hours >= 10 else f"{hours:.2g} h"


def _remarks(seen: Outlook, system: str) -> Sequence[str]:
    told = seen.told
    low, high = told.volume[0], told.volume[2]
    lines = [
        f"water in the months: {low:.0f} to {high:.0f} m3 in nine cases of ten",
        f"{told.scenarios} scenarios tell the mean numbers of elements within "
        f"{max((row.error for row in told.filters), default=0.0):.1%}, in 19 cases of 20",
    ]
    if told.apart > SELDOM:
        lines.append(
            f"elements changed one by one came apart in {share(told.apart)} of the scenarios, "
            "which are followed step by step, ten times slower: the command draws "
            f"{ONE_BY_ONE} scenarios, not {SCENARIOS}; --scenarios for more"
        )
    if told.beyond > 0:
        lines.append(
            f"outside its range in {share(told.beyond)} of the running hours: solids by turbidity, "
            "known from 1 to 1000 NTU"
        )
    if told.running[0] < told.running[1] * (1 - 1e-6):
        lines.append(
            f"standing still above spares.stop_above: "
            f"{(told.running[1] - told.running[0]) / 3600:.0f} h of "
            f"{told.running[1] / 3600:.0f} h on average"
        )
    for row in seen.learnt:
        before, after = row.prior, row.posterior
        lines.append(
            f"{row.name} by {row.readings} readings of {row.lives} lives: capacity "
            f"{_spread(before)} became {_spread(after)}, exponent {before[2]:.2f} +- "
            f"{before[3]:.2f} became {after[2]:.2f} +- {after[3]:.2f}"
        )
    lines += seen.notes
    lines.append(f"flow tabulated from the train within {told.error:.1g} of its value")
    return lines


def _spread(moments: tuple[float, float, float, float]) -> str:
    return f"{quantities.text(moments[0], 'mass', digits=3)} (x/ {math.exp(moments[1]):.2f})"
