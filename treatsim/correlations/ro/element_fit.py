"""Water and salt permeability of an element, from its standard test, by the march itself."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.ro.normalisation import feed_brine_concentration
from treatsim.correlations.ro.solution_line import (
    SolutionLine,
    density_at,
    fraction_at,
    osmotic_pressure,
)
from treatsim.correlations.ro.spacer_channel import (
    SCHOCK_MIQUEL,
    SpacerChannel,
    SpacerCorrelation,
)
from treatsim.correlations.ro.vessel import Membrane, VesselFeed, element_results, solve_vessel
from treatsim.errors import DomainError, require

FIT_TOLERANCE = 1e-11  # of the march
CLOSE = 1e-10  # of permeate flow and passage
STEP = 1e-5  # of the difference quotients, relative
FIRST, SECOND = np.array([[1.0], [0.0]]), np.array([[0.0], [1.0]])
MAX_ROUNDS = 40
LONGEST = 1.0  # of ln A and ln B in one round


class StandardTest(NamedTuple):
    """What a data sheet says of the test; floats or arrays."""

    permeate_flow: Any  # m3/s
    rejection: Any  # 1 - permeate / feed concentration
    feed_concentration: Any  # kg/m3
    pressure: Any  # Pa
    recovery: Any  # permeate / feed volume
    permeate_pressure: Any = 0.0  # Pa


def fit_element(
    test: StandardTest,
    channel: SpacerChannel,
    line: SolutionLine,
    law: SpacerCorrelation = SCHOCK_MIQUEL,
    reflection=1.0,
) -> Membrane:
    """Find A and B that reproduce a standard test.

    Parameters
    ----------
    test : StandardTest
        Permeate flow, rejection, feed, pressure and recovery. [m3/s], [1], [kg/m3], [Pa], [1]
    channel : SpacerChannel
        Geometry of the element. [m2], [m], [m], [1]
    line : SolutionLine
        The test water at the test temperature. [-]
    law : SpacerCorrelation
        Must be the one the result is used with. [-]
    reflection : array_like
        Reflection coefficient, to be used with the result as well; 1: solution-diffusion. [1]

    Returns
    -------
    Membrane
        A and B at the test temperature, broadcast shape. [m/(s Pa)], [m/s], [1]

    Validity
    --------
    Flow and passage are met to 1e-10. A test that no membrane can meet raises DomainError and says
    by how much the pressure falls short.

    Source
    ------
    definition
    """
    reflection = require("reflection coefficient", reflection, 0.0, 1.0, "", open_low=True)
    if np.any((reflection < 1) & (reflection <= np.asarray(test.rejection))):
        raise _leaky(test, channel, line, law, reflection)
    feed, flow, passage, shape = _checked(test, channel, line, reflection)
    geometry = SpacerChannel(*(_flat(v, shape) for v in channel))
    start = hand_rule(test, channel, line, strict=False)
    x = np.log(np.stack([_flat(v, shape) for v in start[:2]]))
    mirror = _flat(reflection, shape)

    def misses(logs):
        """Logarithmic misses of flow and passage for columns of (ln A, ln B), three per test."""
        times = logs.shape[1] // flow.size
        wide = VesselFeed(*(np.tile(v, times) for v in feed))
        vessel = solve_vessel(
            wide,
            Membrane(np.exp(logs[0]), np.exp(logs[1]), np.tile(mirror, times)),
            SpacerChannel(*(np.tile(v, times) for v in geometry)),
            line,
            1,
            law,
            FIT_TOLERANCE,
        )
        product = vessel.permeate_concentration
        return np.log(
            [vessel.permeate_flow / np.tile(flow, times), product / np.tile(passage, times)]
        )

    for _ in range(MAX_ROUNDS):
        shifted = [x, x + STEP * FIRST, x + STEP * SECOND]
        base, first, second = np.split(misses(np.concatenate(shifted, axis=1)), 3, axis=1)
        if np.max(np.abs(base)) <= CLOSE:
            A, B = (np.exp(v).reshape(shape) for v in x)
            return Membrane(A, B, mirror.reshape(shape))
        jacobian = np.stack([first - base, second - base], axis=-1) / STEP
        x = np.clip(x + _newton(jacobian, base), -60.0, np.log([[1e-7], [1e-2]]))
    if np.any(reflection < 1):
        raise _leaky(test, channel, line, law, reflection)
    return _refuse(test, line)


def _leaky(test: StandardTest, channel, line, law, reflection) -> DomainError:
    """Say from where on a coefficient may lie: it is the most that a membrane rejects at its wall.

    The wall is taken from the membrane that rejects by diffusion alone.
    """
    tight = fit_element(test, channel, line, law)
    feed, *_ = _checked(test, channel, line, 1.0)
    found = element_results(solve_vessel(feed, tight, channel, line, 1, law), line)
    wall = np.max(found.polarisation_max) * feed_brine_concentration(1.0, np.max(test.recovery))
    least = 1 - (1 - np.max(test.rejection)) / float(wall)
    return DomainError(
        f"reflection coefficient {np.min(reflection):.6g}: no membrane rejects more than that at "
        f"its wall, and the standard test, which rejects {np.max(test.rejection):.6g} of its feed, "
        f"asks for more than about {np.ceil(least * 1e4) / 1e4:.4f}"
    )


def _newton(jacobian, base):
    """Step of two unknowns for every test, shortened to LONGEST."""
    (a, b), (c, d) = np.moveaxis(jacobian, -1, 1)
    determinant = a * d - b * c
    determinant = np.where(np.abs(determinant) < 1e-12, 1e-12, determinant)
    step = np.stack([b * base[1] - d * base[0], c * base[0] - a * base[1]]) / determinant
    return np.clip(step, -LONGEST, LONGEST)


def _flat(value, shape):
    return np.array(np.broadcast_to(value, shape), dtype=float).ravel()


def _checked(test: StandardTest, channel: SpacerChannel, line: SolutionLine, reflection):
    flow = require("test permeate flow", test.permeate_flow, 0.0, np.inf, "m3/s", open_low=True)
    rejection = require("test rejection", test.rejection, 0.0, 1.0, "", open_low=True)
    recovery = require("test recovery", test.recovery, 0.0, 0.97, "", open_low=True)
    feed = require(
        "test concentration", test.feed_concentration, 0.0, 500.0, "kg/m3", open_low=True
    )
    if np.any(rejection >= 1):
        raise DomainError("test rejection = 1: no membrane passes no salt at all; give e.g. 0.998")
    shape = np.broadcast_shapes(*(np.shape(v) for v in (*test, *channel, reflection)))
    fraction = fraction_at(line, feed)
    mass = flow / recovery * density_at(line, fraction)
    columns = (mass, fraction, test.pressure, test.permeate_pressure)
    passage = _flat(feed * (1 - rejection), shape)
    return VesselFeed(*(_flat(v, shape) for v in columns)), _flat(flow, shape), passage, shape


def _refuse(test: StandardTest, line: SolutionLine):
    mean = np.max(feed_brine_concentration(test.feed_concentration, test.recovery))
    pi = float(osmotic_pressure(line, fraction_at(line, mean)))
    raise DomainError(
        "no membrane meets the standard test: osmotic pressure at the mean feed concentration of "
        f"{mean:.4g} kg/m3 is {pi / 1e5:.4g} bar before polarisation and friction, against "
        f"{np.min(test.pressure) / 1e5:.4g} bar of test pressure at a recovery of "
        f"{np.max(test.recovery):.3g} and a rejection of {np.max(test.rejection):.4g}"
    )


def hand_driving_pressure(test: StandardTest, pressure_drop, line: SolutionLine):
    """Mean driving pressure of a standard test by the hand rule.

    Parameters
    ----------
    test : StandardTest
        As for `fit_element`. [-]
    pressure_drop : array_like
        Along the element. [Pa]
    line : SolutionLine
        The test water. [-]

    Returns
    -------
    ndarray
        P - dP/2 - P_p - pi(c_fb exp(0.7 r)) + pi_p, c_fb the log-mean concentration. [Pa]

    Validity
    --------
    exp(0.7 r) stands for polarisation and fits one flow regime only.

    Source
    ------
    common practice, no source
    """
    recovery = np.asarray(test.recovery, dtype=float)
    wall = feed_brine_concentration(test.feed_concentration, recovery) * np.exp(0.7 * recovery)
    product = np.asarray(test.feed_concentration) * (1 - np.asarray(test.rejection))
    pi = osmotic_pressure(line, fraction_at(line, wall))
    back = osmotic_pressure(line, fraction_at(line, product))
    return test.pressure - 0.5 * np.asarray(pressure_drop) - test.permeate_pressure - pi + back


def hand_rule(
    test: StandardTest,
    channel: SpacerChannel,
    line: SolutionLine,
    pressure_drop=0.0,
    *,
    strict: bool = True,
) -> Membrane:
    """Estimate A and B of a standard test by hand: for checks and first guesses.

    Parameters
    ----------
    test : StandardTest
        As for `fit_element`. [-]
    channel : SpacerChannel
        Its area is used. [m2]
    line : SolutionLine
        The test water. [-]
    pressure_drop : array_like
        Along the element. [Pa]
    strict : bool
        Refuse a test without driving pressure; otherwise a tenth of the pressure is assumed. [-]

    Returns
    -------
    Membrane
        A and B. [m/(s Pa)], [m/s]

    Validity
    --------
    2 % low in A for brackish, 7 % for seawater elements against the march. DomainError if the
    driving pressure is not above 0.

    Source
    ------
    common practice, no source
    """
    driving = hand_driving_pressure(test, pressure_drop, line)
    if strict:
        require("driving pressure of the test", driving, 0.0, np.inf, "Pa", open_low=True)
    driving = np.maximum(driving, 0.1 * np.asarray(test.pressure))
    flux = np.asarray(test.permeate_flow) / channel.area
    recovery = np.asarray(test.recovery, dtype=float)
    wall = feed_brine_concentration(test.feed_concentration, recovery) * np.exp(0.7 * recovery)
    product = np.asarray(test.feed_concentration) * (1 - np.asarray(test.rejection))
    return Membrane(flux / driving, flux * product / (wall - product))
