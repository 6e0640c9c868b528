"""Sweep one or two inputs of a stack by path, everything else as described."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from .errors import InputError
from .field import hot_points, model_with_hot_points
from .local import answer
from .model import Model, Values, model_of
from .operating import OperatingPoint
from .prediction import DEFAULT_SOLVER
from .stack.paths import dimension_of
from .stack.stack import Stack
from .tables import Column, Table
from .units import ValueLike, convert, parse, unit_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Axis", "Sweep", "sweep"]

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
        All samples, the last axis running fastest.
    """

    stack: Stack
    axes: tuple[Axis, ...]
    point: OperatingPoint

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
    # each corner must be a stack that could be described; where faces coincide in some of them and would join into one
    # block, the most general model serves for all
    corners = [stack]
    for name, low, high in wanted:
        corners = [corner.change(name, end) for corner in corners for end in (low, high)]
    grids = np.meshgrid(*(axis.values for axis in axes), indexing="ij")
    general = max(corners, key=lambda corner: _generality(model_of(corner)))
    model = model_with_hot_points(general, solver, [hot_points(corner, solver) for corner in corners])
    values: Values = model.values({axis.path: grid.ravel() for axis, grid in zip(axes, grids, strict=True)})
    return Sweep(stack, tuple(axes), answer(model, solver, values))


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
