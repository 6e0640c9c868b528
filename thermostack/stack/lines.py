"""Where things stand in a TOML text: the reader of the standard library tells no lines, and a message needs one."""

from __future__ import annotations

import re
import tomllib

__all__ = ["Lines", "Place"]

Place = tuple[str | int, ...]
"""Keys and indices that lead to a value, such as ``("layer", 1, "thickness")``."""

_KEY = r"""(?:"(?:\\.|[^"\\\n])*"|'[^'\n]*'|[A-Za-z0-9_-]+)"""
_DOTTED = rf"{_KEY}(?:[ \t]*\.[ \t]*{_KEY})*"
_STATEMENT = re.compile(rf"[ \t]*(?:(\[\[?)[ \t]*({_DOTTED})[ \t]*\]\]?|({_DOTTED})[ \t]*=)")
_TOKEN = re.compile(
    r'''"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|'[^'\n]*'|\#[^\n]*|[\[\]{}\n]|[^\[\]{}\n"'\#]+|.''',
    re.DOTALL,
)


class Lines:
    """The line of each table, each key and each inline table of an array in a TOML text.

    Parameters
    ----------
    text : str
        Any text; of one that is not TOML, as much is found as can be.
    """

    def __init__(self, text: str) -> None:
        self._line: dict[Place, int] = {}
        self._tables: dict[Place, int] = {}  # how many tables of this name there are so far
        self._scan(text)

    def find(self, place: Place) -> int:
        """Return the line of a place, else that of the nearest table around it; 1 for the text as a whole."""
        return next((self._line[place[:n]] for n in range(len(place), 0, -1) if place[:n] in self._line), 1)

    def keys(self, table: Place) -> list[str | int]:
        """Return the keys of a table in the order of the text; a key that is taken up again stands there again."""
        keys = [place[len(table)] for place in self._line if place[: len(table)] == table and len(place) > len(table)]
        return [key for n, key in enumerate(keys) if n == 0 or keys[n - 1] != key]

    def _scan(self, text: str) -> None:
        position, line, depth, item = 0, 1, 0, 0
        table: Place = ()
        here: Place = ()
        fresh = True  # at the beginning of a statement
        while position < len(text):
            if fresh and (match := _STATEMENT.match(text, position)):
                opened, header, key = match.groups()
                if header is not None:
                    table = here = self._open(_parts(header), several=len(opened) == 2)
                else:
                    here, item = self._resolve(table, _parts(key)), 0
                for length in range(1, len(here) + 1):  # the tables around it begin here, unless they began before
                    self._line.setdefault(here[:length], line)
                position = match.end()
            fresh = False
            token = _TOKEN.match(text, position)
            if token is None:
                return
            mark = token[0]
            if mark == "{" and depth == 1:
                self._line.setdefault((*here, item), line)
                item += 1
            depth = max(depth + (mark in ("[", "{")) - (mark in ("]", "}")), 0)
            line += mark.count("\n")
            fresh = mark == "\n" and depth == 0
            position = token.end()

    def _resolve(self, start: Place, parts: list[str]) -> Place:
        """Return the place that a dotted key names: in an array of tables, the latest one is meant."""
        place = start
        for part in parts:
            place = (*place, part)
            if place in self._tables:
                place = (*place, self._tables[place] - 1)
        return place

    def _open(self, parts: list[str], several: bool) -> Place:
        if not several or not parts:
            return self._resolve((), parts)
        place = (*self._resolve((), parts[:-1]), parts[-1])
        self._tables[place] = self._tables.get(place, 0) + 1
        return (*place, self._tables[place] - 1)


def _parts(dotted: str) -> list[str]:
    """Return the parts of a dotted key, read by the standard library; none of a key that it cannot read."""
    try:
        table = tomllib.loads(f"{dotted} = 0")
    except tomllib.TOMLDecodeError:
        return []
    parts = []
    while isinstance(table, dict):
        part, table = next(iter(table.items()))
        parts.append(part)
    return parts
