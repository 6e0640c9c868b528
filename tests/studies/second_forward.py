"""A second forward model for the study of the check: finite volumes that share no solver code with thermostack.

A stack is cut into cells by one tensor grid that has all edges of blocks, regions and pieces of joints among its lines
and is graded towards them. Unknown are the mean temperature of each cell and the heat across each face. A cell keeps
its balance, and heat across it changes evenly from face to face, so that the means of two neighbours differ by
(f₋ + 2 f)/3 and (2 f + f₊)/3 of their half resistances and by what lies between them: the lowest mixed elements of
Raviart and Thomas (1977). (With f in place of both brackets, the plain two-point scheme, errors were three times as
large.) Each cell has the conductivity of its own temperature. A joint resists face by face, so that it may be bowed;
of pieces that share a face the conductances are side by side.

Errors fall threefold when every cell is cut in two along every axis: the heat has corners at edges of sources and
joints, which keep them from falling fourfold. They are extrapolated from two grids.

Of thermostack only the description is used: `model_of` with its arrays, powers and laws of conductivity. The grid is
made anew for every description. What is kept between calls, for grids with as many cells in the same places, is a
factor of an earlier two-point matrix to precondition conjugate gradients, and a rise per watt to begin with: poor ones
cost iterations and change no answer beyond the tolerance.
"""

from __future__ import annotations

import warnings
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise

import numpy as np
from scipy.linalg.lapack import dpttrf, dpttrs
from scipy.sparse import csc_array, csr_array, diags_array
from scipy.sparse.linalg import splu

from thermostack.errors import ThermostackWarning
from thermostack.model import Model, model_of
from thermostack.solvers.graph import ENVIRONMENT, Graph

SAME = 1e-9
"""Edges nearer than this are one line. [m]"""
TOLERANCE = 1e-5
"""What cells lack in their balance, its sum relative to the power."""
KEPT = 24
"""Factors kept, of some 10 MB each."""
SLOW = 60
"""After so many iterations a factor of its own is made for the next call."""


@dataclass(frozen=True)
class Fineness:
    """Width of cells: shares of the side of what is heated, at edges of sources, patches, heated blocks and plates.

    `growth` is that of the width with distance from these, `largest` what it grows to; `heated`, `first` and `plates`
    are layers of heated slabs, of those above them and of others, `ratio` that of neighbouring layers; each cell is
    cut into `times` along every axis.
    """

    source: float = 0.05
    patch: float = 0.05
    edge: float = 0.06
    outer: float = 0.2
    growth: float = 0.9
    largest: float = 0.3
    heated: int = 2
    first: int = 2
    plates: int = 1
    ratio: float = 2.9
    times: int = 1

    @property
    def twice(self) -> Fineness:
        """The same cells, each cut in two along every axis."""
        return replace(
            self, heated=2 * self.heated, first=2 * self.first, plates=2 * self.plates, ratio=self.ratio**0.5,
            times=2 * self.times,
        )  # fmt: skip

    def heights(self, thickness: float, n: int) -> np.ndarray:
        """Return the heights of n layers of a slab from below: the flattest where heat comes in."""
        grown = self.ratio ** np.arange(n)
        return thickness * grown / grown.sum()


GRIDS = Fineness(), Fineness().twice
FALLS = 3.0
"""Error on the first grid over that on the second: measured as 2.9 to 3.2 for regions and voids, 2.6 for whole dies."""


# -- the grid


def lines_of(places: np.ndarray, widths: np.ndarray, fine: Fineness, side: float) -> np.ndarray:
    """Return the lines of an axis: at all places, and graded between them from the width that each place has."""
    fixed = np.sort(places)
    fixed = fixed[np.concatenate([[True], np.diff(fixed) > SAME])]
    parts = [fixed[:1]]
    for a, b in pairwise(fixed):
        x = np.linspace(a, b, 41)
        width = np.minimum((widths + fine.growth * np.abs(x[:, None] - places)).min(axis=1), side * fine.largest)
        count = np.concatenate([[0.0], np.cumsum(0.5 * (1 / width[1:] + 1 / width[:-1]) * np.diff(x))])
        n = max(1, round(count[-1])) * fine.times
        parts.append(np.append(np.interp(np.arange(1, n) * count[-1] / n, count, x), b))
    return np.concatenate(parts)


def overlap(lines: np.ndarray, low: float, high: float) -> np.ndarray:
    """Return the length of each cell of an axis that lies between two places."""
    return np.maximum(np.minimum(lines[1:], high) - np.maximum(lines[:-1], low), 0.0)


def bow_of(lines: tuple[np.ndarray, np.ndarray], rect: np.ndarray) -> np.ndarray:
    """Return the shape of a bow over a joint, averaged over each cell: 1 in its corners, −½ in its middle, mean 0."""
    squares = []
    for axis in (0, 1):
        u = np.clip((2 * lines[axis] - rect[axis] - rect[axis + 2]) / (rect[axis + 2] - rect[axis]), -1.0, 1.0)
        squares.append((u[1:] ** 2 + u[1:] * u[:-1] + u[:-1] ** 2) / 3.0)
    return 0.75 * (squares[1][:, None] + squares[0]) - 0.5


@dataclass(frozen=True, eq=False)
class Grid:
    """Cells, and faces between two of them or to the coolant, which is number `count`; resistances at 300 K. [K/W]

    Faces come line by line along x, along y, and column by column upwards.
    """

    key: tuple[int, ...]
    first: list[int]
    one: np.ndarray
    other: np.ndarray
    half_one: np.ndarray
    half_other: np.ndarray
    joint: np.ndarray
    chained: np.ndarray
    """Of each face but the last: whether the next one bounds its other cell."""
    source: np.ndarray
    """Into the lower face of each cell. [W]"""
    upward: np.ndarray
    """Whether a face is one."""
    entering: np.ndarray
    """The same for the cell below each upward face, else 0. [W]"""
    means: dict[str, tuple[np.ndarray, np.ndarray]]
    """Of a heated face by name: its cells, and weights of the mean."""

    @property
    def count(self) -> int:
        """Number of cells."""
        return self.first[-1]

    @cached_property
    def incidence(self) -> tuple[csr_array, csr_array]:
        """The matrix that takes differences over faces, and its transpose."""
        columns = np.stack([self.one, self.other], axis=1).ravel()
        solid = columns < self.count
        ends = np.append(0, np.cumsum(solid.reshape(-1, 2).sum(axis=1)))
        D = csr_array((np.tile([1.0, -1.0], len(self.one))[solid], columns[solid], ends), (len(self.one), self.count))
        return D, D.T.tocsr()


class Faces:
    """What heat crosses the faces, with so much of their conductivity in the cells."""

    def __init__(self, grid: Grid, relative: np.ndarray) -> None:
        relative = np.append(relative, 1.0)
        self.one, other = grid.half_one / relative[grid.one], grid.half_other / relative[grid.other]
        self.plain = self.one + grid.joint + other
        self.entering = self.one * grid.entering / 3.0
        diagonal = 2.0 / 3.0 * (self.one + other) + grid.joint
        self.chain = dpttrf(diagonal, other[:-1] * grid.chained / 3.0)[:2]

    def heat(self, differences: np.ndarray) -> np.ndarray:
        """Return the heat across faces, the means of their cells differing by so much. [W]"""
        return dpttrs(*self.chain, differences)[0].reshape(len(differences))


class Cut:
    """A stack cut into cells, slab by slab."""

    def __init__(self, graph: Graph, arrays: dict[str, np.ndarray], fine: Fineness) -> None:
        self.graph, self.a = graph, arrays
        self.low, self.high = (arrays["centre"] + f * arrays["size"] for f in (-0.5, 0.5))
        self.lines = self._axis(0, fine), self._axis(1, fine)
        self.spans = [tuple(self._span(b, axis) for axis in (0, 1)) for b in range(len(graph.slabs_of_block))]
        heated = {graph.first_slab[s.block] for s in graph.sources}
        onto = {graph.first_slab[c.above] for c in graph.contacts if c.below in self.heated and c.above != ENVIRONMENT}
        self.cells: list[np.ndarray] = []
        self.heights: list[np.ndarray] = []
        self.first = [0]
        for s, b in enumerate(graph.block_of_slab):
            n = fine.heated if s in heated else fine.first if s in onto else fine.plates
            shape = n, *(span.stop - span.start for span in self.spans[b][::-1])
            self.heights.append(fine.heights(arrays["thickness"][s], n)[:, None, None])
            self.cells.append(self.first[-1] + np.arange(np.prod(shape)).reshape(shape))
            self.first.append(self.first[-1] + self.cells[-1].size)

    @property
    def heated(self) -> set[int]:
        """Blocks with sources."""
        return {s.block for s in self.graph.sources}

    def _axis(self, axis: int, fine: Fineness) -> np.ndarray:
        sources, joints = (self.a[name][:, axis::2].ravel() for name in ("source_rect", "contact_rect"))
        blocks = np.concatenate([self.low[:, axis], self.high[:, axis]])
        heated = np.isin(np.arange(len(self.low)), sorted(self.heated))
        widths = np.tile(np.where(heated, fine.edge, fine.outer), 2)
        widths[(blocks < blocks.min() + SAME) | (blocks > blocks.max() - SAME)] = fine.largest
        sources, joints = (p[np.abs(p[:, None] - blocks).min(axis=1) > SAME] for p in (sources, joints))
        widths = np.concatenate([widths, np.full(len(sources), fine.source), np.full(len(joints), fine.patch)])
        side = self.a["size"][heated, axis].min()
        return lines_of(np.concatenate([blocks, sources, joints]), side * widths, fine, side)

    def _span(self, b: int, axis: int) -> slice:
        low, high = (int(np.argmin(np.abs(self.lines[axis] - edge[b, axis]))) for edge in (self.low, self.high))
        return slice(low, high)

    def widths(self, s: int) -> tuple[np.ndarray, np.ndarray]:
        """Return the widths of a slab's cells along x, and along y as a column."""
        x, y = self.spans[self.graph.block_of_slab[s]]
        return np.diff(self.lines[0])[x], np.diff(self.lines[1])[y, None]

    def half(self, s: int, layer: int | slice) -> np.ndarray:
        """Return the upward half resistances of a layer of a slab. [K/W]"""
        dx, dy = self.widths(s)
        return self.heights[s][layer] / (2 * self.a["k_through"][s] * dx * dy)

    def of_block(self, b: int, field: np.ndarray) -> np.ndarray:
        """Return the part of a field over all lines (y, x) that lies over a block."""
        return field[self.spans[b][1], self.spans[b][0]]

    def covered(self, rect: np.ndarray) -> np.ndarray:
        """Return the area of a rectangle in each cell of the plane, shape (y, x)."""
        x, y = (overlap(self.lines[axis], rect[axis], rect[axis + 2]) for axis in (0, 1))
        return y[:, None] * x

    def sideways(self) -> list[tuple[np.ndarray, ...]]:
        """Return the faces along x, and along y, of each slab: one, other, their halves, joint."""
        found = []
        for s, cells in enumerate(self.cells):
            dx, dy = self.widths(s)
            thick = 2 * self.a["k_in_plane"][s] * self.heights[s]
            for h, c in ((dx / (thick * dy), cells), ((dy / (thick * dx)).swapaxes(1, 2), cells.swapaxes(1, 2))):
                one, other = h[..., :-1], h[..., 1:]
                found.append((c[..., :-1], c[..., 1:], one, other, np.zeros_like(one)))
        return found

    def upwards(self, bows: dict[tuple[str, int], tuple[np.ndarray, float]]) -> list[tuple[np.ndarray, ...]]:
        """Return the upward faces from below: one, other, their halves, joint, column."""
        columns = np.arange((len(self.lines[0]) - 1) * (len(self.lines[1]) - 1))
        columns = columns.reshape(len(self.lines[1]) - 1, -1)
        found: list[tuple[np.ndarray, ...]] = []
        for s, (b, cells) in enumerate(zip(self.graph.block_of_slab, self.cells, strict=True)):
            here = self.of_block(b, columns)
            h = self.half(s, np.s_[:])
            found.append((cells[:-1], cells[1:], h[:-1], h[1:], 0 * h[1:], np.broadcast_to(here, h[1:].shape)))
            if s + 1 < self.graph.first_slab[b + 1]:
                dx, dy = self.widths(s)
                r = self.of_block(b, self._resistance(self.a["r_above"][s], bows.get(("slab", s)))) / (dx * dy)
                found.append((cells[-1], self.cells[s + 1][0], h[-1], self.half(s + 1, 0), r, here))
                continue
            for above in dict.fromkeys(c.above for c in self.graph.contacts if c.below == b):
                found.append(self._between(b, above, s, columns, bows))
        return found

    def _between(self, b: int, above: int, s: int, columns: np.ndarray, bows) -> tuple[np.ndarray, ...]:
        """Return the faces from a block to the next or the coolant: pieces of a contact side by side."""
        conducts = np.zeros(columns.shape)
        for c, contact in enumerate(self.graph.contacts):
            if (contact.below, contact.above) == (b, above):
                with np.errstate(divide="ignore", invalid="ignore"):  # a perfect contact
                    r = self._resistance(self.a["contact_r"][c], bows.get(("contact", c)))
                    area = self.covered(self.a["contact_rect"][c])
                    conducts += np.where(area > SAME**2, area / r, 0.0)
        touching = conducts > 0

        def pick(block: int, field: np.ndarray) -> np.ndarray:
            return field[self.of_block(block, touching)]

        one, half = pick(b, self.cells[s][-1]), pick(b, self.half(s, -1))
        if above == ENVIRONMENT:
            other, beyond = np.full(one.shape, self.first[-1]), np.zeros(one.shape)
        else:
            first = self.graph.first_slab[above]
            other, beyond = pick(above, self.cells[first][0]), pick(above, self.half(first, 0))
        return one, other, half, beyond, 1.0 / conducts[touching], columns[touching]

    def _resistance(self, r: float, bow: tuple[np.ndarray, float] | None) -> np.ndarray:
        """Return a specific resistance over the plane, bowed over a rectangle if asked. [m² K/W]"""
        shape = len(self.lines[1]) - 1, len(self.lines[0]) - 1
        return np.full(shape, r) if bow is None else r * (1.0 + bow[1] * bow_of(self.lines, bow[0]))


def grid_of(model: Model, values, bows: Mapping[str, float], fine: Fineness) -> Grid:
    """Return the grid of a stack with one value of each input."""
    graph, arrays = model.graph, model.arrays(values)
    if model.board_contacts:
        raise ValueError("a board is not modelled here: describe a stack without one")
    a = {name: getattr(arrays, name)[0] for name in arrays.__dataclass_fields__}
    cut = Cut(graph, a, fine)
    sideways, upwards = cut.sideways(), cut.upwards(_bows(model, cut, bows))
    column = np.concatenate([f[5].ravel() for f in upwards])
    order = np.argsort(column, kind="stable")
    flat = [
        np.concatenate([np.concatenate([f[i].ravel() for f in sideways]),
                        np.concatenate([f[i].ravel() for f in upwards])[order]])
        for i in range(5)
    ]  # fmt: skip
    chained = flat[1][:-1] == flat[0][1:]
    chained[len(flat[0]) - len(order) - 1] = False
    source, means = np.zeros(cut.first[-1]), {}
    powers = model.powers(values)[0]
    for name, of, rect, watts in zip(model.sources, graph.sources, a["source_rect"], powers, strict=True):
        slab = graph.first_slab[of.block]
        weight = cut.of_block(of.block, cut.covered(rect)).ravel()
        weight = weight / weight.sum()
        cells = cut.cells[slab][0].ravel()
        source[cells] += watts * weight
        means[f"{name} mean"] = cells, weight
    upward = np.arange(len(flat[0])) >= len(flat[0]) - len(order)
    entering = np.where(upward, source[flat[0]], 0.0)
    rects = np.concatenate([cut.low, cut.high, a["contact_rect"][:, :2], a["contact_rect"][:, 2:]])
    places = [np.abs(cut.lines[axis][:, None] - rects[:, axis]).argmin(axis=0) for axis in (0, 1)]
    key = (graph.slabs_of_block, *cut.first, *(len(line) for line in cut.lines), *np.concatenate(places).tolist())
    return Grid(key, cut.first, *flat, chained, source, upward, entering, means)


def _bows(model: Model, cut: Cut, bows: Mapping[str, float]) -> dict[tuple[str, int], tuple[np.ndarray, float]]:
    """Return rectangle and bow of each contact, or of the slab below a joint inside a block."""
    found = {}
    for name, b in bows.items():
        if not -1.0 < b < 2.0:
            raise ValueError(f"bow of {name!r} is {b!r}; expected more than -1 and less than 2, such as 0.3")
        rows = [row for rows in model.rows.values() for row in rows if row.part == name and not row.solid]
        if not rows or any(model.coolant_contact in row.contacts for row in rows):
            raise ValueError(f"{name!r} is no joint between two solids; expected a name such as 'paste'")
        for row in rows:
            block = cut.graph.block_of_slab[row.slab]
            rects = [cut.a["contact_rect"][c] for c in row.contacts]
            rects = rects or [np.concatenate([cut.low[block], cut.high[block]])]
            whole = np.concatenate([np.min(rects, axis=0)[:2], np.max(rects, axis=0)[2:]])
            for at in [("contact", c) for c in row.contacts] or [("slab", row.slab)]:
                found[at] = whole, float(b)
    return found


# -- the solution


class Kept:
    """A factor of the two-point matrix of some grid, in single precision, and the rise per watt that was last found."""

    def __init__(self, grid: Grid, faces: Faces) -> None:
        D, T = grid.incidence
        options = {"SymmetricMode": True}
        A = csc_array(T @ diags_array(1.0 / faces.plain) @ D).astype(np.float32)
        self.factor = splu(A, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
        self.start = self.precondition(grid.source) / grid.source.sum()

    def precondition(self, lacks: np.ndarray) -> np.ndarray:
        """Return about the rise that makes up for what cells lack in their balance."""
        return self.factor.solve(lacks.astype(np.float32)).astype(float)


_KEPT: OrderedDict[tuple[int, ...], Kept] = OrderedDict()


def _keep(grid: Grid, faces: Faces) -> Kept:
    _KEPT[grid.key] = Kept(grid, faces)
    while len(_KEPT) > KEPT:
        _KEPT.popitem(last=False)
    return _KEPT[grid.key]


@dataclass(frozen=True, eq=False)
class Solution:
    """What was found: mean temperatures of cells and of heated faces [K], heat made and taken by the coolant [W]."""

    cells: np.ndarray
    shown: dict[str, float]
    made: float
    taken: float
    iterations: int


def solution(stack, values, power, coolant, *, bows=None, fine=None, tolerance=TOLERANCE) -> Solution:
    """Return the solution of a stack at a power and a coolant temperature on one grid; see `shown`."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ThermostackWarning)
        model = model_of(stack)
    power, coolant = float(np.squeeze(power)), float(np.squeeze(coolant))
    given = model.values({p: np.atleast_1d(x) for p, x in values.items() if p in model.inputs})
    if np.any(model.coolant_line(given).film != 0):
        raise ValueError("a coolant that warms is not modelled here: describe one without flow")
    described = {f"{die.name}.power": np.atleast_1d(given(f"{die.name}.power")) for die in stack.dies}
    whole = sum(described.values())
    watts = {path: x * power / whole for path, x in described.items()}
    given = given.with_samples({**watts, "coolant.temperature": np.array([coolant])})
    grid = grid_of(model, given, bows or {}, fine or Fineness())
    parts = [(slab.part.material, slice(*ends)) for slab, ends in zip(model.slabs, pairwise(grid.first), strict=True)]

    def relative(rise: np.ndarray) -> np.ndarray:
        return np.concatenate([material.relative(coolant + rise[part], warn=False) for material, part in parts])

    rise, faces, iterations = _settled(grid, relative, tolerance)
    heat = faces.heat(grid.incidence[0] @ rise - faces.entering)
    lowest = np.zeros((2, grid.count))  # of the cell below each upward face: its half resistance, and heat out of it
    up = grid.upward
    lowest[:, grid.one[up]] = faces.one[up], heat[up]
    face = coolant + rise + lowest[0] * (2.0 * grid.source + lowest[1]) / 3.0
    means = {name: float(weight @ face[cells]) for name, (cells, weight) in grid.means.items()}
    made, taken = float(grid.source.sum()), float(heat[grid.other == grid.count].sum())
    return Solution(coolant + rise, means, made, taken, iterations)


def _settled(grid: Grid, relative, tolerance: float) -> tuple[np.ndarray, Faces, int]:
    """Return the rise of each cell, so that conductivities are those of their temperatures; and iterations taken."""
    D, T = grid.incidence
    power = float(grid.source.sum())
    kept = _KEPT.get(grid.key) or _keep(grid, Faces(grid, relative(np.full(grid.count, 20.0))))
    _KEPT.move_to_end(grid.key)
    rise, iterations = power * kept.start, 0
    for _ in range(40):
        faces = Faces(grid, relative(rise))
        lacks = grid.source - T @ faces.heat(D @ rise - faces.entering)
        left = float(np.abs(lacks).sum()) / power
        if left < tolerance:
            kept.start = rise / power
            if iterations > SLOW:
                _keep(grid, faces)
            return rise, faces, iterations
        share = max(0.03, 0.3 * tolerance / left)
        step, taken = _conjugate(partial(_leaving, grid, faces), lacks, kept.precondition, share)
        rise, iterations = rise + step, iterations + taken
    raise RuntimeError(f"conductivities did not settle: {left:.1e} of the power is out of balance")


def _leaving(grid: Grid, faces: Faces, rise: np.ndarray) -> np.ndarray:
    """Return the heat that leaves each cell at given rises, nothing entering from below. [W]"""
    D, T = grid.incidence
    return T @ faces.heat(D @ rise)


def _conjugate(apply, b: np.ndarray, precondition, share: float) -> tuple[np.ndarray, int]:
    """Return a solution that leaves a share of the residual, by preconditioned conjugate gradients; and iterations."""
    x, r = np.zeros_like(b), b
    p = z = precondition(r)
    rz, enough = r @ z, share * np.abs(b).sum()
    for n in range(1, 1000):
        Ap = apply(p)
        step = rz / (p @ Ap)
        x, r = x + step * p, r - step * Ap
        if np.abs(r).sum() <= enough:
            return x, n
        z = precondition(r)
        rz, before = r @ z, rz
        p = z + rz / before * p
    raise RuntimeError("conjugate gradients did not converge")


def shown(stack, values, power, coolant, *, bows=None) -> dict[str, float]:
    """Return the mean temperatures of a stack's dies and their regions. [K]

    Parameters
    ----------
    stack : Stack
        Uncalibrated; possibly departed: patches on joints, other sizes, other powers of regions. One film, no board.
    values : mapping of path to array_like, shape (1,)
        Inputs in SI in place of central ones; paths that the stack does not have are left out.
    power : float
        Of all dies together, leakage in it, spread as the stack and the values say. [W]
    coolant : float
        [K]
    bows : mapping of joint to float, optional
        b of a joint whose specific resistance is r (1 + b s) over its rectangle, s the paraboloid that is 1 in the
        corners, −½ in the middle and 0 on the mean: above zero where the gap is open at the corners. Patches alike.

    Returns
    -------
    dict
        By name, as in ``operate(...).readings()`` ("core 0 mean"), and of each die besides ("die mean").
    """
    coarse, fine = (solution(stack, values, power, coolant, bows=bows, fine=f).shown for f in GRIDS)
    return {name: t + (t - coarse[name]) / (FALLS - 1.0) for name, t in fine.items()}
