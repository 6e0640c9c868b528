"""Variants as one function of all their unknowns: what they share is the same number in each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..operating import OperatingPoint
from ..propagate import Rectangular, Variable
from .unknowns import Unknown
from .variant import Variant

__all__ = ["LEAKAGE", "JointModel", "Output"]

Float = NDArray[np.float64]
Output: TypeAlias = tuple[int, str]
"""Variant and quantity: "junction", "die mean", "sensor <name>" [K], "resistance" [K/W], "power", "headroom" [W], with
" at equal power" or " at equal workload" behind it for a temperature of a mod under the baseline's."""

LEAKAGE = Variable("power saved per kelvin", Rectangular(0.001, 0.008), dimension="temperature coefficient")
"""By what share a part's power falls with its temperature at one workload, where no leakage is described
(*common practice, no source*): for what the user sees at equal workload."""


@dataclass(frozen=True, eq=False)
class JointModel:
    """All outputs of all variants for samples of the unknowns. Travels to other processes.

    Attributes
    ----------
    variants : tuple of Variant
        The baseline first.
    unknowns : tuple of Unknown
    outputs : tuple of Output
        Columns of what it returns.
    assumed_leakage : bool
        Whether `LEAKAGE` stands for the leakage that no variant describes.
    """

    variants: tuple[Variant, ...]
    unknowns: tuple[Unknown, ...]
    outputs: tuple[Output, ...] = ()
    assumed_leakage: bool = False

    def values(self, samples: Mapping[str, Float], variant: int) -> dict[str, Float]:
        """Return the samples of one variant by its own paths."""
        found = {}
        for unknown in self.unknowns:
            law, x = unknown.variable.distribution, samples[unknown.variable.path]
            for where, path, own in unknown.places:
                if where == variant:  # the same unknown, described differently, keeps its quantile
                    found[path] = x if own == law else own.ppf(law.cdf(x))
        return found

    def __call__(self, samples: Mapping[str, Float]) -> Float:
        """Return the outputs, shape (S, outputs)."""
        found = dict(self.computed(samples))
        count = max((len(x) for x in found.values()), default=1)
        return np.stack([np.broadcast_to(found[output], count) for output in self.outputs], axis=1)

    def computed(self, samples: Mapping[str, Float]) -> Iterator[tuple[Output, Float]]:
        """Yield each output with its samples."""
        baseline: OperatingPoint | None = None
        first: dict[str, Float] = {}
        for index, variant in enumerate(self.variants):
            values = self.values(samples, index)
            point = variant.point(values)
            own = dict(_temperatures(point))
            for name, temperature in own.items():
                yield (index, name), temperature
            yield (index, "power"), point.total
            yield (index, "resistance"), point.junction_rise / point.total
            if variant.limit is not None:
                yield (index, "headroom"), variant.headroom(point, values)
            if baseline is None:
                baseline, first = point, own
                continue
            still = self._at_equal_power(variant, point, values, baseline)
            at_power = own if still is point else dict(_temperatures(still))
            share = samples[LEAKAGE.path] if self.assumed_leakage else None
            for name, temperature in at_power.items():
                yield (index, f"{name} at equal power"), temperature
                at_workload = own[name]
                if share is not None:
                    at_workload = temperature - _saved(share, still, first["die mean"]) * (temperature - still.coolant)
                yield (index, f"{name} at equal workload"), at_workload

    def _at_equal_power(
        self, variant: Variant, point: OperatingPoint, values: Mapping[str, Float], baseline: OperatingPoint
    ) -> OperatingPoint:
        """Return the variant under the power that the baseline really draws, die by die."""
        model = variant.model
        same = all(
            np.array_equal(np.atleast_1d(point.values(path)), np.atleast_1d(baseline.values(path)))
            for path in (f"{die}.power" for die in model.dies)
            if path in baseline.values
        )
        if set(model.dies) != set(baseline.model.dies):  # another part: its total is the baseline's
            scale = baseline.total / point.total
            powers = {f"{die}.power": point.die_power(die) * scale for die in model.dies}
        elif same and not model.leaks and not baseline.model.leaks:
            return point
        else:
            powers = {f"{die}.power": baseline.die_power(die) for die in model.dies}
        return variant.unleaking.point({**values, **powers})


def _temperatures(point: OperatingPoint) -> Iterator[tuple[str, Float]]:
    """Yield the temperatures of an operating point by name. [K]"""
    yield "junction", point.coolant + point.junction_rise
    yield "die mean", point.coolant + point.hottest_mean_rise
    for name, _, temperature in point.readings():
        yield f"sensor {name}", np.where(point.settled, temperature, np.nan)


def _saved(share: Float, still: OperatingPoint, before: Float) -> Float:
    """Return the share of the power that a mod saves at one workload.

    A power that falls by the share s a kelvin of the die's mean, P' = P (1 − s ΔT'), drops it by
    ΔT' = ΔT/(1 − s θ), ΔT and θ the drop and the rise at equal power. NaN where s θ reaches 1: it would run away.
    """
    rise = still.hottest_mean_rise
    loop = np.where(share * rise < 1.0, share * rise, np.nan)
    return np.asarray(share * (before - still.coolant - rise) / (1.0 - loop))
