"""Does the stack as a whole make sense? Asked when it is made ready for solving, not in the middle of an edit."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from ..errors import InputError, UnknownNameError, suggest
from ..stack.parts import Die, Interface, Joint, Layer, Region
from ..stack.stack import Stack
from ..units import show
from .rects import SAME, Rect, Values, at, meets, rectangle, within

__all__ = ["check_dies", "check_order", "check_patches", "check_sensors", "fits"]


def check_order(stack: Stack) -> None:
    """Refuse a stack without a die or a solid above it, and two interfaces with nothing between them."""
    if not stack.dies:
        raise InputError("the stack is empty: it has no die", where=stack.name, expected="dies=[Die(…)]")
    solids = [e for e in stack.layers if isinstance(e, Layer)]
    if not solids:
        raise InputError(
            "no layer lies above the dies",
            where=stack.name,
            expected="at least a cold plate, such as Layer('cold plate', 'copper', '3 mm', …)",
        )
    for die in stack.dies:
        elements: list[Joint] = [*die.joint, *stack.layers]
        for below, above in pairwise(elements):
            if isinstance(below, Interface) and isinstance(above, Interface):
                raise InputError(
                    f"the interfaces {below.name!r} and {above.name!r} touch: nothing solid lies between them",
                    where=stack.name,
                    expected=f"one interface there, for instance without({above.name!r})",
                )
    top, whole = stack.layers[-1], stack.coolant.whole
    if whole and isinstance(top, Layer) and any(isinstance(e, Interface) for e in stack.layers):
        raise InputError(
            f"the coolant's figure contains the cold plate, and {top.name!r} would be that plate a second time",
            where="coolant.contains_plate",
            expected=f"without({top.name!r}), or a figure that does not contain it",
        )
    if isinstance(top, Interface) and (top.footprint is not None or top.patches):
        raise InputError(
            "what joins a plate that the coolant's figure contains covers the wetted area evenly",
            where=top.name,
            expected="no footprint and no patches there; see wetted=",
        )
    if isinstance(top, Interface) and not whole:
        raise InputError(
            f"the interface {stack.layers[-1].name!r} lies on top, with nothing above it",
            where=stack.name,
            expected="a layer that the coolant wets",
        )


def check_dies(stack: Stack, values: Values) -> None:
    """Refuse dies that overlap, regions off their die, and regions that make more than their die."""
    places = {die.name: at(rectangle(die.name), values) for die in stack.dies}
    names = list(places)
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            if meets(places[a], places[b]):
                raise InputError(
                    f"the dies {a!r} and {b!r} overlap",
                    where=stack.name,
                    expected=f"centres apart, such as centre=('-8 mm', '0 mm') for {a!r}",
                )
    for die in stack.dies:
        whole = places[die.name]
        for region in die.power.regions:
            fits(at(within(rectangle(die.name), region.name, die.mirrored), values), whole, region.name, die.name)


def fits(inner: tuple[float, ...], outer: tuple[float, ...], part: str, on: str) -> None:
    """Refuse a rectangle that reaches over the edge of what it lies on."""
    over = max(outer[0] - inner[0], outer[1] - inner[1], inner[2] - outer[2], inner[3] - outer[3])
    if over > SAME:
        size = f"{show(outer[2] - outer[0], 'length')} x {show(outer[3] - outer[1], 'length')}"
        raise InputError(
            f"it reaches {show(over, 'length')} over the edge of {on!r}",
            where=part,
            expected=f"a corner, centre and size within {on!r}, which is {size}",
        )


def check_patches(joint: Interface, rects: Sequence[Rect], whole: Rect, values: Values) -> None:
    """Refuse patches that reach over the edge of their joint, or overlap."""
    for i, (patch, rect) in enumerate(zip(joint.patches, rects, strict=True)):
        fits(at(rect, values), at(whole, values), patch.name, joint.name)
        for other, its in zip(joint.patches[:i], rects[:i], strict=True):
            if meets(at(rect, values), at(its, values)):
                raise InputError(
                    f"it overlaps the patch {other.name!r}", where=patch.name, expected="patches side by side"
                )


def check_sensors(stack: Stack) -> None:
    """Refuse sensors at a place that does not exist."""
    places = ["coolant"] if stack.coolant.flow is None else ["coolant", "coolant outlet"]
    known = [part.name for part in stack.parts() if isinstance(part, Die | Region | Layer)] + places
    for sensor in stack.sensors:
        if sensor.at not in known:
            raise UnknownNameError(
                f"no die, region or layer is named {sensor.at!r}; {suggest(sensor.at, known)}",
                where=f"{sensor.name}.at",
            )
        if sensor.point is not None and (sensor.at in places or not isinstance(stack.part(sensor.at), Layer)):
            raise InputError(
                f"a sensor at {sensor.at!r} reads a mean and sits at no point",
                where=f"{sensor.name}.point",
                expected="no point, or a layer to sit on",
            )
