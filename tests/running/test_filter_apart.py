"""Elements changed one by one: run together where they fill alike, by themselves where not."""

from __future__ import annotations

import numpy as np
import pytest
from filter_runs import law_of, rules_of
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.running.filter_apart import followed
from treatsim.running.filter_line import filter_line
from treatsim.running.filter_run import Run
from treatsim.running.filter_state import Law, bank_of
from treatsim.running.filter_stretch import Clock

HOUR = 3600.0


@pytest.fixture(scope="module")
def river():
    return filter_line(cases.load("cases/river.toml"), [297.15])


def scenarios(line, count=4, hours=70):
    """Muddy water and capacities that differ: the weak reach their mass, the strong a drop."""
    draw = np.random.default_rng(4)
    solids = 0.02 * np.exp(0.5 * draw.standard_normal((count, hours))) * HOUR
    zero = np.zeros((count, 1))
    clock = Clock(
        np.concatenate([zero, np.cumsum(solids, axis=1)], axis=1),
        np.broadcast_to(np.arange(hours + 1) * HOUR, (count, hours + 1)),
    )
    law = law_of(line)
    full = Law(law.clean, *(np.broadcast_to(part, (count, part.shape[1])) for part in law[1:]))
    return clock, full._replace(capacity=full.capacity * np.linspace(0.4, 1.0, count)[:, None])


def by_itself(line, law, clock, rules):
    """Every element of every scenario by itself."""
    bank = bank_of(line.filters.elements, np.array([False, False]))
    each = bank.filter_of
    own = Law(law.clean[each], *(part[:, each] for part in law[1:]))
    run = Run(line, bank, own, clock, rules, followed=True)
    return run.run(), run.track


@pytest.mark.parametrize("largest", [(1e5, 1.5e5), (0.15e5, 0.55e5)])
def test_one_by_one_is_what_it_is_with_every_element_by_itself(river, largest):
    """Lives that end by mass alone, and by drops in some scenarios."""
    line = type(river)(
        river.filters._replace(largest_drop=np.array(largest)), (), river.response, river.known,
        False,
    )  # fmt: skip
    clock, law = scenarios(line)
    rules = rules_of(line, 70)
    told, track, _ = followed(line, law, clock, rules, np.array([False, False]), tracked=True)
    whole, apart = by_itself(line, law, clock, rules)
    for name in ("fed", "held", "removed", "started"):
        assert_allclose(
            getattr(told, name),
            getattr(whole, name),
            rtol=1e-4,
            atol=5e-5 * 0.25 * 10,
            err_msg=name,
        )  # ten lives, each off by 5e-5
    for name in ("product", "drop"):
        assert_allclose(getattr(told, name), getattr(whole, name), rtol=2e-3, err_msg=name)
    for history in (told, whole):
        assert history.column("hour").size > 20
    counts = [np.zeros((4, 2)) for _ in range(2)]
    for count, history in zip(counts, (told, whole), strict=True):
        place = history.column("scenario").astype(int), history.column("filter").astype(int)
        np.add.at(count, place, history.column("elements"))
    assert_allclose(counts[0], counts[1])
    caught = told.fed * line.filters.capture
    assert_allclose(caught, told.held - told.started + told.removed, rtol=1e-9)
    assert set(track[0]) == set(np.concatenate(apart[0]))


def test_a_pair_changed_together_stays_together(river):
    line = type(river)(
        river.filters._replace(largest_drop=np.array([1e5, 0.55e5])), (), river.response,
        river.known, False,
    )  # fmt: skip
    clock, law = scenarios(line)
    told, _, apart = followed(line, law, clock, rules_of(line, 70), np.array([True, True]))
    assert set(told.column("elements")) == {2.0}
    assert apart == 0
    one, _, apart = followed(line, law, clock, rules_of(line, 70), np.array([True, False]))
    assert 0 < apart < 4
    assert set(one.column("elements")[one.column("filter") == 1]) == {1.0, 2.0}
