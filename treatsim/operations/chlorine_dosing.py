"""Chlorine dosing: hypochlorite into the line, from a stock whose strength fades.

Strengths are shares by the trade's count: 1 % is 10 g of available chlorine in a litre of liquid,
or in a kilogram a hundredth of powder.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.constants import LITRE
from treatsim.correlations.disinfection import chlorine
from treatsim.operations.chlorine_jars import ChlorineJars
from treatsim.operations.declarations import Company, Earns, Move, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Limit, Outcome, Value, at
from treatsim.operations.parameters import Parameters, choice, quantity, record
from treatsim.operations.unit import Unit
from treatsim.ranges import Excursion, excursions
from treatsim.water.stream import Stream

LIQUID_DENSITY = 100.0 * chlorine.PERCENT  # kg/m3 of available chlorine at a share of 1
HEALTH_LIMIT = 5e-3  # kg/m3 of free chlorine; who_gdwq_2022
WEAKEST = 0.05 * chlorine.PERCENT  # kg/m3; no recipe starts from less; common practice, no source
DILUTION = 10.0  # least strength of the can over the dose: beyond, the stock is part of the flow
ALKALINE = 8.0  # pH above which chlorine acts slowly; common practice
NORMAL_TURBIDITY, HIGHEST_TURBIDITY = 1.0, 5.0  # NTU; who_gdwq_2011, from memory


def left_after_demand(present, dose, demand):
    """Return the free chlorine left and the demand not met, one of them zero. All [kg/m3]"""
    held = np.asarray(present) + np.asarray(dose, float)
    used = np.minimum(held, demand)
    return held - used, demand - used


def per_litre(product_strength, can_strength, powder: bool):
    """Return the product for one litre of stock by both readings of a recipe.

    Strengths [kg/m3 of liquid, or 1 for powder], the can's below the product's. Filled up to one
    litre, and added to one litre of water -> liquid [m3] or powder [kg]
    """
    made_up = can_strength * LITRE / product_strength
    if powder:
        return made_up, made_up  # the powder's own volume does not count
    return made_up, made_up / (1.0 - can_strength / product_strength)


def acid_excursions(ph, temperature) -> list[Excursion]:
    """Return where the share of the acid is told outside the range of its formula. [1], [K]"""
    return [] if ph is None else excursions(chlorine.MORRIS_RANGE, temperature)


def _percent(strength) -> str:
    """Return the weakest of some shares in words."""
    return f"{float(np.min(strength)) * 100:.3g} %"


@record
class ChlorineDosingParameters(Parameters):
    """Dose, demand and the product it comes from."""

    forms = (ChlorineJars,)
    dose: float = quantity("concentration", "available chlorine dosed, per volume of water")
    demand: float = quantity(
        "concentration",
        "chlorine used up within half an hour, by a series of jars of the water that arrives here; "
        "what the water still owes by a doser ahead counts at least",
    )
    form: str = choice(
        ("liquid", "powder"), "form of the product",
        called={
            "bleach": "liquid", "solution": "liquid", "sodium_hypochlorite": "liquid",
            "calcium_hypochlorite": "powder", "granules": "powder", "tablets": "powder",
        },
    )  # fmt: skip
    strength: float = quantity(
        "fraction", "available chlorine of the product", open_low=True, small=True
    )
    strength_known: str = choice(("measured", "assumed"), "whether the strength was measured")
    stock_age: float = quantity("duration", "time since the strength was that", default=0.0)
    half_life: float | None = quantity(
        "duration", "time in store that halves the strength", open_low=True, default=None
    )
    can_strength: float | None = quantity(
        "fraction",
        "available chlorine of the solution the dosing pump draws, g per mL; left out: the product",
        open_low=True,
        small=True,
        default=None,
    )
    ph: float | None = quantity("ph", "pH where the chlorine acts", default=None)
    power: float = quantity("power", "electrical power of the dosing pump", low=0, default=0.0)

    def conflicts(self):
        """Check that the stock can be what it is said to be."""
        faults = []
        if np.any(np.asarray(self.stock_age) > 0) and self.half_life is None:
            faults.append("half_life: a stock of some age needs the half-life of its strength")
        if self.form == "powder" and self.can_strength is None:
            faults.append("can_strength: powder is dissolved first: state the strength in the can")
        return faults + self._weak_stock()

    def _weak_stock(self) -> list[str]:
        """Refuse a product that has faded away, and a can that cannot be made or cannot dose."""
        if np.any(np.asarray(self.stock_age) > 0) and self.half_life is None:
            return []  # asked for above
        today = np.asarray(self.strength_today) / self.all_chlorine
        if np.any(today * LIQUID_DENSITY < WEAKEST):
            key = "stock_age" if np.any(np.asarray(self.stock_age) > 0) else "strength"
            return [
                f"{key}: the product holds {_percent(today)} of chlorine today, below "
                f"{_percent(WEAKEST / LIQUID_DENSITY)}: it has no strength; take a fresh one"
            ]
        if self.can_strength is not None and np.any(np.asarray(self.can_strength) >= today):
            return [
                f"can_strength: must be below the strength of the product today, {_percent(today)}"
                "; left out, a liquid is drawn as it is"
            ]
        if np.any(self.can_strength_today < DILUTION * np.asarray(self.dose)):
            return [
                f"dose: the solution drawn, {_percent(self.can_strength_today / LIQUID_DENSITY)}, "
                f"must be at least {DILUTION:g} times as strong as the water dosed"
            ]
        return []

    @property
    def all_chlorine(self) -> float:
        """Strength of a product that is all chlorine. [kg/m3 of liquid; 1 for powder]"""
        return LIQUID_DENSITY if self.form == "liquid" else 1.0

    @property
    def strength_today(self):
        """Available chlorine of the product today. [kg/m3 of liquid; 1 for powder]"""
        fresh = np.asarray(self.strength) * self.all_chlorine
        if self.half_life is None:
            return fresh
        return chlorine.strength_after(fresh, self.stock_age, self.half_life)

    @property
    def can_strength_today(self):
        """Available chlorine in the dosing can. [kg/m3]"""
        if self.can_strength is None:
            return self.strength_today
        return np.asarray(self.can_strength) * LIQUID_DENSITY


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class ChlorineDosing(Unit):
    """Doses in step with the flow; pressure and water stay as they are.

    The demand the dose does not meet goes on with the water, for the next doser to meet.
    """

    parameters: ChlorineDosingParameters
    called = ("chlorinator", "chlorination", "hypochlorite")
    hazards = ("chlorine",)
    dials = ("dose",)
    headline = ("residual",)
    compared = ()
    told = (
        Row("residual", "free chlorine behind the dosing, demand used up"),
        Row("hypochlorous_share", "share that is the fast-acting acid"),
        Row("strength_today", "available chlorine of the product today"),
        Row("product_per_tank", "product for one tank"),
        Row("product_per_litre_made_up", "product for 1 L of solution, filled up to 1 L"),
        Row("product_per_litre_of_water", "the same, added to 1 L of water"),
        Row("stock_per_tank", "solution from the can for one tank"),
        Row("stock_flow", "solution from the can at this flow"),
        Row("dose_for_last_cup", "dose that leaves 0.2 mg/L at the last cup"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "residual": Told("concentration"),
        "strength_today": Told("fraction"),
        "stock_flow": Told("small_flow"),
        "hypochlorous_share": Told("fraction"),
        "product_per_tank": Told("small_volume", or_else="mass"),
        "product_per_litre_made_up": Told("small_volume", or_else="mass"),
        "product_per_litre_of_water": Told("small_volume", or_else="mass"),
        "stock_per_tank": Told("small_volume"),
        "dose_for_last_cup": Told("concentration"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        "residual": Ruled("concentration", "health", "free chlorine after dosing")
    }
    earns = Earns("awaits_contact")
    ends_product = False

    def moves(self) -> Iterator[Move]:
        """Yield the dose, up to the health limit and down to the demand."""
        p, words = self.parameters, "dose chlorine: {address} = {value}"
        dose, demand = float(at(p.dose, 0)), float(at(p.demand, 0))
        yield Move(words, "dose", dose, max(HEALTH_LIMIT + demand, dose))
        yield Move(words, "dose", dose, min(demand, dose))

    def in_company(self, company: Company) -> Details:
        """Return what the source's pH and the tank behind let it say."""
        acid = self._acid(company) if self.parameters.ph is None else Details()
        return dataclasses.replace(acid, values=acid.values | self._for_tank(company))

    def _acid(self, company: Company) -> Details:
        ph = company.source_ph
        if ph is None:
            return Details()
        share = chlorine.hypochlorous_acid_share(ph, company.inlet.temperature)
        slow = np.asarray(ph) > ALKALINE
        text = "pH {ph} is above 8: little of the chlorine is the acid that acts fast"
        findings = [Finding(slow, text, {"ph": Value(ph, "ph")})] if np.any(slow) else []
        return Details(
            {"hypochlorous_share": Value(share, "fraction")},
            findings=findings,
            excursions=acid_excursions(ph, company.inlet.temperature),
        )

    def _for_tank(self, company: Company) -> dict[str, Value]:
        """Product for one filling of the tank behind, and the dose that lasts to the last cup."""
        p = self.parameters
        tank = next((u for u in company.behind if u.usable_volume() is not None), None)
        if tank is None:
            return {}
        volume, kind = tank.usable_volume(), "mass" if p.form == "powder" else "small_volume"
        amount = chlorine.product_for(volume, p.dose, p.strength_today)
        found = {"product_per_tank": Value(amount, kind)}
        if p.can_strength is not None:
            can = chlorine.product_for(volume, p.dose, p.can_strength_today)
            found["stock_per_tank"] = Value(can, "small_volume")
        needed = company.values_of(tank.name).get("residual_needed_for_last_cup")
        if needed is not None:
            present = company.inlet.contents.get("free_chlorine", 0.0)
            dose = np.asarray(needed.value) + self.demand_of(company.inlet) - present
            dose = np.maximum(dose, 0.0)
            found["dose_for_last_cup"] = Value(dose, "concentration")
        return found

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream with free chlorine in it, or with the demand that is not met."""
        present = inlet.contents.get("free_chlorine", 0.0)
        owed = inlet.contents.get("chlorine_demand", 0.0)
        left, unmet = left_after_demand(present, self.parameters.dose, self.demand_of(inlet))
        outlet = inlet.changed(contents={"free_chlorine": left, "chlorine_demand": unmet})
        added = {
            "free_chlorine": (left - present) * inlet.flow,
            "chlorine_demand": (unmet - owed) * inlet.flow,
        }
        return Outcome({"outlet": outlet}, added, lambda: self._details(inlet, left))

    def demand_of(self, inlet: Stream):
        """Return the demand of the water that arrives: as stated, or more if it owes more."""
        return np.maximum(self.parameters.demand, inlet.contents.get("chlorine_demand", 0.0))

    def _details(self, inlet: Stream, left) -> Details:
        p = self.parameters
        can = p.can_strength_today
        values = {
            "residual": Value(left, "concentration"),
            "strength_today": Value(p.strength_today / p.all_chlorine, "fraction"),
            "stock_flow": Value(chlorine.product_for(inlet.flow, p.dose, can), "small_flow"),
        }
        limit = Limit(
            "free chlorine after dosing",
            "residual",
            left,
            "<=",
            HEALTH_LIMIT,
            "concentration",
            "who_gdwq_2022",
            f"{self.name}.dose",
            "dose less",
            "health",
        )
        return Details(
            values | self._hypochlorous(inlet) | self._recipe(can),
            limits=[limit],
            findings=self._findings(inlet, left),
            excursions=acid_excursions(p.ph, inlet.temperature),
            power=p.power,
            losses={"dosing pump": p.power} if np.any(np.asarray(p.power) > 0) else {},
            sources=("who_gdwq_2022", "morris_1966"),
            choices=(
                f"{self.name}: doses in step with the flow; demand used up at once, what is not "
                "met goes on",
            ),
        )

    def _hypochlorous(self, inlet: Stream) -> dict[str, Value]:
        if self.parameters.ph is None:
            return {}
        share = chlorine.hypochlorous_acid_share(self.parameters.ph, inlet.temperature)
        return {"hypochlorous_share": Value(share, "fraction")}

    def _recipe(self, can) -> dict[str, Value]:
        """Product for one litre of the can's solution, by both readings of "1 %"."""
        p = self.parameters
        if p.can_strength is None:
            return {}
        powder = p.form == "powder"
        kind = "mass" if powder else "small_volume"
        made_up, added = per_litre(p.strength_today, can, powder)
        return {
            "product_per_litre_made_up": Value(made_up, kind),
            "product_per_litre_of_water": Value(added, kind),
        }

    def _findings(self, inlet: Stream, left) -> list[Finding]:
        p = self.parameters
        turbidity = np.asarray(inlet.contents.get("turbidity", 0.0))
        dose, residual = np.asarray(p.dose), np.asarray(left)
        shown = {
            "residual": Value(residual, "concentration"),
            "dose": Value(dose, "concentration"),
            "demand": Value(self.demand_of(inlet), "concentration"),
            "turbidity": Value(turbidity, "turbidity"),
            "ph": Value(0.0 if p.ph is None else p.ph, "ph"),
        }
        rows = (
            (residual > HEALTH_LIMIT * (1 + 1e-9),
             "free chlorine of {residual} is above the health limit of 5 mg/L: dose less"),
            (residual <= 0, "the dose of {dose} is used up by the demand of {demand}: no free "
                               "chlorine is left"),
            (turbidity > HIGHEST_TURBIDITY,
             "turbidity of {turbidity}, above 5 NTU: chlorine earns no credit; clear the water"),
            ((turbidity > NORMAL_TURBIDITY) & (turbidity <= HIGHEST_TURBIDITY),
             "turbidity of {turbidity}, above 1 NTU: the demand swings and particles shield"),
            (np.asarray(-1.0 if p.ph is None else p.ph) > ALKALINE,
             "pH {ph} is above 8: little of the chlorine is the acid that acts fast"),
            (np.asarray(p.strength_known == "assumed"),
             "the strength of the product is assumed: measure the free chlorine in every tank"),
        )  # fmt: skip
        return [Finding(where, text, shown) for where, text in rows if np.any(where)]
