"""How long `describe` takes, over the start of numpy; -m benchmark.

    PYTHONPATH=tests python -m benchmarks.bench_describe

Both are new processes started in turn, so that a busy machine hits both. First: nothing is kept of
an earlier run but the tables of waters; again: the description is. Compiled code is kept in a
folder of its own, as an installation has it: without that, two seconds in five are compiling.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from benchmarks.side_by_side import line, side_by_side

from treatsim import kept

ROOT = Path(__file__).parents[2]
# starts of numpy (0.06 s idle): lists, kinds and tables first; cases first; all again
FIRST, CASES, AGAIN = 2.0, 3.0, 1.0
SUBJECTS = (
    [],
    ["uv_reactor"],
    ["ro_vessel"],
    ["water"],
    ["cases/river.toml"],
    ["cases/river.toml", "uv.dose_credited"],
    ["cases/sea.toml"],
    ["cases/sea_two_pass.toml"],
)

pytestmark = pytest.mark.benchmark


def started(code: str, folder: str, first: bool = False):
    """Return a function that runs `code` in a new process."""
    paths = {
        "PYTHONPATH": str(kept.PACKAGE.parent),
        "PYTHONPYCACHEPREFIX": f"{folder}/code",
        "TREATSIM_CACHE": folder,
    }
    environment = os.environ | paths
    environment.pop("PYTHONDONTWRITEBYTECODE", None)

    def run() -> None:
        for path in Path(folder).glob("described-*") if first else ():
            path.unlink()
        subprocess.run(
            [sys.executable, "-c", code],
            check=True,
            stdout=subprocess.DEVNULL,
            timeout=60,
            cwd=ROOT,
            env=environment,
        )

    run()
    return run


def times(names: list[str], first: bool):
    """Start of numpy and `describe`, alternately."""
    code = f"from treatsim.cli import main; main(['describe', *{names!r}])"
    with tempfile.TemporaryDirectory() as folder:
        describe = started(code, folder, first)
        return side_by_side(started("import numpy", folder), describe, rounds=5)


@pytest.mark.parametrize("names", SUBJECTS, ids="_".join)
def test_describe_answers_at_once(names):
    found = times(names, first=False)
    print("\n" + line(f"numpy over describe {' '.join(names)}, again", found))
    assert 1 / found.ratio < AGAIN


def goal(names: list[str], first: bool) -> float:
    """Return the most starts of numpy that a description is to take."""
    case = any(name.endswith(".toml") for name in names)
    return (CASES if case else FIRST) if first else AGAIN


if __name__ == "__main__":
    for subject in SUBJECTS:
        for first in (True, False):
            name = f"numpy over describe {' '.join(subject)}, {'first' if first else 'again'}"
            print(line(name, times(subject, first)), f"goal 1 / {goal(subject, first):g}")
