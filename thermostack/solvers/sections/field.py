"""The solved section: temperature anywhere, means on lines, heat through lines and edges, heat balance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import InputError
from thermostack.solvers.sections.section import Edge, Normal, OnLine, Section

__all__ = ["FaceState", "Field", "Side"]

Float = NDArray[np.float64]
Side = Literal["below", "above", "left", "right"]
"""Which side of a line: below or above a horizontal one, left or right of a vertical one."""


@dataclass(frozen=True, eq=False)
class FaceState:
    """Temperatures and flows at all faces that one axis crosses; arrays of shape (lines across, cells along).

    Attributes
    ----------
    low, high : ndarray
        Temperature of the face as seen from the cell on its low and on its high side; they differ across a joint.
        Not a number where there is no cell.
    flow_low, flow_high : ndarray
        Heat towards the larger coordinate, before and after heat that is put into the face. [W]
    """

    low: Float
    high: Float
    flow_low: Float
    flow_high: Float


@dataclass(frozen=True, eq=False)
class Field:
    """Temperature field of a section.

    Attributes
    ----------
    section : Section
        What was solved.
    temperature : ndarray, shape (x cells, z cells)
        At the cell centres; not a number in voids.
    across_x, across_z : FaceState
        At the faces that x crosses, shape (x lines, z cells), and that z crosses, shape (z lines, x cells).
    """

    section: Section
    temperature: Float
    across_x: FaceState
    across_z: FaceState

    def _faces(self, normal: Normal) -> FaceState:
        return self.across_x if normal == "x" else self.across_z

    def at(self, x: float, z: float, *sides: Side) -> float:
        """Return the temperature at a point, to second order in the cell size, on edges too.

        In a cell the temperature is its centre's value and, along each axis, a line from there to the value of the
        face. On a grid line the cells that meet there are weighted by their conductivity: the better conductor has
        the smaller gradient, so the smaller error.

        Parameters
        ----------
        x, z : float
            Position. [m]
        *sides : {"below", "above", "left", "right"}
            Which cells to take at a line; needed at a joint, where temperature steps.

        Raises
        ------
        InputError
            If the point is not in material, or on a joint whose side is not given.
        """
        section = self.section
        i = _cells(section.x.lines, section.x.near(x), x, "left" in sides, "right" in sides)
        j = _cells(section.z.lines, section.z.near(z), z, "below" in sides, "above" in sides)
        cells = [(a, b) for a in i for b in j if section.active[a, b]]
        if not cells:
            raise InputError(f"no material at ({x:g}, {z:g}) m", expected="a point in or on the material")
        self._require_one_value(cells, x, z)
        k_x, k_z = section.conductivities(self.temperature)
        weights = [k_x[c] * k_z[c] for c in cells]
        return float(np.average([self._in_cell(*c, x, z) for c in cells], weights=np.sqrt(weights)))

    def _require_one_value(self, cells: list[tuple[int, int]], x: float, z: float) -> None:
        for a, b in cells:
            beside_x = (a + 1, b) in cells and self.section.joint_resistance("x")[a + 1, b] > 0.0
            beside_z = (a, b + 1) in cells and self.section.joint_resistance("z")[b + 1, a] > 0.0
            if beside_x or beside_z:
                raise InputError(
                    f"({x:g}, {z:g}) m lies on a joint, where temperature steps",
                    expected="a side: 'below', 'above', 'left' or 'right'",
                )

    def _in_cell(self, i: int, j: int, x: float, z: float) -> float:
        s, centre = self.section, self.temperature[i, j]
        along_x = _towards_face(x, s.x.lines[i : i + 2], centre, self.across_x.high[i, j], self.across_x.low[i + 1, j])
        along_z = _towards_face(z, s.z.lines[j : j + 2], centre, self.across_z.high[j, i], self.across_z.low[j + 1, i])
        return float(centre + along_x + along_z)

    def mean(self, line: OnLine, side: Side) -> float:
        """Return the area mean of the temperature on one side of a piece of line.

        Raises
        ------
        InputError
            If there is no material on that side.
        """
        where = self.section.faces(line)
        state = self._faces(line.normal)
        values = (state.low if side in ("below", "left") else state.high)[where]
        if (side in ("left", "right")) != (line.normal == "x") or not np.all(np.isfinite(values)):
            raise InputError(f"no material {side} of {line}", expected="a side with material, as the normal says")
        return float(np.average(values, weights=self.section.area(line.normal)[where]))

    def flow(self, line: OnLine) -> float:
        """Return the heat that crosses a piece of line towards the larger coordinate, before heat put in there. [W]"""
        return float(np.sum(self._faces(line.normal).flow_low[self.section.faces(line)]))

    def surface(self, edge: Edge) -> Float:
        """Return the temperatures of an edge's faces, in the order of its line."""
        where = self.section.faces(edge)
        state = self._faces(edge.normal)
        low, _ = self.section.sides(edge.normal)
        return np.where(low[where], state.low[where], state.high[where])

    def heat_out(self, edge: Edge) -> float:
        """Return the heat that leaves through an edge. [W]"""
        where = self.section.faces(edge)
        state = self._faces(edge.normal)
        low, _ = self.section.sides(edge.normal)
        return float(np.sum(np.where(low[where], state.flow_high[where], -state.flow_low[where])))

    @property
    def balance(self) -> float:
        """Heat in less heat out, as a share of all heat that passes; zero but for rounding."""
        out = np.array([self.heat_out(e) for e in self.section.edges])
        put_in = np.concatenate([(s.flow_high - s.flow_low).ravel() for s in (self.across_x, self.across_z)])
        made = self.section.heating[self.section.active]
        gross = np.abs(out).sum() + np.abs(put_in).sum() + np.abs(made).sum()
        return float((put_in.sum() + made.sum() - out.sum()) / gross) if gross > 0.0 else 0.0

    @property
    def hottest(self) -> float:
        """Highest temperature of all cells and faces."""
        states = (self.across_x, self.across_z)
        return float(np.nanmax([np.nanmax(self.temperature), *(np.nanmax(a) for s in states for a in (s.low, s.high))]))


def _cells(lines: Float, on_line: NDArray[np.intp], position: float, low: bool, high: bool) -> list[int]:
    """Return the cells that hold a position along one axis: both at a line, unless one side is asked for."""
    if on_line.size:
        line = int(on_line[0])
        chosen = [c for c, other_asked in ((line - 1, high), (line, low)) if not other_asked]
    else:
        chosen = [int(np.searchsorted(lines, position)) - 1]
    return [c for c in chosen if 0 <= c < lines.size - 1]


def _towards_face(position: float, lines: Float, centre: float, low: float, high: float) -> float:
    """Return what a step from the cell centre towards one of its faces adds."""
    share = (2.0 * position - lines[0] - lines[1]) / (lines[1] - lines[0])
    return float(share * (high - centre) if share > 0.0 else -share * (low - centre))
