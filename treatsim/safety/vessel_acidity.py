"""Acidity at the ports of a solved flowsheet and along each vessel, from what is followed there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from treatsim.safety.membrane_view import MembraneView
from treatsim.water.acidity import (
    ALKALINITY,
    CARBON,
    Acid,
    Place,
    SourceAcidity,
    acid_of,
    place_of,
    water_in,
)

ROUNDS = 4  # in which the gas lost on the way settles: 1e-4 in a pH


@dataclass(frozen=True)
class VesselAcidity:
    """Acidity along one vessel: salts and alkalinity grow, carbon dioxide leaves with the water.

    What is left of the carbon closes its balance; what passes is dissolved gas at its fugacity.
    """

    view: MembraneView
    source: SourceAcidity
    held: Mapping[str, Any]  # by its feed
    passed: Mapping[str, Any] = field(default_factory=dict)  # by its permeate, once followed

    @cached_property
    def water(self):
        """Water of the feed per volume. [kg/m3]"""
        return water_in(self.view.feed)

    @cached_property
    def place(self) -> Place:
        """Of the feed."""
        return place_of(self.source, self.view.feed, self.held, self.water)._replace(
            factor=self.view.fed, temperature=self.view.temperature
        )

    @cached_property
    def alkalinity(self):
        """Alkalinity of the feed. [eq/kg]"""
        return self.view.sound(self.held[ALKALINITY], 0.0) / self.water

    @cached_property
    def feed(self) -> Acid:
        """Acidity of the feed."""
        carbon = np.maximum(self.view.sound(self.held[CARBON], 0.0), 0.0) / self.water
        return self.source.at(self.source.ground(self.place), self.alkalinity, carbon)

    def along(self, factor) -> Acid:
        """Return the acidity where the salt has a concentration factor over the source. [1]"""
        return self.concentrate if factor is self.view.bulk else self._along(factor)

    def _along(self, factor) -> Acid:
        grown = np.asarray(factor) / self.view.fed
        T = np.broadcast_to(self.view.temperature, np.shape(factor))
        strength, boron = self.place.ionic_strength * grown, self.place.boron * grown
        ground = self.source.ground(Place(factor, T, strength, boron))
        fed = self.feed.forms
        carbon, found = fed.carbon, self.feed
        start = gas = fed.carbon_dioxide
        for _ in range(ROUNDS):
            left = carbon * grown - 0.5 * (start + gas) * (grown - 1)
            alkalinity, left = self.alkalinity * grown, np.maximum(left, 0.0)
            found = self.source.at(ground, alkalinity, left, found.ph)
            gas = found.forms.carbon_dioxide
        return found

    def by_standard(self, factor):
        """Return the pH that the standards of the simple indices count with: the gas is held.

        Higher than what the balance of carbon leaves, most where there is much carbonate.
        """
        grown = np.asarray(factor) / self.view.fed
        T = np.broadcast_to(self.view.temperature, np.shape(factor))
        strength, boron = self.place.ionic_strength * grown, self.place.boron * grown
        ground = self.source.ground(Place(factor, T, strength, boron))
        gas = self.source.gas_along(factor, T) / self.source.gas_along(self.view.fed, T)
        gas = gas * self.feed.forms.carbon_dioxide
        return self.source.ph_at_gas(ground, self.alkalinity * grown, gas)

    @cached_property
    def concentrate(self) -> Acid:
        """Acidity of the concentrate."""
        return self._along(self.view.bulk)

    @cached_property
    def permeate_gas(self):
        """Return dissolved carbon dioxide of the permeate. [mol/kg]"""
        ends = [acid.forms.carbon_dioxide for acid in (self.feed, self.concentrate)]
        T = self.view.temperature
        salty, thin = (self.source.gas_along(f, T) for f in (self.view.fed, self.view.passage))
        return 0.5 * sum(ends) * thin / salty

    @property
    def permeate_water(self):
        """Water of the permeate per volume. [kg/m3]"""
        return water_in(self.view.permeate)

    @cached_property
    def permeate(self) -> Acid:
        """Acidity of the permeate."""
        return acid_of(self.source, self.view.permeate, self.passed)

    @property
    def alkalinity_passage(self):
        """Alkalinity of the permeate over that of the feed. [1]"""
        fed = self.held[ALKALINITY]
        return np.where(fed > 0, self.passed[ALKALINITY] / np.where(fed > 0, fed, 1.0), 0.0)
