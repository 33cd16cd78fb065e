"""Stored tables of a test run: built by the code under test, in a folder that ends with the run."""

from __future__ import annotations

import os
import shutil
import tempfile

import pytest

VARIABLE = "TREATSIM_CACHE"
FOLDER = pytest.StashKey[str]()


def pytest_configure(config):
    """Start with an empty folder; processes started from here, workers too, inherit it."""
    if not hasattr(config, "workerinput"):
        folder = tempfile.mkdtemp(prefix="treatsim-tests-")
        config.stash[FOLDER] = os.environ[VARIABLE] = folder


def pytest_unconfigure(config):
    if folder := config.stash.get(FOLDER, None):
        shutil.rmtree(folder, ignore_errors=True)
        os.environ.pop(VARIABLE, None)


@pytest.fixture(scope="session")
def browser():
    """A real browser for a whole run; see `browser.py`."""
    from browser import launched

    with launched() as found:
        yield found
