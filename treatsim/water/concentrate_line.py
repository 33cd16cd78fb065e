"""One water along its concentration: pH and saturations as short series, for any number of points.

PHREEQC is asked at a few concentration factors once; between them everything is smooth in the
logarithm of the factor. A vessel, its membrane, the highest recovery and a sweep then cost nothing.
The series stay on disk, so that the next run of the same water does not even load PHREEQC.
"""

from __future__ import annotations

import dataclasses
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import NoSolutionError, require
from treatsim.kept import library_versions
from treatsim.water.acid_base import Constants
from treatsim.water.analysis import WaterAnalysis
from treatsim.water.cache import load_or_build
from treatsim.water.each_water import FEW, waters
from treatsim.water.phreeqc import PITZER, database_fingerprint
from treatsim.water.scaling import SCALES, Saturation, minerals
from treatsim.water.series import Series, basis, evaluate, fit_series, nodes, transform
from treatsim.water.speciation import AnalysisKey, Feed, feed

SMALLEST, LARGEST = 0.1, 20.0  # concentration factor, per kg of water
NODES = 8  # 0.001 in an index against PHREEQC itself, where 0.1 is the doubt between databases
INDEX_ERROR = 1e-3  # of an index or a pH, between what PHREEQC was asked for; tests hold it
SATURATION_ERROR = 3e-3  # the same as a share of a saturation
LARGEST_RATIO = 0.3  # kg of salt per kg of water; beyond, no activity model here was fitted
SHRINK, TRIES = 0.7, 8  # of the largest factor, where PHREEQC finds no equilibrium
COLDEST, WARMEST = ZERO_CELSIUS, ZERO_CELSIUS + 45.0
WARM_NODES = nodes(COLDEST, WARMEST, 6)
HEAD = 3 + len(Constants._fields)  # columns before the minerals, those of Balance
DATABASES = tuple(sorted({scale.database for scale in SCALES.values()}))
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
    names, columns = list(SCALES), HEAD + len(SCALES)
    found = load_or_build(
        "concentrate",
        {
            "analysis": key.plain,
            "temperature": temperature,
            "versions": library_versions("phreeqpython"),
            "databases": [database_fingerprint(name) for name in DATABASES],
        },
        lambda: _stored(_asked(key, temperature), columns),
        {"coefficients": (NODES, columns), "minerals": (len(SCALES),), "ends": (2,)},
    )
    scales = tuple(names[int(n)] for n in found["minerals"] if n >= 0)
    low, high = (float(end) for end in found["ends"])
    return Line(Series(found["coefficients"][:, : HEAD + len(scales)], low, high), scales)


def _stored(line: Line, columns: int) -> dict[str, np.ndarray]:
    """Return a line as arrays of one shape, whatever minerals it has."""
    own = line.series.coefficients
    minerals = np.full(len(SCALES), -1.0)
    minerals[: len(line.scales)] = [list(SCALES).index(name) for name in line.scales]
    return {
        "coefficients": np.pad(own, ((0, 0), (0, columns - own.shape[1]))),
        "minerals": minerals,
        "ends": np.array([line.series.low, line.series.high]),
    }


def _asked(key: AnalysisKey, temperature: float) -> Line:
    """Ask PHREEQC, over fewer factors where it finds no equilibrium."""
    fed = [feed(key.analysis, name) for name in DATABASES]
    fed.sort(key=lambda water: water.database != PITZER)  # whose pH and ionic strength hold
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
    values, lines, inside = _values(analysis, concentration_factor, temperature, slice(None))
    indices = {name: values[..., HEAD + i] for i, name in enumerate(lines[0].scales)}
    ordered = {name: indices[name] for name in SCALES if name in indices}
    return States(Saturation(values[..., 0], ordered, np.exp(values[..., 1])), inside)


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
    strength, gas, *constants = np.moveaxis(np.exp(values[..., 1:]), -1, 0)
    return Balance(values[..., 0], strength, gas, Constants(*constants), inside)


def _values(analysis: WaterAnalysis, concentration_factor, temperature, columns: slice):
    """Sum the series of some quantities at every point; also the lines, and what is inside."""
    factor = require("concentration_factor", concentration_factor, 0, np.inf, "")
    points = () if analysis.own is None else analysis.own
    factor, given = np.broadcast_arrays(factor, np.asarray(temperature, dtype=float), *points)[:2]
    T = np.clip(given, COLDEST, WARMEST)
    warm = np.unique(T)
    warm = warm if len(warm) <= FEW else WARM_NODES
    own, shares = waters(analysis, factor.shape)
    lines = [[concentrate_line(water, float(t)) for t in warm] for water in own]
    high = min(line.high for row in lines for line in row)
    x = np.log(np.clip(factor, SMALLEST, high)).ravel()
    across = basis(x, np.log(SMALLEST), np.log(high), NODES)
    terms = np.concatenate([weight * across for weight in _weights(T.ravel(), warm)]).T
    values: Any = 0.0
    for row, share in zip(lines, shares, strict=True):
        rows = np.concatenate([_up_to(line, high)[:, columns] for line in row])
        if np.isscalar(values):
            values = np.zeros((len(share), rows.shape[1]))
        here = np.flatnonzero(share)  # four in each direction are not zero
        values[here] += share[here, None] * (terms[here] @ rows)
    inside = (factor >= SMALLEST) & (factor <= high) & (given == T)
    return values.reshape(*factor.shape, -1), lines[0], inside


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
