"""The tables keep the error they claim, and their slopes, ends and limits are right."""

import sys

import numpy as np
import pytest
import salt_waters as waters
from numpy.testing import assert_allclose

from treatsim.errors import DomainError, RequestError
from treatsim.water import analysis, osmosis, properties, salt_solutions
from treatsim.water.pitzer import sodium_chloride_osmotic_coefficient
from treatsim.water.speciation import equilibrium, feed
from treatsim.water.water_table import water_table

ROOM = 298.15
NAMES = ["sodium_chloride", "seawater", *waters.WELLS]
GENERATOR = np.random.default_rng(7)
CLAIMS = {  # largest claimed error of osmotic pressure, density, viscosity
    "sodium_chloride": (1e-8, 1e-8, 1e-5),
    "seawater": (1e-8, 1e-8, 1e-5),
    "BWa": (1e-5, 1e-5, 1e-4),
    "BWb": (1e-4, 1e-5, 1e-4),
    "BWc": (1e-5, 1e-5, 1e-4),
    "BWd": (1e-5, 1e-5, 1e-4),
}


def points(table, count, smallest=1e-5):
    top = table.salinity_range.high
    salinity = top * GENERATOR.uniform((smallest / top) ** 0.5, 1.0, count) ** 2
    return salinity, GENERATOR.uniform(273.2, 318.1, count)


def source(name, salinity, temperature):
    """Osmotic pressure, density, viscosity straight from the libraries."""
    if name == "seawater":
        return (
            osmosis.seawater_osmotic_pressure(salinity, temperature),
            salt_solutions.seawater_density(salinity, temperature),
            salt_solutions.seawater_viscosity(salinity, temperature),
        )
    if name == "sodium_chloride":
        m = salinity / (1 - salinity) / 58.44277e-3
        phi = sodium_chloride_osmotic_coefficient(m, temperature)
        return (
            osmosis.first_order_osmotic_pressure(phi, 2 * m, temperature),
            salt_solutions.sodium_chloride_density(salinity, temperature),
            salt_solutions.sodium_chloride_viscosity(salinity, temperature),
        )
    water = feed(waters.well(name))
    pairs = list(zip(waters.table(name).concentration_factor(salinity), temperature, strict=True))
    return (
        np.array([osmosis.mixture_osmotic_pressure(water, float(f), float(t)) for f, t in pairs]),
        np.array([equilibrium(water, float(f), float(t)).density for f, t in pairs]),
        salt_solutions.seawater_viscosity(salinity, temperature),
    )


@pytest.mark.parametrize("name", NAMES)
def test_claimed_error_holds_at_random_points(name):
    table = waters.table(name)
    smallest = 0.06 * table.feed_salinity if name in waters.WELLS else 1e-5
    salinity, temperature = points(table, 60, smallest)
    true = source(name, salinity, temperature)
    own = (
        table.osmotic_pressure(salinity, temperature),
        table.density(salinity, temperature),
        table.viscosity(salinity, temperature),
    )
    claimed = [table.errors[key] for key in ("osmotic", "density", "viscosity")]
    # PHREEQC's own pure water is off by up to 4e-5, which the table takes out
    offset = (0.0, 4e-5 if name in waters.WELLS else 0.0, 0.0)
    for value, want, error, most, off in zip(own, true, claimed, CLAIMS[name], offset, strict=True):
        assert error < most
        assert np.max(np.abs(value / want - 1)) < 2 * error + off


@pytest.mark.parametrize("name", NAMES)
def test_more_salt_more_pressure(name):
    table = waters.table(name)
    salinity, temperature = points(table, 200)
    more = table.osmotic_pressure(salinity * (1 + 1e-5), temperature)
    assert np.all(more > table.osmotic_pressure(salinity, temperature))


@pytest.mark.parametrize("name", NAMES)
def test_zero_salinity_is_pure_water(name):
    table = waters.table(name)
    warm = np.array([275.0, ROOM, 315.0])
    assert np.all(table.osmotic_pressure(0.0, warm) == 0)
    assert_allclose(table.density(0.0, warm), properties.density(warm), rtol=2e-6, atol=0)
    assert_allclose(table.viscosity(0.0, warm), properties.viscosity(warm), rtol=1e-4, atol=0)
    thin = table.osmotic_pressure(np.array([1e-9, 2e-9]), ROOM)
    assert_allclose(thin[1] / thin[0], 2.0, rtol=1e-4, atol=0)


@pytest.mark.parametrize("name", waters.WELLS)
def test_dilute_limit_of_an_ion_analysis(name):
    """Below the range PHREEQC is asked in, the series stays between its two sure ends."""
    table, water = waters.table(name), feed(waters.well(name))
    factor = np.linspace(0.0, 0.06, 50)[1:]
    ratio = factor * water.salt_ratio
    pressure = table.osmotic_pressure(ratio / (1 + ratio), ROOM) / factor
    scale = osmosis.GAS_CONSTANT * ROOM * properties.density(ROOM)
    # the ideal law bounds it, and the departure is Debye and Hueckel's, falling with concentration
    assert np.all(np.diff(pressure) < 0)
    assert np.all(pressure < water.ideal_molality * scale)
    assert pressure[0] > 0.97 * water.ideal_molality * scale


@pytest.mark.parametrize("name", ["seawater", "BWa"])
def test_beyond_the_end_no_jump(name):
    table = waters.table(name)
    end = table.salinity_range.high
    low, high = end * (1 - 1e-7), end * (1 + 1e-7)
    for method in (table.osmotic_pressure, table.density, table.viscosity):
        assert_allclose(method(high, ROOM), method(low, ROOM), rtol=1e-6, atol=0)
    around = table.osmotic_pressure(end * (1 + 1e-3 * np.arange(-2, 3)), ROOM)
    inside, outside = np.diff(around)[[1, 2]]  # no kink where the range ends
    assert_allclose(outside, inside, rtol=1e-2, atol=0)
    far = table.osmotic_pressure(np.array([end, 1.5 * end]), ROOM)
    assert far[1] > far[0]


@pytest.mark.parametrize("name", ["seawater", "sodium_chloride", "BWd"])
@pytest.mark.parametrize("kelvin", [278.15, ROOM])
def test_beyond_the_end_the_slope_is_the_source_s_own(name, kelvin):
    """Straight in salt per kg of water, with the slope that the library itself has at the end."""
    table = waters.table(name)
    end = table.salinity_range.high / (1 - table.salinity_range.high)
    step = 2e-3 * end

    def fraction(ratio):
        return ratio / (1 + ratio)

    before = end - step * np.arange(3)
    values = source(name, fraction(before), np.full(3, kelvin))
    beyond = fraction(end + step * np.array([0.0, 1.0, 200.0]))
    for method, (at_end, once, twice) in zip(
        (table.osmotic_pressure, table.density, table.viscosity), values, strict=True
    ):
        slope = (1.5 * at_end - 2 * once + 0.5 * twice) / step  # one-sided, second order
        own = method(beyond, kelvin)
        assert_allclose((own[1] - own[0]) / step, slope, rtol=2e-3, atol=0)
        assert_allclose((own[2] - own[0]) / (200 * step), slope, rtol=2e-3, atol=0)


def test_arrays_equal_one_by_one():
    table = waters.table("BWd")
    salinity, temperature = points(table, 12)
    grid = table.osmotic_pressure(salinity[:, None], temperature)
    assert grid.shape == (12, 12)
    for i, j in ((0, 0), (3, 7), (11, 2)):
        assert_allclose(grid[i, j], table.osmotic_pressure(salinity[i], temperature[j]), rtol=1e-13)


def test_feed_of_each_kind():
    sea = water_table(analysis.of_salt("seawater", mass_fraction=0.035))
    assert sea.feed_salinity == 0.035
    assert_allclose(sea.osmotic_pressure(0.035, ROOM), 25.7915e5, rtol=1e-5, atol=0)
    brine = water_table(analysis.of_salt("sodium_chloride", mass_concentration=32.0))
    assert_allclose(brine.mass_concentration(brine.feed_salinity, ROOM), 32.0, rtol=1e-12, atol=0)
    fresh = water_table(analysis.of_salt("fresh", mass_concentration=0.3))
    assert fresh.kind == "fresh"
    assert_allclose(fresh.feed_salinity, 0.3 / 997.2, rtol=1e-3, atol=0)
    assert_allclose(fresh.concentration_factor(fresh.feed_salinity), 1.0, rtol=1e-12, atol=0)
    assert fresh.osmotic_uncertainty > 20 * brine.osmotic_uncertainty
    well = waters.table("BWa")
    assert_allclose(well.feed_salinity, feed(waters.well("BWa")).salinity, rtol=1e-12, atol=0)


def test_which_tables_are_exact_and_which_of_first_order():
    """Sea salt and ions are exact; sodium chloride is of first order, as element tests are read."""
    sea = waters.table("seawater").osmotic_pressure(0.035, ROOM)
    first = osmosis.seawater_osmotic_pressure_first_order(0.035, ROOM)
    assert_allclose(sea / first, osmosis.exact_factor(0.035), rtol=2e-4, atol=0)
    assert sea / first > 1.0009
    molality = 0.035 / 0.965 / 58.44277e-3
    phi = sodium_chloride_osmotic_coefficient(molality, ROOM)
    salt = osmosis.first_order_osmotic_pressure(phi, 2 * molality, ROOM)
    own = waters.table("sodium_chloride").osmotic_pressure(0.035, ROOM)
    assert_allclose(own, salt, rtol=1e-7, atol=0)


def test_table_comes_back_from_disk(monkeypatch, tmp_path):
    from treatsim.water import cache, speciation

    monkeypatch.setenv("TREATSIM_CACHE", str(tmp_path))
    cache.forget()
    first = water_table(waters.well("BWa"))
    cache.forget()

    def forbidden(*_args, **_kwargs):
        raise AssertionError("asked PHREEQC again")

    monkeypatch.setattr(speciation, "run", forbidden)
    again = water_table(waters.well("BWa"))
    assert np.array_equal(first.osmotic.coefficients, again.osmotic.coefficients)
    with pytest.raises(AssertionError, match="asked PHREEQC"):  # another analysis, another key
        water_table(waters.well("BWa", 1.01))
    cache.forget()


@pytest.mark.parametrize(
    ("salinity", "temperature"), [(-1e-9, ROOM), (0.6, ROOM), (0.01, 20.0), (np.nan, ROOM)]
)
def test_refused(salinity, temperature):
    with pytest.raises(DomainError):
        waters.table("seawater").osmotic_pressure(salinity, temperature)


def test_too_strong_an_ion_analysis_is_refused():
    ions = {"Na": 78.7, "Cl": 121.3}
    with pytest.raises(RequestError, match="the table ends"):
        water_table(analysis.of_ions(ions, ph=7.0))


def test_no_heavy_import_at_run_time():
    import subprocess

    waters.table("seawater")
    code = (
        "import sys; from treatsim.water import analysis; from treatsim.water.water_table import "
        "water_table; t = water_table(analysis.of_salt('seawater', mass_fraction=0.035)); "
        "t.osmotic_pressure(0.03, 290.0); t.diffusivity(290.0); "
        "print([m for m in ('gsw', 'CoolProp', 'phreeqpython', 'scipy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
