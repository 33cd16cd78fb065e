"""How sure an answer is: the whole train at samples of its uncertain inputs."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from treatsim.arrays import Array
from treatsim.errors import NoSolutionError, RequestError
from treatsim.numerics import even_points
from treatsim.operations.outcome import Limit
from treatsim.safety.verdict import NOT_JUDGED, Verdict, judge
from treatsim.studies import columns
from treatsim.studies.points import solve_points
from treatsim.studies.spread_inputs import SpreadInputs, sobol, spread_inputs

SAMPLES = 2**17  # 131 072
REPLICATES = 16  # scramblings, whose disagreement is the error of a chance
STUDENT = 2.131  # two-sided 95 % of 15 degrees of freedom (Student's distribution, tables)
NEVER = 3.69  # -ln 0.025: no miss in n samples leaves a chance of 3.69 / n at 95 %, two-sided
QUICK = 2**10
PIECE = 8192
MOST_THREADS = 4  # each piece takes some 50 MB
Samples = npt.NDArray[np.float32]  # half the memory, digits enough for a percentile
PERCENTS = (5.0, 10.0, 50.0, 90.0, 95.0)


@dataclass(frozen=True)
class Chance:
    """The share of all samples at which a limit is met, with its own 95 % interval."""

    limit: Limit | None  # at the case's own settings; None: of all limits together
    met: float
    low: float
    high: float
    unjudged: float  # share of samples at which it is not judged; these count as not met


@dataclass(frozen=True)
class Uncertainty:
    """What the spreads of the inputs do to the answer."""

    nominal: Verdict
    inputs: SpreadInputs
    samples: int
    answered: float  # share of samples with an operating point; the others meet nothing
    chances: tuple[Chance, ...]
    all_met: Chance  # of all judged limits together
    results: Mapping[str, tuple[str, Samples]]  # address -> quantity, samples (NaN: no answer)
    confidence: float

    @property
    def sure(self) -> bool:
        """Whether every judged limit is met with the chance asked for."""
        return all(one.met >= self.confidence for one in self.chances)

    def percentiles(self, address: str) -> Array:
        """Return the percentiles of a result over the answered samples, at `PERCENTS`. [SI]"""
        samples = self.results[address][1]
        known = samples[~np.isnan(samples)]
        return np.percentile(known, PERCENTS) if known.size else np.full(len(PERCENTS), np.nan)


def uncertainty(
    case,
    *,
    samples: int = SAMPLES,
    show: Sequence[str] = (),
    seed: int = 1,
    progress: Callable[[int, int], object] = lambda done, total: None,
) -> Uncertainty:
    """Solve and judge a case at samples of its uncertain inputs.

    Parameters
    ----------
    case : Case
        With spreads; [uncertainty] may state correlations and the confidence asked for.
    samples : int
        At least this many: rounded up to 16 scramblings of a power of two.
    show : sequence of str
        Addresses of further results whose percentiles are wanted.
    seed : int
        The same seed gives the same answer.
    progress : callable
        Told (samples done, samples).

    Returns
    -------
    Uncertainty
        The chance of every limit that is judged at the case's own settings, and the results.

    Raises
    ------
    RequestError
        No spreads, correlations that no matrix has, an unknown address.
    NoSolutionError
        The case itself has no operating point.

    Validity
    --------
    The chance is that of the inputs' spreads alone: the error of the formulas is not in it.

    Source
    ------
    owen_1998 (scrambled nets, replicated for their error).
    """
    inputs = spread_inputs(case)
    nominal = judge(case.solve())
    if not nominal.result.solved[0]:
        raise NoSolutionError(nominal.result.reason(0))
    each = 2 ** max(4, int(np.ceil(np.log2(max(samples, 2) / REPLICATES))))
    shares = np.concatenate(
        [sobol(len(inputs.spreads), each, seed * 1000 + number) for number in range(REPLICATES)]
    )
    return _told(case, inputs, nominal, shares, _wanted(nominal, show), progress)


def _told(case, inputs, nominal, shares, wanted, progress=lambda done, total: None) -> Uncertainty:
    """Solve the samples, replicate after replicate, and count."""
    runs = _Runs(nominal, wanted, len(shares))

    def take(start: int) -> None:
        runs.take(case, inputs.values(shares[start : start + PIECE]), start)

    starts = range(0, len(shares), PIECE)
    for done, _ in enumerate(_side_by_side(take, starts), start=1):
        progress(min(done * PIECE, len(shares)), len(shares))
    section = case.sections.get("uncertainty")
    return Uncertainty(
        nominal,
        inputs,
        len(shares),
        float(np.mean(runs.solved)),
        tuple(
            _chance(limit, met, unjudged)
            for limit, met, unjudged in zip(runs.limits, runs.met, runs.unjudged, strict=True)
        ),
        _chance(None, np.all(runs.met, axis=0) & runs.solved, np.any(runs.unjudged, axis=0)),
        {a: (wanted[a], row) for a, row in zip(wanted, runs.values, strict=True)},
        0.95 if section is None else float(section.confidence),
    )


def _side_by_side(work: Callable[[int], None], starts: Sequence[int]) -> Iterator[None]:
    """Do pieces on every core: what takes long in them are array operations, which let go.

    The first alone, for it makes what is kept and shared.
    """
    work(starts[0])
    yield
    if len(starts) == 1:
        return
    from concurrent.futures import ThreadPoolExecutor, as_completed

    pool = ThreadPoolExecutor(min(os.cpu_count() or 1, MOST_THREADS))
    try:
        for future in as_completed([pool.submit(work, start) for start in starts[1:]]):
            yield future.result()
    finally:
        pool.shutdown(cancel_futures=True)


def _wanted(nominal: Verdict, show: Sequence[str]) -> dict[str, str]:
    """Return address -> quantity of the results that are kept."""
    units = nominal.result.sheet.units.items()
    found = [*columns.FIRST, "product.concentration"]
    found += [f"{name}.{key}" for name, unit in units for key in unit.headline]
    found += [limit.address for limit in nominal.limits if limit.state() != "not_judged"]
    kept = {
        a: nominal.values[a].quantity
        for a in dict.fromkeys(found)
        if a in nominal.values and np.all(np.isfinite(np.asarray(nominal.values[a].value, float)))
    }
    return kept | {address: nominal.value(address).quantity for address in show}


def quick_chances(case, verdict: Verdict) -> dict[tuple[str, str], float]:
    """Return the chance of each judged limit by name and address, from few samples.

    Nothing for a case without spreads, or with a hold, where every point is dear.
    """
    if case.holds or not verdict.result.solved[0]:
        return {}
    try:
        inputs = spread_inputs(case)
    except RequestError:  # no spreads, or none that can be sampled: the command says why
        return {}
    told = _told(case, inputs, verdict, even_points(len(inputs.spreads), QUICK), {})
    return {(o.limit.name, o.limit.address): o.met for o in told.chances if o.limit is not None}


class _Runs:
    """What is kept of the samples while they are solved."""

    def __init__(self, nominal: Verdict, wanted: Mapping[str, str], points: int) -> None:
        self.limits = [one for one in nominal.limits if one.state() in ("met", "not_met")]
        self.wanted = wanted
        self.solved = np.zeros(points, dtype=bool)
        self.met = np.zeros((len(self.limits), points), dtype=bool)
        self.unjudged = np.zeros((len(self.limits), points), dtype=bool)
        self.values = np.full((len(wanted), points), np.nan, dtype=np.float32)

    def take(self, case, arrays: Mapping[str, Array], start: int) -> None:
        """Solve some samples and keep what is asked of them."""
        count = next(iter(arrays.values())).size
        for piece in solve_points(case, arrays, count):
            if piece.verdict is None:  # no such train: it meets nothing
                continue
            self._keep(piece.verdict, start + piece.where)

    def _keep(self, verdict: Verdict, where) -> None:
        points, solved = (verdict.result.points,), verdict.result.solved
        self.solved[where] = solved
        known = {(limit.name, limit.address): limit for limit in verdict.limits}
        for row, own in enumerate(self.limits):
            limit = known.get((own.name, own.address))
            if limit is None:
                continue
            self.met[row, where] = np.broadcast_to(limit.meets, points) & solved
            self.unjudged[row, where] = (
                np.broadcast_to(limit.states, points) == NOT_JUDGED
            ) & solved
        for kept, address in zip(self.values, self.wanted, strict=True):
            if address in verdict.values:
                value = np.asarray(verdict.value(address).value, float)
                kept[where] = np.where(solved, value, np.nan)


def _chance(limit, met: Array, unjudged: Array) -> Chance:
    """Return the chance of a limit; replicates that agree leave what so many samples leave."""
    parts = np.mean(met.reshape(REPLICATES, -1), axis=1)
    mean = float(np.mean(parts))
    half = max(STUDENT * float(np.std(parts, ddof=1)) / np.sqrt(REPLICATES), NEVER / met.size)
    return Chance(
        limit, mean, max(0.0, mean - half), min(1.0, mean + half), float(np.mean(unjudged))
    )
