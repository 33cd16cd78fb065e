"""The face of the sheet: DejaVu Sans, which comes with matplotlib, as far as it is used."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
SHAPED = ("R", "AL", "AN", "NSM")  # written from the right, or joined: a PDF would garble them


def font_file(name: str) -> Path:
    """Return the file of one face."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts/ttf" / f"{name}.ttf"


@cache
def register() -> None:
    """Let the PDF writer know both faces."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name in (PLAIN, BOLD):
        pdfmetrics.registerFont(TTFont(name, str(font_file(name))))


@cache
def _letters() -> frozenset[int]:
    from fontTools.ttLib import TTFont

    with TTFont(font_file(PLAIN), lazy=True) as plain, TTFont(font_file(BOLD), lazy=True) as bold:
        return frozenset(plain.getBestCmap()) & frozenset(bold.getBestCmap())


def showable(text: str) -> str:
    """Return a text in which every letter that the PDF cannot show stands as its number."""

    def one(letter: str) -> str:
        fits = ord(letter) in _letters() and unicodedata.bidirectional(letter) not in SHAPED
        return letter if fits else f"\\u{ord(letter):04x}"

    return "".join(map(one, text))


def subset(name: str, texts: Iterable[str]) -> bytes:
    """Return one face with the letters of some texts only, as a WOFF file."""
    from fontTools import subset as cut

    options: Any = cut.Options(flavor="woff", layout_features=[], hinting=False)
    options.drop_tables += ["FFTM"]  # of the drawing program; nobody else reads it
    font = cut.load_font(str(font_file(name)), options)
    chooser = cut.Subsetter(options)
    chooser.populate(text="".join(texts))
    chooser.subset(font)
    font["head"].modified = font["head"].created  # the same bytes every time
    buffer = io.BytesIO()
    font.flavor = "woff"
    font.save(buffer, reorderTables=True)
    font.close()
    return buffer.getvalue()
