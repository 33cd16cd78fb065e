"""The year of a case as a page of text and as one JSON document."""

from __future__ import annotations

from typing import Any

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.arrays import Array
from treatsim.power.months import Months
from treatsim.power.sun import MONTH_OF_DAY
from treatsim.report.page import Page, cell
from treatsim.report.startup_text import cautions_of
from treatsim.running.plan import Plan, bound_by
from treatsim.running.start_cost import NEVER
from treatsim.running.year import (
    CAUSES,
    DRY,
    ON_95,
    POOR,
    Year,
    energy,
    implausible,
    worst_weeks,
)

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
ROUNDING = 1e-3  # of the mean day: a cause below it in every month is not shown
DIGITS = 3
HEADS = {
    "tools": "loads", "start_ups": "starts", "tank": "tank full", "hours": "hours",
    "bank": "bank", "dose": "dose", "pump": "pump", "sun": "sun",
}  # fmt: skip
WORDS = {
    "water_mean": "water of a day, mean",
    "water_on_90_percent_of_days": "at least, on 90 % of days",
    "water_on_95_percent_of_days": "at least, on 95 % of days",
    "water_worst_week": "mean day of the worst week",
    "days_without_water": "days without water",
    "people_served_on_95_percent_of_days": "people served on 95 % of days",
    "days_short_at_the_tap": "days on which less comes than is asked for",
    "loads_unserved": "of standby and priority loads, not served",
    "starts_a_day": "starts a day",
    "curtailed": "power that nothing takes, mean",
}


def months(found: Year) -> dict[str, Array]:
    """Return water of a day by month, all (12,). [m3], days in shares"""
    rows = [found.daily[month == MONTH_OF_DAY] for month in range(12)]
    return {
        "mean": np.array([row.mean() for row in rows]),
        "poor_day": np.array([np.percentile(row, POOR) for row in rows]),
        "worst_week": worst_weeks(found.daily),
        "days_without_water": np.array([np.mean(row < DRY) for row in rows]),
    }


DARK = 0.005  # share of the loads' energy that may be missing without a word in the answer


def answer(found: Year, system: str) -> list[str]:
    """Return the answer in a few lines."""

    def show(name: str) -> str:
        return cell(found.values[f"year.{name}"], system, digits=DIGITS)

    lines = [
        f"{show('water_mean')} a day on average, at least {show('water_on_95_percent_of_days')} on "
        f"95 % of days; {show('water_worst_week')} a day in the worst week"
    ]
    lines += _of_other_draws(found, system) + _of_clouds(found, system)
    served = found.values.get(ON_95["people"])
    if served is None:
        lines.append("people NOT JUDGED: no table [people]")
    elif found.wanted is None:
        lines.append(f"{served.value:.0f} people served on 95 % of days; how many are to be "
                     "served is not stated (people.number)")  # fmt: skip
    else:
        enough = served.value >= found.wanted
        state = "NOT MET: " if not enough else "NOT JUDGED: " if found.unsure else ""
        why = (
            "; another draw of years, or passing clouds, may serve fewer"
            if enough and found.unsure
            else ""
        )
        lines.append(f"{state}{served.value:.0f} people served on 95 % of days, "
                     f"{found.wanted:g} are to be served{why}")  # fmt: skip
    lines += [f"NOT MET at the setting in the case: {words}; these litres are not fit to count on"
              for words in found.missed]  # fmt: skip
    if np.isfinite(found.plan.most_starts):
        starts = found.trace.starts.reshape(len(found.daily), -1, found.daily.shape[1])
        often = np.mean(starts.sum(axis=1) >= found.plan.most_starts)
        lines.append(f"at most {found.plan.most_starts:g} starts a day ({bound_by(found.plan)}): "
                     f"reached on {often:.1%} of days")  # fmt: skip
    dark = float(found.values["year.loads_unserved"].value)
    if dark > DARK:
        lines.append(
            f"{dark:.1%} of the energy that standby and priority loads ask for is not there: a "
            "larger battery or array, a larger reserve, or fewer loads"
        )
    if found.open:
        lines.append("NOT JUDGED at the setting in the case: " + ", ".join(found.open))
    if why := implausible(found.plan, found.trace):
        lines.append(why)
    if found.state == "met":
        lines.append("every limit judged at the setting in the case is met; see treatsim solve")
    return lines


def _of_other_draws(found: Year, system: str) -> list[str]:
    """Say how far the poor day hangs on the years that happened to be drawn."""
    ends = found.draws.get(ON_95["water"])
    if ends is None:
        return []
    low, high = (quantities.text(end, "volume", system, DIGITS) for end in ends)
    line = f"other draws of {found.daily.shape[1]} years have {low} to {high} on 95 % of days"
    people = found.draws.get(ON_95["people"])
    return [line + ("" if people is None else f", for {people[0]:.0f} to {people[1]:.0f} people")]


def _of_clouds(found: Year, system: str) -> list[str]:
    """Say what clouds that pass within the hour take from the first year."""
    if found.clouds is None:
        return []
    hours, clouds = (
        [quantities.text(value, "volume", system, DIGITS) for value in (year.mean, year.on_95)]
        for year in (found.clouds.hours, found.clouds.clouds)
    )
    return [
        f"clouds that pass, tried on one of these years: {clouds[0]} a day on average instead of "
        f"{hours[0]}, {clouds[1]} instead of {hours[1]} on 95 % of days, "
        f"{found.clouds.clouds.starts:.1f} instead of {found.clouds.hours.starts:.1f} starts a day"
    ]


def _of_starts(plan: Plan, system: str) -> str:
    """Say what a start costs along the dial."""
    own, along = plan.train.start_time, np.ones(2)
    if plan.train.starts_at is not None:
        along = plan.train.starts_at[2]
    low, now, high = (
        "never" if time >= NEVER else quantities.text(time, "short_duration", system, DIGITS)
        for time in (own * along[0], own, own * along[-1])
    )
    return (
        f"A start is paid at the dial of its hour: no product for {low} at the lowest setting, "
        f"{now} in the case's, {high} at the highest; between, it goes with the time of a litre."
    )


def notes(found: Year, system: str) -> list[str]:
    """Return what the numbers rest on."""
    plan = found.plan
    ends = [
        quantities.text(float(np.interp(edge, plan.curve.power[0], plan.curve.setting[0])),
                        plan.curve.quantity, system)
        for edge in (plan.curve.low[0], plan.curve.full[0])
    ]  # fmt: skip
    lines = [
        *plan.notes,
        *plan.late,
        f"{plan.curve.dial} is turned between {ends[0]} and {ends[1]} (January): inside, no limit "
        "is missed that is met at the setting in the case, and no flow alarm shuts the valve.",
        f"Product and power along the dial are those of the solved train; the curve through them "
        f"is off by {plan.curve.error:.1e} of the value at most, at points between.",
        "The energy of every year is closed to 1e-9 kWh, else there would be no page. Steps of an "
        "hour change the litres by about 1 %; every drawn year has the same monthly means, so a "
        "dull year is not in these numbers, nor are breakdowns.",
        _of_starts(plan, system),
        "What is known of tomorrow when a start is decided is the usual sun of the season, not "
        "the weather.",
        "Lost litres: bounds are lifted one after the other in the order of the columns, so that "
        "they add up to what the train would make wide open, day and night. A bound whose lifting "
        "brings no more costs nothing: a higher dial takes more energy for a litre.",
        f"An hour of tools of {plan.tools / 1000:g} kW at noon costs "
        f"{quantities.text(found.tools, 'volume', system, DIGITS)} of water.",
    ]
    if plan.battery.temperature is None:
        lines.append("The battery is as warm as the air of the day before, not of the hour; state "
                     "battery.temperature where its box is warm or cool.")  # fmt: skip
    if found.clouds is not None:
        lines.append("Passing clouds: the sun's disc is covered for the share of the hour that its "
                     "direct light asks for, a cloud every 15 minutes (common practice, no source);"
                     " steps of 3 minutes, in which the train eases before it stops and keeps some "
                     "of the battery for clouds. All other numbers of this page are of hours "
                     "without them.")  # fmt: skip
    if found.draws:
        lines.append("Other draws: 95 % of them, by drawing whole years again out of these. The "
                     "litres of a poor day jump where a start more or less makes it.")  # fmt: skip
    else:
        lines.append("Too few years to tell by how much the poor day would differ in others.")
    if found.life is not None:
        lines.append(f"By its cycles alone the battery lasts {found.life:.3g} years; age and heat "
                     "take more.")  # fmt: skip
    return lines


def shown_causes(found: Year) -> list[str]:
    """Return the causes that cost water in some month."""
    least = ROUNDING * found.daily.mean()
    return [name for name in CAUSES if np.max(np.abs(found.lost[name])) > least]


def year_text(case: Any, found: Year, system: str = "si", *, colour: bool = False) -> str:
    """Return the page of a year."""
    page = Page(colour)
    page.line(case.title, "bold")
    count = found.daily.shape[1]
    page.line(f"{case.path}: {count} year{'s' if count > 1 else ''} of hours")
    page.head("answer")
    page.listing(answer(found, system))
    unit = quantities.shown("volume", system)[0]
    _month_table(page, found, system, unit)
    _lost_table(page, found, system, unit)
    if found.light is not None:
        _light_table(page, found.light, system)
    page.head("energy of a mean day, kWh")
    parts = energy(found.plan, found.trace)
    page.table(("", "kWh", "share"), [
        (name, f"{part / 3.6e6:.2f}", f"{part / parts['array']:.1%}")
        for name, part in parts.items() if abs(part) >= 5e-3 * 3.6e6 or name == "array"
    ])  # fmt: skip
    page.head("over the year")
    page.table(("", ""), [
        (words, cell(found.values[f"year.{key}"], system, digits=DIGITS))
        for key, words in WORDS.items() if f"year.{key}" in found.values
    ])  # fmt: skip
    page.head("what this rests on")
    page.listing(notes(found, system))
    page.head("cautions")
    page.listing(cautions_of(case))
    return page.text()


def _litres(value: float, system: str) -> str:
    number = quantities.show(float(value), "volume", system)[0]
    return f"{number:.0f}".replace("-0", "0") if abs(number) < 0.5 else f"{number:.0f}"


def _month_table(page: Page, found: Year, system: str, unit: str) -> None:
    page.head(f"water of a day, {unit}")
    table = months(found)
    page.table(
        ("", "mean", "one poor day in ten", "worst week", "days without water"),
        [
            (name, *(_litres(table[key][n], system) for key in ("mean", "poor_day", "worst_week")),
             f"{table['days_without_water'][n]:.1%}")
            for n, name in enumerate(MONTHS)
        ],
    )  # fmt: skip


LIGHT = {
    "horizontal": ("horizontal", "irradiation"), "plane": ("reaching the cells", "irradiation"),
    "power": ("array, at the bus", "daily_energy"), "poor": ("one poor day in ten", "daily_energy"),
}  # fmt: skip


def _light_table(page: Page, light: Months, system: str) -> None:
    page.head("sun and array, mean of a day")
    heads = [f"{words} {quantities.shown(kind, system)[0]}" for words, kind in LIGHT.values()]
    columns = [quantities.show(getattr(light, key), kind, system)[0]
               for key, (_, kind) in LIGHT.items()]  # fmt: skip
    page.table(("", *heads), [
        (name, *(f"{column[n]:.2f}" for column in columns)) for n, name in enumerate(MONTHS)
    ])  # fmt: skip


def _lost_table(page: Page, found: Year, system: str, unit: str) -> None:
    page.head(f"not made in a day, {unit}, and what holds it back")
    causes = shown_causes(found)
    page.table(
        ("", *(HEADS[name] for name in causes)),
        [
            (name, *(_litres(found.lost[cause][n], system) for cause in causes))
            for n, name in enumerate(MONTHS)
        ],
    )
    page.listing(f"{HEADS[name]}: {CAUSES[name]}" for name in causes if HEADS[name] != CAUSES[name])


def year_document(case: Any, found: Year, system: str = "si") -> dict[str, Any]:
    """Return a year as plain data; months January first."""

    def number(value: float, quantity: str) -> dict[str, Any]:
        told, unit = quantities.show(float(value), quantity, system)
        return {"value": told, "unit": unit}

    def twelve(values: Array, quantity: str) -> dict[str, Any]:
        told, unit = quantities.show(np.asarray(values, float), quantity, system)
        return {"values": [float(value) for value in told], "unit": unit}

    return {
        "treatsim": treatsim.__version__,
        "case": case.path,
        "title": case.title,
        "state": found.state,
        "answer": answer(found, system),
        "values": {key: number(value.value, value.quantity) for key, value in found.values.items()},
        "between_draws": {
            key: [number(end, found.values[key].quantity) for end in ends]
            for key, ends in found.draws.items()
        },
        "passing_clouds": {} if found.clouds is None else {
            name: {"mean": number(year.mean, "volume"), "on_95": number(year.on_95, "volume"),
                   "starts": year.starts}
            for name, year in found.clouds._asdict().items()
        },
        "months": {
            key: twelve(values, "fraction" if key == "days_without_water" else "volume")
            for key, values in months(found).items()
        },
        "sun_and_array": {} if found.light is None else {
            key: twelve(getattr(found.light, key), kind) for key, (_, kind) in LIGHT.items()
        },
        "made": twelve(found.made, "volume"),
        "possible": twelve(found.possible, "volume"),
        "lost": {cause: twelve(values, "volume") for cause, values in found.lost.items()},
        "energy_of_a_day": {
            name: number(part, "energy") for name, part in energy(found.plan, found.trace).items()
        },
        "train_curve_error": found.plan.curve.error,
        "hour_of_tools": number(found.tools, "volume"),
        "battery_life_by_cycles_years": None if found.life is None or np.isinf(found.life)
        else found.life,
        "notes": notes(found, system),
        "cautions": cautions_of(case),
    }  # fmt: skip
