"""A page to publish."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from ..cautions import Caution
from ..errors import InputError
from ..tables import Table
from ..textfile import write_whole
from .as_html import as_html
from .as_markdown import as_markdown
from .blocks import Section

__all__ = ["Page"]


@dataclass(frozen=True, eq=False)
class Page:
    """Results, ready to be read by others. Made by `page`.

    Attributes
    ----------
    title, under : str
        Heading, and the line below it.
    sections : tuple of Section
    cautions : tuple of Caution
        Of all sections, each once.
    made : Table
        Versions and seeds.
    """

    title: str
    under: str
    sections: tuple[Section, ...]
    cautions: tuple[Caution, ...]
    made: Table

    @cached_property
    def html(self) -> str:
        """One HTML document that fetches nothing and runs nothing; light or dark as the reader's system; printable."""
        return as_html(self.title, self.under, self.sections, self.cautions, self.made)

    @cached_property
    def markdown(self) -> str:
        """CommonMark with tables; pictures are named, not drawn."""
        return as_markdown(self.title, self.under, self.sections, self.cautions, self.made)

    def write(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the page, as a whole or not at all.

        Parameters
        ----------
        path : str or path
            Ends in ``.html`` or ``.md``, which says what is written.
        overwrite : bool
            Whether a file that is there may be replaced.

        Raises
        ------
        InputError
            Another ending.
        FileError
            There is a file already, or it cannot be written; what was there is as it was.
        """
        ending = Path(path).suffix.casefold()
        if ending in (".html", ".htm"):
            return write_whole(path, self.html, overwrite=overwrite)
        if ending in (".md", ".markdown"):
            return write_whole(path, self.markdown, overwrite=overwrite)
        raise InputError(f"{ending or 'no ending'} is not known", where=os.fspath(path), expected=".html or .md")

    def __str__(self) -> str:
        return self.markdown

    def __repr__(self) -> str:
        return f"<Page {self.title!r}: {', '.join(s.title for s in self.sections if s.blocks)}>"
