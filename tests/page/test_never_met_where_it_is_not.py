"""Who drinks on a "met": thousands of settings, most of them close to a limit, against the train.

Reference is the train itself. What the page would say is worked out from its series, with the
errors it prints; its script is held to the same numbers in `test_page`.
"""

from __future__ import annotations

import numpy as np
import pages
import pytest

from treatsim.safety.verdict import judge
from treatsim.studies.observed import limit_of, value_of

LOOKED, NEAR, ANYWHERE = 20_000, 150, 600  # settings looked at; taken near each limit; at random
ROUND_OFF = 1e-9


def states(carriage, limit, number, spans):
    """What the page says: 1 met, 0 not met or too near to tell, -1 not judged."""
    value, asked = (spans.get(name) for name in (value_of(number), limit_of(number)))
    if value is None or asked is None or number in carriage.unjudged:
        return np.asarray(-1)
    least = value[0] - asked[1] if limit.relation == ">=" else asked[0] - value[1]
    return np.where(least >= -ROUND_OFF * np.abs(asked[0]), 1, 0)


def nearest(carriage, limits, at):
    """Places of the settings that lie closest to each limit, and some anywhere."""
    told, found = carriage(at), list(range(ANYWHERE))
    for number in range(len(limits)):
        if value_of(number) in told and limit_of(number) in told:
            room = np.abs(told[value_of(number)] - told[limit_of(number)])
            found += list(np.argsort(room)[:NEAR])
    return np.unique(found)


@pytest.mark.parametrize("name", ["river_chlorine", "sea", "brackish_well", "sea_recovery"])
def test_the_page_never_says_met_where_the_train_does_not(name):
    _, case, here, carriage = pages.page(name)
    draw = np.random.default_rng(2)
    every = {d.address: draw.uniform(d.low, d.high, LOOKED) for d in carriage.dials}
    some = nearest(carriage, here.limits, every)
    points = {address: row[some] for address, row in every.items()}
    truth, spans = judge(case.solve(points)), carriage.spans(points)
    good = truth.result.solved
    by_key = {(limit.name, limit.address): limit for limit in truth.limits}
    told = wrong = far = 0
    for number, limit in enumerate(here.limits):
        real = by_key[limit.name, limit.address]
        said = np.broadcast_to(states(carriage, limit, number, spans), some.shape)
        met = np.broadcast_to(real.states == 0, some.shape) & good  # no answer is not met
        told += int(np.sum(said >= 0))
        wrong += int(np.sum((said == 1) & ~met))
        if np.any(said >= 0):
            room = np.abs(np.asarray(real.value) - real.limit)
            size = np.maximum(np.abs(np.asarray(real.limit)), 1e-12)
            clear = np.broadcast_to(room > 0.02 * size, some.shape)  # beyond twice 1 % of a limit
            stepped = value_of(number) in carriage.composed  # near a step it may be far off
            far += 0 if stepped else int(np.sum((said == 0) & met & clear))
    assert told > 5_000
    assert wrong == 0, f"{wrong} of {told} said to be met and are not"
    assert far == 0
