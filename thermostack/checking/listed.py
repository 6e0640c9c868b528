"""The causes that are always asked about, as far as the stacks have what they need."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from ..stack.inputs import class_row
from ..stack.parts import Die, Interface, Layer, Patch, PowerMap, Region
from ..stack.stack import Stack
from ..states import Measured, StatesModel
from ..units import Value
from .cause import (
    Cause,
    Departure,
    Misreading,
    Where,
    first_joint,
    mounted_joint,
    resistance_at_centre,
    upper_joint,
    with_extra_resistance,
)

__all__ = ["listed"]

AIR = 0.026
"""Conductivity of still air. [W/(m K)]"""
CORNERS = {"lower left": (0, 0), "lower right": (1, 0), "upper left": (0, 1), "upper right": (1, 1)}
Change = Callable[[Stack, float], Stack]


def listed(model: StatesModel) -> tuple[Cause, ...]:
    """Return the named causes that can act on these states; the first is taken for before, the last for after."""
    before, after = model.states[0].stack.uncalibrated, model.states[-1].stack.uncalibrated
    return (
        *_first_joints(before, after, _sees_places(model)), *_upper_joints(before, after, model),
        *_sizes(before, after), *_readings(after),
    )  # fmt: skip


def _sees_places(model: StatesModel) -> bool:
    """Tell whether the sensors can tell one corner of the die from another."""
    return any(len(each.probes) > 1 for each in model.measured)


def _first_joints(before: Stack, after: Stack, places: bool) -> Iterator[Cause]:
    old, new = first_joint(before), first_joint(after)
    kept = old == new
    where: Where = "both" if kept else "before"
    if old is not None and len(before.dies) == 1:
        air = _gap(before, old) / AIR
        yield Cause(
            "void in a corner of the first joint",
            f"A corner of the {old.name} came loose or was never bonded: the die's corner above it runs hot.",
            size="3 %", largest="20 %",
            source="share of the die; suppliers of solder aim below 5 % in all, 25 to 30 % is rejected (practice)",
            ways=tuple(
                Departure(where, _void(old.name, at, air), f"{told} corner", joint=old.name)
                for told, at in _corners(places)
            ),
        )  # fmt: skip
        yield Cause(
            "void in the middle of the first joint",
            f"The middle of the {old.name} was not bonded: the die runs hot there.",
            size="3 %", largest="20 %", source="share of the die; as for a corner",
            ways=(Departure(where, _void(old.name, (0.5, 0.5), air), "middle", joint=old.name),),
        )  # fmt: skip
    if old is not None:
        yield Cause(
            "thicker or cracked first joint",
            f"The {old.name} as a whole resisted more than joints of its class do: thicker, cracked or aged.",
            size="6 mm^2*K/W", largest="40 mm^2*K/W",
            source="solder ages to 1.2 to 2 times its 5 mm²·K/W, polymer joints have up to 30 (practice)",
            ways=(Departure(where, _extra(old.name), joint=old.name),),
        )  # fmt: skip
    if new is not None and not kept:
        yield from _made_anew(after, new, places)


def _corners(places: bool) -> list[tuple[str, tuple[float, float]]]:
    """Return the corners, or one of them where they are all alike to the sensors."""
    return list(CORNERS.items()) if places else [("a", (0, 0))]


def _made_anew(after: Stack, new: Interface, places: bool) -> Iterator[Cause]:
    """Yield what can go wrong in the joint that the mod made."""
    metal = new.interface is not None and "gallium" in new.interface.key
    if len(after.dies) == 1:
        air = _gap(after, new) / AIR
        spots = [*((f"{told} corner", at) for told, at in _corners(places)), ("middle", (0.5, 0.5))]
        yield Cause(
            f"{new.name} dry or not wetting",
            f"A part of the die was not wetted by the {new.name} after the mod"
            + (", or it ran out of it." if metal else "."),
            size="4 %", largest="40 %", source="share of the die; assumed",
            ways=tuple(
                Departure("after", _void(new.name, at, air), told, joint=new.name)
                for told, at in spots
            ),
        )  # fmt: skip
    lid = next((e for e in after.layers if isinstance(e, Layer)), None)
    if upper_joint(after) is not None and lid is not None:
        filling = _conductivity(after, new)
        yield Cause(
            f"{lid.name} standing on its rim",
            f"After the mod the {lid.name} stood on its rim or on old adhesive, so that the {new.name} was thicker.",
            size="40 um", largest="150 um", dimension="bond line",
            source="gap; perimeter adhesive is 50 to 150 µm thick (practice)",
            ways=(
                Departure(
                    "after", lambda stack, gap: with_extra_resistance(stack, new.name, gap / filling), joint=new.name
                ),
            ),
        )  # fmt: skip


def _upper_joints(before: Stack, after: Stack, model: StatesModel) -> Iterator[Cause]:
    old, last = mounted_joint(before), len(model.states) - 1
    here, there = ({each.mount for each in model.measured if (each.state == last) == late} for late in (False, True))
    kept = not here.isdisjoint(there)  # the cold plate stayed on
    if old is not None and not _has_bad_mounts(before, old):
        yield Cause(
            f"{old.name} badly seated" + (" before" if not kept else ""),
            f"The {old.name} under the cold plate was thick or unevenly pressed"
            + (" before the mod." if not kept else ", and stayed so."),
            size="12 mm^2*K/W", largest="100 mm^2*K/W",
            source="bad joints of this class have 25 to 120 where 6 to 25 are usual (practice)",
            ways=(Departure("both" if kept else "before", _extra(old.name), tied="mount", joint=old.name),),
        )  # fmt: skip
    old, new = upper_joint(before), upper_joint(after)
    if new is not None and not kept:
        most = min(3e-6, 0.5 * resistance_at_centre(after, new.name))
        yield Cause(
            f"{new.name} better seated after",
            f"The {new.name} under the cold plate was better pressed or spread after the mod than is usual.",
            size=Value(0.5 * most * 1e6, "mm^2*K/W", "specific resistance"),
            largest=Value(1.5 * most * 1e6, "mm^2*K/W", "specific resistance"),
            source="less resistance; down to half of the class's median (assumed)",
            ways=(Departure("after", _extra(new.name, -1.0), tied="mount", joint=new.name),),
        )  # fmt: skip
    if new is not None and new != old:
        filling = _conductivity(after, new)
        yield Cause(
            "lid flatness changed",
            f"Opening bent the lid: the {new.name} above it is thicker by half of the bow, on the mean.",
            size="40 um", largest="150 um", dimension="bond line",
            source="bow; lids are flat to 20 to 80 µm as made (practice)",
            ways=(
                Departure(
                    "after", lambda stack, bow: with_extra_resistance(stack, new.name, 0.5 * bow / filling),
                    joint=new.name,
                ),
            ),
        )  # fmt: skip
    yield from _bad_mount(model)


def _has_bad_mounts(stack: Stack, joint: Interface) -> bool:
    """Tell whether the joint is described with a share of bad mounts of its own."""
    return any(entry.path == f"{joint.name}.mount" and entry.bad is not None for entry in stack.inputs())


def _bad_mount(model: StatesModel) -> Iterator[Cause]:
    last = len(model.states) - 1
    mounts: dict[str, list[Measured]] = {}
    for each in model.measured:
        mounts.setdefault(each.mount, []).append(each)
    ways: dict[str, Departure] = {}
    for mount, of in mounts.items():
        stack = model.states[of[0].state].stack.uncalibrated
        joint = mounted_joint(stack)
        if joint is None or _has_bad_mounts(stack, joint):
            continue
        late = {each.state == last for each in of}
        where: Where = "both" if len(late) == 2 else "after" if True in late else "before"
        label = next((f"mount {each.reading.mount}" for each in of if each.reading.mount), "")
        told = ", ".join(text for text in ("" if where == "both" else where, label) if text) or "before and after"
        if told in ways:
            told = f"{told}, {stack.label}"
        ways[told] = Departure(where, _extra(joint.name), told, mount, "mount", joint.name)
    if ways:
        yield Cause(
            "one bad mount",
            "In one of the mounts the cold plate sat badly: tilted, low in a corner, or on a crumb.",
            size="12 mm^2*K/W", largest="60 mm^2*K/W",
            source="one mount in eight is bad, with about twice the resistance (practice)", chance=1 / 8,
            ways=tuple(ways.values()),
        )  # fmt: skip


def _sizes(before: Stack, after: Stack) -> Iterator[Cause]:
    die = before.dies[0]
    if len(before.dies) == 1 and after.dies[0].footprint == die.footprint:
        yield Cause(
            "wrong die size",
            "The die is larger or smaller than was described.",
            size="5 %", largest="30 %", two_sided=True, source="of its area; measured by caliper or from a picture",
            ways=(Departure("both", _die_area, tied="bench"),),
        )  # fmt: skip
    lid = next((e for e in before.layers if isinstance(e, Layer)), None)
    if upper_joint(before) is not None and lid is not None:
        name = lid.name
        where: Where = "both" if any(part.name == name for part in after.parts()) else "before"
        yield Cause(
            f"wrong {name} thickness",
            f"The {name} is thicker or thinner than was described.",
            size="12 %", largest="50 %", two_sided=True, source="of its thickness; tops are 1.5 to 3.5 mm (practice)",
            ways=(Departure(where, lambda stack, share: _thicker(stack, name, share), tied="bench"),),
        )  # fmt: skip


def _readings(after: Stack) -> Iterator[Cause]:
    yield Cause(
        "coolant probe or its drift",
        "The coolant was not as warm as was read where the heat goes in: probe, place or drift.",
        size="1 K", largest="8 K", two_sided=True, source="probes agree to 0.1 K when calibrated together, else to 1 K",
        ways=tuple(Misreading(w, "coolant", _whole(w)) for w in ("before", "after", "both")),
    )  # fmt: skip
    yield Cause(
        "power-meter error or change",
        "The power was not what was read: a wrong scale, or a setting that changed with the mod.",
        size="6 %", largest="30 %", two_sided=True,
        source="package power is right to 3 to 10 %, up to 30 % off where firmware misstates it (practice)",
        ways=tuple(Misreading(w, "power", _whole(w)) for w in ("before", "after", "both")),
    )  # fmt: skip
    yield Cause(
        "sensor offset that changed",
        "The die's sensors read higher or lower after the mod by an offset: firmware, or another limit as reference.",
        size="2 K", largest="20 K", two_sided=True,
        source="offsets of 3 to 5 K, at times 10 to 20, are known (practice)",
        ways=(Misreading("after", "sensors"),),
    )  # fmt: skip
    regions = after.dies[0].power.regions
    if regions and len(after.dies) == 1:
        yield Cause(
            "power map or clock changed",
            "After the mod the power was spread otherwise over the die: another load, clock or boost.",
            size="8 %", largest="40 %", two_sided=True, source="share of the power that moved; assumed",
            ways=tuple(
                Departure("after", _moved(told), told, tied="bench")
                for told in ("into the regions", "to the right", "upwards")
            ),
        )  # fmt: skip


def _whole(where: str) -> str:
    return "in both states" if where == "both" else where


# -- what changes the stack


def _gap(stack: Stack, joint: Interface) -> float:
    """Return the thickness of an unfilled joint: its bond line, its class's, else 50 µm. [m]"""
    if joint.bond_line is not None:
        return joint.bond_line.si
    row = class_row(stack, joint)
    return 50e-6 if row is None or row.bond_line is None else row.bond_line.typical


def _conductivity(stack: Stack, joint: Interface) -> float:
    """Return the conductivity of what fills a joint: as written, its class's, else a paste's 3.5 W/m/K."""
    if joint.conductivity is not None:
        return joint.conductivity.si
    row = class_row(stack, joint)
    return 3.5 if row is None or row.conductivity is None else row.conductivity.typical


def _extra(joint: str, sign: float = 1.0) -> Change:
    return lambda stack, size: with_extra_resistance(stack, joint, sign * size)


def _void(joint: str, at: tuple[float, float], resistance: float) -> Change:
    """Return the change that leaves a share of the die unbonded, at a place of it (fractions of its sides)."""

    def change(stack: Stack, share: float) -> Stack:
        part = stack.part(joint)
        assert isinstance(part, Interface)
        sides = [value.si * 1e3 for value in part.footprint or stack.dies[0].footprint]
        size = [math.sqrt(share) * side for side in sides]
        corner = [where * (whole - own) for where, whole, own in zip(at, sides, size, strict=True)]
        patch = Patch(
            "unbonded", corner=_pair(corner), size=_pair(size),
            resistance=Value(resistance * 1e6, "mm^2*K/W", "specific resistance"),
        )  # fmt: skip
        plain = with_extra_resistance(stack, joint, 0.0).part(joint)
        assert isinstance(plain, Interface)
        whole = Interface(
            joint, resistance=plain.resistance, footprint=part.footprint, centre=part.centre,
            patches=(*part.patches, patch), mount=part.mount,
        )  # fmt: skip
        return stack.swap(joint, [whole])

    return change


def _pair(lengths: list[float]) -> tuple[Value, Value]:
    return Value(lengths[0], "mm", "length"), Value(lengths[1], "mm", "length")


def _times(value: Value, factor: float) -> Value:
    return Value(value.magnitude * factor, value.unit, value.dimension)


def _die_area(stack: Stack, share: float) -> Stack:
    """Return the stack with a die of another area, its map scaled with it."""
    die, f = stack.dies[0], math.sqrt(1.0 + share)
    regions = tuple(
        Region(r.name, r.power, (_times(r.corner[0], f), _times(r.corner[1], f)),
               (_times(r.size[0], f), _times(r.size[1], f)))
        for r in die.power.regions
    )  # fmt: skip
    return stack.swap(die.name, [_with_die(die, (_times(die.footprint[0], f), _times(die.footprint[1], f)), regions)])


def _with_die(die: Die, footprint: tuple[Value, Value], regions: tuple[Region, ...]) -> Die:
    return Die(
        die.name, die.material, die.thickness, footprint, PowerMap(die.power.total, regions), die.joint,
        centre=die.centre, mirrored=die.mirrored, conductivity=die.conductivity,
    )  # fmt: skip


def _thicker(stack: Stack, layer: str, share: float) -> Stack:
    part = stack.part(layer)
    assert isinstance(part, Layer)
    return stack.change(f"{layer}.thickness", _times(part.thickness, 1.0 + share))


def _moved(told: str) -> Change:
    """Return the change that moves a share of the die's power: into its regions, or between their halves."""

    def change(stack: Stack, share: float) -> Stack:
        die = stack.dies[0]
        watts = [r.power.si for r in die.power.regions]
        moved = share * die.power.total.si
        axis = 0 if told == "to the right" else 1
        middles = [r.corner[axis].si + 0.5 * r.size[axis].si for r in die.power.regions]
        if axis == 0 and die.mirrored:
            middles = [-m for m in middles]
        halfway = 0.5 * (min(middles) + max(middles))
        if told == "into the regions":
            pull = [1.0] * len(watts)
        else:
            pull = [math.copysign(1.0, m - halfway) if abs(m - halfway) > 1e-6 else 0.0 for m in middles]
        for sign in (1.0, -1.0):
            own = sum(w for w, p in zip(watts, pull, strict=True) if p == sign)
            watts = [
                w + (sign * moved * w / own if p == sign and own else 0.0) for w, p in zip(watts, pull, strict=True)
            ]
        regions = tuple(
            Region(r.name, Value(w, "W", "power"), r.corner, r.size)
            for r, w in zip(die.power.regions, watts, strict=True)
        )
        return stack.swap(die.name, [_with_die(die, die.footprint, regions)])

    return change
