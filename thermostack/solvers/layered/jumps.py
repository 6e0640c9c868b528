"""A given temperature jump across contacts, on top of a solved field.

Where the temperature below a contact is θ + δ rather than the θ that the block's modes say, continuity over the contact
reads θ_below + δ − θ_above = r p: the jump's moments with the contact's polynomials are one more right-hand side. It
serves what is linear everywhere but at a contact, such as a solid whose conductivity follows its local temperature.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermostack.solvers.layered.coefficients import PointBasis
from thermostack.solvers.layered.fields import LayeredField
from thermostack.solvers.layered.solve import Solved, one_blas_thread
from thermostack.solvers.layered.system import System

__all__ = ["JumpField", "contact_nodes", "with_jump"]

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _SolvedWithJump(Solved):
    """A solution with one more column, for the jump."""

    known: tuple[Float, ...]
    extra: tuple[Float, ...]

    @cached_property
    def solutions(self) -> tuple[Float, ...]:
        """As in `Solved`, with the jump's unknowns as the last column."""
        return tuple(np.concatenate([x, e], axis=2) for x, e in zip(self.known, self.extra, strict=True))


@dataclass(frozen=True, eq=False)
class JumpField(LayeredField):
    """A field to which a jump across contacts has been added."""

    @cached_property
    def _weights(self) -> Float:
        return np.concatenate([super()._weights, [1.0]])


def contact_nodes(field: LayeredField, contact: int, points: int) -> tuple[Float, Float, Float, Float]:
    """Return Gauss points of a contact along x and y [m], and their weights, which add up to 1."""
    node, weight = np.polynomial.legendre.leggauss(points)
    x0, y0, x1, y1 = field.arrays.contact_rect[0, contact]
    share = 0.5 * (node + 1.0)
    return x0 + (x1 - x0) * share, y0 + (y1 - y0) * share, 0.5 * weight, 0.5 * weight


def with_jump(field: LayeredField, jumps: Mapping[int, Float], points: int) -> LayeredField:
    """Return the field with given jumps across contacts.

    Parameters
    ----------
    field : LayeredField
        Without jumps.
    jumps : mapping of contact to ndarray, shape (points, points)
        What the lower side is warmer by than the field says, at the points of `contact_nodes`. [K]
    points : int
        Gauss points an axis.
    """
    extra: list[Float] = []
    with one_blas_thread():
        for loads in field.solved.loads:
            system = loads.system
            right = np.zeros((1, system.unknowns, 1))
            for contact, jump in jumps.items():
                if contact in system.places:
                    right[0, system.places[contact], 0] = _moments(field, system, contact, jump, points)
            extra.append(np.asarray(np.linalg.solve(system.matrix, right)) if system.unknowns else right)
    solved = _SolvedWithJump(field.solved.loads, field.solved.direct, field.solved.solutions, tuple(extra))
    return JumpField(field.graph, field.arrays, field.powers, solved)


def _moments(field: LayeredField, system: System, contact: int, jump: Float, points: int) -> Float:
    """Mean of the jump times every polynomial of a contact in one symmetry class."""
    x, y, wx, wy = contact_nodes(field, contact, points)
    patch = next(system.patches[side] for side in system.sides if side.contact == contact)
    origin = system.blocks[next(s.block for s in system.sides if s.contact == contact)].axes
    values = []
    for axis, at in enumerate((x, y)):
        low, high = patch.ends[axis]
        basis = patch.bases[axis]
        assert not isinstance(basis, PointBasis)
        values.append(basis.values((at - origin[axis].origin[0])[None, None], low, high)[0, 0])
    moments = (values[0] * wx[:, None]).T @ jump @ (values[1] * wy[:, None])
    return np.asarray(moments.reshape(-1)[system.picked[contact]])
