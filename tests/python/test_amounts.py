"""A number never parts from its unit: text in the unit people read, arithmetic plain in SI."""

from __future__ import annotations

import json
import pickle

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim import Amount, Amounts, RequestError

# definitions: 1 mJ/cm2 = 10 J/m2, 1 m3/h = 1/3600 m3/s, 1 US gal = 3.785411784 L (NIST SP 811)
DOSE = Amount(120.0, "dose")
FLOW = Amounts([1 / 3600, 2 / 3600, np.nan], "flow")


def test_the_unit_goes_with_the_number():
    assert (DOSE.si, DOSE.unit) == (120.0, "J/m2")
    assert f"{float(DOSE):g} {DOSE.unit}" == "120 J/m2"
    assert str(DOSE) == repr(DOSE) == f"{DOSE}" == "12 mJ/cm2"
    assert f"{DOSE:.1f}" == "12.0 mJ/cm2"
    assert DOSE.to("mJ/cm2") == pytest.approx(12.0, rel=1e-15)
    assert Amount(297.15, "temperature").to("degF") == pytest.approx(75.2, rel=1e-12)
    assert Amount(1 / 3600, "flow").text("us") == "4.403 gal/min"
    assert Amount(0.5, "factor").unit == "1"


def test_arithmetic_is_plain():
    for value in (DOSE * 2, DOSE + 1, -DOSE, round(DOSE, 1), DOSE.si):
        assert type(value) is float
    assert DOSE >= 120
    assert json.dumps([DOSE]) == "[120.0]"
    for plain in (FLOW * 2, FLOW + FLOW, np.diff(FLOW), np.isnan(FLOW), FLOW >= 0, -FLOW):
        assert type(plain) is np.ndarray


def test_many_keep_their_unit():
    assert str(FLOW) == repr(FLOW) == "[1, 2, nan] m3/h"
    assert str(FLOW[1]) == "2 m3/h"
    assert str(FLOW[:2]) == "[1, 2] m3/h"
    assert [str(v) for v in FLOW][:2] == ["1 m3/h", "2 m3/h"]
    assert len(FLOW) == 3
    assert FLOW.shape == (3,)
    assert_allclose(FLOW.to("L/s")[:2], FLOW.si[:2] * 1000, rtol=1e-14)
    assert str(Amounts(np.arange(9.0), "length")) == "[0, 1, 2, ..., 6, 7, 8] m"
    with pytest.raises(AttributeError):
        FLOW.nothing  # noqa: B018


@pytest.mark.parametrize("value", [DOSE, FLOW])
def test_it_can_be_sent_elsewhere(value):
    again = pickle.loads(pickle.dumps(value))
    assert_array_equal(np.asarray(again), np.asarray(value))
    assert again.quantity == value.quantity


def test_a_wrong_unit_is_refused():
    with pytest.raises(RequestError, match='"bar" is no unit of fluence'):
        DOSE.to("bar")
    with pytest.raises(RequestError, match="no unit of volume flow"):
        FLOW.to("m")
