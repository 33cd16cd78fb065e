"""Which uncertain input moves an answer most: Sobol indices, and each input alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.studies.points import solve_points
from treatsim.studies.spread_inputs import SpreadInputs

FEWEST = 64  # base samples with answers: fewer give no index
BASE = 1024  # base samples of the indices, a power of two
FLAT = 1e-9  # relative: a result that moves less is not moved
TAIL = 0.5  # per cent at each end, drawn in: hours until a filter is full have an endless tail
SWING = (0.1, 0.9)  # shares between which an input alone is moved


@dataclass(frozen=True)
class Swing:
    """One result with one input alone at its 10 % and 90 % point, the others at their medians."""

    quantity: str
    ends: Array  # shape (inputs, 2) [SI]

    @property
    def order(self) -> Index:
        """Inputs, the one that moves the result most first."""
        return np.argsort(-np.abs(np.diff(self.ends, axis=1)[:, 0]), kind="stable")


@dataclass(frozen=True)
class Sensitivity:
    """Shares of the variance of one result, with their own 95 % bands; arrays over the inputs.

    A first-order index is what an input brings by itself, a total index what it brings together
    with others.
    """

    first: Array
    first_band: Array
    total: Array
    total_band: Array


def swings(case, inputs: SpreadInputs, wanted: Mapping[str, str]) -> dict[str, Swing]:
    """Return what each input alone does to the results that have answers at all ends.

    case, inputs : the case and its uncertain inputs; wanted : address of a result -> quantity.
    """
    count = len(inputs.spreads)
    alone = SpreadInputs(inputs.spreads, np.eye(count))
    shares = np.full((2 * count, count), 0.5)
    for number in range(count):
        shares[2 * number, number], shares[2 * number + 1, number] = SWING
    found = _solved(case, alone.values(shares), wanted)
    return {
        address: Swing(wanted[address], ends.reshape(count, 2))
        for address, ends in found.items()
        if np.isfinite(ends).all() and np.ptp(ends) > FLAT * np.max(np.abs(ends))
    }


def sensitivity(
    case, inputs: SpreadInputs, wanted: Mapping[str, str], *, base: int = BASE, seed: int = 1
) -> dict[str, Sensitivity]:
    """Return the sensitivity of results to the uncertain inputs.

    Parameters
    ----------
    case : Case
        What is solved.
    inputs : SpreadInputs
        Its uncertain inputs. Correlations are left aside: the indices divide the variance among
        inputs that move independently.
    wanted : mapping
        Address of a result -> quantity.
    base : int
        Base samples, a power of two; (inputs + 2) times as many points are solved.
    seed : int
        The same seed gives the same answer.

    Returns
    -------
    dict
        For each result that moves and has answers at every sample.

    Raises
    ------
    ImportError
        SALib, of the extra `uncertainty`, is not installed.

    Validity
    --------
    Independent inputs; the outermost 0.5 % of a result's values at each end are drawn in, so that a
    result without a variance has indices too.

    Source
    ------
    saltelli_2010 (estimators), by SALib.
    """
    return indices(lambda arrays: _solved(case, arrays, wanted), inputs, base, seed)


def indices(
    function: Callable[[Mapping[str, Array]], Mapping[str, Array]],
    inputs: SpreadInputs,
    base: int = BASE,
    seed: int = 1,
) -> dict[str, Sensitivity]:
    """Return the sensitivity of any function from inputs to results, arrays of shape (n,)."""
    from SALib.analyze import sobol as analysis
    from SALib.sample import sobol as samples

    names = [one.address for one in inputs.spreads]
    problem = {"num_vars": len(names), "names": names, "bounds": [[0.0, 1.0]] * len(names)}
    shares = samples.sample(problem, base, calc_second_order=False, seed=seed)
    shares = np.clip(shares, 2.0**-33, 1 - 2.0**-33)
    alone = SpreadInputs(inputs.spreads, np.eye(len(names)))
    results = function(alone.values(shares))
    found = {}
    for address, own in results.items():
        whole = np.repeat(
            np.isfinite(own.reshape(base, -1)).all(axis=1), len(names) + 2
        )  # a block with a point that has no answer is left out
        own = own[whole]
        if own.size < FEWEST * (len(names) + 2) or np.ptp(own) <= FLAT * np.max(np.abs(own)):
            continue
        own = np.clip(own, *np.percentile(own, (TAIL, 100 - TAIL)))
        scaled = (own - own.mean()) / own.std()
        with np.errstate(all="ignore"):
            told = analysis.analyze(
                problem, scaled, calc_second_order=False, seed=seed, print_to_console=False
            )
        found[address] = Sensitivity(
            first=np.asarray(told["S1"], float),
            first_band=np.asarray(told["S1_conf"], float),
            total=np.asarray(told["ST"], float),
            total_band=np.asarray(told["ST_conf"], float),
        )
    return found


def _solved(case, arrays: Mapping[str, Array], wanted: Sequence[str] | Mapping[str, str]):
    """Return the results at points; NaN where there is no answer."""
    count = next(iter(arrays.values())).size
    found = {address: np.full(count, np.nan) for address in wanted}
    for piece in solve_points(case, arrays, count):
        if piece.verdict is None:
            continue
        solved = piece.verdict.result.solved
        for address, row in found.items():
            value = np.asarray(piece.verdict.value(address).value, float)
            row[piece.where] = np.where(solved, value, np.nan)
    return found
