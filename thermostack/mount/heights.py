"""Which heights add up to what, with their tolerances: worst case, root sum of squares, and by drawing them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..laws.heights import root_sum_square, worst_case
from ..propagate.distributions import Distribution
from ..propagate.variables import distribution_of
from ..stack.inputs import class_row
from ..stack.package import Package
from ..stack.parts import Die, Interface, Layer
from ..stack.roles import lid
from ..stack.stack import Stack
from ..units import Value

__all__ = [
    "Chain",
    "Height",
    "bare_chain",
    "between_dies",
    "bond_line_of",
    "lidded_chain",
    "pocket_chain",
    "shares",
    "tallest_die",
]

Float: TypeAlias = NDArray[np.float64]

SIGMAS = 3.0
"""A tolerance of a value with a standard uncertainty: half the width that holds 99.7 % of a normal one."""
DRAWS = 20_000
SEED = 20


@dataclass(frozen=True)
class Height:
    """One height of a sum.

    Attributes
    ----------
    name : str
    value : Value
    sign : int
        Whether it counts upwards or downwards.
    source : str
        Where it comes from.
    """

    name: str
    value: Value
    sign: int = 1
    source: str = "as written"

    @property
    def tolerance(self) -> float:
        """Half-width: that of the limits, or three standard uncertainties. [m]"""
        if self.value.kind == "rectangular":
            return self.value.spread_si
        return SIGMAS * self.value.standard_uncertainty

    @property
    def distribution(self) -> Distribution:
        """What it is drawn from, in SI; a bow may be of either sign."""
        return distribution_of(self.value, self.name, (-math.inf if self.value.si == 0 else 0.0, math.inf))


@dataclass(frozen=True)
class Chain:
    """Heights that add up, and the parts whose height is not known.

    Attributes
    ----------
    heights : tuple of Height
    unknown : tuple of str
    """

    heights: tuple[Height, ...]
    unknown: tuple[str, ...] = ()

    @property
    def nominal(self) -> float:
        """Sum of the middles. [m]"""
        return math.fsum(h.sign * h.value.si for h in self.heights)

    @property
    def worst(self) -> float:
        """Tolerance of the sum when all are off to the same side. [m]"""
        return float(worst_case([h.tolerance for h in self.heights] or [0.0]))

    @property
    def rss(self) -> float:
        """Tolerance of the sum by root sum of squares. [m]"""
        return float(root_sum_square([h.tolerance for h in self.heights] or [0.0]))

    @property
    def sd(self) -> float:
        """Standard uncertainty of the sum. [m]"""
        return math.hypot(*(h.value.standard_uncertainty for h in self.heights))

    @cached_property
    def drawn(self) -> Float:
        """Samples of the sum; a height of one name is the same in every chain. [m]"""
        return np.sum([h.sign * _drawn(h) for h in self.heights], axis=0)  # type: ignore[no-any-return]

    def interval(self) -> tuple[float, float]:
        """Return the limits that hold 95 % of the samples. [m]"""
        low, high = np.quantile(self.drawn, [0.025, 0.975])
        return float(low), float(high)

    def plus(self, more: Iterable[Height]) -> Chain:
        """Return the chain with further heights."""
        return Chain((*self.heights, *more), self.unknown)


def _drawn(height: Height) -> Float:
    # each name has a stream of its own, so that two sums share what they share
    stream = np.random.default_rng([SEED, *height.name.encode()])
    return np.broadcast_to(height.distribution.ppf(stream.random(DRAWS)), (DRAWS,))


def bond_line_of(stack: Stack, joint: Interface) -> tuple[Value, str] | None:
    """Return a joint's bond line and where it comes from; None where neither it nor its class tells."""
    if joint.bond_line is not None:
        return joint.bond_line, "as written"
    row = class_row(stack, joint)
    if row is None or row.bond_line is None:
        return None
    micro = float(f"{row.bond_line.typical * 1e6:.6g}")
    factor = round(row.bond_line.factor, 4)
    value = Value(micro, "um", "bond line", "lognormal" if factor > 1 else "exact", factor if factor > 1 else 0.0)
    return value, f"assumed: {row.name}"


def _solids(stack: Stack, parts: Iterable[Interface | Layer]) -> Chain:
    heights, unknown = [], []
    for part in parts:
        if isinstance(part, Layer):
            heights.append(Height(part.name, part.thickness))
        elif (found := bond_line_of(stack, part)) is not None:
            heights.append(Height(part.name, found[0], source=found[1]))
        else:
            unknown.append(part.name)
    return Chain(tuple(heights), tuple(unknown))


def _below(package: Package) -> list[Height]:
    """Return what lies between the board and the top of the substrate."""
    heights = [Height("socket", package.socket)] if package.socket is not None else []
    heights += [Height("board bow", package.board_bow)] if package.board_bow is not None else []
    return [*heights, Height("substrate", package.substrate)]


def _bumps(package: Package) -> Height:
    return Height("bumps", package.bumps, source="assumed: usual" if "bumps" in package.assumed else "as written")


def tallest_die(stack: Stack) -> Die:
    """Return the die that stands highest with its joint."""

    def height(die: Die) -> float:
        return die.thickness.si + _solids(stack, die.joint).nominal

    return max(stack.dies, key=height)


def bare_chain(stack: Stack, package: Package) -> Chain:
    """Return the heights up to the top of the (tallest) die with what is plated on it."""
    die = tallest_die(stack)
    return Chain((*_below(package), _bumps(package), *_of_die(die, 1)))


def lidded_chain(stack: Stack, package: Package, *, on_rim: bool) -> Chain:
    """Return the heights up to the top of the lid, which lies on the die's joint or stands on its rim."""
    lids = lid(stack)
    if on_rim:
        assert package.cavity is not None  # who stands on a rim has one
        under = [] if package.adhesive is None else [Height("adhesive", package.adhesive)]
        return Chain((*_below(package), *under, Height("cavity", package.cavity), *_solids(stack, lids).heights))
    die = tallest_die(stack)
    lowest = stack.layers[:1] if stack.layers and isinstance(stack.layers[0], Interface) else ()
    above = _solids(stack, [*die.joint, *(e for e in lowest if isinstance(e, Interface)), *lids])
    return Chain((*_below(package), _bumps(package), Height(die.name, die.thickness), *above.heights), above.unknown)


def _of_die(die: Die, sign: int) -> list[Height]:
    """Return the thickness of a die and of what is plated on it."""
    coats = [Height(e.name, e.thickness, sign) for e in die.joint if isinstance(e, Layer)]
    return [Height(die.name, die.thickness, sign), *coats]


def pocket_chain(package: Package, die: Die) -> Chain:
    """Return the heights that leave the gap between a die and a lid that stands on its rim."""
    assert package.cavity is not None  # asked for before
    under = [] if package.adhesive is None else [Height("adhesive", package.adhesive)]
    bumps = replace(_bumps(package), sign=-1)
    return Chain((Height("cavity", package.cavity), *under, bumps, *_of_die(die, -1)))


def between_dies(under: Die, joint: Iterable[Height], die: Die) -> Chain:
    """Return the heights that leave the gap over a die when the lid lies on another one and its joint."""
    return Chain((*_of_die(under, 1), *joint, *_of_die(die, -1)))


def shares(samples: Float, edges: Mapping[str, tuple[float, float]]) -> dict[str, float]:
    """Return the share of the samples within each of several stretches."""
    return {name: float(np.mean((samples >= low) & (samples < high))) for name, (low, high) in edges.items()}
