"""A page in Markdown (CommonMark with tables): for threads and wikis; pictures are named, not drawn."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from ..cautions import DEFER, Caution
from ..cautions.caution import grouped
from ..planning import Checklist
from ..tables import Table
from .blocks import Block, Points, Section, Sketch

__all__ = ["as_markdown", "escaped"]

_SIGNS = re.compile(r"([\\`*_{}\[\]~|#$])")
_FIRST = re.compile(r"^(?:([-+=])|(\d+)([.)])(?=\s|$))")
"""What makes a line a list, a rule or a heading."""


def as_markdown(title: str, under: str, sections: Sequence[Section], cautions: Sequence[Caution], made: Table) -> str:
    """Return the page as Markdown; parameters as in `as_html`."""
    said = [sentence for section in sections for sentence in section.said]
    parts = [f"# {escaped(title)}", escaped(under)]
    if said:
        parts += ["**In short**", _list(said)]
    for section in sections:
        if section.blocks:
            parts.append(f"## {escaped(section.title)}")
            parts += [part for block in section.blocks for part in _block(block)]
    parts.append("## Cautions")
    for heading, group in grouped(cautions):
        parts += [f"### {escaped(heading)}", _list([f"{caution.text} ({caution.source})" for caution in group])]
    parts += [escaped(DEFER), "## How this page was made", *_block(made)]
    return "\n\n".join(part for part in parts if part) + "\n"


def escaped(text: str) -> str:
    """Return a text in one line that Markdown shows as it is: no markup, no HTML, no cell or line of its own."""
    kept = "".join(c if c.isprintable() or c == " " else " " for c in text)
    line = " ".join(kept.split())
    line = line.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    line = _SIGNS.sub(r"\\\1", line)
    # a bare address becomes a link by itself
    line = re.sub(r"(?i)(https?|ftp)://", r"\1:&#47;&#47;", line).replace("www.", "www&#46;")
    return _FIRST.sub(lambda m: f"\\{m[1]}" if m[1] else f"{m[2]}\\{m[3]}", line)


def _list(sentences: Sequence[str]) -> str:
    return "\n".join(f"- {escaped(sentence)}" for sentence in sentences)


def _block(block: Block) -> Iterator[str]:
    if isinstance(block, str):
        yield escaped(block)
    elif isinstance(block, Points):
        if block.heading:
            yield f"### {escaped(block.heading)}"
        yield _list(block.sentences)
    elif isinstance(block, Sketch):
        yield f"*Picture on the page in HTML: {escaped(block.words)}.*"
    elif isinstance(block, Checklist):
        yield f"### {escaped(block.title)}"
        for heading, items in block.steps:
            yield f"**{escaped(heading)}**"
            yield "\n".join(f"- [ ] {escaped(item)}" for item in items)
    else:
        if block.title:
            yield f"**{escaped(block.title)}**"
        yield _table(block)
        if block.notes:
            yield _list(block.notes)


def _table(table: Table) -> str:
    right = [table.stands_right(i) for i in range(len(table.columns))]
    lines = [[escaped(column.title) for column in table.columns], ["---:" if r else ":---" for r in right]]
    lines += [
        [escaped(column.show(cell)) for column, cell in zip(table.columns, row, strict=True)] for row in table.rows
    ]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)
