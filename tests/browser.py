"""A real browser, driven through Playwright: Chromium as installed on the machine.

Playwright's own download of a browser is not used. Where no Chromium stands on the path (or under
TREATSIM_CHROMIUM) a test that asks for a page is skipped, and says so.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage")
# elements whose text or picture is wider or higher than the box that holds it
OVERFLOWING = """
() => [...document.querySelectorAll('body, body *')]
  .filter(e => e.clientWidth > 0 && getComputedStyle(e).display !== 'inline')
  .filter(e => e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1)
  .map(e => `${e.tagName}.${e.className}: ${e.scrollWidth} x ${e.scrollHeight} in `
    + `${e.clientWidth} x ${e.clientHeight}: ${e.textContent.trim().slice(0, 60)}`)
"""


def executable() -> str | None:
    """Return the path of Chromium, or None."""
    named = os.environ.get("TREATSIM_CHROMIUM")
    return named or next((path for name in NAMES if (path := shutil.which(name))), None)


@contextlib.contextmanager
def launched() -> Iterator[Any]:
    """Yield a running browser; skip where there is none."""
    path = executable()
    if path is None:
        pytest.skip(f"no Chromium on the path: {', '.join(NAMES)}")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


@contextlib.contextmanager
def opened(browser: Any, file: Path, width: int = 1280, height: int = 900) -> Iterator[Any]:
    """Yield a page that shows a local file, at a size of its window in CSS pixels.

    The page has two lists beside Playwright's own names: `requests`, every address asked for after
    the file itself, and `complaints`, what its scripts throw or write as errors.
    """
    context = browser.new_context(viewport={"width": width, "height": height}, offline=True)
    page = context.new_page()
    page.requests, page.complaints = [], []
    address = file.resolve().as_uri()
    page.on("request", lambda r: page.requests.append(r.url))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("console", lambda m: page.complaints.append(m.text) if m.type == "error" else None)
    try:
        page.goto(address)
        page.requests = [url for url in page.requests if url.partition("#")[0] != address]
        yield page
    finally:
        context.close()


def overflowing(page: Any) -> list[str]:
    """Return what is wider or higher than its box."""
    return page.evaluate(OVERFLOWING)
