"""Storage tank with chlorine: contact by draw-off, decay, residual up to the last cup."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from treatsim.errors import RequestError

MG, MINUTE, HOUR = 1e-3, 60.0, 3600.0
FULL = {
    "volume": 2.0, "draw_off": "fill_and_draw", "waiting_time": 30 * MINUTE, "lowest_volume": 2.0,
    "baffling": "unbaffled", "decay_rate": 0.05 / HOUR, "decay_temperature": 293.15,
    "warmest_temperature": 293.15, "time_to_tap": 2 * HOUR, "time_to_last_cup": 24 * HOUR,
}  # fmt: skip


def stored(flow=1.0 / HOUR, chlorine=1.0 * MG, **changes):
    inlet = plant.stream(flow).changed(contents={"free_chlorine": chlorine})
    return plant.unit("storage_tank", **(FULL | changes)).evaluate(inlet=inlet).details()


def value(details, name):
    return details.values[name].value


def test_closed_tank_counts_the_wait():
    details = stored()
    assert_allclose(value(details, "contact_time"), 30 * MINUTE, rtol=1e-12)
    start = 1.0 * MG * np.exp(-0.05 * 0.5)
    assert_allclose(value(details, "ct"), start * 30 * MINUTE, rtol=1e-12)


def test_flow_through_counts_a_tenth_when_unbaffled():
    """2 m3 at 1 m3/h, baffling factor 0.1: 12 minutes count."""
    details = stored(draw_off="flow_through", decay_rate=0.0)
    assert_allclose(value(details, "contact_time"), 12 * MINUTE, rtol=1e-12)


@pytest.mark.parametrize("baffling", ["unbaffled", "superior", "plug_flow"])
def test_drawn_while_filling_is_never_better_than_unbaffled(baffling):
    details = stored(draw_off="drawn_while_filling", baffling=baffling)
    worst = stored(draw_off="flow_through", baffling="unbaffled")
    assert value(details, "ct") <= value(worst, "ct") * (1 + 1e-12)


def test_the_larger_flow_counts():
    slow, fast = stored(draw_off="flow_through"), stored(draw_off="flow_through",
                                                         draw_flow=3.0 / HOUR)  # fmt: skip
    assert_allclose(value(fast, "contact_time"), value(slow, "contact_time") / 3, rtol=1e-12)


def test_residuals_fall_on_the_way():
    details = stored()
    names = ("residual_after_contact", "residual_at_tap", "residual_at_last_cup")
    residuals = [value(details, name) for name in names]
    assert residuals[0] > residuals[1] > residuals[2] > 0
    assert_allclose(residuals[2], 1.0 * MG * np.exp(-0.05 * 24.5), rtol=1e-12)


@pytest.mark.parametrize("order", [1, 2])
def test_needed_start_leaves_the_residual_wanted(order):
    rate = {"decay_rate_second_order": 0.1 / MG / HOUR, "decay_rate": None} if order == 2 else {}
    needed = value(stored(**rate), "residual_needed_for_last_cup")
    again = stored(chlorine=needed, **rate)
    assert_allclose(value(again, "residual_at_last_cup"), 0.2 * MG, rtol=1e-9)
    assert again.limits[0].meets


@pytest.mark.parametrize("order", [1, 2])
def test_exact_contact_against_quadrature(order):
    k = 0.3 / HOUR
    rate = {"decay_rate": k} if order == 1 else {
        "decay_rate": None, "decay_rate_second_order": k / MG}  # fmt: skip

    def fading(t):
        return np.exp(-k * t) if order == 1 else 1 / (1 + k * t)

    exact, _ = quad(fading, 0, 30 * MINUTE)
    details = stored(**rate)
    assert_allclose(value(details, "ct_exact"), exact * MG, rtol=1e-9)
    assert value(details, "ct") < value(details, "ct_exact")


def test_warm_tank_fades_faster():
    cool, warm = stored(), stored(warmest_temperature=303.15)
    assert value(warm, "residual_at_tap") < value(cool, "residual_at_tap")
    assert_allclose(
        value(warm, "residual_after_contact"), 1.0 * MG * np.exp(-0.1 * 0.5), rtol=1e-12
    )


@pytest.mark.parametrize("mode", ["fill_and_draw", "flow_through", "drawn_while_filling"])
@pytest.mark.parametrize("order", [1, 2])
def test_faster_or_shorter_never_counts_more(mode, order):
    flow = np.geomspace(0.001, 100, 60) / HOUR
    k = 3.0 / HOUR  # so fast that a long stay leaves nothing
    rate = {"decay_rate": k} if order == 1 else {
        "decay_rate": None, "decay_rate_second_order": k / MG}  # fmt: skip
    counted = np.broadcast_to(value(stored(flow, draw_off=mode, **rate), "ct"), flow.shape)
    assert np.all(np.diff(counted) <= 1e-12 * counted[:-1])
    waits = np.linspace(0, 6, 50) * HOUR
    closed = value(stored(waiting_time=waits, **rate), "ct")
    assert np.all(np.diff(closed) >= -1e-15)


def test_one_tank_holds_back_the_plant():
    """Filled in 2 h, closed for half an hour, drawn in 1 h: 2 m3 each 3.5 h."""
    details = stored(draw_flow=2.0 / HOUR)
    assert_allclose(value(details, "round_time"), 3.5 * HOUR, rtol=1e-12)
    assert_allclose(value(details, "largest_mean_flow"), 2.0 / 3.5 / HOUR, rtol=1e-12)


def test_without_chlorine_it_is_only_a_volume():
    outcome = plant.unit("storage_tank", **FULL).evaluate(inlet=plant.stream())
    assert "ct" not in outcome.details().values


@pytest.mark.parametrize("changes", [
    {"waiting_time": None}, {"draw_off": "flow_through", "lowest_volume": None},
    {"draw_off": "flow_through", "baffling": None}, {"lowest_volume": 3.0},
    {"decay_rate": None}, {"decay_temperature": None}, {"draw_off": "open"},
    {"decay_rate_second_order": 1.0}, {"time_to_last_cup": 1.0},
])  # fmt: skip
def test_what_is_refused(changes):
    with pytest.raises(RequestError):
        plant.unit("storage_tank", **(FULL | changes))
