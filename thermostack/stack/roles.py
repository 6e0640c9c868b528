"""Which part of a stack is the lid, the cold plate, the joint of a die: found by where it lies."""

from __future__ import annotations

from collections.abc import Sequence

from ..errors import InputError, UnknownNameError, suggest
from .parts import Die, Interface, Joint, Layer
from .stack import Stack

__all__ = [
    "cold_plate",
    "die_joints",
    "joint_of_cold_plate",
    "lid",
    "one_of",
]


def one_of(found: Sequence[Joint | Die], what: str, named: str | None, where: str, field: str) -> Joint | Die:
    """Return the only one of several parts, or that of a name.

    Raises
    ------
    InputError
        There is none, or there are several and none is named: the message names them.
    UnknownNameError
        The name is none of theirs.
    """
    names = [part.name for part in found]
    if named is not None:
        if named not in names:
            raise UnknownNameError(f"{named!r} is no {what} here; {suggest(named, names)}", where=where)
        return found[names.index(named)]
    if not found:
        raise InputError(f"there is no {what}", where=where, expected="a stack that has one")
    if len(found) > 1:
        listed = " or ".join(f"{field}={name!r}" for name in names)
        raise InputError(f"{len(found)} parts may be the {what}", where=where, expected=listed)
    return found[0]


def lid(stack: Stack) -> tuple[Layer, ...]:
    """Return the layers between the dies and the joint of the cold plate, platings too; none of a bare part."""
    joints = [i for i, e in enumerate(stack.layers) if i > 0 and isinstance(e, Interface)]
    return tuple(e for e in stack.layers[: joints[0]] if isinstance(e, Layer)) if joints else ()


def die_joints(stack: Stack) -> tuple[Interface, ...]:
    """Return what binds the dies to what lies above: an interface of each, or the one that all share.

    Raises
    ------
    InputError
        A die has none, or several one above the other.
    """
    if stack.layers and isinstance(stack.layers[0], Interface) and not any(_interfaces(die) for die in stack.dies):
        return (stack.layers[0],)
    found = []
    for die in stack.dies:
        joint = one_of(_interfaces(die), f"joint of {die.name!r}", None, stack.name, "joint")
        assert isinstance(joint, Interface)
        found.append(joint)
    return tuple(found)


def _interfaces(die: Die) -> list[Interface]:
    return [element for element in die.joint if isinstance(element, Interface)]


def joint_of_cold_plate(stack: Stack, named: str | None = None) -> tuple[Interface, ...]:
    """Return the joint on the lid, which opens when the cooler comes off; on bare dies, the joints of all dies.

    Raises
    ------
    InputError
        There are several above the lid (say, under a vapour chamber and above it), and none is named.
    """
    above = [element for element in stack.layers[1:] if isinstance(element, Interface)]
    if not above and named is None:
        return die_joints(stack)
    joint = one_of(above or die_joints(stack), "joint of the cold plate", named, stack.name, "joint")
    assert isinstance(joint, Interface)
    return (joint,)


def cold_plate(stack: Stack) -> tuple[Layer, ...]:
    """Return the layers above the topmost joint, platings too."""
    joints = [i for i, e in enumerate(stack.layers) if isinstance(e, Interface)]
    return tuple(e for e in stack.layers[joints[-1] + 1 if joints else 0 :] if isinstance(e, Layer))
