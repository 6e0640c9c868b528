"""Mods in the trade's words, one call each: relid, bare die, new paste, lapping, another force, flow or cold plate.

Each returns a new stack, made of the steps that `Stack` knows (replace, without, change, remounted), so that it is
written to files, shared and counted like any other. What a mod opens is made anew, up to the coolant. Parts are found
by where they lie; where that leaves a choice, the message names the candidates.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Literal

from ..catalogue import InterfaceClass
from ..errors import InputError
from ..laws.heights import mount_pressure
from ..units import Value, ValueLike, parse
from .coolant import Coolant
from .inputs import class_row
from .parts import Die, Interface, Layer
from .paths import get_value
from .roles import cold_plate as plate_of
from .roles import die_joints, joint_of_cold_plate, lid, one_of
from .stack import Stack

__all__ = [
    "WORDS",
    "bare_die",
    "change_paste",
    "cold_plate",
    "contact_area",
    "flow",
    "lap",
    "mount_force",
    "pressure_of",
    "relid",
    "thin_die",
]

Face = Literal["top", "bottom"]
InterfaceLike = str | InterfaceClass | Interface


def relid(stack: Stack, interface: InterfaceLike, **details: Any) -> Stack:
    """Take the lid off, put something else between it and the dies, and lay it on again.

    Parameters
    ----------
    stack : Stack
        With a lid.
    interface : str, InterfaceClass or Interface
        Class of the new joint, such as ``"gallium alloy"``, or the joint itself. With several dies each gets one.
    **details
        Of the new joint, such as ``bond_line="40 um"``, as for `Interface`; ``name`` too.

    Returns
    -------
    Stack
        The joint under the cold plate is made anew as well.

    Raises
    ------
    InputError
        There is no lid.

    Notes
    -----
    Whether the lid then stands on its rim, and with what gap, `mount_check` tells from the heights.

    Examples
    --------
    ``relid(stack, "gallium alloy", bond_line="30 um (x/ 1.5)")``
    """
    if not lid(stack) and not _is_cooled_lid(stack):
        raise InputError(
            "there is no lid: the cold plate sits on the dies", where=stack.name, expected="change_paste(stack, …)"
        )
    return _with_joints(stack, die_joints(stack), interface, details)


def bare_die(stack: Stack, interface: InterfaceLike | None = None, **details: Any) -> Stack:
    """Take the lid away for good: the cold plate comes down on the dies.

    Parameters
    ----------
    stack : Stack
        With a lid, a joint on it and a cold plate.
    interface : str, InterfaceClass or Interface, optional
        What then lies between dies and cold plate. If not given, a joint of the kind that was under the lid; not
        possible where that was soldered or glued.
    **details
        Of the new joint, as for `relid`.

    Returns
    -------
    Stack

    Raises
    ------
    InputError
        There is no lid with a joint on it, or the interface must be named.
    """
    gone = [layer.name for layer in lid(stack)]
    if not gone:
        raise InputError(
            "there is no lid under a cold plate", where=stack.name, expected="a stack of dies, lid, joint and plate"
        )
    gone += [next(e for e in stack.layers[1:] if isinstance(e, Interface)).name]
    if interface is None:
        _check_demountable(stack, die_joints(stack), "bare_die(stack, 'gallium alloy')")
    else:
        stack = _with_joints(stack, die_joints(stack), interface, details)
    return stack.without(*gone)


def change_paste(stack: Stack, interface: InterfaceLike, *, joint: str | None = None, **details: Any) -> Stack:
    """Take the cooler off and put something else under it.

    Parameters
    ----------
    stack : Stack
    interface : str, InterfaceClass or Interface
        Class of the new joint, such as ``"phase-change pad"``, or the joint itself.
    joint : str, optional
        Name of the old one, where there are several above the lid.
    **details
        Of the new joint, as for `relid`.

    Returns
    -------
    Stack

    Raises
    ------
    InputError
        It is not clear which joint is meant, or it is soldered or glued.
    """
    joints = joint_of_cold_plate(stack, joint)
    _check_demountable(stack, joints, "relid(stack, …), which takes a lid off")
    return _with_joints(stack, joints, interface, details)


def lap(
    stack: Stack,
    part: str,
    *,
    by: ValueLike | None = None,
    to: ValueLike | None = None,
    flatness: ValueLike | None = None,
    face: Face | None = None,
    interface: InterfaceLike | None = None,
    **details: Any,
) -> Stack:
    """Grind a face flat: the part gets thinner, its joint there is made anew.

    Parameters
    ----------
    stack : Stack
    part : str
        ``"lid"``, ``"die"`` or ``"cold plate"``, or the name of a part.
    by, to : value, optional
        What is taken off, or the thickness that is left (of the part itself); one of the two, or neither where only
        the flatness matters. A plating on that face goes first.
    flatness : value, optional
        Bow that is left over the joint, both faces together, such as ``"5 um"``. The bow before must be described
        (``joint.bow``), or the gain cannot be told.
    face : {"top", "bottom"}, optional
        Of a lid: top if not given. A die is lapped on its top, a cold plate on its bottom.
    interface : str, InterfaceClass or Interface, optional
        What fills the joint afterwards; the same as before if not given, which a soldered or glued one cannot be.
    **details
        Of the new joint, as for `relid`.

    Returns
    -------
    Stack

    Raises
    ------
    InputError
        Nothing to do, more than there is, a part that is not clear, or a joint that cannot be made again as it was.
    """
    solid, joints, coats = _lapped(stack, part, face)
    if by is None and to is None and flatness is None:
        raise InputError(
            "nothing is lapped", where=f"lap {solid.name}", expected="by='0.1 mm', to=… or flatness='5 um'"
        )
    if by is not None and to is not None:
        raise InputError("both by and to are given", where=f"lap {solid.name}", expected="one of the two")
    if interface is None:
        _check_demountable(stack, joints, f"lap(stack, {part!r}, …, interface='gallium alloy')")
    if by is not None:
        stack = _taken_off(stack, [*coats, solid], parse(by, "length", f"lap {solid.name}, by"))
    elif to is not None:
        left = parse(to, "length", f"lap {solid.name}, to")
        if left.si >= solid.thickness.si:
            raise InputError(
                f"{left} is left of {solid.thickness}", where=f"lap {solid.name}, to", expected="less than there is"
            )
        stack = _ground(stack, [coat.name for coat in coats], solid, left)
    if interface is None:
        stack = stack.remounted(joints[0].name)
        names = [joint.name for joint in joints]
    else:
        before = {part.name for part in stack.parts()}
        stack = _with_joints(stack, joints, interface, details)
        names = [p.name for p in stack.parts() if isinstance(p, Interface) and p.name not in before] or [
            joint.name for joint in joints
        ]
    return stack if flatness is None else _flattened(stack, names, flatness, joints)


def thin_die(
    stack: Stack, to: ValueLike, *, die: str = "die", interface: InterfaceLike | None = None, **details: Any
) -> Stack:
    """Grind a die down on its back: silicon conducts worse than copper, but a thin die spreads less.

    Parameters
    ----------
    stack : Stack
    to : value
        Thickness that is left.
    die : str
        Its name; needed where there are several.
    interface, **details
        What fills its joint afterwards, as for `lap`.

    Returns
    -------
    Stack

    Raises
    ------
    InputError
        As `lap`.
    """
    return lap(stack, die, to=to, interface=interface, **details)


def mount_force(stack: Stack, force: ValueLike, *, joint: str | None = None, remount: bool = True) -> Stack:
    """Mount the cooler with another force: its pressure sets the bond line of a paste.

    Parameters
    ----------
    stack : Stack
    force : value
        Of all screws or springs together, such as ``"200 N"``.
    joint : str, optional
        On which it acts, where there are several above the lid.
    remount : bool
        Whether the cooler comes off for it.

    Returns
    -------
    Stack
        With the pressure at the joint of the cold plate, over the area in which lid and plate meet (on bare dies, over
        that of all dies). Below a lid nothing changes: its rim may carry the force; see `mount_check`.

    Raises
    ------
    InputError
        The joint is described by its resistance or bond line, or its class has no yield stress: then no law tells what
        the force does.
    """
    joints = joint_of_cold_plate(stack, joint)
    given = parse(force, "force", "force")
    pressure = pressure_of(given, contact_area(stack, joints))
    for each in joints:
        row = class_row(stack, each)
        written = next((f for f in ("resistance", "bond_line") if getattr(each, f) is not None), None)
        if written or (each.yield_stress is None and (row is None or row.yield_stress is None)):
            why = f"its {written} is written" if written else "no yield stress of what fills it is known"
            raise InputError(
                f"what a force does to the joint is not known: {why}",
                where=each.name,
                expected="a joint by class, such as 'ceramic paste', or with a yield_stress; or change its bond_line",
            )
    if remount:
        stack = stack.remounted(joints[0].name)
    for each in joints:
        stack = stack.change(f"{each.name}.pressure", pressure)
    return stack


def flow(stack: Stack, flow: ValueLike) -> Stack:
    """Let the coolant flow faster or slower; nothing is opened.

    Parameters
    ----------
    stack : Stack
        With a coolant that knows its flow, by a model of the plate, a radiator or a reference.
    flow : value
        Such as ``"4 L/min"``.

    Returns
    -------
    Stack

    Raises
    ------
    InputError
        The coolant is described by a figure that holds for one flow.
    """
    if get_value(stack, "coolant.flow") is None:
        raise InputError(
            "the coolant is described by a figure for one flow",
            where="coolant.flow",
            expected="Coolant(…, model=ChannelPlate(…), flow=…), or the figure for the other flow by change()",
        )
    return stack.change("coolant.flow", flow)


def cold_plate(stack: Stack, plate: Layer | None = None, coolant: Coolant | None = None) -> Stack:
    """Mount another cooler.

    Parameters
    ----------
    stack : Stack
    plate : Layer, optional
        The new cold plate, in place of the layer above the topmost joint (and of platings on it).
    coolant : Coolant, optional
        What then carries the heat away; another plate usually has another conductance, too.

    Returns
    -------
    Stack

    Raises
    ------
    InputError
        Neither is given, or there is no cold plate.
    """
    if plate is None and coolant is None:
        raise InputError(
            "neither plate nor coolant is given", where="cold_plate", expected="Layer('cold plate', …) or Coolant(…)"
        )
    joints = joint_of_cold_plate(stack)
    _check_demountable(stack, joints, "a joint of the cold plate that can be opened")
    if plate is None:
        stack = stack.remounted(joints[0].name)
    else:
        old = plate_of(stack)
        if not old:
            raise InputError("there is no cold plate", where=stack.name, expected="a layer above the topmost joint")
        thickest = max(old, key=lambda layer: layer.thickness.si)
        coats = [layer.name for layer in old if layer is not thickest]
        stack = (stack.without(*coats) if coats else stack).replace(thickest.name, plate)
        # the plate alone was exchanged: what lies below its joint was not opened
    return stack if coolant is None else stack.replace("coolant", coolant)


WORDS: dict[str, Callable[..., Stack]] = {
    "relid": relid,
    "bare_die": bare_die,
    "change_paste": change_paste,
    "lap": lap,
    "thin_die": thin_die,
    "mount_force": mount_force,
    "flow": flow,
    "cold_plate": cold_plate,
}
"""By name, for files."""


# -- finding


def _is_cooled_lid(stack: Stack) -> bool:
    """Tell whether the coolant flows on a plate that is soldered or glued to the dies: a lid."""
    return not lid(stack) and any(_is_fixed(stack, joint) for joint in die_joints(stack))


def _is_fixed(stack: Stack, joint: Interface) -> bool:
    row = class_row(stack, joint)
    return row is not None and not row.demountable


def _check_demountable(stack: Stack, joints: Sequence[Interface], right: str) -> None:
    fixed = [joint for joint in joints if _is_fixed(stack, joint)]
    if fixed:
        row = class_row(stack, fixed[0])
        assert row is not None  # a joint without a row is not fixed
        raise InputError(
            f"{row.name} cannot be opened and made again as it was; say what takes its place",
            where=fixed[0].name,
            expected=right,
        )


def _lapped(stack: Stack, part: str, face: Face | None) -> tuple[Die | Layer, tuple[Interface, ...], list[Layer]]:
    """Return what is lapped, the joints on that face, and the platings that go first, outermost first."""
    names = {p.name for p in stack.parts()}
    plates, lids = plate_of(stack), lid(stack)
    if part in {die.name for die in stack.dies} or (part == "die" and part not in names):
        die = one_of(stack.dies, "die", part if part in names else None, stack.name, "part")
        assert isinstance(die, Die)
        _check_face(face, "top", die.name)
        at = [i for i, e in enumerate(die.joint) if isinstance(e, Interface)]
        coats = [e for e in die.joint[: at[0] if at else None] if isinstance(e, Layer)]
        index = stack.dies.index(die)
        joints = die_joints(stack)
        return die, (joints[index if len(joints) > 1 else 0],), coats[::-1]
    if part in {layer.name for layer in lids} or (part == "lid" and part not in names):
        return _lid_face(stack, lids, part if part in names else None, face or "top")
    if part in {layer.name for layer in plates} or (part in ("plate", "cold plate") and part not in names):
        _check_face(face, "bottom", part)
        solid = _thickest(plates, part if part in names else None, "cold plate", stack)
        return solid, joint_of_cold_plate(stack), list(plates[: plates.index(solid)])
    known = [die.name for die in stack.dies] + [layer.name for layer in (*lids, *plates)]
    raise InputError(f"{part!r} cannot be lapped", where=stack.name, expected=" or ".join(map(repr, known)))


def _lid_face(
    stack: Stack, lids: tuple[Layer, ...], named: str | None, face: Face
) -> tuple[Layer, tuple[Interface, ...], list[Layer]]:
    if face not in ("top", "bottom"):
        raise InputError(f"{face!r} is not known", where="face", expected="top or bottom")
    solid = _thickest(lids, named, "lid", stack)
    at = lids.index(solid)
    if face == "bottom":
        return solid, die_joints(stack), list(lids[:at])
    above = next(e for e in stack.layers[1:] if isinstance(e, Interface))
    return solid, (above,), list(lids[:at:-1])


def _thickest(layers: Sequence[Layer], named: str | None, what: str, stack: Stack) -> Layer:
    """Return the layer of a name, or the one that all others are platings of."""
    if named is None and layers:
        most = max(layers, key=lambda layer: layer.thickness.si)
        if all(layer is most or layer.thickness.si < most.thickness.si / 10 for layer in layers):
            return most
    found = one_of(layers, what, named, stack.name, "part")
    assert isinstance(found, Layer)
    return found


def _check_face(face: Face | None, only: Face, name: str) -> None:
    if face not in (None, only):
        raise InputError(f"{face!r} of {name!r} is not lapped", where="face", expected=only)


# -- doing


def _with_joints(stack: Stack, old: Sequence[Interface], interface: InterfaceLike, details: dict[str, Any]) -> Stack:
    """Return the stack with new joints in place of the old ones."""
    if isinstance(interface, Interface) and details:
        raise InputError(
            f"{', '.join(details)} beside a whole joint",
            where=interface.name,
            expected="a class with details, or a joint",
        )
    kept = {part.name for part in stack.parts()} - {joint.name for joint in old}
    wanted = dict(details)
    name = wanted.pop("name", None) or (interface if isinstance(interface, str) else interface.name)
    for joint in old:
        called = str(name)
        if len(old) > 1 or called in kept:
            called = f"{name} for {joint.name}"
        new = (
            replace(interface, name=called)
            if isinstance(interface, Interface)
            else Interface(called, interface, **wanted)
        )
        stack = stack.replace(joint.name, new)
    return stack


def _taken_off(stack: Stack, solids: Sequence[Die | Layer], by: Value) -> Stack:
    """Return the stack with so much ground off, outermost part first; platings go as a whole."""
    if not by.si > 0:
        raise InputError(f"'{by}' is not possible", where=f"lap {solids[-1].name}, by", expected="a value above zero")
    left, gone = by, list[str]()
    for coat in solids[:-1]:
        assert isinstance(coat, Layer)
        if left.si < coat.thickness.si * (1 - 1e-9):
            return _ground(stack, gone, coat, _less(coat.thickness, left))
        gone.append(coat.name)
        left = _less(left, coat.thickness)
    solid = solids[-1]
    if left.si >= solid.thickness.si:
        raise InputError(
            f"{by} is more than there is ({solid.thickness})", where=f"lap {solid.name}, by", expected="less"
        )
    return _ground(stack, gone, solid, _less(solid.thickness, left) if left.si > 0 else solid.thickness)


def _ground(stack: Stack, gone: Sequence[str], solid: Die | Layer, left: Value) -> Stack:
    if gone:
        stack = stack.without(*gone)
    return stack if left == solid.thickness else stack.change(f"{solid.name}.thickness", left)


def _less(thickness: Value, by: Value) -> Value:
    """Return what is left of a thickness, in its own unit; independent spreads add by squares."""
    unit = Value(1.0, thickness.unit, thickness.dimension).si
    magnitude = float(f"{(thickness.si - by.si) / unit:.12g}")
    if by.kind == "exact" and thickness.kind != "lognormal":
        return replace(thickness, magnitude=magnitude)
    sd = float(f"{math.hypot(thickness.standard_uncertainty, by.standard_uncertainty) / unit:.6g}")
    return Value(magnitude, thickness.unit, thickness.dimension, "normal" if sd else "exact", sd)


def _flattened(stack: Stack, names: Sequence[str], flatness: ValueLike, before: Sequence[Interface]) -> Stack:
    """Return the stack with so much bow left, on the side on which it was before."""
    left = parse(flatness, "bond line", "flatness")
    if left.si < 0:
        raise InputError(f"'{left}' is not possible", where="flatness", expected="zero or more, such as '5 um'")
    for name, old in zip(names, before, strict=True):
        if old.bow is None:
            raise InputError(
                "how bowed its faces were is not described, so that the gain of flat ones cannot be told",
                where=f"{old.name}.bow",
                expected=_described_bow(stack, old),
            )
        signed = left if old.bow.si >= 0 or left.si == 0 else replace(left, magnitude=-left.magnitude)
        stack = stack.change(f"{name}.bow", signed)
    return stack


def _described_bow(stack: Stack, joint: Interface) -> str:
    """Return how a bow is described beside what is known of a joint."""
    bow = f"'{joint.name}.bow': '40 um'"
    if joint.bond_line is not None or joint.pressure is not None:
        return f"before lapping, change({{{bow}}})"
    if joint.resistance is not None:
        return f"{joint.name!r} by bond_line or pressure, conductivity, contact and bow in place of its resistance"
    row = class_row(stack, joint)
    beside = "pressure': '200 kPa" if row is not None and row.yield_stress is not None else "bond_line': '30 um"
    return f"before lapping, change({{'{joint.name}.{beside}', {bow}}})"


# -- pressing


def contact_area(stack: Stack, joints: Sequence[Interface]) -> float:
    """Return the area over which a mount presses on joints: that of all dies, or that in which lid and plate meet. [m²]

    Raises
    ------
    InputError
        A layer's size is not known.
    """
    on_dies = {joint.name for joint in die_joints(stack)}
    if any(joint.name in on_dies for joint in joints):
        return math.fsum(die.footprint[0].si * die.footprint[1].si for die in stack.dies)
    at = next(i for i, e in enumerate(stack.layers) if e.name == joints[0].name)
    below = [e for e in stack.layers[:at] if isinstance(e, Layer) and e.footprint is not None]
    above = [e for e in stack.layers[at:] if isinstance(e, Layer) and e.footprint is not None]
    if not below or not above:
        raise InputError(
            "the area is not known", where=joints[0].name, expected="a footprint of the layers below and above"
        )
    sides = []
    for axis in (0, 1):
        edges = [
            (e.centre[axis].si - e.footprint[axis].si / 2, e.centre[axis].si + e.footprint[axis].si / 2)
            for e in (below[-1], above[0])
            if e.footprint is not None
        ]
        sides.append(min(high for _, high in edges) - max(low for low, _ in edges))
    if min(sides) <= 0:
        raise InputError("the faces do not meet", where=joints[0].name, expected="layers that lie above one another")
    return sides[0] * sides[1]


def pressure_of(force: Value, area: float) -> Value:
    """Return the pressure of a force over an area, with the force's own spread."""
    kpa = float(f"{float(mount_pressure(force.si, area)) / 1e3:.6g}")
    spread = force.spread if force.kind in ("exact", "lognormal") else float(f"{force.spread_si / area / 1e3:.6g}")
    return Value(kpa, "kPa", "pressure", force.kind, spread)
