"""Tables for a notebook, as HTML."""

from __future__ import annotations

from collections.abc import Sequence


def html_table(
    headings: Sequence[str], rows: Sequence[Sequence[str]], total: int = 0, title: str = ""
) -> str:
    """Return rows for a notebook; everything from the case is escaped.

    `total` counts the rows there are, if more than those shown.
    """
    import html  # with its table of signs not needed by a command

    head = "".join(f"<th>{html.escape(text)}</th>" for text in headings)
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(text)}</td>" for text in row) + "</tr>" for row in rows
    )
    rest = total - len(rows)
    more = f"<p>{rest} more row{'' if rest == 1 else 's'}</p>" if rest > 0 else ""
    caption = f"<caption>{html.escape(title)}</caption>" if title else ""
    return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"
