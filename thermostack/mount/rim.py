"""A lid that was laid on again: does it stand on its rim, and what must the joint bridge."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from ..catalogue import InterfaceRow
from ..stack.inputs import class_row
from ..stack.package import Package
from ..stack.parts import Interface
from ..stack.roles import die_joints
from ..stack.stack import Stack
from ..units import Value, show
from .heights import Chain, Height, between_dies, bond_line_of, pocket_chain, shares

__all__ = ["Rim", "rims_of"]

LIQUID_METAL_BRIDGES = 0.10e-3
"""A gallium alloy cannot bridge 0.10 to 0.15 mm (vendor note, looked up). [m]"""

Stands = Literal["on the die", "on its rim", "on its rim, joint not filled"]


@dataclass(frozen=True)
class Rim:
    """What a lid leaves over one die when its rim stands on the substrate.

    Attributes
    ----------
    die, joint : str
    gap : Chain
        Pocket and adhesive less bumps and die; negative where the rim cannot touch.
    least, most : float
        Bond line that the joint takes by itself, and the largest that it fills. [m]
    why : str
        Where `most` comes from.
    rests_on : str
        What keeps the lid up, if it is not this die: its rim, or another die that stands higher.
    """

    die: str
    joint: str
    gap: Chain
    least: float
    most: float
    why: str
    rests_on: str = "its rim"

    @property
    def chances(self) -> dict[str, float]:
        """Share of the drawn heights with which the lid comes to stand in each way."""
        names: tuple[Stands, ...] = ("on the die", "on its rim", "on its rim, joint not filled")
        edges = pairwise((-math.inf, self.least, self.most, math.inf))
        return shares(self.gap.drawn, dict(zip(names, edges, strict=True)))

    @property
    def stands(self) -> str:
        """How it stands with all heights in their middle."""
        gap = self.gap.nominal
        if gap < self.least:
            return "on the die"
        return "on its rim" if gap < self.most else "on its rim, joint not filled"

    @property
    def stop(self) -> Value:
        """Gap that hard parts leave at least, as the joint's `gap` takes it."""
        gap, sd = self.gap.nominal, self.gap.sd
        if sd == 0 or gap + SURE * sd <= 0:
            return Value(_micro(max(gap, 0.0)), "um", "bond line")
        if gap - SURE * sd > 0:
            return Value(_micro(gap), "um", "bond line", "normal", _micro(sd))
        low, high = max(gap - math.sqrt(3) * sd, 0.0), max(gap + math.sqrt(3) * sd, 1e-9)
        return Value(_micro((low + high) / 2), "um", "bond line", "rectangular", _micro((high - low) / 2))

    @property
    def text(self) -> str:
        """What it means."""
        gap, over = self.gap.nominal, f"over {self.die!r}"
        told = f"{_um(abs(gap))} ± {_um(self.gap.rss)} (root sum of squares; worst case ± {_um(self.gap.worst)})"
        odds = ", ".join(f"{100 * share:.0f} % {name}" for name, share in self.chances.items() if share >= 0.005)
        if self.stands == "on the die":
            much = told if gap >= 0 else f"minus {told}"
            clear = f"it stays {_um(self.least - gap)} clear"
            return f"The lid lies on {self.joint!r} {over}. On its rim it would leave {much}; {clear} ({odds})."
        verdict = f"the joint fills up to {_um(self.most)} ({self.why})"
        if self.stands == "on its rim":
            return f"The lid stands on {self.rests_on} and leaves {told} {over} for {self.joint!r}; {verdict} ({odds})."
        return (
            f"The lid stands on {self.rests_on} and leaves {told} {over}: {self.joint!r} cannot bridge that, {verdict} "
            f"({odds}). Bring it down by {_um(gap - self.least)}, or lay a spacer of copper between."
        )


SURE = 2.33
"""Standard uncertainties from zero at which a normal gap keeps its sign in 99 of 100."""


def _micro(metres: float) -> float:
    return float(f"{metres * 1e6:.6g}")


def _um(metres: float) -> str:
    return show(metres, "bond line", 3)


def rims_of(stack: Stack, package: Package) -> tuple[Rim, ...]:
    """Return what the lid leaves over each die; none without the depth of its pocket, or under adhesive unknown."""
    if package.cavity is None or (package.lid == "glued" and package.adhesive is None):
        return ()
    joints = die_joints(stack)
    found = []
    for index, die in enumerate(stack.dies):
        joint = joints[index if len(joints) > 1 else 0]
        least, most, why = _fills(stack, joint)
        found.append(Rim(die.name, joint.name, pocket_chain(package, die), least, most, why))
    lowest = min(range(len(found)), key=lambda i: found[i].gap.nominal - found[i].least)
    if found[lowest].stands != "on the die":
        return tuple(found)
    # the lid lies on that die: what it leaves over the others follows from the heights of the dies
    under = stack.dies[lowest]
    line = bond_line_of(stack, joints[lowest if len(joints) > 1 else 0])
    above = [] if line is None else [Height(found[lowest].joint, line[0])]
    return tuple(
        rim if i == lowest else replace(rim, gap=between_dies(under, above, stack.dies[i]), rests_on=repr(under.name))
        for i, rim in enumerate(found)
    )


def _fills(stack: Stack, joint: Interface) -> tuple[float, float, str]:
    """Return the bond line that a joint takes by itself, the largest that it fills, and where that comes from. [m]"""
    row = class_row(stack, joint)
    known = bond_line_of(stack, joint)
    least = known[0].si if known is not None else 0.0
    if _is_liquid_metal(row):
        return least, max(LIQUID_METAL_BRIDGES, least), "a gallium alloy cannot bridge 0.1 to 0.15 mm: vendor note"
    if row is not None and row.bond_line is not None:
        return least, max(row.bond_line.high, least), f"97.5 % limit of {row.name}"
    return least, least, "no more than its bond line as written"


def _is_liquid_metal(row: InterfaceRow | None) -> bool:
    return row is not None and row.material is not None and row.material.aluminium_attack == "severe"
