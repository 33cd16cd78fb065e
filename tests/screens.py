"""Take the pictures of pages for the gallery anew: python tests/screens.py, in the checkout.

They need a browser, so `treatsim figures` does not draw them. Each carries a key of the texts it
shows, by which a test notices that it is out of date.
"""

from __future__ import annotations

import hashlib
import io
import sys
import tempfile
from pathlib import Path

from browser import launched, opened
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from treatsim import cases
from treatsim.report import gallery
from treatsim.report.sheet import html, paper
from treatsim.report.sheet.blocks import Sheet
from treatsim.report.sheet.content import sheet_of
from treatsim.safety.verdict import judge

CASE, DAY = "cases/river_chlorine.toml", "2026-11-26"
SIDES = {"front": "river_chlorine-sheet-front.png", "back": "river_chlorine-sheet-back.png"}
KEY = "texts"  # of the picture's own remarks
GREYS = 16


def sheet() -> Sheet:
    """Return the sheet that is shown."""
    case = cases.load(CASE)
    return sheet_of(case, judge(case.solve()), "si", DAY)


def key(shown: Sheet) -> str:
    """Return a key of all that is to be read."""
    return hashlib.sha256("\n".join(shown.texts()).encode()).hexdigest()


def small(png: bytes) -> Image.Image:
    """Return a picture in few greys."""
    return Image.open(io.BytesIO(png)).convert("L").quantize(GREYS)


def main() -> None:
    """Write the pictures."""
    shown = sheet()
    remarks = PngInfo()
    remarks.add_text(KEY, key(shown))
    with tempfile.TemporaryDirectory() as folder, launched() as browser:
        file = Path(folder) / "sheet.html"
        file.write_text(html.html_text(shown, paper.planned(shown, "a4")), "utf-8")
        with opened(browser, file) as page:
            page.emulate_media(media="print")
            for side, name in SIDES.items():
                picture = small(page.locator(f".{side}").screenshot())
                out = Path(gallery.GALLERY_FOLDER) / name
                picture.save(out, optimize=True, pnginfo=remarks)
                sys.stdout.write(f"{out}\n")


if __name__ == "__main__":
    main()
