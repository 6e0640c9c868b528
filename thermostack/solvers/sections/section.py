"""What a section is: materials on a tensor grid, joints between cells, edges to the surroundings, heated faces."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import InputError, SolveError
from thermostack.solvers.sections.grid import Axis

__all__ = [
    "Condition",
    "Edge",
    "Film",
    "Fixed",
    "Heat",
    "Joint",
    "OnLine",
    "Patch",
    "Profile",
    "Radiation",
    "Section",
    "Void",
]

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]
Normal = Literal["x", "z"]

Profile = float | Callable[[Float], Float]
"""A value that is uniform, or a function of the position along the edge [m]."""
Conductivity = float | Callable[[Float], Float]
"""A conductivity [W/(m K)], or a function of the temperature, in the unit in which the section has its temperatures."""


@dataclass(frozen=True)
class Patch:
    """A rectangle of one material; where patches overlap the later one counts.

    Parameters
    ----------
    x, z : tuple of two floats
        Extent; in an axisymmetric section x is the radius. [m]
    k_x, k_z : float or callable
        Conductivity along each axis; `k_z` defaults to `k_x`. [W/(m K)]
    heating : float or callable
        Heat made in the volume, or a function of the positions (x, z) of the cell centres. [W/m³]
    """

    x: tuple[float, float]
    z: tuple[float, float]
    k_x: Conductivity
    k_z: Conductivity | None = None
    heating: float | Callable[[Float, Float], Float] = 0.0


@dataclass(frozen=True)
class Void:
    """A rectangle in which there is nothing: its walls are edges of the section, adiabatic unless said otherwise."""

    x: tuple[float, float]
    z: tuple[float, float]


@dataclass(frozen=True)
class Fixed:
    """An edge held at a temperature, or at a profile of temperatures."""

    temperature: Profile


@dataclass(frozen=True)
class Film:
    """An edge cooled through a conductance h [W/(m² K)] by surroundings at a temperature."""

    h: Profile
    temperature: Profile


@dataclass(frozen=True)
class Radiation:
    """An edge that radiates to surroundings at a temperature; the whole section is then in kelvin.

    The heat flux leaving is emissivity × sigma × (T⁴ − temperature⁴).

    Parameters
    ----------
    emissivity : float
        Between 0 and 1.
    temperature : float
        Of the surroundings. [K]
    sigma : float
        Stefan-Boltzmann constant, CODATA 2018. [W/(m² K⁴)]
    """

    emissivity: float
    temperature: float
    sigma: float = 5.670374419e-8


Condition = Fixed | Film | Radiation


@dataclass(frozen=True)
class OnLine:
    """A piece of a grid line.

    Parameters
    ----------
    normal : {"x", "z"}
        Axis that crosses the line: "z" for a horizontal line.
    at : float
        Position on that axis. [m]
    over : tuple of two floats
        Extent along the line. [m]
    """

    normal: Normal
    at: float
    over: tuple[float, float]


@dataclass(frozen=True)
class Edge(OnLine):
    """A piece of the outline of the section, or of the wall of a void, that is not adiabatic."""

    condition: Condition


@dataclass(frozen=True)
class Heat(OnLine):
    """A heat flux put into a face [W/m²], on an edge or between two cells.

    On a joint it enters on the side of the larger coordinate: above a horizontal joint.
    """

    flux: Profile


@dataclass(frozen=True)
class Joint(OnLine):
    """A specific resistance r [m² K/W] between the cells on both sides of a line; infinite: insulated.

    Where joints overlap the later one counts.
    """

    r: float


@dataclass(frozen=True, eq=False)
class Section:
    """A section, x–z or axisymmetric.

    Parameters
    ----------
    x, z : Axis
        Grid; everything else must lie on its lines.
    patches : tuple of Patch or Void
        Materials; what no patch covers is void.
    edges, heats, joints : tuple
        See the classes of these names.
    axisymmetric : bool
        Whether x is the radius: then heat flows are those of the whole turn [W].
    depth : float
        Extent across the section, if it is not axisymmetric: heat flows are for this depth. [m]

    Raises
    ------
    InputError
        If anything is out of range, off the grid, or where it cannot be.
    """

    x: Axis
    z: Axis
    patches: tuple[Patch | Void, ...]
    edges: tuple[Edge, ...] = ()
    heats: tuple[Heat, ...] = ()
    joints: tuple[Joint, ...] = ()
    axisymmetric: bool = False
    depth: float = 1.0

    def __post_init__(self) -> None:
        if self.axisymmetric and (self.x.lines[0] < 0.0 or self.depth != 1.0):
            raise InputError(
                f"axisymmetric section from radius {self.x.lines[0]:g} m with depth {self.depth:g} m",
                expected="radii of zero or more and no depth",
            )
        if not (np.isfinite(self.depth) and self.depth > 0.0):
            raise InputError(f"depth {self.depth!r} m", expected="a finite depth above zero")
        if not self.active.any():
            raise InputError("a section without material", expected="at least one patch")
        for joint in self.joints:
            if not joint.r >= 0.0:
                raise InputError(f"joint with r = {joint.r!r} m² K/W", expected="zero or more")
        for edge in self.edges:
            _check_condition(edge.condition)

    def halved(self) -> Section:
        """Return the same section on a grid with every cell cut in two along both axes."""
        return replace(self, x=self.x.halved(), z=self.z.halved())

    # -- by cell -------------------------------------------------------------------------------------------------

    @property
    def shape(self) -> tuple[int, int]:
        """Cells along x and z."""
        return self.x.centres.size, self.z.centres.size

    @cached_property
    def part(self) -> NDArray[np.intp]:
        """Index into `patches` of each cell, −1 where there is nothing; shape (x cells, z cells)."""
        part = np.full(self.shape, -1)
        for number, patch in enumerate(self.patches):
            part[self.x.span(patch.x), self.z.span(patch.z)] = -1 if isinstance(patch, Void) else number
        return part

    @cached_property
    def active(self) -> Bool:
        """Whether each cell holds material, shape (x cells, z cells)."""
        return self.part >= 0

    @cached_property
    def volume(self) -> Float:
        """Volume of each cell, shape (x cells, z cells). [m³]"""
        base = np.pi * np.diff(self.x.lines**2) if self.axisymmetric else self.x.widths * self.depth
        return np.outer(base, self.z.widths)

    def area(self, normal: Normal) -> Float:
        """Area of each face that the axis `normal` crosses, shape (faces along it, cells along the other). [m²]"""
        if normal == "x":
            around = 2.0 * np.pi * self.x.lines if self.axisymmetric else np.full(self.x.lines.size, self.depth)
            return np.outer(around, self.z.widths)
        base = np.pi * np.diff(self.x.lines**2) if self.axisymmetric else self.x.widths * self.depth
        return np.outer(np.ones(self.z.lines.size), base)

    @property
    def nonlinear(self) -> bool:
        """Whether a conductivity depends on temperature or an edge radiates."""
        solids = [p for p in self.patches if isinstance(p, Patch)]
        return any(callable(p.k_x) or callable(p.k_z) for p in solids) or any(
            isinstance(e.condition, Radiation) for e in self.edges
        )

    def conductivities(self, temperature: Float) -> tuple[Float, Float]:
        """Return k_x and k_z of each cell at the given cell temperatures; 1 in voids, where they are not used.

        Raises
        ------
        InputError
            If one is not finite and above zero.
        SolveError
            If a function of the temperature gives such a one.
        """
        k_x, k_z = np.ones(self.shape), np.ones(self.shape)
        for number, patch in enumerate(self.patches):
            mine = self.part == number
            if isinstance(patch, Void) or not mine.any():
                continue
            for k, given in ((k_x, patch.k_x), (k_z, patch.k_x if patch.k_z is None else patch.k_z)):
                k[mine] = given(temperature[mine]) if callable(given) else given
                bad = ~(np.isfinite(k[mine]) & (k[mine] > 0.0))
                if bad.any():
                    problem = f"patch {number} has conductivity {k[mine][bad][0]:g} W/(m K)"
                    if callable(given):
                        raise SolveError(f"{problem} at temperature {temperature[mine][bad][0]:g}")
                    raise InputError(problem, expected="finite values above zero")
        return k_x, k_z

    @cached_property
    def heating(self) -> Float:
        """Heat made in each cell, shape (x cells, z cells). [W]"""
        density = np.zeros(self.shape)
        x, z = np.meshgrid(self.x.centres, self.z.centres, indexing="ij")
        for number, patch in enumerate(self.patches):
            if isinstance(patch, Patch):
                mine = self.part == number
                density[mine] = patch.heating(x[mine], z[mine]) if callable(patch.heating) else patch.heating
        if not np.all(np.isfinite(density)):
            raise InputError("heating that is not finite", expected="finite values in W/m³")
        return density * self.volume

    # -- by face -------------------------------------------------------------------------------------------------

    def frame(self, normal: Normal) -> tuple[Axis, Axis, Bool]:
        """Return the axis that crosses the faces, the axis along them, and which cells are active in that order."""
        return (self.x, self.z, self.active) if normal == "x" else (self.z, self.x, self.active.T)

    def sides(self, normal: Normal) -> tuple[Bool, Bool]:
        """Return whether the cell on the low and on the high side of each face holds material."""
        across, along, active = self.frame(normal)
        low = np.zeros((across.lines.size, along.centres.size), dtype=bool)
        high = low.copy()
        low[1:], high[:-1] = active, active
        return low, high

    def faces(self, line: OnLine) -> tuple[int, slice]:
        """Return where the faces of a piece of line stand in arrays by face."""
        across, along, _ = self.frame(line.normal)
        return across.index(line.at), along.span(line.over)

    def along(self, line: OnLine, profile: Profile) -> Float:
        """Return a profile's values at the middles of the faces of a piece of line."""
        _, along, _ = self.frame(line.normal)
        middle = along.centres[along.span(line.over)]
        values = np.asarray(profile(middle) if callable(profile) else profile, dtype=np.float64)
        if not np.all(np.isfinite(values)):
            raise InputError(f"a value that is not finite on {line}", expected="finite values")
        return np.broadcast_to(values, middle.shape)

    def joint_resistance(self, normal: Normal) -> Float:
        """Specific resistance between the two sides of each face. [m² K/W]

        Raises
        ------
        InputError
            If a joint has nothing on one of its sides.
        """
        low, high = self.sides(normal)
        r = np.zeros(low.shape)
        for joint in self.joints:
            if joint.normal == normal:
                where = self.faces(joint)
                if not np.all(low[where] & high[where]):
                    raise InputError(f"{joint} has nothing on one side", expected="material on both sides of a joint")
                r[where] = joint.r
        return r

    def boundary_faces(self, edge: Edge) -> Bool:
        """Return which faces an edge covers, as a mask over all faces of its normal.

        Raises
        ------
        InputError
            If one of them has material on both sides, or on neither.
        """
        low, high = self.sides(edge.normal)
        mask = np.zeros(low.shape, dtype=bool)
        mask[self.faces(edge)] = True
        if np.any(mask & (low == high)):
            raise InputError(f"{edge} is not on the outline", expected="material on one side of an edge, none beyond")
        return mask

    def face_heat(self, normal: Normal, heats: tuple[Heat, ...]) -> Float:
        """Heat put into each face. [W]

        Raises
        ------
        InputError
            If a heated face has no material on either side.
        """
        low, high = self.sides(normal)
        q = np.zeros(low.shape)
        for heat in heats:
            if heat.normal == normal:
                where = self.faces(heat)
                if not np.all(low[where] | high[where]):
                    raise InputError(f"{heat} touches nothing", expected="material on a side of a heated face")
                q[where] += self.along(heat, heat.flux)
        return q * self.area(normal)


def _check_condition(condition: Condition) -> None:
    match condition:
        case Film(h=h) if not callable(h) and not (np.isfinite(h) and h > 0.0):
            raise InputError(f"film of h = {h!r} W/(m² K)", expected="a finite value above zero")
        case Radiation(emissivity=e, temperature=t) if not (0.0 < e <= 1.0 and np.isfinite(t) and t >= 0.0):
            raise InputError(
                f"emissivity {e!r} to surroundings at {t!r} K", expected="emissivity in (0, 1], zero kelvin or more"
            )
