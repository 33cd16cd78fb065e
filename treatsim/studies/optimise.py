"""The best setting of several inputs: a scan, ever smaller scans around its best, then a polish."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from treatsim.errors import NoSolutionError, RequestError
from treatsim.safety.verdict import judge
from treatsim.studies.found import Nearest, Optimum
from treatsim.studies.line import REACH, Line, span
from treatsim.studies.requirements import Evaluation, Remark, Target
from treatsim.studies.throughout import Conditions

FIRST = {1: 257, 2: 65, 3: 17, 4: 9, 5: 6}  # settings per input of the first scan
LATER = {1: 17, 2: 17, 3: 9, 4: 6, 5: 5}  # of every smaller one
STARTS = 3  # places from which the scan is narrowed
ROUNDS = 40
SHRINK = {1: 0.2, 2: 0.4, 3: 0.4, 4: 0.4, 5: 0.4}  # a line's settings stand closer
SMALLEST = 1e-5  # half a side of the last box, as a share of the range
CHECK = 2e-3  # half a side of the box searched once more around the answer
STEP = 1e-6  # of differences
BINDS = 1e-5  # margin below which a requirement holds the answer


class Tried(NamedTuple):
    """Places in the unit cube and what they are worth."""

    place: np.ndarray  # (points, inputs)
    merit: np.ndarray  # larger is better; -inf where not met
    evaluation: Evaluation


class Space:
    """Inputs as a unit cube, the result to be largest, the requirements."""

    def __init__(
        self,
        case,
        addresses: Sequence[str],
        wanted: Sequence[Target],
        best: str,
        conditions: Conditions,
    ) -> None:
        if len(addresses) > max(FIRST):
            raise RequestError(f"at most {max(FIRST)} inputs are adjusted together")
        if len(set(addresses)) < len(addresses):
            raise RequestError("an input is adjusted twice")
        self.sense, self.best = _sense(best)
        self.conditions = dataclasses.replace(conditions, most=self.sense == "smallest")
        self.case, self.wanted, self.addresses = case, wanted, list(addresses)
        lines = [Line(case, address, wanted) for address in addresses]
        for line in lines:
            if line.kind == "count":
                raise RequestError(
                    f'"{line.address}" is a whole number: adjust it alone, or sweep it'
                )
        self.kinds = {line.address: line.kind for line in lines}
        self.now = [line.now for line in lines]
        self.ends = [self._ends(line) for line in lines]

    def _ends(self, line: Line) -> tuple[float, float, bool]:
        """Return the ends of one input, and whether its scale is logarithmic."""
        low, high, _ = span(line.item, line.now, line.address)
        wide = line.now is not None and line.now > 0 and high > 20 * line.now
        if low <= 0 and wide:
            low = max(low, line.now / REACH)
        if line.item.metadata["open_low"] and low == line.item.metadata["low"]:
            low += 1e-6 * (high - low)
        return low, high, bool(wide and low > 0)

    def inputs(self, place) -> dict[str, np.ndarray]:
        """Return SI values at places of the unit cube, (points, inputs)."""
        found = {}
        for address, (low, high, wide), share in zip(
            self.addresses, self.ends, place.T, strict=True
        ):
            value = low * (high / low) ** share if wide else low + (high - low) * share
            found[address] = np.clip(value, low, high)
        return found

    def start(self) -> np.ndarray | None:
        """Return the place of the present settings."""
        if any(value is None for value in self.now):
            return None
        shares = [
            np.log(v / low) / np.log(high / low) if wide else (v - low) / (high - low)
            for v, (low, high, wide) in zip(self.now, self.ends, strict=True)
        ]
        return np.clip(np.array(shares, float), 0, 1)

    def evaluate(self, place) -> Evaluation:
        """Return margins and the result at places."""
        told = self.inputs(place)
        return self.conditions.evaluate(self.case, told, len(place), self.wanted, [self.best])

    def objective(self, found: Evaluation) -> np.ndarray:
        """Return the result, signed so that larger is better."""
        return (1.0 if self.sense == "largest" else -1.0) * found.shown[self.best]

    def tried(self, place) -> Tried:
        """Return places with their worth."""
        found = self.evaluate(place)
        merit = np.where(found.met, self.objective(found), -np.inf)
        return Tried(place, np.where(np.isnan(merit), -np.inf, merit), found)


def _sense(best: str) -> tuple[str, str]:
    first, _, rest = best.strip().partition(" ")
    if first in ("largest", "smallest") and rest.strip():
        return first, rest.strip()
    if rest:
        raise RequestError(f'--best "{best}": write "largest ADDRESS" or "smallest ADDRESS"')
    return "largest", first


def optimise(
    case, addresses: Sequence[str], wanted: Sequence[Target], best: str, conditions: Conditions
) -> Optimum:
    """Return the setting with the largest or smallest result that meets everything."""
    judge(case.solve()).value(_sense(best)[1])  # names the nearest address if there is none
    space = Space(case, addresses, wanted, best, conditions)
    scan = _scan(space)
    if not np.any(scan.evaluation.answered):
        raise NoSolutionError(
            f"no setting has an operating point: {scan.evaluation.reasons.listed()[-1]}"
        )
    if not np.any(np.isfinite(scan.merit)):
        scan = _approach(space, scan)
    if not np.any(np.isfinite(scan.merit)):
        return _nothing(space, scan)
    return _answer(space, *_narrow(space, _starts(scan)))


def _lattice(count: int, inputs: int) -> np.ndarray:
    sides = np.meshgrid(*[np.linspace(0, 1, count)] * inputs, indexing="ij")
    return np.stack([side.ravel() for side in sides], axis=1)


def _scan(space: Space) -> Tried:
    inputs = len(space.addresses)
    place = _lattice(FIRST[inputs], inputs)
    present = space.start()
    return space.tried(place if present is None else np.vstack([place, present]))


def _approach(space: Space, scan: Tried) -> Tried:
    """Search where the smallest margin is largest, as nothing scanned meets everything."""
    inputs = len(space.addresses)
    half = 1.5 / (FIRST[inputs] - 1)
    for _ in range(ROUNDS):
        worst = np.where(np.isnan(scan.evaluation.worst), -np.inf, scan.evaluation.worst)
        if np.any(np.isfinite(scan.merit)) or half < SMALLEST:
            return scan
        centre = scan.place[int(np.argmax(worst))]
        scan = space.tried(_box(centre, half, inputs))
        half *= SHRINK[inputs]
    return scan


def _box(centre, half: float, inputs: int) -> np.ndarray:
    box = centre + half * (2 * _lattice(LATER[inputs], inputs) - 1)
    return np.vstack([centre[None], np.clip(box, 0, 1)])


def _starts(scan: Tried) -> np.ndarray:
    """Return the best places of the scan that lie well apart."""
    found: list[np.ndarray] = []
    for n in np.argsort(-scan.merit):
        if not np.isfinite(scan.merit[n]) or len(found) == STARTS:
            break
        if all(np.max(np.abs(scan.place[n] - other)) > 0.15 for other in found):
            found.append(scan.place[n])
    return np.array(found)


def _narrow(space: Space, centres: np.ndarray) -> tuple[np.ndarray, float]:
    """Return the best place around any of the starts, and its merit; all are tried together."""
    inputs = len(space.addresses)
    half = np.full(len(centres), 1.5 / (FIRST[inputs] - 1))
    merit = np.full(len(centres), -np.inf)
    for _ in range(ROUNDS):
        rest = np.flatnonzero(half >= SMALLEST)
        if not rest.size:
            break
        boxes = np.array([_box(centres[n], half[n], inputs) for n in rest])
        worth = space.tried(boxes.reshape(-1, inputs)).merit.reshape(rest.size, -1)
        best = np.argmax(worth, axis=1)
        found, here = boxes[np.arange(rest.size), best], half[rest]
        near = np.max(np.abs(found - centres[rest]), axis=1) < 0.9 * here
        centres[rest], merit[rest] = found, np.max(worth, axis=1)
        half[rest] = np.where(near, SHRINK[inputs] * here, here)
    first = int(np.argmax(merit))
    return centres[first], float(merit[first])


def _polish(space: Space, place) -> np.ndarray:
    """Move along the limits to the exact corner or contact point."""
    from scipy.optimize import minimize

    inputs = len(space.addresses)
    scale = max(abs(float(space.objective(space.evaluate(place[None]))[0])), 1e-300)
    memory: dict[bytes, tuple] = {}

    def around(u):
        key = u.tobytes()
        if key not in memory:
            steps = np.where(u + STEP > 1, -STEP, STEP)
            found = space.evaluate(np.clip(np.vstack([u, u + np.diag(steps)]), 0, 1))
            value = np.nan_to_num(space.objective(found) / scale, nan=-10.0)
            margin = np.clip(np.nan_to_num(found.margins, nan=-10.0), -10.0, 10.0)
            memory[key] = (
                -value[0],
                -(value[1:] - value[0]) / steps,
                margin[:, 0],
                (margin[:, 1:] - margin[:, :1]) / steps,
            )
        return memory[key]

    result = minimize(
        lambda u: around(u)[0],
        place,
        jac=lambda u: around(u)[1],
        method="SLSQP",
        bounds=[(0, 1)] * inputs,
        options={"maxiter": 60, "ftol": 1e-13},
        constraints={"type": "ineq", "fun": lambda u: around(u)[2], "jac": lambda u: around(u)[3]},
    )
    return np.clip(result.x, 0, 1)


def _answer(space: Space, place, scanned: float) -> Optimum:
    inputs = len(space.addresses)
    candidates = [place, _polish(space, place)]
    best = _better(space, candidates)
    check = space.tried(_box(best, CHECK, inputs))
    again = check.place[int(np.argmax(check.merit))]
    if np.any(again != best):
        best = _better(space, [best, again, _polish(space, again)])
    final = space.tried(best[None])
    value = float(final.merit[0])
    # the scan and the polish are two ways to one answer; their difference is what is known
    tolerance = max(abs(value - scanned) / max(abs(value), 1e-300), 1e-9)
    points = FIRST[inputs] ** inputs
    how = (
        f"difference between the narrowed scan and the polished answer; {points} settings were "
        "scanned, so a better one that is good only in a narrow place may exist"
    )
    binding = [
        r
        for r, margin in zip(
            final.evaluation.requirements, final.evaluation.margins[:, 0], strict=True
        )
        if margin < BINDS
    ]
    settings = {address: float(v[0]) for address, v in space.inputs(best[None]).items()}
    kinds = {**space.kinds, **final.evaluation.quantities}
    at_end = [
        a
        for a, share in zip(space.addresses, best, strict=True)
        if min(share, 1 - share) < SMALLEST
    ]
    sign = 1.0 if space.sense == "largest" else -1.0
    return Optimum(
        settings,
        kinds,
        space.sense,
        space.best,
        sign * value,
        binding,
        at_end,
        None,
        tolerance,
        how,
        space.conditions.remark(space.case, settings),
    )


def _better(space: Space, places) -> np.ndarray:
    tried = space.tried(np.array(places))
    return tried.place[int(np.argmax(tried.merit))]


def _nothing(space: Space, scan: Tried) -> Optimum:
    worst = np.where(np.isnan(scan.evaluation.worst), -np.inf, scan.evaluation.worst)
    n = int(np.argmax(worst))
    settings = {a: float(v[0]) for a, v in space.inputs(scan.place[n][None]).items()}
    nearest = Nearest(settings, float(worst[n]), scan.evaluation.binding(n))
    return Optimum(
        {},
        {**space.kinds, **scan.evaluation.quantities},
        space.sense,
        space.best,
        None,
        [],
        [],
        nearest,
        0.0,
        "nothing scanned meets everything",
        Remark((), ()),
    )
