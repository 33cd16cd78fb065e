"""Does a basin pay: amounts of the reference, and when the answer must be no."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.stats import norm

from treatsim import cases
from treatsim.case_text import Problems, read_record
from treatsim.errors import CaseError, RequestError
from treatsim.running import basin
from treatsim.running.basin_table import BasinParameters, Removal
from treatsim.running.spares import plan_for, simulate
from treatsim.running.spares_table import read_all

RIVER = "cases/river.toml"


@pytest.fixture(scope="module")
def plan():
    return plan_for(cases.load(RIVER), 2)


def prospect(plan, table, path):
    return basin.prospect(plan, table, path, simulate(dataclasses.replace(plan, dose=None), 40))


def drawn(**changes) -> BasinParameters:
    table = cases.load(RIVER).sections["pit"]
    return dataclasses.replace(table, **changes)


def test_half_a_metre_an_hour_takes_the_mass_and_the_load_of_the_reference(plan):
    """10 um, GSD 3, 2650 kg/m3, 20 degC, 0.5 m/h. An ideal basin holds 59 % of the mass and a
    sharp 5 um element sees 4.4 times less (closed form for a lognormal mass); a real one of two
    tanks holds less, by quadrature of Stokes' law."""
    warm = np.full(plan.rules.temperature.size, 293.15)
    plan = dataclasses.replace(plan, rules=plan.rules._replace(temperature=warm))
    clean = np.tile(plan.line.filters.clean, (1, 1))
    flow = float(plan.line.flows(clean, warm[:1]).through[0, 0]) * 3600
    sharp = {"efficiencies": ["99.99 % at 5 um"]}
    table = read(length=f"{flow / 0.5 / 20} m", width="20 m", wall_slope=0, tanks_in_series=2,
                 median_size="10 um", filters={"bags": {"efficiencies": ["0.0001 % at 1 mm"]},
                                               "cartridges": sharp})  # fmt: skip
    found = prospect(plan, table, "")
    assert_allclose(found.loading * 3600, 0.5, rtol=1e-9)

    def held(z, sharp):
        d = 10e-6 * 3.0**z
        v = 9.80665 * (2650 - 998.2) * d**2 / (18 * 1.0016e-3) * 3600
        return ((1 + v / (2 * 0.5)) ** -2 if sharp else 1 - (1 + v / (2 * 0.5)) ** -2) * norm.pdf(z)

    assert_allclose(found.settled, quad(held, -8, 8, args=(False,))[0], atol=0.005)
    assert found.settled < 0.586
    coarse = np.log(0.5) / np.log(3.0)  # 5 um
    fold = norm.sf(coarse) / quad(held, coarse, 8, args=(True,))[0]
    reached = found.stages[2].held[0], (1 - found.settled) * found.stages[2].held[1]
    assert_allclose(reached[0] / reached[1], fold, rtol=0.03)
    assert 2.0 < fold < 4.4


def read(**changes) -> BasinParameters:
    data = {**cases.load(RIVER).data["pit"], **changes}
    problems = Problems("", {})
    found = read_record(BasinParameters, data, "pit", problems)
    assert not problems.found, problems.found
    return found


def test_elements_fall_by_what_reaches_them(plan):
    """Lives end by mass, so elements go with the mass caught, storm by storm."""
    found = prospect(plan, drawn(), "")
    arriving = np.array([1.0, 0.45])
    capture = plan.line.filters.capture
    held = [[stage.held[n] for stage in found.stages[1:]] for n in (0, 1)]
    shifted = capture * np.array(held[1]) / np.array(held[0])
    load = np.array([1.0, 1 - shifted[0]]) * (1 - found.settled) * shifted / (arriving * capture)
    for row, ratio in zip(found.filters, load, strict=True):
        assert_allclose(row.mean[1] / row.mean[0], ratio, rtol=0.08)
    assert found.worth.worth_it
    assert found.tighter > 1


def test_clay_does_not_settle_and_the_answer_is_no(plan):
    found = prospect(plan, drawn(median_size=0.3e-6, size_deviation=1.5), "")
    assert found.settled < 0.01
    assert not found.worth.worth_it
    assert "saves no element" in str(found.worth.reason) or "costs more" in str(found.worth.reason)


def test_elements_worth_little_do_not_pay_and_a_narrow_ditch_is_scoured(plan):
    dear = prospect(plan, drawn(worth_per_element=10.0), "")
    assert not dear.worth.worth_it
    assert "costs more" in str(dear.worth.reason)
    ditch = prospect(plan, drawn(width=0.2, length=200.0, depth=0.1, sludge_depth=0.1,
                                 wall_slope=0.0), "")  # fmt: skip
    assert ditch.along > ditch.scour
    assert "lifts again" in str(ditch.worth.reason)
    assert not ditch.worth.worth_it


def test_sludge_counts_the_storms(plan):
    """Room over the mass that settles; the mean of a stormy river is far above its median."""
    found = prospect(plan, drawn(), "")
    between = plan.solids * plan.turbidity * 7.2 / 3600 * found.settled
    table = drawn()
    room = table.length * table.width * table.sludge_depth * table.sludge_solids
    assert found.sludge < room / between / 1.5


def test_what_the_sizes_and_the_capture_disagree_about_is_told(plan):
    few = {"bags": {"efficiencies": ["5 % at 25 um"]}}
    notes = prospect(plan, drawn(filters=few), "").notes
    assert any("bags: it holds" in note and "measure again" in note for note in notes)
    assert any("cartridges: its capture fraction counts for all sizes" in note for note in notes)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pit.wall_slope": "4"}, "walls meet above the floor"),
        ({"pit.size_deviation": "1"}, "above 1"),
        ({"pit.filters.bags.betas": "2 at 5 um"}, "one of the two"),
    ],
)
def test_bad_tables_are_told_in_a_line(change, words):
    with pytest.raises((CaseError, RequestError), match=words):
        cases.load(RIVER, change)


def test_efficiencies_that_fall_are_refused():
    falls = {"bags": {"efficiencies": ["90 % at 5 um", "50 % at 9 um"]}}
    assert "do not fall" in str(read_all(Removal, falls, "filters")[1])


def test_betas_are_efficiencies():
    assert_allclose(Removal(betas=((2.0, 5e-6), (50.0, 10e-6))).pairs(),
                    [(0.5, 5e-6), (0.98, 10e-6)])  # fmt: skip


def test_names_and_order_are_held(plan):
    with pytest.raises(RequestError, match=r"pit.filters.sand: no filter"):
        prospect(plan, drawn(filters={"sand": {"efficiencies": ["50 % at 5 um"]}}), "x")
    line = dataclasses.replace(plan.line, reaching=(1.0, 0.5))
    with pytest.raises(RequestError, match="one behind another"):
        prospect(dataclasses.replace(plan, line=line), drawn(), "x")
