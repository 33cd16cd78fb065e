"""Which dials a page keeps where every solve is dear; expected orders by hand."""

from __future__ import annotations

import numpy as np

from treatsim.studies import carried
from treatsim.studies.carried_fit import Shape
from treatsim.studies.carried_needs import by_movement
from treatsim.studies.dials import Dial
from treatsim.studies.observed import GOOD
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


def test_the_dial_that_moves_least_is_left_out_where_nodes_are_too_many(monkeypatch):
    def shapes(observer, dials, sizes):
        axes = tuple(dial.address for dial in dials)
        spans = tuple((dial.low, dial.high) for dial in dials)
        shape = Shape(axes, spans, (5,) * len(dials), ("one",), False, False)
        return tuple(dials), {"one": shape}, {}

    class Few(Stand):
        thrift = DEAR._replace(nodes=130)

    class Turned(Few):
        def look(self, points, more=()):
            return super().look({d.address: points.get(d.address, np.ones(1)) for d in DIALS})

    monkeypatch.setattr(carried, "shapes", shapes)
    sizes = {"one": 10.0, "two": 10.0, "three": 10.0}
    kept, left, planned, _ = carried._planned(Turned(), DIALS, sizes)
    assert [dial.address for dial in left] == ["b"]  # 625 nodes; 125 without it
    assert [dial.address for dial in kept] == ["a", "c", "d"]
    assert planned["one"].axes == ("a", "c", "d")


def test_ranges_are_drawn_in_around_where_a_dial_stands():
    dial = Dial("x", "x", "factor", 2.0, 10.0, 4.0, False)
    (half,) = narrowed([dial], DEAR)
    assert (half.low, half.now, half.high) == (3.0, 4.0, 7.0)
    assert narrowed([dial], FREE) == (dial,)
