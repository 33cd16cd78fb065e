"""The compiled march against the arrays, when it is used, and what is kept of it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import ro_cases
import ro_compiled
import ro_waters

from treatsim.correlations.ro import vessel_effort, vessel_floats, vessel_march, vessel_step
from treatsim.correlations.ro.reflection import with_reflection
from treatsim.correlations.ro.spacer_channel import CORRELATIONS
from treatsim.correlations.ro.vessel_kernel import FLOATS, build_problem, slopes, take

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture(autouse=True)
def effort(monkeypatch):
    """Arrays, unless a test asks for more; nothing is left for other tests."""
    for name, value in (("spent", 0.0), ("march", None), ("next_look", np.inf)):
        monkeypatch.setattr(vessel_effort._Effort, name, value)
    return vessel_effort._Effort


def wide(count: int, seed: int, line=None, law: str = "schock_miquel"):
    """A problem of many points, wider than any design, and its pressures."""
    feed, membrane = ro_cases.random_points(count, seed)
    problem = build_problem(
        feed.mass_flow, feed.fraction, feed.permeate_pressure, *membrane[:2],
        ro_cases.channel("S40"), CORRELATIONS[law], line or ro_waters.salt_line(25.0, 0.2),
    )  # fmt: skip
    return problem, feed.pressure


def check(found, expected, problem, pressure):
    """Within 1e-9, but for what rounding leaves of a flux that nothing drives."""
    nodes, _, status = found
    np.testing.assert_array_equal(status, expected.status)
    off = np.abs(nodes - expected.nodes)
    close = 1e-9 * np.abs(expected.nodes)
    osmotic = 1e8 * np.asarray(problem.feed_fraction)  # Pa, an upper bound
    close[:, 3] += 1e-15 * problem.water_permeability * (pressure + osmotic)
    assert np.all(off <= close), (off / (close + 1e-300)).max(axis=(0, 2))
    driven = pressure - problem.permeate_pressure > 1.0
    assert np.all(off[0, 3] <= 1e-9 * expected.nodes[0, 3], where=driven)


@pytest.mark.parametrize("elements", [1, 3, 6])
@pytest.mark.parametrize("tolerance", [1e-5, 1e-9])
def test_equal_to_the_arrays_on_wide_random_points(elements, tolerance):
    compiled = ro_compiled.march()
    problem, pressure = wide(20_000 if tolerance == 1e-5 else 2_000, 20 + elements)
    expected = vessel_march.march(problem, pressure, elements, tolerance)
    found = compiled(problem, pressure, elements, tolerance)
    check(found, expected, problem, pressure)
    assert {vessel_step.OK, vessel_step.DRY_OUT, vessel_step.CONCENTRATE_BELOW_PERMEATE} <= set(
        expected.status
    )


@pytest.mark.parametrize("law", list(CORRELATIONS))
def test_equal_with_every_correlation_and_a_temperature_for_each_point(law):
    compiled = ro_compiled.march()
    line = ro_waters.line(
        ro_waters.salt_osmotic_pressure,
        ro_waters.salt_density,
        ro_waters.salt_viscosity,
        np.linspace(5.0, 40.0, 500) + 273.15,
        0.2,
    )
    problem, pressure = wide(500, 4, line, law)
    expected = vessel_march.march(problem, pressure, 4, 1e-5)
    check(compiled(problem, pressure, 4, 1e-5), expected, problem, pressure)


def test_equal_to_points_alone_on_floats():
    compiled = ro_compiled.march()
    problem, pressure = wide(200, 5)
    found = compiled(problem, pressure, 5, 1e-6)
    alone = [
        vessel_march.march(take(problem, np.array([i])), pressure[i : i + 1], 5, 1e-6)
        for i in range(200)
    ]
    joined = vessel_march.Path(
        np.concatenate([path.nodes for path in alone], axis=2),
        None,
        np.concatenate([path.status for path in alone]),
    )
    check(found, joined, problem, pressure)


def test_the_kernel_written_out_for_floats_is_the_kernel():
    """Slopes and corrections beside wide paths, and at states that no path comes to."""
    problem, pressure = wide(150, 12)
    short = problem._replace(osmotic=problem.osmotic[:5], osmotic_slope=problem.osmotic_slope[:5])
    paths = vessel_march.march(problem, pressure, 2, 1e-5).nodes
    paths[:, 3:] *= np.array([1.01, 1.001])[:, None]  # off its path, so that there is a correction
    strange = [(0.1, 0.2, 1e5, -1e-6, 0.1), (-9.0, 0.0, 1e7, 1e-5, 1.1)]
    for point in range(150):
        p = take(short if point % 5 == 0 else problem, point)
        quick = vessel_floats.slopes_of(p)
        for state in (*paths[:, :, point].tolist(), *strange):
            expected = slopes(FLOATS, p, *state, correct=True)
            np.testing.assert_allclose(quick(*state, True), expected, rtol=1e-9, atol=1e-300)
            assert quick(*state)[:5] == quick(*state, True)[:5]
    assert np.all(np.isnan(quick(np.nan, 0.0, 1e6, 1e-6, 1.0)[:5]))


def test_no_answer_depends_on_the_company():
    compiled = ro_compiled.march()
    problem, pressure = wide(3_000, 6)
    nodes, worst, status = compiled(problem, pressure, 6, 1e-5)
    order = np.random.default_rng(0).permutation(3_000)[:1_001]
    some = compiled(take(problem, order), pressure[order], 6, 1e-5)
    for found, whole in zip(some, (nodes, worst, status), strict=True):
        np.testing.assert_array_equal(found, whole[..., order])
    one = compiled(take(problem, np.array([7])), pressure[7:8], 6, 1e-5)
    np.testing.assert_array_equal(one[0][..., 0], nodes[..., 7])


def test_too_few_steps_are_told_alike_alone_and_in_company(monkeypatch):
    """A path cut short has the same status and the same last sound state."""
    problem, pressure = wide(400, 8)
    monkeypatch.setattr(vessel_march, "MAX_STEPS", 3)
    many = vessel_march.march(problem, pressure, 6, 1e-8)
    alone = [
        vessel_march.march(take(problem, np.array([i])), pressure[i : i + 1], 6, 1e-8)
        for i in range(400)
    ]
    assert np.mean(many.status == vessel_step.NOT_CONVERGED) > 0.2
    np.testing.assert_array_equal(many.status, [int(path.status[0]) for path in alone])


def test_a_line_of_lower_degree_is_padded_and_one_of_higher_left_to_the_arrays():
    compiled = ro_compiled.march()
    problem, pressure = wide(300, 9)
    short = problem._replace(osmotic=problem.osmotic[:5], osmotic_slope=problem.osmotic_slope[:5])
    expected = vessel_march.march(short, pressure, 2, 1e-5)
    check(compiled(short, pressure, 2, 1e-5), expected, short, pressure)
    long = problem._replace(osmotic=(*problem.osmotic, 0.0))
    assert compiled(long, pressure, 2, 1e-5) is None
    vessel_effort._Effort.march = compiled
    check(
        vessel_march.march(long, pressure, 2, 1e-5),
        vessel_march.Path(*compiled(problem, pressure, 2, 1e-5)),
        problem,
        pressure,
    )


def test_a_membrane_that_lets_salt_through_with_the_water_is_left_to_the_arrays(effort):
    problem, pressure = wide(300, 10)
    reflecting = with_reflection(problem, 0.98)
    expected = vessel_march.march(reflecting, pressure, 2, 1e-5)
    effort.march = ro_compiled.march()
    assert effort.march(reflecting, pressure, 2, 1e-5) is None
    found = vessel_march.march(reflecting, pressure, 2, 1e-5)
    np.testing.assert_array_equal(found.nodes, expected.nodes)
    plain = vessel_march.march(problem, pressure, 2, 1e-5)
    assert np.max(np.abs(found.nodes[-1, 1] / plain.nodes[-1, 1] - 1)) > 1e-3


def test_it_is_asked_for_when_the_arrays_have_done_as_much_as_it_costs(effort, monkeypatch):
    asked = []
    problem, pressure = wide(100, 1)
    of_one = 2 * (100 + vessel_effort.OF_A_CALL)
    for name, marches in (("TO_LOAD", 3), ("TO_COMPILE", 50)):
        monkeypatch.setattr(vessel_effort, name, marches * of_one)
    monkeypatch.setattr(effort, "next_look", vessel_effort.TO_LOAD)
    monkeypatch.setattr(vessel_effort, "_prepared", lambda build, *_: asked.append(build))
    for _ in range(2):
        vessel_march.march(problem, pressure, 2, 1e-5)
    assert asked == []
    vessel_march.march(problem, pressure, 2, 1e-5)
    assert asked == [False]  # a kept one only
    for _ in range(60):
        vessel_march.march(problem, pressure, 2, 1e-5)
    assert asked == [False, True]  # and then never again


@pytest.mark.parametrize("name", ["sea", "brackish_well", "sea_recovery"])
def test_a_single_solve_never_waits_for_it(name):
    pytest.importorskip("numba", reason="the extra `fast` is not installed")
    code = (
        "import sys; from treatsim.cli import main; main(['solve', sys.argv[1]]);"
        "assert not {'numba', 'llvmlite'} & set(sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(CASES / f"{name}.toml")],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_without_numba_the_arrays_go_on(effort, monkeypatch):
    monkeypatch.setattr(effort, "next_look", 0.0)
    monkeypatch.setattr(vessel_effort.importlib.util, "find_spec", lambda name: None)
    problem, pressure = wide(100, 2)
    assert vessel_march.march(problem, pressure, 2, 1e-5).status.shape == (100,)
    assert effort.march is None


def kept(monkeypatch, folder):
    from treatsim.correlations.ro import vessel_kept

    monkeypatch.setenv("TREATSIM_CACHE", str(folder))
    return vessel_kept


def copied(tmp_path) -> Path:
    """A folder of our own with what the compiled march keeps."""
    ro_compiled.march()(*wide(3, 3), 1, 1e-5)  # compiled when first called
    from treatsim.correlations.ro import vessel_kept

    shutil.copytree(vessel_kept._folder(), tmp_path / vessel_kept._folder().name)
    return tmp_path


def test_a_kept_one_is_loaded_and_a_damaged_one_thrown_away(monkeypatch, tmp_path):
    vessel_kept = kept(monkeypatch, copied(tmp_path))
    assert vessel_kept.prepared(False, lambda march: bool(march)) is not None
    problem, pressure = wide(3, 3)

    def runs(march):
        return march(problem, pressure, 1, 1e-5) is not None

    assert vessel_kept.prepared(False, runs) is not None
    for path in tmp_path.rglob("*.nbc"):
        path.write_bytes(path.read_bytes()[:1000])
    assert vessel_kept.prepared(False, runs) is None
    assert not list(tmp_path.rglob("*.nb?"))
    assert vessel_kept.prepared(False, runs) is None  # nothing there: the arrays go on


def test_a_kept_one_that_is_wrong_is_not_believed(monkeypatch, tmp_path):
    vessel_kept = kept(monkeypatch, copied(tmp_path))
    assert vessel_kept.prepared(False, lambda march: False) is None
    assert not list(tmp_path.rglob("*.nb?"))
    trial = (*wide(3, 3), 2, 1e-5)
    seen = []
    monkeypatch.setattr(vessel_kept, "prepared", lambda build, right: seen.append(right))
    vessel_effort._prepared(False, trial, vessel_march._one_by_one)
    (right,) = seen
    truth = vessel_march._one_by_one(*trial)
    assert right(lambda *_: tuple(truth))
    assert not right(lambda *_: (truth.nodes * (1 + 1e-4), truth.estimate, truth.status))


def test_where_nothing_can_be_kept_it_is_compiled_for_the_process(monkeypatch, tmp_path):
    pytest.importorskip("numba", reason="the extra `fast` is not installed")
    blocked = tmp_path / "a file"
    blocked.write_text("no folder")
    vessel_kept, places = kept(monkeypatch, blocked / "below"), []
    monkeypatch.setattr(vessel_kept, "_compiled", lambda place: places.append(place) or (lambda: 0))
    assert vessel_kept.prepared(False, lambda march: True) is None
    assert vessel_kept.prepared(True, lambda march: True) is not None
    assert places == [None]
