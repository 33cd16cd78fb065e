"""What is built against what was measured; the rows say how far a measurement can be trusted."""

from __future__ import annotations

import measured
import pytest
from evidence import CHECKS, DATA

FILES = {path.stem for path in (DATA / "measured").glob("*.toml")}
ROWS = [key for key, row in CHECKS.items() if "given" in row]


@pytest.mark.parametrize("key", ROWS)
def test_measurement(agree, key):
    quantity = key.split("_", 1)[1]  # the name after the number is the function's
    agree(key, getattr(measured, quantity)(**CHECKS[key]["given"]))


def test_there_are_measurements_of_every_subject():
    assert {"osmosis", "chemistry", "uv", "safety", "pretreatment", "ro", "sun"} == FILES
    assert len(ROWS) >= 100
    assert all(CHECKS[key]["kind"] == "measurement" for key in ROWS)
