"""What every unit operation obeys, tried on the states of one file."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim import operations
from treatsim.flowsheet.energy import unit_losses
from treatsim.flowsheet.result import unit_balance
from treatsim.operations.intake import FROM_OUTSIDE

# kinds of the design that are not built yet; a kind that exists may not stand here
MISSING: set[str] = set()
DESIGNED = {
    "intake",
    "feed_pump",
    "hose",
    "strainer",
    "settling_basin",
    "cartridge_filter",
    "uv_reactor",
    "high_pressure_pump",
    "ro_vessel",
    "pressure_exchanger",
    "throttle_valve",
    "chemical_dosing",
    "chlorine_dosing",
    "storage_tank",
    "dividing_tee",
    "combining_tee",
}
WITH_INLET = [kind for kind in plant.KINDS if kind in operations.kinds()]
HARDER = [(k, p) for k in WITH_INLET for p in plant.STATES[k].get("harder", {})]
SCALED = [kind for kind in WITH_INLET if "scale" in plant.STATES[kind]]


def test_every_kind_has_a_state():
    assert set(operations.kinds()) == set(plant.KINDS)


def test_every_kind_of_the_design_is_built_or_known_to_be_missing():
    assert set(operations.kinds()) | MISSING >= DESIGNED
    assert not MISSING & set(operations.kinds()), "built meanwhile: strike them off MISSING"


def evaluate(kind):
    streams = plant.inlets(kind)
    unit = plant.unit(kind)
    return unit, streams, unit.evaluate(**streams)


@pytest.mark.parametrize("kind", WITH_INLET)
def test_balances_close(kind):
    unit, streams, outcome = evaluate(kind)
    ports = {(unit.name, port): s for port, s in streams.items()}
    shares = unit_balance(unit, ports, outcome)
    assert shares or not unit.outlets
    for component, share in shares.items():
        assert np.all(share <= 1e-12), f"{component} is open by {np.max(share):.2g}"


@pytest.mark.parametrize("kind", WITH_INLET)
def test_nothing_is_lost_in_silence(kind):
    """What is carried in comes out, unless the unit says that it adds or removes it."""
    unit, streams, outcome = evaluate(kind)
    if not unit.outlets:
        pytest.skip("water ends here")
    contents = {name for s in streams.values() for name in s.contents}
    for name in contents:
        before = sum(s.contents[name] * s.flow for s in streams.values())
        after = sum(s.contents[name] * s.flow for s in outcome.outlets.values())
        assert_allclose(after, before + outcome.added.get(name, 0.0), rtol=1e-12, atol=1e-25)
        assert np.all(after >= 0)


@pytest.mark.parametrize("kind", WITH_INLET)
def test_a_batch_equals_its_points(kind):
    unit, streams, outcome = evaluate(kind)
    whole = plant.numbers(outcome)
    endless = {"value.hours_by_mass"}  # without solids a filter lasts for ever
    assert all(np.all(np.isfinite(value)) for key, value in whole.items() if key not in endless)
    assert not any(np.any(np.isnan(value)) for value in whole.values())
    for point in range(plant.POINTS):
        single = {port: s.take(point) for port, s in streams.items()}
        part = plant.numbers(unit.evaluate(**single))
        assert set(part) == set(whole)
        for name, value in whole.items():
            expected = np.broadcast_to(np.asarray(value), (plant.POINTS,))[point]
            assert np.ndim(part[name]) == 0, f"{name} grew a dimension"
            # what is left of hundreds of watts taken from each other: rounding, not nothing
            power = "hydraulic_power" in name or name.startswith("loss.")
            atol = 1e-9 if power else 1e-300
            assert_allclose(part[name], expected, rtol=1e-12, atol=atol, err_msg=name)


@pytest.mark.parametrize("kind", WITH_INLET)
def test_a_batch_of_parameters_equals_its_points(kind):
    """Each numeric parameter may be an array over points."""
    streams = plant.inlets(kind)
    record = plant.parameters(kind)
    for name, value in vars(record).items():
        if isinstance(value, bool | str | dict) or value is None:
            continue
        spread = value * np.array([1.0, 1.0, 1.0])
        unit = plant.unit(kind, **{name: spread})
        whole = plant.numbers(unit.evaluate(**streams))
        plain = plant.numbers(plant.unit(kind).evaluate(**streams))
        for key, expected in plain.items():
            assert_allclose(
                np.broadcast_to(whole[key], (3,)),
                np.broadcast_to(expected, (3,)),
                rtol=1e-12,
                atol=1e-300,
                err_msg=f"{name} -> {key}",
            )
        assert plant.numbers(unit.take(1).evaluate(**{p: s.take(1) for p, s in streams.items()}))


@pytest.mark.parametrize("kind", WITH_INLET)
def test_evaluation_changes_nothing(kind):
    unit, streams, outcome = evaluate(kind)
    first = plant.numbers(outcome)
    second = plant.numbers(unit.evaluate(**streams))
    for name, value in first.items():
        np.testing.assert_array_equal(value, second[name])


@pytest.mark.parametrize(("kind", "name"), HARDER)
def test_a_harder_way_never_raises_the_pressure(kind, name):
    factor = plant.STATES[kind]["harder"][name]
    streams = plant.inlets(kind)
    value = getattr(plant.parameters(kind), name)
    easy = plant.unit(kind).evaluate(**streams).outlets
    hard = plant.unit(kind, **{name: value * factor}).evaluate(**streams).outlets
    for port in easy:
        assert np.all(hard[port].pressure <= easy[port].pressure)
        assert np.any(hard[port].pressure < easy[port].pressure)


@pytest.mark.parametrize("kind", SCALED)
@pytest.mark.parametrize("factor", [3, 10])
def test_twice_the_plant_for_twice_the_flow(kind, factor):
    """Areas and flow grown together change nothing intensive."""
    record = plant.parameters(kind)
    grown = {
        name: getattr(record, name) * factor**power
        for name, power in plant.STATES[kind]["scale"].items()
    }
    small, streams = plant.unit(kind), plant.inlets(kind)
    large = plant.unit(kind, **grown)
    more = {port: s.with_flow(factor * s.flow) for port, s in streams.items()}
    before, after = small.evaluate(**streams).outlets, large.evaluate(**more).outlets
    for port in before:
        assert_allclose(after[port].mass_flow, factor * before[port].mass_flow, rtol=1e-12)
        for key in ("pressure", "temperature", "salinity"):
            assert_allclose(getattr(after[port], key), getattr(before[port], key), rtol=1e-9)
        for key, value in before[port].contents.items():
            assert_allclose(after[port].contents[key], value, rtol=1e-9)


@pytest.mark.parametrize("kind", WITH_INLET)
def test_no_electrical_power_is_made(kind):
    _, streams, outcome = evaluate(kind)
    details = outcome.details()
    assert np.all(np.asarray(details.power) >= 0)
    gained = outcome.added.get("hydraulic_power", 0.0)
    losses = unit_losses(details, gained)
    arriving = sum(np.abs(s.pressure) * s.flow for s in streams.values())
    throughput = arriving + np.abs(details.power) + np.abs(gained)
    for name, value in losses.items():
        if name != FROM_OUTSIDE:
            assert np.all(value >= -1e-9 * throughput), f"{name}: a loss that gives power"


@pytest.mark.parametrize("kind", WITH_INLET)
def test_messages_can_be_written(kind):
    _, _, outcome = evaluate(kind)
    for finding in outcome.details().findings:
        for system in ("si", "us"):
            assert finding.message(0, system)
