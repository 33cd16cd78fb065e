"""Calcite bed: grains of limestone that a soft, acid water dissolves, for hardness and alkalinity.

What it gives is followed to every port behind (`flowsheet/substances.py`), as what is dosed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from treatsim.constants import CELSIUS_25, DAY
from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Limit, Outcome, Value, loss
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.acid_base import calcite_index
from treatsim.water.acidity import ALKALINITY, CARBON, Acid, place_of, water_in
from treatsim.water.calcite import Chemistry, film_coefficient, taken_up
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT, IONS
from treatsim.water.stream import Stream

MOLAR_MASS = 2 * CALCIUM_CARBONATE_EQUIVALENT  # kg/mol of calcite
DENSITY = 2710.0  # kg/m3 of calcite; handbooks
FASTEST = 15 / 3600  # m/s through the empty bed; common practice, no source
LEAST_SHARE = 0.8  # of what equilibrium gives; below, the product moves; common practice, no source
STRONGEST = 1.0  # mol/kg, where an ionic strength is cut off: the index is of thin waters
SOURCES = ("plummer_wigley_parkhurst_1978", "wakao_funazkri_1978", "ergun_1952")
ASSUMED = (
    "grains as spheres of clean calcite, water passing them evenly and closed to air; magnesium, "
    "phosphate and slime slow them down: measure hardness and pH behind, before pipes are trusted"
)
REFILL = 0.1  # of the grains, after which a bed is filled up; common practice, no source


def bed_drop(flow, density, viscosity, area, depth, grain, porosity):
    """Return the pressure drop of a bed of grains by Ergun's equation. SI -> [Pa]"""
    u = flow / area
    solid = (1 - porosity) / porosity**3
    slow = 150 * viscosity * (1 - porosity) * solid * u / grain**2
    return depth * (slow + 1.75 * density * solid * u * np.abs(u) / grain)


@record
class CalciteBedParameters(Parameters):
    """A bed of grains as it is filled."""

    bed_volume: float = quantity("volume", "of the grains with the water between", open_low=True)
    bed_area: float = quantity("area", "cross-section that the water passes", open_low=True)
    grain_size: float = quantity(
        "small_length", "mean diameter of the grains", open_low=True, high=0.02
    )
    porosity: float = quantity("fraction", "free share of the bed", low=0.2, high=0.8)


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class CalciteBed(Unit):
    """Dissolves by the law of Plummer, Wigley and Parkhurst until it is saturated or leaves."""

    parameters: CalciteBedParameters
    called = ("limestone", "remineralisation")
    hazards = ()
    dials = ("bed_volume",)
    headline = ("ph_behind", "hardness_added")
    compared = (Row("calcite_per_day", "calcite used in 24 h"),)
    told = (
        Row("contact_time", "contact time of the empty bed"),
        Row("velocity", "velocity of the empty bed"),
        Row("pressure_drop", "pressure drop"),
        Row("ph_before", "pH before"),
        Row("ph_behind", "pH behind"),
        Row("hardness_added", "hardness and alkalinity added, as CaCO3"),
        Row("equilibrium_share", "share of what equilibrium would give"),
        Row("calcite_per_day", "calcite used in 24 h of running"),
        Row("refill_after", "running time until a tenth is gone"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "contact_time": Told("time"),
        "velocity": Told("velocity"),
        "pressure_drop": Told("pressure_difference"),
        "ph_before": Told("ph"),
        "ph_behind": Told("ph"),
        "hardness_added": Told("concentration"),
        "equilibrium_share": Told("fraction"),
        "calcite_per_day": Told("mass"),
        "refill_after": Told("duration"),
        "lost_power": Told("power", "power lost"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        "velocity": Ruled("velocity", "practice", "velocity through a bed of calcite"),
        "equilibrium_share": Ruled("fraction", "practice", "share of equilibrium behind a bed"),
    }
    earns = Earns(reason="grains of calcite hold no germs back")
    ends_product = False
    adds_dissolved = True

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream behind the bed."""
        p = self.parameters
        drop = bed_drop(
            inlet.flow, inlet.density, inlet.viscosity, p.bed_area, p.bed_volume / p.bed_area,
            p.grain_size, p.porosity,
        )  # fmt: skip
        outlet = inlet.changed(pressure=inlet.pressure - drop)
        values = {
            "pressure_drop": Value(drop, "pressure_difference"),
            "lost_power": Value(drop * inlet.flow, "power"),
        }
        return Outcome({"outlet": outlet}, loss(inlet, drop), lambda: Details(values))

    def _taken(self, inlet: Stream, held: Mapping[str, Any], acidity: Any):
        """Return calcite taken up and at equilibrium [mol/m3]; none where it cannot be told."""
        p = self.parameters
        if acidity is None or ALKALINITY not in held:
            return 0.0, 0.0
        water = water_in(inlet)

        def chemistry(x):
            more = {key: held.get(key, 0.0) + gain for key, gain in _gains(x).items()}
            then = {**held, **more}
            place = place_of(acidity, inlet, then, water)
            acid = acidity.at(acidity.ground(place), then[ALKALINITY] / water, then[CARBON] / water)
            calcium = then["Ca"] / IONS["Ca"].molar_mass / water
            strength = np.minimum(place.ionic_strength, STRONGEST)
            index = calcite_index(calcium, acid.forms, strength, place.temperature)
            return Chemistry(acid.ph, acid.forms.carbon_dioxide, index)

        flow = np.where(np.isfinite(inlet.flow) & (inlet.flow > 0), inlet.flow, 1.0)
        warm = np.where(np.isfinite(inlet.temperature), inlet.temperature, CELSIUS_25)
        film = film_coefficient(flow / p.bed_area, p.grain_size, 1e3, inlet.viscosity)
        surface = 6 * (1 - np.asarray(p.porosity)) / p.grain_size * p.bed_volume
        shape = np.shape(held[ALKALINITY])
        return taken_up(chemistry, warm, film, np.broadcast_to(surface / flow, shape))

    def dosed(self, inlet: Stream, held: Mapping[str, Any], acidity: Any) -> dict[str, Any]:
        """Return calcium, alkalinity and carbon of what dissolves. [per volume of water]"""
        return _gains(self._taken(inlet, held, acidity)[0])

    def recipe(
        self, inlet: Stream, held: Mapping[str, Any], before: Acid | None, behind: Acid | None,
        acidity: Any,
    ) -> Details:  # fmt: skip
        """Return what the bed gives, and how long it lasts."""
        p = self.parameters
        velocity = inlet.flow / p.bed_area
        values = {
            "contact_time": Value(p.bed_volume / inlet.flow, "time"),
            "velocity": Value(velocity, "velocity"),
        }
        told = before is not None and behind is not None
        share: Any = np.nan
        if before is not None and behind is not None:
            taken, most = self._taken(inlet, held, acidity)
            share = np.where(most > 0, taken / np.where(most > 0, most, 1.0), 1.0)
            used = taken * MOLAR_MASS * inlet.flow
            mass = (1 - np.asarray(p.porosity)) * p.bed_volume * DENSITY
            values |= {
                "ph_before": Value(before.ph, "ph"),
                "ph_behind": Value(behind.ph, "ph"),
                "hardness_added": Value(taken * MOLAR_MASS, "concentration"),
                "equilibrium_share": Value(share, "fraction"),
                "calcite_per_day": Value(used * DAY, "mass"),
                "refill_after": Value(REFILL * mass / np.maximum(used, 1e-12), "duration"),
            }
        practice: dict[str, Any] = {"source": "common practice, no source",
                                    "group": "practice"}  # fmt: skip
        limits = [
            Limit("velocity through the bed", "velocity", velocity, "<=", FASTEST, "velocity",
                  binding_input=f"{self.name}.bed_area", advice="a wider bed", **practice),
            Limit("share of equilibrium behind the bed", "equilibrium_share", share, ">=",
                  LEAST_SHARE, "fraction", binding_input=f"{self.name}.bed_volume",
                  advice="more grains, or finer ones", needs="" if told else "water.ph",
                  judged=told, **practice),
        ]  # fmt: skip
        return Details(values, limits, choices=(ASSUMED,), sources=SOURCES)


def _gains(moles) -> dict[str, Any]:
    """What calcite brings into the water. [per volume of water]"""
    return {"Ca": moles * IONS["Ca"].molar_mass, ALKALINITY: 2 * moles, CARBON: 1.0 * moles}
