"""Looking over a range finds what a root finder has missed, and nothing that is not there."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.flowsheet.nearest import look_around

LOW, HIGH, FTOL = 0.0, 10.0, 1e-10
ALL = np.arange(2)


def looked(functions, closely=True, known=None, points=None):
    """One function for each point, started from the lower end."""
    calls = []

    def miss(x, index):
        calls.append(x.size)
        return np.array([functions[i](value) for value, i in zip(x, index, strict=True)])

    points = np.arange(len(functions)) if points is None else points
    start = np.full(points.size, LOW)
    best = miss(start, points)
    known = np.array([start, best, np.full(points.size, 5.0)]) if known is None else known
    return look_around(miss, points, known, (LOW, HIGH), FTOL, closely), sum(calls)


@pytest.mark.parametrize("root", [0.01, 0.3, 3.3, 7.77, 9.99])
def test_a_change_of_sign_is_followed_to_its_root(root):
    rising, falling = (lambda x: x**3 - root**3), (lambda x: np.sqrt(root) - np.sqrt(x))
    found, _ = looked([rising, falling], closely=False)
    assert abs(rising(found[0])) <= FTOL  # the tolerance is one of the miss, not of the setting
    assert abs(falling(found[1])) <= FTOL


def test_a_narrow_answer_between_gaps_is_found():
    """Nothing runs below 4.2 or above 4.8; within, the root is 4.5."""
    found, _ = looked([lambda x: x - 4.5 if 4.2 < x < 4.8 else np.nan] * 2)
    assert_allclose(found, 4.5, rtol=1e-9)


def test_of_several_roots_the_one_nearest_to_what_is_known_is_taken():
    roots = (2.2, 4.7, 8.1)
    known = np.array([[4.6, 8.0], [9.0, 9.0], [4.6, 8.0]])
    found, _ = looked([lambda x: (x - roots[0]) * (x - roots[1]) * (x - roots[2])] * 2, known=known)
    assert_allclose(found, [4.7, 8.1], rtol=1e-9)


def test_a_jump_over_zero_is_no_root_and_a_root_behind_it_is_found():
    """The pole at 5 changes sign without a zero; the zero lies at 7."""
    found, _ = looked([lambda x: (x - 7.0) / (x - 5.0 - 1e-7)] * 2)
    assert_allclose(found, 7.0, rtol=1e-9)


def test_what_only_touches_is_approached_if_asked():
    """Least of (x - 6.1)^2 + 0.2: no root. Six rounds to a quarter each leave 10/12 / 4^6."""
    function = lambda x: (x - 6.1) ** 2 + 0.2  # noqa: E731
    near, many = looked([function] * 2, closely=True)
    rough, few = looked([function] * 2, closely=False)
    assert np.all(np.abs(near - 6.1) < 10 / 12 / 4**5)
    assert np.all(np.abs(rough - 6.1) <= 10 / 24)
    assert many > 2 * few


def test_where_nothing_runs_what_was_known_stays():
    found, _ = looked([lambda x: np.nan] * 2)
    assert_array_equal(found, [LOW, LOW])


def test_a_point_that_is_met_is_left_alone():
    known = np.array([[5.0, 1.0], [0.0, -4.0], [5.0, 1.0]])
    found, _ = looked([lambda x: x - 5.0] * 2, known=known)
    assert found[0] == 5.0
    assert_allclose(found[1], 5.0, rtol=1e-9)


def test_every_point_is_asked_by_its_own_number():
    found, _ = looked([lambda x: x - 1.3, lambda x: x - 2.6, lambda x: x - 8.9],
                      points=np.array([2, 0]))  # fmt: skip
    assert_allclose(found, [8.9, 1.3], rtol=1e-9)


def test_the_surroundings_of_each_guess_are_looked_at():
    """Windows of a fiftieth of the range that lie between the even settings, 8 % off the guess."""
    windows = ((2.1, 1.95), (7.1, 6.6))
    rows = [lambda x, r=root: x - r if r - 0.1 < x < r + 0.1 else np.nan for root, _ in windows]
    known = np.array([[LOW, LOW], [np.nan, np.nan], [guess for _, guess in windows]])
    found, _ = looked(rows, known=known)
    assert np.all(np.abs(found - [2.1, 7.1]) < 0.1)


def test_jumps_are_given_up_one_by_one_and_the_root_behind_them_is_found():
    found, _ = looked([lambda x: (x - 9.3) / ((x - 2.0001) * (x - 5.0001))] * 2)
    assert_allclose(found, 9.3, rtol=1e-9)


def test_the_range_is_never_left():
    seen = []

    def miss(x, index):
        seen.extend([x.min(), x.max()])
        return x + 1.0

    known = np.array([[LOW], [1.0], [HIGH]])  # half as much again as the guess lies outside
    found = look_around(miss, np.array([0]), known, (LOW, HIGH), FTOL, True)
    assert found[0] == LOW
    assert min(seen) >= LOW
    assert max(seen) <= HIGH
