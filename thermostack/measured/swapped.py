"""Whether the readings before and after a mod were given the wrong way round."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

from ..errors import ThermostackWarning
from .reading import Reading

__all__ = ["warn_if_swapped"]


def warn_if_swapped(before: Sequence[Reading], after: Sequence[Reading]) -> str | None:
    """Warn if readings before and after a mod look swapped, and return the warning's text.

    By the dates of the logs where they tell; else by the names of their files, where one says "after" that was given as
    before, or the other way round.
    """
    text = _by_date(before, after) or _by_name(before, after)
    if text:
        text += ": are before and after swapped?"
        warnings.warn(text, ThermostackWarning, stacklevel=2)
    return text


def _by_date(before: Sequence[Reading], after: Sequence[Reading]) -> str | None:
    first = [reading for reading in after if reading.start is not None]
    last = [reading for reading in before if reading.start is not None]
    for a in first:
        for b in last:
            assert a.start is not None
            assert b.start is not None
            if (a.start.tzinfo is None) == (b.start.tzinfo is None) and a.start < b.start:
                when = f"{a.start:%Y-%m-%d %H:%M}, {b.source} (before) {b.start:%Y-%m-%d %H:%M}"
                return f"{a.source} (after) was recorded {when}"
    return None


def _by_name(before: Sequence[Reading], after: Sequence[Reading]) -> str | None:
    for readings, given, other in ((before, "before", "after"), (after, "after", "before")):
        for reading in readings:
            name = reading.source.casefold()
            if other in name and given not in name:
                return f"{reading.source} was given as {given}"
    return None
