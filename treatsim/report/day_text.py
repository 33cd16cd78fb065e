"""One day of a case as a screen of text and as one JSON document."""

from __future__ import annotations

import datetime
from typing import Any

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.arrays import Array
from treatsim.power.one_day import AROUND
from treatsim.power.sun import HOURS
from treatsim.report.page import Page
from treatsim.report.startup_text import cautions_of
from treatsim.running.day import (
    NOTHING,
    PER_HOUR,
    Day,
    Night,
    full_yield,
    may_be_plugged_in,
    night_of,
)
from treatsim.running.plan import bound_by

WIDTH, DIGITS = 80, 3
MOST_RUNS = 3  # told one by one
MOST_CAUTIONS = 3
FREE = 1e-4  # m3, below which an hour of tools costs nothing
DULLNESS = "as dull as one day in ten at that time of the year"


def clock(hour: float) -> str:
    """Return an hour of the day as a clock shows it."""
    minutes = round(hour * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def date_of(day: Day) -> str:
    """Return the date in words."""
    date = datetime.date(2023, 1, 1) + datetime.timedelta(days=day.number)
    return f"{date.day} {date:%B}"


def named(day: Day) -> str:
    """Return what the sky is like, and by which clock hours are told."""
    sky = DULLNESS if day.dull else "without a cloud"
    zone = day.weather.weather.place.zone
    return f"{sky}; local standard time, UTC {zone:+g} h"


def spans(true: Array) -> list[tuple[int, int]]:
    """Return the hours of the clock between which something holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(true, int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _between(hours: list[tuple[Any, Any]]) -> str:
    return ", ".join(f"{clock(start)} to {clock(end)}" for start, end in hours)


def answer(day: Day, system: str) -> list[str]:
    """Return the answer in a few lines."""
    lines = [f"NOT MET at the setting in the case: {words}; this water is not fit to count on"
             for words in day.missed]  # fmt: skip
    runs = day.runs
    water = quantities.text(float(day.trace.water.sum()), "volume", system, DIGITS)
    if not runs:
        lines.append("the train does not run: no water")
    else:
        when = _between(runs if len(runs) <= MOST_RUNS else [(runs[0][0], runs[-1][1])])
        often = "" if len(runs) <= MOST_RUNS else f", {len(runs)} starts"
        lines.append(f"start and stop: {when}{often}; {water} of water")
    if len(runs) >= day.plan.most_starts:
        lines.append(f"at most {day.plan.most_starts:g} starts a day ({bound_by(day.plan)}): no "
                     "more after the last")  # fmt: skip
    lines += [_tools(day, system), _night(night_of(day), system)]
    unserved = float(day.trace.unserved.sum()) * day.plan.step
    if unserved > NOTHING:
        lines.append("NOT served of standby and priority loads on the day: "
                     f"{quantities.text(unserved, 'energy', system, DIGITS)}")  # fmt: skip
    if day.open:
        lines.append("NOT JUDGED at the setting in the case: " + ", ".join(day.open))
    return lines


def _tools(day: Day, system: str) -> str:
    """Say when tools may be plugged in, and what they cost in water."""
    may = may_be_plugged_in(day)
    power = f"{day.plan.tools / 1000:g} kW"
    if not may.any():
        return f"tools of {power} may be plugged in at no hour"
    most = float(day.cost[may].max())
    cost = [quantities.text(v, "volume", system, 2) for v in (float(day.cost[may].min()), most)]
    price = f"an hour costs {cost[0]} to {cost[1]}" if most > FREE else "they cost no water"
    return f"tools of {power} may be plugged in {_between(spans(may))}; {price}"


def _night(night: Night, system: str) -> str:
    """Say what is left for the night, and whether that is enough."""
    held, needed, missing = (
        quantities.text(value, "energy", system, DIGITS)
        for value in (night.held, night.needed, night.missing)
    )
    enough = "enough" if night.missing <= NOTHING else f"NOT ENOUGH, {missing} are missing"
    return (
        f"left for the night at {clock(night.dusk)}: {held}; standby and priority loads need "
        f"{needed} until {clock(night.dawn)}: {enough}"
    )


def notes(day: Day, system: str) -> list[str]:
    """Return what the numbers rest on."""
    usual, given = (
        quantities.text(value, "irradiation", system, DIGITS)
        for value in (day.weather.usual, day.weather.irradiation)
    )
    litres = full_yield(day.plan) * float(np.max(day.plan.train.start_energy))
    start = quantities.text(litres, "volume", system, 2)
    return [
        f"{given} on the horizontal; the days before and after are usual, {usual} ({AROUND} days "
        f"on either side).",
        "Clouds that pass within the day are not in it: treatsim year tells what they cost in "
        "starts and litres. Hours are of standard time: where summer time holds, add an hour.",
        f"Steps of {60 // PER_HOUR} minutes, rules of the year. Tools are served by sun and "
        "battery above the reserve; their litres count this day, the next and what is then "
        f"stored; one start more or less moves them by {start}.",
        *day.plan.late,
    ]


def columns(day: Day) -> dict[str, tuple[Array, str]]:
    """Return what is told of each hour of the clock, (24,), with its quantity."""
    trace, capacity = day.trace, float(day.plan.battery.capacity)

    def mean(values: Array) -> Array:
        return np.asarray(values.reshape(HOURS, PER_HOUR).mean(axis=1))

    found = {
        "sun": (mean(day.sun), "power"),
        "train": (mean(trace.train[:, 0]), "power"),
        "water": (mean(trace.water[:, 0]) * PER_HOUR, "volume"),
        "battery": (trace.stored[PER_HOUR - 1 :: PER_HOUR, 0] / capacity, "fraction"),
        "unused": (mean(trace.curtailed[:, 0]), "power"),
        "cost_of_tools": (day.cost, "volume"),
        "tools_granted": (day.granted, "fraction"),
    }
    if day.plan.draw is not None:
        found["tank"] = (trace.level[PER_HOUR - 1 :: PER_HOUR, 0], "volume")
    return found


HEADS = {"sun": "sun", "train": "train", "water": "water", "battery": "battery",
         "unused": "unused", "tank": "tank", "cost_of_tools": "1 h of tools"}  # fmt: skip


def _table(page: Page, day: Day, system: str) -> None:
    """Add the hours in which there is sun, or the train runs."""
    found = columns(day)
    lit = np.flatnonzero((found["sun"][0] > 0) | (found["train"][0] > 0))
    rows = range(int(lit[0]), int(lit[-1]) + 1) if lit.size else range(0)
    heads = {k: words for k, words in HEADS.items() if k in found}
    heads = {k: w for k, w in heads.items() if k != "unused" or found[k][0].any()}
    units = {key: quantities.shown(found[key][1], system)[0] for key in heads}
    may = may_be_plugged_in(day)

    def number(key: str, hour: int) -> str:
        value, unit = quantities.show(float(found[key][0][hour]), found[key][1], system)
        if key == "cost_of_tools" and not may[hour]:
            return "no"
        return f"{value:.0f}" if unit in ("W", "%") or abs(value) >= 100 else f"{value:.3g}"

    page.table(
        ("clock", *(f"{words} {units[key]}" for key, words in heads.items())),
        [(f"{clock(h)}", *(number(key, h) for key in heads)) for h in rows],
    )


def day_text(case: Any, day: Day, system: str = "si", *, colour: bool = False) -> str:
    """Return the screen of a day."""
    page = Page(colour, WIDTH)
    page.line(case.title, "bold")
    page.line(f"{case.path}, {date_of(day)}")
    page.line(named(day))
    page.head("answer")
    page.listing(answer(day, system))
    page.head("by the hour, means from each hour on; battery and tank at its end")
    _table(page, day, system)
    page.head("what this rests on, and cautions")
    page.listing([*notes(day, system), *cautions_of(case)[:MOST_CAUTIONS]])
    return page.text()


def day_document(case: Any, day: Day, system: str = "si") -> dict[str, Any]:
    """Return a day as plain data, by the hour of the clock from midnight."""

    def number(value: float, quantity: str) -> dict[str, Any]:
        told, unit = quantities.show(float(value), quantity, system)
        return {"value": told, "unit": unit}

    hours = {}
    for key, (values, quantity) in columns(day).items():
        told, unit = quantities.show(np.asarray(values, float), quantity, system)
        hours[key] = {"values": [float(value) for value in told], "unit": unit}
    night = night_of(day)
    return {
        "treatsim": treatsim.__version__,
        "case": case.path,
        "title": case.title,
        "day": date_of(day),
        "sky": named(day),
        "day_of_year": day.number + 1,
        "answer": answer(day, system),
        "runs": [{"from": clock(start), "to": clock(end)} for start, end in day.runs],
        "water": number(float(day.trace.water.sum()), "volume"),
        "irradiation": number(day.weather.irradiation, "irradiation"),
        "usual_irradiation": number(day.weather.usual, "irradiation"),
        "tools": number(day.plan.tools, "power"),
        "tools_may_be_plugged_in": [bool(may) for may in may_be_plugged_in(day)],
        "night": {
            "from": clock(night.dusk),
            "to": clock(night.dawn),
            "held": number(night.held, "energy"),
            "needed": number(night.needed, "energy"),
            "missing": number(night.missing, "energy"),
        },
        "hours": hours,
        "notes": notes(day, system),
        "cautions": cautions_of(case),
    }
