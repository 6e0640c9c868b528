"""Temperature and flux of one solved sample, anywhere: maps of faces, sections, and the hottest point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import InputError
from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph
from thermostack.solvers.layered.coefficients import PointBasis
from thermostack.solvers.layered.faces import BlockModes
from thermostack.solvers.layered.loads import MEAN, Loads
from thermostack.solvers.layered.patches import LOWER, OUT, UPPER, Flux, Level
from thermostack.solvers.layered.settings import LayeredSettings
from thermostack.solvers.layered.solve import Solved, one_blas_thread, solve_one
from thermostack.solvers.layered.system import level_of
from thermostack.solvers.layered.validate import check

__all__ = ["Hottest", "LayeredField", "layered_field"]

Float = NDArray[np.float64]
SideFluxes = dict[tuple[int, int, str], tuple[list[Flux], float]]


@dataclass(frozen=True)
class Hottest:
    """Hottest point of a face: its rise [K] and where it lies [m]."""

    rise: float
    x: float
    y: float


@dataclass(frozen=True, eq=False)
class LayeredField:
    """Solution of one sample at given powers; evaluates anywhere without a new solve.

    Attributes
    ----------
    graph, arrays
        What was solved; one sample.
    powers : ndarray, shape (sources,)
        Power of each source. [W]
    solved : Solved
        Coefficients of flux through all contacts for every source.
    """

    graph: Graph
    arrays: Arrays
    powers: Float
    solved: Solved

    def with_powers(self, powers: Sequence[float] | Float) -> LayeredField:
        """Return the field at other powers, from the same solution."""
        return LayeredField(self.graph, self.arrays, _powers(self.graph, powers), self.solved)

    def rise(self, slab: int, side: float, x: Float, y: Float) -> Float:
        """Temperature rise on a level of a slab.

        Parameters
        ----------
        slab : int
            Index of the slab, counted through all blocks.
        side : float
            Depth of the level from below, as a share of the thickness: 0 is the lower and 1 the upper face.
        x, y : ndarray, shapes (nx,), (ny,)
            Coordinates of a grid, within the footprint. [m]

        Returns
        -------
        ndarray, shape (nx, ny)
            [K]

        Raises
        ------
        InputError
            If a point lies outside the footprint or `side` outside 0 … 1.
        """
        if not 0.0 <= side <= 1.0:
            raise InputError(f"{side}", where="side", expected="0 (lower face) to 1 (upper face)")
        block = self.graph.block_of_slab[slab]
        x, y = self._grid(block, x, y)
        with one_blas_thread():
            return self._evaluate(block, level_of(self.graph, slab, side), x, y)

    def profile(self, x: float, y: float, slab: int, depths: Float) -> Float:
        """Rise at one place through a slab, at depths 0 … 1 from below, shape (depths,). [K]"""
        return np.array([self.rise(slab, float(d), np.array([x]), np.array([y]))[0, 0] for d in depths])

    def flux(self, contact: int, x: Float, y: Float) -> Float:
        """Upward flux density through a contact on a grid of points inside it, shape (nx, ny). [W/m²]

        At the very edge of a contact of little resistance the true density is infinite; a series is only large there.
        """
        sides = self.graph.contacts[contact]
        low, high = self.arrays.contact_rect[0, contact, :2], self.arrays.contact_rect[0, contact, 2:]
        x, y = np.atleast_1d(np.asarray(x, dtype=float)), np.atleast_1d(np.asarray(y, dtype=float))
        slack = 1e-9 * (high - low)
        for name, values, axis in (("x", x, 0), ("y", y, 1)):
            if values.min() < low[axis] - slack[axis] or values.max() > high[axis] + slack[axis]:
                raise InputError(f"{name} lies outside contact {contact}", where=name, expected="a point inside it")
        if self.solved.direct.system.layout.closed[contact]:
            if sides.below == ENVIRONMENT:
                return np.asarray(-self._evaluate(sides.above, LOWER, x, y) / self.arrays.contact_r[0, contact])
            return self._evaluate(sides.below, OUT, x, y)
        return self._open_flux(contact, x, y) / float(np.prod(high - low))

    def hottest(self, slab: int, side: float = 0.0, points: int = 49) -> Hottest:
        """Hottest point of a level of a slab: a grid, then ever finer grids about its hottest points.

        Parameters
        ----------
        slab, side
            As in `rise`.
        points : int
            Points an axis of the first grid.
        """
        block = self.graph.block_of_slab[slab]
        centre, half = self.arrays.centre[0, block], 0.5 * self.arrays.size[0, block]
        x, y = (np.linspace(c - h, c + h, points) for c, h in zip(centre, half, strict=True))
        rise = self.rise(slab, side, x, y)
        best = Hottest(-np.inf, 0.0, 0.0)
        for i, j in _peaks(rise)[:4]:
            best = max(best, self._climb(slab, side, x[i], y[j], 2.0 * half / (points - 1)), key=lambda h: h.rise)
        return best

    def _climb(self, slab: int, side: float, x: float, y: float, step: Float) -> Hottest:
        """Refine about a point until the grid is 1/500 of the first."""
        block = self.graph.block_of_slab[slab]
        low = self.arrays.centre[0, block] - 0.5 * self.arrays.size[0, block]
        high = low + self.arrays.size[0, block]
        found = Hottest(-np.inf, x, y)
        for _ in range(4):
            grid = [
                np.unique(np.clip(c + s * np.linspace(-1.0, 1.0, 11), a, b))
                for c, s, a, b in zip((found.x, found.y), step, low, high, strict=True)
            ]
            rise = self.rise(slab, side, grid[0], grid[1])
            i, j = np.unravel_index(int(np.argmax(rise)), rise.shape)
            found = Hottest(float(rise[i, j]), float(grid[0][i]), float(grid[1][j]))
            step = 0.2 * step
        return found

    # -- sums -----------------------------------------------------------------------------------------------------

    def _grid(self, block: int, x: Float, y: Float) -> tuple[Float, Float]:
        """Check that points lie on the footprint of a block."""
        grid = []
        for axis, values in enumerate((x, y)):
            v = np.atleast_1d(np.asarray(values, dtype=float))
            centre, half = self.arrays.centre[0, block, axis], 0.5 * self.arrays.size[0, block, axis]
            if v.size and np.abs(v - centre).max() > half * (1.0 + 1e-9):
                raise InputError(
                    f"a point at {v[np.argmax(np.abs(v - centre))]:.6g} m lies outside block {block}",
                    where="xy"[axis],
                    expected=f"{centre - half:.6g} to {centre + half:.6g} m",
                )
            grid.append(v)
        return grid[0], grid[1]

    @cached_property
    def _weights(self) -> Float:
        """Power of each column of the solution. [W]"""
        weights = np.zeros(len(self.solved.direct.columns.places))
        np.add.at(weights, self.solved.direct.columns.source, self.powers)
        return weights

    @cached_property
    def _fluxes(self) -> list[SideFluxes]:
        """Flux through every side of every open contact, in each symmetry class, with its sign."""
        return [self._class_fluxes(loads, x) for loads, x in zip(self.solved.loads, self.solved.solutions, strict=True)]

    def _class_fluxes(self, loads: Loads, x: Float) -> SideFluxes:
        system, found = loads.system, {}
        for side in system.sides:
            i = side.contact
            (p, q), place = system.kept[i], system.places[i]
            heat = np.zeros(len(p) * len(q))
            heat[system.picked[i]] = x[0, place] @ self._weights
            fluxes = [Flux(system.patches[side], heat.reshape(1, 1, len(p), len(q)))]
            if side in loads.shadows:
                shadow, index = loads.shadows[side], loads.columns_of(side)
                total = np.tensordot(self._weights[index], shadow.heat[0], axes=1)
                fluxes.append(Flux(shadow.patch, total[None, None]))
            found[i, side.block, side.level] = fluxes, side.sign
        return found

    def _evaluate(self, block: int, level: Level, x: Float, y: Float) -> Float:
        """Rise on a level of a block, or the flux density that leaves by a film, shape (nx, ny). [K] or [W/m²]"""
        total = np.zeros((len(x), len(y)))
        for loads, solution, fluxes in zip(self.solved.loads, self.solved.solutions, self._fluxes, strict=True):
            system = loads.system
            modes = system.blocks[block]
            points = modes.points(level, x, y)
            if block in system.temperatures:
                total += solution[0, system.temperatures[block]] @ self._weights
            for (_, where, _), (parts, sign) in fluxes.items():
                if where == block:
                    for part in parts:
                        total += sign * modes.response(points, part)[0, 0, 0].reshape(total.shape)
        return total + self._direct(block, level, x, y)

    def _direct(self, block: int, level: Level, x: Float, y: Float) -> Float:
        """Rise by the sources on the block itself, shape (nx, ny). [K]"""
        mine = [i for i, s in enumerate(self.graph.sources) if s.block == block]
        total = np.zeros((len(x), len(y)))
        if mine:
            modes = self.solved.direct.system.blocks[block]
            points = modes.points(level, x, y)
            sources = modes.patch(LOWER, self.arrays.source_rect[:, mine], MEAN)
            rise = modes.between(points, sources)[0, 0, :, :, 0]
            total += (self.powers[mine] @ rise).reshape(total.shape)
        return total

    def _open_flux(self, contact: int, x: Float, y: Float) -> Float:
        """Flux density through an open contact times its area, shape (nx, ny). [W]"""
        total = np.zeros((len(x), len(y)))
        for loads, fluxes in zip(self.solved.loads, self._fluxes, strict=True):
            # either side holds the same flux; the lower block's is where a shadow's modes belong
            keys = sorted((key for key in fluxes if key[0] == contact), key=lambda key: key[2] != UPPER)
            modes: BlockModes = loads.system.blocks[keys[0][1]]
            for part in fluxes[keys[0]][0]:
                values = []
                for axis, (points, basis) in enumerate(zip((x, y), part.patch.bases, strict=True)):
                    assert not isinstance(basis, PointBasis)
                    low, high = part.patch.ends[axis]
                    at = (points - modes.axes[axis].origin[0])[None, None]
                    values.append(basis.values(at, low, high)[0, 0])
                total += values[0] @ part.heat[0, 0] @ values[1].T
        return total


def layered_field(
    graph: Graph, arrays: Arrays, powers: Sequence[float] | Float, settings: LayeredSettings | None = None
) -> LayeredField:
    """Solve one sample and keep its field.

    Parameters
    ----------
    graph, arrays
        As for `layered`, one sample.
    powers : sequence of float, length sources
        Power of each source. [W]
    settings : LayeredSettings, optional

    Returns
    -------
    LayeredField

    Raises
    ------
    InputError
        For impossible input, or more than one sample.
    SolveError
        If the result is not finite.
    """
    settings = settings or LayeredSettings()
    check(graph, arrays)
    if arrays.samples != 1:
        raise InputError(f"{arrays.samples} samples", where="arrays", expected="one sample for a field")
    return LayeredField(graph, arrays, _powers(graph, powers), solve_one(graph, arrays, settings))


def _powers(graph: Graph, powers: Sequence[float] | Float) -> Float:
    values = np.asarray(powers, dtype=float).reshape(-1)
    if values.shape != (len(graph.sources),) or not np.isfinite(values).all():
        raise InputError(
            f"{values.size} powers", where="powers", expected=f"{len(graph.sources)} finite numbers, one a source"
        )
    return values


def _peaks(rise: Float) -> list[tuple[int, int]]:
    """Grid points hotter than all their neighbours, hottest first."""
    padded = np.pad(rise, 1, constant_values=-np.inf)
    n, m = rise.shape
    around = [padded[1 + i : 1 + i + n, 1 + j : 1 + j + m] for i in (-1, 0, 1) for j in (-1, 0, 1) if i or j]
    peaks = np.argwhere(rise >= np.max(around, axis=0))
    order = np.argsort(-rise[peaks[:, 0], peaks[:, 1]])
    return [(int(i), int(j)) for i, j in peaks[order]]
