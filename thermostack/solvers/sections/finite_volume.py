"""Finite volumes: heat balance of every cell, half-cell resistances in series, one sparse direct solve."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from thermostack.errors import InputError, SolveError
from thermostack.solvers.convergence import Extrapolation, richardson
from thermostack.solvers.sections.field import FaceState, Field
from thermostack.solvers.sections.section import Edge, Film, Fixed, Heat, Normal, Radiation, Section

__all__ = ["assemble", "extrapolate", "solve", "solve_many"]

Float = NDArray[np.float64]

NORMALS: tuple[Normal, Normal] = ("x", "z")


@dataclass(frozen=True, eq=False)
class Faces:
    """All faces that one axis crosses; arrays of shape (lines across, cells along).

    A face is a node between two resistances: on each side half a cell, or what lies beyond an edge. A joint's
    resistance lies below the node, so that heat put into a joint enters on its high side.
    """

    r_low: Float
    r_high: Float
    half_low: Float
    half_high: Float
    outside: Float
    area: Float

    @property
    def conductance(self) -> Float:
        """Conductance from one side to the other: the halves in series, which is the harmonic mean. [W/K]"""
        return self.area / (self.r_low + self.r_high)

    @property
    def share_high(self) -> Float:
        """Share of heat put into the face that goes to the high side at equal temperatures."""
        with np.errstate(divide="ignore", invalid="ignore"):  # a fixed edge takes all; no cell on either side: none
            return 1.0 - 1.0 / (1.0 + self.r_low / self.r_high)


def _faces(section: Section, normal: Normal, k: Float, edge_values: Sequence[tuple[Float, Float]]) -> Faces:
    """Collect the resistances on both sides of each face; `k` is the conductivity across them, by cell."""
    across, _, active = section.frame(normal)
    k = k if normal == "x" else k.T
    low, high = section.sides(normal)
    half = np.where(active, across.widths[:, None] / (2.0 * k), np.inf)
    half_low, half_high = np.full(low.shape, np.inf), np.full(low.shape, np.inf)
    half_low[1:], half_high[:-1] = half, half
    r_beyond, outside = np.full(low.shape, np.inf), np.zeros(low.shape)
    for edge, (r, temperature) in zip(section.edges, edge_values, strict=True):
        if edge.normal == normal:
            mask = section.boundary_faces(edge)
            if np.any(np.isfinite(r_beyond[mask])):
                raise InputError(f"{edge} overlaps another edge", expected="one condition on each piece of an edge")
            r_beyond[mask], outside[mask] = r, temperature
    r_low = np.where(low, half_low + section.joint_resistance(normal), r_beyond)
    r_high = np.where(high, half_high, r_beyond)
    return Faces(r_low, r_high, half_low, half_high, outside, section.area(normal))


def _edge_values(section: Section, edge: Edge, surface: Float) -> tuple[Float, Float]:
    """Return specific resistance and temperature of what lies beyond an edge; radiation linearised at its surface.

    Newton's tangent of the radiated flux at the surface temperature T0 is a film of 4 e sigma T0³ against
    T0 − (T0⁴ − Ta⁴)/(4 T0³).
    """
    match edge.condition:
        case Fixed(temperature):
            return np.zeros_like(surface), section.along(edge, temperature)
        case Film(h, temperature):
            conductance = section.along(edge, h)
            if np.any(conductance <= 0.0):
                raise InputError(f"{edge} has a film of zero or less", expected="h above zero")
            return 1.0 / conductance, section.along(edge, temperature)
        case Radiation(emissivity, ambient, sigma):
            if np.any(surface <= 0.0):
                raise SolveError(f"radiating surface at {np.min(surface):g} K: the section must be in kelvin")
            cubed = surface**3
            return 1.0 / (4.0 * emissivity * sigma * cubed), surface - (surface**4 - ambient**4) / (4.0 * cubed)


@dataclass(frozen=True, eq=False)
class System:
    """The linear system of a section at given conductivities; active cells in the order of their array.

    Attributes
    ----------
    matrix : sparse array, shape (cells, cells)
        Symmetric, positive definite where every part is tied to its surroundings. [W/K]
    held : ndarray, shape (cells,)
        Heat that comes from the surroundings and is made in the volume. [W]
    faces : dict
        The faces across x and across z.
    """

    matrix: sparse.csc_array
    held: Float
    faces: dict[Normal, Faces]


def assemble(section: Section, k_x: Float, k_z: Float, edge_values: Sequence[tuple[Float, Float]]) -> System:
    """Return the heat balance of every active cell.

    Parameters
    ----------
    section : Section
        What is to be solved.
    k_x, k_z : ndarray, shape (x cells, z cells)
        Conductivities. [W/(m K)]
    edge_values : sequence of pairs
        For each edge the specific resistance and the temperature beyond, by face.

    Raises
    ------
    InputError
        If a part has no way to lose its heat.
    """
    active = section.active
    number = np.full(section.shape, -1)
    number[active] = np.arange(np.count_nonzero(active))
    count = int(number.max()) + 1
    diagonal, held = np.zeros(section.shape), section.heating.copy()
    rows, columns, entries = [], [], []
    faces: dict[Normal, Faces] = {}
    tied = np.zeros(section.shape, dtype=bool)
    for normal, k in zip(NORMALS, (k_x, k_z), strict=True):
        with np.errstate(invalid="ignore"):
            faces[normal] = side = _faces(section, normal, k, edge_values)
        g = side.conductance
        low, high = section.sides(normal)
        inner = low & high
        cells = number if normal == "x" else number.T
        below, above = cells[:-1][inner[1:-1]], cells[1:][inner[1:-1]]
        rows += [below, above]
        columns += [above, below]
        entries += [-g[inner], -g[inner]]
        # views: what is added here in the order of this normal lands in the arrays by cell
        ours, heat = (diagonal, held) if normal == "x" else (diagonal.T, held.T)
        ours += np.where(low[1:], g[1:], 0.0) + np.where(high[:-1], g[:-1], 0.0)
        at_low_end, at_high_end = high & ~low & (g > 0.0), low & ~high & (g > 0.0)
        driven = g * side.outside
        heat += np.where(at_high_end, driven, 0.0)[1:] + np.where(at_low_end, driven, 0.0)[:-1]
        at_edge = tied if normal == "x" else tied.T
        at_edge |= at_high_end[1:] | at_low_end[:-1]
    rows.append(number[active])
    columns.append(number[active])
    entries.append(diagonal[active])
    matrix = sparse.coo_array(
        (np.concatenate(entries), (np.concatenate(rows), np.concatenate(columns))), shape=(count, count)
    ).tocsc()
    matrix.eliminate_zeros()  # insulated joints do not connect
    _require_way_out(matrix, tied[active])
    return System(matrix, held[active], faces)


def _require_way_out(matrix: sparse.csc_array, tied: NDArray[np.bool_]) -> None:
    """Raise if a connected part is tied to no surroundings: its temperature is undetermined."""
    parts, label = connected_components(matrix, directed=False)
    if len(np.unique(label[tied])) < parts:
        raise InputError(
            "a part of the section has no way to lose its heat",
            expected="a fixed, film or radiation edge on every connected part",
        )


def _face_heats(section: Section, heats: tuple[Heat, ...]) -> dict[Normal, Float]:
    return {normal: section.face_heat(normal, heats) for normal in NORMALS}


def _heat_by_cell(system: System, section: Section, heats: dict[Normal, Float]) -> Float:
    """Return the heat each cell gets from heated faces, divided over the two sides by their resistances. [W]"""
    total = np.zeros(section.shape)
    for normal, q in heats.items():
        side = system.faces[normal]
        with np.errstate(invalid="ignore"):  # two infinite resistances: no material on either side, masked below
            to_high = side.share_high * q
        low, high = section.sides(normal)
        cell = total if normal == "x" else total.T
        cell += np.where(low, q - to_high, 0.0)[1:] + np.where(high, to_high, 0.0)[:-1]
    return total[section.active]


def _field(section: Section, system: System, solution: Float, heats: dict[Normal, Float]) -> Field:
    """Return cell temperatures with the flows through all faces that go with them."""
    temperature = np.full(section.shape, np.nan)
    temperature[section.active] = solution
    states: dict[Normal, FaceState] = {}
    for normal in NORMALS:
        side, q = system.faces[normal], heats[normal]
        low, high = section.sides(normal)
        cell = temperature if normal == "x" else temperature.T
        t_low, t_high = side.outside.copy(), side.outside.copy()
        t_low[1:][low[1:]] = cell[low[1:]]
        t_high[:-1][high[:-1]] = cell[high[:-1]]
        with np.errstate(invalid="ignore"):
            flow = np.where(low | high, side.conductance * (t_low - t_high), 0.0)
            to_high = np.where(low | high, side.share_high * q, 0.0)
            flow_low, flow_high = flow - (q - to_high), flow + to_high
            flux_low, flux_high = (np.where(side.area > 0.0, f / side.area, 0.0) for f in (flow_low, flow_high))
            face_low = np.where(low, t_low - flux_low * np.where(low, side.half_low, 0.0), np.nan)
            face_high = np.where(high, t_high + flux_high * np.where(high, side.half_high, 0.0), np.nan)
        states[normal] = FaceState(face_low, face_high, flow_low, flow_high)
    return Field(section, temperature, states["x"], states["z"])


def solve(section: Section, *, tolerance: float = 1e-11, iterations: int = 60) -> Field:
    """Return the steady temperature field of a section.

    Conductivities that depend on temperature are taken at the cells of the last pass (Picard), radiation by its
    tangent at the surface (Newton); passes end when no cell changes by more than `tolerance` of the largest
    temperature.

    Parameters
    ----------
    section : Section
        What is to be solved.
    tolerance : float
        Largest relative change in the last pass. Used only if the section is nonlinear.
    iterations : int
        Most passes.

    Returns
    -------
    Field
        Temperatures and flows.

    Raises
    ------
    InputError
        If a part has no way to lose its heat, or edges overlap.
    SolveError
        If the passes do not converge or a temperature is not finite.
    """
    heats = _face_heats(section, section.heats)
    guess = _first_guess(section)
    field: Field | None = None
    for _ in range(iterations if section.nonlinear else 1):
        last = np.full(section.shape, guess) if field is None else field.temperature
        edges = [_edge_values(section, e, _surface(section, e, field, guess)) for e in section.edges]
        system = assemble(section, *section.conductivities(last), edges)
        solution = _factor(system.matrix)(system.held + _heat_by_cell(system, section, heats))
        field = _field(section, system, solution, heats)
        change = np.max(np.abs(solution - last[section.active]))
        if not section.nonlinear or change <= tolerance * np.max(np.abs(solution)):
            return field
    raise SolveError(f"not converged after {iterations} passes: the last changed a temperature by {change:.3g} K")


def solve_many(section: Section, heats: Sequence[tuple[Heat, ...]]) -> list[Field]:
    """Return one field for each set of heated faces, put in place of the section's own; one factorisation for all.

    Parameters
    ----------
    section : Section
        A linear section.
    heats : sequence of tuple of Heat
        Sets of heated faces.

    Raises
    ------
    InputError
        If the section is nonlinear, and as `solve`.
    """
    if section.nonlinear:
        raise InputError("several loads on a nonlinear section", expected="conductivities and edges that are linear")
    edges = [_edge_values(section, e, _surface(section, e, None, 0.0)) for e in section.edges]
    system = assemble(section, *section.conductivities(np.zeros(section.shape)), edges)
    inverse = _factor(system.matrix)
    fields = []
    for load in heats:
        by_face = _face_heats(section, load)
        solution = inverse(system.held + _heat_by_cell(system, section, by_face))
        fields.append(_field(section, system, solution, by_face))
    return fields


def extrapolate(section: Section, quantity: Callable[[Field], ArrayLike], *, grids: int = 3) -> Extrapolation:
    """Solve on successively halved grids and extrapolate what is asked of the field (Richardson, second order).

    Ask at places that are grid lines: there a point keeps its place in the cell when cells are halved, and the error
    falls in the ratio that extrapolation supposes.

    Parameters
    ----------
    section : Section
        On its coarsest grid.
    quantity : callable
        Takes a `Field`, returns a number or an array.
    grids : int
        Two or more.
    """
    values = []
    for grid in range(grids):
        section = section.halved() if grid else section
        values.append(np.asarray(quantity(solve(section)), dtype=np.float64))
    return richardson(values)


def _factor(matrix: sparse.csc_array) -> Callable[[Float], Float]:
    """Return the solution operator of a symmetric positive definite matrix."""
    try:
        lu = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    except RuntimeError as err:
        raise SolveError(f"the section's heat balance cannot be solved: {err}") from err

    def inverse(heat: Float) -> Float:
        solution: Float = lu.solve(heat)
        if not np.all(np.isfinite(solution)):
            raise SolveError("a temperature of the section is not finite")
        return solution

    return inverse


def _first_guess(section: Section) -> float:
    """Return the mean temperature beyond the edges, where passes start."""
    given = [float(np.mean(section.along(e, e.condition.temperature))) for e in section.edges]
    return float(np.mean(given)) if given else 0.0


def _surface(section: Section, edge: Edge, field: Field | None, guess: float) -> Float:
    """Return the surface temperatures of an edge's faces in the last pass."""
    if field is None:
        return np.full(section.along(edge, 0.0).shape, guess)
    return field.surface(edge)
