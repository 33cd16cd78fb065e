"""The tables of a case that are no units: the site, the water, and what is asked of it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from treatsim.correlations.uv.optics import napierian_absorption
from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, choice, quantity, record, reference
from treatsim.operations.sheets import Sheet
from treatsim.power.battery import BatteryParameters
from treatsim.power.loads import LoadsParameters
from treatsim.power.monthly import monthly_means
from treatsim.power.site import SiteParameters, place_of
from treatsim.power.sun import days_of
from treatsim.power.tables import ArrayParameters, SunParameters
from treatsim.quantities import text
from treatsim.running.basin_table import BasinParameters
from treatsim.running.logbook_table import LogbookParameters
from treatsim.running.operation import OperationParameters
from treatsim.running.source import SourceParameters
from treatsim.running.spares_table import SparesParameters
from treatsim.running.start_parameters import StartupParameters
from treatsim.safety.evidence import HealthParameters, PeopleParameters
from treatsim.safety.measured_analytes import AnalytesParameters
from treatsim.studies.ageing_table import AgeingParameters
from treatsim.studies.spread_inputs import UncertaintyParameters
from treatsim.water import analysis
from treatsim.water.laboratory import Ions, of_report, read_report
from treatsim.water.properties import atmospheric_pressure
from treatsim.water.speciation import AnalysisKey
from treatsim.water.stream import Stream
from treatsim.water.substances import SUBSTANCES, substance
from treatsim.water.water_table import WaterTable, water_table

DENSITY_ABOUT = 1000.0  # kg/m3, of a water that is held against its own ions
# solids of a report over the sum of its ions: hydrogen carbonate dries to carbonate, 0.63 of sodium
# hydrogen carbonate by molar mass, and 1.2 is what laboratories let pass (from memory)
SOLIDS_PER_IONS = (0.6, 1.25)


@record
class Absorbance(Sheet):
    """Reading of a spectrophotometer."""

    gives = ("uv_transmittance",)
    uv_absorbance: float = quantity("absorbance", "at 254 nm, decadic, of an unfiltered sample")

    def coefficients(self):
        """Return the transmittance of a centimetre."""
        return {"uv_transmittance": float(np.exp(-napierian_absorption(self.uv_absorbance) / 100))}

    def told(self, found):
        """Say what the reading comes to."""
        return (
            f"transmittance {found['uv_transmittance']:.1%} per cm by an absorbance of "
            f"{text(self.uv_absorbance, 'absorbance')}"
        )


@record
class WaterParameters(Parameters):
    """What was measured of the source."""

    forms = (Absorbance,)
    kind: str = choice(
        analysis.KINDS, "type of water, by its dissolved salt",
        called={
            "lake": "fresh", "river": "fresh", "stream": "fresh", "pond": "fresh",
            "spring": "fresh", "sea": "seawater", "ocean": "seawater", "salt": "seawater",
            "nacl": "sodium_chloride", "brackish": "ions", "analysis": "ions",
        },
    )  # fmt: skip
    temperature: float = quantity("temperature", "temperature of the water")
    salinity: float | None = quantity(
        "mass_fraction",
        "dissolved salt, per mass or per volume",
        high=0.26,
        or_else="salinity_per_volume",
        default=None,
    )
    salinity_per_volume: float | None = quantity(
        "concentration", "dissolved salt per volume, at the water's temperature", default=None
    )
    conductivity: float | None = quantity("conductivity", "at 25 degC", default=None)
    ions: dict | None = reference(
        "laboratory report, each by symbol or name",
        example={"Na": "120 mg/L", "Ca": "60 mg/L", "Cl": "180 mg/L", "HCO3": "190 mg/L"},
        names=lambda: [row.name for row in SUBSTANCES],
        default=None,
    )
    adjust: str = reference(
        "ion that closes the charge balance",
        example="Na",
        names=lambda: [row.symbol for row in SUBSTANCES if row.charge and row.symbol],
        default="",
    )
    turbidity: float | None = quantity("turbidity", "turbidity of the raw water", default=None)
    suspended_solids: float | None = quantity("concentration", "suspended solids", default=None)
    uv_transmittance: float | None = quantity(
        "uv_transmittance", "per cm at 254 nm, unfiltered sample", open_low=True, default=None
    )
    chlorine_demand: float | None = quantity(
        "concentration", "chlorine used up within half an hour, where water not dosed meets dosed",
        default=None,
    )  # fmt: skip
    ph: float | None = quantity("ph", "pH at the source", default=None)
    boron: float | None = quantity("concentration", "boron", default=None)

    def conflicts(self):
        """Refuse one thing said twice."""
        found = []
        salt = [n for n in ("salinity", "salinity_per_volume") if getattr(self, n) is not None]
        if salt and self.conductivity is not None:
            found.append("conductivity: salinity is given too, and the two may differ; keep one")
        ions = self.ions if self.kind == "ions" and isinstance(self.ions, dict) else {}
        if self.boron is not None and any(_symbol(key) == "B" for key in ions):
            found.append("boron: it is given among the ions too; keep one")
        return found


@record
class FlowsheetParameters(Parameters):
    """How the units are joined."""

    links: list = reference(
        'lines of units, such as "pump > hose > tank"; a port follows its unit after a dot, and a '
        "bare name that is no unit ends a line: tank is the product",
        example=["pump > hose > ro", "ro.permeate > tank", "ro.concentrate > valve > drain"],
    )


@record
class HoldParameters(Parameters):
    """A result to be reached by moving an input; as often as needed."""

    adjust: str = reference(
        "address of the input of a unit that is moved, from its value in the file",
        example="pump.speed",
    )
    until: str = reference("address of the result", example="product.flow")
    equals: str = reference("value that the result takes, with its unit", example="6 m3/h")


JOINING: dict[str, type[Parameters]] = {"flowsheet": FlowsheetParameters, "hold": HoldParameters}


def _symbol(key: str) -> str:
    row = substance(key)
    return row.symbol if row else ""


SECTIONS: dict[str, type[Parameters]] = {
    "site": SiteParameters,
    "water": WaterParameters,
    "sun": SunParameters,
    "array": ArrayParameters,
    "battery": BatteryParameters,
    "loads": LoadsParameters,
    "operation": OperationParameters,
    "people": PeopleParameters,
    "health": HealthParameters,
    "analytes": AnalytesParameters,
    "source": SourceParameters,
    "uncertainty": UncertaintyParameters,
    "startup": StartupParameters,
    "spares": SparesParameters,
    "logbook": LogbookParameters,
    "ageing": AgeingParameters,
    "pit": BasinParameters,
}
# no unit's name; a storage tank may well be called tank
RESERVED = {"product", "energy", "outfall", "drain", "title", "hold", *SECTIONS}
REQUIRED = {"water"}
CHEMICAL = ("ions", "seawater")  # kinds of water whose pH and saturations are worked out
OVER_MONTHS = {"source", "spares", "pit"}  # nothing in them moves a single operating point


def other_waters(water: Any) -> tuple[str, ...]:
    """Return the inputs whose values make another water, with a chemistry of its own."""
    if water.kind not in CHEMICAL or water.ph is None:
        return ()
    salty = ("water.salinity", "water.salinity_per_volume") if water.kind == "seawater" else ()
    return ("water.ph", *salty)


def analysis_of(water: WaterParameters) -> analysis.WaterAnalysis:
    """Return the analysis; RequestError if what was measured does not make one."""
    temperature = float(np.min(water.temperature))
    ph = None if water.ph is None else float(np.min(water.ph))
    if water.kind == "ions":
        if not isinstance(water.ions, dict) or not water.ions:
            raise RequestError('water.ions is missing: an analysis such as { Na = "120 mg/L" }')
        if ph is None:
            raise RequestError("water.ph is missing: an ion analysis needs it")
        ions = _ions(water).ions
        _agrees(water, sum(ions.values()))
        # taken as of the laboratory, so that one table serves every temperature of a sweep
        return analysis.of_ions(ions, ph=ph, adjust=water.adjust)
    given = _salinity(water)
    return analysis.of_salt(water.kind, temperature=temperature, ph=ph, **given)


def _agrees(water: WaterParameters, ions: float) -> None:
    """Refuse a salinity that the ions of the same report do not come to; they alone are used."""
    if water.salinity is not None:
        stated = np.asarray(water.salinity) * DENSITY_ABOUT
    elif water.salinity_per_volume is not None:
        stated = np.asarray(water.salinity_per_volume)
    else:
        return
    low, high = SOLIDS_PER_IONS
    if np.all((low * ions <= stated) & (stated <= high * ions)):
        return
    told = text(ions, "concentration")
    raise RequestError(
        f"water.salinity: the ions come to {told}, and dried solids are {low:g} to {high:g} times "
        "that: one of the two is not of this water; correct or leave out the one that is wrong"
    )


def _ions(water: WaterParameters) -> Ions:
    """Return what the chemistry takes of the laboratory report."""
    ph = None if water.ph is None else float(np.max(water.ph))
    return of_report(read_report(water.ions or {}, "water.ions"), ph)


def _salinity(water: WaterParameters) -> dict[str, float]:
    """Return the salinity on its basis; a conductivity stands for the middle of its band."""
    given = {
        "mass_fraction": water.salinity,
        "mass_concentration": water.salinity_per_volume,
    }
    told = {name: float(np.max(value)) for name, value in given.items() if value is not None}
    if told:
        return told
    if water.conductivity is None or water.kind == "seawater":
        other = "" if water.kind == "seawater" else "; or give conductivity, in uS/cm"
        raise RequestError(
            f"water.salinity is missing: {water.kind} water needs it, in g/L or g/kg{other}"
        )
    return {"mass_concentration": float(np.max(_middle(water.conductivity)))}


def _middle(conductivity):
    """Middle of the band of salt that a conductivity at 25 degC allows. [kg/m3]"""
    low, high = analysis.SOLIDS_PER_CONDUCTIVITY
    return 0.5 * (low + high) * np.asarray(conductivity)


def water_notes(water: WaterParameters) -> list[str]:
    """Return what was assumed about the water, in words."""
    measured = analysis_of(water)
    notes = [f"water: {note}" for note in measured.notes]
    if measured.kind == "ions":
        notes += [f"water: {note}" for note in _ions(water).notes]
        if water.salinity is not None or water.salinity_per_volume is not None:
            notes.append("water: salinity is not used beside the ions, and agrees with them")
    if measured.balance is not None:
        balance = measured.balance
        closed = f", closed by {balance.added * 1e3:.3g} mg/L of {balance.adjusted}"
        notes.append(
            f"water: charge balance of the analysis {balance.imbalance:+.1%}"
            + (closed if balance.adjusted else "")
        )
    elif water.salinity is None and water.salinity_per_volume is None:
        low, high = (
            1e3 * b * float(np.min(np.asarray(water.conductivity, float)))
            for b in analysis.SOLIDS_PER_CONDUCTIVITY
        )
        notes.append(
            f"water: {low:.0f} to {high:.0f} mg/L of salt by conductivity; the middle is "
            "used, and osmotic pressure is uncertain by 20 to 100 %: have the ions measured"
        )
    return notes


def given_twice(sections: Mapping[str, Any]) -> list[str]:
    """Return the analytes that the water states already; the report itself stands once."""
    water, analytes = sections["water"], sections["analytes"]
    if water.boron is None or analytes is None or "boron" not in analytes.before:
        return []
    return ["analytes.boron: water.boron states it too; keep this one, by which it is judged"]


def unlit(sections: Mapping[str, Any]) -> list[str]:
    """Return what is wrong between site, sun and array; nothing where neither is stated."""
    site, sun, array = (sections[name] for name in ("site", "sun", "array"))
    if sun is None:
        return [] if array is None else ["sun is missing: a table [sun] for the array"]
    try:
        place = place_of(site)
        if sun.file is None:
            monthly_means(place, sun, days_of(place))
    except RequestError as error:
        return error.problems
    return []


def atmosphere_at(site: SiteParameters | None):
    """Return the atmosphere at the site, the standard one where no altitude is stated. [Pa]"""
    stated = site is not None and site.altitude is not None
    return atmospheric_pressure(site.altitude if site is not None and stated else 0.0)


class _Measured:
    """An analysis as a key: equal if all that is measured and told of it is."""

    def __init__(self, measured: analysis.WaterAnalysis) -> None:
        self.analysis = measured
        self.content = AnalysisKey(measured), measured.notes, repr(measured.balance)

    def __hash__(self) -> int:
        return hash(self.content)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Measured) and self.content == other.content


@lru_cache(maxsize=32)  # one table for all solves of a case, so that what is made of it is kept
def _table_of(measured: _Measured) -> WaterTable:
    return water_table(measured.analysis)


def source_stream(site: SiteParameters | None, water: WaterParameters) -> Stream:
    """Return the source water at ambient pressure."""
    measured = analysis_of(water)
    table = _table_of(_Measured(measured))
    salinity = table.feed_salinity if water.salinity is None else water.salinity
    if measured.kind != "ions" and water.salinity is None:
        # a salinity per volume holds at each point's temperature, whatever points stand beside it
        volume = water.salinity_per_volume
        volume = _middle(water.conductivity) if volume is None else volume
        salinity = table.salinity(volume, water.temperature)
    contents = {}
    if water.suspended_solids is not None:
        contents["suspended_solids"] = water.suspended_solids
    if water.turbidity is not None:
        contents["turbidity"] = water.turbidity
    if water.uv_transmittance is not None:
        contents["absorption"] = -100.0 * np.log(water.uv_transmittance)
    if water.chlorine_demand is not None:
        contents["chlorine_demand"] = water.chlorine_demand
    told = [getattr(water, name.removeprefix("water.")) for name in other_waters(water)]
    if any(value is not None and np.ptp(value) > 0 for value in told):
        table = table.of_each(water.ph, salinity)
    return Stream(
        table,
        1.0,
        0.0,
        water.temperature,
        salinity,
        contents,
        atmosphere_at(site),
    )
