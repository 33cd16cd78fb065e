"""Stored tables of a test run: built by the code under test, in a folder that ends with the run."""

from __future__ import annotations

import os
import shutil
import tempfile

import hypothesis
import pytest

# a busy machine is no fault of the code
hypothesis.settings.register_profile("any machine", deadline=None)
hypothesis.settings.load_profile("any machine")

# folders and files that share what is dear to make; any other file stands alone
TOGETHER = ("tests/architecture/", "tests/page/", "tests/validation/test_ro_")
VARIABLE = "TREATSIM_CACHE"
FOLDER = pytest.StashKey[str]()


def pytest_configure(config):
    """Start with an empty folder; processes started from here, workers too, inherit it."""
    if not hasattr(config, "workerinput"):
        folder = tempfile.mkdtemp(prefix="treatsim-tests-")
        config.stash[FOLDER] = os.environ[VARIABLE] = folder
        # else each process that a test starts would compile the package anew
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_unconfigure(config):
    if folder := config.stash.get(FOLDER, None):
        shutil.rmtree(folder, ignore_errors=True)
        os.environ.pop(VARIABLE, None)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Give each file to one process, so that what its tests share is made once."""
    from xdist.scheduler import LoadScopeScheduling

    class Whole(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.partition("::")[0]
            return next((place for place in TOGETHER if file.startswith(place)), file)

    config.option.loadscopereorder = False  # as collected: small files come last and fill up
    return Whole(config, log) if config.getoption("dist") == "load" else None


@pytest.fixture(scope="session")
def browser():
    """A real browser for a whole run; see `browser.py`."""
    from browser import launched

    with launched() as found:
        yield found
