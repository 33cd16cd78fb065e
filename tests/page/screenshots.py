"""Take the gallery's pictures of the page: python tests/page/screenshots.py, in a checkout."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from browser import launched, opened  # noqa: E402

from treatsim import cli  # noqa: E402

FULL_SPEED = """() => {
  const entry = document.getElementById("number-0");
  entry.value = "100";
  entry.dispatchEvent(new Event("input"));
}"""

TO_THE_HELP = """() => window.scrollTo(0,
  document.getElementById("help").getBoundingClientRect().top + window.scrollY - 420)"""


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, launched() as browser:
        file = Path(folder) / "page.html"
        cli.main(["page", str(ROOT / "cases/river.toml"), "--out", str(file)])
        with opened(browser, file, 360, 1180) as page:
            page.wait_for_selector("body[data-ready]", timeout=60_000)
            page.evaluate(FULL_SPEED)
            page.evaluate(TO_THE_HELP)
            page.wait_for_timeout(1000)
            page.screenshot(path=ROOT / "figures/river-page-phone.png")
        with opened(browser, file, 1000, 690) as page:
            page.wait_for_selector("body[data-ready]", timeout=60_000)
            page.wait_for_timeout(1000)
            page.screenshot(path=ROOT / "figures/river-page-desk.png")


if __name__ == "__main__":
    main()
