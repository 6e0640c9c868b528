"""Temperature and heat flux anywhere in a predicted stack: maps of faces, sections, the hottest point."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

from .errors import InputError, UnknownNameError, suggest
from .local import fields, tops_of
from .model import Model, model_of
from .model.joints import bond_line_of
from .operating import OperatingPoint, operate
from .solvers import solver_named
from .stack.stack import Stack
from .units import ValueLike, convert, parse

if TYPE_CHECKING:
    from .solvers.layered import LayeredField

__all__ = ["HotPoint", "Map", "Points", "Slice", "StackField", "hot_points", "model_with_hot_points"]

Float: TypeAlias = NDArray[np.float64]
Points: TypeAlias = dict[str, tuple[tuple[float, float], ...]]
"""Points of active faces by die, as fractions of its sides from the lower left corner."""


@dataclass(frozen=True)
class HotPoint:
    """The hottest point of a face.

    Attributes
    ----------
    part : str
    temperature : float
        [°C]
    x, y : float
        From the centre of the stack. [mm]
    """

    part: str
    temperature: float
    x: float
    y: float


@dataclass(frozen=True, eq=False)
class Map:
    """A quantity on a rectangular grid of a face.

    Attributes
    ----------
    part, quantity, unit : str
    x, y : ndarray, shapes (nx,), (ny,)
        From the centre of the stack. [mm]
    values : ndarray, shape (nx, ny)
        In `unit`.
    """

    part: str
    quantity: str
    unit: str
    x: Float
    y: Float
    values: Float


@dataclass(frozen=True, eq=False)
class Slice:
    """A slab of a section through the stack.

    Attributes
    ----------
    part : str
    x : ndarray, shape (nx,)
        [mm]
    depth : ndarray, shape (nz,)
        Share of the slab's thickness from below.
    bottom, thickness : float
        Height of its lower face above the lowest active face, bond lines counted where they are known, and its
        thickness. [mm]
    values : ndarray, shape (nx, nz)
        Temperature. [°C]
    """

    part: str
    x: Float
    depth: Float
    bottom: float
    thickness: float
    values: Float


@dataclass(frozen=True, eq=False)
class StackField:
    """Temperature and heat flux anywhere in a stack, by the layered solver at the operating point.

    Parameters
    ----------
    point : OperatingPoint
        One sample, solved by the layered solver.
    """

    point: OperatingPoint

    def __post_init__(self) -> None:
        if not self.point.response.solver.startswith("layered"):
            raise InputError(
                f"the {self.point.response.solver} solver has no field", where="solver", expected="solver='layered'"
            )

    @cached_property
    def _tops(self) -> dict[int, float]:
        """Mean temperature of the upper face of each die whose conductivity changes, by slab. [K]"""
        linear = self.point.response.influence[0] @ self._acting
        return tops_of(self.point.model, float(self.point.coolant[0]), linear)

    @property
    def _acting(self) -> Float:
        return np.asarray((self.point.power + self.point.board_power)[0])

    @cached_property
    def _solved(self) -> LayeredField:
        point = self.point
        coolant = float(point.coolant[0])
        return fields(point.model, point.graph, point.arrays, self._acting, self._tops, coolant)[1]

    # -- by part

    def temperature(
        self, part: str, depth: float = 0.0, *, points: int = 61, x: Float | None = None, y: Float | None = None
    ) -> Map:
        """Return the temperature on a level of a die or layer.

        Parameters
        ----------
        part : str
            A die or layer.
        depth : float
            Share of its thickness from below: 0 is the lower (of a die: the active) face, 1 the upper one.
        points : int
            Points along the longer side, where no coordinates are given.
        x, y : ndarray, optional
            Coordinates from the centre of the stack. [m]

        Raises
        ------
        UnknownNameError
            No die or layer has this name.
        InputError
            A point lies outside the part.
        """
        slab = self._slab(part)
        x, y = self._grid(slab, points, x, y)
        return Map(
            part,
            "temperature",
            "°C",
            1e3 * x,
            1e3 * y,
            self._celsius(slab, self._solved.rise(slab, depth, x, y)),
        )

    def flux(self, interface: str, *, points: int = 61) -> Map:
        """Return the heat flux that enters an interface from below. [W/mm²]

        Of a joint that lies within one footprint, it is that between its means; of a joint split by patches, each piece
        has its own resistance and the map shows where heat goes round. `interface` may be ``"coolant"``.

        Raises
        ------
        UnknownNameError
            No interface has this name, or it lies between two layers of one footprint, where it is not a contact.
        """
        contacts = self._contacts(interface)
        rect = self.point.arrays.contact_rect[0, contacts]
        low, high = rect[:, :2].min(axis=0), rect[:, 2:].max(axis=0)
        step = (high - low).max() / points
        x, y = (np.linspace(a, b, max(round((b - a) / step), 2) + 1) for a, b in zip(low, high, strict=True))
        x, y = 0.5 * (x[1:] + x[:-1]), 0.5 * (y[1:] + y[:-1])
        values = np.full((len(x), len(y)), np.nan)
        for contact, (x0, y0, x1, y1) in zip(contacts, rect, strict=True):
            i, j = (x >= x0) & (x <= x1), (y >= y0) & (y <= y1)
            if i.any() and j.any():
                values[np.ix_(i, j)] = self._solved.flux(contact, x[i], y[j])
        return Map(interface, "heat flux", "W/mm²", 1e3 * x, 1e3 * y, 1e-6 * values)

    def hottest(self, part: str, depth: float = 0.0) -> HotPoint:
        """Return the hottest point of a level of a die or layer."""
        slab = self._slab(part)
        found = self._solved.hottest(slab, depth)
        return HotPoint(part, float(self._celsius(slab, np.array(found.rise))), 1e3 * found.x, 1e3 * found.y)

    def section(self, y: ValueLike = "0 mm", *, points: int = 81, levels: int = 9) -> tuple[Slice, ...]:
        """Return a cross-section along x: a slice a slab that the plane y cuts, from below.

        Raises
        ------
        InputError
            The plane cuts nothing.
        """
        at = parse(y, "length", "y").si
        bottoms = self._bottoms()
        slices = []
        for slab, described in enumerate(self.point.model.slabs):
            x0, y0, x1, y1 = self._rect(slab)
            if not y0 <= at <= y1:
                continue
            x, depth = np.linspace(x0, x1, points), np.linspace(0.0, 1.0, levels)
            values = np.stack(
                [self._celsius(slab, self._solved.rise(slab, float(d), x, np.array([at]))[:, 0]) for d in depth],
                axis=1,
            )
            thickness = 1e3 * float(self.point.arrays.thickness[0, slab])
            slices.append(Slice(described.part.name, 1e3 * x, depth, bottoms[slab], thickness, values))
        if not slices:
            raise InputError(
                f"the plane y = {y} cuts nothing", where="y", expected="a plane through the dies, such as '0 mm'"
            )
        return tuple(slices)

    # -- how

    def _celsius(self, slab: int, rise: Float) -> Float:
        """Turn rises of the solution into temperatures; within a die by a Kirchhoff step from its upper face."""
        coolant = float(self.point.coolant[0])
        if slab not in self._tops:
            return np.asarray(convert(coolant + rise, "temperature"))
        top = self._tops[slab]
        return np.asarray(
            convert(self.point.model.kirchhoff(slab, np.asarray(top), coolant + rise - top), "temperature")
        )

    def _bottoms(self) -> list[float]:
        """Return the height of each slab's lower face; the dies hang from the layer that they share. [mm]"""
        model, values = self.point.model, self.point.values
        columns = []
        for rows in model.rows.values():
            height, column = 0.0, []
            for row in rows[:-1]:
                thick = values(f"{row.part}.thickness") if row.solid else bond_line_of(row.part, values)
                thickness = 0.0 if thick is None else 1e3 * float(np.asarray(thick).flat[0])
                column.append((row.slab, row.solid, height))
                height += thickness
            columns.append((height, column))
        tallest = max(height for height, _ in columns)
        return [bottom for _, bottom in sorted({
            slab: bottom + tallest - height for height, column in columns for slab, solid, bottom in column if solid
        }.items())]  # fmt: skip

    def _slab(self, part: str) -> int:
        names = [slab.part.name for slab in self.point.model.slabs]
        if part not in names:
            raise UnknownNameError(f"no die or layer is named {part!r}; {suggest(str(part), names)}", where="field")
        return names.index(part)

    def _contacts(self, interface: str) -> list[int]:
        rows = {row.part: row.contacts for rows in self.point.model.rows.values() for row in rows if row.contacts}
        if interface not in rows:
            raise UnknownNameError(
                f"no contact between two footprints is named {interface!r}; {suggest(str(interface), rows)}",
                where="field",
            )
        return list(rows[interface])

    def _rect(self, slab: int) -> tuple[float, float, float, float]:
        block = self.point.graph.block_of_slab[slab]
        centre, half = self.point.arrays.centre[0, block], 0.5 * self.point.arrays.size[0, block]
        (x0, y0), (x1, y1) = centre - half, centre + half
        return float(x0), float(y0), float(x1), float(y1)

    def _grid(self, slab: int, points: int, x: Float | None, y: Float | None) -> tuple[Float, Float]:
        x0, y0, x1, y1 = self._rect(slab)
        step = max(x1 - x0, y1 - y0) / max(points - 1, 1)
        made = (np.linspace(a, b, max(round((b - a) / step), 2) + 1) for a, b in ((x0, x1), (y0, y1)))
        return tuple(m if given is None else np.asarray(given, float) for m, given in zip(made, (x, y), strict=True))  # type: ignore[return-value]


# -- where the hottest points lie


@lru_cache(maxsize=128)
def hot_points(stack: Stack, solver: str) -> Points:
    """Return where the hottest point of each active face lies.

    Only a solver that sees regions and corners is asked; for the others, and where everything is centred, it is the
    centre, and nothing is returned. The place hardly moves with what is sampled or swept, and a maximum is flat: probes
    put there stand for the junction of all samples.
    """
    model = model_of(stack)
    if solver != "layered" or _is_centred(model):
        return {}
    field = StackField(operate(model, solver_named(solver)))
    found: Points = {}
    for die in model.dies:
        hot = field.hottest(die)
        x0, y0, x1, y1 = field._rect(model.slab_of_die(die))
        found[die] = (((1e-3 * hot.x - x0) / (x1 - x0), (1e-3 * hot.y - y0) / (y1 - y0)),)
    return found


def _is_centred(model: Model) -> bool:
    """Tell whether one evenly heated die and all else lie on one centre, so that this is the hottest point."""
    arrays = model.arrays()
    middle = arrays.centre[0, 0]
    contacts = 0.5 * (arrays.contact_rect[0, :, :2] + arrays.contact_rect[0, :, 2:])
    sources = 0.5 * (arrays.source_rect[0, :, :2] + arrays.source_rect[0, :, 2:])
    off = max(float(np.abs(c - middle).max()) for c in (arrays.centre[0], contacts, sources))
    pairs = [(c.below, c.above) for c in model.graph.contacts]
    return off < 1e-9 and len(arrays.source_rect[0]) == 1 and len(set(pairs)) == len(pairs)


def model_with_hot_points(stack: Stack, solver: str, points: Iterable[Points] = ()) -> Model:
    """Return the stack made ready, with probes at its hottest points (and at others found for its variants)."""
    every: dict[str, dict[tuple[float, float], None]] = {}
    for found in (hot_points(stack, solver), *points):
        for die, places in found.items():
            every.setdefault(die, {}).update(dict.fromkeys(places))
    model = model_of(stack)
    return model.with_points({die: tuple(places) for die, places in every.items()}) if every else model
