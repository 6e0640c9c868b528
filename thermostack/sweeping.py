"""Sweep one or two inputs of a stack by path, everything else as described."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from .ensemble import LearnedSampler, Variant, variables_of_stack, variant_of
from .errors import InputError
from .field import hot_points, model_with_hot_points
from .local import answer
from .model import Model, Values, model_of
from .operating import OperatingPoint
from .prediction import DEFAULT_SOLVER
from .propagate import BLOCK, Rectangular, Run, Variable, evaluate
from .propagate.sampling import check_count
from .stack.paths import dimension_of
from .stack.stack import Stack
from .tables import Column, Table
from .units import ValueLike, convert, parse, unit_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Axis", "Sweep", "model_over", "sweep"]

Scale = Literal["linear", "logarithmic"]


@dataclass(frozen=True, eq=False)
class Axis:
    """One swept input.

    Attributes
    ----------
    path : str
    dimension : str
        Key of `units.DIMENSIONS`.
    values : ndarray
        In SI.
    described : float or None
        What the stack describes, in SI.
    """

    path: str
    dimension: str
    values: NDArray[np.float64]
    described: float | None
    scale: Scale

    @property
    def unit(self) -> str:
        """Unit in which it is shown."""
        return unit_text(self.dimension)

    @property
    def shown(self) -> NDArray[np.float64]:
        """Values in the unit in which they are shown."""
        return np.asarray(convert(self.values, self.dimension))


@dataclass(frozen=True, eq=False)
class Sweep:
    """Temperatures over one or two swept inputs. Made by `sweep`.

    Attributes
    ----------
    stack : Stack
    axes : tuple of Axis
        One or two.
    point : OperatingPoint
        At the centres of all other inputs, the last axis running fastest.
    run : Run or None
        Junction and die mean over the spreads of all other inputs [K], shape (S, points, 2), where samples were asked
        for: one sample is one curve.
    coverage : float
        Of the bands.
    """

    stack: Stack
    axes: tuple[Axis, ...]
    point: OperatingPoint
    run: Run | None = None
    coverage: float = 0.95

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of values along each axis."""
        return tuple(len(axis.values) for axis in self.axes)

    @property
    def junction(self) -> NDArray[np.float64]:
        """Junction temperature, an axis of the array for each axis of the sweep. [°C]"""
        return self._shaped(convert(self.point.coolant + self.point.junction_rise, "temperature"))

    @property
    def mean(self) -> NDArray[np.float64]:
        """Mean temperature of the die (the hottest of several), shaped as `junction`. [°C]"""
        return self._shaped(convert(self.point.coolant + self.point.hottest_mean_rise, "temperature"))

    @property
    def resistance(self) -> NDArray[np.float64]:
        """Junction to coolant, shaped as `junction`. [K/W]"""
        return self._shaped(self.point.junction_rise / self.point.total)

    def band(self, quantity: Literal["junction", "die mean"] = "junction") -> tuple[NDArray[np.float64], ...]:
        """Return low end, median and high end of a temperature's interval, shaped as `junction`. [°C]

        Raises
        ------
        InputError
            No samples were asked for.
        """
        if self.run is None:
            raise InputError("no samples were asked for", where="sweep", expected="sweep(..., samples=2_000)")
        curves = self.run.results[:, :, 0 if quantity == "junction" else 1]
        tail = (1.0 - self.coverage) / 2.0
        ends = np.nanquantile(curves, [tail, 0.5, 1.0 - tail], axis=0)
        return tuple(self._shaped(convert(end, "temperature")) for end in ends)

    def _shaped(self, values: Any) -> NDArray[np.float64]:
        return np.broadcast_to(np.asarray(values), (int(np.prod(self.shape)),)).reshape(self.shape)

    @cached_property
    def table(self) -> Table:
        """Return a row a combination of values."""
        grids = np.meshgrid(*(axis.shown for axis in self.axes), indexing="ij")
        columns = [Column(axis.path, f"{axis.path} [{axis.unit}]" if axis.unit else axis.path) for axis in self.axes]
        columns += [
            Column("junction_degC", "junction [°C]", ".2f"),
            Column("mean_degC", "die mean [°C]", ".2f"),
            Column("resistance_K_per_W", "junction to coolant [K/W]", ".4f"),
        ]
        data = [*grids, self.junction, self.mean, self.resistance]
        if self.run is not None:
            p = f"{100 * self.coverage:g} %"
            names = (
                ("junction_low_degC", f"{p}, low"),
                ("junction_median_degC", "median"),
                ("junction_high_degC", f"{p}, high"),
            )
            columns += [Column(key, f"junction [°C], {name}", ".2f") for key, name in names]
            data += self.band()
        rows = tuple(tuple(float(x) for x in row) for row in zip(*(np.ravel(d) for d in data), strict=True))
        return Table(tuple(columns), rows, title=f"Sweep, {self.stack.label}")

    def to_dict(self) -> Any:
        """Return the rows as plain numbers, with units in the names."""
        return self.table.to_dict()

    def to_pandas(self) -> Any:
        """Return the rows as a pandas DataFrame."""
        return self.table.to_pandas()

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the junction temperature over the swept input, or its contours over two."""
        from .plots import sweep as draw

        return draw(self, ax=ax)


def sweep(
    stack: Stack,
    path: str,
    start: ValueLike,
    stop: ValueLike,
    path_2: str | None = None,
    start_2: ValueLike | None = None,
    stop_2: ValueLike | None = None,
    *,
    points: int | Sequence[int] = 41,
    scale: Scale | Sequence[Scale] = "linear",
    solver: str = DEFAULT_SOLVER,
    samples: int | None = None,
    seed: int = 0,
    coverage: float = 0.95,
    executor: Executor | None = None,
    progress: bool | None = None,
) -> Sweep:
    """Sweep one or two inputs by path.

    Parameters
    ----------
    stack : Stack
    path, start, stop : str, value, value
        Such as ``"liquid metal.bond_line", "10 um", "200 um"``. An interface that is described by class alone is
        swept with conductivity and contact resistance of its class.
    path_2, start_2, stop_2 : optional
        A second input.
    points : int, or one for each input
        Number of values, two or more.
    scale : {"linear", "logarithmic"}, or one for each input
    solver : {"one-dimensional", "axisymmetric", "layered"}
    samples : int, optional
        How many samples of all other uncertain inputs to carry along, for bands about the curves.
    seed, coverage, executor, progress
        As in `predict`.

    Returns
    -------
    Sweep

    Raises
    ------
    InputError
        Unknown path, wrong unit, limits that are equal or (logarithmic) not above zero.
    """
    wanted = [(path, start, stop)]
    if path_2 is not None:
        if start_2 is None or stop_2 is None:
            raise InputError(f"{path_2!r} has no start and stop", where="sweep", expected="two values with units")
        if path_2 == path:
            raise InputError(f"{path!r} is swept twice", where="sweep", expected="two different paths")
        wanted.append((path_2, start_2, stop_2))
    counts = [points] * len(wanted) if isinstance(points, int) else list(points)
    scales: list[Scale] = [scale] * len(wanted) if isinstance(scale, str) else list(scale)
    if len(counts) != len(wanted) or len(scales) != len(wanted):
        raise InputError(
            "points or scale do not fit the number of inputs", where="sweep", expected=f"{len(wanted)} of each"
        )
    axes = [
        _axis(stack, name, low, high, count, kind)
        for (name, low, high), count, kind in zip(wanted, counts, scales, strict=True)
    ]
    _check_apart(stack, [axis.path for axis in axes])
    grids = np.meshgrid(*(axis.values for axis in axes), indexing="ij")
    model = model_over(stack, wanted, solver)
    values: Values = model.values({axis.path: grid.ravel() for axis, grid in zip(axes, grids, strict=True)})
    point = answer(model, solver, values)
    run = None
    if samples is not None:
        run = _bands(stack, wanted, axes, model, solver, samples, seed, executor, progress)
    return Sweep(stack, tuple(axes), point, run, coverage)


@dataclass(frozen=True, eq=False)
class _Curves:
    """Junction and die mean [K] along the sweep for samples of all other inputs, shape (S, points, 2)."""

    variant: Variant
    swept: Mapping[str, NDArray[np.float64]]

    def __call__(self, samples: Mapping[str, NDArray[np.float64]]) -> NDArray[np.float64]:
        count = max((len(x) for x in samples.values()), default=1)
        points = len(next(iter(self.swept.values())))
        values = {path: np.repeat(x, points) for path, x in samples.items()}
        values |= {path: np.tile(x, count) for path, x in self.swept.items()}
        point = self.variant.point(values)
        rises = np.stack([point.junction_rise, point.hottest_mean_rise], axis=1)
        return np.asarray((point.coolant[:, None] + rises).reshape(count, points, 2))


def _bands(
    stack: Stack,
    wanted: Sequence[tuple[str, ValueLike, ValueLike]],
    axes: Sequence[Axis],
    model: Model,
    solver: str,
    samples: int,
    seed: int,
    executor: Executor | None,
    progress: bool | None,
) -> Run:
    paths = [axis.path for axis in axes]
    general = model.stack  # describes the swept inputs as values of their own
    others = tuple(variable for variable in variables_of_stack(general) if variable.path not in paths)
    ends = [(float(axis.values.min()), float(axis.values.max())) for axis in axes]
    box = tuple(Variable(path, Rectangular(*end)) for path, end in zip(paths, ends, strict=True))
    variant = variant_of(general, solver, (*others, *box), limit=None, points=dict(model.points))
    grids = np.meshgrid(*(axis.values for axis in axes), indexing="ij")
    curves = _Curves(variant, {path: grid.ravel() for path, grid in zip(paths, grids, strict=True)})
    learned = () if stack.learned is None else (stack.learned,)
    sampler = LearnedSampler(others, seed, "latin hypercube", learned=learned)
    count = max(-(-check_count(samples) // BLOCK), 2) * BLOCK
    return evaluate(curves, sampler, count, chunk=BLOCK, executor=executor, progress=progress)


def model_over(stack: Stack, wanted: Sequence[tuple[str, ValueLike, ValueLike]], solver: str) -> Model:
    """Return a stack made ready for any values of some inputs between two each: path, low, high.

    Each corner must be a stack that could be described; where faces coincide in some of them and would join into one
    block, the most general model serves for all.
    """
    corners = [stack]
    for name, low, high in wanted:
        corners = [corner.change(name, end) for corner in corners for end in (low, high)]
    general = max(corners, key=lambda corner: _generality(model_of(corner)))
    return model_with_hot_points(general, solver, [hot_points(corner, solver) for corner in corners])


def _axis(stack: Stack, path: str, low: ValueLike, high: ValueLike, count: int, scale: Scale) -> Axis:
    dimension = dimension_of(stack, path)
    first, last = (parse(v, dimension, f"{path}, {end} of the sweep").si for v, end in ((low, "start"), (high, "stop")))
    if first == last:
        raise InputError(f"start and stop are both {low!r}", where=path, expected="two different values")
    if isinstance(count, bool) or not isinstance(count, int) or count < 2:
        raise InputError(f"{count!r} points", where=path, expected="an integer of at least 2")
    if scale not in ("linear", "logarithmic"):
        raise InputError(f"{scale!r} is no scale", where=path, expected="linear or logarithmic")
    if scale == "logarithmic" and min(first, last) <= 0:
        raise InputError("a logarithmic scale cannot reach zero", where=path, expected="start and stop above zero")
    described = {entry.path: entry.value.si for entry in stack.inputs()}.get(path)
    made = np.linspace(first, last, count) if scale == "linear" else np.geomspace(first, last, count)
    return Axis(path, dimension, made, described, scale)


def _generality(model: Model) -> tuple[int, int]:
    return len(model.graph.slabs_of_block), len(model.graph.contacts)


def _check_apart(stack: Stack, paths: Sequence[str]) -> None:
    """Refuse a die's power together with that of one of its regions: a die's power scales its regions."""
    for die in stack.dies:
        for region in die.power.regions:
            if {f"{die.name}.power", f"{region.name}.power"} <= set(paths):
                raise InputError(
                    f"the power of {region.name!r} follows that of {die.name!r}, so they cannot be swept apart",
                    where="sweep",
                    expected="one of the two",
                )
