"""What one mount of a state may come out as: its rise at the described power, over the makings of its joints."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from ..field import model_with_hot_points
from ..local import answer
from ..measured.remounts import BAD
from ..propagate import Lognormal
from ..stack.inputs import BAD_FACTOR, BadMount, Input
from ..stack.stack import Stack

__all__ = ["Mounts", "mounts_of", "remade"]

Float = NDArray[np.float64]

POOL = 600
"""Mounts that are solved where several joints are remade; draws are then taken from them."""
GRID = 33
"""Solved mount factors between which the rise is interpolated where one joint is remade."""


@dataclass(frozen=True, eq=False)
class Mounts:
    """What a state's mounts may come out as.

    Attributes
    ----------
    stack : Stack
    joints : tuple of Input
        Mount factors of what a remount makes anew, each with its share of bad mounts.
    rise, coolant, power : float
        Of the die's mean over the coolant when every joint is as usual [K], and at what. [K, W]
    pool : ndarray, shape (P,)
        Rises of mounts, drawn at random. [K]
    good : ndarray of bool, shape (P,)
        Which of them have no bad joint.
    assumed : tuple of str
        Joints whose share of bad mounts no class gives.
    """

    stack: Stack
    joints: tuple[Input, ...]
    rise: float
    coolant: float
    power: float
    pool: Float
    good: NDArray[np.bool_]
    assumed: tuple[str, ...]

    @property
    def scatter(self) -> float:
        """Standard deviation of good mounts, by their joints alone. [K]"""
        return float(self.pool[self.good].std()) if self.joints else 0.0

    @property
    def bad_share(self) -> float:
        """Of mounts with a bad joint."""
        return float(1 - self.good.mean()) if self.joints else 0.0

    @property
    def bad_rise(self) -> float:
        """By how much a bad mount is hotter than a usual one, at the median. [K]"""
        return 0.0 if self.good.all() else float(np.median(self.pool[~self.good]) - self.rise)

    def draw(self, number: int, mounts: int, rng: np.random.Generator) -> Float:
        """Return rises above that of a usual mount, shape (number, mounts). [K]"""
        if not self.joints:
            return np.zeros((number, mounts))
        return np.asarray(rng.choice(self.pool, (number, mounts)) - self.rise)


def remade(stack: Stack) -> tuple[Input, ...]:
    """Return the mount factors that are drawn anew when the cold plate comes off and goes on again."""
    before = {entry.path: entry.identity for entry in stack.inputs()}
    return tuple(
        entry
        for entry in stack.remounted().inputs()
        if entry.path.endswith(".mount") and before.get(entry.path) != entry.identity
    )


def mounts_of(stack: Stack, solver: str, seed: int) -> Mounts:
    """Return what the mounts of a stack may come out as.

    Each joint's factor is lognormal by its class, and a bad one is worse by a further lognormal factor
    (`propagate.mount_factor` is the same mixture): by the class's share of bad mounts, or, where the class gives none,
    one in eight, as `measured.remounts` takes it (*common practice, no source*).
    """
    joints = remade(stack)
    usual = {entry.path: np.array([1.0]) for entry in joints}
    first, coolant, power = _rises(stack, solver, usual)
    assumed = tuple(entry.path.rpartition(".")[0] for entry in joints if entry.bad is None)
    known = tuple(replace(e, bad=e.bad or BadMount(BAD, BAD_FACTOR)) for e in joints)
    rng = np.random.default_rng(seed)
    size = POOL if len(joints) > 1 else 40 * POOL
    factors, good = {}, np.ones(size, dtype=bool)
    for entry in known:
        factors[entry.path], bad = _factors(entry, size, rng)
        good &= ~bad
    if not joints:
        pool = np.full(1, first[0])
        return Mounts(stack, known, float(first[0]), coolant, power, pool, np.ones(1, dtype=bool), assumed)
    if len(joints) > 1:
        pool = _rises(stack, solver, factors)[0]
    else:  # the rise is smooth in the logarithm of the one factor: some are solved, the others lie between them
        ((path, drawn),) = factors.items()
        grid = np.geomspace(drawn.min(), drawn.max(), GRID)
        pool = np.asarray(PchipInterpolator(np.log(grid), _rises(stack, solver, {path: grid})[0])(np.log(drawn)))
    return Mounts(stack, known, float(first[0]), coolant, power, pool, good, assumed)


def _factors(entry: Input, size: int, rng: np.random.Generator) -> tuple[Float, NDArray[np.bool_]]:
    """Return mount factors and which of them are bad."""
    assert entry.bad is not None
    usual = Lognormal(1.0, entry.value.spread)
    worse = Lognormal(entry.bad.factor.si, entry.bad.factor.spread)
    bad = rng.random(size) < entry.bad.share
    factor = usual.ppf(rng.random(size))
    return np.where(bad, factor * worse.ppf(rng.random(size)), factor), bad


def _rises(stack: Stack, solver: str, factors: dict[str, Float]) -> tuple[Float, float, float]:
    """Return the rise of the hottest die's mean [K] for mount factors by path, coolant [K] and power [W]."""
    model = model_with_hot_points(stack, solver)
    point = answer(model, solver, model.values(factors))
    count = max([len(f) for f in factors.values()], default=1)
    return np.broadcast_to(point.hottest_mean_rise, count), float(point.coolant[0]), float(point.total[0])
