"""Doses asked for by regulations, and the table of organisms."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim.correlations.uv.dose_table import (
    DOSE_TABLE,
    LOG_CREDITS,
    credited_log,
    dose_for_credit,
)
from treatsim.correlations.uv.inactivation import ORGANISMS, claimable_log, ms2_acceptance
from treatsim.errors import DomainError
from treatsim.safety.dose_requirements import DEMANDS
from treatsim.sources import cite


@pytest.mark.parametrize("target", DOSE_TABLE)
@pytest.mark.parametrize("log", LOG_CREDITS)
def test_dose_table(agree, target, log):
    needed = dose_for_credit(target, log)
    agree(f"A10_{target}_{str(log).replace('.', '_')}", needed / 10)
    assert credited_log(target, needed) == log
    assert credited_log(target, needed * (1 - 1e-12)) == log - 0.5


def test_credit_steps_down_and_stops():
    dose = np.array([[0.0, 15.9, 16.0], [119.0, 220.0, 1e6]])
    assert credited_log("cryptosporidium", dose).tolist() == [[0, 0, 0.5], [2.5, 4, 4]]
    assert_allclose(dose_for_credit("virus", [0.1, 3.6, 4.0]), [390, 1860, 1860], rtol=0, atol=0)
    # 40 mJ/cm2 is half a log of virus
    assert credited_log("virus", 400.0) == 0.5


def test_demands(agree):
    agree("A11_class_a", DEMANDS["nsf_55_class_a"].value / 10)
    agree("A11_class_b", DEMANDS["nsf_55_class_b"].value / 10)
    agree("A12_austria", DEMANDS["austria"].value)
    agree("A12_germany", DEMANDS["germany"].value)
    purifier = [DEMANDS[f"purifier_1987_{k}"].value for k in ("bacteria", "virus", "cyst")]
    agree("A13_purifier", purifier)


def test_every_source_exists():
    for entry in (*DEMANDS.values(), *ORGANISMS.values()):
        assert cite(entry.source)


@pytest.mark.parametrize("name", ORGANISMS)
def test_organisms(name):
    organism = ORGANISMS[name]
    logs = np.linspace(0.5, organism.measured_log, 8)
    doses = organism.response.dose_for(logs)
    assert np.all(np.diff(doses) > 0)
    assert_allclose(organism.response.log_inactivation(doses), logs, rtol=1e-12, atol=0)
    assert_allclose(claimable_log(40.0, organism), organism.measured_log, rtol=0, atol=0)


def test_ms2_band():
    low, high = ms2_acceptance(np.array([200.0, 800.0]))
    assert_allclose(low, [0.8616, 2.9856], rtol=1e-12, atol=0)
    assert_allclose(high, [1.464, 5.184], rtol=1e-12, atol=0)
    # measured and reference MS2 both lie in it
    dose = np.array([160.0, 340.0, 520.0, 710.0])
    low, high = ms2_acceptance(dose)
    for key in ("ms2", "ms2_measured"):
        log = ORGANISMS[key].response.log_inactivation(dose)
        assert np.all((low < log) & (log < high))


@pytest.mark.parametrize(
    "call",
    [
        lambda: credited_log("crypto", 100.0),
        lambda: credited_log("virus", -1.0),
        lambda: credited_log("virus", np.nan),
        lambda: dose_for_credit("virus", 4.5),
        lambda: dose_for_credit("virus", 0.0),
        lambda: ms2_acceptance(-1.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
