"""Readings of a vessel brought to the conditions of the start: by the standard, by the model."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.correlations.ro import normalisation
from treatsim.correlations.ro.membrane_transport import arrhenius_factor
from treatsim.correlations.ro.solution_line import density_at, fraction_at
from treatsim.correlations.ro.vessel import Membrane, VesselFeed, solve_vessel
from treatsim.operations.ro_element import element_of
from treatsim.ranges import excursions
from treatsim.running.membrane_inverse import Implied, Plant, VesselReadings
from treatsim.running.records import Series


def _standard(readings: VesselReadings) -> normalisation.OperatingData:
    return normalisation.OperatingData(
        readings.feed_pressure,
        readings.pressure_drop,
        readings.permeate_pressure,
        readings.feed_concentration,
        readings.permeate_concentration,
        readings.permeate_flow / readings.feed_flow,
        readings.temperature,
        readings.permeate_flow,
    )


def by_standard(unit: Any, readings: VesselReadings, start: VesselReadings) -> tuple[Array, Array]:
    """Return normalised flow [m3/s] and salt passage [1] by the standard; NaN where it has none.

    Temperature factors are the element's own.
    """
    element = element_of(unit.parameters.element)
    actual, standard = _standard(readings), _standard(start)
    driven = normalisation.net_driving_pressure(actual) > 0
    flow = np.full(driven.shape, np.nan)
    if np.any(driven) and normalisation.net_driving_pressure(standard) > 0:
        some = normalisation.OperatingData(*(np.asarray(v)[driven] for v in actual))
        flow[driven] = normalisation.normalised_flow(
            some, standard, lambda kelvin: arrhenius_factor(kelvin, element.water_activation)
        )
    passage = normalisation.normalised_salt_passage(
        actual,
        standard,
        lambda kelvin: arrhenius_factor(kelvin, element.water_activation),
        lambda kelvin: arrhenius_factor(kelvin, element.salt_activation),
    )
    return flow, passage


def at_start(plant: Plant, start: VesselReadings, water, salt, drop):
    """Solve the vessel under the conditions of the start with other membranes (logarithms)."""
    line = plant.line(start.temperature)
    new = plant.membrane(start.temperature)
    fraction = fraction_at(line, start.feed_concentration)
    clean = start.pressure_drop / np.exp(np.median(drop))
    feed = VesselFeed(
        start.feed_flow * density_at(line, fraction),
        fraction,
        start.feed_pressure - 0.5 * clean * (np.exp(drop) - 1),
        start.permeate_pressure,
    )
    membrane = Membrane(
        new.water_permeability * np.exp(water),
        new.salt_permeability * np.exp(salt),
        new.reflection,
    )
    return solve_vessel(feed, membrane, plant.channel, line, plant.elements, plant.law)


def series_of(
    unit: Any, plant: Plant, readings: VesselReadings, implied: Implied, start: VesselReadings
) -> tuple[dict[str, Series], list[str]]:
    """Return every series of a vessel, and where the standard's formulas leave their range."""
    nothing = np.full(implied.water.size, np.nan)
    model = at_start(plant, start, implied.water, implied.salt, implied.drop)
    flow, passage = by_standard(unit, readings, start)
    n = float(unit.parameters.vessels_in_parallel)
    ratios = [
        Series(words, "factor", np.exp(values), np.exp(values) * error)
        for words, values, error in zip(
            (
                "water permeability over new",
                "salt permeability over new",
                "pressure drop over a clean channel's",
            ),
            implied[:3],
            implied.errors,
            strict=True,
        )
    ]
    by_model = model.permeate_concentration / start.feed_concentration
    found = {
        **dict(zip(("water", "salt", "drop"), ratios, strict=True)),
        "flow_normalised": Series(
            "normalised flow, model", "flow", n * model.permeate_flow, nothing
        ),
        "passage_normalised": Series(
            "normalised salt passage, model", "fraction", by_model, nothing
        ),
        "flow_standard": Series("normalised flow, ASTM D4516", "flow", n * flow, nothing),
        "passage_standard": Series(
            "normalised salt passage, ASTM D4516", "fraction", passage, nothing
        ),
        "flow": Series("permeate flow as read", "flow", n * readings.permeate_flow, nothing),
        "temperature": Series("temperature", "temperature", readings.temperature, nothing),
    }
    return found, _outside(readings, start)


def _outside(readings: VesselReadings, start: VesselReadings) -> list[str]:
    """Say where the standard's osmotic pressure is used beyond what it is stated for."""
    told = []
    for one in (_standard(start), _standard(readings)):
        mean = normalisation.feed_brine_concentration(one.feed_concentration, one.conversion)
        for beyond in excursions(normalisation.FORMULA_RANGE, mean):
            worst = quantities.text(beyond.worst, "concentration")
            told.append(
                f"{np.count_nonzero(beyond.outside)} rows lie outside the range of "
                f"{beyond.range.formula}: mean of feed and brine up to {worst}"
            )
    return told
