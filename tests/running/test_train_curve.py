"""The train as a load: held against the flowsheet, and its limits at the ends of the dial."""

from __future__ import annotations

import numpy as np
import pytest

from treatsim import cases
from treatsim.power.sun import DAYS
from treatsim.running.train_curve import curve_of
from treatsim.safety.verdict import judge

DIAL = "high_pressure_pump.flow"


@pytest.fixture(scope="module")
def sea():
    case = cases.load("cases/sea.toml")
    return case, curve_of(case, case.sections["operation"], DAYS)


def test_the_curve_is_the_flowsheet_within_its_stated_error(sea):
    case, curve = sea
    setting = np.linspace(curve.setting[0, 0], curve.setting[0, -1], 17)
    verdict = judge(case.solve({DIAL: setting}))
    flow = np.asarray(verdict.value("product.flow").value)
    power = flow * np.asarray(verdict.value("energy.specific").value)
    assert np.max(np.abs(curve.flow[0] / flow - 1)) <= 2 * curve.error + 1e-9
    assert np.max(np.abs(curve.power[0] / power - 1)) <= 4 * curve.error + 1e-9


def test_the_dial_stops_where_a_limit_would_be_missed(sea):
    case, curve = sea
    edge = np.interp(curve.full[0], curve.power[0], curve.setting[0])
    stated = 2.4 / 3600
    assert edge < stated  # what the case allows is cut short by a limit
    assert not judge(case.solve({DIAL: np.array([edge * (1 - 1e-6)])})).broken[0]
    assert judge(case.solve({DIAL: np.array([stated])})).broken[0]
