"""What may happen on the way: KIND@TIME, or UNIT.lamp_failure@TIME of one lamp of several."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.running.start_parameters import LONGEST

LAMP = "lamp_failure"
# kind -> entries of [startup] that it needs, and what happens
KINDS: dict[str, tuple[tuple[str, ...], str]] = {
    LAMP: ((), "the lamp goes out and stays out, the pump runs on"),
    "power_dip": (
        ("dip_time", "pump_stop_time", "restart_wait", "restart_warm_up"),
        "lamp and pump lose their power for a while",
    ),
    "pump_step": (("pump_step",), "the dial is turned at once"),
    "dull_water": (
        ("dull_transmittance", "dull_time"),
        "water of low transmittance is drawn in for a while",
    ),
}
EXAMPLE = "lamp_failure@600s"


class Event(NamedTuple):
    """Something that happens at a time after switching on."""

    kind: str
    time: float  # s
    unit: str = ""  # whose lamp it is

    def __str__(self) -> str:
        return f"{self.unit + '.' if self.unit else ''}{self.kind}@{self.time:g}s"


def read_events(texts: Iterable[str]) -> tuple[Event, ...]:
    """Return the events in their order; RequestError has a line for each that cannot be read."""
    found, problems = [], []
    for text in texts:
        try:
            found.append(_read(text))
        except RequestError as error:
            problems += [f"--event {text}: {line}" for line in error.problems]
    if problems:
        raise RequestError(problems)
    return tuple(sorted(found, key=lambda event: event.time))


def _read(text: str) -> Event:
    what, at, when = (part.strip() for part in text.partition("@"))
    unit, _, kind = what.rpartition(".")
    if not at or not when:
        raise RequestError(f"write KIND@TIME, such as {EXAMPLE}; kinds: {', '.join(KINDS)}")
    if kind not in KINDS:
        near = difflib.get_close_matches(kind, KINDS, n=1)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        raise RequestError(f'no event "{kind}"; known: {", ".join(KINDS)}{hint}')
    if unit and kind != LAMP:
        raise RequestError(f'{kind} is no event of one unit: leave "{unit}." out')
    try:
        time = quantities.read(when, "time")
    except RequestError as error:
        raise RequestError(
            f'the time "{when}" is no time with its unit, such as 600s: {error}'
        ) from error
    if not 0 <= time <= LONGEST:
        raise RequestError(f'the time "{when}" lies between 0 s and 24 h after switching on')
    return Event(kind, time, unit)


def one_lamp_each(events: Sequence[Event], lamps: Sequence[str]) -> list[tuple[Event, ...]]:
    """Return the events with a lamp named in each failure, once for every lamp that may be meant.

    RequestError for a name that is no lamp's, or where several failures leave it open.
    """
    unknown = sorted({event.unit for event in events if event.unit} - set(lamps))
    if unknown:
        raise RequestError(f"no lamp named {', '.join(unknown)}; known: {', '.join(lamps)}")
    open_ = [event for event in events if event.kind == LAMP and not event.unit]
    if len(open_) > 1 and len(lamps) > 1:
        raise RequestError([
            f"{event}: with several lamps and failures say which, such as {lamps[0]}.{event}"
            for event in open_
        ])  # fmt: skip
    if not open_ or len(lamps) == 1:
        return [tuple(events)]
    return [
        tuple(event._replace(unit=lamp) if event in open_ else event for event in events)
        for lamp in lamps
    ]
