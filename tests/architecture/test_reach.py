"""Nothing lies about that no command, no kind of unit and no public name leads to.

The list of what waits for a later capability may only shrink: what it names and something now
reaches must leave it, and what nothing reaches must not be added without saying what for.
"""

from __future__ import annotations

import ast

import pytest
import reach

# capability that will use it -> what waits for it, as "module name name ..."
WAITING = {
    "granular media and river beds: shown, never credited": (
        "correlations.solids.collector Bed happel_factor contact_yao contact_tufenkji",
    ),
    "bench readings in a case": (
        "correlations.disinfection.chlorine_decay rate_from_readings",
        "correlations.uv.collimated_beam depth_average reflection_factor divergence_factor"
        " collimated_beam_irradiance",
        "correlations.uv.dose_response Quadratic fitted_dose_per_log",
        "correlations.uv.inactivation ms2_acceptance",
        "correlations.uv.uv_bench exposure_time beam_uncertainty",
    ),
    "laboratory reports in a case: salinometer, conductivity off 25 degC": (
        "water.analysis from_practical_salinity solids_from_conductivity",
    ),
    "a reactor's validation report in a case": (
        "correlations.uv.validation_factor dose_bias combined_uncertainty validation_factor",
        "safety.barriers challenge_log",
        "safety.uv_operation particle_loss",
    ),
    "none: only checks use it, and it goes to tests/oracles when its room is next opened": (
        "correlations.solids.cake constant_pressure_time constant_flow_pressure constant_flow_time"
        " compressible_resistance",
        "correlations.solids.filtration constant_pressure_flux life_by_mass",
        "correlations.solids.retention beta_log_removal beta_from_efficiency",
        "correlations.solids.size_distribution lognormal_mass_below particle_number",
        "correlations.disinfection.contact_time giardia_ct_regression giardia_log_regression"
        " virus_log_regression",
        "correlations.uv.dose tanks_log_survival",
        "power.battery peukert_time usable_energy",
        "power.kinetic capacity_in",
        "report.plots.style meaning",
        "safety.ct_tables giardia_ct_required",
        "safety.dose_requirements Demand",
        "safety.log_credit Ledger in_series ledger",
        "safety.log_targets cryptosporidium_bin",
        "water.cache forget",
        "water.osmosis first_order_osmotic_pressure seawater_osmotic_coefficient"
        " van_t_hoff_osmotic_pressure",
        "water.properties specific_heat stated_error",
        "water.scaling molar_ion_product",
        "water.series largest_error",
    ),
}
# constants that neither a command nor what waits above uses, with the reason
LEFT = {
    "correlations.solids.filtration.BLOCKING_EXPONENTS": "names the laws for a filter's life",
    "correlations.solids.turbidity.BORROWED_SPREAD": "for solids from turbidity",
    "correlations.solids.turbidity.PUBLISHED_CURVES": "for solids from turbidity",
    "operations.outcome.GROUPS": "tests hold every limit against it",
    "operations.unit.DECLARED": "tests ask every kind for each",
    "safety.dose_requirements.DEMANDS": "of regulations, for the field sheet",
    "water.pitzer.SODIUM_CHLORIDE_1973": "tests hold the later set against it",
}


def waiting() -> set[str]:
    found = set()
    for line in (line for lines in WAITING.values() for line in lines):
        module, *names = line.split()
        found |= {f"treatsim.{module}.{name}" for name in names}
    return found


def public(name: str) -> bool:
    nodes = reach.definitions()[name]
    return isinstance(nodes[0], ast.FunctionDef | ast.ClassDef) and "._" not in name


def test_what_nothing_reaches_is_what_waits():
    idle = {name for name in reach.definitions() if public(name)} - reach.from_the_top()
    assert idle - waiting() == set(), "reached by no command, kind or public name"
    assert waiting() - idle == set(), "reached now, or gone: take it off the list"


def test_every_helper_and_constant_serves_something_that_is_reached_or_waits():
    ranges = {name for name, (node, *_) in reach.definitions().items() if _is_range(node)}
    served = reach.reached(reach.roots() | waiting() | ranges)
    idle = {n for n in reach.definitions() if "__" not in n and not n.startswith("treatsim._")}
    assert idle - served == {f"treatsim.{name}" for name in LEFT}


def _is_range(node: ast.stmt) -> bool:
    """A fitted range: whether it is evaluated is held by test_ranges.py."""
    call = getattr(node, "value", None)
    return isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Range"


def test_the_walk_goes_far():
    reached = reach.from_the_top()
    assert len(reached) > 1000
    for name in (
        "treatsim.correlations.hydraulics.friction.pressure_loss",
        "treatsim.correlations.ro.vessel_kernel.local",
        "treatsim.report.plots.style.render",
    ):
        assert name in reached, name


SNIPPET = """
import treatsim.errors
from treatsim import quantities as q
def f(a, require=q.read):
    from treatsim.errors import DomainError
    text = a.shown
    return [text for quantities in a], q.QUANTITIES["x"].meaning, DomainError, text, require
"""


def test_the_walk_itself():
    """Names bound inside hide those outside; imports inside count; attributes are followed."""
    tree = ast.parse(SNIPPET)
    names = reach.imported(tree.body) | {"text": "treatsim.quantities.text"}
    names |= {"require": "treatsim.errors.require", "quantities": "treatsim.quantities"}
    used = {reach.home(name) for name in reach.uses(tree.body[-1], names)}
    assert used == {
        "treatsim.quantities.read",
        "treatsim.quantities.QUANTITIES",
        "treatsim.errors.DomainError",
    }


@pytest.mark.parametrize("name", ["treatsim.quantities.nothing", "numpy.array", "nobody"])
def test_what_is_not_ours_has_no_home(name):
    assert reach.home(name) is None
