"""The pictures of the sheet in the gallery show the sheet as it is now."""

from __future__ import annotations

import pytest
import screens
from command import ROOT
from PIL import Image

from treatsim.report import gallery


@pytest.fixture(autouse=True)
def _at_the_root(monkeypatch):
    monkeypatch.chdir(ROOT)


def test_the_screens_show_the_sheet_as_it_is():
    now = screens.key(screens.sheet())
    for name in screens.SIDES.values():
        with Image.open(ROOT / gallery.GALLERY_FOLDER / name) as picture:
            assert picture.text[screens.KEY] == now, "run: python tests/screens.py"
            assert picture.height / picture.width == pytest.approx(297 / 210, abs=0.01)
