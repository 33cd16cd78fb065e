"""One water along its concentration: pH and saturations as short series, for any number of points.

PHREEQC is asked at a few concentration factors once; between them everything is smooth in the
logarithm of the factor. A vessel, its membrane, the highest recovery and a sweep then cost nothing.
"""

from __future__ import annotations

import dataclasses
from collections import deque
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import NoSolutionError, require
from treatsim.kept import library_versions
from treatsim.numerics import distinct
from treatsim.water.acid_base import Constants
from treatsim.water.analysis import WaterAnalysis
from treatsim.water.cache import load_or_build
from treatsim.water.each_water import FEW, waters
from treatsim.water.phreeqc import PITZER, database_fingerprint
from treatsim.water.scaling import SCALES, Saturation, minerals
from treatsim.water.series import Series, evaluate, fit_series, nodes, transform
from treatsim.water.speciation import AnalysisKey, Feed, feed

SMALLEST, LARGEST = 0.1, 20.0  # concentration factor, per kg of water
NODES = 8  # 0.001 in an index against PHREEQC itself, where 0.1 is the doubt between databases
INDEX_ERROR = 1e-3  # of an index or a pH, between what PHREEQC was asked for; tests hold it
SATURATION_ERROR = 3e-3  # the same as a share of a saturation
LARGEST_RATIO = 0.3  # kg of salt per kg of water; beyond, no activity model here was fitted
SHRINK, TRIES = 0.7, 8  # of the largest factor, where PHREEQC finds no equilibrium
COLDEST, WARMEST = ZERO_CELSIUS, ZERO_CELSIUS + 45.0
WARM_NODES = nodes(COLDEST, WARMEST, 6)
DIGITS = 9  # of a temperature in K; what a recycle leaves in the digits behind is no other water
BLOCK = 8192  # points whose lines are summed at once: up to some hundred lines each
DATABASES = sorted({scale.database for scale in SCALES.values()}, key=lambda n: (n != PITZER, n))
HEAD = 3 + len(Constants._fields)  # columns before the minerals, those of Balance
NONE_LEFT = 1e-50  # mol/kg of carbon dioxide in a water without carbon


class Line(NamedTuple):
    """One series for each of pH, logarithm of ionic strength, of constants, minerals' indices."""

    series: Series  # over the logarithm of the factor; coefficients (NODES, quantities)
    scales: tuple[str, ...]

    @property
    def high(self) -> float:
        """Largest factor with an equilibrium, as far as looked for."""
        return float(np.exp(self.series.high))


class States(NamedTuple):
    """A concentrate at many points."""

    saturation: Saturation  # arrays over the points
    inside: np.ndarray  # whether the factor lies in the range of the series


def concentrate_line(analysis: WaterAnalysis, temperature: float) -> Line:
    """Return the series of a water at one temperature, dissolved carbon dioxide that of the feed.

    Parameters
    ----------
    analysis : WaterAnalysis
        Ion analysis, or sea water with a pH. [-]
    temperature : float
        Temperature. [K]

    Returns
    -------
    Line
        From `SMALLEST` up to `LARGEST` or `LARGEST_RATIO`, or as far as PHREEQC finds an
        equilibrium.

    Validity
    --------
    As `scaling.saturation`; NoSolutionError where no range of factors has an answer. The pH of sea
    water is that of the water as it comes, so that it holds at the temperature asked for, whatever
    others stand beside it in a sweep.

    Source
    ------
    parkhurst_appelo_2013
    """
    at = float(require("temperature", temperature, COLDEST, WARMEST, "K"))
    if analysis.kind == "seawater":
        analysis = dataclasses.replace(analysis, temperature=at)
    return _line(AnalysisKey(analysis), at)


@lru_cache(maxsize=1024)  # six temperatures of every water of a lattice
def _line(key: AnalysisKey, temperature: float) -> Line:
    found = load_or_build(
        "line",
        {
            "analysis": key.plain,
            "temperature": temperature,
            "databases": [database_fingerprint(name) for name in DATABASES],
            "versions": library_versions("phreeqpython"),
        },
        lambda: _built(key.analysis, temperature),
        {"coefficients": (NODES, HEAD + len(SCALES)), "known": (len(SCALES),), "high": ()},
    )
    known = found["known"].astype(bool)
    columns = np.append(np.ones(HEAD, bool), known)
    series = Series(found["coefficients"][:, columns], np.log(SMALLEST), float(found["high"]))
    return Line(series, tuple(name for name, is_told in zip(SCALES, known, strict=True) if is_told))


def _built(analysis: WaterAnalysis, temperature: float) -> dict[str, np.ndarray]:
    """Return a line as it is stored: a column for every mineral, and which of them are told."""
    fed = [feed(analysis, name) for name in DATABASES]
    line = _longest(fed, temperature)
    coefficients = np.zeros((NODES, HEAD + len(SCALES)))
    coefficients[:, :HEAD] = line.series.coefficients[:, :HEAD]
    order = list(SCALES)
    for column, name in enumerate(line.scales, HEAD):
        coefficients[:, HEAD + order.index(name)] = line.series.coefficients[:, column]
    known = np.array([float(name in line.scales) for name in order])
    return {"coefficients": coefficients, "known": known, "high": np.array(line.series.high)}


def _longest(fed: list[Feed], temperature: float) -> Line:
    """Return the line as far as PHREEQC finds an equilibrium."""
    high = min(LARGEST, max(LARGEST_RATIO / fed[0].salt_ratio, 2 * SMALLEST))
    for attempt in range(TRIES):
        try:
            return _fitted(fed, high, temperature)
        except NoSolutionError:
            if attempt == TRIES - 1:
                raise
            high *= SHRINK
    raise AssertionError("the last try returns or raises")


def _fitted(fed: list[Feed], high: float, temperature: float) -> Line:
    scales: list[str] = []

    def sampled(x):
        columns: list = []
        for water in fed:
            found = [minerals(water, float(np.exp(at)), temperature) for at in x]
            if not columns:
                columns = [[state.ph for state, _ in found],
                           [np.log(state.ionic_strength) for state, _ in found],
                           [np.log(max(state.carbon_dioxide, NONE_LEFT)) for state, _ in found],
                           *np.log([state.apparent for state, _ in found]).T]  # fmt: skip
            names = [name for name in found[0][1] if name not in scales]
            scales.extend(names)
            columns += [[index[name] for _, index in found] for name in names]
        return np.array(columns).T

    series = fit_series(sampled, np.log(SMALLEST), np.log(high), NODES)
    return Line(series, tuple(scales))


def states(analysis: WaterAnalysis, concentration_factor, temperature) -> States:
    """Return pH and saturation of a concentrate at every point.

    Parameters
    ----------
    analysis : WaterAnalysis
        Ion analysis, or sea water with a pH. [-]
    concentration_factor : array_like
        Per kg of water; for the membrane, times the polarisation. [1]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    States
        Broadcast shape. Where `inside` is false factor or temperature lies beyond the series and
        the numbers are those at its end.

    Validity
    --------
    As `concentrate_line`. More than `FEW` temperatures are interpolated between six from 0 to
    45 degC, more than `FEW` waters between those of a lattice in pH and salt (0.001 in an index).

    Source
    ------
    parkhurst_appelo_2013
    """
    values, own, inside = _values(analysis, concentration_factor, temperature, slice(None))
    indices = dict(zip(own.scales, values[HEAD:], strict=True))
    ordered = {name: indices[name] for name in SCALES if name in indices}
    return States(Saturation(values[0], ordered, np.exp(values[1])), inside)


class Balance(NamedTuple):
    """Acid and base of a concentrate whose dissolved gas is that of the source."""

    ph: Any
    ionic_strength: Any  # mol/kg
    carbon_dioxide: Any  # mol/kg
    constants: Constants
    inside: Any  # bool


def acid_balance(analysis: WaterAnalysis, concentration_factor, temperature) -> Balance:
    """Return pH, carbon dioxide and the constants of carbonate and borate at every point.

    Parameters
    ----------
    analysis : WaterAnalysis
        Ion analysis, or sea water with a pH. [-]
    concentration_factor : array_like
        Per kg of water. [1]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    Balance
        Broadcast shape.

    Validity
    --------
    As `states`; at another pH than the water's own the ion pairs are taken to stay.

    Source
    ------
    parkhurst_appelo_2013
    """
    values, _, inside = _values(analysis, concentration_factor, temperature, slice(HEAD))
    strength, gas, *constants = np.exp(values[1:])
    return Balance(values[0], strength, gas, Constants(*constants), inside)


class _Own(NamedTuple):
    """One line for each point: that of its own water at its own temperature."""

    series: Series  # coefficients (NODES, quantities, *points)
    scales: tuple[str, ...]
    inside: Any  # bool: whether the temperature is that of a line, not of the nearest

    @property
    def high(self) -> float:
        """Largest factor with an equilibrium, of all the waters."""
        return float(np.exp(self.series.high))


def _values(analysis: WaterAnalysis, concentration_factor, temperature, columns: slice):
    """Return some quantities at every point, quantities first; the lines, and what is inside."""
    factor = require("concentration_factor", concentration_factor, 0, np.inf, "")
    own = _own(analysis, np.asarray(temperature, dtype=float))
    shape = np.broadcast_shapes(factor.shape, own.inside.shape)
    series = own.series._replace(
        coefficients=_at_front(own.series.coefficients[:, columns], len(shape))
    )
    values = evaluate(series, np.log(np.clip(factor, SMALLEST, own.high)))
    inside = (factor >= SMALLEST) & (factor <= own.high) & own.inside
    return np.broadcast_to(values, (len(values), *shape)), own, inside


def _at_front(coefficients: np.ndarray, axes: int) -> np.ndarray:
    """Coefficients whose points are the last of so many axes."""
    count, quantities, *points = coefficients.shape
    return coefficients.reshape(count, quantities, *(1,) * (axes - len(points)), *points)


_LATEST: deque[tuple[WaterAnalysis, np.ndarray, _Own]] = deque(maxlen=4)


def _own(analysis: WaterAnalysis, temperature: np.ndarray) -> _Own:
    """Return the lines of the points; kept a while, for one verdict asks some twenty times."""
    points = () if analysis.own is None else analysis.own
    given = np.round(_unrepeated(*np.broadcast_arrays(temperature, *points)), DIGITS)
    for known, at, lines in tuple(_LATEST):
        if known is analysis and np.array_equal(at, given):
            return lines
    lines = _lines(analysis, given)
    _LATEST.appendleft((analysis, np.array(given), lines))
    return lines


def _unrepeated(first: np.ndarray, *others: np.ndarray) -> np.ndarray:
    """The first array without the axes in front along which it and all others are repeated."""
    strides = np.array([array.strides for array in (first, *others)])
    varied = np.flatnonzero(np.any(strides != 0, axis=0) & (np.array(first.shape) > 1))
    front = varied[0] if varied.size else first.ndim
    return first[(0,) * front]


def _lines(analysis: WaterAnalysis, given: np.ndarray) -> _Own:
    T = np.clip(given, COLDEST, WARMEST)
    warm = distinct(T)
    warm = warm if len(warm) <= FEW else WARM_NODES
    own, shares = waters(analysis, T.shape)
    lines = [[concentrate_line(water, float(t)) for t in warm] for water in own]
    high = min(line.high for row in lines for line in row)
    rows = np.stack([_up_to(line, high) for row in lines for line in row], axis=-1)
    at = np.stack(_weights(T.ravel(), warm))
    found = np.empty((*rows.shape[:2], T.size))
    for start in range(0, T.size, BLOCK):
        part = slice(start, start + BLOCK)
        every = shares[:, None, part] * at[:, part]
        found[..., part] = rows @ every.reshape(rows.shape[-1], -1)
    series = Series(found.reshape(*found.shape[:2], *T.shape), np.log(SMALLEST), np.log(high))
    return _Own(series, lines[0][0].scales, given == T)


def _up_to(line: Line, high: float) -> np.ndarray:
    """Coefficients of a line over a range that ends earlier: the same polynomial."""
    if line.high == high:
        return line.series.coefficients
    x = nodes(line.series.low, np.log(high), NODES)
    return transform(NODES) @ evaluate(line.series, x[:, None])


def _weights(T, own) -> list[np.ndarray]:
    """Lagrange's weights of the temperatures `own` at T."""
    found = []
    for i, t in enumerate(own):
        others = np.delete(own, i)
        found.append(np.prod((T[:, None] - others) / (t - others), axis=-1))
    return found


def first_crossing(x, excess):
    """Return where each column of `excess` first turns positive.

    Parameters
    ----------
    x : array_like, shape (n,)
        Rising and evenly spaced. [any]
    excess : array_like, shape (n, columns)
        Value less what is allowed. [any]

    Returns
    -------
    ndarray, shape (columns,)
        Between the two steps by a straight line; minus infinity if it is positive from the start,
        infinity if it never is. [unit of x]

    Validity
    --------
    Later crossings are not looked at: the saturation of calcite may fall again in a strong brine.

    Source
    ------
    definition
    """
    x, excess = np.asarray(x, float), np.asarray(excess, float)
    first = np.argmax(excess > 0, axis=0)
    before, column = np.maximum(first - 1, 0), np.arange(excess.shape[1])
    low, high = excess[before, column], excess[first, column]
    part = np.divide(-low, high - low, out=np.zeros(len(column)), where=high != low)
    crossing = np.where(first == 0, -np.inf, x[before] + part * (x[first] - x[before]))
    return np.where((excess > 0).any(axis=0), crossing, np.inf)
