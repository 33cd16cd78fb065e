"""The tables of a case that are no units: the site, the water, and what is asked of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treatsim.errors import RequestError
from treatsim.operations.base import Parameters, choice, quantity, reference
from treatsim.quantities import read
from treatsim.safety.evidence import HealthParameters, PeopleParameters
from treatsim.safety.measured_analytes import AnalytesParameters
from treatsim.water import analysis
from treatsim.water.properties import atmospheric_pressure
from treatsim.water.stream import Stream
from treatsim.water.water_table import water_table

RESERVED = {"site", "water", "product", "energy", "tank", "outfall", "drain", "title", "hold"}
RESERVED |= {"people", "health", "analytes"}
RESERVED -= {"tank"}  # a storage tank may well be called tank


@dataclass(frozen=True, kw_only=True)
class SiteParameters(Parameters):
    """Where the unit stands."""

    latitude: float | None = quantity(
        "angle", "latitude, north positive", low=-1.5708, high=1.5708, default=None
    )
    longitude: float | None = quantity("angle", "longitude, east positive", default=None)
    altitude: float = quantity("altitude", "height above sea level")


@dataclass(frozen=True, kw_only=True)
class WaterParameters(Parameters):
    """What was measured of the source."""

    kind: str = choice(analysis.KINDS, "what the dissolved salt is")
    temperature: float = quantity("temperature", "temperature of the water")
    salinity: str | None = reference("dissolved salt, per mass or per volume", default=None)
    conductivity: float | None = quantity("conductivity", "at 25 degC", default=None)
    ions: dict | None = reference("ion analysis, each in mg/L", default=None)
    adjust: str = reference("ion that closes the charge balance", default="")
    turbidity: float | None = quantity("turbidity", "turbidity of the raw water", default=None)
    suspended_solids: float | None = quantity("concentration", "suspended solids", default=None)
    uv_transmittance: float | None = quantity(
        "uv_transmittance", "per cm at 254 nm, unfiltered sample", open_low=True, default=None
    )
    ph: float | None = quantity("ph", "pH at the source", default=None)
    boron: float | None = quantity("concentration", "boron", default=None)


SECTIONS: dict[str, type[Parameters]] = {
    "site": SiteParameters,
    "water": WaterParameters,
    "people": PeopleParameters,
    "health": HealthParameters,
    "analytes": AnalytesParameters,
}
REQUIRED = {"site", "water"}


def analysis_of(water: WaterParameters) -> analysis.WaterAnalysis:
    """Return the analysis; RequestError if what was measured does not make one."""
    temperature = float(np.min(water.temperature))
    ph = None if water.ph is None else float(np.min(water.ph))
    if water.kind == "ions":
        if not isinstance(water.ions, dict) or not water.ions:
            raise RequestError('water.ions is missing: an analysis such as { Na = "120 mg/L" }')
        if ph is None:
            raise RequestError("water.ph is missing: an ion analysis needs it")
        ions = {}
        for name, text in water.ions.items():
            try:
                ions[name] = read(text, "concentration") if isinstance(text, str) else _bare(text)
            except RequestError as error:
                raise RequestError(f'water.ions.{name} = "{text}": {error}') from error
        return analysis.of_ions(ions, ph=ph, temperature=temperature, adjust=water.adjust)
    if water.salinity is None:
        raise RequestError(
            f"water.salinity is missing: {water.kind} water needs it, in g/L or g/kg"
        )
    return analysis.of_salt(water.kind, temperature=temperature, ph=ph, **_salinity(water.salinity))


def _bare(value):
    raise RequestError('a bare number; write a text with its unit, such as "120 mg/L"')


def _salinity(value) -> dict[str, float]:
    """Read a salinity per mass or per volume."""
    if isinstance(value, dict):
        value = value.get("value")
    if not isinstance(value, str):
        raise RequestError('water.salinity: write a text with its unit, such as "0.3 g/L"')
    try:
        return {"mass_concentration": read(value, "concentration")}
    except RequestError:
        pass
    try:
        return {"mass_fraction": read(value, "mass_fraction")}
    except RequestError as error:
        raise RequestError(f'water.salinity = "{value}": {error}; g/L or g/kg') from error


def source_stream(site: SiteParameters, water: WaterParameters) -> Stream:
    """Return the source water at ambient pressure."""
    measured = analysis_of(water)
    table = water_table(measured)
    salinity = table.feed_salinity
    if measured.kind != "ions" and measured.mass_concentration is not None:
        # a salinity per volume holds at each point's temperature, whatever points stand beside it
        salinity = table.salinity(measured.mass_concentration, water.temperature)
    contents = {}
    if water.suspended_solids is not None:
        contents["suspended_solids"] = water.suspended_solids
    if water.turbidity is not None:
        contents["turbidity"] = water.turbidity
    if water.uv_transmittance is not None:
        contents["absorption"] = -100.0 * np.log(water.uv_transmittance)
    return Stream(
        table,
        1.0,
        0.0,
        water.temperature,
        salinity,
        contents,
        atmospheric_pressure(site.altitude),
    )
