"""One smooth table per water: osmotic pressure, density, viscosity over salinity and temperature.

Built once by the library that knows the water best, stored on disk, evaluated with numpy alone.
Osmotic pressure is held as g = pi / (r T) over x = sqrt(r), r = kg of salt per kg of water, because
electrolytes depart from the ideal law with the square root of their concentration; g is smooth and
finite down to r = 0. Beyond its end every property goes on as a straight line in r (no jump in
value or slope), and `salinity_range`, `temperature_range` tell what lies outside.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import require
from treatsim.kept import library_versions
from treatsim.ranges import Excursion, Range, excursions
from treatsim.water import salt_solutions
from treatsim.water.analysis import OwnWaters, WaterAnalysis
from treatsim.water.cache import load_or_build
from treatsim.water.ions import SODIUM_CHLORIDE_MOLAR_MASS
from treatsim.water.osmosis import EXACT_FACTOR_RANGE, SEAWATER_RANGE
from treatsim.water.phreeqc import PITZER, database_fingerprint
from treatsim.water.pitzer import PITZER_RANGE
from treatsim.water.salt_solutions import (
    SEAWATER_VISCOSITY_RANGE,
    SODIUM_CHLORIDE_RANGE,
    mixture_diffusivity,
)
from treatsim.water.series import (
    Series,
    Surface,
    basis,
    evaluate,
    evaluate_with_slope,
    nodes,
    section,
    surface_through,
)
from treatsim.water.speciation import feed
from treatsim.water.table_samples import Plan, ions_plan, seawater_plan, sodium_chloride_plan

COLDEST, WARMEST = ZERO_CELSIUS, 318.15  # K, range of the table
BOUNDS = (ZERO_CELSIUS, 333.15)  # K, refused outside
COUNTS = {"sodium_chloride": (16, 9), "seawater": (14, 9), "ions": (13, 7)}
PROPERTIES = ("osmotic", "density", "viscosity")


@dataclass(frozen=True, eq=False)
class WaterTable:
    """Properties of one water. Salinity is kg of dissolved salt per kg of solution."""

    kind: str
    osmotic: Surface  # pi / (r T)
    mass: Surface  # density
    shear: Surface  # viscosity
    salinity_range: Range
    temperature_range: Range
    errors: Mapping[str, float]  # largest relative error against the source, between the nodes
    salt_diffusivity: float  # m2/s at 25 degC
    osmotic_uncertainty: float  # relative standard uncertainty of the source itself
    feed_salinity: Any  # kg/kg; one for each point where `analysis.own` tells it
    analysis: WaterAnalysis  # of the water it was asked for

    def osmotic_pressure(self, salinity, temperature):
        """Return the osmotic pressure, exact or of first order: see `water_table`. [Pa]"""
        ratio, inside, T = self._arguments(salinity, temperature)
        x, series = np.sqrt(inside), section(self.osmotic, T)
        excess = ratio - inside
        if not np.any(excess):
            return inside * T * evaluate(series, x)
        g, rate = evaluate_with_slope(series, x)
        return T * (inside * g + excess * (g + 0.5 * x * rate))

    def density(self, salinity, temperature):
        """Return the density at 1 atm. [kg/m3]"""
        return self._extended(self.mass, salinity, temperature)

    def viscosity(self, salinity, temperature):
        """Return the dynamic viscosity. [Pa s]"""
        return self._extended(self.shear, salinity, temperature)

    def diffusivity(self, temperature):
        """Return the diffusivity of the dissolved salt. [m2/s]"""
        return salt_solutions.diffusivity(temperature, self.salt_diffusivity)

    def along(self, salinities: tuple[float, ...], temperature):
        """Return osmotic pressure, density and viscosity at fixed salinities of the table's range.

        Shape (3, salinities, temperatures): one matrix, kept, times the series in temperature.
        """
        T = np.atleast_1d(require("temperature", temperature, *BOUNDS, "K"))
        matrix = _along(self, salinities)
        found = np.einsum("kij,j...->ki...", matrix, basis(T, *_warmth(self.osmotic)))
        found[0] *= T
        return found

    def mass_concentration(self, salinity, temperature):
        """Return dissolved salt per volume. [kg/m3]"""
        return salinity * self.density(salinity, temperature)

    def salinity(self, mass_concentration, temperature):
        """Return the salinity of a mass concentration (inverse of `mass_concentration`). [kg/kg]"""
        c = require("mass_concentration", mass_concentration, 0, 400, "kg/m3")
        T = require("temperature", temperature, *BOUNDS, "K")
        found, series = c / 1000.0, section(self.mass, T)
        for _ in range(18):  # contracts by a factor of six or more each time
            before, found = found, c / self._along_ratio(self.mass, series, self._ratio(found))
            if np.array_equal(before, found):
                break
        return found

    def excursions(self, salinity, temperature) -> list[Excursion]:
        """Return where the table, or a formula it was made from, is left. [kg/kg], [K]"""
        S = np.asarray(salinity, dtype=float)
        found = excursions(self.salinity_range, S)
        found += excursions(self.temperature_range, temperature)
        if self.kind in ("fresh", "sodium_chloride"):
            found += excursions(SODIUM_CHLORIDE_RANGE, S)
            return found + excursions(PITZER_RANGE, S / (1 - S) / SODIUM_CHLORIDE_MOLAR_MASS)
        pressure = SEAWATER_RANGE if self.kind == "seawater" else EXACT_FACTOR_RANGE
        return found + excursions(pressure, S) + excursions(SEAWATER_VISCOSITY_RANGE, S)

    def concentration_factor(self, salinity):
        """Return salt per kg of water over that of the feed. [1]"""
        ratio = salinity / (1 - salinity)
        return ratio * (1 - self.feed_salinity) / self.feed_salinity

    def of_each(self, ph, salinity) -> WaterTable:
        """Return the table of points whose waters differ in pH, or sea water in salinity."""
        own = replace(self.analysis, own=OwnWaters(ph, salinity))
        fed = salinity if self.kind == "seawater" else self.feed_salinity
        return replace(self, feed_salinity=fed, analysis=own)

    def _arguments(self, salinity, temperature):
        ratio = self._ratio(salinity)
        T = require("temperature", temperature, *BOUNDS, "K")
        return ratio, np.minimum(ratio, self.osmotic.high[0] ** 2), T

    @staticmethod
    def _ratio(salinity):
        S = require("salinity", salinity, 0, 0.5, "kg/kg")
        return S / (1 - S)

    def _extended(self, surface: Surface, salinity, temperature):
        T = require("temperature", temperature, *BOUNDS, "K")
        return self._along_ratio(surface, section(surface, T), self._ratio(salinity))

    def _along_ratio(self, surface: Surface, series: Series, ratio):
        """Value of a section of the surface, in a straight line beyond its end."""
        inside = np.minimum(ratio, surface.high[0] ** 2)
        x, excess = np.sqrt(inside), ratio - inside
        if not np.any(excess):
            return evaluate(series, x)
        value, rate = evaluate_with_slope(series, x)
        return value + excess * rate / (2 * surface.high[0])


def _warmth(surface: Surface) -> tuple[float, float, int]:
    return surface.low[1], surface.high[1], surface.coefficients.shape[1]


@lru_cache(maxsize=64)
def _along(table: WaterTable, salinities: tuple[float, ...]) -> np.ndarray:
    """Matrix from the series in temperature to osmotic pressure over T, density and viscosity."""
    S = require("salinity", salinities, 0, table.salinity_range.high, "kg/kg")
    ratio = S / (1 - S)
    rows = []
    for surface in (table.osmotic, table.mass, table.shear):
        across = basis(np.sqrt(ratio), surface.low[0], surface.high[0], len(surface.coefficients))
        rows.append(across.T @ surface.coefficients)
    rows[0] = rows[0] * ratio[:, None]
    return np.stack(rows)


def water_table(analysis: WaterAnalysis) -> WaterTable:
    """Return the table of a water, from disk or built now.

    Sodium chloride, fresh water and sea salt need one table each, whatever the feed; an ion
    analysis has its own.

    Parameters
    ----------
    analysis : WaterAnalysis
        What was measured. [-]

    Returns
    -------
    WaterTable
        Holds its own measured error in `errors`.

    Validity
    --------
    0 to 45 degC; sodium chloride to 0.20 kg/kg, sea salt to 0.13, ions from infinite dilution to
    16 times the feed or 0.13 kg/kg. Outside: see the head of this file. Below 0.05 times the feed
    of an ion analysis the series runs into the ideal limit (1e-3 of a pressure that is small).
    Osmotic pressure is exact (equal chemical potential) for sea salt and for ions, and of first
    order for sodium chloride, below the exact value by 0.11 % at 35 g/kg: the standard tests of
    elements are read that way, so that a permeability and the water it meets agree.

    Source
    ------
    iapws_2008 (sea salt), parkhurst_appelo_2013 (ions and sodium chloride)
    """
    family = "sodium_chloride" if analysis.kind == "fresh" else analysis.kind
    found = load_or_build(
        f"water-{family}",
        _key(analysis, family),
        lambda: _build(analysis, family),
        _shapes(family),
    )
    formula = f"table of {analysis.kind} water"
    top = float(found["x_largest"])
    ions = analysis.kind == "ions"
    diffusivity = salt_solutions.SALT_DIFFUSIVITY
    table = WaterTable(
        kind=analysis.kind,
        osmotic=_surface(found, "osmotic", "x_largest"),
        mass=_surface(found, "density", "x_largest"),
        shear=_surface(found, "viscosity", "x_largest"),
        salinity_range=Range("salinity", 0.0, top**2 / (1 + top**2), "kg/kg", formula),
        temperature_range=Range("temperature", COLDEST, WARMEST, "K", formula),
        errors={name: float(found[f"{name}_error"]) for name in PROPERTIES},
        salt_diffusivity=mixture_diffusivity(analysis.ions) if ions else diffusivity,
        osmotic_uncertainty=analysis.osmotic_uncertainty,
        feed_salinity=float(found["feed_salinity"]),
        analysis=analysis,
    )
    return table if ions else _with_feed(table, analysis)


def _shapes(family: str) -> dict[str, tuple[int, ...]]:
    single = ("x_largest", "feed_salinity", *(f"{name}_error" for name in PROPERTIES))
    return dict.fromkeys(PROPERTIES, COUNTS[family]) | dict.fromkeys(single, ())


def _surface(found: Mapping[str, np.ndarray], name: str, top: str) -> Surface:
    return Surface(found[name], (0.0, COLDEST), (float(found[top]), WARMEST))


def _with_feed(table: WaterTable, analysis: WaterAnalysis) -> WaterTable:
    if analysis.mass_fraction is not None:
        return replace(table, feed_salinity=float(analysis.mass_fraction))
    salinity = table.salinity(analysis.mass_concentration, analysis.temperature)
    return replace(table, feed_salinity=float(salinity))


def _key(analysis: WaterAnalysis, family: str) -> dict[str, object]:
    key: dict[str, object] = {
        "counts": list(COUNTS[family]),
        "versions": library_versions("CoolProp", "gsw", "phreeqpython"),
    }
    if family == "ions":
        key["analysis"] = [sorted(analysis.ions.items()), analysis.ph, analysis.temperature]
        key["database"] = database_fingerprint(PITZER)
    return key


def _build(analysis: WaterAnalysis, family: str) -> dict[str, np.ndarray]:
    count, warm_count = COUNTS[family]
    salinity = 0.0
    if family == "ions":
        water = feed(analysis)
        plan, salinity = ions_plan(water, count), water.salinity
    else:
        plan = (seawater_plan if family == "seawater" else sodium_chloride_plan)(count)
    T = nodes(COLDEST, WARMEST, warm_count)
    top = float(np.sqrt(plan.largest_ratio))
    bounds = ((0.0, COLDEST), (top, WARMEST))
    values = plan.sampler(plan.x[:, None], T[None, :])
    surfaces = [surface_through(plan.x, T, v, *bounds) for v in values]
    tables = {n: s.coefficients for n, s in zip(PROPERTIES, surfaces, strict=True)}
    tables |= _measured(plan, surfaces, T)
    return tables | {"x_largest": np.array(top), "feed_salinity": np.array(salinity)}


def _measured(plan: Plan, surfaces: list[Surface], T: np.ndarray) -> dict[str, np.ndarray]:
    """Largest relative error against the source half-way between the nodes."""
    x = np.sort(plan.x[plan.x >= plan.measured_from])
    x_between, T_between = 0.5 * (x[1:] + x[:-1])[:, None], 0.5 * (T[1:] + T[:-1])[None, :]
    true = plan.sampler(x_between, T_between)
    return {
        f"{name}_error": np.array(
            np.max(np.abs(evaluate(section(surface, T_between[0]), x_between) / value - 1))
        )
        for name, surface, value in zip(PROPERTIES, surfaces, true, strict=True)
    }
