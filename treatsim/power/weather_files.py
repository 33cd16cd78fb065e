"""Files of hours, as other people write them, put on one clock.

Each format labels an hour in its own way: by its start, its end, its middle, or with the minute at
which a satellite looked. Here every value stands at the middle of what it is the mean of.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import RequestError
from treatsim.power.sun import DAYS, HOURS, MONTH_STARTS

START, MIDDLE, END = 0.5, 0.0, -0.5  # h from the label of an hour to its middle
LARGEST = 50_000_000  # bytes; thirty years of hours are 30 MB
TO_TWO_METRES = 4.87 / np.log(67.8 * 10 - 5.42)  # wind at the array over wind at a 10 m mast
FORMATS = "EPW, TMY2, TMY3, NSRDB, or an export of PVGIS"
LIGHT = (-5.0, 1600.0)  # W/m2; instruments read a little below zero at night
BOUNDS = {  # as in the files; the numbers that stand for a missing value lie outside
    "ghi": LIGHT,
    "dhi": LIGHT,
    "dni": LIGHT,
    "temp_air": (-90.0, 60.0),  # degC
    "wind_speed": (0.0, 90.0),  # m/s
}


class Hours(NamedTuple):
    """Hours of a file in universal time, complete years of 365 days."""

    hour: Array  # (8760,) since the start of the year in universal time, middle of the hour [h]
    ghi: Array  # (years, 8760) [W/m2]
    dhi: Array | None
    dni: Array | None
    air_temperature: Array | None  # [K]
    wind: Array | None  # at the height of the array [m/s]
    latitude: float  # [deg]
    longitude: float  # [deg]
    altitude: float  # [m]
    zone: float  # of the file's clock [h]
    told: str  # the format, and how its labels were taken


class Format(NamedTuple):
    """How files of one kind are known and read."""

    name: str
    label: float  # h from the label to the middle
    words: str  # what the label is
    read: Callable[[Path], Any]  # frame and head


def read_hours(path: str | Path) -> Hours:
    """Read a year of hours, or several, from a file.

    Parameters
    ----------
    path : str or Path
        EPW, TMY2, TMY3, NSRDB, or an export of PVGIS.

    Returns
    -------
    Hours

    Raises
    ------
    RequestError
        No such file or format, hours missing or doubled, a year that is not whole, values that are
        none.

    Validity
    --------
    Hourly values; 29 February is left out; typical years join months of several years.

    Source
    ------
    Formats as their publishers describe them, read by pvlib; wind at 2 m from that at 10 m by
    fao_56.
    """
    path = Path(path)
    found = _format(path)
    try:
        frame, head = found.read(path)[:2]
    except RequestError:
        raise
    except Exception as error:  # readers raise of many kinds on a file that is broken
        what = str(error).splitlines()[0][:100] if str(error) else type(error).__name__
        raise RequestError(f"{path}: not readable as {found.name}: {what}") from error
    frame = frame.rename(columns=str.lower).rename(
        columns={"drybulb": "temp_air", "wspd": "wind_speed"}
    )
    values = _columns(frame, path, found.name)
    place = {key.lower(): value for key, value in _flat(head).items()}
    label = found.label + _offset(path, place, found.name)
    rows, hour = _rows(frame.index, label, path)
    # data of a typical year come from several: the calendar counts, not the year
    parts = {name: values[name][rows] for name in BOUNDS if name in values}
    air, wind = parts.get("temp_air"), parts.get("wind_speed")
    zone = frame.index[0].utcoffset().total_seconds() / 3600
    return Hours(
        hour,
        parts["ghi"],
        parts.get("dhi"),
        parts.get("dni"),
        None if air is None else air + ZERO_CELSIUS,
        None if wind is None else wind * TO_TWO_METRES,
        float(place["latitude"]),
        float(place["longitude"]),
        float(place.get("altitude", place.get("elevation", 0.0))),
        zone,
        f"{found.name}, hours labelled by {found.words}",
    )


def _format(path: Path) -> Format:
    """Return the format of a file, by its name and first line."""
    try:
        from pvlib import iotools
    except ImportError as error:
        raise RequestError(
            f"{path}: reading a file of hours needs pvlib; pip install treatsim[weather]"
        ) from error
    head = _head(path)
    suffix = path.suffix.lower()
    if suffix == ".epw" or head.startswith("LOCATION,"):
        return Format("EPW", START, "their end", lambda p: iotools.read_epw(p, coerce_year=2023))
    if suffix == ".tm2":
        return Format("TMY2", START, "their end", iotools.read_tmy2)
    if head.startswith(("Source,", "source,")):
        return Format("NSRDB", MIDDLE, "their middle", iotools.read_nsrdb_psm4)
    if head.startswith("Latitude (decimal degrees)") or head.startswith("{"):
        if "Slope:" in head or '"hourly"' in head:
            return Format("PVGIS hourly", MIDDLE, "the minute of the satellite", _pvgis_hourly)
        return Format("PVGIS TMY", MIDDLE, "the hour", iotools.read_pvgis_tmy)
    if re.match(r'\d+,"?[^,]+"?,"?\w*"?,-?[\d.]+,-?[\d.]+,-?[\d.]+,-?[\d.]+', head):
        return Format(
            "TMY3",
            END,
            "their end",
            lambda p: iotools.read_tmy3(p, coerce_year=2023, map_variables=True),
        )
    raise RequestError(f"{path}: none of the formats known: {FORMATS}")


def _head(path: Path) -> str:
    """Return the start of a file, or raise RequestError in one line."""
    try:
        if path.exists() and not path.is_file():  # a pipe is read but once
            what = "is a directory" if path.is_dir() else "no plain file"
            raise RequestError(f"{path}: {what}")
        if path.stat().st_size > LARGEST:
            raise RequestError(f"{path}: more than {LARGEST / 1e6:.0f} MB; no file of hours")
        with path.open("r", encoding="utf-8", errors="replace") as file:
            return file.read(2000)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise RequestError(f"{path}: cannot be read: {reason}") from error


def _pvgis_hourly(path: Path) -> Any:
    """Read an hourly export; only one of a horizontal plane tells the light of the sky."""
    from pvlib import iotools

    frame, head = iotools.read_pvgis_hourly(path)[:2]
    flat = _flat(head)
    slope = str(flat.get("Slope", flat.get("slope", "")))
    level = re.match(r"\s*\{?\D*0(?:\.0*)?(?:\D|$)", slope)
    if not level or "poa_direct" not in frame:
        raise RequestError(
            f"{path}: light on a plane of slope {slope or 'unknown'}; export the horizontal plane "
            "(slope 0) with its components, or the typical year"
        )
    frame = frame.assign(
        ghi=frame["poa_direct"] + frame["poa_sky_diffuse"] + frame["poa_ground_diffuse"],
        dhi=frame["poa_sky_diffuse"] + frame["poa_ground_diffuse"],
    )
    return frame, head


def _flat(head: Any) -> dict[str, Any]:
    """Return the entries of a head that lie in tables within it beside the others."""
    found: dict[str, Any] = {}
    for key, value in head.items():
        if isinstance(value, dict) and key in ("inputs", "location", "mounting_system", "fixed"):
            found |= _flat(value)
        else:
            found[key] = value
    return found


def _offset(path: Path, place: dict[str, Any], name: str) -> float:
    """Return hours from the usual middle to the minute at which a satellite looked."""
    if name == "PVGIS TMY":
        return float(place.get("irradiance time offset", place.get("irradiance_time_offset", 0.0)))
    told = re.search(r"Irradiance Time Offset \(h\):\s*(-?[\d.]+)", _head(path))
    return float(told[1]) + 1.0 - START if name == "EPW" and told else 0.0


def _columns(frame: Any, path: Path, name: str) -> dict[str, Array]:
    """Return the columns as numbers; RequestError if there is no light or a value is none."""
    if "ghi" not in frame:
        raise RequestError(f"{path}: {name} without global irradiance on the horizontal")
    found = {c: np.asarray(frame[c], dtype=np.float64) for c in BOUNDS if c in frame}
    if name == "TMY2":  # as pvlib leaves them
        found |= {c: found[c] / 10 for c in ("temp_air", "wind_speed") if c in found}
    for column, values in found.items():
        low, high = BOUNDS[column]
        bad = np.flatnonzero(~((values >= low) & (values <= high)))
        if bad.size:
            raise RequestError(
                f"{path}: {column} is no number that can be in {bad.size} of {len(values)} hours, "
                f"the first at {frame.index[bad[0]]:%d %b %H:%M}: {values[bad[0]]:g}"
            )
    return found


def _rows(index: Any, label: float, path: Path) -> tuple[Any, Array]:
    """Return the rows of whole years in order, and the hours of one year in universal time."""
    import pandas as pd

    # labels move to the middle before the calendar is read: the last end is in the next year
    middle = index.tz_localize(None) + pd.Timedelta(hours=label)
    keep = ~((middle.month == 2) & (middle.day == 29))
    minutes = np.asarray(middle.minute) + np.asarray(middle.second) / 60
    if len(set(minutes)) > 1:
        raise RequestError(f"{path}: steps that are no hours; a file of hours belongs here")
    months = np.asarray(MONTH_STARTS)[np.asarray(middle.month) - 1]
    slot = HOURS * (months + np.asarray(middle.day) - 1) + np.asarray(middle.hour)
    size = DAYS * HOURS
    whole = int(np.count_nonzero(keep))
    years = np.asarray(middle.year) if whole > size + HOURS else np.zeros(len(middle), int)
    names = np.unique(years[keep])
    rows = np.full((len(names), size), -1)
    rows[np.searchsorted(names, years[keep]), slot[keep]] = np.flatnonzero(keep)
    _demand_all(rows, names, whole, path)
    zone = index[0].utcoffset().total_seconds() / 3600
    universal = (np.arange(size) + minutes[0] / 60 - zone) % size
    order = np.argsort(universal)
    return rows[:, order], universal[order].astype(np.float64)


def _demand_all(rows: Any, names: Any, whole: int, path: Path) -> None:
    """Raise RequestError if hours are missing or doubled."""
    missing = np.argwhere(rows < 0)
    if missing.size:
        year, slot = missing[0]
        day = int(slot) // HOURS
        month = int(np.searchsorted(MONTH_STARTS, day, side="right"))
        date = f"{day - MONTH_STARTS[month - 1] + 1:02d}.{month:02d}., hour {int(slot) % HOURS}"
        of_year = f" of {names[year]}" if len(names) > 1 else ""
        raise RequestError(
            f"{path}: {len(missing)} of {rows.size} hours are missing, the first on {date}{of_year}"
        )
    if whole > rows.size:
        raise RequestError(f"{path}: hours that stand twice: {whole - rows.size}")
