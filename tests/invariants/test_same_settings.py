"""The same settings give the same answer: alone, among others, in another order.

To 1e-9 of the largest number of the same quantity in the answer, the tolerance that the solver
states of its balances: a pressure that is nothing but round-off is compared with the pressures it
came from. No outside source.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from command import ROOT
from hypothesis import given, settings
from hypothesis import strategies as st

from treatsim import cases, operations
from treatsim.safety.verdict import judge

SAME = 1e-9
AROUND = st.floats(0.8, 1.1, allow_nan=False)  # of what stands in the case


@cache
def loaded(name: str):
    return cases.load(ROOT / "cases" / f"{name}.toml")


def dials(name: str) -> list[str]:
    """Inputs of a case that its kinds call dials, with the water's temperature."""
    case = loaded(name)
    held = {hold.adjust for hold in case.holds}
    found = [
        f"{unit}.{field}"
        for unit, kind in case.kinds.items()
        for field in operations.unit_class(kind).dials
        if getattr(case.parameters[unit], field, None) is not None
    ]
    return [*[address for address in found if address not in held], "water.temperature"]


CASES = sorted(path.stem for path in (ROOT / "cases").glob("*.toml"))


def values_at(result, point: int) -> dict[str, tuple[float, str]]:
    """Every result at one point, with its quantity."""
    return {
        address: (float(np.broadcast_to(np.asarray(v.value, float), (result.points,))[point]),
                  v.quantity)
        for address, v in result.values.items()
    }  # fmt: skip


def check_same(one, point: int, other, place: int) -> None:
    """Assert that two results agree, each number on the scale of its quantity."""
    assert one.solved[point] == other.solved[place]
    if not one.solved[point]:
        return
    first, second = values_at(one, point), values_at(other, place)
    assert first.keys() == second.keys()
    scale: dict[str, float] = {}
    for value, quantity in first.values():
        scale[quantity] = max(scale.get(quantity, 0.0), abs(value))
    for address, (value, quantity) in first.items():
        off = abs(value - second[address][0])
        assert off <= SAME * scale[quantity], f"{address}: {value!r}, {second[address][0]!r}"


@pytest.mark.parametrize("name", CASES)
@settings(max_examples=2, deadline=None, derandomize=True)
@given(data=st.data())
def test_alone_together_and_in_another_order(name, data):
    case = loaded(name)
    address = data.draw(st.sampled_from(dials(name)))
    shares = np.array(data.draw(st.lists(AROUND, min_size=3, max_size=3, unique=True)))
    item, now = case.field(address)
    if address == "water.temperature":
        x = float(now) + 20 * (shares - 1)
    else:
        x = np.clip(float(now) * shares, item.metadata["low"], item.metadata["high"])
    together, back = case.solve({address: x}), case.solve({address: x[::-1]})
    for n in range(x.size):
        check_same(together, n, back, x.size - 1 - n)
        check_same(together, n, case.solve({address: x[n : n + 1]}), 0)


@pytest.mark.parametrize("name", ["river", "river_chlorine", "small_unit", "sea"])
def test_the_state_of_a_setting_does_not_hang_on_its_company(name):
    case = loaded(name)
    address = dials(name)[0]
    now = float(case.field(address)[1])
    x = now * np.array([0.85, 1.0, 1.1])
    together = judge(case.solve({address: x}))
    for n in range(x.size):
        alone = judge(case.solve({address: x[n : n + 1]}))
        states = {limit.name: limit.state(0) for limit in alone.limits}
        for limit in together.limits:  # many points: chemistry is said to be not judged
            assert limit.state(n) == states.get(limit.name, "not_judged"), limit.name
