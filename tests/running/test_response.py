"""The response of a train: equal to the train, and silent where it knows nothing."""

from __future__ import annotations

import numpy as np
import pytest

from treatsim import cases
from treatsim.errors import NoSolutionError
from treatsim.running.response import response, train

WANTED = ("product.flow", "uv.dose_credited", "energy.specific")
AXES = {"lift_pump.speed": (0.5, 0.9), "water.temperature": (278.15, 303.15)}


@pytest.fixture(scope="module")
def river():
    return train(cases.load("cases/river.toml"), WANTED)


def test_it_meets_the_train_at_points_of_one_s_own(river):
    found = response(river, AXES, tolerance=1e-3)
    draw = np.random.default_rng(7).random((2, 200))
    points = {
        name: low + (high - low) * share
        for (name, (low, high)), share in zip(AXES.items(), draw, strict=True)
    }
    told, truth = found(points), river(points)
    for name in WANTED:
        assert np.max(np.abs(told[name] / truth[name] - 1)) < 2e-3  # stated at 97 other points
        assert found.error[name] <= 1e-3


def test_points_broadcast_and_outside_is_no_number(river):
    found = response(river, AXES, tolerance=1e-2)
    speeds = np.array([[0.4], [0.6], [0.95]])
    told = found({"lift_pump.speed": speeds, "water.temperature": np.array([280.0, 300.0])})
    assert told["product.flow"].shape == (3, 2)
    assert np.isnan(told["product.flow"][[0, 2]]).all()
    assert np.isfinite(told["product.flow"][1]).all()


def test_a_range_with_a_point_that_has_no_answer_is_refused(river):
    with pytest.raises(NoSolutionError, match=r"lift_pump.speed = "):
        response(river, {"lift_pump.speed": (0.1, 0.9)})


def test_a_step_is_no_smooth_result():
    def step(arrays):
        return {"y": np.where(arrays["x"] > 0.3, 2.0, 1.0)}

    with pytest.raises(NoSolutionError, match="y is not smooth over x 0 to 1"):
        response(step, {"x": (0.0, 1.0)})


def test_a_known_polynomial_is_met_to_rounding():
    def cubic(arrays):
        return {"y": arrays["x"] ** 3 - 2 * arrays["x"] * arrays["z"] ** 2}

    found = response(cubic, {"x": (-1.0, 2.0), "z": (0.0, 5.0)})
    x, z = np.linspace(-1, 2, 50), np.linspace(5, 0, 50)
    assert found({"x": x, "z": z})["y"] == pytest.approx(x**3 - 2 * x * z**2, abs=1e-10)
