"""The look of our pages: one self-contained HTML file, no scripts, nothing fetched, readable on a phone
and on paper."""

from collections.abc import Iterable, Sequence
from html import escape
from xml.sax.saxutils import quoteattr

_STYLE = """
:root { color-scheme: light; --ink: #1d2433; --faint: #5b6475; --line: #dfe3ea; --warm: #b3400a;
  --alarm: #a3122a; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 64rem; padding: 1.2rem 1.2rem 3rem; font: 16px/1.45 system-ui, sans-serif;
  color: var(--ink); }
header { border-top: 6px solid var(--warm); padding-top: .9rem; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: 0 0 .2rem; }
h2 { font-size: 1.08rem; margin: 1.9rem 0 .45rem; }
p { margin: .35rem 0; }
.faint { color: var(--faint); }
.small { font-size: .86rem; }
.words { text-align: left; white-space: normal; }
.alarm { border-left: 6px solid var(--alarm); padding: .55rem .8rem; background: #fbf0f1; margin: .7rem 0; }
.care { border-left: 6px solid #b98900; padding: .55rem .8rem; background: #fdf7e7; margin: .7rem 0; }
.figures { display: grid; grid-template-columns: repeat(auto-fit, minmax(8.6rem, 1fr)); gap: 1px;
  margin: 1rem 0; }
.figures div { box-shadow: 0 0 0 1px var(--line); padding: .5rem .75rem; }
.figures b { display: block; font-size: 1.25rem; font-weight: 600; font-variant-numeric: tabular-nums; }
.figures span { color: var(--faint); font-size: .86rem; }
.scroll { overflow-x: auto; }
svg { width: 100%; height: auto; display: block; }
.narrow { display: none; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { padding: .28rem 1rem .28rem 0; text-align: right; white-space: nowrap; border-bottom: 1px solid
  var(--line); vertical-align: top; }
th { font-weight: 600; color: var(--faint); font-size: .86rem; }
th:first-child, td:first-child { text-align: left; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .22rem 1.2rem; margin: 0; }
dt { color: var(--faint); }
dd { margin: 0; overflow-wrap: anywhere; }
details summary { cursor: pointer; color: var(--faint); margin: .4rem 0; }
@media (max-width: 640px) {
  body { padding: .9rem .9rem 2rem; }
  .wide { display: none; }
  .narrow { display: block; }
  dl { grid-template-columns: 1fr; gap: 0; }
  dd { margin-bottom: .4rem; }
  th, td { padding-right: .7rem; }
  .many thead { display: none; }
  .many, .many tbody, .many tr { display: block; }
  .many tr { border-bottom: 1px solid var(--line); padding: .35rem 0; }
  .many td { display: flex; justify-content: space-between; gap: 1rem; border: 0; padding: .08rem 0;
    text-align: right; }
  .many td::before { content: attr(data-head); color: var(--faint); }
  .many td:first-child { font-weight: 600; }
  .many td:first-child::before { content: none; }
}
@media print {
  @page { margin: 14mm; }
  html { font-size: 10.5px; }
  body { font-size: 1rem; padding: 0; max-width: none; }
  h2 { break-after: avoid; margin-top: 1.1rem; }
  tr, .alarm, .care, .figures, svg { break-inside: avoid; }
  .narrow { display: none; }
  .wide { display: block; }
  .scroll { overflow: visible; }
}
"""


def document(title: str, body: str, about: str = "") -> str:
    """A whole page. `body` is HTML; title and about are text."""
    line = f'<p class="faint">{escape(about)}</p>' if about else ""
    view = '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
    head = f"{view}\n<title>{escape(title)}</title><style>{_STYLE}</style>"
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
        name = f" data-head={quoteattr(head[i])}" if many and tag == "td" else ""
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
