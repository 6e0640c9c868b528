"""A cause that asks for what only the user knows: through how many power cycles a paste went before it was read."""

from __future__ import annotations

from typing import Literal

from ..errors import InputError
from ..laws.ageing import CYCLES, pump_out_bounds
from ..stack.inputs import class_row
from ..stack.parts import Interface
from ..stack.roles import die_joints, joint_of_cold_plate
from ..stack.stack import Stack
from ..units import Value
from .cause import Cause, Departure, resistance_at_centre, with_extra_resistance

__all__ = ["aged_paste"]


def aged_paste(
    stack: Stack, cycles: float, where: Literal["before", "after"] = "before", *, joint: str | None = None
) -> Cause:
    """Return the cause that power cycles pumped a paste out of its joint before it was read, for ``check(causes=...)``.

    Parameters
    ----------
    stack : Stack
        In the state in which it was read.
    cycles : float
        Power cycles of 40 to 60 K between the making of the joint and the reading, about.
    where : {"before", "after"}
        Whether that is the state before or after the mod.
    joint : str, optional
        Name of the joint of the cold plate, where there are several above the lid.

    Returns
    -------
    Cause
        Its size is the share by which the resistance grew: at most that of `laws.ageing.pump_out_bounds`, its standard
        deviation the middle of those bounds.

    Raises
    ------
    InputError
        No cycle, or a joint whose class is no paste.

    Notes
    -----
    The bounds are *from memory* and weak. The same signature as a badly seated joint has: where both are possible they
    are one group, and only a reading of the joint made anew tells them apart.

    Examples
    --------
    ``check(State(soldered, before), State(relid, after), causes=[aged_paste(soldered, 400)])``
    """
    if where not in ("before", "after"):
        raise InputError(f"{where!r} is no state", where="where", expected="'before' or 'after'")
    found = joint_of_cold_plate(stack, joint)[0]
    row = class_row(stack, found)
    if found.interface is not None and (row is None or row.yield_stress is None):
        raise InputError(
            f"{found.interface.name} is no paste that cycles pump out", where=found.name, expected="a paste's joint"
        )
    place: Literal["bare die", "lid"] = "bare die" if found in die_joints(stack) else "lid"
    low, high = (float(bound) - 1 for bound in pump_out_bounds(cycles, place))
    if not high > 0:
        raise InputError(f"{cycles!r} cycles", where="cycles", expected=f"such as {CYCLES[place][0]:g}")
    return Cause(
        f"{found.name} pumped out {where}",
        f"Power cycles had pumped the {found.name} out of its joint when it was read {where} the mod.",
        size=_percent((low + high) / 2), largest=_percent(high),
        source=f"share of its resistance after {cycles:g} cycles: {100 * low:.2g} to {100 * high:.2g} % (from memory)",
        ways=(Departure(where, lambda described, share: _grown(described, found, share), tied="mount",
                        joint=found.name),),
    )  # fmt: skip


def _percent(share: float) -> Value:
    return Value(float(f"{100 * share:.4g}"), "%", "fraction")


def _grown(stack: Stack, joint: Interface, share: float) -> Stack:
    return with_extra_resistance(stack, joint.name, share * resistance_at_centre(stack, joint.name))
