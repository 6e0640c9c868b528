"""Causes: named physical departures from what is described, each with a size of its own.

A cause is zero in the described stack. Its size is half-normal (or normal, where it may be of either sign), bounded,
and stated in the unit of what it is: never a multiple of another input's spread. It acts in one or several ways
(`Way`): which corner is void, or in which state a probe was off, is not known beforehand; all ways are alike probable.

A cause of your own needs a name, a sentence, a size and at least one way::

    Cause("bent frame", "The frame lifted the cold plate off the lid after the mod.",
          size="10 mm^2*K/W", largest="60 mm^2*K/W", source="two frames measured here",
          ways=(Departure("after", lambda stack, size: with_extra_resistance(stack, "paste", size)),))
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias, get_args

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, UnitError, UnknownNameError, suggest
from ..propagate import TruncatedNormal
from ..stack.parts import Die, Interface
from ..stack.stack import Stack
from ..states import Measured
from ..units import DIMENSIONS, Value, ValueLike, parse

__all__ = ["Cause", "Departure", "Misreading", "Way", "Where", "with_extra_resistance"]

Float = NDArray[np.float64]
Where = Literal["before", "after", "both"]
Instrument = Literal["sensors", "coolant", "power"]
Tied = Literal["part", "mount", "bench"]

READ_WRONG = {"sensors": "temperature difference", "coolant": "temperature difference", "power": "fraction"}
"""Dimension of what each instrument reads too much."""
RIGHT = {"specific resistance": "6 mm^2*K/W", "temperature difference": "1 K", "bond line": "40 um", "fraction": "5 %"}
"""Dimensions that a size is known by from its unit, each with a right size."""


@dataclass(frozen=True, eq=False)
class Departure:
    """A cause that makes the stack another one.

    Parameters
    ----------
    where : {"before", "after", "both"}
        In which state it acts.
    change : callable
        Takes the stack and a size in SI, and returns the stack as it then is. Asked for a few sizes up to the largest;
        in between the effect is interpolated.
    told : str
        Which way this is, for words: "lower left corner".
    mount : str or None
        Only under the mount of this label, or of this `Measured.mount`.
    tied : {"part", "mount", "bench"}
        What it stays with: the part, one making of the joints above it, or the bench and the kind of part: then it is
        there with a second part as well.
    joint : str
        Where it is to be seen when that joint is opened; empty if nowhere.
    """

    where: Where
    change: Callable[[Stack, float], Stack]
    told: str = ""
    mount: str | None = None
    tied: Tied = "part"
    joint: str = ""

    def __post_init__(self) -> None:
        _check_name(self.where, Where, "Departure.where")
        _check_name(self.tied, Tied, "Departure.tied")
        if not callable(self.change):
            raise InputError(
                f"{self.change!r} changes no stack", where="Departure.change",
                expected="such as lambda stack, size: with_extra_resistance(stack, 'paste', size)",
            )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Misreading:
    """A cause in what was read.

    Parameters
    ----------
    where : {"before", "after", "both"}
    of : {"sensors", "coolant", "power"}
        What read too much by the size: sensors of the die or the coolant's probe, in kelvin; the power meter, as a
        share of the power.
    told : str
        Which way this is, for words.
    sensors : tuple of str
        Only these of the die's sensors, by the names that they have in the readings; all if none.
    mount : str or None
        Only under the mount of this label, or of this `Measured.mount`.
    tied : {"part", "mount", "bench"}
        As for `Departure`.
    """

    where: Where
    of: Instrument
    told: str = ""
    sensors: tuple[str, ...] = ()
    mount: str | None = None
    tied: Tied = "bench"

    def __post_init__(self) -> None:
        _check_name(self.where, Where, "Misreading.where")
        _check_name(self.of, Instrument, "Misreading.of")
        _check_name(self.tied, Tied, "Misreading.tied")
        one = isinstance(self.sensors, str) or not isinstance(self.sensors, Iterable)
        object.__setattr__(self, "sensors", (self.sensors,) if one else tuple(self.sensors))
        if self.sensors and self.of != "sensors":
            raise InputError(
                f"sensors {self.sensors!r} of what the {self.of} read", where="Misreading.sensors",
                expected="Misreading(…, 'sensors', sensors=…), or no sensors",
            )  # fmt: skip


def _check_name(given: object, known: Any, where: str) -> None:
    """Raise UnknownNameError unless a name is one of those that a Literal lists."""
    names = get_args(known)
    if given not in names:
        raise UnknownNameError(
            f"{given!r} is not known; {suggest(str(given), names)}", where=where, expected=" or ".join(map(repr, names))
        )


Way: TypeAlias = Departure | Misreading


@dataclass(frozen=True, init=False, eq=False)
class Cause:
    """A named physical departure from what is described.

    Parameters
    ----------
    name : str
        Short and unique.
    sentence : str
        What happened, for a practitioner.
    size : value
        Standard deviation of its half-normal prior (normal, if two-sided), with a unit: kelvin of what sensors or the
        coolant's probe misread, a share of what the power meter did.
    largest : value
        Bound of the size, also when sizes are doubled.
    source : str
        Where the two come from.
    ways : Departure or Misreading, or tuple of them
        Alike probable.
    two_sided : bool
        Whether it may be of either sign.
    odds : float
        Prior odds against any other cause. Without effect where a chance is given.
    chance : float
        Of each way by itself, whatever else is the case: a bad mount comes by with any other cause. 0: it does not.
    dimension : str
        Key of `units.DIMENSIONS`; found from the unit where left out.

    Raises
    ------
    InputError, UnitError
        A size that is no plain positive value below the largest or not in the unit of what is misread, odds that are
        not above zero, a chance outside 0 to 1, no way.
    UnknownNameError
        A dimension that is none.
    """

    name: str
    sentence: str
    size: Value
    largest: Value
    source: str
    ways: tuple[Way, ...]
    two_sided: bool
    odds: float
    chance: float

    def __init__(
        self, name: str, sentence: str, *, size: ValueLike, largest: ValueLike, source: str, ways: Way | Iterable[Way],
        two_sided: bool = False, odds: float = 1.0, chance: float = 0.0, dimension: str = "",
    ) -> None:  # fmt: skip
        where = f"cause {name!r}"
        acting = _ways(ways, where)
        kind = _dimension(size, acting, dimension, where)
        one, most = parse(size, kind, f"{where}.size"), parse(largest, kind, f"{where}.largest")
        if one.kind != "exact" or most.kind != "exact" or not 0 < one.si <= most.si:
            raise InputError(
                f"size {one} and largest {most}", where=where, expected="two plain values above zero, size first"
            )
        if two_sided and most.si >= 1 and any(isinstance(way, Misreading) and way.of == "power" for way in acting):
            raise InputError(
                f"no meter reads too little by {most} of the power", where=f"{where}.largest", expected="such as '30 %'"
            )
        if not (_finite(odds) and odds > 0):
            raise InputError(f"odds {odds!r}", where=where, expected="a finite number above zero, such as 1")
        if not (_finite(chance) and 0 <= chance < 1):
            raise InputError(f"chance {chance!r}", where=where, expected="a number from 0 to below 1, such as 0.1")
        for field, value in (
            ("name", name), ("sentence", sentence), ("size", one), ("largest", most), ("source", source),
            ("ways", acting), ("two_sided", two_sided), ("odds", float(odds)), ("chance", float(chance)),
        ):  # fmt: skip
            object.__setattr__(self, field, value)

    def prior(self, scale: float = 1.0) -> TruncatedNormal:
        """Return the prior of the size, or that of a size so many times as large; SI."""
        high = self.largest.si
        return TruncatedNormal(0.0, min(scale * self.size.si, 4 * high), -high if self.two_sided else 0.0, high)

    @property
    def dimension(self) -> str:
        """Key of `units.DIMENSIONS`."""
        return self.size.dimension


def _finite(number: object) -> bool:
    plain = isinstance(number, int | float | np.integer | np.floating) and not isinstance(number, bool)
    return plain and math.isfinite(number)  # type: ignore[arg-type]


def _ways(given: Way | Iterable[Way], where: str) -> tuple[Way, ...]:
    """Return the ways of a cause; one way may stand by itself."""
    ways = tuple(given) if isinstance(given, Iterable) else (given,)
    expected = "ways=(Departure(...) or Misreading(...), ...)"
    if not ways:
        raise InputError("it acts in no way", where=where, expected=expected)
    for way in ways:
        if not isinstance(way, Departure | Misreading):
            raise InputError(f"{way!r} is no way", where=where, expected=expected)
    return ways


def _dimension(size: ValueLike, ways: tuple[Way, ...], told: str, where: str) -> str:
    """Return the dimension of a size: as told, of what is misread, or by its unit."""
    read = {READ_WRONG[way.of] for way in ways if isinstance(way, Misreading)}
    if told and told not in DIMENSIONS:
        raise UnknownNameError(
            f"no dimension is named {told!r}; {suggest(str(told), DIMENSIONS)}", where=f"{where}.dimension"
        )
    if len(read | ({told} if told else set())) > 1:
        raise InputError(
            "its ways have no dimension in common", where=where,
            expected="misreadings of the power in a cause of their own, whose size is a fraction; "
            "of sensors and coolant a temperature difference",
        )  # fmt: skip
    kinds = [told] if told else list(read or RIGHT)
    for kind in kinds:
        try:
            found = parse(size, kind, f"{where}.size")
        except UnitError:
            continue
        # what has no unit is a fraction only where a fraction is asked for
        if found.unit or told or read or isinstance(size, Value):
            return kind
    right = " or ".join(repr(RIGHT.get(kind, DIMENSIONS[kind].example)) for kind in kinds)
    raise UnitError(
        f"{size!r} has not the unit of such a size", where=f"{where}.size",
        expected=f"such as {right}" + (", or dimension='…' of another" if len(kinds) > 1 else ""),
    )  # fmt: skip


def acts_on(way: Way, each: Measured, last: int, mounts: frozenset[str] | None = None) -> bool:
    """Tell whether a way acts on a reading: by its state, and by its mount where that matters.

    Parameters
    ----------
    way : Departure or Misreading
    each : Measured
    last : int
        Number of the state after the mod; all others are before it.
    mounts : frozenset of str, optional
        The mounts that were (`Measured.mount`); what is tied to a mount is not in any other.
    """
    if way.where != "both" and (way.where == "after") != (each.state == last):
        return False
    if way.mount is not None:
        return way.mount in (each.mount, each.reading.mount)
    return way.tied != "mount" or mounts is None or each.mount in mounts


def with_extra_resistance(stack: Stack, joint: str, extra: float) -> Stack:
    """Return the stack with a joint that resists so much more, evenly over its area. [m² K/W]

    The joint is then described by its resistance, the central one and the extra. An extra that leaves less than a
    twentieth of the resistance leaves a twentieth.

    Raises
    ------
    InputError
        The part is no interface; the message names those that there are.
    UnknownNameError
        No part has this name.
    """
    part = stack.part(joint)
    if not isinstance(part, Interface):
        names = [repr(each.name) for each in stack.parts() if isinstance(each, Interface)]
        raise InputError(
            f"{joint!r} is a {type(part).__name__}, no interface", where=stack.label, expected=" or ".join(names)
        )
    here = resistance_at_centre(stack, joint)
    total = max(here + extra, 0.05 * here)
    plain = Interface(
        part.name, resistance=Value(total * 1e6, "mm^2*K/W", "specific resistance"), footprint=part.footprint,
        centre=part.centre, patches=part.patches, mount=part.mount,
    )  # fmt: skip
    return stack.swap(joint, [plain])


def resistance_at_centre(stack: Stack, joint: str) -> float:
    """Return the specific resistance of a joint at the centres of all inputs, its patches left out. [m² K/W]"""
    from ..model import model_of

    model = model_of(stack)
    arrays = model.arrays()
    for die in model.rows.values():
        for row in die:
            if row.part == joint and not row.solid:
                if row.contacts:
                    patched = {p.name for p in stack.part(joint).patches}  # type: ignore[union-attr]
                    r = arrays.contact_r[0, list(row.contacts)]
                    return float(np.median(r) if not patched else _most_common(r))
                return float(arrays.r_above[0, row.slab])
    raise InputError(f"no joint {joint!r} in the stack", where=stack.label)


def _most_common(r: Float) -> float:
    values, counts = np.unique(np.round(r, 12), return_counts=True)
    return float(values[np.argmax(counts)])


def first_joint(stack: Stack) -> Interface | None:
    """Return the joint on the first die: the uppermost interface between it and the first layer."""
    die: Die = stack.dies[0]
    own = [element for element in die.joint if isinstance(element, Interface)]
    if own:
        return own[-1]
    return stack.layers[0] if isinstance(stack.layers[0], Interface) else None


def mounted_joint(stack: Stack) -> Interface | None:
    """Return the joint that is made anew when the cold plate is mounted again: the uppermost one."""
    joints = [element for element in stack.layers if isinstance(element, Interface)]
    return joints[-1] if joints else first_joint(stack) if len(stack.dies) == 1 else None


def upper_joint(stack: Stack) -> Interface | None:
    """Return the uppermost joint, under the cold plate, where it is not the first one."""
    joints = [element for element in stack.layers if isinstance(element, Interface)]
    if not joints or joints[-1] is first_joint(stack):
        return None
    return joints[-1]
