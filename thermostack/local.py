"""Conductivity that follows the local temperature within a die: what a Kirchhoff step from a mean leaves out.

With k at the mean T₀ of the die's upper face, the transformed temperature U obeys the linear equations within the die.
At the joint above, heat is driven by the true temperature T(U), which is above U wherever U is not T₀: by a jump
δ = T(U) − U, largest above a hot region. Solve, take δ from the upper face, put it into the joint, and again until δ
settles (tenfold a step); then turn U on the active face into T point by point. What a mean of T over a region has on
top of the mean of U is smooth and small, so that a Gauss rule gives it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

from .model import Model, Values
from .operating import OperatingPoint, curved, operate, steps_above_dies
from .solvers import solver_named
from .solvers.graph import Arrays, Graph

if TYPE_CHECKING:
    from .solvers.layered import LayeredField

__all__ = ["Curvature", "answer", "curvature_of", "fields", "local_rises", "tops_of"]

Float: TypeAlias = NDArray[np.float64]

JOINT_POINTS = 20
"""Gauss points an axis of each joint."""
POINTS = 6
"""Gauss points an axis between two edges of regions."""
SETTLED = 2e-5
"""Change of the jump at which it is settled, relative to the rise of the die's upper face."""
MAX_STEPS = 8


@dataclass(frozen=True, eq=False)
class Curvature:
    """What local conductivity adds to each probe per square of its step above the die's upper face. [1/K]

    Known where the junction rises by `rises` (ascending), and interpolated between.

    Attributes
    ----------
    rises : ndarray, shape (n,)
        [K]
    known : ndarray, shape (n, probes)
    """

    rises: Float
    known: Float

    def added(self, point: OperatingPoint) -> OperatingPoint:
        """Return a point as `operate` made it, with what local conductivity adds."""
        at = np.interp(point.junction_rise, self.rises, np.arange(len(self.rises), dtype=float))
        low = np.minimum(np.nan_to_num(at).astype(int), len(self.rises) - 1)
        share = (at - low)[:, None]
        return curved(
            point, (1 - share) * self.known[low] + share * self.known[np.minimum(low + 1, len(self.rises) - 1)]
        )


def curvature_of(point: OperatingPoint) -> Curvature | None:
    """Return what local conductivity adds, worked out for the coolest, the middle and the hottest sample of a point.

    None where no die's conductivity changes. The point needs conductivities and powers only, so that an emulator may
    have answered for it.
    """
    if not _varying(point.model):
        return None
    order = np.flatnonzero(point.settled)[np.argsort(point.junction_rise[point.settled])]
    worked = np.unique([order[0], order[len(order) // 2], order[-1]])
    worked = worked[np.argsort(point.junction_rise[worked])]
    steps = steps_above_dies(point)
    known = np.stack([_curvature(point, int(sample), steps[sample]) for sample in worked])
    return Curvature(point.junction_rise[worked], known)


def answer(model: Model, solver: str, values: Values | None = None) -> OperatingPoint:
    """Return the operating point by a named solver, with local conductivity in the dies where the solver sees places.

    Of several samples, the coolest, the middle and the hottest are worked out; what local conductivity adds grows with
    the square of a probe's step above the die's upper face, and the factor is interpolated for the others.
    """
    point = operate(model, solver_named(solver), values)
    curvature = curvature_of(point) if solver == "layered" else None
    return point if curvature is None else curvature.added(point)


def _curvature(point: OperatingPoint, sample: int, step: Float) -> Float:
    """Return what local conductivity adds in one sample, per square of each probe's step, shape (probes,). [1/K]"""
    one = Arrays(**{name: _row(getattr(point.arrays, name), sample) for name in point.arrays.__dataclass_fields__})
    acting = (point.power + point.board_power)[sample]
    influence = point.response.influence
    linear = influence[sample if len(influence) > 1 else 0] @ acting
    added = local_rises(point.model, point.graph, one, acting, float(point.coolant[sample]), linear)
    beyond = np.where(added != 0, linear + added - point.rise[sample], 0.0)
    return np.divide(beyond, step**2, out=np.zeros_like(step), where=np.abs(step) > 1e-6)


def _row(array: Float, index: int) -> Float:
    return array[index : index + 1] if len(array) > 1 else array


def _varying(model: Model) -> list[int]:
    """Slabs of the dies whose conductivity changes with temperature."""
    return [s for s in map(model.slab_of_die, model.dies) if model.slabs[s].part.material.law.kind != "constant"]


def fields(
    model: Model, graph: Graph, arrays: Arrays, power: Float, tops: dict[int, float], coolant: float
) -> tuple[LayeredField, LayeredField]:
    """Return the linear field of one sample, and that of U with the jumps that local conductivity puts into the joints.

    Parameters
    ----------
    model : Model
    graph, arrays : Graph, Arrays
        One sample, each die with its conductivity at the mean of its upper face.
    power : ndarray, shape (sources,)
        [W]
    tops : mapping of slab to float
        That mean, of each die whose conductivity changes. [K]
    coolant : float
        [K]
    """
    from .solvers.layered import layered_field
    from .solvers.layered.jumps import contact_nodes, with_jump

    linear = layered_field(graph, arrays, power)
    joints = [
        (slab, contact)
        for slab in tops
        for contact, c in enumerate(graph.contacts)
        if c.below == graph.block_of_slab[slab]
    ]
    field, last = linear, dict[int, Float]()
    for _ in range(MAX_STEPS if joints else 0):
        jumps = {}
        for slab, contact in joints:
            x, y, _, _ = contact_nodes(linear, contact, JOINT_POINTS)
            U = coolant + field.rise(slab, 1.0, x, y)
            jumps[contact] = model.kirchhoff(slab, np.asarray(tops[slab]), U - tops[slab]) - U
        moved = max(float(np.abs(jumps[c] - last.get(c, 0.0)).max()) for c in jumps)
        field, last = with_jump(linear, jumps, JOINT_POINTS), jumps
        if moved < SETTLED * (max(tops.values()) - coolant):
            break
    return linear, field


def tops_of(model: Model, coolant: float, linear: Float) -> dict[int, float]:
    """Return the mean temperature of the upper face of each die whose conductivity changes, by slab. [K]"""
    return {s: coolant + float(linear[model.probes["face", str(s), "1"]]) for s in _varying(model)}


def local_rises(model: Model, graph: Graph, arrays: Arrays, power: Float, coolant: float, rise: Float) -> Float:
    """Return what the probes on active faces have on top of their linear rise `rise`, shape (probes,). [K]"""
    tops = tops_of(model, coolant, rise)
    linear, field = fields(model, graph, arrays, power, tops, coolant)
    added = np.zeros_like(rise)
    for slab, top in tops.items():
        for index, probe in enumerate(graph.probes):
            if (probe.slab, probe.side) == (slab, 0):
                added[index] = _added(model, slab, top, coolant, linear, field, arrays.probe_rect[0, index])
    return added


def _added(
    model: Model, slab: int, top: float, coolant: float, linear: LayeredField, field: LayeredField, rect: Float
) -> float:
    """Mean over a rectangle (or at a point) of the true temperature less that of the linear field. [K]"""
    edges = linear.arrays.source_rect[0]
    (x, wx), (y, wy) = (_rule(rect[i], rect[i + 2], edges[:, [i, i + 2]].ravel()) for i in (0, 1))
    U = coolant + field.rise(slab, 0.0, x, y)
    true = model.kirchhoff(slab, np.asarray(top), U - top) - coolant
    return float(wx @ (true - linear.rise(slab, 0.0, x, y)) @ wy)


def _rule(low: float, high: float, edges: Float) -> tuple[Float, Float]:
    """Gauss points and weights (adding up to 1) between two ends, cut where the heat flux steps."""
    if high <= low:
        return np.array([low]), np.ones(1)
    inside = edges[(edges > low) & (edges < high)]
    cuts = np.unique(np.round(np.concatenate([[low], inside, [high]]), 12))
    node, weight = np.polynomial.legendre.leggauss(POINTS)
    widths = np.diff(cuts)
    x = (cuts[:-1, None] + widths[:, None] * 0.5 * (node + 1.0)).ravel()
    return np.clip(x, low, high), (0.5 * widths[:, None] * weight / (high - low)).ravel()
