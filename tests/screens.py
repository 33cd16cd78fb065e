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

from treatsim import cases, cli
from treatsim.report import gallery
from treatsim.report.sheet import html, paper
from treatsim.report.sheet.blocks import Sheet
from treatsim.report.sheet.content import sheet_of
from treatsim.safety.verdict import judge

CASE, DAY = "cases/river_chlorine.toml", "2026-11-26"
PAGE = "cases/river.toml"
PHONE, DESK = "river-page-phone.png", "river-page-desk.png"
FULL_SPEED = """() => {
  const entry = document.getElementById("number-0");
  entry.value = "100";
  entry.dispatchEvent(new Event("input"));
}"""
TO_THE_HELP = """() => window.scrollTo(0,
  document.getElementById("help").getBoundingClientRect().top + window.scrollY - 420)"""
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


def take_sheet(browser, folder: Path) -> None:
    """Write both sides of the sheet."""
    shown = sheet()
    remarks = PngInfo()
    remarks.add_text(KEY, key(shown))
    file = folder / "sheet.html"
    file.write_text(html.html_text(shown, paper.planned(shown, "a4")), "utf-8")
    with opened(browser, file) as page:
        page.emulate_media(media="print")
        for side, name in SIDES.items():
            picture = small(page.locator(f".{side}").screenshot())
            picture.save(Path(gallery.GALLERY_FOLDER) / name, optimize=True, pnginfo=remarks)


def take_page(browser, folder: Path) -> None:
    """Write the page with dials: on a phone, a limit missed; on a desk, as the case stands."""
    file, out = folder / "page.html", Path(gallery.GALLERY_FOLDER)
    cli.main(["page", PAGE, "--out", str(file)])
    with opened(browser, file, 360, 1180) as page:
        page.wait_for_selector("body[data-ready]", timeout=60_000)
        page.evaluate(FULL_SPEED)
        page.evaluate(TO_THE_HELP)
        page.wait_for_timeout(1000)
        page.screenshot(path=out / PHONE)
    with opened(browser, file, 1000, 690) as page:
        page.wait_for_selector("body[data-ready]", timeout=60_000)
        page.wait_for_timeout(1000)
        page.screenshot(path=out / DESK)


def main() -> None:
    """Write the pictures."""
    with tempfile.TemporaryDirectory() as folder, launched() as browser:
        take_sheet(browser, Path(folder))
        take_page(browser, Path(folder))
    for name in (*SIDES.values(), PHONE, DESK):
        sys.stdout.write(f"{Path(gallery.GALLERY_FOLDER) / name}\n")


if __name__ == "__main__":
    main()
