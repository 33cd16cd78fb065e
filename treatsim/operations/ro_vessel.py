"""Reverse-osmosis vessel: elements in series, vessels side by side."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim import catalogue
from treatsim.correlations.ro import spacer_channel, vessel, vessel_step
from treatsim.correlations.ro.membrane_transport import TEMPERATURE_RANGE
from treatsim.correlations.ro.solution_line import line_of_water
from treatsim.correlations.ro.vessel import ElementResults, Membrane, Vessel, VesselFeed
from treatsim.operations.declarations import Earns, Mend, Row, Ruled
from treatsim.operations.outcome import Details, Finding, Outcome, Value
from treatsim.operations.parameters import Parameters, choice, quantity, record, reference
from treatsim.operations.ro_element import (
    RoElementParameters,
    class_words,
    element_of,
    element_problems,
    membrane_at,
    reflection_problems,
)
from treatsim.operations.ro_limits import RULED, chlorine_limit, held, rules_of
from treatsim.operations.ro_results import RESULTS
from treatsim.operations.silt_test import SiltTest, silt_findings
from treatsim.operations.unit import Unit
from treatsim.ranges import Excursion, excursions
from treatsim.water.stream import Stream

# Share of what the feed carries per volume that is found in the permeate; the rest is rejected.
# Common practice, no source: particles are held back, most absorbing matter is, chlorine is not.
PASSAGE = {
    "suspended_solids": 0.0,
    "turbidity": 0.0,
    "absorption": 0.05,
    "free_chlorine": 1.0,
    "chlorine_demand": 1.0,  # ammonia passes in part: taken whole
}
FIRST_ORDER = (
    "of first order by Pitzer's equations for sodium chloride, as element tests are read: below "
    "the exact one by 0.1 % at 35 g/L"
)
OSMOTIC = {  # by the kind of the water
    "fresh": FIRST_ORDER,
    "sodium_chloride": FIRST_ORDER,
    "seawater": "exact, by TEOS-10; A and B by the test in sodium chloride, of first order",
    "ions": "exact, by PHREEQC's Pitzer database times the factor of sea salt from first order; A "
    "and B by the test in sodium chloride, of first order",
}


@record
class RoVesselParameters(Parameters):
    """Which elements, how many, and their age."""

    forms = (SiltTest,)
    element: str | dict = reference(
        'a catalogue class, or a table with the standard test; class = "..." in it gives the rest',
        example="brackish-4in",
        names=lambda: catalogue.load("ro_elements"),
        record=lambda: RoElementParameters,
    )
    elements_in_series: int = quantity("count", "elements in one vessel", low=1, high=20)
    vessels_in_parallel: int = quantity("count", "vessels side by side", low=1, high=1000)
    water_permeability_ratio: float = quantity(
        "factor", "water permeability today over new", low=0.01, high=3
    )
    salt_permeability_ratio: float = quantity(
        "factor", "salt permeability today over new", low=0.01, high=100
    )
    pressure_drop_ratio: float = quantity(
        "factor",
        "pressure drop of the feed channel today over clean",
        open_low=True,
        high=20,
        default=1.0,
    )
    permeate_pressure: float = quantity("pressure", "pressure behind the membrane", default=0.0)
    antiscalant: str = choice(
        ("none", "dosed"), "whether the feed gets an antiscalant", default="none"
    )
    silt_density_index: float | None = quantity(
        "factor", "silt density index of what enters the vessel", high=20, default=None
    )
    correlation: str = choice(
        tuple(spacer_channel.CORRELATIONS), "mass transfer in the channel", default="schock_miquel"
    )
    reflection_coefficient: float = quantity(
        "factor",
        "of salt by the membrane; 1 is solution-diffusion, less the law of Spiegler and Kedem",
        open_low=True,
        high=1,
        default=1.0,
    )

    def conflicts(self):
        """Check the element, and the reflection coefficient against its standard test."""
        found = element_problems(self.element)
        return found or reflection_problems(self.element, self.reflection_coefficient)


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class RoVessel(Unit):
    """Splits the feed into permeate and concentrate."""

    parameters: RoVesselParameters
    called = ("membrane", "membranes", "ro", "reverse_osmosis", "pressure_vessel")
    hazards = ("ro",)
    dials = ("water_permeability_ratio", "salt_permeability_ratio")
    headline = ("permeate.flow", "permeate.concentration", "recovery", "feed.pressure")
    compared = (
        Row("feed.pressure", "feed pressure"),
        Row("recovery", "recovery"),
        Row("flux_mean", "mean flux"),
        Row("polarisation_max", "largest polarisation"),
        Row("net_driving_pressure_min", "smallest driving pressure"),
        Row("feed.osmotic_pressure", "osmotic pressure of the feed"),
        Row("concentrate.osmotic_pressure", "osmotic pressure of the concentrate"),
    )
    told = (
        Row("recovery", "recovery"),
        Row("salt_rejection", "salt rejection"),
        Row("flux_mean", "mean flux"),
        Row("flux_first", "flux of the first element"),
        Row("flux_last", "flux of the last element"),
        Row("polarisation_max", "largest polarisation"),
        Row("net_driving_pressure_min", "smallest driving pressure"),
        Row("pressure_drop", "pressure drop of the feed side"),
    )
    ruled: ClassVar[Mapping[str, Ruled]] = RULED
    results = RESULTS
    earns = Earns("conductivity")
    fouled = "membrane"
    ends_product = False
    treated = "permeate"
    semipermeable = True
    inlets = ("feed",)
    outlets = ("permeate", "concentrate")
    anchored = ("permeate",)

    def membrane(self, temperature) -> Membrane:
        """Return the permeabilities of today at a temperature. [m/(s Pa)], [m/s]"""
        p = self.parameters
        return membrane_at(
            element_of(p.element),
            p.correlation,
            temperature,
            p.water_permeability_ratio,
            p.salt_permeability_ratio,
            p.reflection_coefficient,
        )

    def mends(self) -> Iterator[Mend]:
        """Yield an antiscalant, and new elements."""
        p = self.parameters
        if p.antiscalant != "dosed":
            yield Mend(f"dose an antiscalant ahead of {self.name}", {"antiscalant": "dosed"})
        worn = np.any(np.asarray(p.water_permeability_ratio) < 1)
        worn |= np.any(np.asarray(p.pressure_drop_ratio) > 1)
        if worn or np.any(np.asarray(p.salt_permeability_ratio) > 1):
            new = {f"{key}_ratio": 1.0 for key in ("water_permeability", "salt_permeability")}
            if np.any(np.asarray(p.pressure_drop_ratio) > 1):
                new["pressure_drop_ratio"] = 1.0
            yield Mend(f"put new elements into {self.name}", new)

    def evaluate(self, feed: Stream) -> Outcome:
        """Return permeate and concentrate of all vessels."""
        p = self.parameters
        element = element_of(p.element)
        law = spacer_channel.fouled(
            spacer_channel.correlation(p.correlation), p.pressure_drop_ratio
        )
        membrane = self.membrane(feed.temperature)
        line = line_of_water(feed.water, feed.temperature)
        entering = VesselFeed(
            feed.mass_flow / p.vessels_in_parallel + 0.0 * np.asarray(p.pressure_drop_ratio),
            feed.salinity,
            feed.pressure,
            p.permeate_pressure,
        )
        solved = vessel.solve_vessel(
            entering, membrane, element.channel, line, p.elements_in_series, law
        )
        permeate, concentrate = product_streams(feed, solved, p)
        lost = feed.pressure * feed.flow - sum(s.pressure * s.flow for s in (permeate, concentrate))
        return Outcome(
            {"permeate": permeate, "concentrate": concentrate},
            {"hydraulic_power": -lost},
            lambda: self._details(
                feed, permeate, solved, vessel.element_results(solved, line), lost
            ),
        )

    def dissolved(self, inlets, outlets, holds, passing):
        """Return what permeate and concentrate hold: the share that passes, and the rest."""
        permeate = holds["feed"] * passing
        rest = holds["feed"] * inlets["feed"] - permeate * outlets["permeate"]
        return {"permeate": permeate, "concentrate": rest / outlets["concentrate"]}

    def _details(
        self, feed: Stream, permeate: Stream, solved: Vessel, elements: ElementResults, lost
    ) -> Details:
        p = self.parameters
        membrane = self.membrane(feed.temperature)
        per_element = elements.flux_mean
        last = np.asarray(p.elements_in_series, dtype=int) - 1
        friction = p.vessels_in_parallel * np.sum(
            elements.pressure_drop * (elements.feed_flow + elements.concentrate_flow) / 2, axis=0
        )
        values = {
            "recovery": Value(permeate.flow / feed.flow, "fraction"),
            "salt_rejection": Value(1 - permeate.concentration / feed.concentration, "fraction"),
            "pressure_drop": Value(
                feed.pressure - solved.concentrate_pressure, "pressure_difference"
            ),
            "net_driving_pressure_min": Value(
                np.min(elements.net_driving_pressure_min, axis=0), "pressure_difference"
            ),
            "flux_last": Value(_pick(per_element, last), "flux"),
            "flux_inlet": Value(elements.flux_in[0], "flux"),
            "flux_outlet": Value(_pick(elements.flux_out, last), "flux"),
            "membrane_salinity_max": Value(
                np.max(elements.membrane_fraction_max, axis=0), "mass_fraction"
            ),
            "water_permeability": Value(membrane.water_permeability, "water_permeability"),
            "salt_permeability": Value(membrane.salt_permeability, "salt_permeability"),
            **_of_one(p.vessels_in_parallel, feed, permeate, product_streams(feed, solved, p)[1]),
            "lost_power": Value(lost, "power"),
            **_by_element(elements),
        }
        rules = rules_of(elements, p.elements_in_series, feed)
        values |= {key: Value(rule.value, RULED[key].quantity) for key, rule in rules.items()}
        values |= {
            f"{key}_at": Value(rule.number, "count")
            for key, rule in rules.items()
            if rule.number is not None
        }
        return Details(
            values,
            limits=[*held(self.name, element_of(p.element), rules), *chlorine_limit(feed)],
            findings=[*_blocks(feed, solved), *silt_findings(p.silt_density_index)],
            excursions=self._excursions(feed, solved, elements),
            losses={"friction": friction, "membrane": lost - friction},
            sources=(spacer_channel.correlation(p.correlation).source,),
            choices=(
                f"{self.name}: {_law(p)}, mass transfer by "
                f"{p.correlation.replace('_', ' ')}, A and B fitted with it to the standard test",
                f"{self.name}: osmotic pressure {OSMOTIC[feed.water.kind]}",
                *(f"{self.name}: {words}" for words in class_words(p.element)),
            ),
        )

    def _excursions(
        self, feed: Stream, solved: Vessel, elements: ElementResults
    ) -> list[Excursion]:
        """Formulas out of their range: in the channel at both ends, membrane and water."""
        concentrate = product_streams(feed, solved, self.parameters)[1]
        channel = element_of(self.parameters.element).channel
        section = spacer_channel.flow_section(channel) * self.parameters.vessels_in_parallel
        diameter = spacer_channel.hydraulic_diameter(channel.height, channel.porosity)
        reynolds = [
            spacer_channel.reynolds_number(s.flow / section, diameter, s.density, s.viscosity)
            for s in (feed, concentrate)
        ]
        return [
            *excursions(spacer_channel.REYNOLDS_RANGE, reynolds[0]),
            *excursions(spacer_channel.REYNOLDS_RANGE, reynolds[1]),
            *excursions(TEMPERATURE_RANGE, feed.temperature),
            *feed.water.excursions(
                np.max(elements.membrane_fraction_max, axis=0), feed.temperature
            ),
        ]


def product_streams(feed: Stream, solved: Vessel, p: RoVesselParameters) -> tuple[Stream, Stream]:
    """Return permeate and concentrate of all vessels, contents shared out."""
    n = p.vessels_in_parallel
    permeate = feed.changed(
        mass_flow=n * solved.permeate_mass_flow,
        salinity=solved.permeate_fraction,
        pressure=p.permeate_pressure + 0.0 * feed.pressure,
    )
    concentrate = feed.changed(
        mass_flow=feed.mass_flow - permeate.mass_flow,
        salinity=(feed.mass_flow * feed.salinity - permeate.mass_flow * permeate.salinity)
        / (feed.mass_flow - permeate.mass_flow),
        pressure=solved.concentrate_pressure,
    )
    inside = {name: PASSAGE[name] * value for name, value in feed.contents.items()}
    rest = {
        name: (value * feed.flow - inside[name] * permeate.flow) / concentrate.flow
        for name, value in feed.contents.items()
    }
    return permeate.changed(contents=inside), concentrate.changed(contents=rest)


def _law(p: RoVesselParameters) -> str:
    """Name the law of transport."""
    if np.all(np.equal(p.reflection_coefficient, 1)):
        return "solution-diffusion with film theory"
    low, high = np.min(p.reflection_coefficient), np.max(p.reflection_coefficient)
    told = f"{low:.6g}" if low == high else f"{low:.6g} to {high:.6g}"
    return (
        f"Spiegler and Kedem's law, reflection coefficient {told}, with film theory (by the same "
        "test it tells less salt than solution-diffusion below the flux of the test, more above)"
    )


def _of_one(beside, *streams: Stream) -> dict[str, Value]:
    """Return the flows of one of the vessels side by side."""
    names = ("feed", "permeate", "concentrate")
    return {
        f"vessel.{name}_flow": Value(stream.flow / beside, "flow")
        for name, stream in zip(names, streams, strict=True)
    }


def _pick(rows, index):
    """The row of each point."""
    if np.ndim(index) == 0:
        return rows[int(index)]
    return np.take_along_axis(rows, np.broadcast_to(index, rows.shape[1:])[None], axis=0)[0]


def _by_element(elements: ElementResults) -> dict[str, Value]:
    """Return the profile: "element_1.flux" and so on."""
    columns = {
        "flux": (elements.flux_mean, "flux"),
        "recovery": (elements.recovery, "fraction"),
        "feed_flow": (elements.feed_flow, "flow"),
        "feed_pressure": (elements.concentrate_pressure + elements.pressure_drop, "pressure"),
        "polarisation_max": (elements.polarisation_max, "factor"),
        "membrane_salinity_max": (elements.membrane_fraction_max, "mass_fraction"),
        "net_driving_pressure_min": (elements.net_driving_pressure_min, "pressure_difference"),
        "concentrate_flow": (elements.concentrate_flow, "flow"),
        "concentrate_concentration": (elements.concentrate_concentration, "concentration"),
        "concentrate_pressure": (elements.concentrate_pressure, "pressure"),
        "permeate_concentration": (elements.permeate_concentration, "concentration"),
        "pressure_drop": (elements.pressure_drop, "pressure_difference"),
    }
    return {
        f"element_{number + 1}.{name}": Value(rows[number], kind)
        for number in range(len(elements.flux_mean))
        for name, (rows, kind) in columns.items()
    }


def _blocks(feed: Stream, solved: Vessel) -> list[Finding]:
    """Points without an answer, each with the two numbers that conflict."""
    values = {
        "feed": Value(feed.pressure, "pressure"),
        "osmotic": Value(feed.osmotic_pressure, "pressure"),
        "friction": Value(feed.pressure - solved.concentrate_pressure, "pressure_difference"),
    }
    numbers = {
        vessel_step.FEED_BELOW_OSMOTIC: "{feed} feed pressure is below the {osmotic} osmotic "
        "pressure",
        vessel_step.CONCENTRATE_BELOW_PERMEATE: "friction takes {friction}, more than "
        "the {feed} feed pressure can give; take fewer elements in series, or less flow",
        vessel_step.NO_DRIVING_PRESSURE: "the {feed} feed pressure does not exceed that of the "
        "permeate",
    }
    found = []
    for bit, words in vessel.STATUS_WORDS.items():
        where = (np.asarray(solved.status) & bit) > 0
        if bit != vessel_step.NO_DRIVING_PRESSURE:  # that one says it all
            where &= (np.asarray(solved.status) & vessel_step.NO_DRIVING_PRESSURE) == 0
        if np.any(where):
            found.append(Finding(where, numbers.get(bit, words), values, blocks=True))
    return found
