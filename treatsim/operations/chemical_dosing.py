"""Chemical dosing: acid, caustic, antiscalant or bisulfite into the line, by dose or by pH.

Doses are of the pure chemical per volume of water. What it brings is followed to every port behind
(`flowsheet/substances.py`); it is too thin to be felt by flows and pressures.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple

import numpy as np

from treatsim.constants import DAY
from treatsim.operations.declarations import Earns, Move, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Limit, Outcome, Value, at
from treatsim.operations.parameters import Parameters, choice, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.acidity import ALKALINITY, CARBON, Acid, place_of, water_in
from treatsim.water.ions import IONS
from treatsim.water.stream import Stream

CHLORINE = 70.906e-3  # kg/mol of Cl2, by which free chlorine is told
LEAST_RATIO = 1.8  # kg of sodium bisulfite per kg of chlorine; common practice, from memory
ROUNDS = 4  # in which a dose for a pH settles
LEFT_OVER = 1e-7  # kg/m3 of free chlorine that counts as none, as on a meter


class Chemical(NamedTuple):
    """What one chemical brings into the water."""

    words: str
    hazard: str  # group of cautions
    molar_mass: float  # kg/mol; 0 of what has none
    ions: Mapping[str, int]  # mol of each ion per mol
    charge: int  # alkalinity, eq per mol
    carbon: int = 0  # mol of inorganic carbon per mol


# sodium bisulfite takes up oxygen or chlorine and ends as sulfate; molar masses by atomic weights
CHEMICALS: dict[str, Chemical] = {
    "hydrochloric_acid": Chemical("hydrochloric acid", "acid", 36.461e-3, {"Cl": 1}, -1),
    "sulfuric_acid": Chemical("sulfuric acid", "acid", 98.079e-3, {"SO4": 1}, -2),
    "caustic_soda": Chemical("caustic soda", "caustic", 39.997e-3, {"Na": 1}, 1),
    "carbon_dioxide": Chemical("carbon dioxide", "carbon_dioxide", 44.009e-3, {}, 0, 1),
    "antiscalant": Chemical("antiscalant", "antiscalant", 0.0, {}, 0),
    "sodium_bisulfite": Chemical(
        "sodium bisulfite", "bisulfite", 104.061e-3, {"Na": 1, "SO4": 1}, -1
    ),
}
PER_CHLORINE = CHEMICALS["sodium_bisulfite"].molar_mass / CHLORINE  # kg per kg, one to one


def chlorine_left(free_chlorine, bisulfite):
    """Return the free chlorine left by a dose of sodium bisulfite, and the dose left. [kg/m3]"""
    used = np.minimum(free_chlorine, np.asarray(bisulfite) / PER_CHLORINE)
    return free_chlorine - used, bisulfite - used * PER_CHLORINE


@record
class ChemicalDosingParameters(Parameters):
    """What is dosed, how much, and the stock it comes from."""

    chemical: str = choice(
        tuple(CHEMICALS), "what is dosed",
        called={
            "naoh": "caustic_soda", "caustic": "caustic_soda", "sodium_hydroxide": "caustic_soda",
            "hcl": "hydrochloric_acid", "h2so4": "sulfuric_acid", "sulphuric_acid": "sulfuric_acid",
            "co2": "carbon_dioxide", "sodium_bisulphite": "sodium_bisulfite",
        },
    )  # fmt: skip
    dose: float | None = quantity(
        "concentration", "pure chemical per volume of water", high=2.0, default=None
    )
    target_ph: float | None = quantity(
        "ph", "in place of a dose: the pH behind, of acid and of caustic soda", default=None
    )
    strength: float = quantity(
        "fraction", "pure chemical in the stock, by mass", open_low=True, small=True
    )
    stock_density: float = quantity("density", "of the stock", low=600, high=2000)
    least_dose: float | None = quantity(
        "concentration", "of an antiscalant: what its data sheet asks for at least", default=None
    )
    largest_dose: float | None = quantity(
        "concentration",
        "largest dose that its approval for drinking water allows",
        open_low=True,
        default=None,
    )
    power: float = quantity("power", "electrical power of the dosing pump", low=0, default=0.0)

    either = ((("dose",), ("target_ph",)),)

    def conflicts(self):
        """Check that a dose can be told, and a stock give it."""
        faults = []
        if (self.dose is None) == (self.target_ph is None):
            faults.append("dose: give a dose or a target_ph, one of the two")
        row = CHEMICALS[self.chemical]
        if self.target_ph is not None and not (row.charge and row.hazard in ("acid", "caustic")):
            faults.append(f"target_ph: {row.words} sets no pH: give a dose")
        if self.chemical == "antiscalant":
            faults += [
                f"{key}: an antiscalant needs it, from its data sheet"
                for key in ("least_dose", "largest_dose")
                if getattr(self, key) is None
            ]
        if self.dose is not None and np.any(self.stock < 10 * np.asarray(self.dose)):
            faults.append("strength: the stock must be at least 10 times as strong as the water")
        return faults

    @property
    def stock(self):
        """Pure chemical per volume of stock. [kg/m3]"""
        return np.asarray(self.strength) * self.stock_density


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class ChemicalDosing(Unit):
    """Doses in step with the flow; pressure and salt of the stream stay as they are."""

    parameters: ChemicalDosingParameters
    hazards = ("acid", "caustic", "antiscalant", "bisulfite", "carbon_dioxide")
    dials = ("dose", "target_ph")
    headline = ("dose_given",)
    compared = (Row("stock_per_day", "stock of a dosing pump in 24 h"),)
    told = (
        Row("dose_given", "dose, pure chemical"),
        Row("ph_before", "pH before"),
        Row("ph_behind", "pH behind"),
        Row("stock_flow", "stock at this flow"),
        Row("stock_per_day", "stock for 24 h of running"),
        Row("pure_per_day", "pure chemical for 24 h of running"),
        Row("bisulfite_ratio", "bisulfite over the chlorine that arrives"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "dose_given": Told("concentration"),
        "ph_before": Told("ph"),
        "ph_behind": Told("ph"),
        "stock_flow": Told("small_flow"),
        "stock_per_day": Told("volume"),
        "pure_per_day": Told("mass"),
        "bisulfite_ratio": Told("factor"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        "largest_dose": Ruled("concentration", "health", "dose within its approval"),
        "least_dose": Ruled("concentration", "rating", "dose of the antiscalant's data sheet"),
        "bisulfite_ratio": Ruled("factor", "practice", "bisulfite over chlorine"),
        "target_ph": Ruled("ph", "duty", "pH that is to be reached"),
    }
    earns = Earns(reason="kills no germs and takes none out")
    ends_product = False
    adds_dissolved = True

    @property
    def chemical(self) -> Chemical:
        """What is dosed."""
        return CHEMICALS[self.parameters.chemical]

    def dangers(self) -> tuple[str, ...]:
        """Return the cautions of what is dosed here, not of all that could be."""
        return (self.chemical.hazard,)

    def moves(self) -> Iterator[Move]:
        """Yield a dose or a pH, both ways."""
        p = self.parameters
        if p.dose is not None:
            now = float(at(p.dose, 0))
            yield Move("dose more: {address} = {value}", "dose", now, max(3 * now, 1e-3))
            yield Move("dose less: {address} = {value}", "dose", now, 0.0)
        if p.target_ph is not None:
            now = float(at(p.target_ph, 0))
            acid = self.chemical.charge < 0
            words = ("more", "less") if acid else ("less", "more")
            for word, end in zip(words, (max(now - 2, 4.0), min(now + 2, 11.0)), strict=True):
                text = f"dose {word} {self.chemical.words}: {{address}} = {{value}}"
                yield Move(text, "target_ph", now, end)

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream; bisulfite takes the free chlorine, what is left owes chlorine."""
        if self.parameters.chemical != "sodium_bisulfite" or not _chlorinated(inlet):
            return Outcome({"outlet": inlet}, {}, self._details)
        free, owed = inlet.contents["free_chlorine"], inlet.contents.get("chlorine_demand", 0.0)
        left, unused = chlorine_left(free, self.parameters.dose)
        debt = owed + unused / PER_CHLORINE
        outlet = inlet.changed(contents={"free_chlorine": left, "chlorine_demand": debt})
        added = {
            "free_chlorine": (left - free) * inlet.flow,
            "chlorine_demand": (debt - owed) * inlet.flow,
        }
        return Outcome({"outlet": outlet}, added, self._details)

    def _details(self) -> Details:
        power = self.parameters.power
        used = np.any(np.asarray(power) > 0)
        return Details(power=power, losses={"dosing pump": power} if used else {})

    def amount(self, inlet: Stream, held: Mapping[str, Any], acidity: Any):
        """Return the pure chemical dosed [kg/m3]; of a pH that cannot be told, none."""
        p, row = self.parameters, self.chemical
        if p.dose is not None:
            return p.dose
        if acidity is None or ALKALINITY not in held:
            return 0.0
        water, dose = water_in(inlet), np.zeros(np.shape(held[ALKALINITY]))
        for _ in range(ROUNDS):  # what is dosed makes the water a little saltier
            then = {**held, **{k: held.get(k, 0.0) + v for k, v in self._brings(dose).items()}}
            ground = acidity.ground(place_of(acidity, inlet, then, water))
            wanted = acidity.alkalinity_at(ground, p.target_ph, held[CARBON] / water) * water
            dose = np.maximum((wanted - held[ALKALINITY]) / row.charge, 0.0) * row.molar_mass
        return dose

    def _brings(self, dose) -> dict[str, Any]:
        """Ions and alkalinity of a dose of what has a molar mass. [per volume of water]"""
        row = self.chemical
        moles = dose / row.molar_mass
        gains = {ion: n * moles * IONS[ion].molar_mass for ion, n in row.ions.items()}
        return gains | {ALKALINITY: row.charge * moles, CARBON: row.carbon * moles}

    def dosed(self, inlet: Stream, held: Mapping[str, Any], acidity: Any) -> dict[str, Any]:
        """Return ions, alkalinity, and antiscalant over its least dose. [per volume of water]"""
        row, dose = self.chemical, self.amount(inlet, held, acidity)
        if not row.molar_mass:
            return {"antiscalant": np.asarray(dose) / self.parameters.least_dose}
        gains = self._brings(dose)
        if self.parameters.chemical == "sodium_bisulfite" and _chlorinated(inlet):
            free = inlet.contents["free_chlorine"]
            acid = (free - chlorine_left(free, dose)[0]) / CHLORINE  # chlorine becomes chloride
            gains |= {"Cl": acid * IONS["Cl"].molar_mass, ALKALINITY: gains[ALKALINITY] - acid}
        return gains

    def recipe(
        self, inlet: Stream, held: Mapping[str, Any], before: Acid | None, behind: Acid | None,
        acidity: Any,
    ) -> Details:  # fmt: skip
        """Return the dose, what of the stock it takes, and its limits."""
        p = self.parameters
        dose = self.amount(inlet, held, acidity)
        flow = dose * inlet.flow / p.stock
        values = {
            "dose_given": Value(dose, "concentration"),
            "stock_flow": Value(flow, "small_flow"),
            "stock_per_day": Value(flow * DAY, "volume"),
            "pure_per_day": Value(dose * inlet.flow * DAY, "mass"),
        }
        if before is not None and behind is not None:
            values |= {"ph_before": Value(before.ph, "ph"), "ph_behind": Value(behind.ph, "ph")}
        limits = self._limits(dose, values.get("ph_behind"))
        findings = []
        if self.parameters.chemical == "sodium_bisulfite" and _chlorinated(inlet):
            free = np.asarray(inlet.contents["free_chlorine"], float)
            ratio = np.where(free > LEFT_OVER, dose / np.maximum(free, LEFT_OVER), LEAST_RATIO)
            values["bisulfite_ratio"] = Value(ratio, "factor")
            limits.append(self._ratio(ratio))
            findings = _short_of_bisulfite(free, dose)
        return Details(values, limits, findings)

    def _limits(self, dose, behind: Value | None) -> list[Limit]:
        p, own = self.parameters, self.ruled
        words = f"{self.chemical.words} by {self.name}"
        found = []
        for key, relation, advice in (
            ("least_dose", ">=", "dose more: below it the scale is judged as without"),
            ("largest_dose", "<=", "dose less"),
        ):
            limit = getattr(p, key)
            if limit is not None:
                found.append(
                    Limit(f"{key.replace('_', ' ')}, {words}", "dose_given", dose, relation, limit,
                          "concentration", "its data sheet and approval, as stated in the case",
                          f"{self.name}.dose", advice, own[key].group)
                )  # fmt: skip
        if p.target_ph is not None:
            acid = self.chemical.charge < 0
            ph = np.nan if behind is None else behind.value
            end = np.asarray(p.target_ph) + (PH_ROUNDING if acid else -PH_ROUNDING)
            found.append(
                Limit(f"pH that {words} is to reach", "ph_behind", ph, "<=" if acid else ">=", end,
                      "ph", "stated in the case", f"{self.name}.target_ph", "", own[
                          "target_ph"].group, "" if behind is not None else "water.ph",
                      behind is not None)
            )  # fmt: skip
        return found

    def _ratio(self, ratio) -> Limit:
        return Limit("bisulfite over free chlorine", "bisulfite_ratio", ratio, ">=", LEAST_RATIO,
                     "factor", "common practice, from memory: no source", f"{self.name}.dose",
                     "dose more, and watch what is left", "practice")  # fmt: skip


PH_ROUNDING = 1e-6  # to which a target is reached


def _chlorinated(inlet: Stream) -> bool:
    return "free_chlorine" in inlet.contents


def _short_of_bisulfite(free, dose) -> list[Finding]:
    left = chlorine_left(free, dose)[0]
    where = np.asarray(left > LEFT_OVER)
    if not np.any(where):
        return []
    needed = Value(free * PER_CHLORINE, "concentration")
    values = {"left": Value(left, "concentration"), "needed": needed}
    text = "free chlorine of {left} is left: the bisulfite must be at least {needed}"
    return [Finding(where, text, values)]
