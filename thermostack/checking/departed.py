"""What a departed stack shows more than the described one: kelvin a watt at each sensor, over the size of a cause.

The departed stack is solved at the centres of all inputs, at a few sizes, with conductivities at the described
operating point; in between the excess is interpolated (piecewise cubic, monotone; Fritsch and Carlson 1980) and is zero
at zero. One size is solved again with the conductivities of half the power: from the two follows how the excess changes
with the power level (12 % between full and half load, for a void of a twelfth of a silicon die). The excess is added to
what the described stack gives for any values of its inputs. What that leaves out is that a cause's effect changes with
the other inputs: as a whole, by 3 to 20 %, which is as good as another size, and in its pattern by 1 to 2.5 %, up to
7.5 % for a lid's thickness, whose effect is small (measured by `tests/studies/check_study.py`, *neglect*).
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from ..ensemble import Variant
from ..errors import InputError, SolveError, ThermostackWarning
from ..model import Model, model_of
from ..solvers import solver_named
from ..solvers.graph import Arrays, Graph, Solver
from ..solvers.layered.settings import LayeredSettings
from ..stack.stack import Stack
from .cause import Cause, Departure

__all__ = ["LEVEL", "UPPER", "Departed", "Excess", "Plain", "excesses"]

Float = NDArray[np.float64]
Ready = tuple[Model, Arrays]
"""A stack made ready for a solver."""

COARSE = LayeredSettings(polynomials=6, detail=0.0, rounds=0, limit=1.0, waves=8.0, least_waves=4.0, depth=2.0)
"""Of departed stacks: in a trial voids and joints were right to 1.1 % where they show more than 1 K, most to 0.4 %, a
lid's thickness, which shows 2 K at most, to 13 % of that as a whole."""
UPPER = "upper face of "
"""Begins the name of what a thermocouple on a layer would read, its mean taken for the place."""
SHARES = (0.1, 0.42, 1.0)
"""Sizes that are solved, as shares of the largest, on each side that is possible."""
STEEP = 1.3
"""Where an excess grows faster than this power of the size, as over a void, it is interpolated over that power. In
trials a void was then right to 7 %, its size to 4 % and its pattern to 1 %, where it showed more than a kelvin
(tests/unit/test_check.py asks at four sizes)."""
LEVEL, SLIGHT = 0.5, 0.02
"""Share of the power at which one size is solved again; sensors whose excess is below this share of the largest change
with the power as that does."""


@dataclass(frozen=True, eq=False)
class Plain:
    """A described stack at its centres, against which departed ones are taken.

    Attributes
    ----------
    stack : Stack
    solver : Solver
    power : float
        [W]
    temperatures : mapping of part to float
        Mean temperature of each slab. [K]
    stretch : mapping of sensor to float
        By what a rise on an active face is larger than at the die's upper conductivity.
    """

    stack: Stack
    solver: Solver
    power: float
    temperatures: dict[str, float]
    stretch: dict[str, float]

    @classmethod
    def of(cls, variant: Variant, power: float, coolant: float) -> Plain:
        """Return a variant's stack at a power and a coolant temperature. [W, K]"""
        stack = variant.stack.uncalibrated
        whole = sum(die.power.total.si for die in stack.dies)
        samples = {f"{die.name}.power": np.array([power * die.power.total.si / whole]) for die in stack.dies}
        point = variant.point({**samples, "coolant.temperature": np.array([coolant])})
        faces = {
            slab.part.name: coolant + 0.5 * sum(float(point.probe("face", str(i), str(side))[0]) for side in (0, 1))
            for i, slab in enumerate(point.model.slabs)
        }
        stretch = {}
        for key, index in point.model.probes.items():
            stretch["/".join(key)] = float(point.stretch[0, index])
        return cls(stack, solver_named(variant.solver), power, faces, stretch)

    def coarse(self) -> Plain:
        """Return the same with fewer polynomials: differences are wanted, and to a per cent."""
        from ..solvers.layered import layered

        return replace(self, solver=partial(layered, settings=COARSE))

    def arrays(self, stack: Stack) -> Ready:
        """Return another stack made ready, its conductivities at the temperatures of the same parts here."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ThermostackWarning)
            model = model_of(stack)
        mean = float(np.mean(list(self.temperatures.values())))
        at = np.array([[self.temperatures.get(slab.part.name, mean) for slab in model.slabs]])
        return model, model.at_temperature(model.arrays(), at)

    def per_watt(self, ready: Sequence[Ready], sensors: Sequence[str]) -> Float:
        """Return the rise of each sensor for a watt in all, shape (stacks, sensors). [K/W]"""
        asked = [_asked(*each, sensors) for each in ready]
        rises = np.empty((len(ready), len(sensors)))
        for graph in dict.fromkeys(graph for graph, _ in asked):
            mine = [i for i, (own, _) in enumerate(asked) if own == graph]
            response = self.solver(graph, _joined(graph, [asked[i][1] for i in mine]))
            for i, influence in zip(mine, response.influence, strict=True):
                powers = ready[i][0].powers()[0]
                rises[i] = influence @ powers / powers.sum()
        stretch = [self.stretch.get("/".join(probe_key(ready[0][0], sensor)), 1.0) for sensor in sensors]
        return np.asarray(rises * stretch)


def _asked(model: Model, arrays: Arrays, sensors: Sequence[str]) -> tuple[Graph, Arrays]:
    """Return graph and arrays with no other probes than those of the sensors."""
    probes = [model.probes[probe_key(model, sensor)] for sensor in sensors]
    graph = replace(model.graph, probes=tuple(model.graph.probes[i] for i in probes))
    return graph, replace(arrays, probe_rect=arrays.probe_rect[:, probes])


def probe_key(model: Model, sensor: str) -> tuple[str, ...]:
    """Return the probe of a sensor of the stack, by the name that its readings have."""
    for each in model.stack.sensors:
        if each.name == sensor:
            return ("sensor", sensor) if ("sensor", sensor) in model.probes else ("mean", each.at)
    if sensor.startswith(UPPER):
        name = sensor.removeprefix(UPPER)
        return ("face", str(next(i for i, slab in enumerate(model.slabs) if slab.part.name == name)), "1")
    return ("mean", sensor.removesuffix(" mean"))


def _joined(graph: Graph, arrays: Sequence[Arrays]) -> Arrays:
    """Return arrays of one sample each as one batch."""
    fields = Arrays.__dataclass_fields__
    return Arrays(**{name: np.concatenate([getattr(each, name)[:1] for each in arrays]) for name in fields})


@dataclass(frozen=True, eq=False)
class Excess:
    """Kelvin a watt that a departure adds at each sensor, over its size.

    Attributes
    ----------
    sizes : ndarray, shape (n,)
        Solved, ascending, zero among them. SI.
    excess : ndarray, shape (n, sensors)
        At full power. [K/W]
    slope : ndarray, shape (sensors,)
        Relative change of the excess with the share of the full power.
    power : float
        Full power. [W]
    """

    sizes: Float
    excess: Float
    slope: Float
    power: float

    def __call__(self, sizes: Float, power: float) -> Float:
        """Return the excess at sizes under a power [W], shape (sizes, sensors). [K]"""
        full = np.asarray(self._curve(self._stretched(sizes)))
        return full * (1.0 + self.slope * (power / self.power - 1.0)) * power

    @cached_property
    def _curve(self) -> PchipInterpolator:
        return PchipInterpolator(self._stretched(self.sizes), self.excess, axis=0)

    def _stretched(self, sizes: Float) -> Float:
        return np.asarray(np.sign(sizes) * np.abs(sizes) ** self._power)

    @cached_property
    def _power(self) -> float:
        """Power of the size with which the largest excess grows, where it is steep; else one."""
        sizes, excess = self.sizes[self.sizes > 0], self.excess[self.sizes > 0]
        if len(sizes) < 2:
            return 1.0
        of_largest = excess[[0, -1], np.argmax(np.abs(excess[-1]))]
        growth = of_largest[1] / of_largest[0] if of_largest[0] else 1.0
        power = math.log(growth) / math.log(sizes[-1] / sizes[0]) if growth > 0 else 1.0
        return power if power > STEEP else 1.0


@dataclass(frozen=True, eq=False)
class Departed:
    """The stacks that a departure makes, to be solved.

    Attributes
    ----------
    sizes : tuple of float
        Ascending, zero left out. SI.
    stacks : tuple of Stack
    ready : tuple of Ready
        At the temperatures of the described stack.
    refused : str
        Why not at other sizes.
    """

    sizes: tuple[float, ...]
    stacks: tuple[Stack, ...]
    ready: tuple[Ready, ...]
    refused: str = ""

    @classmethod
    def of(cls, plain: Plain, way: Departure, cause: Cause) -> Departed:
        """Return the stacks up to the largest size of a cause; none where the stack cannot depart so.

        Sizes at which the departed stack makes no sense (a corner that would cover its die) are left out.

        Raises
        ------
        InputError
            What the way changes the stack into is no stack.
        """
        sizes = [share * cause.largest.si for share in SHARES]
        kept: dict[float, tuple[Stack, Ready]] = {}
        refused = ""
        for size in [*(-size for size in reversed(sizes)), *sizes] if cause.two_sided else sizes:
            try:
                stack = way.change(plain.stack, size)
                ready = plain.arrays(stack) if isinstance(stack, Stack) else None
            except (InputError, SolveError) as error:
                refused = str(error)
                continue
            if ready is None:
                raise InputError(
                    f"its change returns {stack!r}, which is no stack", where=f"cause {cause.name!r}",
                    expected="the changed stack, such as with_extra_resistance(stack, 'paste', size)",
                )  # fmt: skip
            kept[size] = stack, ready
        stacks, arrays = zip(*kept.values(), strict=True) if kept else ((), ())
        return cls(tuple(kept), stacks, arrays, refused)

    @property
    def middle(self) -> int:
        """Number of the size that is solved at another power level as well: of the larger sizes the middle one."""
        above = [i for i, size in enumerate(self.sizes) if size > 0]
        return above[(len(above) - 1) // 2] if above else 0


def excesses(
    plain: Plain, cooler: Plain, sensors: Sequence[str], departed: Sequence[Departed], first: Sequence[int]
) -> list[Excess]:
    """Return the excess of each departure, all stacks solved together.

    Parameters
    ----------
    plain, cooler : Plain
        The described stack at full power, and at `LEVEL` of it.
    sensors : sequence of str
    departed : sequence of Departed
    first : sequence of int
        Number of the first way of the same cause: only that is solved at the other level, and another way changes with
        it as its largest excess does.
    """
    rises = plain.per_watt([plain.arrays(plain.stack), *(one for each in departed for one in each.ready)], sensors)
    ends = np.cumsum([1, *(len(each.sizes) for each in departed)])
    full = [rises[a:b] - rises[0] for a, b in pairwise(ends)]
    leading = sorted(set(first))
    middles = (departed[k].stacks[departed[k].middle] for k in leading)
    cool = cooler.per_watt([cooler.arrays(stack) for stack in (plain.stack, *middles)], sensors)
    slopes = {k: _slope(full[k][departed[k].middle], each - cool[0]) for k, each in zip(leading, cool[1:], strict=True)}
    found = []
    for k, (each, excess) in enumerate(zip(departed, full, strict=True)):
        slope, lead = slopes[first[k]], full[first[k]]
        if k != first[k]:
            slope = np.full(len(sensors), slope[np.argmax(np.max(np.abs(lead), axis=0))])
        none = int(np.searchsorted(each.sizes, 0.0))
        sizes = np.insert(np.array(each.sizes), none, 0.0)
        found.append(Excess(sizes, np.insert(excess, none, 0.0, axis=0), slope, plain.power))
    return found


def _slope(full: Float, cool: Float) -> Float:
    """Return the relative change of an excess with the share of the power, from two levels of it."""
    largest = int(np.argmax(np.abs(full)))
    plain = np.abs(full) > SLIGHT * abs(full[largest])
    if not plain.any():
        return np.zeros_like(full)
    ratio = np.where(plain, cool / np.where(plain, full, 1.0), cool[largest] / full[largest])
    return np.asarray((1.0 - ratio) / (1.0 - LEVEL))
