"""Numbers that jump, composed of smooth ones: ends by hand, and the rules of judging against trees.

Reference of a tree is the rule itself, at the same readings.
"""

from __future__ import annotations

import numpy as np
import pytest
from command import ROOT

from treatsim import cases
from treatsim.operations.composed import names_in, span_of
from treatsim.safety.verdict import judge
from treatsim.studies.dials import dials
from treatsim.studies.observed import spread_points

STEPS = ["steps", "x", [1.0, 2.0], [0.0, 3.0, 4.0]]


def ends(tree, **reads):
    return tuple(float(end) for end in span_of(tree, {n: np.array(r) for n, r in reads.items()}))


@pytest.mark.parametrize(
    ("tree", "x", "expected"),
    [
        (STEPS, (0.5, 0.9), (0.0, 0.0)),
        (STEPS, (0.9, 1.1), (0.0, 3.0)),  # a step lies between the ends: either may be true
        (STEPS, (0.9, 2.1), (0.0, 4.0)),
        (STEPS, (1.0, 1.0), (3.0, 3.0)),  # on a bound it is reached
        (["upto", "x", 5.0, 1.0, 0.0], (5.0, 5.0), (1.0, 1.0)),
        (["upto", "x", 5.0, 1.0, 0.0], (4.9, 5.1), (0.0, 1.0)),
        (["less", 3.0, "x"], (1.0, 2.0), (1.0, 2.0)),
        (["over", 6.0, "x"], (2.0, 3.0), (2.0, 3.0)),
        (["most", 0.0, ["less", 1.0, "x"]], (0.5, 2.0), (0.0, 0.5)),
        (["times", 2.0, ["least", "x", 2.0]], (1.0, 3.0), (2.0, 4.0)),
        (["log10", "x"], (10.0, 100.0), (1.0, 2.0)),
        # a tenth passes untreated: survival 0.9 x 0.01 + 0.1 and 0.9 x 0.0001 + 0.1
        (["mixed", "x", 0.1], (2.0, 4.0), (-np.log10(0.109), -np.log10(0.10009))),
    ],
)
def test_ends_lead_to_ends(tree, x, expected):
    assert ends(tree, x=x) == pytest.approx(expected, rel=1e-12)


def test_what_is_not_known_stays_unknown():
    assert np.all(np.isnan(ends(STEPS, x=(np.nan, np.nan))))
    assert names_in(["sum", STEPS, ["over", "y", "z"]]) == {"x", "y", "z"}


@pytest.mark.parametrize("name", ["river_chlorine", "river", "sea", "brackish_well", "small_unit"])
def test_trees_give_what_the_rules_give(name):
    case = cases.load(ROOT / f"cases/{name}.toml")
    turned = dials(case, judge(case.solve()))
    verdict = judge(case.solve(spread_points(turned, 300)))
    good = verdict.result.solved
    stepped = [name for name in verdict.composed if name.startswith("health.")]
    assert name != "river_chlorine" or len(stepped) == 4
    for address, one in verdict.composed.items():
        reads = {n: np.broadcast_to(v.value, good.shape) for n, v in one.reads.items()}
        low, high = span_of(one.tree, {n: (row, row) for n, row in reads.items()})
        owner, _, which = address.partition(" ")
        limits = [limit.limit for limit in verdict.limits if limit.address == owner]
        truth = limits[0] if which else verdict.value(owner).value
        told, truth = (np.broadcast_to(row, good.shape)[good] for row in (low, truth))
        assert np.allclose(told, truth, rtol=1e-12, atol=1e-12), address
        assert np.array_equal(low, high), address


def test_a_validated_flow_that_differs_between_points_makes_no_tree():
    """The tree of one point would promise the flow of another."""
    case = cases.load(ROOT / "cases/river.toml")
    for flows, told in ((np.array([2e-3, 2e-3]), True), (np.array([1e-3, 3e-3]), False)):
        verdict = judge(case.solve({"health.uv_validated_flow": flows}))
        assert ("uv.largest_flow" in verdict.composed) is told
