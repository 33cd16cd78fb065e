"""Reverse-osmosis element: what its data sheet says, and the permeabilities behind it."""

from __future__ import annotations

import dataclasses
from functools import cache, lru_cache
from typing import Any

import numpy as np

from treatsim import catalogue
from treatsim.constants import CELSIUS_25
from treatsim.correlations.ro import membrane_transport, spacer_channel
from treatsim.correlations.ro.element_fit import StandardTest, fit_element
from treatsim.correlations.ro.solution_line import SolutionLine, line_of_water
from treatsim.correlations.ro.vessel import Membrane
from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, quantity, read_value, record

TEST_TEMPERATURE = CELSIUS_25  # K


@record
class RoElementParameters(Parameters):
    """An element by its standard test, in sodium chloride at 25 degC."""

    area: float = quantity("area", "membrane area", open_low=True, high=1000)
    length: float = quantity("length", "length of the element", open_low=True, high=5)
    channel_height: float = quantity(
        "small_length", "height of the feed channel", open_low=True, high=0.01
    )
    spacer_porosity: float = quantity("fraction", "free share of the channel", open_low=True)
    test_permeate_flow: float = quantity("flow", "permeate of the standard test", open_low=True)
    test_rejection: float = quantity(
        "fraction", "salt rejection of the standard test", open_low=True, high=0.99999
    )
    test_feed: float = quantity(
        "concentration", "sodium chloride of the standard test", open_low=True
    )
    test_pressure: float = quantity(
        "pressure", "feed pressure of the standard test", low=0, open_low=True, high=1.2e7
    )
    test_recovery: float = quantity(
        "fraction", "recovery of the standard test", open_low=True, high=0.9
    )
    water_activation: float = quantity("molar_energy", "of the water permeability", high=1e5)
    salt_activation: float = quantity("molar_energy", "of the salt permeability", high=1e5)
    boric_acid_permeability: float | None = quantity(
        "salt_permeability", "of boric acid at 25 degC", default=None
    )
    largest_feed_flow: float | None = quantity("flow", "per vessel", default=None)
    smallest_concentrate_flow: float | None = quantity("flow", "per vessel", default=None)
    largest_drop: float | None = quantity("pressure_difference", "per element", default=None)
    largest_pressure: float | None = quantity("pressure", "of the feed", default=None)
    largest_recovery: float | None = quantity("fraction", "of one element", default=None)
    largest_polarisation: float | None = quantity("factor", "membrane over bulk", default=None)
    largest_flux: float | None = quantity("flux", "mean of the vessel", default=None)
    largest_lead_flux: float | None = quantity("flux", "first element", default=None)
    lowest_ph: float | None = quantity("ph", "in operation", default=None)
    highest_ph: float | None = quantity("ph", "in operation", default=None)

    @property
    def channel(self) -> spacer_channel.SpacerChannel:
        """The feed channel."""
        return spacer_channel.SpacerChannel(
            self.area, self.length, self.channel_height, self.spacer_porosity
        )


def element_problems(raw) -> list[str]:
    """Return what is wrong with the `element` entry of a vessel."""
    try:
        element_of(raw)
    except RequestError as error:
        return [f"element: {line}" for line in error.problems]
    return []


def reflection_problems(raw, reflection) -> list[str]:
    """Return why no membrane of this reflection coefficient passes the element's standard test."""
    if np.all(np.equal(reflection, 1)):
        return []
    try:
        fitted(element_of(raw), "schock_miquel", np.min(reflection))
    except RequestError as error:
        return [f"reflection_coefficient: {line}" for line in error.problems]
    return []


def element_of(raw) -> RoElementParameters:
    """Return an element from a catalogue class or a table; RequestError lists every fault."""
    if isinstance(raw, RoElementParameters):
        return raw
    if isinstance(raw, str):
        raw = _of_class(raw)
    if not isinstance(raw, dict):
        raise RequestError('a class such as "seawater-4in" or a table belongs here')
    if "class" in raw:  # a data sheet, the rest from a class
        own = {key: value for key, value in raw.items() if key != "class"}
        raw = {**_of_class(raw["class"]), **own}
    try:
        return _of_table(tuple(raw.items()))
    except TypeError as error:  # an entry that is itself a table or a list
        raise RequestError("an element's entries are numbers and texts with units") from error


def _of_class(name) -> dict[str, Any]:
    """Return the entries of a catalogue class."""
    classes = catalogue.load("ro_elements")
    if not isinstance(name, str) or name not in classes:
        told = f'"{name}"' if isinstance(name, str) else "this"
        raise RequestError(f"{told} is no class; known: {', '.join(classes)}, or a table")
    return classes[name]


def class_words(raw) -> list[str]:
    """Say what an element takes from its data sheet, and what from its class."""
    if not isinstance(raw, dict) or "class" not in raw:
        return []
    row = _of_class(raw["class"])
    test = [key for key in row if key.startswith("test_")]
    own = ", ".join(key for key in raw if key != "class") or "nothing"
    left = ", ".join(f"{key} {row[key]}" for key in test if key not in raw)
    taken = f", also of its standard test: {left}; check that the data sheet says the same"
    rest = f"all else typical of {raw['class']}{taken if left else ''}"
    return [f"element by its data sheet in {own}; {rest}"]


@lru_cache(maxsize=64)
def _of_table(entries: tuple[tuple[str, Any], ...]) -> RoElementParameters:
    raw = dict(entries)
    fields = {f.name: f for f in dataclasses.fields(RoElementParameters)}
    faults, values = [], {}
    for key, entry in raw.items():
        if key not in fields:
            faults.append(f"{key}: no such key; known: {', '.join(fields)}")
            continue
        try:
            values[key] = read_value(fields[key], entry)
        except RequestError as error:
            faults.append(f"{key} = {entry!r}: {error}")
    faults += [
        f"{name} is missing: {f.metadata['meaning']}"
        for name, f in fields.items()
        if f.default is dataclasses.MISSING and name not in raw
    ]
    if faults:
        raise RequestError(faults)
    return RoElementParameters(**values)


@cache
def standard_water() -> SolutionLine:
    """Return the water of the standard test: sodium chloride at 25 degC."""
    from treatsim.water.analysis import of_salt
    from treatsim.water.water_table import water_table

    table = water_table(of_salt("sodium_chloride", mass_concentration=32.0))
    return line_of_water(table, TEST_TEMPERATURE)


def fitted(element: RoElementParameters, correlation: str, reflection=1.0) -> Membrane:
    """Return A and B at 25 degC by the element's standard test and the march itself.

    `reflection` is the coefficient to use them with, one or an array over points.
    """
    if np.ndim(reflection) == 0:
        A, B = _fitted(element, correlation, (float(reflection),))
        return Membrane(float(A[0]), float(B[0]), float(reflection))
    values, place = np.unique(np.asarray(reflection, float), return_inverse=True)
    A, B = _fitted(element, correlation, tuple(values.tolist()))
    at = place.reshape(np.shape(reflection))
    return Membrane(A[at], B[at], np.asarray(reflection))


@lru_cache(maxsize=64)
def _fitted(element: RoElementParameters, correlation: str, reflections: tuple[float, ...]):
    test = StandardTest(
        element.test_permeate_flow,
        element.test_rejection,
        element.test_feed,
        element.test_pressure,
        element.test_recovery,
    )
    law = spacer_channel.correlation(correlation)
    found = fit_element(test, element.channel, standard_water(), law, np.array(reflections))
    return found.water_permeability, found.salt_permeability


def membrane_at(
    element: RoElementParameters,
    correlation: str,
    temperature,
    water_permeability_ratio,
    salt_permeability_ratio,
    reflection=1.0,
) -> Membrane:
    """Return A and B at a temperature and age, to be used with a reflection coefficient. [K]"""
    new = fitted(element, correlation, reflection)
    arrhenius = membrane_transport.arrhenius_factor
    return Membrane(
        new.water_permeability
        * water_permeability_ratio
        * arrhenius(temperature, element.water_activation),
        new.salt_permeability
        * salt_permeability_ratio
        * arrhenius(temperature, element.salt_activation),
        new.reflection,
    )
