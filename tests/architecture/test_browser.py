"""The browser of the tests sees what it is there to see."""

from __future__ import annotations

from browser import opened, overflowing

PAGE = """<!doctype html><meta charset="utf-8"><title>t</title>
<div id="cut" style="width:60px;overflow:hidden;white-space:nowrap">much too long a line</div>
<p>fits</p><img src="https://example.invalid/x.png" alt="">
<script>document.title = "ran"; throw new Error("thrown on purpose")</script>"""


def test_it_sees_cut_text_requests_and_faults(browser, tmp_path):
    file = tmp_path / "page.html"
    file.write_text(PAGE, "utf-8")
    with opened(browser, file) as page:
        assert page.title() == "ran"
        assert [line for line in overflowing(page) if "much too long" in line]
        assert not [line for line in overflowing(page) if "fits" in line and "much" not in line]
        assert page.requests == ["https://example.invalid/x.png"]
        assert [text for text in page.complaints if "thrown on purpose" in text]
