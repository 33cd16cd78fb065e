"""The table `[logbook]` of a case: instruments, the start to compare with, and when to act."""

from __future__ import annotations

from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, quantity, record, reference

HABIT = "common practice, no source"
HOUR = 3600.0


@record
class LogbookParameters(Parameters):
    """What a log is judged by."""

    readings: str = reference(
        "CSV file of readings beside the case, which figures draws", example="log.csv", default=""
    )
    baseline: float = quantity(
        "duration", "how long from the first reading on counts as the start", default=72 * HOUR
    )
    flow_error: float | None = quantity(
        "fraction", "standard error of a flow reading", open_low=True, high=0.3, small=True,
        default=None,
    )  # fmt: skip
    pressure_error: float | None = quantity(
        "pressure_difference", "standard error of a pressure reading", low=0, open_low=True,
        default=None,
    )  # fmt: skip
    conductivity_error: float | None = quantity(
        "fraction", "standard error of a conductivity reading", open_low=True, high=0.3, small=True,
        default=None,
    )  # fmt: skip
    temperature_error: float | None = quantity(
        "temperature_difference", "standard error of a temperature reading", open_low=True, high=10,
        default=None,
    )  # fmt: skip
    sensor_error: float | None = quantity(
        "fraction", "standard error of a reading of the UV sensor", open_low=True, high=0.3,
        small=True, default=None,
    )  # fmt: skip
    feed_solids: float | None = quantity(
        "salt_per_conductivity", "dissolved salt of the feed over its conductivity at 25 degC",
        default=None,
    )  # fmt: skip
    permeate_solids: float | None = quantity(
        "salt_per_conductivity", "the same for the permeate", default=None
    )
    flow_trigger: float = quantity(
        "fraction", "loss of normalised permeate flow at which membranes are cleaned",
        open_low=True, high=0.9, default=0.10, source=HABIT,
    )  # fmt: skip
    drop_trigger: float = quantity(
        "fraction", "rise of the vessel's pressure drop at which membranes are cleaned",
        open_low=True, default=0.15, source=HABIT,
    )  # fmt: skip
    passage_trigger: float = quantity(
        "fraction", "rise of normalised salt passage at which membranes are cleaned",
        open_low=True, default=0.10, source=HABIT,
    )  # fmt: skip
    pump_trigger: float = quantity(
        "fraction", "loss of shut-off head that calls for opening a pump", open_low=True, high=0.9,
        default=0.10, source=HABIT,
    )  # fmt: skip
    sensor_trigger: float = quantity(
        "fraction", "loss of UV light, corrected for the water, at which the sleeve is wiped",
        open_low=True, high=0.9, default=0.15, source=HABIT,
    )  # fmt: skip

    stop: list = reference(
        "what a log said that forbids giving out this water; a person who has checked it takes it "
        "out", example=["ro: O-ring, interconnector or torn element suspected"], default=(),
    )  # fmt: skip

    def conflicts(self):
        """Check that what stops is a list of texts."""
        lines = self.stop
        if isinstance(lines, list | tuple) and all(isinstance(line, str) for line in lines):
            return []
        return ["stop: a list of texts belongs here"]

    def needed(self, *names: str) -> None:
        """Raise RequestError with every field named that is not given."""
        missing = [name for name in names if getattr(self, name) is None]
        fields = {name: self.__dataclass_fields__[name].metadata["meaning"] for name in missing}
        if missing:
            raise RequestError(
                [f"logbook.{name} is missing: {words}" for name, words in fields.items()]
            )
