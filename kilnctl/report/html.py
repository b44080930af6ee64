"""Parts of our pages: one self-contained HTML file, no scripts, nothing fetched, readable on a phone
and on paper."""

from collections.abc import Iterable, Sequence
from html import escape

from .look import STYLE


def document(title: str, body: str, about: str = "") -> str:
    """A whole page. `body` is HTML; title and about are text."""
    line = f'<p class="faint">{escape(about)}</p>' if about else ""
    view = '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
    head = f"{view}\n<title>{escape(title)}</title><style>{STYLE}</style>"
    top = f"<header><h1>{escape(title)}</h1>{line}</header>"
    return f'<!doctype html>\n<html lang="en"><head>{head}</head><body>\n{top}\n{body}\n</body></html>\n'


def section(title: str, body: str) -> str:
    """A headed part of a page; nothing where there is nothing to say."""
    return f"<h2>{escape(title)}</h2>{body}\n" if body else ""


def table(head: Sequence[str], rows: Iterable[Sequence[str]], words: Sequence[int] = ()) -> str:
    """A table of texts; the columns numbered in `words` hold sentences. Empty without rows. One with many
    columns becomes a stack of small lists on a phone."""
    many = len(head) > 4

    def cell(tag: str, i: int, text: str) -> str:
        kind = " class=words" if i in words else ""
        name = f' data-head="{escape(head[i])}"' if many and tag == "td" else ""
        return f"<{tag}{kind}{name}>{escape(text)}</{tag}>"

    body = "".join("<tr>" + "".join(cell("td", i, c) for i, c in enumerate(row)) + "</tr>" for row in rows)
    if not body:
        return ""
    top = "".join(cell("th", i, h) for i, h in enumerate(head))
    table = f"<thead><tr>{top}</tr></thead><tbody>{body}</tbody>"
    return f'<div class="scroll"><table{" class=many" if many else ""}>{table}</table></div>'


def aside(text: str) -> str:
    """A sentence in small print."""
    return f'<p class="small faint">{escape(text)}</p>'


def facts(pairs: Iterable[tuple[str, str]]) -> str:
    """A list of names and values."""
    listed = "".join(f"<dt>{escape(a)}</dt><dd>{escape(b)}</dd>" for a, b in pairs)
    return f"<dl>{listed}</dl>" if listed else ""


def figures(pairs: Iterable[tuple[str, str]]) -> str:
    """The few numbers that matter, large: (what, value)."""
    cells = (f"<div><b>{escape(value)}</b><span>{escape(what)}</span></div>" for what, value in pairs)
    return f'<div class="figures">{"".join(cells)}</div>'


def notice(text: str, kind: str = "care", strong: str = "") -> str:
    """A framed sentence: "care", or "alarm" for what went wrong."""
    lead = f"<strong>{escape(strong)}</strong> " if strong else ""
    return f'<div class="{kind}" role="{"alert" if kind == "alarm" else "note"}">{lead}{escape(text)}</div>'


def folded(title: str, body: str) -> str:
    """Details that open on a click, and that paper does without."""
    return f"<details><summary>{escape(title)}</summary>{body}</details>" if body else ""
