"""The march compiled for many points: the very equations of the kernel, LANES points abreast.

Loaded only with `vessel_kept`; numbers lie as `vessel_lanes` tells. A point that needs short steps
leaves its lane when it is done and another takes its place, so that no answer depends on the
company.
"""

from __future__ import annotations

import numpy as np

from treatsim.correlations.ro.vessel_inlet import MAX_NEWTON
from treatsim.correlations.ro.vessel_kernel import LOG_DRY
from treatsim.correlations.ro.vessel_lanes import (
    CEILING,
    DONE,
    ESTIMATE,
    FLOOR,
    HIGH,
    LANES,
    LAST_RATES,
    LOW,
    OFF,
    RATES,
    ROWS,
    SPARE,
    STATE,
    STEP,
    TRIAL,
    compiled,
    estimated,
    first_guess,
    growth,
    inside,
    newton_step,
    problem_of,
    slopes,
)
from treatsim.correlations.ro.vessel_lanes import OPERATIONS as XP
from treatsim.correlations.ro.vessel_step import (
    A2,
    A3,
    A4,
    A5,
    A6,
    CONCENTRATE_BELOW_PERMEATE,
    DRY_OUT,
    ERROR,
    LEAST_PUSH,
    MAX_STEPS,
    NOT_CONVERGED,
    ORDER_5,
    SHORT,
)


@compiled
def _slopes_at_trial(b, ends, correct, to):
    """Slopes at the trial state, into the rows from `to` on; corrections too if asked."""
    L = LANES
    for i in range(L):
        p, at = problem_of(b, i, ends), TRIAL * L + i
        y, m, P, J, beta, J_off, beta_off = slopes(
            XP, p, b[at], b[at + L], b[at + 2 * L], b[at + 3 * L], b[at + 4 * L], correct
        )
        row = SPARE * L + i  # rows that no stage reads
        b[row], b[row + L], b[row + 2 * L], b[row + 3 * L], b[row + 4 * L] = y, m, P, J, beta
        b[OFF * L + i], b[(OFF + 1) * L + i] = J_off, beta_off
    _copied(b, SPARE, to)


@inside
def _copied(b, five, to):
    for i in range(5 * LANES):
        b[to * LANES + i] = b[five * LANES + i]


@compiled
def _slopes_at_state(b, ends):
    """Slopes at the state, into the spare rows."""
    _copied(b, STATE, TRIAL)
    _slopes_at_trial(b, ends, False, SPARE)


def _blend(weights):
    """Return a function for the weighted sum of the slopes of the first stages."""
    stages = len(weights)

    @inside
    def blended(b, to):
        for i in range(5 * LANES):
            value = weights[0] * b[RATES * LANES + i]
            for stage in range(1, stages):
                value += weights[stage] * b[(RATES + 5 * stage) * LANES + i]
            b[to * LANES + i] = value

    return blended


_sum1, _sum2, _sum3, _sum4, _sum5, _sum6 = map(_blend, (A2, A3, A4, A5, A6, ORDER_5))
_error = _blend(ERROR)


@inside
def _ahead(b):
    """From the summed slopes in the trial rows to the state they lead to."""
    L = LANES
    for k in range(5):
        for i in range(L):
            change = b[(TRIAL + k) * L + i] * b[STEP * L + i]
            b[(TRIAL + k) * L + i] = change + b[(STATE + k) * L + i]


@compiled
def _step(b, ends):
    """Take a step from the state: the trial rows hold where it leads, with its estimate."""
    L = LANES
    _sum1(b, TRIAL)
    _ahead(b)
    _slopes_at_trial(b, ends, False, RATES + 5)
    _sum2(b, TRIAL)
    _ahead(b)
    _slopes_at_trial(b, ends, False, RATES + 10)
    _sum3(b, TRIAL)
    _ahead(b)
    _slopes_at_trial(b, ends, False, RATES + 15)
    _sum4(b, TRIAL)
    _ahead(b)
    _slopes_at_trial(b, ends, False, RATES + 20)
    _sum5(b, TRIAL)
    _ahead(b)
    _slopes_at_trial(b, ends, False, RATES + 25)
    _sum6(b, TRIAL)
    _ahead(b)
    _slopes_at_trial(b, ends, True, LAST_RATES)
    _error(b, SPARE)
    for i in range(L):
        w, t = SPARE * L + i, TRIAL * L + i
        error = b[w], b[w + L], b[w + 2 * L], b[w + 3 * L], b[w + 4 * L]
        new = b[t], b[t + L], b[t + 2 * L], b[t + 3 * L], b[t + 4 * L]
        b[ESTIMATE * L + i] = estimated(XP, b[STEP * L + i], error, new, b[STATE * L + i])
    for i in range(2 * L):
        b[(TRIAL + 3) * L + i] += b[OFF * L + i]


@compiled
def _inlet(b, ends):
    """Find flux and density ratio at the inlet; the state holds the pressure."""
    L = LANES
    for i in range(L):
        p = problem_of(b, i, ends)
        over = XP.maximum(b[(STATE + 2) * L + i] - p.permeate_pressure, LEAST_PUSH)
        start = over + p.permeate_pressure
        b[STATE * L + i] = b[(STATE + 1) * L + i] = b[LOW * L + i] = b[DONE * L + i] = 0.0
        b[(STATE + 2) * L + i] = start
        J, ceiling, floor = first_guess(XP, p, start)
        b[CEILING * L + i] = b[HIGH * L + i] = ceiling
        b[(STATE + 3) * L + i], b[(STATE + 4) * L + i], b[FLOOR * L + i] = J, 1.0, floor
    for _ in range(MAX_NEWTON):
        left = 0.0
        for i in range(L):
            j, beta = (STATE + 3) * L + i, (STATE + 4) * L + i
            state = b[j], b[beta], b[LOW * L + i], b[HIGH * L + i]
            p, done = problem_of(b, i, ends), b[DONE * L + i] > 0
            limits = b[CEILING * L + i], b[FLOOR * L + i]
            found = slopes(XP, p, 0.0, 0.0, b[(STATE + 2) * L + i], state[0], state[1], True)
            off = found[5], found[6]
            J, ratio, low, high, still = newton_step(XP, state, limits, off)
            b[j], b[beta] = state[0] if done else J, state[1] if done else ratio
            b[LOW * L + i], b[HIGH * L + i] = low, high
            b[DONE * L + i] = 1.0 if done | still else 0.0
        for i in range(L):
            left += 1.0 - b[DONE * L + i]
        if left == 0.0:
            break


@compiled
def _whole_elements(b, ends, job, nodes, estimate):
    """One step per element for all points; `estimate` is that of each element."""
    fixed, pressure = job
    points, L = pressure.size, LANES
    for start in range(0, points, L):
        last = min(L, points - start)
        for row in range(STATE):
            for lane in range(L):  # spare lanes of the last round repeat its last point
                b[row * L + lane] = fixed[row, start + min(lane, last - 1)]
        for lane in range(L):
            b[(STATE + 2) * L + lane] = pressure[start + min(lane, last - 1)]
            b[STEP * L + lane] = 1.0
        _inlet(b, ends)
        _slopes_at_state(b, ends)
        _copied(b, SPARE, RATES)
        for k in range(5):
            for lane in range(last):
                nodes[0, k, start + lane] = b[(STATE + k) * L + lane]
        for element in range(nodes.shape[0] - 1):
            _step(b, ends)
            _copied(b, TRIAL, STATE)
            _copied(b, LAST_RATES, RATES)
            for k in range(5):
                for lane in range(last):
                    nodes[element + 1, k, start + lane] = b[(STATE + k) * L + lane]
            for lane in range(last):
                estimate[element, start + lane] = b[ESTIMATE * L + lane]


@inside
def _filled(nodes, point, state, friction, place, target):
    """From `place` on no water is removed: friction alone, to the next node and all others."""
    for node in range(target, nodes.shape[0]):
        for k in range(5):
            nodes[node, k, point] = state[k]
        nodes[node, 2, point] += friction * (node - place)
        nodes[node, 3, point] = 0.0


@compiled
def _moved(b, lane, walk, tolerance, path):
    """Digest the step of one lane; returns whether its point is at its end.

    `walk` is the lane's place, next node, step, and count of steps; `path` the nodes, worst
    estimate and status of all points, and which is here.
    """
    nodes, worst, status, point = path
    L = LANES
    estimate, h = b[ESTIMATE * L + lane], b[STEP * L + lane]
    left, target = walk[1] - walk[0], int(walk[1])
    dry = b[TRIAL * L + lane] <= LOG_DRY
    weak = b[(TRIAL + 2) * L + lane] <= b[3 * L + lane]
    good = estimate <= tolerance
    ended = (dry or weak) and (good or h <= SHORT)
    if good and not ended:
        worst[point] = max(worst[point], estimate)
        for k in range(5):
            b[(STATE + k) * L + lane] = b[(TRIAL + k) * L + lane]
            b[(RATES + k) * L + lane] = b[(LAST_RATES + k) * L + lane]
        walk[0] = target if h >= left else walk[0] + h
        if h >= left:
            for k in range(5):
                nodes[target, k, point] = b[(STATE + k) * L + lane]
            walk[1] += 1
    walk[2], walk[3] = h * growth(XP, estimate, tolerance), walk[3] + 1
    if walk[1] >= nodes.shape[0]:
        return True
    if not ended and walk[3] < MAX_STEPS:
        return False
    status[point] = NOT_CONVERGED
    if ended:
        status[point] = DRY_OUT if dry else CONCENTRATE_BELOW_PERMEATE
    row, ahead = (TRIAL, h) if ended and good else (STATE, 0.0)
    state = b.reshape(ROWS, L)[row : row + 5, lane]
    friction = b[(RATES + 2) * L + lane]
    _filled(nodes, point, state, friction, walk[0] + ahead, int(walk[1]))
    return True


@compiled
def _boarded(b, ends, job, owner, walks, waiting):
    """Let free lanes go on with the points that wait, each from its own node, by short steps."""
    fixed, nodes, starts = job
    bad, firsts, following = waiting
    L = LANES
    new = np.zeros(L, np.bool_)
    for lane in range(L):
        if owner[lane] < 0 and following < bad.size:
            point, start = bad[following], starts[following]
            for row in range(STATE):
                b[row * L + lane] = fixed[row, point]
            for k in range(5):
                b[(STATE + k) * L + lane] = nodes[start, k, point]
            walks[lane, 0], walks[lane, 1] = start, start + 1
            walks[lane, 2], walks[lane, 3] = firsts[following], 0
            owner[lane], new[lane], following = point, True, following + 1
    if new.any():
        _slopes_at_state(b, ends)
        for lane in range(L):
            if new[lane]:
                for k in range(5):
                    b[(RATES + k) * L + lane] = b[(SPARE + k) * L + lane]
    return following


@compiled
def _short_steps(b, ends, job, waiting, tolerance, path):
    """March the points that wait, each at its own pace from its own element."""
    (fixed, starts), (bad, firsts) = job, waiting
    nodes, worst, status = path
    walks, owner, following = np.zeros((LANES, 4)), np.full(LANES, -1), 0
    while True:
        following = _boarded(
            b, ends, (fixed, nodes, starts), owner, walks, (bad, firsts, following)
        )
        if owner.max() < 0:
            break
        for lane in range(LANES):
            b[STEP * LANES + lane] = min(walks[lane, 2], walks[lane, 1] - walks[lane, 0])
        _step(b, ends)
        for lane in range(LANES):
            if owner[lane] >= 0 and _moved(
                b, lane, walks[lane], tolerance, (nodes, worst, status, owner[lane])
            ):
                owner[lane] = -1


def drive(fixed, pressure, ends, tolerance, nodes):
    """March all points; `vessel_kept` has it compiled.

    Parameters
    ----------
    fixed : ndarray, shape (STATE, N)
        What is fixed of each point, see `packed`. [various]
    pressure : ndarray, shape (N,)
        Feed pressure. [Pa]
    ends : tuple
        Numbers of the problem that all points share. [kg/kg], [1], [1]
    tolerance : float
        Largest relative error estimate of one step. [1]
    nodes : ndarray, shape (elements + 1, 5, N)
        To be filled. [1], [kg/kg], [Pa], [m/s], [1]

    Returns
    -------
    tuple
        Largest accepted estimate and status of each point. [1]

    Validity
    --------
    As `vessel_march.march`.

    Source
    ------
    dormand_prince_1980
    """
    points = pressure.size
    b, estimate = np.zeros(ROWS * LANES), np.empty((nodes.shape[0] - 1, points))
    worst, status = np.zeros(points), np.zeros(points, np.int64)
    bad, starts = np.empty(points, np.int64), np.empty(points, np.int64)
    firsts = np.empty(points)
    _whole_elements(b, ends, (fixed, pressure), nodes, estimate)
    count = 0
    for point in range(points):
        for element in range(estimate.shape[0]):
            if not estimate[element, point] <= tolerance:
                bad[count], starts[count] = point, element
                firsts[count] = growth(XP, estimate[element, point], tolerance)
                count += 1
                break
            worst[point] = max(worst[point], estimate[element, point])
    job, waiting = (fixed, starts[:count]), (bad[:count], firsts[:count])
    _short_steps(b, ends, job, waiting, tolerance, (nodes, worst, status))
    return worst, status
