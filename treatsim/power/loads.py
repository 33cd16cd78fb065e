"""What draws power beside the train: standby, priority loads, tools, and what takes the rest."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, quantity, record, reference

CLOCK = r"(\d{1,2})(?::(\d{2}))?"
HOURS = re.compile(rf"\s+(?:from\s+)?{CLOCK}\s*(?:-|to)\s*{CLOCK}(?:\s*h)?\s*$")
DAY = 24.0  # h
CLASSES = ("priority", "deferrable", "opportunity")


class Load(NamedTuple):
    """One load: its power, and the hours of the local clock in which it draws it."""

    power: float  # alternating current [W]
    start: float  # [h]
    end: float  # [h]; below the start, over midnight

    @classmethod
    def read(cls, row: Any) -> Load:
        """Read "500 W 10:00 to 13:00"; without hours, day and night."""
        if not isinstance(row, str):
            raise RequestError('a text such as "500 W 10:00 to 13:00" belongs here')
        match = HOURS.search(row)
        power = quantities.read(row[: match.start()] if match else row, "power")
        if not 0 < power <= quantities.SIZES["power"][1]:
            raise RequestError(f'"{row[:40]}": a power above 0 W')
        return cls(power, *(read_hours(match[0].strip()) if match else (0.0, DAY)))


@record
class LoadsParameters(Parameters):
    """What draws power beside the train, and what turns direct current into alternating."""

    inverter_efficiency: float = quantity(
        "efficiency", "of the inverter between bus and loads; the drive of a pump is in its unit"
    )
    standby: float = quantity("power", "drawn at the bus day and night", low=0.0)
    priority: list | None = reference(
        "loads served first, down to the floor of the battery, with their hours",
        example=["15 W", "20 W 19:00 to 23:00"],
        default=None,
    )
    deferrable: list | None = reference(
        "loads served before the train, but not out of the reserve: tools",
        example=["500 W 10:00 to 13:00"],
        default=None,
    )
    opportunity: list | None = reference(
        "loads that take only what nobody else can use", example=["300 W 9:00 to 16:00"],
        default=None,
    )  # fmt: skip
    tools: float = quantity(
        "power", "of the tools whose hour `day` and `year` tell in litres", low=0.0, open_low=True,
        default=1000.0,
    )  # fmt: skip

    def conflicts(self):
        """Refuse a load that cannot be read."""
        found = []
        for name in CLASSES:
            try:
                self.loads(name)
            except RequestError as error:
                found.append(f"{name}: {error}")
        return found

    def loads(self, name: str) -> tuple[Load, ...]:
        """Return the loads of one class."""
        raw = getattr(self, name)
        rows = [raw] if isinstance(raw, str) else raw or []
        if not isinstance(rows, list | tuple):
            raise RequestError('a list such as ["500 W 10:00 to 13:00"] belongs here')
        return tuple(Load.read(row) for row in rows)

    def over_midnight(self) -> list[str]:
        """Return a line for each load whose hours run past midnight: two exchanged do so too."""
        return [
            f"loads.{name}: {quantities.text(load.power, 'power')} {told}"
            for name in CLASSES for load in self.loads(name)
            if (told := past_midnight(load.start, load.end))
        ]  # fmt: skip

    def power(self, name: str, hour: Array, step: float) -> Array:
        """Return the power of one class at the bus. [W]

        hour: of the local clock at which each step starts; step: its length [h]
        """
        total = np.zeros(np.shape(hour))
        for load in self.loads(name):
            total += load.power * share_inside(load.start, load.end, hour, step)
        return total / self.inverter_efficiency


def _clock(hour: str, minute: str | None) -> float:
    """Return an hour of the clock. [h]"""
    value = int(hour) + int(minute or 0) / 60
    if value > DAY or int(minute or 0) > 59:
        raise RequestError(f'"{hour}:{minute or "00"}" is no time of the day; 0:00 to 24:00')
    return value


def read_hours(text: str) -> tuple[float, float]:
    """Read hours of the day.

    Parameters
    ----------
    text : str
        Such as "7:00 to 17:30".

    Returns
    -------
    tuple of float
        Start and end; an end below the start lies behind midnight. [h]

    Validity
    --------
    0:00 to 24:00, else RequestError.

    Source
    ------
    definition
    """
    match = HOURS.search(" " + str(text))
    if match is None or match.start() > 0:
        raise RequestError(f'"{str(text)[:40]}": hours of the local clock, such as "7:00 to 17:00"')
    start, end = _clock(match[1], match[2]), _clock(match[3], match[4])
    if start == end:
        raise RequestError(f'"{str(text)[:40]}" is no time at all; "0:00 to 24:00" is all day')
    return start, end


def past_midnight(start: float, end: float) -> str:
    """Say that hours run past midnight, as two hours exchanged do.

    Parameters
    ----------
    start, end : float
        Of the clock. [h]

    Returns
    -------
    str
        In words with their units; empty if they do not. [-]

    Validity
    --------
    0 to 24 h.

    Source
    ------
    definition
    """
    if end > start:
        return ""
    clock = " to ".join(f"{int(t)}:{round(t % 1 * 60):02d}" for t in (start, end))
    return f"{clock} runs past midnight, {end + DAY - start:.3g} hours a day"


def share_inside(start: float, end: float, hour: Array, step: float) -> Array:
    """Share of each step that lies in hours of the day.

    Parameters
    ----------
    start : float
        Hour at which they begin. [h]
    end : float
        Hour at which they end; below the start, behind midnight. [h]
    hour : ndarray
        Hours at which steps start, of any day. [h]
    step : float
        Length of a step, at most to midnight. [h]

    Returns
    -------
    ndarray
        Share, the shape of `hour`. [1]

    Validity
    --------
    Steps that do not run over midnight.

    Source
    ------
    definition
    """
    first = np.asarray(hour, float) % DAY
    spans = [(start, end)] if start < end else [(start, DAY), (0.0, end)]
    found = np.zeros(first.shape)
    for low, high in spans:
        found += np.clip(np.minimum(first + step, high) - np.maximum(first, low), 0.0, None)
    return found / step
