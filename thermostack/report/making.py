"""Put results together to a page."""

from __future__ import annotations

import datetime
import platform
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from importlib.metadata import version
from typing import Any

from ..cautions import Caution
from ..cautions.caution import ordered
from ..errors import InputError
from ..stack.stack import Stack
from ..tables import Column, Table
from .blocks import Block, Section
from .page import Page
from .sections import section_of

__all__ = ["page"]

PACKAGES = ("thermostack", "numpy", "scipy", "pint", "matplotlib")


def page(*results: Any, title: str, author: str = "", date: datetime.date | None = None) -> Page:
    """Put results together to a page to publish, as HTML or Markdown.

    Parameters
    ----------
    *results
        In the order of the page: a `Prediction`, `Comparison`, `Sweep`, `Plan`, check, `State`, `Reading`, a pair
        (log, reading), `Stack`, table, or a text of your own. The stacks that they are about follow with all inputs
        and their sources, then the cautions, versions and seeds.
    title : str
    author : str
        Who measured or reckoned it; left out if empty.
    date : date, optional
        Today if not given.

    Returns
    -------
    Page
        With ``.write("result.html")``, ``.html``, ``.markdown``.

    Raises
    ------
    InputError
        No result, no title, or something that shows itself by no table and no sentence.
    """
    if not results:
        raise InputError("there is nothing to show", where="page", expected="results, in the order of the page")
    if not isinstance(title, str) or not title.strip():
        raise InputError(f"{title!r} is no title", where="page, title", expected="a text")
    sections = [_noted_once(section_of(result)) for result in results]
    stacks = _apart(stack for section in sections for stack in section.stacks)
    if stacks:
        sections.append(Section("Stacks as described", blocks=tuple(stack.table for stack in stacks)))
        sections.append(_inputs(stacks))
    day = (datetime.date.today() if date is None else date).isoformat()
    under = ", ".join(text for text in (author.strip(), day) if text)
    cautions = _once(caution for section in sections for caution in section.cautions)
    seeds = sorted({seed for section in sections for seed in section.seeds})
    return Page(title.strip(), under, tuple(sections), cautions, _made(seeds))


def _noted_once(section: Section) -> Section:
    """Return a section in which a note that stands below several tables stands below the first."""
    seen: set[str] = set()
    blocks: list[Block] = []
    for block in section.blocks:
        if isinstance(block, Table):
            notes = tuple(note for note in block.notes if note not in seen)
            seen |= set(notes)
            block = replace(block, notes=notes)
        blocks.append(block)
    return replace(section, blocks=tuple(blocks))


def _apart(stacks: Iterable[Stack]) -> list[Stack]:
    """Return the stacks that differ in what is described, under the first label of each."""
    found: list[Stack] = []
    for stack in stacks:
        if not any(stack == other and stack.label == other.label for other in found):
            found.append(stack)
    return found


def _inputs(stacks: Sequence[Stack]) -> Section:
    """Return the inputs of all stacks, each once, with its source and what it is an input of."""
    rows: dict[tuple[str, str, str, bool, str], list[str]] = {}
    for stack in stacks:
        for e in stack.inputs():
            if e.path.rpartition(".")[2] in ("centre_x", "centre_y") and e.value.si == 0 and e.value.kind == "exact":
                continue  # in the middle, like all that is not told otherwise
            rows.setdefault((e.path, str(e.value), e.scope, e.assumed, e.source), []).append(stack.label)
    columns = [
        Column("path", "input"), Column("value", "value"), Column("scope", "scope"), Column("assumed", "assumed"),
        Column("source", "source", wrap=60),
    ]  # fmt: skip
    if len(stacks) > 1:
        columns.append(Column("stacks", "of"))
    cells = []
    for row, labels in rows.items():
        whose = ("all",) if len(labels) == len(stacks) else ("; ".join(labels),)
        cells.append((*row, *whose) if len(stacks) > 1 else row)
    notes = (
        "lasting: of this part or material; mount: new with each making of a joint; run: new in each log",
        "sd: one standard uncertainty; limits: rectangular; x/: a factor of one standard deviation, lognormal",
    )
    blocks: tuple[Block, ...] = (Table(tuple(columns), tuple(cells), "Inputs with their sources", notes),)
    return Section("Inputs", blocks=blocks)


def _once(cautions: Iterable[Caution]) -> tuple[Caution, ...]:
    """Return each rule once, with the text that speaks of most parts; again where it has other figures to tell."""
    found: dict[tuple[str, ...], Caution] = {}
    for caution in cautions:
        own = (caution.key, *_figures(caution))
        if own not in found or len(found[own].about) < len(caution.about):
            found[own] = caution
    return ordered(found.values())


def _figures(caution: Caution) -> list[str]:
    text = caution.text
    for name in caution.about:
        text = text.replace(name, "")
    return re.findall(r"\d+(?:\.\d+)?", text)


def _made(seeds: Sequence[int]) -> Table:
    rows = [(name, version(name)) for name in PACKAGES]
    rows += [("python", platform.python_version()), ("seed", ", ".join(map(str, seeds)) or "nothing was drawn")]
    columns = (Column("what", "what"), Column("version", "version", align="left"))
    notes = ("temperatures in °C, differences in K, resistances in K/W and mm²·K/W on the die",)
    return Table(columns, tuple(rows), "Versions and seed", notes)
