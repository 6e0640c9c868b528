"""What a page is made of, whatever it is written in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

from ..cautions import Caution
from ..planning import Checklist
from ..stack.stack import Stack
from ..tables import Table

__all__ = ["Block", "Points", "Section", "Sketch"]


@dataclass(frozen=True)
class Points:
    """Sentences as a list, such as notes.

    Attributes
    ----------
    sentences : tuple of str
    heading : str
        Above the list; may be empty.
    """

    sentences: tuple[str, ...]
    heading: str = ""


@dataclass(frozen=True)
class Sketch:
    """A picture as SVG, with what it shows in words.

    Attributes
    ----------
    svg : bytes
        Of one picture, that needs no other file.
    words : str
        For those who cannot see it, and where it is not drawn.
    width : float
        As made. [in]
    """

    svg: bytes
    words: str
    width: float


Block: TypeAlias = "str | Points | Table | Sketch | Checklist"


@dataclass(frozen=True)
class Section:
    """A part of a page.

    Attributes
    ----------
    title : str
    said : tuple of str
        What it comes to, in sentences: these also stand at the head of the page.
    blocks : tuple of Block
    cautions : tuple of Caution
        Listed once for the whole page.
    stacks : tuple of Stack
        That it is about: described once for the whole page.
    seeds : tuple of int
        From which it was drawn.
    """

    title: str
    said: tuple[str, ...] = ()
    blocks: tuple[Block, ...] = ()
    cautions: tuple[Caution, ...] = ()
    stacks: tuple[Stack, ...] = ()
    seeds: tuple[int, ...] = field(default=())
