"""Mods in the trade's words as files hold them: ``relid = "gallium alloy"``, ``lap.lid = { by = "0.1 mm" }``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

from . import mods
from .lines import Place
from .parts import Coolant, Interface, Layer
from .stack import Stack

if TYPE_CHECKING:
    from .reading import _Reader

__all__ = ["EXAMPLES", "applied"]

EXAMPLES = {
    "relid": 'relid = "gallium alloy" or relid = { interface = "gallium alloy", bond_line = "40 um" }',
    "bare_die": 'bare_die = "gallium alloy" or bare_die = true',
    "change_paste": 'change_paste = "phase-change pad"',
    "lap": 'lap.lid = { by = "0.1 mm", flatness = "5 um" }',
    "thin_die": 'thin_die = "0.5 mm" or thin_die = { to = "0.5 mm", interface = "gallium alloy" }',
    "mount_force": 'mount_force = "200 N"',
    "flow": 'flow = "4 L/min"',
    "cold_plate": 'cold_plate.plate = { name = "thick plate", material = "copper", thickness = "5 mm", … }',
}
"""A right example of each word."""

LAPPED = ("by", "to", "flatness", "face", "interface")


def applied(reader: _Reader, stack: Stack, word: str, given: Any, place: Place, called: str) -> Stack:
    """Return the stack after a mod that a file holds under one of the words of `mods.WORDS`.

    Raises
    ------
    FileError
        Names line, mod, field and a right value.
    """
    right = EXAMPLES[word]

    def made(act: Callable[[], Stack], at: Place = place) -> Stack:
        return reader._made(act, at, called)  # type: ignore[no-any-return]

    if word in ("relid", "bare_die", "change_paste"):
        act = mods.WORDS[word]
        if word == "bare_die" and given is True:
            return made(partial(act, stack))
        return made(partial(act, stack, _interface(reader, given, place, called, right)))
    if word in ("mount_force", "flow"):
        return made(partial(mods.WORDS[word], stack, reader.text(given, place, called, right)))
    if word == "thin_die" and isinstance(given, str):
        return made(partial(mods.thin_die, stack, given))
    table = reader.table(given, place, called, right)
    if word == "thin_die":
        reader.known_keys(table, ("to", "die", "interface"), place, called)
        if "to" not in table:
            reader.fail("'to' is missing", place, called, right)
        return made(partial(mods.thin_die, stack, **_details(reader, table, place, called, right)))
    if word == "lap":
        for part, how in table.items():
            at = (*place, part)
            details = reader.table(how, at, called, right)
            reader.known_keys(details, LAPPED, at, called)
            stack = made(partial(mods.lap, stack, part, **_details(reader, details, at, called, right)), at)
        return stack
    reader.known_keys(table, ("plate", "coolant"), place, called)
    parts = {
        key: reader.part(kind, reader.table(table[key], (*place, key), called, right), (*place, key), inside)
        for key, kind, inside in (("plate", Layer, ""), ("coolant", Coolant, "coolant"))
        if key in table
    }
    return made(partial(mods.cold_plate, stack, **parts))


def _interface(reader: _Reader, given: Any, place: Place, called: str, right: str) -> Any:
    """Return a class by its name, or a joint from its table, which needs no name of its own."""
    if isinstance(given, str):
        return reader.interface_class(given, place, called)
    table = reader.table(given, place, called, right)
    return reader.part(Interface, {"name": table.get("interface", "new joint"), **table}, place)


def _details(reader: _Reader, table: Mapping[str, Any], place: Place, called: str, right: str) -> dict[str, Any]:
    """Return what a table says, its interface made ready."""
    return {
        key: _interface(reader, value, (*place, key), called, right) if key == "interface" else value
        for key, value in table.items()
    }
