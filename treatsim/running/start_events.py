"""What may happen on the way: KIND@TIME, read from text."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import NamedTuple

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.running.start_parameters import LONGEST

# kind -> entries of [startup] that it needs, and what happens
KINDS: dict[str, tuple[tuple[str, ...], str]] = {
    "lamp_failure": ((), "the lamp goes out and stays out, the pump runs on"),
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

    def __str__(self) -> str:
        return f"{self.kind}@{self.time:g}s"


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
    kind, at, when = (part.strip() for part in text.partition("@"))
    if not at or not when:
        raise RequestError(f"write KIND@TIME, such as {EXAMPLE}; kinds: {', '.join(KINDS)}")
    if kind not in KINDS:
        near = difflib.get_close_matches(kind, KINDS, n=1)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        raise RequestError(f'no event "{kind}"; known: {", ".join(KINDS)}{hint}')
    try:
        time = quantities.read(when, "time")
    except RequestError as error:
        raise RequestError(
            f'the time "{when}" is no time with its unit, such as 600s: {error}'
        ) from error
    if not 0 <= time <= LONGEST:
        raise RequestError(f'the time "{when}" lies between 0 s and 24 h after switching on')
    return Event(kind, time)
