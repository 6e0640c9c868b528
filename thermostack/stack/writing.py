"""From stacks to the text of a file.

The text is laid out here and not by a library: a mod is executed in the order in which its lines stand, and writers of
TOML put plain values before tables.
"""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from ..catalogue import CoolerClass, InterfaceClass, Material, interface_class, material
from ..errors import InputError, UnknownNameError
from ..units import Value
from . import own
from .cooling import AirTower, ChannelPlate, JetPlate, Radiator
from .package import Mount, Package
from .parts import Die, Interface, Layer, Leakage, PowerMap
from .reading import KEY_OF, from_toml
from .stack import Edit, Stack

__all__ = ["to_toml"]

_WIDTH = 120
"""Longest line of a mod's verb; what does not fit gets a table of its own."""

T = TypeVar("T", Material, InterfaceClass)


def to_toml(stack: Stack, *variants: Stack, package: Package | None = None, mount: Mount | None = None) -> str:
    """Return the text in TOML of a part and its mods.

    Parameters
    ----------
    stack : Stack
        Written as it is described, with the making of each joint (``mount``); mods that led to it are not kept.
    *variants : Stack
        Reached from `stack`, or from a variant before it, by mods: each becomes a ``[[mod]]`` under its label.
    package, mount : Package, Mount, optional
        Heights and mount, which go with the part.

    Raises
    ------
    InputError
        If a variant cannot be reached by mods, two have the same label, two materials or classes the same name, or
        something cannot be written exactly.
    """
    if not stack.dies:
        raise InputError("a stack without a die cannot be written", where=stack.name, expected="at least one die")
    starts: list[tuple[Stack, str]] = [(stack, "")]
    mods = []
    for variant in variants:
        if any(name == variant.label for _, name in starts[1:]):
            raise InputError(f"two variants are called {variant.label!r}", where=stack.name,
                             expected="a name of its own for each: variant.named('…')")  # fmt: skip
        name, calls = _way(starts, variant)
        mods.append(_mod(variant.label, name, calls))
        starts.append((variant, variant.label))
    given = [e.given for v in variants for e in v.edits if e.verb in ("replace", "insert_after")]
    table = _stack_table(stack, [*stack.parts(), *given])
    table |= {key: _part_table(held) for key, held in (("package", package), ("mount", mount)) if held is not None}
    text = "\n".join([*_lines(table, ""), *(line for mod in mods for line in mod)]).strip() + "\n"
    _check(text, stack, variants)
    return text


def _check(text: str, stack: Stack, variants: Sequence[Stack]) -> None:
    """Read the text again: what is written must be what was given."""
    try:
        text.encode("utf-8")
        again = from_toml(text)
    except UnicodeEncodeError as error:
        problem = f"{text[error.start : error.end]!r} is not a character"
        raise InputError(problem, where=stack.name, expected="names that can be written") from error
    for given, read in zip((stack, *variants), again, strict=True):
        edits = given.edits[len(stack.edits) :]
        if given != read or given.label != read.label or edits != read.edits:
            raise InputError(f"{given.label!r} cannot be written exactly", where=stack.name,
                             expected="parts as the library makes them")  # fmt: skip


# -- parts


def _stack_table(stack: Stack, parts: Iterable[object]) -> dict[str, Any]:
    materials, classes = _own(parts)
    table: dict[str, Any] = {"name": stack.name}
    if stack.label != stack.name:
        table["title"] = stack.label
    table["material"] = [own.material_table(each) for each in materials]
    table["interface_class"] = [own.class_table(each) for each in classes]
    table["die"] = [_part_table(die) for die in stack.dies]
    table["layer"] = [_part_table(layer) for layer in stack.layers]
    table["coolant"] = _part_table(stack.coolant)
    if stack.board is not None:
        table["board"] = _part_table(stack.board)
    table["sensor"] = [_part_table(sensor) for sensor in stack.sensors]
    return {key: value for key, value in table.items() if value != []}


def _part_table(part: object) -> dict[str, Any]:
    """Return the table of a part: every parameter that does not have its default."""
    table = {}
    for parameter in inspect.signature(type(part)).parameters.values():
        value = getattr(part, parameter.name)
        if not _is_default(value, parameter.default):
            table[KEY_OF.get(parameter.name, parameter.name)] = _plain(value)
    return table


def _is_default(value: object, default: object) -> bool:
    """Tell whether a field may be left out: only where it is written as the default is, since mounts depend on it."""
    if isinstance(value, Value):
        return str(value) == default
    if isinstance(value, tuple) and value and isinstance(value[0], Value):
        return tuple(map(str, value)) == default
    return value is None or value == default


def _plain(value: object) -> Any:
    """Return a field of a part in what TOML has."""
    if isinstance(value, PowerMap):
        return _part_table(value) if value.regions else str(value.total)
    if isinstance(value, Material | InterfaceClass | CoolerClass):
        return value.name
    if isinstance(value, Value):
        return str(value)
    if isinstance(value, Leakage | Radiator):
        return _part_table(value)
    if isinstance(value, ChannelPlate | JetPlate | AirTower):
        return {"kind": value.kind, **_part_table(value)}
    if isinstance(value, tuple):
        return [str(each) if isinstance(each, Value) else _part_table(each) for each in value]
    return value


def _own(parts: Iterable[object]) -> tuple[list[Material], list[InterfaceClass]]:
    """Return the materials and classes that do not come with the library."""
    materials: list[Material] = []
    classes: list[InterfaceClass] = []
    for part in parts:
        for each in [part, *(part.joint if isinstance(part, Die) else ())]:
            if isinstance(each, Die | Layer):
                materials.append(each.material)
            elif isinstance(each, Interface) and each.interface is not None:
                classes.append(each.interface)
    mine = _not_shipped(classes, interface_class)
    materials += [row.material for each in mine for row in each.rows if row.material is not None]
    return _not_shipped(materials, material), mine


def _not_shipped(used: Sequence[T], shipped: Callable[[str], T]) -> list[T]:
    by_name: dict[str, T] = {}
    for each in used:
        name = " ".join(each.name.split()).casefold()
        if by_name.setdefault(name, each) != each:
            raise InputError(f"two of {type(each).__name__} are named {each.name!r}, with other values",
                             where=each.name, expected="a name of its own for each")  # fmt: skip

    def is_shipped(each: T) -> bool:
        try:
            return shipped(each.name) == each
        except UnknownNameError:
            return False

    return [each for each in by_name.values() if not is_shipped(each)]


# -- mods


@dataclass(frozen=True)
class _Call:
    """A verb with what it is called with: for several targets at once, a table with an entry for each."""

    verb: str
    given: Any

    def on(self, stack: Stack) -> Stack:
        if self.verb == "without":
            return stack.without(*self.given)
        if self.verb == "remounted":
            return stack.remounted(self.given)
        for target, given in self.given.items():
            stack = getattr(stack, self.verb)(target, given)
        return stack

    def table(self) -> Any:
        if self.verb == "without":
            return list(self.given)
        if self.verb == "remounted":
            return self.given or True
        return {k: v if isinstance(v, str) else _part_table(v) for k, v in self.given.items()}


def _calls(edits: Sequence[Edit]) -> list[_Call]:
    """Return the calls that the recorded edits came from."""
    calls: list[_Call] = []
    position = 0
    while position < len(edits):
        edit = edits[position]
        position += 1
        if edit.verb == "without":
            names = edit.given if isinstance(edit.given, tuple) else (edit.target,)
            calls.append(_Call("without", names))
            position += len(names) - 1
        elif edit.verb == "remounted":
            calls.append(_Call("remounted", edit.target))
        elif calls and calls[-1].verb == edit.verb and edit.target not in calls[-1].given:
            calls[-1].given[edit.target] = edit.given
        else:
            calls.append(_Call(edit.verb, {edit.target: edit.given}))
    return calls


def _way(starts: Sequence[tuple[Stack, str]], variant: Stack) -> tuple[str, list[_Call]]:
    """Return the name of the stack from which the fewest recorded mods lead to the variant, and these mods."""
    for start, name in sorted(starts, key=lambda s: -len(s[0].edits)):
        done = len(start.edits)
        if len(variant.edits) <= done or variant.edits[:done] != start.edits:
            continue
        calls = _calls(variant.edits[done:])
        reached = start
        try:
            for call in calls:
                reached = call.on(reached)
        except InputError:
            continue
        if reached == variant:
            return name, calls
    raise InputError(f"the variant {variant.label!r} is not reached from {starts[0][0].label!r} by its mods",
                     where=variant.name, expected="a variant made by replace, without, insert_after, change or "
                     "remounted from the stack that is written with it, or from a variant before it")  # fmt: skip


def _mod(label: str, start: str, calls: Sequence[_Call]) -> list[str]:
    """Return the lines of a mod: plain where each verb stands once and fits, else with a step for each."""
    head = ["", "[[mod]]", f"name = {_text(label)}", *([f"from = {_text(start)}"] if start else [])]
    rows = [list(_verb_lines(call)) for call in calls]
    if len({call.verb for call in calls}) == len(calls) and all(len(line) <= _WIDTH for row in rows for line in row):
        return [*head, *(line for row in rows for line in row)]
    for call, row in zip(calls, rows, strict=True):
        head += ["", "[[mod.step]]"]
        if all(len(line) <= _WIDTH for line in row) or not isinstance(call.given, dict):
            head += row
        else:
            head += _lines({call.verb: call.table()}, "mod.step")
    return head


def _verb_lines(call: _Call) -> Iterator[str]:
    table = call.table()
    if call.verb in ("replace", "insert_after"):
        for target, part in table.items():
            yield f"{call.verb}.{_key(target)} = {_inline(part)}"
    else:
        yield f"{call.verb} = {_inline(table)}"


# -- layout


def _lines(table: dict[str, Any], header: str) -> Iterator[str]:
    """Return the lines of a table: its plain values first, then the tables in it under headers of their own."""
    for key, value in table.items():
        if _is_rows(key, value):
            yield f"{_key(key)} = ["
            yield from (f"    {_inline(row)}," for row in value)
            yield "]"
        elif not _has_header(key, value):
            yield f"{_key(key)} = {_inline(value)}"
    for key, value in table.items():
        if _has_header(key, value):
            path = f"{header}.{_key(key)}" if header else _key(key)
            for each in value if isinstance(value, list) else [value]:
                if isinstance(value, list):
                    yield from ("", f"[[{path}]]")
                elif not all(isinstance(inner, dict) for inner in each.values()):
                    yield from ("", f"[{path}]")
                yield from _lines(each, path)


def _is_rows(key: str, value: Any) -> bool:
    return key in ("region", "patch") and isinstance(value, list)


def _has_header(key: str, value: Any) -> bool:
    if isinstance(value, dict):
        return key not in ("law", "leakage")
    return isinstance(value, list) and isinstance(value[0], dict) and not _is_rows(key, value)


def _inline(value: Any) -> str:
    """Return a value on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return f"[{', '.join(map(_inline, value))}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{_key(k)} = {_inline(v)}' for k, v in value.items())} }}"
    return _text(value)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _text(key)


def _text(text: str) -> str:
    # TOML escapes as JSON does, and the delete character too
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
