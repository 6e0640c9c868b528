"""What a mount presses on what, the published limits beside it, and how far the substrate bends."""

from __future__ import annotations

from dataclasses import dataclass

from ..catalogue.forces import FORCE_LIMITS, ForceLimit
from ..laws.plate_bending import flexural_rigidity, supported_plate_deflection
from ..stack.package import Package
from ..stack.stack import Stack

__all__ = ["Bending", "Kept", "bending_of", "limits_of"]

POISSON = 0.3
"""Of a substrate (from memory)."""


@dataclass(frozen=True)
class Kept:
    """A published limit beside the force that is meant.

    Attributes
    ----------
    limit : ForceLimit
    force : float
        The limit as a force. [N]
    given : float
        The force of the mount. [N]
    """

    limit: ForceLimit
    force: float
    given: float

    @property
    def kept(self) -> bool:
        """Whether the limit is kept."""
        return self.given >= self.force if self.limit.kind == "least" else self.given <= self.force


def limits_of(on_die: bool, given: float, die_area: float, stiffened: bool) -> tuple[Kept, ...]:
    """Return the published limits that concern a mount which presses on dies, or on a lid that is glued."""
    where = "die" if on_die else "lid"
    return tuple(
        Kept(limit, limit.force_on(die_area), given)
        for limit in FORCE_LIMITS
        if limit.on == where and (stiffened or not limit.stiffened)
    )


@dataclass(frozen=True)
class Bending:
    """How far a substrate sags into the open middle of its socket.

    Attributes
    ----------
    sag : float
        In the middle, against the edge of the window. [m]
    across : float
        In the middle of the dies, against their corners. [m]
    thin : bool
        Whether the plate formula holds: thinner than a tenth of the span, and sagging by less than half of that.
    """

    sag: float
    across: float
    thin: bool


def bending_of(stack: Stack, package: Package, force: float) -> Bending | None:
    """Return how far the substrate bends under a force on the dies; None without a window.

    The substrate alone carries it, simply supported on the rim of the window: neither the stiffness of the dies nor
    what holds it beyond the window is counted, so that this is an upper limit.
    """
    if package.window is None:
        return None
    sides = package.window[0].si, package.window[1].si
    load = tuple(min(extent, side) for extent, side in zip(_extent(stack), sides, strict=True))
    rigidity = flexural_rigidity(package.modulus.si, package.substrate.si, POISSON)
    corner = (load[0] / 2, load[1] / 2)
    sag = float(supported_plate_deflection(force, sides, (load[0], load[1]), rigidity))
    at_corner = float(supported_plate_deflection(force, sides, (load[0], load[1]), rigidity, corner))
    thickness = package.substrate.si
    return Bending(sag, sag - at_corner, thickness < min(sides) / 10 and sag < thickness / 2)


def _extent(stack: Stack) -> tuple[float, float]:
    """Return the sides of the rectangle around all dies. [m]"""
    sides = []
    for axis in (0, 1):
        low = min(die.centre[axis].si - die.footprint[axis].si / 2 for die in stack.dies)
        high = max(die.centre[axis].si + die.footprint[axis].si / 2 for die in stack.dies)
        sides.append(high - low)
    return sides[0], sides[1]
