"""Which dials a page keeps where every solve is dear; expected orders by hand."""

from __future__ import annotations

import numpy as np

from treatsim.studies.carried_needs import by_movement
from treatsim.studies.dials import Dial
from treatsim.studies.observed import GOOD, spread_points
from treatsim.studies.scattered import POINTS_A_TERM, scatter, through
from treatsim.studies.thrift import DEAR, FREE, narrowed

DIALS = tuple(Dial(name, name, "factor", 0.0, 2.0, 1.0, False) for name in ("a", "b", "c", "d"))


class Stand:
    """Numbers that are known functions of four dials, in place of a train."""

    thrift = DEAR

    def look(self, points, more=()):
        a, b, c, d = (points[name] for name in "abcd")
        wild = np.where(d > 1.5, np.nan, a)  # no answer where d stands high
        steep = 50.0 * c  # counts as 1, however steep
        return {"one": 0.1 * a + 0.4 * b, "two": steep, "three": wild, GOOD: np.ones(a.size)}


def test_dials_stand_by_what_they_move_each_number_counted_up_to_its_size():
    # a: 0.2 / 10 + 2 / 10; b: 0.8 / 10; c: 1 at most; d: no number at an end, counts 1
    order = by_movement(Stand(), DIALS, {"one": 10.0, "two": 10.0, "three": 10.0})
    assert [dial.address for dial in order] == ["c", "d", "a", "b"]


def test_a_series_through_scattered_points_is_the_polynomial_they_lie_on():
    """Numpy's own Chebyshev polynomials are the reference: 3 + T2(a) T1(b) - T3(b)."""
    ranges = {"a": (0.0, 2.0), "b": (0.0, 2.0)}

    def truth(points):
        a, b = (points[name] - 1.0 for name in "ab")
        t2, t3 = (np.polynomial.chebyshev.Chebyshev.basis(n) for n in (2, 3))
        return 3.0 + t2(a) * b - t3(b)

    seen = scatter(DIALS[:2], 120)
    found = through(ranges, [3, 4], seen, truth(seen), 1.0)
    other = spread_points(DIALS[:2], 50, 1000)
    assert np.allclose(found(other)["part"], truth(other), atol=1e-10)
    assert found.orders.shape[0] == 3  # terms of no weight are left out
    assert np.isnan(found({"a": 2.1, "b": 1.0})["part"])
    nothing = through(ranges, [3, 4], seen, 1e-9 * truth(seen), 1.0)  # next to its size
    assert np.all(nothing(other)["part"] == 0.0)


def test_more_terms_than_the_points_bear_are_not_asked_for():
    seen = scatter(DIALS, 60)
    ranges = dict.fromkeys("abcd", (0.0, 2.0))
    found = through(ranges, [9, 9, 9, 9], seen, np.exp(seen["a"] * seen["b"]), 1.0)
    assert found.orders.shape[0] <= 60 / POINTS_A_TERM


def test_ranges_are_drawn_in_around_where_a_dial_stands():
    dial = Dial("x", "x", "factor", 2.0, 10.0, 4.0, False)
    (half,) = narrowed([dial], DEAR)
    assert (half.low, half.now, half.high) == (3.0, 4.0, 7.0)
    assert narrowed([dial], FREE) == (dial,)
