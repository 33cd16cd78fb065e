"""The batched root finder: brackets, first slopes, points without an answer."""

import numpy as np
import pytest

from treatsim.numerics import find_roots


def test_a_known_first_slope_saves_evaluations_and_cannot_spoil_the_answer():
    rng = np.random.default_rng(1)
    target = rng.uniform(0.5, 20.0, 500)

    def cubic(x, i):
        return x**3 + x - target[i]

    guess = np.cbrt(target) * 0.9
    exact = find_roots(cubic, guess, 0.0, 10.0)
    assert exact.converged.all()
    assert np.all(np.abs(exact.residual) < 1e-10)
    for slope in (3 * guess**2 + 1, 1e-9, -1.0, 0.0, np.inf, np.nan):
        found = find_roots(cubic, guess, 0.0, 10.0, slope=slope)
        assert found.converged.all()
        np.testing.assert_allclose(found.x, exact.x, rtol=1e-11, atol=0)
    known = find_roots(cubic, guess, 0.0, 10.0, slope=3 * guess**2 + 1)
    assert known.evaluations < exact.evaluations


def test_points_without_a_root_do_not_spoil_their_neighbours():
    def square(x, i):
        return x**2 + np.array([1.0, -2.0, -3.0])[i]

    found = find_roots(square, 1.0 + np.zeros(3), 0.0, 5.0)
    assert found.converged.tolist() == [False, True, True]
    np.testing.assert_allclose(found.x[1:], np.sqrt([2.0, 3.0]), rtol=1e-12, atol=0)


def test_steep_functions_and_missing_values():
    def steep(x, i):
        return np.where(x > 4.0, np.nan, np.tanh(1e3 * (x - 1.7)))

    found = find_roots(steep, np.array([0.1, 3.0, 1.8]), 0.0, 5.0)
    assert found.converged.all()
    np.testing.assert_allclose(found.x, 1.7, rtol=1e-11, atol=0)


def test_a_jump_over_zero_is_no_root():
    """A step, and a step beside a slope; the third crosses zero however steeply."""

    def f(x, i):
        y = x - np.sqrt(3)
        return np.choose(i, [np.where(y < 0, -0.3, 0.2), x - 3 + 4 * (y > 0), 1e9 * y])

    for guess in (0.1, 1.73, 1.7320509, 4.9):
        found = find_roots(f, np.full(3, guess), 0.0, 5.0)
        assert found.converged.tolist() == [False, False, True]
        assert np.all(np.abs(found.residual[:2]) > 0.1)
        np.testing.assert_allclose(found.x[2], np.sqrt(3), rtol=1e-11, atol=0)


def test_roots_of_every_order_are_still_roots():
    """The residuals at the ends of a bracket may come together slowly."""

    def f(x, i):
        y = x - np.sqrt(2)
        return np.choose(i, [np.cbrt(y), np.sign(y) * np.abs(y) ** 0.5, y, np.tanh(1e6 * y)])

    found = find_roots(f, np.array([0.3, 0.7, 4.0, 1.0]), 0.0, 5.0)
    assert found.converged.all()
    np.testing.assert_allclose(found.x, np.sqrt(2), rtol=1e-11, atol=0)


FUNCTIONS = (
    lambda x, a, b, c: np.tanh(3 * a * x + b) + 0.1 * c,
    lambda x, a, b, c: x**3 - a,
    lambda x, a, b, c: np.where(x > b, np.nan, x - a),  # no answer beyond b
    lambda x, a, b, c: np.where(x > a, 1.0, -1.0),  # a jump
    lambda x, a, b, c: np.full_like(x, c),  # no root
    lambda x, a, b, c: np.where(np.abs(x - b) < 0.5, x - b, np.nan),
    lambda x, a, b, c: np.sign(x - a) * np.sqrt(np.abs(x - a)),  # vertical at its root
)


@pytest.mark.parametrize("function", FUNCTIONS)
def test_one_point_takes_the_steps_of_many(function):
    """A lone point goes over floats; beside another one it goes over arrays."""
    rng = np.random.default_rng(3)
    for _ in range(60):
        values, guess = rng.normal(size=3), rng.uniform(-3, 3)
        slope = rng.choice([np.nan, 0.0, rng.normal()])
        known = {"slope": slope, "patience": int(rng.choice([2, 100]))}

        def residual(x, index, values=values):
            return function(x, *values)

        with np.errstate(all="ignore"):
            alone, both = (
                find_roots(residual, [guess] * n, -3, 3, rtol=1e-13, ftol=1e-12, **known)
                for n in (1, 2)
            )
        assert alone.x[0] == both.x[0]
        assert alone.converged[0] == both.converged[0]
        assert alone.steps == both.steps
