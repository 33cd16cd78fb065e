"""Pure water, the atmosphere, series, and the table cache."""

import os
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import constants, kept
from treatsim.errors import DomainError
from treatsim.water import cache, properties, series

CELSIUS = np.array([0.5, 5.0, 20.0, 25.0])


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("TREATSIM_CACHE", str(tmp_path / "tables"))
    cache.forget()
    yield tmp_path / "tables"
    cache.forget()


class Builder:
    """Counts how often a table is built."""

    def __init__(self, value=1.0):
        self.calls, self.value = 0, value

    def __call__(self):
        self.calls += 1
        return {"a": np.arange(5.0) * self.value, "b": np.array(self.value)}


SHAPES = {"a": (5,), "b": ()}


def load(builder, **key):
    cache.forget()
    return cache.load_or_build("trial", key, builder, SHAPES)


def test_water_values(agree):
    kelvin = CELSIUS + constants.ZERO_CELSIUS
    agree("P35_viscosity", properties.viscosity(kelvin))
    agree("P35_vapour", properties.vapour_pressure(kelvin))


@pytest.mark.parametrize("name", properties.QUANTITIES)
def test_series_against_coolprop(name):
    from CoolProp.CoolProp import PropsSI

    output, (second, value), _ = properties.QUANTITIES[name]
    kelvin = np.linspace(273.17, properties.WARMEST, 777)
    exact = PropsSI(output, "T", kelvin, second, value, "Water")
    assert_allclose(getattr(properties, name)(kelvin), exact, rtol=properties.ACCURACY)
    assert properties.stated_error(name) < properties.ACCURACY


def test_other_formulas():
    """Explicit formulas by other authors, within the error each is known to have."""
    t = np.linspace(0, 40, 41)
    kelvin = t + constants.ZERO_CELSIUS
    kestin = (20 - t) / (t + 96) * (1.2364 - 1.37e-3 * (20 - t) + 5.7e-6 * (20 - t) ** 2)
    assert_allclose(properties.viscosity(kelvin), 1.002e-3 * 10**kestin, rtol=9e-4)
    buck = 611.21 * np.exp((18.678 - t / 234.5) * t / (257.14 + t))
    assert_allclose(properties.vapour_pressure(kelvin), buck, rtol=5e-4)
    kell = 999.83952 + t * (
        16.945176
        + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    assert_allclose(properties.density(kelvin), kell / (1 + 16.87985e-3 * t), rtol=5e-6)


def test_specific_heat_against_iapws():
    from iapws import IAPWS95

    for kelvin in (278.15, 298.15, 318.15):
        exact = 1e3 * IAPWS95(T=kelvin, P=0.101325).cp
        assert_allclose(properties.specific_heat(kelvin), exact, rtol=1e-6)


def test_water_is_densest_at_four_degrees():
    kelvin = np.linspace(273.2, 290, 2000)
    assert_allclose(kelvin[np.argmax(properties.density(kelvin))], 277.13, rtol=1e-4)


def test_atmosphere_against_fluids():
    from fluids.atmosphere import ATMOSPHERE_1976

    height = [0.0, 300.0, 1500.0, 4000.0, 10000.0]
    second = [ATMOSPHERE_1976(z).P for z in height]
    assert_allclose(properties.atmospheric_pressure(height), second, rtol=1e-5)


@pytest.mark.parametrize("kelvin", [20.0, 273.0, 373.2, np.nan])
def test_not_liquid_is_refused(kelvin):
    for name in properties.QUANTITIES:
        with pytest.raises(DomainError, match="temperature"):
            getattr(properties, name)([293.15, kelvin])


def test_altitude_refused():
    with pytest.raises(DomainError):
        properties.atmospheric_pressure(20000.0)


def test_second_start_needs_no_coolprop(folder):
    """A fresh process that finds the tables never loads CoolProp."""
    properties.density(293.15)
    code = (
        "import sys; from treatsim.water import properties as p;"
        "print(repr(float(p.density(293.15))));"
        "assert not any(m.startswith(('CoolProp', 'scipy')) for m in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert_allclose(float(run.stdout), properties.density(293.15), rtol=0)


def test_series_value_and_slope():
    fitted = series.fit_series(np.exp, -1.0, 2.0, 20)
    x = np.linspace(-1, 2, 50)
    value, slope = series.evaluate_with_slope(fitted, x)
    assert_allclose(value, np.exp(x), rtol=1e-12)
    assert_allclose(slope, np.exp(x), rtol=1e-10)
    assert_allclose(series.evaluate(fitted, x), value, rtol=1e-14)
    assert series.largest_error(fitted, np.exp) < 1e-12
    assert_allclose(series.evaluate(fitted, 0.3), np.exp(0.3), rtol=1e-12)


def test_surface_and_its_sections():
    def function(x, y):
        return np.exp(x) * np.sin(1 + y)

    at = series.nodes(0.0, 1.0, 16), series.nodes(-0.5, 1.0, 18)
    values = function(at[0][:, None], at[1])
    fitted = series.surface_through(*at, values, (0.0, -0.5), (1.0, 1.0))
    x, y = np.linspace(0, 1, 7)[:, None], np.linspace(-0.5, 1, 9)
    value, slope = series.evaluate_with_slope(series.section(fitted, y), x)
    assert value.shape == (7, 9)
    assert_allclose(value, function(x, y), rtol=1e-12)
    assert_allclose(slope, function(x, y), rtol=1e-10)
    one = series.evaluate(series.section(fitted, 0.4), 0.2)
    assert_allclose(one, function(0.2, 0.4), rtol=1e-12)


def test_constant_series():
    fitted = series.fit_series(lambda x: 3.0 + 0 * x, 0.0, 1.0, 1)
    value, slope = series.evaluate_with_slope(fitted, [0.2, 0.7])
    assert_allclose(value, 3, rtol=1e-15)
    assert_allclose(slope, 0, rtol=0)


def test_cache_builds_once(folder):
    build = Builder()
    first, again = load(build, x=1), load(build, x=1)
    assert build.calls == 1
    assert_allclose(first["a"], again["a"], rtol=0)
    assert again["b"].shape == ()
    cache.load_or_build("trial", {"x": 1}, build, SHAPES)
    assert build.calls == 1
    assert not first["a"].flags.writeable
    assert [p.suffix for p in folder.iterdir()] == [".table"]


def test_cache_keys_differ(folder):
    one, two = Builder(1.0), Builder(2.0)
    load(one, versions={"CoolProp": "6.6"})
    changed = load(two, versions={"CoolProp": "6.7"})
    assert two.calls == 1
    assert changed["b"] == 2
    cache.load_or_build("other", {"versions": {"CoolProp": "6.6"}}, two, SHAPES)
    assert two.calls == 2
    assert kept.library_versions("numpy")["numpy"] == np.__version__
    assert kept.library_versions("no-such-library") == {"no-such-library": "absent"}


@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 0.99])
def test_torn_file_is_rebuilt(folder, share):
    build = Builder()
    load(build, x=1)
    (path,) = folder.iterdir()
    whole = path.read_bytes()
    path.write_bytes(whole[: int(share * len(whole))])
    assert_allclose(load(build, x=1)["a"], np.arange(5.0), rtol=0)
    assert build.calls == 2
    assert path.read_bytes() == whole


def test_every_flipped_byte_is_harmless(folder):
    build = Builder()
    good = load(build, x=1)
    (path,) = folder.iterdir()
    whole = path.read_bytes()
    for place in range(0, len(whole), 7):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0xFF]) + whole[place + 1 :])
        again = load(build, x=1)
        assert set(again) == set(good)
        assert_allclose(again["a"], good["a"], rtol=0)


def test_altered_and_swapped_files_are_rebuilt(folder):
    build = Builder()
    load(build, x=1)
    (path,) = folder.iterdir()
    path.write_bytes(np.arange(1.0, 7.0).tobytes() + path.read_bytes()[-kept.CHECKSUM_LENGTH :])
    assert_allclose(load(build, x=1)["a"], np.arange(5.0), rtol=0)
    assert build.calls == 2
    load(Builder(9.0), x=2)
    (other,) = set(folder.iterdir()) - {path}
    path.write_bytes(other.read_bytes())
    assert load(build, x=1)["b"] == 1
    path.write_bytes(b"")
    assert load(build, x=1)["b"] == 1
    assert build.calls == 4
    path.unlink()
    path.mkdir()
    assert load(build, x=1)["b"] == 1


def test_unusable_directories_are_no_failure(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("not a directory")
    for place in (blocked, blocked / "below", "/proc/nowhere/at/all"):
        monkeypatch.setenv("TREATSIM_CACHE", str(place))
        build = Builder()
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            assert load(build, x=1)["b"] == 1
            cache.load_or_build("trial", {"x": 1}, build, SHAPES)
        assert build.calls == 1, "kept in memory"
    cache.forget()


def test_disk_that_fails_while_writing_leaves_nothing(folder, monkeypatch):
    def full(*_, **__):
        raise OSError("no space left")

    monkeypatch.setattr(Path, "replace", full)
    assert load(Builder(), x=1)["b"] == 1
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(
    "wrong",
    [{"a": np.zeros(5)}, {"a": np.zeros(4), "b": np.array(1.0)},
     {"a": np.array([0, 1, np.nan, 3, 4]), "b": np.array(1.0)},
     {"a": np.zeros(5), "b": np.array(np.inf)}],
)  # fmt: skip
def test_wrong_tables_under_a_right_checksum_are_built_anew(folder, wrong):
    load(Builder(), x=1)
    (path,) = folder.iterdir()
    digest = cache._digest("trial", {"code": cache.code_fingerprint(), "x": 1})
    kept.write(path.name, digest, cache._packed(wrong))
    build = Builder(2.0)
    assert load(build, x=1)["b"] == 2
    assert build.calls == 1


def test_no_numbers_under_a_right_checksum_is_built_anew(folder):
    load(Builder(), x=1)
    (path,) = folder.iterdir()
    digest = cache._digest("trial", {"code": cache.code_fingerprint(), "x": 1})
    path.write_bytes(b"PK\x03\x04" + kept.checksum(digest, b"PK\x03\x04"))
    assert load(Builder(2.0), x=1)["b"] == 2


def test_a_pipe_in_the_place_of_a_table_is_not_waited_for(folder):
    load(Builder(), x=1)
    (path,) = folder.iterdir()
    path.unlink()
    os.mkfifo(path)
    assert load(Builder(2.0), x=1)["b"] == 2


def test_failed_build_stores_nothing(folder):
    def fail():
        raise ValueError("no such water")

    with pytest.raises(ValueError, match="no such water"):
        load(fail, x=1)
    assert not folder.exists()


def test_directory_order(monkeypatch, tmp_path):
    monkeypatch.setenv("TREATSIM_CACHE", str(tmp_path / "a"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "b"))
    assert kept.directory() == tmp_path / "a"
    monkeypatch.delenv("TREATSIM_CACHE")
    assert kept.directory() == tmp_path / "b" / "treatsim"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path / "c"))
    assert kept.directory() == tmp_path / "c" / ".cache" / "treatsim"


RACE = """
import numpy as np
from treatsim import kept
from treatsim.water import cache
for turn in range(60):
    cache.forget()
    key = {"x": turn % 3}
    build = lambda: {"a": np.full(50000, turn % 3, dtype=float)}
    got = cache.load_or_build("race", key, build, {"a": (50000,)})
    assert np.all(got["a"] == turn % 3) and got["a"].size == 50000
    if turn % 5 == 4:
        for path in kept.directory().glob("race-*.table"):
            path.unlink(missing_ok=True)
"""


def test_two_processes_at_once(folder):
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", RACE], stderr=subprocess.PIPE, env=os.environ.copy()
        )
        for _ in range(2)
    ]
    for run in runs:
        _, errors = run.communicate(timeout=60)
        assert run.returncode == 0, errors.decode()
    assert not list(folder.glob("*.tmp"))
