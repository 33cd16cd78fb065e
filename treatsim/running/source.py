"""The source over time: turbidity and solids of a case, hour by hour, in many scenarios.

    turbidity_series(source, median, hours, scenarios, seed, start_month=1)
        -> (scenarios, hours) [NTU]
    solids_series(source, turbidity, solids_per_turbidity, seed) -> (scenarios, hours) [kg/m3]
    absorption_series(source, hours, scenarios, seed) -> (scenarios, hours) [1/m], where it was read
    source_notes(source) -> lines that say what was taken as it is

`source` is the case's table [source], or None where it has none. The same seed gives the same
series; a batch of other scenarios needs another seed.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.constants import DAY
from treatsim.correlations.solids.turbidity import Rating, curve_from_sample, suspended_solids
from treatsim.errors import RequestError, require
from treatsim.operations.parameters import Parameters, quantity, record, reference
from treatsim.running.source_readings import Readings, read_readings

MONTH = 30.4375 * 24  # hours
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
SCALED = 230.0  # of a logarithm: numbers up to e^230 are summed without loss
MEMORY = 12  # lengths of a storm that are looked back for water still turbid at the start
BLOCK = 120  # hours, mean length of a piece of the readings that is replayed in one go
SPREADS = ("turbidity_spread", "day_correlation")
STORM = ("storm_rise", "storm_length")
MUDDY = ("muddy_turbidity", "muddy_transmittance", "muddy_spread")
CARRIED = "_carried"
RATING = ("solids_spread", "solids_scatter")  # of solids by turbidity


@record
class SourceParameters(Parameters):
    """How the source varies about the turbidity and solids of [water], or readings of it."""

    readings: str | None = reference(
        "file of readings beside the case, instead of spread, correlation, storms and season: "
        "columns time, turbidity [NTU] and, where known, uv_transmittance [%], suspended_solids "
        "[mg/L], temperature [degC]",
        example="readings.csv",
        default=None,
    )
    turbidity_spread: float | None = quantity(
        "factor", "geometric standard deviation of the turbidity between storms", low=1, high=20,
        default=None,
    )  # fmt: skip
    day_correlation: float | None = quantity(
        "fraction", "correlation of log turbidity between an hour and the same a day later; "
        "rivers 70 to 95 %", high=0.9999, default=None,
    )  # fmt: skip
    storms_per_month: float | None = quantity(
        "factor", "storms in a month, at any time; 0 for none", high=60, default=None
    )
    storm_rise: float | None = quantity(
        "factor", "turbidity at the start of a storm over that without it", low=1, high=1000,
        default=None,
    )  # fmt: skip
    storm_length: float | None = quantity(
        "duration", "time in which the rise falls to 37 %", low=3600.0, high=30 * DAY, default=None
    )
    season: list | None = reference(
        "turbidity of each month, January first, over that of [water]",
        example=[1, 1, 1, 1, 1.5, 3, 4, 4, 3, 1.5, 1, 1],
        default=None,
    )
    solids_spread: float | None = quantity(
        "factor", "geometric standard deviation of solids per turbidity at the site; with a curve "
        "borrowed from another site 2 or more", low=1, high=20, default=None,
    )  # fmt: skip
    solids_scatter: float | None = quantity(
        "factor", "geometric standard deviation of solids per turbidity from hour to hour",
        low=1, high=20, default=None,
    )  # fmt: skip
    solids_exponent: float | None = quantity(
        "factor", "exponent of solids by turbidity, 0.95 to 1.3 at most sites; left out, 1",
        low=0.5, high=2, default=None,
    )  # fmt: skip

    muddy_turbidity: float | None = quantity(
        "turbidity", "of a second sample, in a storm, for the absorption of muddy water",
        open_low=True, default=None,
    )  # fmt: skip
    muddy_transmittance: float | None = quantity(
        "uv_transmittance", "of that sample, unfiltered", open_low=True, default=None
    )
    muddy_spread: float | None = quantity(
        "factor", "geometric standard deviation of the absorption that mud adds, from two samples "
        "1.5 or more", low=1, high=10, default=None,
    )  # fmt: skip

    def conflicts(self):
        """Ask for the variation in one form, whole."""
        muddy = [name for name in MUDDY if getattr(self, name) is None]
        if muddy and len(muddy) < len(MUDDY):
            return [f"{name} is missing: {self._meaning(name)}" for name in muddy]
        given = [item.name for item in dataclasses.fields(self) if getattr(self, item.name)
                 is not None]  # fmt: skip
        if self.readings is not None:
            if not isinstance(self.readings, str) or not self.readings.strip():
                return ['readings: the name of a file, such as "readings.csv"']
            twice = (*SPREADS, "storms_per_month", *STORM, "season")
            return [f"{name}: the readings give it too; keep one" for name in twice
                    if name in given]  # fmt: skip
        faults = [f"{name} is missing: {self._meaning(name)}" for name in (*SPREADS, *RATING)
                  if name not in given]  # fmt: skip
        stormy = self.storms_per_month is not None and np.any(np.asarray(self.storms_per_month) > 0)
        for name in STORM:
            if stormy and name not in given:
                faults.append(f"{name} is missing: storms_per_month needs it")
            if not stormy and name in given:
                faults.append(f"{name}: storms_per_month is missing, or 0")
        return faults + _season_faults(self.season)

    def _meaning(self, name: str) -> str:
        found = {item.name: item for item in dataclasses.fields(self)}
        return found[name].metadata["meaning"]

    def beside(self, folder: Path) -> SourceParameters:
        """Return the record with its file looked up in a folder; RequestError for bad readings."""
        if self.readings is None:
            return self
        path = folder / self.readings
        found = read_readings(path)
        given = [name for name in RATING if getattr(self, name) is not None]
        twice = [*given, *(["solids_exponent"] if self.solids_exponent is not None else [])]
        twice = twice if found.rating is not None else []
        if found.absorption is not None:
            twice += [name for name in MUDDY if getattr(self, name) is not None]
        if twice:
            raise RequestError([f"{name}: the readings give it too; keep one" for name in twice])
        if found.rating is None and len(given) < len(RATING):
            raise RequestError(
                [
                    f"{name} is missing: {self._meaning(name)}"
                    for name in RATING
                    if name not in given
                ]
            )
        return dataclasses.replace(self, readings=str(path))

    def read(self) -> Readings | None:
        """Return the readings, if the table has some."""
        if self.readings is None:
            return None
        return getattr(self, CARRIED, None) or read_readings(Path(self.readings))

    def carrying(self) -> SourceParameters:
        """Return the record with its readings read, for machines that do not have the file."""
        found = dataclasses.replace(self)
        object.__setattr__(found, CARRIED, self.read())  # no field: nothing that a case states
        return found


def _season_faults(season) -> list[str]:
    if season is None:
        return []
    numbers = isinstance(season, list) and all(
        isinstance(one, int | float) and not isinstance(one, bool) and 0 < one <= 1000
        for one in season
    )
    if numbers and len(season) == len(MONTH_DAYS):
        return []
    return ["season: 12 numbers above 0 and not above 1000 belong here, January first"]


def source_notes(source: SourceParameters | None) -> tuple[str, ...]:
    """Return what was taken as it is about the source, a line each."""
    if source is None:
        return (
            "source: turbidity and solids taken as the same at all times: there is no [source]; "
            "storms and seasons may cut the life of filters many times",
        )
    found = source.read()
    if found is not None:
        return found.notes
    notes = []
    if source.storms_per_month is None:
        notes.append("source: taken without storms: source.storms_per_month is not given")
    if source.season is None:
        notes.append("source: taken as the same in all months: source.season is not given")
    return tuple(notes)


def turbidity_series(
    source: SourceParameters | None,
    median: float | None,
    hours: int,
    scenarios: int,
    seed: int,
    start_month: int = 1,
) -> Array:
    """Return turbidity by the hour. -> (scenarios, hours) [NTU]

    median: of the water between storms, water.turbidity [NTU]; readings do without it. The
    logarithm follows an AR(1) process about the median of the month; storms come at random
    (Poisson), each multiplies it by its rise, which dies away exponentially, and adds to others.
    Readings are replayed in pieces of random place and length (stationary bootstrap), so that
    they know no storm or season but their own.
    """
    require("hours", hours, 1, 1e6, "h")
    require("scenarios", scenarios, 1, 1e7, "")
    require("start_month", start_month, 1, 12, "")
    found = None if source is None else source.read()
    if found is not None:
        return found.turbidity[_replayed(found.turbidity.size, hours, scenarios, seed)]
    if median is None:
        raise RequestError("water.turbidity is missing: the source over time is built about it")
    level = np.asarray(require("water.turbidity", median, 0.0, 4000.0, "NTU"))
    if source is None:
        return np.full((scenarios, hours), float(level))
    shape = (scenarios, hours)
    spread, keep = _stated(source, *SPREADS)
    noise = _wandering(
        float(np.log(spread)), np.power(keep, 1 / 24), shape,
        np.random.default_rng([seed, 1]),
    )  # fmt: skip
    series = np.exp(noise, out=noise)
    series *= float(level)
    if source.season is not None:
        series *= np.asarray(source.season, float)[month_of_hour(hours, start_month)]
    if source.storms_per_month:
        rng = np.random.default_rng([seed, 2])
        rate = source.storms_per_month / MONTH
        rise, length = _stated(source, *STORM)
        series *= 1 + (rise - 1) * _storms(rate, length / 3600, shape, rng)
    return series


def absorption_series(
    source: SourceParameters | None, hours: int, scenarios: int, seed: int
) -> Array | None:
    """Return the absorption that was read, in the hours of the turbidity of the same seed.

    -> (scenarios, hours) [1/m], or None where no transmittance was read.
    """
    found = None if source is None else source.read()
    if found is None or found.absorption is None:
        return None
    return found.absorption[_replayed(found.turbidity.size, hours, scenarios, seed)]


def solids_series(
    source: SourceParameters | None,
    turbidity: Array,
    solids_per_turbidity: float | None,
    seed: int,
    sample_turbidity: float | None = None,
) -> Array:
    """Return suspended solids of a turbidity series. (scenarios, hours) [NTU] -> same [kg/m3]

    solids_per_turbidity: water.suspended_solids over water.turbidity [kg/m3 per NTU], taken as the
    median of the site at `sample_turbidity` [NTU] (left out: the median of the series); readings of
    enough solids give a rating curve instead. Each scenario has its own rating, each hour
    scatters about it. Medians are stated: the mean is larger, by exp(s^2 / 2) for each spread.
    """
    turbidity = require("turbidity", turbidity, 0.0, np.inf, "NTU")
    found = None if source is None else source.read()
    rng = np.random.default_rng([seed, 3])
    if found is not None and found.rating is not None:
        return _rated(found.rating, turbidity, rng)
    if solids_per_turbidity is None:
        raise RequestError(
            "water.suspended_solids or water.turbidity is missing: solids are told by turbidity"
        )
    ratio = float(require("solids per turbidity", solids_per_turbidity, 0.0, 1.0, "kg/m3 per NTU"))
    if source is None:
        return ratio * turbidity
    sample = np.median(turbidity) if sample_turbidity is None else sample_turbidity
    rating = _of_sample(source, ratio, float(sample))
    return np.zeros_like(turbidity) if rating is None else _rated(rating, turbidity, rng)


def _of_sample(source: SourceParameters, ratio: float, sample: float) -> Rating | None:
    """Return the rating through one sample with its stated spread, or None in clear water."""
    if ratio == 0 or sample == 0:
        return None
    exponent = 1.0 if source.solids_exponent is None else source.solids_exponent
    curve = curve_from_sample(sample, ratio * sample, exponent)
    spread, scatter = np.log(_stated(source, *RATING))
    return Rating(curve, sample, float(scatter), float(spread), 0.0)


def _stated(source: SourceParameters, *names: str) -> tuple[float, ...]:
    """Return numbers that `conflicts` has made sure of."""
    return tuple(float(getattr(source, name)) for name in names)


def _rated(rating: Rating, turbidity: Array, rng) -> Array:
    """Solids by a rating drawn for each scenario, with scatter by the hour. -> [kg/m3]"""
    level, slope = rng.standard_normal((2, turbidity.shape[0], 1))
    wrong = rating.level_error * level
    if rating.slope_error > 0:  # about the centre; water as clear as glass has no solids anyway
        distance = np.log(np.maximum(turbidity, 1e-6) / rating.centre)
        wrong = wrong + rating.slope_error * slope * distance
    solids = suspended_solids(turbidity, rating.curve._replace(smearing=1.0))
    if rating.scatter > 0:
        scattered = rng.standard_normal(turbidity.shape)
        scattered *= rating.scatter
        wrong = np.add(scattered, wrong, out=scattered)
    solids *= np.exp(wrong)
    return solids


def month_of_hour(hours: int, start_month: int) -> Array:
    """Return the month, 0 for January, of every hour from the first of `start_month` on."""
    order = (np.arange(len(MONTH_DAYS)) + start_month - 1) % len(MONTH_DAYS)
    ends = np.cumsum(24 * np.asarray(MONTH_DAYS)[order])
    return order[np.searchsorted(ends, np.arange(hours) % ends[-1], side="right")]


def _wandering(spread: float, keep: float, shape: tuple[int, int], rng) -> Array:
    """AR(1) series of standard deviation `spread`, stationary from the first hour."""
    pushes = rng.standard_normal(shape)
    pushes[:, :1] *= spread
    pushes[:, 1:] *= spread * np.sqrt((1 - keep) * (1 + keep))
    return _remembered(pushes, keep)


def _remembered(pushes: Array, keep: float) -> Array:
    """Return the series that keeps this share of itself from hour to hour; hours along axis 1.

    By running sums of what is pushed, scaled up as it is forgotten, as many hours at once as
    numbers bear: SciPy's filter does as much, and takes 2 s to load.
    """
    if keep <= 0:
        return pushes
    hours = pushes.shape[1]
    length = int(np.clip(SCALED / max(-float(np.log(keep)), 1e-12), 1, hours))
    kept = np.power(keep, np.arange(1.0, length + 1))
    series = np.empty_like(pushes)
    last = np.zeros((len(pushes), 1))
    for start in range(0, hours, length):
        part = slice(start, min(start + length, hours))
        size = part.stop - start
        total = pushes[:, part] / kept[:size]
        np.cumsum(total, axis=1, out=total)
        np.multiply(total + last, kept[:size], out=series[:, part])
        last = series[:, part.stop - 1 : part.stop]
    return series


def _storms(rate: float, length: float, shape: tuple[int, int], rng) -> Array:
    """Sum of storms, each 1 at its start, by the mean over each hour. rate [1/h], length [h]

    Storms of the time before, of which something is left at the start, are drawn too.
    """
    scenarios, hours = shape
    before = int(np.ceil(MEMORY * length))
    starts = rng.poisson(rate * (hours + before), scenarios)
    row = np.repeat(np.arange(scenarios), starts)
    hour = rng.integers(-before, hours, row.size)
    keep = np.exp(-1 / length)
    place = row * hours + np.maximum(hour, 0)
    pulses = np.bincount(place, keep ** np.maximum(-hour, 0), scenarios * hours).reshape(shape)
    return _remembered(length * (1 - keep) * pulses, keep)


def _replayed(size: int, hours: int, scenarios: int, seed: int) -> Index:
    """Places in a record of so many hours: pieces of geometric length; its end wraps."""
    rng = np.random.default_rng([seed, 4])
    mean_length = min(BLOCK, size / 2)
    fresh = rng.random((scenarios, hours)) < 1 / mean_length
    fresh[:, 0] = True
    now = np.arange(hours)
    began = np.maximum.accumulate(np.where(fresh, now, 0), axis=1)
    place = np.take_along_axis(rng.integers(0, size, (scenarios, hours)), began, axis=1)
    return (place + now - began) % size
