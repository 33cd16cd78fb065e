"""The sheet as one HTML file of two sides: its face and its picture lie in the file."""

from __future__ import annotations

import base64
import html
from collections.abc import Iterator, Sequence

from treatsim.report.sheet import paper
from treatsim.report.sheet.blocks import Block, Grid, Listing, Picture, Sheet, Words
from treatsim.report.sheet.fonts import BOLD, PLAIN, subset
from treatsim.report.sheet.paper import GAP, LEADING, PAD, Plan

STYLE = """
{faces}
@page {{ size: {width:.2f}pt {height:.2f}pt; margin: 0 }}
* {{ box-sizing: border-box; margin: 0; padding: 0 }}
html {{ font: {size}pt/{leading} sheet, sans-serif; color: #000; background: #fff }}
h1 {{ font-size: {title}em }}
h2 {{ font-size: 1em; margin: {pad}em 0; border-bottom: {rule}pt solid #000 }}
b, h1, h2, th, .loud {{ font-weight: bold }}
.side {{ display: flex; flex-direction: column; width: {width:.2f}pt;
  height: {height:.2f}pt; padding: {margin:.2f}pt;
  overflow-wrap: anywhere; break-after: page }}
.side:last-of-type {{ break-after: auto }}
.answer {{ border: 1.6pt solid #000; padding: {top}em calc(1em - 1.6pt) 0; margin: {gap}em 0 }}
.block {{ padding-bottom: {gap}em }}
.columns {{ display: flex; gap: {gutter:.2f}pt; align-items: flex-start }}
.columns > div {{ width: {column:.2f}pt }}
.back > h1 {{ margin-bottom: {gap}em }}
dl {{ display: grid; grid-template-columns: {indent}em 1fr }}
table {{ border-collapse: collapse; table-layout: fixed; width: 100%; text-align: left;
  margin-bottom: {below}em }}
th, td {{ border: {rule}pt solid #000; padding: {half}em {pad}em; vertical-align: top }}
.number {{ text-align: right }}
img {{ display: block; width: 100% }}
footer {{ margin-top: auto; font-size: {foot}em }}
@media screen {{ html {{ background: #ddd }} .side {{ background: #fff; margin: 8pt auto }} }}
"""


def html_text(sheet: Sheet, plan: Plan) -> str:
    """Return the file."""
    title = html.escape(sheet.title)
    return "\n".join(
        [
            '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            f"<title>{title}</title>\n<style>{_style(sheet, plan)}</style>\n</head>\n<body>",
            f'<section class="side front">\n<h1>{title}</h1>\n<p>{html.escape(sheet.place)}</p>',
            f'<div class="answer">{_block(sheet.answer, plan.width - 2 * plan.size, plan)}</div>',
            _columns(sheet.front, plan.front, plan),
            f"<footer>{html.escape(sheet.foot)}</footer>\n</section>",
            f'<section class="side back">\n<h1>{title}</h1>',
            _columns(sheet.back, plan.back, plan),
            _block(sheet.log, plan.width, plan, plan.rows),
            f"<footer>{html.escape(sheet.foot)}</footer>\n</section>\n</body>\n</html>\n",
        ]
    )


def _style(sheet: Sheet, plan: Plan) -> str:
    width, height = paper.PAPERS[plan.paper]
    texts = list(sheet.texts())
    return STYLE.format(
        faces="\n".join(_face(n, w, texts) for n, w in ((PLAIN, "normal"), (BOLD, "bold"))),
        width=width, height=height, size=plan.size, leading=LEADING, title=paper.TITLE, pad=PAD,
        half=PAD / 2, rule=paper.RULE, margin=paper.MARGIN, gap=GAP, gutter=paper.GUTTER,
        column=plan.column, indent=paper.INDENT, below=paper.BELOW, top=paper.TOP, foot=paper.FOOT,
    )  # fmt: skip


def _face(name: str, weight: str, texts: Sequence[str]) -> str:
    data = base64.b64encode(subset(name, texts)).decode("ascii")
    return (
        f"@font-face {{ font-family: sheet; font-weight: {weight}; "
        f"src: url(data:font/woff;base64,{data}) }}"
    )


def _columns(blocks: Sequence[Block], first: Sequence[bool], plan: Plan) -> str:
    columns = (
        "\n".join(_block(block, plan.column, plan) for block in half)
        for half in paper.halves(blocks, first)
    )
    inner = "\n".join(f"<div>\n{half}\n</div>" for half in columns)
    return f'<div class="columns">\n{inner}\n</div>'


def _block(block: Block, width: float, plan: Plan, blank: int = 0) -> str:
    head = f"<h2>{html.escape(block.head)}</h2>" if block.head else ""
    parts = "\n".join(_part(part, width, plan, blank) for part in block.parts)
    return f'<div class="block">{head}\n{parts}</div>'


def _part(part, width: float, plan: Plan, blank: int) -> str:
    if isinstance(part, Words):
        mark = ' class="loud"' if part.loud else ""
        return f"<p{mark}>{html.escape(part.text)}</p>"
    if isinstance(part, Picture):
        data = base64.b64encode(part.png).decode("ascii")
        words = html.escape(part.words)
        return f'<img alt="{words}" src="data:image/png;base64,{data}">\n<p>{words}</p>'
    if isinstance(part, Grid):
        return "\n".join(_table(part, width, plan, blank))
    assert isinstance(part, Listing)
    lines = zip(part.marks(), part.lines, strict=True)
    inner = "\n".join(f"<dt>{mark}</dt><dd>{html.escape(line)}</dd>" for mark, line in lines)
    return f"<dl>\n{inner}\n</dl>"


def _table(grid: Grid, width: float, plan: Plan, blank: int) -> Iterator[str]:
    widths = paper.column_widths(grid, width, plan.size)
    yield "<table>\n<colgroup>"
    yield "".join(f'<col style="width:{100 * one / sum(widths):.3f}%">' for one in widths)
    yield "</colgroup>"
    for number, row in enumerate(paper.rows_of(grid)):
        head = number == 0 and any(grid.heads)
        loud = ' class="loud"' if paper.face_of(grid, number) == BOLD else ""
        high = f' style="height:{grid.height * paper.MM:.2f}pt"' if grid.height and number else ""
        cells = (
            f"<{'th' if head else 'td'}{'' if n < grid.left else NUMBER}>{html.escape(text)}"
            f"</{'th' if head else 'td'}>"
            for n, text in enumerate(row)
        )
        yield f"<tr{loud}{high}>{''.join(cells)}</tr>"
    empty = f'<tr style="height:{paper.HEIGHT:.2f}pt">{"<td></td>" * len(widths)}</tr>'
    yield from [empty] * blank
    yield "</table>"


NUMBER = ' class="number"'
