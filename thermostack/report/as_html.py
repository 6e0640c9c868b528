"""A page in HTML: one file, all text escaped, light or dark as the reader's system is, fit to print."""

from __future__ import annotations

import base64
import html
from collections.abc import Iterator, Sequence

from ..cautions import Caution
from ..cautions import as_html as cautions_as_html
from ..planning import Checklist
from ..tables import Column, Table
from .blocks import Block, Points, Section, Sketch

__all__ = ["as_html"]

STYLE = """
:root { color-scheme: light dark; --ink: #1b1d21; --soft: #5b616b; --ground: #ffffff; --raised: #f5f6f8;
  --line: #d4d8de; --mark: #0b5a8a; --warn: #a14a00 }
@media (prefers-color-scheme: dark) { :root { --ink: #e6e8eb; --soft: #a3aab5; --ground: #15171a; --raised: #1f2226;
  --line: #3a3f46; --mark: #7cc0ea; --warn: #f0a45c } }
* { box-sizing: border-box }
body { margin: 0 auto; padding: 2.2rem 1.4rem 4rem; max-width: 60rem; background: var(--ground); color: var(--ink);
  font: 16px/1.55 system-ui, "Segoe UI", "Helvetica Neue", "Noto Sans", Arial, sans-serif }
h1 { font-size: 1.75rem; line-height: 1.25; margin: 0 0 .3rem; overflow-wrap: anywhere }
h2 { font-size: 1.25rem; line-height: 1.3; margin: 2.6rem 0 .6rem; padding-top: .8rem;
  border-top: 1px solid var(--line); overflow-wrap: anywhere }
h3 { font-size: 1.05rem; margin: 1.6rem 0 .4rem }
h4 { font-size: 1rem; margin: 1.1rem 0 .3rem }
p, ul, ol { margin: .4rem 0 .8rem }
li { margin: .15rem 0 }
.under { color: var(--soft); margin: 0 0 1.4rem }
.short { background: var(--raised); border-left: 4px solid var(--mark); padding: .7rem 1.1rem; margin: 1.2rem 0 }
.short ul { padding-left: 1.1rem; margin: .3rem 0 }
nav ol { columns: 2; column-gap: 2rem; padding-left: 1.4rem; font-size: .92rem }
nav a { color: var(--mark) }
.wide { overflow-x: auto; margin: 1rem 0 1.2rem }
table { border-collapse: collapse; font-size: .86rem; line-height: 1.4 }
caption { text-align: left; font-weight: 600; font-size: .95rem; padding: 0 0 .35rem }
th, td { padding: .3rem .9rem .3rem 0; vertical-align: top; text-align: left; font-weight: 400 }
th:last-child, td:last-child { padding-right: 0 }
thead th { font-weight: 600; border-bottom: 1.5px solid var(--ink); vertical-align: bottom; min-width: 3.2rem }
tbody tr + tr > * { border-top: 1px solid var(--line) }
.number { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap }
thead .number { white-space: normal }
.brief { white-space: nowrap }
thead .brief { white-space: normal }
.long { min-width: 9.5rem; max-width: 32rem }
.notes { color: var(--soft); font-size: .82rem; margin: -.7rem 0 1.4rem; padding: 0; list-style: none }
.notes li { margin: .1rem 0; overflow-wrap: anywhere }
figure { margin: 1.2rem 0; break-inside: avoid }
figure img { display: block; max-width: 100%; height: auto; background: #fff; border: 1px solid var(--line);
  border-radius: 4px; padding: .5rem }
figcaption { color: var(--soft); font-size: .85rem; margin-top: .3rem }
.ticks ul { list-style: none; padding-left: 1.7rem }
.ticks li { position: relative; margin: .35rem 0; break-inside: avoid }
.ticks li::before { content: "☐"; position: absolute; left: -1.6rem }
.cautions section { border-left-color: var(--warn) !important }
.cautions h4:first-child { margin-top: 0 !important }
small { color: var(--soft) }
@media print {
  @page { margin: 16mm 14mm }
  :root { color-scheme: light; --ink: #000; --soft: #444; --ground: #fff; --raised: #f3f3f3; --line: #bbb;
    --mark: #000; --warn: #000 }
  body { max-width: none; padding: 0; font-size: 10pt; line-height: 1.4 }
  nav { display: none }
  h1 { font-size: 16pt } h2 { font-size: 12.5pt; margin-top: 1.3rem } h3 { font-size: 11pt }
  h2, h3, h4, caption { break-after: avoid }
  tr, figure, .short { break-inside: avoid }
  .wide { overflow: visible }
  table { font-size: 7.6pt; width: auto; max-width: 100% }
  table.few { break-inside: avoid }
  caption { font-size: 9.5pt } .notes { font-size: 7.4pt } figcaption { font-size: 8.5pt }
  th, td { padding-right: .45rem }
  thead th { min-width: 0 }
  .long { min-width: 6rem }
  .number, .brief { white-space: normal }
  figure img { border: 0; padding: 0; max-height: 105mm }
}
""".strip()
LONG = 34
"""Characters from which a column of text is given room to break into lines."""
BRIEF = 24
"""Characters up to which a text stays in one line."""
FEW = 14
"""Rows up to which a table is not broken over two printed pages."""


def as_html(
    title: str, under: str, sections: Sequence[Section], cautions: Sequence[Caution], made: Table, language: str = "en"
) -> str:
    """Return the page as one HTML document that fetches nothing.

    Parameters
    ----------
    title, under : str
        Heading, and the line below it.
    sections : sequence of Section
    cautions : sequence of Caution
        Of all sections.
    made : Table
        How the page was made: versions and seeds.
    language : str
        Of the text.
    """
    said = [sentence for section in sections for sentence in section.said]
    listed = [section for section in sections if section.blocks]
    names = [*[section.title for section in listed], "Cautions", "How this page was made"]
    body = [f"<h1>{_text(title)}</h1>", f'<p class="under">{_text(under)}</p>']
    if said:
        points = "\n".join(f"<li>{_text(sentence)}</li>" for sentence in said)
        body.append(f'<div class="short"><strong>In short</strong>\n<ul>\n{points}\n</ul></div>')
    entries = "\n".join(f'<li><a href="#part-{i}">{_text(name)}</a></li>' for i, name in enumerate(names, 1))
    body.append(f'<nav aria-label="Contents">\n<ol>\n{entries}\n</ol></nav>')
    for i, section in enumerate(listed, 1):
        body.append(f'<h2 id="part-{i}">{_text(section.title)}</h2>')
        body += [_block(block) for block in section.blocks]
    body.append(f'<h2 id="part-{len(names) - 1}">Cautions</h2>')
    body.append(f'<div class="cautions">{cautions_as_html(cautions)}</div>')
    body.append(f'<h2 id="part-{len(names)}">How this page was made</h2>')
    body.append(_block(made))
    return "\n".join(
        [
            "<!DOCTYPE html>",
            f'<html lang="{_text(language)}">',
            "<head>",
            '<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            # nothing is fetched and nothing runs, whatever a text may hold
            '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; img-src data:; '
            "style-src 'unsafe-inline'\">",
            f"<title>{_text(title)}</title>",
            f"<style>\n{STYLE}\n</style>",
            "</head>",
            "<body>",
            "<main>",
            *body,
            "</main>",
            "</body>",
            "</html>",
            "",
        ]
    )


def _text(text: str) -> str:
    """Return a text in one line, escaped, without control characters (which HTML does not allow)."""
    kept = "".join(c if c.isprintable() or c == " " else " " for c in text)
    return html.escape(" ".join(kept.split()))


def _block(block: Block) -> str:
    if isinstance(block, str):
        return f"<p>{_text(block)}</p>"
    if isinstance(block, Points):
        heading = f"<h3>{_text(block.heading)}</h3>\n" if block.heading else ""
        points = "\n".join(f"<li>{_text(sentence)}</li>" for sentence in block.sentences)
        return f"{heading}<ul>\n{points}\n</ul>"
    if isinstance(block, Sketch):
        data = base64.b64encode(block.svg).decode("ascii")
        words = _text(block.words)
        style = f"width:{block.width * 96:.0f}px"
        return (
            f'<figure><img src="data:image/svg+xml;base64,{data}" alt="{words}" style="{style}">'
            f"<figcaption>{words[:1].upper()}{words[1:]}</figcaption></figure>"
        )
    if isinstance(block, Checklist):
        return "\n".join(['<div class="ticks">', *_ticks(block), "</div>"])
    return _table(block)


def _ticks(checklist: Checklist) -> Iterator[str]:
    yield f"<h3>{_text(checklist.title)}</h3>"
    for heading, items in checklist.steps:
        ticks = "\n".join(f"<li>{_text(item)}</li>" for item in items)
        yield f"<h4>{_text(heading)}</h4>\n<ul>\n{ticks}\n</ul>"


def _table(table: Table) -> str:
    kinds = [_class_of(table, i, column) for i, column in enumerate(table.columns)]
    head = "".join(f'<th scope="col"{k}>{_text(c.title)}</th>' for c, k in zip(table.columns, kinds, strict=True))
    rows = []
    for row in table.rows:
        shown = [_text(column.show(cell)) for column, cell in zip(table.columns, row, strict=True)]
        first = f'<th scope="row"{kinds[0]}>{shown[0]}</th>'
        rows.append(
            f"<tr>{first}" + "".join(f"<td{k}>{s}</td>" for s, k in zip(shown[1:], kinds[1:], strict=True)) + "</tr>"
        )
    caption = f"<caption>{_text(table.title)}</caption>\n" if table.title else ""
    notes = "".join(f"<li>{_text(note)}</li>" for note in table.notes)
    size = ' class="few"' if len(rows) <= FEW else ""
    return (
        f'<div class="wide"><table{size}>\n{caption}<thead><tr>{head}</tr></thead>\n<tbody>\n'
        + "\n".join(rows)
        + "\n</tbody></table></div>"
        + (f'\n<ul class="notes">{notes}</ul>' if notes else "")
    )


def _class_of(table: Table, index: int, column: Column) -> str:
    if table.stands_right(index):
        return ' class="number"'
    longest = max((len(column.show(row[index])) for row in table.rows), default=0)
    return ' class="long"' if longest > LONG else ' class="brief"' if longest <= BRIEF else ""
