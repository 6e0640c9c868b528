"""The same elements as `tensor_fem`, assembled plainly by scikit-fem as one sparse matrix.

Solved by pyamg or sparse factors. Two uses: it shows that the fast way solves the very equations it says, and it is
what a careful user of finite elements would run, so its time is compared with the layered solver's at equal error.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pyamg
from scipy.sparse import coo_array, csr_array
from scipy.sparse.linalg import LinearOperator, cg, splu
from skfem import Basis, BilinearForm, ElementHex2, FacetBasis, LinearForm, MeshHex
from skfem.helpers import grad
from skfem.models.poisson import mass
from tensor_fem import SAME, Mesh

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph


@BilinearForm
def conduction(u, v, w):
    return w.kp * (grad(u)[0] * grad(v)[0] + grad(u)[1] * grad(v)[1]) + w.kt * grad(u)[2] * grad(v)[2]


@LinearForm
def unit_flux(v, w):
    return v


class Slab:
    """One slab meshed with quadratic hexahedra; its own nodes, shared with neighbours by what is assembled."""

    def __init__(self, rect: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray, kp: float, kt: float) -> None:
        inside = [v[(v > lo - SAME) & (v < hi + SAME)] for v, lo, hi in ((x, rect[0], rect[2]), (y, rect[1], rect[3]))]
        self.mesh, self.z = MeshHex.init_tensor(*inside, z), z
        self.basis = Basis(self.mesh, ElementHex2(), intorder=4)  # exact: each factor is of degree four at most
        self.at = self.basis.doflocs
        self.kp, self.kt = kp, kt
        self.A = conduction.assemble(self.basis, kp=kp, kt=kt)

    def face(self, side: int, rect: np.ndarray) -> FacetBasis:
        """Return the facets of the lower (0) or upper (1) face within a rectangle."""
        level, (x0, y0, x1, y1) = self.z[-1 if side else 0], rect

        def within(m: np.ndarray) -> np.ndarray:
            return (np.abs(m[2] - level) < SAME) & (m[0] > x0) & (m[0] < x1) & (m[1] > y0) & (m[1] < y1)

        return FacetBasis(self.mesh, ElementHex2(), facets=self.mesh.facets_satisfying(within), intorder=4)

    def mean(self, side: int, rect: np.ndarray) -> np.ndarray:
        """Return weights of the mean over a rectangle of a face, or of the value at a node."""
        if rect[2] - rect[0] > SAME and rect[3] - rect[1] > SAME:
            return unit_flux.assemble(self.face(side, rect)) / ((rect[2] - rect[0]) * (rect[3] - rect[1]))
        point = np.array([rect[0], rect[1], self.z[-1 if side else 0]])
        distance = np.abs(self.at - point[:, None]).max(axis=0)
        weights = np.zeros(self.at.shape[1])
        if distance.min() > SAME:
            raise ValueError(f"no node at {point}")
        weights[np.argmin(distance)] = 1.0
        return weights


class Assembled:
    """One sparse system A θ = f for a graph with one sample of arrays."""

    def __init__(self, graph: Graph, arrays: Arrays, mesh: Mesh) -> None:
        self.graph, self.arrays = graph, arrays
        self.slabs = []
        for s, b in enumerate(graph.block_of_slab):
            half = arrays.size[0, b] / 2
            rect = np.concatenate([arrays.centre[0, b] - half, arrays.centre[0, b] + half])
            self.slabs.append(Slab(rect, mesh.x, mesh.y, mesh.z[s], arrays.k_in_plane[0, s], arrays.k_through[0, s]))
        first = np.cumsum([0, *(slab.at.shape[1] for slab in self.slabs)])
        self.number = [np.arange(a, b) for a, b in pairwise(first)]
        self.parts: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
        merge: list[tuple[np.ndarray, np.ndarray]] = []
        for slab, number in zip(self.slabs, self.number, strict=True):
            self._add(slab.A.tocoo(), number, number, 1.0)
        for s in range(len(self.slabs) - 1):  # slabs of one block
            b = graph.block_of_slab[s]
            if graph.block_of_slab[s + 1] == b:
                half = arrays.size[0, b] / 2
                rect = np.concatenate([arrays.centre[0, b] - half, arrays.centre[0, b] + half])
                self._join(s, s + 1, rect, arrays.r_above[0, s], merge)
        for c, contact in enumerate(graph.contacts):
            below = None if contact.below == ENVIRONMENT else graph.first_slab[contact.below + 1] - 1
            above = None if contact.above == ENVIRONMENT else graph.first_slab[contact.above]
            self._join(below, above, arrays.contact_rect[0, c], arrays.contact_r[0, c], merge)
        target = np.arange(first[-1])
        for keep, drop in merge:
            target[drop] = target[keep]
        while np.any(target != target[target]):  # chains of perfect contacts
            target = target[target]
        _, self.place = np.unique(target, return_inverse=True)
        rows, columns, values = (np.concatenate([p[i] for p in self.parts]) for i in range(3))
        self.n = int(self.place.max()) + 1
        self.A = csr_array(coo_array((values, (self.place[rows], self.place[columns])), (self.n, self.n)))
        self.f = np.array(
            [
                self._spread(self.slabs[graph.first_slab[s.block]].mean(0, rect), graph.first_slab[s.block])
                for s, rect in zip(graph.sources, arrays.source_rect[0], strict=True)
            ]
        ).T

    def _add(self, part: Any, rows: np.ndarray, columns: np.ndarray, factor: float) -> None:
        self.parts.append((rows[part.row], columns[part.col], factor * part.data))

    def _spread(self, weights: np.ndarray, slab: int) -> np.ndarray:
        return np.bincount(self.place[self.number[slab]], weights, self.n)

    def _join(self, below: int | None, above: int | None, rect: np.ndarray, r: float, merge: list) -> None:
        """Add the surface integral of (θ_below − θ_above)(v_below − v_above)/r, or make the nodes one where r = 0."""
        sides = [(s, side, sign) for s, side, sign in ((below, 1, 1.0), (above, 0, -1.0)) if s is not None]
        found = [(s, self._nodes(s, side, rect), sign) for s, side, sign in sides]
        s, nodes, _ = found[0]
        if r == 0.0:
            merge.append((self.number[s][nodes], self.number[found[1][0]][found[1][1]]))
            return
        part = mass.assemble(self.slabs[s].face(sides[0][1], rect)).tocoo()
        local = np.full(self.slabs[s].at.shape[1], -1)
        local[nodes] = np.arange(len(nodes))
        part.row, part.col = local[part.row], local[part.col]
        for s1, nodes1, sign1 in found:
            for s2, nodes2, sign2 in found:
                self._add(part, self.number[s1][nodes1], self.number[s2][nodes2], sign1 * sign2 / r)

    def _nodes(self, s: int, side: int, rect: np.ndarray) -> np.ndarray:
        """Return the nodes of a face within a rectangle in an order that depends on their place alone."""
        x, y, z = self.slabs[s].at
        level = self.slabs[s].z[-1 if side else 0]
        inside = (np.abs(z - level) < SAME) & (x > rect[0] - SAME) & (x < rect[2] + SAME)
        nodes = np.flatnonzero(inside & (y > rect[1] - SAME) & (y < rect[3] + SAME))
        return nodes[np.lexsort((np.round(y[nodes] / SAME), np.round(x[nodes] / SAME)))]

    # -- solvers

    def direct(self) -> np.ndarray:
        """Return the solutions by sparse factors."""
        options = {"SymmetricMode": True}
        return splu(self.A.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options).solve(self.f)

    def multigrid(self, tol: float = 1e-8) -> np.ndarray:
        """Return the solutions by conjugate gradients with smoothed aggregation; raises where it does not converge."""
        scale = 1 / np.sqrt(self.A.diagonal())
        A = csr_array(self.A * scale[:, None] * scale[None, :])
        ml = pyamg.smoothed_aggregation_solver(A, B=(1 / scale)[:, None], symmetry="symmetric")
        M: LinearOperator = ml.aspreconditioner()
        out = np.empty_like(self.f)
        for i in range(self.f.shape[1]):
            out[:, i], info = cg(A, scale * self.f[:, i], rtol=tol, M=M, maxiter=2000)
            if info:
                raise RuntimeError(f"conjugate gradients did not converge ({info})")
        return out * scale[:, None]

    def influence(self, u: np.ndarray) -> np.ndarray:
        """Return the probes of solutions, shape (probes, sources)."""
        return np.array(
            [
                self._spread(self.slabs[p.slab].mean(p.side, rect), p.slab) @ u
                for p, rect in zip(self.graph.probes, self.arrays.probe_rect[0], strict=True)
            ]
        )


def quarter(graph: Graph, arrays: Arrays) -> Arrays:
    """Return the quarter x, y > 0 of a stack that is symmetric about both axes; a watt in all is a quarter in it."""
    if np.any(np.abs(arrays.centre) > SAME):
        raise ValueError("a block is not centred")

    def clip(rects: np.ndarray) -> np.ndarray:
        moved = np.where((rects[..., :2] == rects[..., 2:]).all(axis=-1, keepdims=True), np.abs(rects), rects)
        return np.maximum(moved, 0.0)

    for rects in (arrays.contact_rect, arrays.source_rect):
        if np.any(np.abs(rects[..., :2] + rects[..., 2:]) > SAME):
            raise ValueError("a contact or source is not centred")
    return replace(
        arrays,
        size=arrays.size / 2,
        centre=arrays.size / 4,
        contact_rect=clip(arrays.contact_rect),
        source_rect=clip(arrays.source_rect),
        probe_rect=clip(arrays.probe_rect),
    )
