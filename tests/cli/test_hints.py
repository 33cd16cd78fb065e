"""What was written wrongly is told with the word, the key or the table that is nearest."""

from __future__ import annotations

import pytest
from command import RIVER, river, treatsim

SETTINGS = [
    ("uv.target.lg=3", "no such key; known: organism, log, dose"),
    ("uv.target.organism=cryptosporidum", 'did you mean "cryptosporidium"?'),
    ("pump.speed=85 %", 'did you mean "lift_pump.speed"?'),
    ("lift_pump=3", 'write it as in "lift_pump.speed"'),
    ("water.salinity=600 uS/cm", "the key conductivity takes such a value"),
    ("water.salinity=5 gpm", "legal: g/kg, %, or mg/L"),
    ("site.turbidity=4 NTU", '"turbidity" belongs to [water]'),
    ("water.survey_done=yes", '"survey_done" belongs to [health]'),
    ("hose.screen_area=3 m2", '"screen_area" belongs to [units.strainer]'),
    ("health.survey_done=ys", 'did you mean "yes"?'),
    ("water.kind=frsh", 'did you mean "fresh"?'),
    ("lift_pump.kind=feedpump", 'did you mean "feed_pump"?'),
    ("lift_pump.kind=", "no such kind; known:"),
    ("lift_pump.kind=centrifugal pump", 'did you mean "feed_pump"?'),
    ("lift_pump.kind=pump", 'did you mean "feed_pump"?'),  # by its keys, of three that are pumps
    ("water.UVT=82 %", 'did you mean "uv_transmittance"?'),
    ("strainer.volume=3 m3", "no such key; known:"),  # not to the tank, which has one
    ("uv.dose_mean=3 mJ/cm2", "a result, no input: leave it out, or reach it by a [[hold]]"),
    ("site.altitude=2400 m a.s.l.", 'write "2400 m"'),
    ("site.altitude=2,4 kg", '"kg" is no unit of height'),
]


@pytest.mark.parametrize(("setting", "words"), SETTINGS)
def test_of_a_setting(setting, words):
    run = treatsim("solve", RIVER, "--set", setting)
    assert run.status == 2
    assert words in run.err, run.err
    assert len(run.lines) == 2


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("max_pressure", 'did you mean "largest_pressure"?'),
        ("rated_pressure", 'did you mean "outlet_pressure" or'),  # shares a word with several
        ("wear_factor", 'did you mean "wear"?'),
    ],
)
def test_a_key_of_a_pump_is_read_on_only_as_what_it_is_near(key, words):
    """Read on as slip_pressure, a rating asked for the other half of a slip nobody has."""
    sea = RIVER.with_name("sea.toml")
    run = treatsim("solve", sea, "--set", f"high_pressure_pump.{key}=60 bar")
    assert words in run.err, run.err
    assert len(run.lines) == 2, run.err


def test_a_key_at_the_top_that_belongs_to_a_table(tmp_path):
    path = river(tmp_path, ("[site]", 'turbidity = "4 NTU"\n[site]'))
    assert 'turbidity: no such table; "turbidity" belongs to [water]' in treatsim("solve", path).err


@pytest.mark.parametrize("address", ["uv.target.log", "units.uv.target.log"])
def test_a_nested_entry_is_reached(address):
    asked = treatsim("solve", RIVER, "--set", f"{address}=2", "--full").out
    assert "UV dose for 2 log of" in " ".join(asked.split())


def test_a_nested_entry_is_no_number_to_find():
    run = treatsim("find", RIVER, "--adjust", "uv.target.log")
    assert run.status == 2
    assert "an entry of the table uv.target" in run.err


def test_a_table_that_the_file_leaves_out_can_be_set(tmp_path):
    text = RIVER.read_text("utf-8")
    path = tmp_path / "no_site.toml"
    path.write_text(text.replace('altitude = "210 m"', ""), "utf-8")
    assert treatsim("solve", path).status == 2
    assert treatsim("solve", path, "--set", "site.altitude=210 m").status == 0


WORDS = [
    (["slove", RIVER], 'did you mean "solve"?'),
    (["solve", RIVER, "--ste", "a=b"], 'did you mean "--set"?'),
    (["find", RIVER, "--adust", "lift_pump.speed"], "--adjust"),
    (["solve", RIVER, "--units", "uss"], 'did you mean "us"?'),
    (["new", "rivr"], 'did you mean "river"?'),
    (["sweep", RIVER, "--vary", "lift_pump.sped=50 %:60 %:2"], 'did you mean "lift_pump.speed"?'),
]


@pytest.mark.parametrize(("arguments", "words"), WORDS, ids=str)
def test_of_the_command_line(arguments, words):
    run = treatsim(*arguments)
    assert (run.status, run.out) == (2, "")
    assert words in run.err, run.err
    assert len(run.lines) == 2


def test_addresses_in_one_word_are_told_apart():
    run = treatsim("sweep", RIVER, "--vary", "lift_pump.speed=70 %:80 %:2", "--show",
                   "uv.dose_credited, product.flow")  # fmt: skip
    assert run.status == 2
    assert "one address each: --show uv.dose_credited --show product.flow" in run.err
