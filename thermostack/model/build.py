"""Walk up a stack and write down blocks, contacts, sources and probes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..errors import InputError
from ..solvers.graph import ENVIRONMENT, Contact, Graph, Probe, Source
from ..stack.parts import Die, Interface, Layer, Patch
from ..stack.stack import Stack
from .check import check_patches, fits
from .cooling import film_resistance_of
from .joints import note_on, resistance_of
from .rects import (
    Expression,
    Float,
    Rect,
    Values,
    area,
    at,
    meets,
    overlap,
    point_within,
    rectangle,
    same,
    split,
    within,
)

__all__ = ["Plan", "Row", "Slab", "plan"]


@dataclass(frozen=True, eq=False)
class Slab:
    """A slab of the model: the part it stands for, its block, and where it lies."""

    part: Die | Layer
    block: int
    rect: Rect


@dataclass(frozen=True)
class Row:
    """A row of the breakdown: a part, and the probes between which its temperature difference is taken.

    `low` and `high` are probes whose mean, weighted with the areas of `low_contacts` or `high_contacts` (evenly
    where there are none), is the temperature below and above the part; no probe stands for the coolant.
    """

    part: str
    solid: bool
    slab: int
    """The slab itself, or the slab below an interface."""
    contacts: tuple[int, ...]
    """The contacts that an interface stands for; empty for a solid and for an interface inside a block."""
    low: tuple[int, ...] = ()
    high: tuple[int, ...] = ()
    low_contacts: tuple[int, ...] = ()
    high_contacts: tuple[int, ...] = ()
    span: tuple[Expression, Expression] | None = None
    """Of two parts in one contact: from which to which share of its temperature difference; all of it if None."""


@dataclass(frozen=True)
class Link:
    """Where a slab ends above: what joins it to the slab above it, or to the coolant (`above` is None)."""

    below: int
    above: int | None
    joint: Interface | None
    contacts: tuple[int, ...]
    """None where the link lies inside a block."""
    share: Expression | None = None
    """Of the joint in the contact that it shares with the coolant's film."""


@dataclass(eq=False)
class Plan:
    """What is written down while walking up a stack."""

    slabs: list[Slab] = field(default_factory=list)
    slabs_of_block: list[int] = field(default_factory=list)
    r_above: list[Expression | None] = field(default_factory=list)
    contacts: list[Contact] = field(default_factory=list)
    contact_rects: list[Rect] = field(default_factory=list)
    contact_r: list[Expression | None] = field(default_factory=list)
    contact_slabs: list[tuple[int | None, int | None]] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    source_rects: list[Rect] = field(default_factory=list)
    source_names: list[str] = field(default_factory=list)
    probes: list[Probe] = field(default_factory=list)
    probe_rects: list[Rect] = field(default_factory=list)
    probe_index: dict[tuple[str, ...], int] = field(default_factory=dict)
    rows: dict[str, tuple[Row, ...]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    coolant_contact: int = -1
    board_contacts: dict[str, int] = field(default_factory=dict)

    @property
    def graph(self) -> Graph:
        """The graph as it is now."""
        return Graph(tuple(self.slabs_of_block), tuple(self.contacts), tuple(self.sources), tuple(self.probes))

    # -- blocks and contacts

    def add_slab(self, part: Die | Layer, rect: Rect, *, new_block: bool) -> int:
        """Put a slab on the topmost block, or on a block of its own; return its index."""
        if new_block:
            self.slabs_of_block.append(0)
        self.slabs_of_block[-1] += 1
        self.slabs.append(Slab(part, len(self.slabs_of_block) - 1, rect))
        self.r_above.append(None)
        return len(self.slabs) - 1

    def add_contact(self, below: int | None, above: int | None, rect: Rect, r: Expression | None) -> int:
        """Put a contact between two slabs (None: the environment); without r it is perfect. Return its index."""
        block = [ENVIRONMENT if slab is None else self.slabs[slab].block for slab in (below, above)]
        self.contacts.append(Contact(*block))
        self.contact_rects.append(rect)
        self.contact_r.append(r)
        self.contact_slabs.append((below, above))
        return len(self.contacts) - 1

    def add_probe(self, key: tuple[str, ...], slab: int, side: int, rect: Rect) -> int:
        """Put a probe under a key, unless there is one already; return its index."""
        if key not in self.probe_index:
            self.probe_index[key] = len(self.probes)
            self.probes.append(Probe(slab, side))
            self.probe_rects.append(rect)
        return self.probe_index[key]

    def slab_of(self, part: Die | Layer) -> int:
        """Return the slab that stands for a part."""
        return next(i for i, slab in enumerate(self.slabs) if slab.part is part)

    def face(self, slab: int, side: int) -> int:
        """Return the probe of the mean over a whole face of a slab."""
        return self.add_probe(("face", str(slab), str(side)), slab, side, self.slabs[slab].rect)

    def contact_face(self, contact: int, side: int) -> int:
        """Return the probe of the mean over a contact, on the face below (0) or above it (1)."""
        slab = self.contact_slabs[contact][side]
        assert slab is not None
        key = ("contact", str(contact), str(side))
        return self.add_probe(key, slab, 1 - side, self.contact_rects[contact])

    def faces(self, link: Link, side: int) -> tuple[int, ...]:
        """Return the probes of the face below (0) or above (1) a link: over its contacts, or the whole face."""
        slab = link.above if side else link.below
        assert slab is not None
        if not link.contacts:
            return (self.face(slab, 1 - side),)
        return tuple(self.contact_face(contact, side) for contact in link.contacts)


def plan(stack: Stack, values: Values) -> Plan:
    """Return what the stack is made of, as blocks, contacts, sources and probes."""
    p = Plan()
    dies = [
        _walk(p, die.joint, p.add_slab(die, rectangle(die.name), new_block=True), None, values) for die in stack.dies
    ]
    first, rest = _first_layer(p, stack, dies, values)
    shared, top, open_joint = _walk(p, rest, first[0].above, None, values)
    shared.append(_coolant(p, stack, top, open_joint, values))
    for die, (links, _, _), onto in zip(stack.dies, dies, first, strict=True):
        _board(p, stack, die)
        _active_face(p, die)
        p.rows[die.name] = tuple(_rows(p, die, [*links, onto, *shared]))
    for slab in range(len(p.slabs)):
        p.face(slab, 0)
        p.face(slab, 1)
    _sensors(p, stack, values)
    return p


# -- upwards through solids and interfaces


def _walk(
    p: Plan, elements: Iterable[Layer | Interface], slab: int | None, joint: Interface | None, values: Values
) -> tuple[list[Link], int, Interface | None]:
    """Go up from a slab; return the links made, the topmost slab, and the interface left open above it."""
    assert slab is not None
    links = []
    for element in elements:
        if isinstance(element, Interface):
            joint = element
            continue
        rect = p.slabs[slab].rect if element.footprint is None else rectangle(element.name)
        inside = _inside_a_block(rect, p.slabs[slab].rect, joint, values)
        above = p.add_slab(element, rect, new_block=not inside)
        links.append(_link(p, slab, above, joint, values))
        slab, joint = above, None
    return links, slab, joint


def _first_layer(
    p: Plan, stack: Stack, dies: Sequence[tuple[list[Link], int, Interface | None]], values: Values
) -> tuple[list[Link], Sequence[Layer | Interface]]:
    """Put the first layer on the dies; return a link for each die, and the elements above that layer."""
    # an interface that stands first among the layers joins whatever dies there are to the first solid
    leading = stack.layers[0] if isinstance(stack.layers[0], Interface) else None
    index = 0 if leading is None else 1
    layer = stack.layers[index]
    assert isinstance(layer, Layer)
    if layer.footprint is None:
        raise InputError(
            "the first layer above the dies needs a footprint",
            where=layer.name,
            expected="footprint=('36 mm', '36 mm')",
        )
    rect = rectangle(layer.name)
    joints = [joint or leading for _, _, joint in dies]
    inside = len(dies) == 1 and _inside_a_block(rect, p.slabs[dies[0][1]].rect, joints[0], values)
    above = p.add_slab(layer, rect, new_block=not inside)
    links = [_link(p, slab, above, joint, values) for (_, slab, _), joint in zip(dies, joints, strict=True)]
    return links, stack.layers[index + 1 :]


def _inside_a_block(above: Rect, below: Rect, joint: Interface | None, values: Values) -> bool:
    """Tell whether a slab belongs to the block below it: of one footprint, and joined evenly."""
    even = joint is None or (joint.footprint is None and not joint.patches)
    return even and same(at(above, values), at(below, values))


def _link(p: Plan, slab: int, above: int, joint: Interface | None, values: Values) -> Link:
    lower, upper = p.slabs[slab], p.slabs[above]
    if joint is None and not (isinstance(upper.part, Layer) and upper.part.footprint is None):
        p.notes.append(
            f"perfect contact assumed between {lower.part.name!r} and {upper.part.name!r}: no interface is given"
        )
    if lower.block == upper.block:
        p.r_above[slab] = None if joint is None else _resistance(p, joint, lower.rect, values)
        return Link(slab, above, joint, ())
    return Link(slab, above, joint, _contacts(p, slab, above, joint, values))


def _contacts(p: Plan, slab: int, above: int, joint: Interface | None, values: Values) -> tuple[int, ...]:
    """Put the contacts between two blocks, one for each rectangle of its own resistance."""
    lower, upper = p.slabs[slab], p.slabs[above]
    if not meets(at(lower.rect, values), at(upper.rect, values)):
        raise InputError(
            f"it does not meet {upper.part.name!r} above it",
            where=lower.part.name,
            expected="footprints that overlap; see centre=",
        )
    lowest = next(s.part for s in p.slabs if s.block == lower.block)
    if isinstance(lowest, Die) and (lower.part is lowest or lower.part.footprint is None):  # a die, or its plating
        fits(at(lower.rect, values), at(upper.rect, values), lowest.name, upper.part.name)
    rect = overlap(lower.rect, upper.rect)
    if joint is None:
        return (p.add_contact(slab, above, rect, None),)
    if joint.footprint is not None:
        covered = rectangle(joint.name)
        if not meets(at(covered, values), at(rect, values)):
            raise InputError(
                "it covers nothing of the faces it joins", where=joint.name, expected="a footprint and centre over them"
            )
        rect = overlap(rect, covered)
    patches = [within(rect, patch.name) for patch in joint.patches]
    check_patches(joint, patches, rect, values)
    r = _resistance(p, joint, rect, values)
    return tuple(
        p.add_contact(slab, above, piece, r if kind is None else _own_resistance(joint.patches[kind]))
        for piece, kind in (split(rect, patches, values) if patches else [(rect, None)])
    )


def _resistance(p: Plan, joint: Interface, face: Rect, values: Values) -> Expression:
    note = note_on(joint, values)
    if note and note not in p.notes:
        p.notes.append(note)
    dies = [slab.rect for slab in p.slabs if isinstance(slab.part, Die)]
    return resistance_of(joint, face, dies, values)


def _own_resistance(patch: Patch) -> Expression:
    return lambda v: v(f"{patch.name}.resistance")


# -- what bounds a stack: coolant, board, active faces


def _coolant(p: Plan, stack: Stack, slab: int, joint: Interface | None, values: Values) -> Link:
    """Put the contact to the coolant; an interface on top joins a plate that the coolant's figure contains."""
    coolant, face = stack.coolant, p.slabs[slab].rect
    wetted = face if coolant.wetted is None else rectangle("coolant", "wetted")
    fits(at(wetted, values), at(face, values), "coolant.wetted", p.slabs[slab].part.name)

    film = film_resistance_of(stack, wetted)
    if joint is None:
        p.coolant_contact = p.add_contact(slab, None, wetted, film)
        return Link(slab, None, None, (p.coolant_contact,))
    paste = _resistance(p, joint, wetted, values)
    p.coolant_contact = p.add_contact(slab, None, wetted, lambda v: paste(v) + film(v))
    return Link(slab, None, joint, (p.coolant_contact,), lambda v: paste(v) / (paste(v) + film(v)))


def _board(p: Plan, stack: Stack, die: Die) -> None:
    if stack.board is None:
        return

    def r(v: Values) -> Float:
        return np.asarray(v("board.resistance") * sum(area(rectangle(d.name))(v) for d in stack.dies))

    p.board_contacts[die.name] = p.add_contact(None, p.slab_of(die), rectangle(die.name), r)


def _active_face(p: Plan, die: Die) -> None:
    """Put the sources of a die (its whole face, then its regions) and the probes of its temperatures."""
    slab, whole = p.slab_of(die), rectangle(die.name)
    heated = [(die.name, whole)]
    heated += [(region.name, within(whole, region.name, die.mirrored)) for region in die.power.regions]
    for name, rect in heated:
        p.sources.append(Source(p.slabs[slab].block))
        p.source_rects.append(rect)
        p.source_names.append(name)
        p.add_probe(("mean", name), slab, 0, rect)
        p.add_probe(("centre", name), slab, 0, point_within(rect, 0.5, 0.5))


def _rows(p: Plan, die: Die, links: Sequence[Link]) -> Iterator[Row]:
    """Yield the breakdown of a die, from its active face up to the coolant."""
    low, low_contacts = (p.probe_index["mean", die.name],), ()
    for link in links:
        high = p.faces(link, 0)
        yield Row(p.slabs[link.below].part.name, True, link.below, (), low, high, low_contacts, link.contacts)
        low, low_contacts = (() if link.above is None else p.faces(link, 1)), link.contacts  # type: ignore[assignment]
        name = "coolant" if link.above is None else link.joint.name if link.joint else None
        ends = (high, low, link.contacts, link.contacts)
        if link.share is not None and link.joint is not None:
            yield Row(link.joint.name, False, link.below, link.contacts, *ends, (_none, link.share))
            yield Row("coolant", False, link.below, link.contacts, *ends, (link.share, _all))
        elif name is not None:
            yield Row(name, False, link.below, link.contacts, *ends)


def _none(_: Values) -> Float:
    return np.zeros(())


def _all(_: Values) -> Float:
    return np.ones(())


def _sensors(p: Plan, stack: Stack, values: Values) -> None:
    for sensor in stack.sensors:
        layer = next((part for part in stack.parts() if part.name == sensor.at), None)
        if not isinstance(layer, Layer):
            continue  # a die or region has its probe already, and the coolant needs none
        slab = p.slab_of(layer)
        rect = p.slabs[slab].rect
        if sensor.point is not None:
            whole, rect = rect, _point(sensor.name)
            fits(at(rect, values), at(whole, values), f"{sensor.name}.point", layer.name)
        p.add_probe(("sensor", sensor.name), slab, 1, rect)


def _point(name: str) -> Rect:
    x, y = (lambda v: v(f"{name}.point_x")), (lambda v: v(f"{name}.point_y"))
    return x, y, x, y
