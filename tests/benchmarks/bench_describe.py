"""How long `describe` takes from a cold start, over the start of numpy; -m benchmark.

    PYTHONPATH=tests python -m benchmarks.bench_describe

Both are new processes started in turn, so that a busy machine hits both.
"""

from __future__ import annotations

import subprocess
import sys

import pytest
from benchmarks.side_by_side import line, side_by_side

GOAL = 3.0  # times the start of numpy; a tenth of a second there is 0.3 s here
SUBJECTS = ([], ["uv_reactor"], ["ro_vessel"], ["water"])

pytestmark = pytest.mark.benchmark


def started(code: str):
    """Return a function that runs `code` in a new process."""
    return lambda: subprocess.run(
        [sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL, timeout=60
    )


def times(names: list[str]):
    """Start of numpy and `describe`, alternately."""
    code = f"from treatsim.cli import main; main(['describe', *{names!r}])"
    return side_by_side(started("import numpy"), started(code), rounds=5)


@pytest.mark.parametrize("names", SUBJECTS, ids="_".join)
def test_describe_answers_at_once(names):
    found = times(names)
    print("\n" + line(f"numpy over describe {' '.join(names)}", found))
    assert 1 / found.ratio < GOAL


if __name__ == "__main__":
    for subject in SUBJECTS:
        print(line(f"numpy over describe {' '.join(subject)}", times(subject)))
