"""A list to print and tick off at the bench."""

from __future__ import annotations

import html
import textwrap
from dataclasses import dataclass
from typing import Any

from ..cautions import Caution, as_html, as_text

__all__ = ["Checklist"]

BOX = "☐"


@dataclass(frozen=True)
class Checklist:
    """What to do, in order, under headings; the cautions below.

    Attributes
    ----------
    title : str
    steps : tuple of (str, tuple of str)
        Headings with their steps.
    cautions : tuple of Caution
    """

    title: str
    steps: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[Caution, ...]

    def __str__(self) -> str:
        blocks = [_line(self.title)]
        for heading, items in self.steps:
            wrapped = [
                textwrap.fill(_line(item), 100, initial_indent=f"{BOX} ", subsequent_indent="  ") for item in items
            ]
            blocks.append("\n".join([_line(heading), *wrapped]))
        return "\n\n".join([*blocks, as_text(self.cautions)])

    def _repr_html_(self) -> str:
        blocks = [f"<h3>{html.escape(_line(self.title))}</h3>"] if self.title else []
        for heading, items in self.steps:
            ticks = "\n".join(f"<li>{html.escape(_line(item))}</li>" for item in items)
            blocks.append(
                f"<h4>{html.escape(_line(heading))}</h4>\n<ul style=\"list-style:'{BOX}  '\">\n{ticks}\n</ul>"
            )
        return "\n".join([*blocks, as_html(self.cautions)])

    def to_dict(self) -> dict[str, Any]:
        """Return headings, steps and cautions as plain data."""
        return {
            "title": self.title,
            "steps": {heading: list(items) for heading, items in self.steps},
            "cautions": [caution.text for caution in self.cautions],
        }


def _line(text: str) -> str:
    return " ".join(text.split())
