"""What a case says of its start: the table [startup]."""

from __future__ import annotations

from collections.abc import Sequence

from treatsim.constants import DAY
from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, choice, quantity, record

LONGEST = DAY  # s, of anything timed


@record
class StartupParameters(Parameters):
    """Pump, lamp, line and valve while the unit starts or something fails."""

    pump_ramp: float = quantity(
        "time", "time from rest to the dial, evenly; 20 to 60 s spare hose and bags", high=LONGEST
    )
    pump_delay: float = quantity(
        "time", "how long the lamp burns before the pump starts", high=LONGEST, default=0.0
    )
    line_at_start: str = choice(
        ("empty", "full"), "what stands in the line: air, or untreated water", default="empty"
    )
    housing_volume: float | None = quantity(
        "volume", "water in strainers and housings ahead of the light", default=None
    )
    hold_up: float | None = quantity(
        "volume",
        "water between the light, or where several come together, and the product valve, "
        "hoses included",
        default=None,
    )
    chamber_volume: float | None = quantity(
        "volume", "water in the chamber of each reactor that is told by its report",
        open_low=True, default=None,
    )  # fmt: skip
    lamp_warm_up: float | None = quantity(
        "time", "until 95 % of the missing light has come", high=LONGEST, default=None
    )
    lamp_start: float | None = quantity(
        "fraction", "share of its light at the first moment", default=None
    )
    opens_when: str | None = choice(
        ("sensor", "timer"), "product valve opens by its sensor, or by a clock", default=None
    )
    opening_time: float | None = quantity(
        "time", "of a clock: from switching on to opening", high=LONGEST, default=None
    )
    flush_volume: float | None = quantity(
        "volume", "to waste once the sensor is above its set point", default=None
    )
    sensor_set_point: float | None = quantity(
        "fraction", "of what the sensor reads in steady run", open_low=True, high=2, default=None
    )
    flow_alarm: float | None = quantity(
        "flow", "flow above which the interlock shuts", open_low=True, default=None
    )
    alarm_delay: float | None = quantity(
        "time", "how long an alarm must last before the valve moves", high=LONGEST, default=None
    )
    valve_time: float | None = quantity(
        "time", "product valve from open to shut", high=LONGEST, default=None
    )
    wave_speed: float | None = quantity(
        "velocity", "of pressure in the hose: soft 200 to 400, rigid 1000 to 1300 m/s",
        low=10, high=1500, default=None,
    )  # fmt: skip
    dip_time: float | None = quantity(
        "time", "how long the power is away in a dip", high=LONGEST, default=None
    )
    pump_stop_time: float | None = quantity(
        "time", "in which a pump without power runs down, evenly", high=LONGEST, default=None
    )
    restart_wait: float | None = quantity(
        "time", "how long a hot lamp does not strike once power is back", high=LONGEST, default=None
    )
    restart_warm_up: float | None = quantity(
        "time", "warm-up time of a hot lamp that strikes again", high=LONGEST, default=None
    )
    pump_step: float | None = quantity(
        "factor", "dial after a step over the dial before", low=0.05, high=5, default=None
    )
    dull_transmittance: float | None = quantity(
        "uv_transmittance", "of a slug of dull water, per cm at the light", low=0.2, default=None
    )
    dull_time: float | None = quantity(
        "time", "how long dull water is drawn in", high=LONGEST, default=None
    )
    permeate_volume: float | None = quantity(
        "volume", "water behind the membranes up to the product valve", open_low=True, default=None
    )
    feed_volume: float | None = quantity(
        "volume", "water ahead of the membranes and in their channels", default=None
    )
    between_volume: float | None = quantity(
        "volume", "water between two passes of membranes, in the channels of the later too",
        open_low=True, default=None,
    )  # fmt: skip
    membranes_at_start: str | None = choice(
        ("flushed", "standing"), "flushed with permeate, or left with salt water", default=None
    )

    salt_limit: float | None = quantity(
        "concentration", "salt in the product up to which its valve lets it through",
        open_low=True, default=None,
    )  # fmt: skip
    largest_pressure_rate: float = quantity(
        "pressure_rate", "at the membranes while they start; common practice, no source",
        open_low=True, default=7e4,
    )  # fmt: skip
    flush_wait: float | None = quantity(
        "time", "from a stop until the salt ahead of the membranes is flushed out", high=LONGEST,
        default=None,
    )  # fmt: skip

    def conflicts(self):
        """Refuse a clock without its time."""
        if self.opens_when == "timer" and self.opening_time is None:
            return ["opening_time is missing: a valve that opens by a clock needs it"]
        return []


LIGHT = ("housing_volume", "hold_up", "lamp_warm_up", "lamp_start", "opens_when", "valve_time")
BY_SENSOR = ("sensor_set_point", "flush_volume", "alarm_delay")
BY_ALARM = ("alarm_delay",)
MEMBRANES = ("permeate_volume", "feed_volume", "membranes_at_start")
BY_SALT = ("salt_limit", "flush_volume", "alarm_delay")


def check(start: StartupParameters | None, needed: Sequence[str], why: str) -> StartupParameters:
    """Return the table; RequestError names every entry that is missing, and what for."""
    if start is None:
        raise RequestError(
            "[startup] is missing: the case says nothing of its start; treatsim describe startup "
            "tells its keys"
        )
    missing = [name for name in dict.fromkeys(needed) if getattr(start, name) is None]
    if missing:
        meanings = {n: type(start).__dataclass_fields__[n].metadata["meaning"] for n in missing}
        raise RequestError([
            f"startup.{name} is missing ({meanings[name]}): {why} needs it" for name in missing
        ])  # fmt: skip
    return start


def needed_of_light(start: StartupParameters) -> tuple[str, ...]:
    """Return what a train with a light must say, by what its valve goes by."""
    if start.opens_when == "sensor":
        return (*LIGHT, *BY_SENSOR)
    watched = start.sensor_set_point is not None or start.flow_alarm is not None
    return (*LIGHT, *(BY_ALARM if watched else ()))


def needed_of_membranes(start: StartupParameters, passes: int = 1) -> tuple[str, ...]:
    """Return what a train with membranes must say, by its passes and what its valve goes by."""
    stands = (*MEMBRANES, *(("between_volume",) if passes > 1 else ()))
    if start.opens_when is None:
        return stands
    return (*stands, "valve_time", *(BY_SALT if start.opens_when == "sensor" else ()))
