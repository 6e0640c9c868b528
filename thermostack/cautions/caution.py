"""One caution, and a list of them as text and as HTML."""

from __future__ import annotations

import html
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

from thermostack.errors import InputError

__all__ = ["DEFER", "MEMORY", "PRACTICE", "Caution", "Kind", "as_html", "as_text", "grouped", "ordered"]

Kind = Literal["person", "part", "result"]

DEFER = (
    "These cautions are no instructions and not complete: the documents of the makers of the part, the board, the "
    "cooler and every substance used come first, and so do local codes. Leave work on mains voltage and on "
    "refrigerant circuits to people licensed for it."
)
"""The sentence that stands below every list of cautions."""

PRACTICE = "common practice, no source"
MEMORY = "from memory"

_HEADINGS: dict[Kind, str] = {
    "person": "Danger to a person",
    "part": "Danger to the part",
    "result": "What can spoil the result",
}
_NOTHING = "None of the cautions known here applies, which does not mean that the work is safe."


@dataclass(frozen=True)
class Caution:
    """What can go wrong, and what to do about it.

    Parameters
    ----------
    key : str
        Short name of the rule, once in a list.
    kind : {"person", "part", "result"}
        Who or what is in danger.
    about : tuple of str
        Names of the parts concerned; empty where it is about the work as a whole.
    text : str
        One or two sentences for a practitioner.
    source : str
        Where it comes from, or ``"common practice, no source"`` or ``"from memory"``.
    gravity : int
        From 0 to 99, the graver the higher; orders the cautions of one kind.

    Raises
    ------
    InputError
        If the kind or gravity is not known, or text or source is empty.
    """

    key: str
    kind: Kind
    about: tuple[str, ...]
    text: str
    source: str
    gravity: int = 0

    def __post_init__(self) -> None:
        if self.kind not in get_args(Kind):
            raise InputError(f"{self.kind!r} is not known", where=f"{self.key}.kind", expected="person, part or result")
        if not 0 <= self.gravity <= 99:
            raise InputError(f"{self.gravity!r}", where=f"{self.key}.gravity", expected="0 to 99")
        for field in ("text", "source"):
            if not getattr(self, field).strip():
                raise InputError(f"no {field}", where=f"{self.key}.{field}", expected="a sentence")

    @property
    def weight(self) -> int:
        """Place in a list, the lowest first: danger to a person, then to the part, then to the result."""
        return 100 * get_args(Kind).index(self.kind) + 99 - self.gravity


def ordered(cautions: Iterable[Caution]) -> tuple[Caution, ...]:
    """Return the cautions with danger to a person first, then to the part, then to the result; the gravest first."""
    return tuple(sorted(cautions, key=lambda c: (c.weight, c.key)))


def grouped(cautions: Iterable[Caution]) -> list[tuple[str, list[Caution]]]:
    """Return headings with the cautions below each, in order."""
    listed = ordered(cautions)
    groups = [(heading, [c for c in listed if c.kind == kind]) for kind, heading in _HEADINGS.items()]
    return [(heading, group) for heading, group in groups if group]


def as_text(cautions: Iterable[Caution], width: int = 100) -> str:
    """Return the cautions as plain text, grouped under headings and wrapped.

    Parameters
    ----------
    cautions : iterable of Caution
        In any order.
    width : int
        Longest line, in characters.
    """
    groups = grouped(cautions)
    blocks = [] if groups else [textwrap.fill(_NOTHING, width)]
    for heading, group in groups:
        lines = [
            textwrap.fill(f"{_one_line(c.text)} ({_one_line(c.source)})", width, initial_indent="- ",
                          subsequent_indent="  ")
            for c in group
        ]  # fmt: skip
        blocks.append("\n".join([heading, *lines]))
    return "\n\n".join([*blocks, textwrap.fill(DEFER, width)])


def as_html(cautions: Iterable[Caution]) -> str:
    """Return the cautions as an HTML section; every text is escaped.

    Headings and words carry the meaning. Colours are the page's own, so it reads in light and dark themes alike.
    """
    groups = grouped(cautions)
    blocks = [] if groups else [f"<p>{_NOTHING}</p>"]
    for heading, group in groups:
        items = "\n".join(f"<li>{_item(c)}</li>" for c in group)
        blocks.append(f'<h4 style="margin:0.6em 0 0.2em">{heading}</h4>\n<ul style="margin:0">\n{items}\n</ul>')
    body = "\n".join(blocks)
    return (
        '<section aria-label="Cautions" style="border-left:3px solid currentColor;padding-left:0.8em">\n'
        f"{body}\n<p>{html.escape(DEFER)}</p>\n</section>"
    )


def _item(caution: Caution) -> str:
    marked = "<strong>Danger to a person:</strong> " if caution.kind == "person" else ""
    return f"{marked}{html.escape(_one_line(caution.text))} <small>({html.escape(_one_line(caution.source))})</small>"


def _one_line(text: str) -> str:
    return " ".join(text.split())
