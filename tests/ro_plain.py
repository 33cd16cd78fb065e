"""A vessel in plain SciPy: `solve_ivp` along it, `brentq` for the flux at every place.

Own equations, nothing of the march: the second opinion of the tests and the baseline of the
benchmark. State: feed-side mass flow, salt mass flow, pressure.
"""

from __future__ import annotations

import math

from scipy.integrate import solve_ivp
from scipy.optimize import brentq


class PlainVessel:
    """One operating point; properties are functions of the mass fraction, on floats."""

    def __init__(self, feed, membrane, channel, properties, rtol=1e-8):
        self.feed_flow, self.feed_fraction, self.pressure, self.back = feed
        self.A, self.B, self.reflection = (*membrane, 1.0)[:3]
        self.area, self.length, h, porosity = channel
        self.pi, self.rho, self.mu, self.diffusivity = properties
        self.rtol = rtol  # of the flux
        self.dh = 4 * porosity / (2 / h + (1 - porosity) * 8 / h)
        self.section = self.area / (2 * self.length) * h * porosity

    def local(self, mass_flow, w, pressure):
        """Flux, permeate mass fraction, mass fraction at the membrane, pressure gradient."""
        a, b, c, d, e = 0.065, 0.875, 0.25, 6.23, -0.3
        rho, mu, D = self.rho(w), self.mu(w), self.diffusivity(w)
        u = mass_flow / rho / self.section
        re, sc = rho * u * self.dh / mu, mu / (rho * D)
        k = a * re**b * sc**c * D / self.dh
        gradient = d * re**e * rho * u * u / (2 * self.dh)
        ends = []

        def unbalance(flux):
            ends[:] = self.at_membrane(flux, k, w)
            push = pressure - self.back - self.reflection * (self.pi(ends[0]) - self.pi(ends[1]))
            return flux - self.A * push

        top = self.A * (pressure - self.back)
        flux = brentq(unbalance, 1e-6 * top, top, xtol=1e-24, rtol=self.rtol)
        return flux, ends[1], ends[0], gradient

    def at_membrane(self, flux, k, w):
        """Mass fractions at the membrane and in the permeate for a given flux."""
        E, B, beta = math.exp(-flux / k), self.B, 1.0
        if self.reflection < 1:
            return self.at_leaking_membrane(flux, E, w)
        for _ in range(60):
            spread = flux * E + B * (E + beta * (1 - E))
            w_m, w_p = w * (flux + B) / spread, w * B * beta / spread
            old, beta = beta, self.rho(w_m) / self.rho(w_p)
            if abs(beta - old) < 0.01 * self.rtol:
                break
        return w_m, w_p

    def at_leaking_membrane(self, flux, E, w):
        """The same by Spiegler and Kedem as they are written: the rejection, then the film."""
        s = self.reflection
        F = math.exp(-flux * (1 - s) / self.B)
        passing, beta = 1 - s * (1 - F) / (1 - s * F), 1.0  # c_p / c_m
        for _ in range(60):
            share = passing * beta  # w_p / w_m
            w_m = w / ((1 - share) * E + share)
            old, beta = beta, self.rho(w_m) / self.rho(share * w_m)
            if abs(beta - old) < 0.01 * self.rtol:
                break
        return w_m, share * w_m

    def slopes(self, _, state):
        mass_flow, salt, pressure = state
        flux, w_p, _, gradient = self.local(mass_flow, salt / mass_flow, pressure)
        gone = self.area * flux * self.rho(w_p)
        return [-gone, -gone * w_p, -gradient * self.length]

    def solve(self, elements, **options):
        """Return permeate volume flow, permeate concentration, concentrate fraction, pressure."""
        start = [self.feed_flow, self.feed_flow * self.feed_fraction, self.pressure]
        end = solve_ivp(self.slopes, (0, elements), start, **options).y[:, -1]
        permeate, salt = start[0] - end[0], start[1] - end[1]
        w_p = salt / permeate
        rho = self.rho(w_p)
        return permeate / rho, w_p * rho, end[1] / end[0], end[2]


def line_properties(line):
    """The polynomials of a SolutionLine as plain float functions."""

    def value(coefficients, x):
        result = 0.0
        for coefficient in reversed(coefficients):
            result = result * x + coefficient
        return result

    return (
        lambda w: w * value(line.osmotic, math.sqrt(w)),
        lambda w: value(line.density, w),
        lambda w: math.exp(value(line.log_viscosity, w)),
        lambda w: math.exp(value(line.log_diffusivity, w)),
    )
