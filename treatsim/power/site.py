"""Where the unit stands: what a case says of it, and the place the sun needs."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.quantities import text

HOUR = 3600.0  # s
FARTHEST_CLOCK = 3.5  # h between a clock and the mean sun; the largest in use is about 3


@record
class SiteParameters(Parameters):
    """Where the unit stands."""

    latitude: float | None = quantity(
        "angle", "latitude, north positive", low=-np.pi / 2, high=np.pi / 2, default=None
    )
    longitude: float | None = quantity(
        "angle", "longitude, east positive", low=-3.1416, high=3.1416, default=None
    )
    altitude: float | None = quantity(
        "altitude", "elevation above sea level; pumps that suck need it", default=None
    )
    time_zone: float | None = quantity(
        "clock_offset",
        "standard time of the local clock less universal time, east positive, without summer time",
        default=None,
    )

    def conflicts(self):
        """Refuse a clock that cannot be that of the place."""
        if self.time_zone is None or self.longitude is None:
            return []
        longitude, zone = (  # a sweep has one for each point
            array.ravel() for array in np.broadcast_arrays(self.longitude, self.time_zone)
        )
        off = (zone / HOUR - np.degrees(longitude) / 15 + 12) % 24 - 12
        worst = int(np.argmax(np.abs(off)))
        if abs(off[worst]) <= FARTHEST_CLOCK:
            return []
        return [
            f"time_zone: {text(float(zone[worst]), 'clock_offset')} lies {abs(off[worst]):.1f} h "
            f"from the sun at longitude {text(float(longitude[worst]), 'angle')}; clocks lie "
            f"within {FARTHEST_CLOCK:g} h. Are latitude and longitude exchanged, or west taken "
            "for east?"
        ]


class Place(NamedTuple):
    """A place as the sun sees it."""

    latitude: float  # [rad], north positive
    longitude: float  # [rad], east positive
    altitude: float  # [m]
    zone: float  # standard time of its clock less universal time [h]


def place_of(site: SiteParameters | None) -> Place:
    """Return the place of a site.

    Parameters
    ----------
    site : SiteParameters or None
        Table [site] of a case.

    Returns
    -------
    Place

    Raises
    ------
    RequestError
        Latitude or longitude is not stated.

    Validity
    --------
    Without an altitude, sea level; without a time zone, the full hour nearest to the sun's.

    Source
    ------
    Definition.
    """
    missing = [
        f"site.{name} is missing: the sun needs latitude and longitude"
        for name in ("latitude", "longitude")
        if getattr(site, name, None) is None
    ]
    if missing or site is None or site.latitude is None or site.longitude is None:
        raise RequestError(missing)
    zone = site.time_zone
    hours = round(math.degrees(site.longitude) / 15) if zone is None else zone / HOUR
    return Place(site.latitude, site.longitude, site.altitude or 0.0, float(hours))
