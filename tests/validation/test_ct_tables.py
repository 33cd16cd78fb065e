"""Disinfection by free chlorine: the tables, their structure, and their refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from treatsim.correlations.disinfection import contact_time
from treatsim.correlations.disinfection.contact_time import MG_MIN_PER_L
from treatsim.errors import DomainError
from treatsim.safety import ct_tables

MG = 1e-3
C0 = 273.15
TABLE = ct_tables.tables()["giardia"]
TEMPERATURE, PH, CHLORINE = (np.array(TABLE[key]) for key in ("temperature", "ph", "chlorine"))
CT = np.array(TABLE["ct"], dtype=float)
ROWS = [(t, c) for t in (0.5, 5, 10) for c in (0.4, 1, 2, 3)] + [(15, 1), (20, 1), (25, 1)]


def required(temperature, ph, chlorine):
    kelvin = np.asarray(temperature) + C0
    return ct_tables.giardia_ct_required(kelvin, ph, np.asarray(chlorine) * MG) / MG_MIN_PER_L


def test_read_anchors(agree):
    agree("P51_half_degree_ph6", required(0.5, 6.0, [0.4, 1.0, 2.0]))
    agree("P51_half_degree_ph7", required(0.5, 7.0, 0.4))
    agree("P51_one_log", required(0.5, 7.0, 1.0) / 3)


@pytest.mark.parametrize(("temperature", "chlorine"), ROWS)
def test_rows_keyed_apart(agree, temperature, chlorine):
    key = f"P51_row_{temperature}C_{chlorine}".replace(".", "p")
    agree(key, required(temperature, PH, chlorine))


def test_blocks_follow_the_block_at_five_degrees():
    assert CT.shape == (TEMPERATURE.size, CHLORINE.size, PH.size) == (6, 14, 7)
    five = CT[1]
    for block, share in ((2, 0.75), (3, 0.5), (4, 0.375), (5, 0.25)):
        off = np.abs(CT[block] - share * five)
        assert np.all(off <= 0.75)
        assert np.sum(off > 0.5) <= 1  # all but one of 98 cells are the plain rounding


def test_monotone_in_every_direction():
    assert np.all(np.diff(CT, axis=0) < 0)  # warmer
    assert np.all(np.diff(CT, axis=1) >= 0)  # more chlorine
    assert np.all(np.diff(CT, axis=2) > 0)  # more alkaline


def test_columns_run_smoothly():
    bend = np.abs(np.diff(CT, n=2, axis=1))
    assert np.all(bend[1:] <= 3)
    rough = {(float(CHLORINE[i + 1]), float(PH[j])) for i, j in np.argwhere(bend[0] >= 4)}
    assert rough == {(0.6, 7.5), (2.0, 7.5), (2.2, 7.5), (2.4, 7.5)}  # named in the data file


def test_regression_lies_above_the_table():
    grid = np.meshgrid(TEMPERATURE + C0, CHLORINE * MG, PH, indexing="ij")
    ratio = contact_time.giardia_ct_regression(3.0, grid[1], grid[2], grid[0]) / MG_MIN_PER_L / CT
    assert np.all(ratio >= 1.0)
    assert np.max(ratio[:3]) <= 1.13
    assert np.max(ratio) <= 1.18


def test_flow_through_tank(agree):
    ct = 7.2 * MG_MIN_PER_L
    regression = contact_time.giardia_log_regression(ct, 0.6 * MG, 7.0, 10 + C0)
    credit = ct_tables.giardia_log_credit(ct, 10 + C0, 7.0, 0.6 * MG)
    agree("P62_giardia", [regression, credit])


def test_virus(agree):
    kelvin = np.array([0.5, 5, 10, 15, 20, 25]) + C0
    needed, refused, reasons = ct_tables.virus_lookup(kelvin, 7.0)
    agree("P55_virus_table", needed[:, 2] / MG_MIN_PER_L)
    assert not np.any(refused)
    assert reasons == ()
    steps = ct_tables.virus_log_credit(np.array([3.9, 4, 6, 8, 800]) * MG_MIN_PER_L, 278.15, 7.0)
    assert_allclose(steps, [0, 2, 3, 4, 4], rtol=0, atol=0)


def test_finding_half_a_milligram_for_half_an_hour():
    ct = 0.5 * MG * 1800
    assert ct_tables.virus_log_credit(ct, 278.15, 7.5) == 4
    giardia = ct_tables.giardia_log_credit(ct, np.array([5.0, 15.0]) + C0, 7.5, 0.5 * MG)
    assert np.all((giardia > 0.25) & (giardia < 0.55))


def test_look_up_never_reads_between_the_lines():
    found = ct_tables.giardia_lookup(14.9 + C0, 7.01, 1.01 * MG)
    assert_allclose(found.temperature, 10 + C0, rtol=1e-15, atol=0)
    assert_allclose(found.ph, 7.5, rtol=0, atol=0)
    assert_allclose(found.free_chlorine, MG, rtol=1e-15, atol=0)  # 1 mg/L held asks for less time
    assert_allclose(required(14.9, 7.01, 1.01), 134 * 1.01, rtol=1e-12, atol=0)
    found = ct_tables.giardia_lookup(14.9 + C0, 7.01, 1.15 * MG)
    assert_allclose([found.free_chlorine, found.counted], [1.2 * MG, 1.15 * MG], rtol=1e-15, atol=0)
    assert required(14.9, 7.01, 1.15) == 137
    assert required(40.0, 7.0, 0.1) == 35  # above 25 degC the last block; below 0.4 the first line


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ((0.4, 7.0, 1.0), "0.5 degC"),
        ((10.0, 5.9, 1.0), "pH 6"),
        ((10.0, 9.1, 1.0), "pH 9"),
    ],
)
def test_outside_is_refused_with_the_nearest_case(point, words):
    with pytest.raises(DomainError, match=f"nearest tabulated case is {words}"):
        required(*point)
    temperature, ph, chlorine = point
    credit = ct_tables.giardia_log_credit(100.0, temperature + C0, ph, chlorine * MG)
    assert credit == 0


def test_a_refused_point_leaves_its_neighbours_alone():
    credit = ct_tables.giardia_log_credit(6.0, 283.15, np.array([7.0, 9.5, 8.0]), MG)
    assert_allclose(credit[[0, 2]], [300 / 112, 300 / 162], rtol=1e-12, atol=0)
    assert credit[1] == 0


def test_impossible_values_raise():
    for bad in ((200.0, 7, MG), (283.15, 15, MG), (283.15, 7, -MG), (np.nan, 7, MG)):
        with pytest.raises(DomainError):
            ct_tables.giardia_lookup(*bad)


GRID = np.unique(np.concatenate([np.linspace(0.0, 8.0, 161), CHLORINE, CHLORINE * (1 + 1e-6)]))


@given(
    minutes=st.floats(0.1, 600.0),
    temperature=st.floats(0.5, 35.0),
    ph=st.floats(6.0, 9.0),
)
def test_more_chlorine_never_earns_less(minutes, temperature, ph):
    """Over the same time: within the lines, from line to line, and beyond the last."""
    residual = GRID * MG
    ct = residual * minutes * 60
    giardia = ct_tables.giardia_log_credit(ct, temperature + C0, ph, residual)
    assert np.all(np.diff(giardia) >= -1e-12)
    assert np.all(np.diff(ct_tables.virus_log_credit(ct, temperature + C0, ph)) >= 0)


@given(temperature=st.floats(0.5, 35.0), ph=st.floats(6.0, 9.0), chlorine=st.floats(3.0, 100.0))
def test_above_the_last_line_chlorine_counts_as_three(temperature, ph, chlorine):
    """The regulation's tables end at 3 mg/L: the credit is that of 3 mg/L over the same time."""
    time = 600.0
    at_the_end = ct_tables.giardia_log_credit(3 * MG * time, temperature + C0, ph, 3 * MG)
    held = ct_tables.giardia_log_credit(chlorine * MG * time, temperature + C0, ph, chlorine * MG)
    assert_allclose(held, at_the_end, rtol=1e-12, atol=0)
    assert at_the_end > 0


def test_the_lines_themselves_are_as_printed():
    """Where the residual stands on a line, the table's own cell is the CT that is needed."""
    T, C, pH = np.meshgrid(TEMPERATURE, CHLORINE, PH, indexing="ij")
    assert_allclose(required(T, pH, C), CT, rtol=1e-12, atol=0)


def test_each_table_names_the_text_that_holds_it():
    """The regulation prints the Giardia tables; those of virus stand in the guidance only."""
    from treatsim import sources

    tables = ct_tables.tables()
    assert (tables["giardia"]["source"], tables["giardia"]["clause"]) == ("cfr_141_74", "(b)(3)")
    assert tables["virus"]["source"] == "epa_816_r_03_004"
    assert {table["source"] for table in tables.values()} <= set(sources.load())


state = {
    "ct": st.floats(0.0, 20.0),
    "temperature": st.floats(0.0, 44.0),
    "ph": st.floats(6.0, 10.0),
    "chlorine": st.floats(0.0, 3.5),
    "change": st.floats(0.0, 10.0),
}


@given(**state)
def test_credit_never_rises_when_colder_or_more_alkaline(ct, temperature, ph, chlorine, change):
    def credits(colder, alkaline):
        kelvin = max(temperature - colder, 0.0) + C0
        pH = min(ph + alkaline, 14.0)
        return np.array(
            [
                ct_tables.giardia_log_credit(ct, kelvin, pH, chlorine * MG),
                ct_tables.virus_log_credit(ct, kelvin, pH),
            ]
        )

    assert np.all(credits(change, 0.0) <= credits(0.0, 0.0))
    assert np.all(credits(0.0, change) <= credits(0.0, 0.0))


@given(
    ct=st.floats(0.0, 20.0),
    temperature=st.floats(0.5, 25.0),
    ph=st.floats(6.0, 9.0),
    chlorine=st.floats(0.4, 3.0),
)
def test_credit_stays_near_what_the_regression_allows(ct, temperature, ph, chlorine):
    chlorine = chlorine * MG
    credit = ct_tables.giardia_log_credit(ct, temperature + C0, ph, chlorine)
    free = contact_time.giardia_log_regression(ct, chlorine, ph, temperature + C0)
    assert credit <= free * 1.18 + 1e-12
    assert credit <= 3.0


def test_arrays_equal_single_points():
    T, pH = np.linspace(0, 30, 7) + C0, np.linspace(6, 10, 5)
    together = ct_tables.giardia_log_credit(5.0, T[:, None], pH, MG)
    alone = [[ct_tables.giardia_log_credit(5.0, t, p, MG) for p in pH] for t in T]
    assert_allclose(together, alone, rtol=0, atol=0)
    together = ct_tables.virus_log_credit(np.array([0.1, 0.3, 0.5]), T[:, None], 7.0)
    alone = [[ct_tables.virus_log_credit(c, t, 7.0) for c in (0.1, 0.3, 0.5)] for t in T]
    assert_allclose(together, alone, rtol=0, atol=0)
