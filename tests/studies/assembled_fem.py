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
from skfem import Basis, BilinearForm, ElementHex1, ElementHex2, FacetBasis, LinearForm, MappingIsoparametric, MeshHex
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


CHUNK = 3000
"""Elements that are assembled at once: integration data of a whole mesh fill gigabytes, and are no faster."""


class Boxes(MappingIsoparametric):
    """Cells that are boxes: the inverse is exact, where Newton's stalls at round-off in strongly graded meshes."""

    def invF(self, x, tind=None, newton_max_iters=0, newton_tol=0.0):  # noqa: N802
        t = self.mesh.t if tind is None else self.mesh.t[:, tind]
        cell = self.mesh.init_refdom().p
        origin = self.mesh.p[:, t[0]]
        out = np.empty_like(x)
        for corner in (1, 2, 3):  # the neighbours of corner 0, each along an axis of its own
            axis = int(np.flatnonzero(cell[:, corner] != cell[:, 0])[0])
            side = self.mesh.p[:, t[corner]] - origin
            along = np.einsum("ij,ijk->jk", side / (side**2).sum(axis=0), x - origin[:, :, None])
            out[axis] = np.clip(cell[axis, 0] + (cell[axis, corner] - cell[axis, 0]) * along, 0.0, 1.0)
        return out


class Slab:
    """One slab of hexahedra, quadratic or linear; its own nodes, shared with neighbours by what is assembled."""

    def __init__(
        self, rect: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray, kp: float, kt: float, degree: int = 2
    ) -> None:
        inside = [v[(v > lo - SAME) & (v < hi + SAME)] for v, lo, hi in ((x, rect[0], rect[2]), (y, rect[1], rect[3]))]
        self.mesh, self.z = MeshHex.init_tensor(*inside, z), z
        self.element = {1: ElementHex1, 2: ElementHex2}[degree]()
        self.order = 2 * degree  # exact: each factor is of that degree at most
        self.at = Basis(self.mesh, self.element, intorder=1).doflocs
        self.kp, self.kt = kp, kt
        parts = []
        for cells in np.array_split(np.arange(self.mesh.nelements), -(-self.mesh.nelements // CHUNK)):
            basis = Basis(self.mesh, self.element, intorder=self.order, elements=cells)
            parts.append(conduction.coo_data(basis, kp=kp, kt=kt))
        self.A = sum(parts[1:], parts[0]).tocsr()

    def face(self, side: int, rect: np.ndarray) -> FacetBasis:
        """Return the facets of the lower (0) or upper (1) face within a rectangle."""
        level, (x0, y0, x1, y1) = self.z[-1 if side else 0], rect

        def within(m: np.ndarray) -> np.ndarray:
            return (np.abs(m[2] - level) < SAME) & (m[0] > x0) & (m[0] < x1) & (m[1] > y0) & (m[1] < y1)

        facets, mapping = self.mesh.facets_satisfying(within), Boxes(self.mesh, self.mesh.elem(), self.mesh.bndelem)
        return FacetBasis(self.mesh, self.element, mapping, facets=facets, intorder=self.order)

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

    def __init__(self, graph: Graph, arrays: Arrays, mesh: Mesh, degree: int = 2) -> None:
        self.graph, self.arrays = graph, arrays
        self.slabs = []
        for s, b in enumerate(graph.block_of_slab):
            half = arrays.size[0, b] / 2
            rect = np.concatenate([arrays.centre[0, b] - half, arrays.centre[0, b] + half])
            k = arrays.k_in_plane[0, s], arrays.k_through[0, s]
            self.slabs.append(Slab(rect, mesh.x, mesh.y, mesh.z[s], *k, degree))
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

    def hierarchy(self) -> Multigrid:
        """Return the multigrid hierarchy, which serves all sources."""
        return Multigrid(self.A)

    def multigrid(self, tol: float = 1e-8) -> np.ndarray:
        """Return the solutions by conjugate gradients with smoothed aggregation; raises where it does not converge."""
        multigrid = self.hierarchy()
        return np.array([multigrid.solve(f, tol) for f in self.f.T]).T

    def influence(self, u: np.ndarray) -> np.ndarray:
        """Return the probes of solutions, shape (probes, sources)."""
        return np.array(
            [
                self._spread(self.slabs[p.slab].mean(p.side, rect), p.slab) @ u
                for p, rect in zip(self.graph.probes, self.arrays.probe_rect[0], strict=True)
            ]
        )


class Multigrid:
    """Smoothed aggregation with pyamg's defaults on the matrix scaled to a diagonal of one, for conjugate gradients."""

    def __init__(self, A: csr_array) -> None:
        self.scale = 1 / np.sqrt(A.diagonal())
        self.A = csr_array(A * self.scale[:, None] * self.scale[None, :])
        self.levels = pyamg.smoothed_aggregation_solver(self.A, B=(1 / self.scale)[:, None], symmetry="symmetric")
        self.iterations = 0

    def solve(self, f: np.ndarray, tol: float) -> np.ndarray:
        """Return A⁻¹ f to a relative residual; raises RuntimeError where that is not reached."""
        self.iterations = 0

        def count(_: np.ndarray) -> None:
            self.iterations += 1

        M: LinearOperator = self.levels.aspreconditioner()
        x, info = cg(self.A, self.scale * f, rtol=tol, M=M, maxiter=2000, callback=count)
        if info:
            raise RuntimeError(f"conjugate gradients did not converge ({info})")
        return np.asarray(x * self.scale)


def fold(graph: Graph, arrays: Arrays) -> tuple[Arrays, float]:
    """Return the half or quarter of a stack that symmetry leaves, and its share; all of it where there is none.

    A watt in the whole is `share` of a watt in the part. Probes must lie as symmetrically as the sources; points are
    moved to the side that is kept.
    """
    share = 1.0
    for axis in (0, 1):
        rects = [arrays.contact_rect, arrays.source_rect]
        off = [arrays.centre[..., axis], *(r[..., axis] + r[..., axis + 2] for r in rects)]
        if any(np.any(np.abs(v) > SAME) for v in off):
            continue
        probe = arrays.probe_rect.copy()
        point = probe[..., axis] == probe[..., axis + 2]
        if np.any(np.abs(probe[..., axis] + probe[..., axis + 2])[~point] > SAME):
            continue
        probe[..., axis::2] = np.where(point[..., None], np.abs(probe[..., axis::2]), probe[..., axis::2])
        size, centre = arrays.size.copy(), arrays.centre.copy()
        size[..., axis] /= 2
        centre[..., axis] = size[..., axis] / 2
        clipped = [r.copy() for r in (*rects, probe)]
        for r in clipped:
            r[..., axis] = np.maximum(r[..., axis], 0.0)
        contact_rect, source_rect, probe_rect = clipped
        arrays = replace(
            arrays, size=size, centre=centre, contact_rect=contact_rect, source_rect=source_rect, probe_rect=probe_rect
        )
        share /= 2
    return arrays, share
