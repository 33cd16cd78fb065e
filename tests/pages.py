"""Pages of the demo cases, each made once a process, with what its numbers are carried by."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple
from unittest import mock

from command import ROOT, treatsim

from treatsim.report import dial_page
from treatsim.safety.verdict import Verdict
from treatsim.studies.carriage import Carriage


class Page(NamedTuple):
    """A page as `treatsim page` writes it, and what it was made of."""

    text: str
    case: Any
    verdict: Verdict
    carriage: Carriage


@cache
def page(name: str) -> Page:
    """Make the page of a demo case; the dear part is what carries its numbers."""
    carry, seen = dial_page.carry, []

    def remembered(case, verdict, *arguments):
        seen.append((case, verdict, carry(case, verdict, *arguments)))
        return seen[-1][2]

    with mock.patch.object(dial_page, "carry", remembered), tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "page.html"
        run = treatsim("page", ROOT / f"cases/{name}.toml", "--out", file)
        assert run.status == 0, run.err
        return Page(file.read_text("utf-8"), *seen[0])
