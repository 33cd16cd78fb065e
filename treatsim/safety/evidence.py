"""What a case says about people, proof and measured analytes: its tables [people] and [health]."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.constants import DAY
from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, choice, quantity, record, reference
from treatsim.safety.log_targets import REFERENCE_PATHOGENS, STARS
from treatsim.safety.people import INSTITUTIONS, LEVELS

YES_NO = ("yes", "no")
TARGETS = ("us_surface_water", "household", "qmra")


@record
class PeopleParameters(Parameters):
    """Who is to be given water, and for how long a day the plant runs."""

    either = ((("level",), ("per_person",)),)
    level: str | None = choice(
        tuple(LEVELS), "quantity planned for: 3, 7.5 or 15 L a day", default=None
    )
    per_person: float | None = quantity(
        "volume", "quantity planned for each person and day", open_low=True, high=1.0, default=None
    )
    losses: float = quantity(
        "fraction", "share lost between tank and cup, usually 10 to 20 %", high=0.9, small=True
    )
    running_time: float = quantity("duration", "running time a day", open_low=True, high=DAY)
    drawing_time: float | None = quantity(
        "duration", "time a day in which water is drawn", open_low=True, high=DAY, default=None
    )
    number: float | None = quantity("people", "people to be served", default=None)
    institutions: dict | None = reference(
        "beds, pupils or heads by institution",
        example={"inpatient": 20, "school": 300},
        names=lambda: INSTITUTIONS,
        default=None,
    )

    def conflicts(self):
        """Ask for one quantity, and know every institution."""
        faults = []
        if (self.level is None) == (self.per_person is None):
            faults.append(f"level: give one of level ({', '.join(LEVELS)}) and per_person")
        if self.institutions is not None and not isinstance(self.institutions, dict):
            return [*faults, "institutions: a table such as { inpatient = 20 }"]
        for name, count in (self.institutions or {}).items():
            if name not in INSTITUTIONS:
                faults.append(f"institutions.{name}: known: {', '.join(INSTITUTIONS)}")
            elif isinstance(count, bool) or not isinstance(count, int | float) or count < 0:
                faults.append(f"institutions.{name} = {count!r}: a number not below 0")
        return faults

    @property
    def each(self):
        """Quantity planned for each person and day. [m3]"""
        return self.per_person if self.level is None else LEVELS[self.level]

    @property
    def institution_demand(self) -> float:
        """Water the institutions take in a day, the upper end of each. [m3]"""
        rows = (self.institutions or {}).items()
        return float(sum(count * INSTITUTIONS[name].high for name, count in rows))


class ChallengeTest(NamedTuple):
    """Challenge test of one filter stage."""

    log: float
    flow: float  # through one housing, m3/s
    pressure_drop: float  # to which it was run, Pa
    pair_with: str  # stage in front that was tested together with it, or ""


CHALLENGE = {"log": None, "flow": "flow", "pressure_drop": "pressure_difference", "pair_with": ""}


@record
class HealthParameters(Parameters):
    """What is asked of the barriers, and which proof there is for them."""

    target: str | None = choice(TARGETS, "what sets the logs asked for", default=None)
    cryptosporidium_bin: int | None = quantity(
        "count", "bin of the source by its oocysts, 1 to 4", low=1, high=4, default=None
    )
    stars: int | None = quantity(
        "count", "stars of the household scheme", low=min(STARS), high=max(STARS), default=None
    )
    source_organisms: dict | None = reference(
        "organisms in the source, lower and upper estimate",
        example={"rotavirus": ["1 per L", "10 per L"]},
        names=lambda: REFERENCE_PATHOGENS,
        default=None,
    )
    water_drunk: float | None = quantity(
        "volume", "unboiled water drunk by a person in a day", open_low=True, high=0.02,
        default=None,
    )  # fmt: skip
    survey_done: str = choice(YES_NO, "whether the sanitary survey is done")
    uv_certificate: str = choice(
        YES_NO, "whether the reactor has a validation report", default="no"
    )
    uv_validated_flow: float | None = quantity(
        "flow", "largest flow of the validation", open_low=True, default=None
    )
    uv_validated_transmittance: float | None = quantity(
        "uv_transmittance", "lowest transmittance of the validation", open_low=True, default=None
    )
    uv_sensor_in_range: str = choice(
        YES_NO, "whether sensor and transmittance are inside the validated range", default="no"
    )
    uv_virus_factor: float | None = quantity(
        "factor", "validation factor for virus; left out, that of the reactor", low=1, high=20,
        default=None,
    )  # fmt: skip
    treated_water_kept: str | None = choice(
        ("dark", "daylight"), "where: light lets bacteria repair what UV did", default=None
    )
    challenge_tests: dict | None = reference(
        "challenge test by filter unit",
        example={"filters": {"log": 2.0, "flow": "6 m3/h", "pressure_drop": "1.5 bar"}},
        names=lambda: CHALLENGE,
        default=None,
    )
    ro_conductivity_read: str = choice(
        YES_NO, "whether feed and permeate conductivity are read every day", default="no"
    )
    untreated_time: float = quantity(
        "duration", "time a day in which water passes all barriers untreated", high=DAY,
        default=0.0,
    )  # fmt: skip

    def conflicts(self):
        """Ask for what the target and the proof need."""
        faults = []
        if self.target == "us_surface_water" and self.cryptosporidium_bin is None:
            faults.append("cryptosporidium_bin: is missing; the surface-water rule needs the bin")
        if self.target == "household" and self.stars is None:
            faults.append("stars: is missing; the household scheme has 2 or 3")
        if self.target == "qmra":
            faults += self._organism_faults()
        return faults + _tried(self.challenges)

    def _organism_faults(self) -> list[str]:
        if self.water_drunk is None:
            faults = ["water_drunk: is missing; a risk needs the water drunk unboiled"]
        else:
            faults = []
        if not self.source_organisms:
            example = '{ rotavirus = ["1 per L", "10 per L"] }'
            return [*faults, f"source_organisms: is missing; a table such as {example}"]
        return faults + _tried(self.organisms)

    def organisms(self) -> dict[str, tuple[float, float]]:
        """Lower and upper estimate of each organism in the source. [1/m3]"""
        return _read_organisms(self.source_organisms)

    def challenges(self) -> dict[str, ChallengeTest]:
        """Challenge tests by filter unit."""
        tests = self.challenge_tests or {}
        if not isinstance(tests, Mapping):
            raise RequestError("challenge_tests: a table of filter units, each with its test")
        return {name: _challenge(name, row) for name, row in tests.items()}


def _tried(function) -> list[str]:
    """Return the problems a reading raises, as faults of a record."""
    try:
        function()
    except RequestError as error:
        return error.problems
    return []


def _read_organisms(table: Any) -> dict[str, tuple[float, float]]:
    """Return { rotavirus = ["1 per L", "10 per L"] } as numbers. [1/m3]"""
    if not isinstance(table, dict):
        raise RequestError("source_organisms: a table of organisms, each with two estimates")
    problems, found = [], {}
    for name, pair in table.items():
        if name not in REFERENCE_PATHOGENS:
            problems.append(f"source_organisms.{name}: known: {', '.join(REFERENCE_PATHOGENS)}")
        elif not isinstance(pair, list) or len(pair) != 2:
            problems.append(f"source_organisms.{name}: a lower and an upper estimate, as a list")
        else:
            try:
                texts = [str(text).replace(" per ", " 1/") for text in pair]
                low, high = (quantities.read(text, "organisms") for text in texts)
            except RequestError as error:
                problems.append(f"source_organisms.{name}: {error}")
                continue
            if 0 < low <= high and np.isfinite(high):
                found[name] = (low, high)
            else:
                problems.append(f"source_organisms.{name}: the lower estimate is above 0 and not "
                                "above the upper one")  # fmt: skip
    if problems:
        raise RequestError(problems)
    return found


def _challenge(name: str, row: Any) -> ChallengeTest:
    where = f"challenge_tests.{name}"
    if not isinstance(row, Mapping) or not {"log", "flow", "pressure_drop"} <= set(row):
        raise RequestError(f"{where}: a table with log, flow and pressure_drop of the test")
    if extra := set(row) - set(CHALLENGE):
        raise RequestError(f"{where}.{min(extra)}: known: {', '.join(CHALLENGE)}")
    log = row["log"]
    if isinstance(log, bool) or not isinstance(log, int | float) or not 0 <= log <= 8:
        raise RequestError(f"{where}.log = {log!r}: a number from 0 to 8")
    numbers = {}
    for key in ("flow", "pressure_drop"):
        try:
            numbers[key] = quantities.read(str(row[key]), str(CHALLENGE[key]))
        except RequestError as error:
            raise RequestError(f'{where}.{key} = "{row[key]}": {error}') from error
        if not numbers[key] > 0:
            raise RequestError(f'{where}.{key} = "{row[key]}": lies above 0')
    return ChallengeTest(float(log), pair_with=str(row.get("pair_with", "")), **numbers)
