"""What a stack contains and what a mod does to it, as far as the cautions ask."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from thermostack.catalogue import InterfaceRow, Material
from thermostack.cautions.caution import Caution
from thermostack.stack.inputs import class_row
from thermostack.stack.parts import Die, Interface, Layer
from thermostack.stack.roles import lid
from thermostack.stack.stack import Stack

__all__ = ["Item", "Mod", "Rule", "Scene", "is_bare", "items_of", "mod_of"]


LEAST_GROUND = 1e-6
"""A part is taken for lapped if it lost more than this. [m]"""


@dataclass(frozen=True)
class Item:
    """A die, layer or interface of a stack, with what touches it.

    Attributes
    ----------
    name : str
    part : Die, Layer or Interface
    material : Material or None
        Of a solid, or of what fills an interface; None where that is not said.
    row : InterfaceRow or None
        Row of an interface's class for its place.
    level : int
        0 for a die and its joint, else 1 + index in the layers.
    at_die : bool
        Whether it belongs to what binds a die to what lies above.
    beside : tuple of str
        Names of what lies directly below and above.
    """

    name: str
    part: Die | Layer | Interface
    material: Material | None
    row: InterfaceRow | None
    level: int
    at_die: bool
    beside: tuple[str, ...]

    @property
    def is_interface(self) -> bool:
        """Whether it is an interface."""
        return isinstance(self.part, Interface)

    @property
    def family(self) -> str:
        """Family of its material; empty where not known."""
        return "" if self.material is None else self.material.family

    @property
    def fixed(self) -> bool:
        """Whether it is a joint that no cooler mount opens: soldered or glued."""
        if isinstance(self.part, Layer):
            return self.at_die and self.family == "solder"
        return self.row is not None and not self.row.demountable

    @property
    def is_solder(self) -> bool:
        """Whether it is a reflowed solder joint, which only heat or force opens."""
        return self.fixed and self.family == "solder"

    @property
    def is_liquid_metal(self) -> bool:
        """Whether it is, or is filled by, an alloy that destroys aluminium."""
        return self.material is not None and self.material.aluminium_attack == "severe"

    @property
    def meant_to_melt(self) -> bool:
        """Whether it may serve molten: a gallium alloy, a phase-change pad, a low-melt alloy."""
        m = self.material
        return m is not None and m.liquidus is not None and m.max_service is not None and m.liquidus <= m.max_service

    @property
    def thickness(self) -> float | None:
        """Thickness or bond line, as written or typical of the class; None where not known. [m]"""
        if not isinstance(self.part, Interface):
            return self.part.thickness.si
        if self.part.bond_line is not None:
            return self.part.bond_line.si
        return self.row.bond_line.typical if self.row is not None and self.row.bond_line is not None else None

    @property
    def making(self) -> tuple[object, ...]:
        """What changes when it is made anew: its kind, filling, mount and neighbours."""
        if isinstance(self.part, Interface):
            known = self.part.interface.name if self.part.interface is not None else None
            return "interface", known, self.part.mount, self.beside
        return "solid", self.part.material.name, self.beside


def items_of(stack: Stack) -> dict[str, Item]:
    """Return dies, joints and layers by name, from the dies up."""
    beside: dict[str, dict[str, None]] = {}
    for die in stack.dies:
        column = [die, *die.joint, *stack.layers]
        for below, above in itertools.pairwise(column):
            beside.setdefault(below.name, {})[above.name] = None
            beside.setdefault(above.name, {})[below.name] = None

    def item(part: Die | Layer | Interface, level: int, at_die: bool) -> Item:
        row = class_row(stack, part) if isinstance(part, Interface) else None
        material = part.material if not isinstance(part, Interface) else None if row is None else row.material
        return Item(part.name, part, material, row, level, at_die, tuple(beside.get(part.name, ())))

    found = [item(part, 0, True) for die in stack.dies for part in (die, *die.joint)]
    # an interface that lies lowest in the layers binds the dies
    found += [item(e, i + 1, i == 0 and isinstance(e, Interface)) for i, e in enumerate(stack.layers)]
    return {i.name: i for i in found}


def is_bare(stack: Stack, items: Mapping[str, Item], mod: Mod | None) -> bool:
    """Say whether the cold plate sits on the dies.

    A single plate on a joint that is, or was before the mod, soldered or glued is a cooled lid, unless the mod took it
    away.
    """
    if lid(stack):
        return False
    if mod is not None and mod.under_lid:
        return mod.lid_removed
    return not any(i.fixed and i.at_die for i in items.values())


@dataclass(frozen=True)
class Mod:
    """What a mod does.

    Attributes
    ----------
    opened : tuple of str
        Joints of the new stack that are made anew.
    removed : tuple of str
        Parts that are no longer there.
    at_die : bool
        Whether the joint of a die is opened.
    under_lid : bool
        Whether that joint lay under a lid, or held one.
    lid_removed : bool
        Whether the cold plate now sits where a lid lay.
    solder : tuple of str
        Solder joints that are opened.
    melts_at : float or None
        Highest liquidus of that solder; None where it is not known. [K]
    lowered : tuple of float or None
        Least and most, over the dies, by which the plane on which the cold plate rests comes down; None where the
        stack before is not known. [m]
    uncounted : tuple of str
        Joints whose unknown bond line is not in `lowered`.
    ground : tuple of str
        Dies and layers that are thinner than before, on a joint that is opened: lapped. Without a baseline, those whose
        thickness was changed just before the joint was opened.
    filled : float or None
        Largest bond line of a die's joint before, where that is replaced under a lid that stays; None where not known.
        [m]
    """

    opened: tuple[str, ...]
    removed: tuple[str, ...]
    at_die: bool
    under_lid: bool
    lid_removed: bool
    solder: tuple[str, ...]
    melts_at: float | None = None
    lowered: tuple[float, float] | None = None
    uncounted: tuple[str, ...] = ()
    ground: tuple[str, ...] = ()
    filled: float | None = None


def mod_of(stack: Stack, baseline: Stack | None) -> Mod | None:
    """Return what the mod does that leads from `baseline`, or by the stack's own edits, to the stack.

    None where nothing is opened or taken out. Without a baseline the parts that are gone are known by name only: a
    joint is then taken for solder where its name says so, and the lid for removed where the joint of a bare die was
    opened and two or more parts (the lid and a joint) are gone.
    """
    return _from_edits(stack) if baseline is None else _from_baseline(stack, baseline)


def _from_edits(stack: Stack) -> Mod | None:
    acts = [edit for edit in stack.edits if edit.verb != "change"]
    if not acts:
        return None
    items = items_of(stack)
    # a mod gives every joint that it opens a mount of its own
    opened = tuple(i.name for i in items.values() if isinstance(i.part, Interface) and i.part.mount != "first")
    removed = tuple(edit.target for edit in acts if edit.verb == "without")
    if not opened:
        return None  # a sensor, the board or the coolant was changed
    at_die = any(items[name].at_die for name in opened)
    gone = [edit.target for edit in acts if edit.verb in ("without", "replace")]
    solder = tuple(name for name in gone if "solder" in name.casefold()) if at_die else ()
    lid_removed = not lid(stack) and at_die and len(removed) >= 2
    under_lid = at_die and (lid_removed or bool(solder) or bool(lid(stack)))
    return Mod(opened, removed, at_die, under_lid, lid_removed, solder, ground=_ground_by_edits(stack, items))


def _ground_by_edits(stack: Stack, items: Mapping[str, Item]) -> tuple[str, ...]:
    """Return what was made thinner in the step before one of its joints was opened."""
    found = []
    for before, after in itertools.pairwise(stack.edits):
        name, _, field = before.target.rpartition(".")
        if before.verb != "change" or field != "thickness" or name not in items:
            continue
        joint = getattr(after.given, "name", after.target)
        if after.verb in ("remounted", "replace") and joint in items[name].beside:
            found.append(name)
    return _unique(found)


def _from_baseline(stack: Stack, baseline: Stack) -> Mod | None:
    new, old = items_of(stack), items_of(baseline)
    remade = [i for i in new.values() if i.is_interface and (i.name not in old or old[i.name].making != i.making)]
    removed = tuple(name for name in old if name not in new)
    if not remade and not removed:
        return None
    # opening a joint opens all above it
    lowest = min((i.level for i in remade), default=len(stack.layers) + 1)
    opened = tuple(i.name for i in new.values() if i.is_interface and i.level >= lowest)
    solder = [i for i in old.values() if i.is_solder and (i.name in removed or new[i.name].making != i.making)]
    melting = [i.material.liquidus for i in solder if i.material is not None and i.material.liquidus is not None]
    heights = [(_plane(baseline, die.name, old), _plane(stack, die.name, new)) for die in stack.dies if die.name in old]
    drops = [before[0] - after[0] for before, after in heights]
    # a single plate that was soldered or glued on is a cooled lid
    fixed = any(i.at_die and i.fixed for i in old.values())
    known = lid(baseline) or (baseline.layers if fixed else ())
    lids = tuple(e.name for e in known if isinstance(e, Layer))
    at_die = any(new[name].at_die for name in opened) or any(old[name].at_die for name in removed)
    return Mod(
        opened,
        removed,
        at_die,
        under_lid=at_die and bool(lids),
        lid_removed=not lid(stack) and any(name in removed for name in lids),
        solder=tuple(i.name for i in solder),
        melts_at=max(melting, default=None),
        lowered=(min(drops), max(drops)) if drops else None,
        uncounted=_unique(name for before, after in heights for name in (*before[1], *after[1])),
        ground=tuple(i.name for i in new.values() if _is_ground(i, old, opened)),
        filled=max((i.thickness for i in old.values() if i.at_die and i.is_interface and i.thickness), default=None),
    )


def _is_ground(item: Item, old: Mapping[str, Item], opened: tuple[str, ...]) -> bool:
    """Tell whether a solid is thinner than the same one was, beside a joint that is opened."""
    before = old.get(item.name)
    if item.is_interface or before is None or before.is_interface or before.material != item.material:
        return False
    thinner = (before.thickness or 0.0) - (item.thickness or 0.0) > LEAST_GROUND
    return thinner and any(name in opened for name in (*item.beside, *before.beside))


def _plane(stack: Stack, die: str, items: Mapping[str, Item]) -> tuple[float, tuple[str, ...]]:
    """Return the height above a die's active face on which the cold plate's joint rests, and joints not counted. [m]"""
    column = [part for d in stack.dies if d.name == die for part in (d, *d.joint)]
    names = [part.name for part in (*column, *stack.layers)]
    joints = [k for k, name in enumerate(names) if items[name].is_interface]
    below = [items[name] for name in names[: joints[-1] if joints else len(column)]]
    return sum(i.thickness or 0.0 for i in below), tuple(i.name for i in below if i.thickness is None)


def _unique(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


@dataclass(frozen=True)
class Scene:
    """What the rules look at: the stack, the mod that leads to it, and what was predicted. SI."""

    stack: Stack
    items: Mapping[str, Item]
    mod: Mod | None
    bare: bool
    temperatures: Mapping[str, tuple[float, float]]
    limit: float | None

    def where(self, test: Callable[[Item], bool]) -> tuple[Item, ...]:
        """Return the items that pass a test, from the dies up."""
        return tuple(i for i in self.items.values() if test(i))

    @property
    def liquid_metal(self) -> tuple[Item, ...]:
        """Every gallium alloy in the stack."""
        return self.where(lambda i: i.is_liquid_metal)

    @property
    def die_area(self) -> float:
        """Area of all dies together. [m²]"""
        return math.fsum(die.footprint[0].si * die.footprint[1].si for die in self.stack.dies)


Rule: TypeAlias = Callable[[Scene], Iterator[Caution]]
