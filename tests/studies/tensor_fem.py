"""Quadratic hexahedra on boxes joined by contacts, solved fast because each box is a tensor product.

The discrete problem is the plain one: triquadratic elements in each block, a contact as the surface integral of
(θ_below − θ_above)/r between duplicated nodes, r = 0 as equal nodes, a film as the surface integral of h θ. (What
`assembled_fem` assembles as one sparse matrix; a test holds the two together.) Since every block is a box of constant
conductivity, its stiffness is K ⊗ M ⊗ M + M ⊗ K ⊗ M + M ⊗ M ⊗ K of one-dimensional matrices, which scikit-fem
assembles, and the generalised eigenvectors of (K, M) along each axis diagonalise it (Lynch, Rice and Thomas 1964,
Numer. Math. 6, 185). What is left couples the blocks: the nodal flux densities p of the contacts and one offset a
block, found by preconditioned conjugate gradients to a stated residual.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.linalg import cho_factor, cho_solve, cholesky, eigh, solve_triangular
from skfem import Basis, ElementLineP2, MeshLine
from skfem.models.poisson import laplace, mass

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph

SAME = 1e-10
"""Coordinates closer than this are the same line. [m]"""

LONG = 4e-3
"""Intervals longer than this get more cells. [m]"""


# ---------------------------------------------------------------------------------------------------- meshes


def unique_lines(values: Any) -> np.ndarray:
    """Return sorted coordinates without repetitions."""
    ordered = np.sort(np.asarray(values, float).ravel())
    return ordered[np.concatenate([[True], np.diff(ordered) > SAME])]


def graded(a: float, b: float, cells: int, power: float, at_a: bool, at_b: bool) -> np.ndarray:
    """Return cell edges from a to b, graded as distance = s^power towards the ends named.

    Edges are images of an even division of a parameter, so that twice the cells halve every cell in the parameter.
    """
    s = np.linspace(0.0, 1.0, cells + 1)
    if at_a and at_b:
        s = np.where(s < 0.5, 0.5 * (2 * s) ** power, 1 - 0.5 * (2 - 2 * s) ** power)
    elif at_a:
        s = s**power
    elif at_b:
        s = 1 - (1 - s) ** power
    edges = a + (b - a) * s
    edges[0], edges[-1] = a, b
    return edges


def graded_lines(edges: np.ndarray, points: np.ndarray, cells: int, power: float) -> np.ndarray:
    """Return the lines of a mesh: every edge and point is a line, graded to the inner edges.

    Fluxes are singular at edges of blocks, contacts and sources; points (where a value is asked for) and the outermost
    edges (plain adiabatic walls or planes of symmetry) are lines only, so that they are nodes of every mesh. There are
    `cells` cells between neighbours, twice or three times as many in longer intervals.
    """
    singular = edges[1:-1]
    breaks = unique_lines(np.concatenate([edges, points]))
    grade = [bool(np.any(np.abs(singular - v) < SAME)) for v in breaks]
    parts = []
    for i, (a, b) in enumerate(pairwise(breaks)):
        n = cells * min(max(int(np.ceil((b - a) / LONG)), 1), 3)
        parts.append(graded(a, b, n, power, grade[i], grade[i + 1])[:-1])
    return np.concatenate([*parts, breaks[-1:]])


@dataclass(frozen=True)
class Mesh:
    """Lines of one tensor mesh for all blocks in x and y, and of each slab in z; a block takes what lies in it."""

    x: np.ndarray
    y: np.ndarray
    z: tuple[np.ndarray, ...]

    @classmethod
    def of(cls, graph: Graph, arrays: Arrays, cells: int, cells_z: int, power: float) -> Mesh:
        """Return a mesh with `cells` cells between neighbouring edges of blocks, contacts, sources and probes."""
        low, high = arrays.centre[0] - arrays.size[0] / 2, arrays.centre[0] + arrays.size[0] / 2
        axes = []
        probes = arrays.probe_rect[0]
        wide = (probes[:, 2] - probes[:, 0] > SAME) & (probes[:, 3] - probes[:, 1] > SAME)
        for axis in (0, 1):
            rects = np.concatenate([arrays.contact_rect[0], arrays.source_rect[0], probes[wide]])[:, axis::2]
            edges = unique_lines(np.concatenate([low[:, axis], high[:, axis], rects.ravel()]))
            axes.append(graded_lines(edges, probes[~wide][:, axis::2].ravel(), cells, power))
        z = tuple(graded(0.0, t, cells_z, power, True, True) for t in arrays.thickness[0])
        return cls(axes[0], axes[1], z)


@dataclass(frozen=True)
class Line:
    """One axis of a block: cell edges, nodes in order, stiffness K and mass M of quadratic elements."""

    edges: np.ndarray
    nodes: np.ndarray
    K: np.ndarray
    M: np.ndarray

    @classmethod
    def of(cls, edges: np.ndarray) -> Line:
        basis = Basis(MeshLine(edges), ElementLineP2())
        order = np.argsort(basis.doflocs[0])
        K, M = (form.assemble(basis).toarray()[np.ix_(order, order)] for form in (laplace, mass))
        return cls(edges, basis.doflocs[0][order], K, M)

    def part(self, a: float, b: float) -> slice:
        """Return the nodes from a to b, which must both be cell edges."""
        i, j = (int(np.argmin(np.abs(self.edges - v))) for v in (a, b))
        if abs(self.edges[i] - a) > SAME or abs(self.edges[j] - b) > SAME or i >= j:
            raise ValueError(f"no cell edges at {a} and {b}")
        return slice(2 * i, 2 * j + 1)

    def mean(self, a: float, b: float) -> np.ndarray:
        """Return weights of the mean over [a, b], or of the value at a where b = a."""
        weights = np.zeros(len(self.nodes))
        if b - a > SAME:
            part = self.part(a, b)
            line = Line.of(self.edges[part.start // 2 : part.stop // 2 + 1])
            weights[part] = line.M.sum(axis=0) / (b - a)
        else:
            e = int(np.clip(np.searchsorted(self.edges, a, side="right") - 1, 0, len(self.edges) - 2))
            s = (a - self.edges[e]) / (self.edges[e + 1] - self.edges[e])
            weights[2 * e : 2 * e + 3] = (1 - s) * (1 - 2 * s), 4 * s * (1 - s), s * (2 * s - 1)
        return weights


# ---------------------------------------------------------------------------------------------------- blocks


def eigen(K: np.ndarray, M: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return λ and V with K V = M V λ and Vᵀ M V = 1; K has the constants for null space.

    Works on the shifted inverse: a graded mesh spreads λ over twelve decades, and `eigh` of (K, M) itself would lose
    the low ones, which matter, to round-off of the high ones.
    """
    total = M.sum()
    shift = np.trace(K) / np.trace(M) * 1e-9 + 10.0 * (np.diag(K).min() / total)
    L = cholesky(M, lower=True)
    B = L.T @ cho_solve(cho_factor(K + shift * M), L)
    w, Q = eigh((B + B.T) / 2)
    lam, V = 1 / w[::-1] - shift, solve_triangular(L.T, Q[:, ::-1], lower=False)
    lam[0], V[:, 0] = 0.0, 1 / np.sqrt(total)
    return np.maximum(lam, 0.0), V


class Block:
    """One box: its modes, and the response of any z-node to loads on its faces (and inside)."""

    def __init__(self, x: Line, y: Line, z_edges: list[np.ndarray], k_in, k_through, r_above) -> None:
        self.x, self.y = x, y
        slabs = [Line.of(edges) for edges in z_edges]
        ends = []  # first and last z-node of each slab
        n = 0
        for s, slab in enumerate(slabs):
            if s and r_above[s - 1] == 0.0:
                n -= 1
            ends.append((n, n + len(slab.nodes) - 1))
            n += len(slab.nodes)
        self.Kz, self.Mz = np.zeros((n, n)), np.zeros((n, n))
        for slab, (a, b), kp, kt in zip(slabs, ends, k_in, k_through, strict=True):
            self.Kz[a : b + 1, a : b + 1] += kt * slab.K
            self.Mz[a : b + 1, a : b + 1] += kp * slab.M
        for s, r in enumerate(r_above[:-1]):
            if r > 0.0:
                a, b = ends[s][1], ends[s + 1][0]
                self.Kz[np.ix_([a, b], [a, b])] += np.array([[1, -1], [-1, 1]]) / r
        self.slab_ends, self.top, self.slab_lines = ends, n - 1, slabs
        self.lx, self.Vx = eigen(x.K, x.M)
        self.ly, self.Vy = eigen(y.K, y.M)
        self.lz, self.Vz = eigen(self.Kz, self.Mz)
        self.mode = self.lx[:, None] + self.ly[None, :]
        self._green: dict[tuple[int, int], np.ndarray] = {}

    def green(self, a: int, b: int) -> np.ndarray:
        """Return what a unit modal load at z-node b does at z-node a, for each mode; without the mean of the block."""
        a, b = min(a, b), max(a, b)
        if (a, b) not in self._green:
            faces = sorted({0, self.top, *(n for pair in self.slab_ends for n in pair)})
            pairs = {(min(n, f), max(n, f)) for n in faces for f in (0, self.top)} | {(a, b)}
            pairs = sorted(pairs - self._green.keys())
            products = np.array([self.Vz[i] * self.Vz[j] for i, j in pairs]).T
            sums = np.empty((self.mode.size, len(pairs)))
            for part in np.array_split(np.arange(self.mode.size), self.mode.size // 20_000 + 1):
                sums[part] = self.damping(self.mode.ravel()[part]) @ products
            self._green |= {pair: s.reshape(self.mode.shape) for pair, s in zip(pairs, sums.T.copy(), strict=True)}
        return self._green[a, b]

    def damping(self, mode: np.ndarray) -> np.ndarray:
        """Return 1/(λ + μ) for each mode (…) and each mode along z; zero for the constant, the block's own offset."""
        total = mode[..., None] + self.lz
        return np.divide(1.0, total, out=np.zeros_like(total), where=total > 0)


class Stack:
    """The discrete problem of one graph with one sample of arrays on one mesh."""

    def __init__(self, graph: Graph, arrays: Arrays, mesh: Mesh) -> None:
        self.graph, self.arrays, self.mesh = graph, arrays, mesh
        a = arrays
        self.blocks: list[Block] = []
        for b, (size, centre) in enumerate(zip(a.size[0], a.centre[0], strict=True)):
            lines = []
            for axis, all_lines in ((0, mesh.x), (1, mesh.y)):
                lo, hi = centre[axis] - size[axis] / 2, centre[axis] + size[axis] / 2
                lines.append(Line.of(all_lines[(all_lines > lo - SAME) & (all_lines < hi + SAME)]))
            s = slice(graph.first_slab[b], graph.first_slab[b + 1])
            self.blocks.append(Block(*lines, list(mesh.z[s]), a.k_in_plane[0, s], a.k_through[0, s], a.r_above[0, s]))
        self.contacts = [self._contact(c) for c in range(len(graph.contacts))]
        ends = np.cumsum([0, *(c["shape"][0] * c["shape"][1] for c in self.contacts)])
        self.parts = [slice(i, j) for i, j in pairwise(ends)]

    def _contact(self, c: int) -> dict[str, Any]:
        """Return the two sides of a contact, its masses, and its approximate inverse for conjugate gradients."""
        x0, y0, x1, y1 = self.arrays.contact_rect[0, c]
        r, contact = self.arrays.contact_r[0, c], self.graph.contacts[c]
        sides = []
        for b, sign in ((contact.below, 1.0), (contact.above, -1.0)):
            if b == ENVIRONMENT:
                continue
            block = self.blocks[b]
            ix, iy = block.x.part(x0, x1), block.y.part(y0, y1)
            node = block.top if sign > 0 else 0
            sides.append({"block": b, "sign": sign, "node": node, "ix": ix, "iy": iy})
        block, ix, iy = self.blocks[sides[0]["block"]], sides[0]["ix"], sides[0]["iy"]
        lx, ly = (Line.of(line.edges[i.start // 2 : i.stop // 2 + 1]) for line, i in ((block.x, ix), (block.y, iy)))
        for side in sides:
            side["Tx"] = self.blocks[side["block"]].Vx[side["ix"]].T @ lx.M
            side["Ty"] = self.blocks[side["block"]].Vy[side["iy"]].T @ ly.M
        (ex, Ux), (ey, Uy) = eigen(lx.K, lx.M), eigen(ly.K, ly.M)
        gamma = np.sqrt(ex[:, None] + ey[None, :])
        gamma[0, 0] = 0.5 * min(gamma[1, 0], gamma[0, 1])
        guess = np.full_like(gamma, r)
        for side in sides:
            s = self.graph.first_slab[side["block"] + (side["sign"] > 0)] - (side["sign"] > 0)
            guess += 1 / (gamma * np.sqrt(self.arrays.k_through[0, s] * self.arrays.k_in_plane[0, s]))
        return {"r": r, "sides": sides, "shape": (len(lx.nodes), len(ly.nodes)), "Mx": lx.M, "My": ly.M,
                "Ux": Ux, "Uy": Uy, "guess": guess}  # fmt: skip

    # -- loads and what they do

    def loads_of(self, p: np.ndarray) -> dict[tuple[int, int], np.ndarray]:
        """Return modal loads by (block, z-node) of contact fluxes p, shape (n, unknowns)."""
        loads: dict[tuple[int, int], np.ndarray] = {}
        for contact, part in zip(self.contacts, self.parts, strict=True):
            P = p[:, part].reshape(-1, *contact["shape"])
            for side in contact["sides"]:
                key = (side["block"], side["node"])
                loads[key] = loads.get(key, 0.0) - side["sign"] * (side["Tx"] @ P @ side["Ty"].T)
        return loads

    def rise(self, b: int, node: int, loads: dict[tuple[int, int], np.ndarray]) -> np.ndarray | float:
        """Return modal temperatures of a z-node of a block under loads, up to the block's offset."""
        here = [self.blocks[b].green(node, n) * load for (bb, n), load in loads.items() if bb == b]
        return sum(here[1:], here[0]) if here else 0.0

    def jump(self, loads: dict[tuple[int, int], np.ndarray], n: int) -> np.ndarray:
        """Return M (θ_below − θ_above) on the contacts under loads, up to the offsets."""
        out = np.zeros((n, self.parts[-1].stop))
        for contact, part in zip(self.contacts, self.parts, strict=True):
            for side in contact["sides"]:
                rise = self.rise(side["block"], side["node"], loads)
                if not np.isscalar(rise):
                    out[:, part] += side["sign"] * (side["Tx"].T @ rise @ side["Ty"]).reshape(n, -1)
        return out

    def apply(self, p: np.ndarray) -> np.ndarray:
        """Return F p = (M r + M E A⁺ Eᵀ M) p."""
        out = -self.jump(self.loads_of(p), len(p))
        for contact, part in zip(self.contacts, self.parts, strict=True):
            P = p[:, part].reshape(-1, *contact["shape"])
            out[:, part] += contact["r"] * (contact["Mx"] @ P @ contact["My"]).reshape(len(p), -1)
        return out

    def precondition(self, d: np.ndarray) -> np.ndarray:
        out = np.empty_like(d)
        for contact, part in zip(self.contacts, self.parts, strict=True):
            D = contact["Ux"].T @ d[:, part].reshape(-1, *contact["shape"]) @ contact["Uy"]
            out[:, part] = (contact["Ux"] @ (D / contact["guess"]) @ contact["Uy"].T).reshape(len(d), -1)
        return out

    def cg(self, d: np.ndarray, tol: float = 1e-12, most: int = 400) -> np.ndarray:
        """Return F⁻¹ d for several right-hand sides, each to a relative preconditioned residual `tol`."""
        p, res = np.zeros_like(d), d.copy()
        z = self.precondition(res)
        q, rz = z.copy(), np.einsum("ij,ij->i", res, z)
        start = rz.copy()
        for self.iterations in range(1, most + 1):
            Fq = self.apply(q)
            step = rz / np.where(rz > 0, np.einsum("ij,ij->i", q, Fq), 1.0)
            p += step[:, None] * q
            res -= step[:, None] * Fq
            z = self.precondition(res)
            new = np.einsum("ij,ij->i", res, z)
            if np.all(new <= tol**2 * start):
                return p
            q = z + (new / np.where(rz > 0, rz, 1.0))[:, None] * q
            rz = new
        raise RuntimeError(f"conjugate gradients: {np.sqrt(np.max(new / start)):.1e} after {most} iterations")

    def factorise(self) -> None:
        """Prepare the offsets: F⁻¹ B, and the small matrix Bᵀ F⁻¹ B."""
        self.B = np.zeros((len(self.blocks), self.parts[-1].stop))
        for contact, part in zip(self.contacts, self.parts, strict=True):
            ones = np.outer(contact["Mx"].sum(axis=0), contact["My"].sum(axis=0)).ravel()
            for side in contact["sides"]:
                self.B[side["block"], part] = side["sign"] * ones
        self.FB = self.cg(self.B)
        self.S = self.FB @ self.B.T

    def solve(self, loads: dict[tuple[int, int], np.ndarray], heat: np.ndarray, jump: np.ndarray | None = None):
        """Return contact fluxes p (n, unknowns), offsets (n, blocks) and all modal loads.

        `loads` are modal, by (block, z-node); `heat` (n, blocks) is what they bring to each block [W]; `jump` replaces
        what the loads do on the contacts (used where loads lie inside a block).
        """
        if not hasattr(self, "S"):
            self.factorise()
        d = self.jump(loads, len(heat)) if jump is None else jump
        Fd = self.cg(d)
        offset = np.linalg.solve(self.S, (heat - Fd @ self.B.T).T).T
        p = Fd + offset @ self.FB
        total = dict(loads)
        for key, load in self.loads_of(p).items():
            total[key] = total[key] + load if key in total else load
        return p, offset, total

    # -- what the contract asks for

    def source_loads(self) -> tuple[dict[tuple[int, int], np.ndarray], np.ndarray]:
        n = len(self.graph.sources)
        loads, heat = {}, np.zeros((n, len(self.blocks)))
        for s, (source, rect) in enumerate(zip(self.graph.sources, self.arrays.source_rect[0], strict=True)):
            block, (x0, y0, x1, y1) = self.blocks[source.block], rect
            fx, fy = block.Vx.T @ block.x.mean(x0, x1), block.Vy.T @ block.y.mean(y0, y1)
            load = loads.setdefault((source.block, 0), np.zeros((n, len(fx), len(fy))))
            load[s] = np.outer(fx, fy)
            heat[s, source.block] = 1.0
        return loads, heat

    def face(self, b: int, node: int, loads, offset: np.ndarray) -> np.ndarray:
        """Return nodal temperatures of a z-node of a block, shape (n, nx, ny)."""
        block = self.blocks[b]
        rise = self.rise(b, node, loads) + np.zeros_like(block.mode)
        return block.Vx @ rise @ block.Vy.T + offset[:, b, None, None]

    def probe_values(self, loads, offset: np.ndarray) -> np.ndarray:
        """Return the probes, shape (n, probes)."""
        out = np.empty((len(offset), len(self.graph.probes)))
        for i, (probe, rect) in enumerate(zip(self.graph.probes, self.arrays.probe_rect[0], strict=True)):
            b = self.graph.block_of_slab[probe.slab]
            block, (x0, y0, x1, y1) = self.blocks[b], rect
            node = block.slab_ends[probe.slab - self.graph.first_slab[b]][probe.side]
            wx, wy = block.x.mean(x0, x1), block.y.mean(y0, y1)
            rise = self.rise(b, node, loads) + np.zeros_like(block.mode)
            out[:, i] = (wx @ block.Vx) @ rise @ (block.Vy.T @ wy) + offset[:, b]
        return out

    def flows(self, p: np.ndarray) -> np.ndarray:
        """Return heat that crosses each contact upwards, shape (n, contacts)."""
        out = []
        for contact, part in zip(self.contacts, self.parts, strict=True):
            wx, wy = contact["Mx"].sum(axis=0), contact["My"].sum(axis=0)
            out.append(p[:, part].reshape(-1, *contact["shape"]) @ wy @ wx)
        return np.array(out).T

    @property
    def unknowns(self) -> int:
        return sum(len(b.x.nodes) * len(b.y.nodes) * (b.top + 1) for b in self.blocks)

    def influence(self) -> dict[str, Any]:
        """Return influence (probes, sources), flow (contacts, sources) and the state for later questions."""
        loads, heat = self.source_loads()
        p, offset, total = self.solve(loads, heat)
        return {
            "influence": self.probe_values(total, offset).T,
            "flow": self.flows(p).T,
            "loads": total,
            "offset": offset,
        }
