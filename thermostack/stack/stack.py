"""A stack and the mods that turn it into another: values, never changed in place."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, TypeVar

from ..errors import InputError, UnknownNameError, suggest
from ..units import ValueLike
from .parts import Board, Coolant, Die, Interface, Joint, Layer, Part, PowerMap, Sensor
from .paths import get_value, set_value

if TYPE_CHECKING:
    from ..tables import Table
    from .inputs import Input
    from .learned import Learned

__all__ = ["Edit", "Stack"]

Element: TypeAlias = "Layer | Interface"
Verb = Literal["replace", "without", "insert_after", "change", "remounted"]
P = TypeVar("P", Die, Interface)


@dataclass(frozen=True)
class Edit:
    """One step of a mod: what was done, to which part (or path), with what."""

    verb: Verb
    target: str
    given: object = None

    def __str__(self) -> str:
        if self.verb == "replace":
            new = getattr(self.given, "name", self.given)
            return f"another {self.target}" if new == self.target else f"{new} for {self.target}"
        if self.verb == "insert_after":
            return f"{getattr(self.given, 'name', self.given)} above {self.target}"
        if self.verb == "change":
            return f"{self.target} {self.given}"
        return f"without {self.target}" if self.verb == "without" else f"remounted {self.target}".rstrip()


@dataclass(frozen=True, init=False, repr=False)
class Stack:
    """What lies between the active face of one or several dies and the coolant.

    Parameters
    ----------
    name : str
        Of the part and its state, such as ``"workstation part, as delivered"``.
    dies : Die or iterable of Die
        Side by side under the first layer; each with its own joint to it.
    layers : iterable of Layer and Interface
        From the dies up to the coolant.
    coolant : Coolant
    board : Board, optional
        Heat path downwards; none if not given.
    sensors : iterable of Sensor
        If there are none, one a region, or one for each die's mean, is understood.

    Notes
    -----
    Coordinates: x right, y up, seen from the cooler looking down on the board; the origin is the centre of the stack.
    Parts are checked when they are made, the stack as a whole when it is solved.
    """

    name: str
    dies: tuple[Die, ...]
    layers: tuple[Element, ...]
    coolant: Coolant
    board: Board | None
    sensors: tuple[Sensor, ...]
    edits: tuple[Edit, ...] = field(compare=False)
    title: str = field(compare=False)
    learned: Learned | None

    def __init__(
        self,
        name: str,
        dies: Die | Iterable[Die],
        layers: Iterable[Element],
        coolant: Coolant,
        board: Board | None = None,
        sensors: Iterable[Sensor] = (),
        edits: Iterable[Edit] = (),
        title: str = "",
        learned: Learned | None = None,
    ) -> None:
        if not isinstance(name, str) or not name.strip():
            raise InputError(f"{name!r} is not a name", where="stack", expected="a text such as 'part, as delivered'")
        put = object.__setattr__
        put(self, "name", name.strip())
        put(self, "dies", (dies,) if isinstance(dies, Die) else tuple(dies))
        put(self, "layers", tuple(layers))
        put(self, "coolant", coolant)
        put(self, "board", board)
        put(self, "sensors", tuple(sensors))
        put(self, "edits", tuple(edits))
        put(self, "title", title)
        put(self, "learned", learned)
        self._check_types()
        self._check_names()

    def _check_types(self) -> None:
        wanted: list[tuple[str, Iterable[object], type | tuple[type, ...], str]] = [
            ("dies", self.dies, Die, "Die"),
            ("layers", self.layers, (Layer, Interface), "Layer or Interface"),
            ("joint", (j for die in self.dies for j in die.joint), (Layer, Interface), "Layer or Interface"),
            ("coolant", [self.coolant], Coolant, "Coolant"),
            ("board", [] if self.board is None else [self.board], Board, "Board"),
            ("sensors", self.sensors, Sensor, "Sensor"),
        ]
        for where, parts, kind, text in wanted:
            for part in parts:
                if not isinstance(part, kind):
                    raise InputError(f"{part!r} does not belong here", where=f"stack.{where}", expected=text)

    def _check_names(self) -> None:
        seen: set[str] = set()
        for part in self.parts():
            if part.name in seen:
                raise InputError(
                    f"two parts are named {part.name!r}", where="stack", expected="a name of its own for each"
                )
            seen.add(part.name)

    # -- looking

    def parts(self) -> Iterator[Part]:
        """Every part that has a name: dies with regions and joints, layers, patches, coolant, board, sensors."""
        for die in self.dies:
            yield die
            yield from die.power.regions
            yield from _with_patches(die.joint)
        yield from _with_patches(self.layers)
        yield self.coolant
        if self.board is not None:
            yield self.board
        yield from self.sensors

    def part(self, name: str) -> Part:
        """Return the part of this name.

        Raises
        ------
        UnknownNameError
            No part has this name; the message suggests the nearest.
        """
        for part in self.parts():
            if part.name == name:
                return part
        raise UnknownNameError(
            f"no part is named {name!r}; {suggest(name, [p.name for p in self.parts()])}", where=self.name
        )

    @property
    def label(self) -> str:
        """Short name of this variant: as named, else the mods that led to it, else the stack's name."""
        if self.title or not self.edits:
            return self.title or self.name
        gone = [e.target for e in self.edits if e.verb == "without"]
        rest = [str(e) for e in self.edits if e.verb != "without"]
        return "; ".join([*rest, *(["without " + ", ".join(gone)] if gone else [])])

    def inputs(self) -> tuple[Input, ...]:
        """Every input that the answer depends on, with path, scope, distribution and source."""
        from .inputs import inputs_of

        return inputs_of(self)

    @property
    def table(self) -> Table:
        """Return the parts as a table, from the coolant down."""
        from .listing import listing

        return listing(self)

    @property
    def inputs_table(self) -> Table:
        """Return the inputs as a table, with scope, source and what is assumed."""
        from .listing import inputs_table

        return inputs_table(self)

    def __str__(self) -> str:
        return str(self.table)

    def __repr__(self) -> str:
        return f"<Stack {self.label!r}: {', '.join(part.name for part in self.parts())}>"

    def _repr_html_(self) -> str:
        return self.table._repr_html_()

    @property
    def uncalibrated(self) -> Stack:
        """Return the stack as it was described, without what a calibration taught."""
        return self if self.learned is None else _rebuild(self, learned=None)

    # -- mods

    def named(self, name: str) -> Stack:
        """Return this variant under a short name of your own, which tables and files then show."""
        if not isinstance(name, str) or not name.strip():
            raise InputError(f"{name!r} is not a name", where=self.name, expected="a text such as 'relid'")
        return _rebuild(self, title=name.strip())

    def replace(self, name: str, part: Part) -> Stack:
        """Return the stack with `part` in place of the part `name`.

        Opening a joint re-makes every demountable joint from there up to the coolant: a relid remounts the cold plate.
        """
        old = self.part(name)
        same_kind = isinstance(part, Joint_) if isinstance(old, Joint_) else type(part) is type(old)
        if not same_kind:
            raise InputError(
                f"a {type(part).__name__} cannot stand for the {type(old).__name__} {name!r}",
                where=self.name,
                expected=f"a {type(old).__name__}",
            )
        edit = Edit("replace", name, part)
        changed = self.swap(name, [part])
        return changed._remount(self._level(name), edit, fresh=part.name)._record(edit)

    def without(self, *names: str) -> Stack:
        """Return the stack without the named parts; what lay around them now meets, in joints made anew."""
        if not names:
            raise InputError("no part is named", where=self.name, expected="names, such as without('lid', 'paste')")
        level = min(self._level(name) for name in names)
        stack = self
        for name in names:
            if isinstance(self.part(name), Coolant):
                raise InputError(
                    "a stack cannot be without a coolant", where=self.name, expected="replace('coolant', …)"
                )
            stack = stack.swap(name, [])
        stack = stack._remount(level, Edit("without", ", ".join(names)))
        for name in names:
            stack = stack._record(Edit("without", name, names if len(names) > 1 else None))  # gone in one go
        return stack

    def insert_after(self, name: str, part: Element) -> Stack:
        """Return the stack with `part` put above the part `name` (of a joint or of the layers)."""
        if not isinstance(part, Joint_):
            raise InputError(
                f"a {type(part).__name__} cannot lie above {name!r}",
                where=self.name,
                expected="a Layer or an Interface",
            )
        old = self.part(name)
        edit = Edit("insert_after", name, part)
        if isinstance(old, Die):
            stack = self.swap(name, [_with(old, joint=(part, *old.joint))])
        elif isinstance(old, Joint_):
            stack = self.swap(name, [old, part])
        else:
            raise InputError(
                f"nothing can lie above the {type(old).__name__} {name!r}",
                where=self.name,
                expected="the name of a die, layer or interface",
            )
        level = self._level(name) + (0 if isinstance(old, Die) else 1)
        return stack._remount(level, edit, fresh=part.name)._record(edit)

    def change(self, path: str | Mapping[str, ValueLike], value: ValueLike | None = None) -> Stack:
        """Return the stack with other values at these paths; nothing is opened: it is described differently.

        Examples
        --------
        ``stack.change("die.power", "200 W")`` or ``stack.change({"lid.thickness": "2 mm", "paste.contact": ...})``
        """
        values: Mapping[str, ValueLike] = path if isinstance(path, Mapping) else {path: value}  # type: ignore[dict-item]
        stack = self
        for where, new in values.items():
            stack = set_value(stack, where, new)
            # kept as text, so that a file holds the same edit
            text = new.strip() if isinstance(new, str) else str(get_value(stack, where))
            stack = stack._record(Edit("change", where, text))
        return stack

    def remounted(self, name: str = "") -> Stack:
        """Return the stack with every demountable joint from `name` up to the coolant made anew.

        Without a name only the topmost joint is opened: the cold plate comes off and goes on again.
        """
        if not name:
            joints = [e.name for e in self.layers if isinstance(e, Interface)]
            level = self._level(joints[-1]) if joints else 0
        else:
            level = self._level(name)
        edit = Edit("remounted", name)
        return self._remount(level, edit)._record(edit)

    # -- how mods work

    def _level(self, name: str) -> int:
        """How high the lowest joint lies that is opened to get at the part: 0 a die's, else 1 + its layer's index."""
        part = self.part(name)
        for index, element in enumerate(self.layers):
            if part is element or (isinstance(element, Interface) and part in element.patches):
                return index + 1 if isinstance(part, Interface) else index
        if isinstance(part, Coolant | Board | Sensor):
            return len(self.layers) + 1
        return 0

    def swap(self, name: str, new: Sequence[Part]) -> Stack:
        """Return the stack with the parts `new` where the part `name` was, without opening or recording anything."""
        dies: list[Die] = []
        for die in self.dies:
            if die.name == name:
                dies += [p for p in new if isinstance(p, Die)]
                continue
            regions = _swap(die.power.regions, name, new)
            power = die.power if regions == die.power.regions else PowerMap(die.power.total, regions)  # type: ignore[arg-type]
            joint = _swap_in_joints(die.joint, name, new)
            dies.append(_with(die, joint=joint, power=power) if (joint, power) != (die.joint, die.power) else die)
        one = {part.name: part for part in new}
        return _rebuild(
            self,
            dies=dies,
            layers=_swap_in_joints(self.layers, name, new),
            coolant=one.get("coolant", self.coolant) if name == "coolant" else self.coolant,
            board=one.get("board") if name == "board" else self.board,
            sensors=_swap(self.sensors, name, new),
        )

    def _remount(self, level: int, edit: Edit, fresh: str = "") -> Stack:
        """Return the stack with all joints from `level` upwards made anew, each mount under a token of its own."""
        act = f"{edit.verb} {edit.target} {edit.given!r}"

        def anew(element: Joint) -> Joint:
            if not isinstance(element, Interface) or (element.name == fresh and element.mount != "first"):
                return element
            return _with(element, mount=f"{zlib.crc32(f'{element.mount} {act}'.encode()):08x}")

        dies = self.dies
        if level <= 0:
            dies = tuple(_with(die, joint=tuple(anew(j) for j in die.joint)) for die in dies)
        layers = tuple(anew(e) if index + 1 >= level else e for index, e in enumerate(self.layers))
        return _rebuild(self, dies=dies, layers=layers)

    def _record(self, edit: Edit) -> Stack:
        title = f"{self.title}; {edit}" if self.title else ""
        return _rebuild(self, edits=(*self.edits, edit), title=title)


Joint_ = (Interface, Layer)


def _rebuild(stack: Stack, **changes: Any) -> Stack:
    return replace(stack, **changes)


def _with(part: P, **changes: Any) -> P:
    return replace(part, **changes)


def _with_patches(elements: Iterable[Joint]) -> Iterator[Part]:
    for element in elements:
        yield element
        if isinstance(element, Interface):
            yield from element.patches


def _swap(parts: Sequence[Part], name: str, new: Sequence[Part]) -> tuple[Part, ...]:
    return tuple(q for part in parts for q in (new if part.name == name else [part]))


def _swap_in_joints(elements: Sequence[Joint], name: str, new: Sequence[Part]) -> tuple[Joint, ...]:
    swapped = _swap(elements, name, new)
    return tuple(
        _with(e, patches=_swap(e.patches, name, new)) if isinstance(e, Interface) and e.patches else e  # type: ignore[misc]
        for e in swapped
    )
