"""The compiled march for tests: prepared once a process, by whoever asks first."""

from __future__ import annotations

from functools import cache

import pytest


@cache
def march():
    """Return it; the test is skipped without the extra `fast`."""
    pytest.importorskip("numba", reason="the extra `fast` is not installed")
    from treatsim.correlations.ro import vessel_kept

    found = vessel_kept.prepared(True, lambda march: True)
    assert found is not None
    return found
