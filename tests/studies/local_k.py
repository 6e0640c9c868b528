"""Quadratic hexahedra with a block whose conductivity follows the local temperature, on top of `tensor_fem`.

The discrete problem is ∫ k(T_coolant + θ) ∇θ·∇v over that block with a Gauss rule, the other blocks and contacts as
they are. It is solved by defect correction with the fixed conductivity of the arrays: θ ← θ + A₀⁻¹ (f − A(θ) θ), which
contracts by the relative distance of k from that fixed value (a tenth or two in silicon), to a stated change.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.sparse import csr_array
from skfem import Basis, ElementLineP2, MeshLine
from tensor_fem import Line, Stack


def conductivity(law: dict[str, Any], kelvin: np.ndarray) -> np.ndarray:
    """Return k = k_ref (T/T_ref)^exponent. [W/(m K)]"""
    return law["k_ref"] * (kelvin / law["T_ref_K"]) ** law["exponent"]


def at_gauss_points(line: Line, order: int = 7) -> tuple[csr_array, csr_array, np.ndarray]:
    """Return matrices that give value and slope at the Gauss points of an axis, and the weights."""
    basis = Basis(MeshLine(line.edges), ElementLineP2(), intorder=order)
    cells, points = basis.dx.shape
    rank = np.argsort(np.argsort(basis.doflocs[0]))
    row = np.arange(cells * points).reshape(cells, points)
    entries = []
    for i in range(3):
        field = basis.basis[i][0]
        column = np.broadcast_to(rank[basis.element_dofs[i]][:, None], row.shape)
        value, slope = (np.broadcast_to(part, row.shape) for part in (np.asarray(field), field.grad[0]))
        entries.append((row, column, value, slope))
    rows, columns, values, slopes = (np.concatenate([e[j].ravel() for e in entries]) for j in range(4))
    shape = (row.size, len(line.nodes))
    return csr_array((values, (rows, columns)), shape), csr_array((slopes, (rows, columns)), shape), basis.dx.ravel()


def along(matrix: Any, field: np.ndarray, axis: int) -> np.ndarray:
    """Return a matrix applied along one axis of a field."""
    moved = np.moveaxis(field, axis, 0)
    return np.moveaxis((matrix @ moved.reshape(len(moved), -1)).reshape(-1, *moved.shape[1:]), 0, axis)


class LocalConductivity:
    """The load by which k(T) differs from the fixed k of a block, for a nodal field of that block."""

    def __init__(self, stack: Stack, b: int, law: dict[str, Any], coolant_K: float) -> None:
        block = stack.blocks[b]
        slab = stack.graph.first_slab[b]
        if len(block.slab_ends) != 1:
            raise ValueError("a block with local conductivity must be one slab")
        self.k0, self.law, self.coolant = stack.arrays.k_through[0, slab], law, coolant_K
        self.axes = [at_gauss_points(line) for line in (block.x, block.y, block.slab_lines[0])]

    def load(self, u: np.ndarray, factor: float = 1.0) -> np.ndarray:
        """Return ∫ (k₀ − k(θ)) ∇θ·∇v, nodal, shape (nx, ny, nz)."""
        (Bx, Dx, wx), (By, Dy, wy), (Bz, Dz, wz) = self.axes
        weight = wx[:, None, None] * wy[:, None] * wz
        at = along(Bz, along(By, along(Bx, u, 0), 1), 2)
        weight *= factor * (self.k0 - conductivity(self.law, self.coolant + at))
        out = np.zeros_like(u)
        for X, Y, Z in ((Dx, By, Bz), (Bx, Dy, Bz), (Bx, By, Dz)):
            slope = along(Z, along(Y, along(X, u, 0), 1), 2)
            out += along(Z.T, along(Y.T, along(X.T, weight * slope, 0), 1), 2)
        return out


def solve_local_k(
    stack: Stack, b: int, law: dict[str, Any], coolant_K: float, power: np.ndarray, tol: float = 1e-11
) -> dict[str, Any]:
    """Return probes (K), flows (W), the nodal field of block b and the changes, for one power a source (W)."""
    block, local = stack.blocks[b], LocalConductivity(stack, b, law, coolant_K)
    source_loads, heat = stack.source_loads()
    source_loads = {key: np.tensordot(power, load, 1)[None] for key, load in source_loads.items()}
    heat = power[None] @ heat
    damping = block.damping(block.mode)
    volume = np.zeros((*block.mode.shape, len(block.lz)))
    changes: list[float] = []
    u = None
    while True:
        inside = damping * volume  # modal temperatures along z, from the load inside the block alone
        d = stack.jump(source_loads, 1)
        for contact, part in zip(stack.contacts, stack.parts, strict=True):
            for side in contact["sides"]:
                if side["block"] == b:
                    rise = inside @ block.Vz[side["node"]]
                    d[:, part] += side["sign"] * (side["Tx"].T @ rise @ side["Ty"]).ravel()
        p, offset, loads = stack.solve(source_loads, heat, d)
        modal = volume.copy()
        for (bb, node), load in loads.items():
            if bb == b:
                modal += load[0][:, :, None] * block.Vz[node]
        new = along(block.Vx, along(block.Vy, along(block.Vz, damping * modal, 2), 1), 0) + offset[0, b]
        if u is not None:
            changes.append(float(np.abs(new - u).max() / np.abs(new).max()))
            if changes[-1] < tol:
                break
            if len(changes) > 60:
                raise RuntimeError(f"local conductivity: change {changes[-1]:.1e} after {len(changes)} iterations")
        u = new
        volume = along(block.Vx.T, along(block.Vy.T, along(block.Vz.T, local.load(u), 2), 1), 0)
    probes = stack.probe_values(loads, offset)[0]
    for i, (probe, rect) in enumerate(zip(stack.graph.probes, stack.arrays.probe_rect[0], strict=True)):
        if stack.graph.block_of_slab[probe.slab] == b:
            wx, wy = block.x.mean(rect[0], rect[2]), block.y.mean(rect[1], rect[3])
            probes[i] = wx @ new[:, :, block.slab_ends[0][probe.side]] @ wy
    return {"probes": probes, "flow": stack.flows(p)[0], "field": new, "changes": changes}
