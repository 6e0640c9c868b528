"""Properties of coolants with temperature, and cooling by class."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from thermostack.catalogue.load import _records as records
from thermostack.catalogue.ranges import Range
from thermostack.errors import FileError, InputError, UnknownNameError, suggest
from thermostack.tables import Cell, Column, Table

__all__ = ["CoolerClass", "Fluid", "Properties", "cooler_class", "coolers", "fluid", "fluids"]

Float: TypeAlias = NDArray[np.float64]

_ZERO_CELSIUS = 273.15


@dataclass(frozen=True, eq=False)
class Properties:
    """Properties of a coolant at one or several temperatures. SI."""

    density: Float
    heat_capacity: Float
    conductivity: Float
    viscosity: Float

    @property
    def prandtl(self) -> Float:
        """Prandtl number. [1]"""
        return np.asarray(self.viscosity * self.heat_capacity / self.conductivity)

    @property
    def kinematic_viscosity(self) -> Float:
        """[m²/s]"""
        return np.asarray(self.viscosity / self.density)


@dataclass(frozen=True, eq=False)
class Fluid:
    """A coolant: its properties between freezing and boiling at 1 atm.

    Attributes
    ----------
    name : str
    temperatures : ndarray, shape (n,)
        Of the table. [K]
    table : ndarray, shape (n, 4)
        Density [kg/m³], heat capacity [J/(kg K)], conductivity [W/(m K)] and viscosity [Pa s].
    """

    name: str
    temperatures: Float
    table: Float

    @property
    def range(self) -> tuple[float, float]:
        """Coldest and warmest temperature at which it is known to be liquid (air: for which the table holds). [K]"""
        return float(self.temperatures[0]), float(self.temperatures[-1])

    def at(self, temperature: Float | float) -> Properties:
        """Return the properties, interpolated between the rows of the table (the viscosity in its logarithm).

        Parameters
        ----------
        temperature : float or ndarray
            [K]

        Raises
        ------
        InputError
            The coolant freezes or boils there.
        """
        T = np.asarray(temperature, dtype=np.float64)
        low, high = self.range
        bad = ~((low - 1e-9 <= T) & (high + 1e-9 >= T))
        if bad.any():
            self._refuse(float(T[bad].flat[0]), low, high)
        density, capacity, conductivity = (np.interp(T, self.temperatures, self.table[:, i]) for i in range(3))
        viscosity = np.exp(np.interp(T, self.temperatures, np.log(self.table[:, 3])))
        return Properties(density, capacity, conductivity, viscosity)

    def _refuse(self, found: float, low: float, high: float) -> None:
        says = "freezes" if found < low else "boils"
        if self.name == "air":
            says = "is not tabled"
        raise InputError(
            f"{self.name} {says} at {found - _ZERO_CELSIUS:.4g} °C",
            expected=f"{low - _ZERO_CELSIUS:.4g} to {high - _ZERO_CELSIUS:.4g} °C (1 atm), or another coolant: "
            + ", ".join(name for name in _fluids() if name != self.name),
        )


@cache
def _fluids() -> dict[str, Fluid]:
    rows: dict[str, list[list[float]]] = {}
    columns = ("temperature_degC", "density_kg_m3", "heat_capacity_J_kgK", "conductivity_W_mK", "viscosity_Pa_s")
    for r in records("coolants.csv"):
        rows.setdefault(r.text("fluid"), []).append([r.needed(column) for column in columns])
    tables = {name: np.array(found) for name, found in rows.items()}
    return {name: Fluid(name, t[:, 0] + _ZERO_CELSIUS, t[:, 1:]) for name, t in tables.items()}


def fluid(name: str) -> Fluid:
    """Return a coolant by name.

    Raises
    ------
    UnknownNameError
        No coolant has this name; the message suggests the nearest.
    """
    found = _fluids().get(" ".join(name.split()).casefold() if isinstance(name, str) else "")
    if found is None:
        raise UnknownNameError(f"no coolant is named {name!r}; {suggest(str(name), _fluids())}")
    return found


def fluids() -> Table:
    """Return the coolants, with their range and their properties at 25 °C."""
    rows: list[tuple[Cell, ...]] = []
    for each in _fluids().values():
        p = each.at(298.15)
        low, high = (t - _ZERO_CELSIUS for t in each.range)
        figures = (p.density, p.heat_capacity, p.conductivity, 1e3 * p.viscosity, p.prandtl)
        rows.append((each.name, low, high, *(float(x) for x in figures)))
    columns = (
        Column("fluid", "coolant"),
        Column("from_degC", "from [°C]", ".1f"),
        Column("to_degC", "to [°C]", ".1f"),
        Column("density_kg_m3", "density [kg/m³]", ".1f"),
        Column("heat_capacity_J_kgK", "heat capacity [J/kg/K]", ".0f"),
        Column("conductivity_W_mK", "conductivity [W/m/K]", ".4f"),
        Column("viscosity_mPa_s", "viscosity [mPa·s]", ".4f"),
        Column("prandtl", "Prandtl number", ".2f"),
    )
    return Table(columns, tuple(rows), title="Coolants at 25 °C", notes=("computed with CoolProp; 1 atm",))


@dataclass(frozen=True)
class CoolerClass:
    """Cooling by class: a range that is met in practice, where nothing better is known.

    Attributes
    ----------
    name : str
    figure : {"conductance", "resistance"}
        On the wetted face [W/(m² K)], or from the plate's contact face to the coolant [K/W].
    value : Range
        SI.
    contains_plate : bool
        Whether the figure contains the cold plate.
    reference : {"inlet", "mean", "ambient"}
        To which temperature it refers.
    temperatures : pair of float or None
        Coolant temperatures for which it is meant. [K]
    source, provenance, notes : str
    """

    name: str
    figure: Literal["conductance", "resistance"]
    value: Range
    contains_plate: bool
    reference: Literal["inlet", "mean", "ambient"]
    temperatures: tuple[float, float] | None
    source: str
    provenance: str
    notes: str


@cache
def _coolers() -> dict[str, CoolerClass]:
    found = {}
    for r in records("coolers.csv"):
        figure, reference = r.text("figure"), r.text("reference")
        if figure not in ("conductance", "resistance") or reference not in ("inlet", "mean", "ambient"):
            raise FileError(f"{figure!r} or {reference!r}", where=r.where, expected="a figure and a reference")
        cold, warm = r.kelvin("cold"), r.kelvin("warm")
        found[r.text("name")] = CoolerClass(
            r.text("name"),
            "conductance" if figure == "conductance" else "resistance",
            r.needed_range("{}", 1e-3 if figure == "conductance" else 1.0),
            r.yes("contains_plate"),
            reference,  # type: ignore[arg-type]
            None if cold is None or warm is None else (cold, warm),
            r.text("source"),
            r.text("provenance"),
            r.text("notes"),
        )
    return found


def cooler_class(name: str) -> CoolerClass:
    """Return a class of cooling by name.

    Raises
    ------
    UnknownNameError
        No class has this name; the message suggests the nearest.
    """
    found = _coolers().get(" ".join(name.split()).casefold())
    if found is None:
        raise UnknownNameError(f"no cooling class is named {name!r}; {suggest(name, _coolers())}")
    return found


def coolers() -> Table:
    """Return the classes of cooling, with their ranges and sources."""
    rows: list[tuple[Cell, ...]] = []
    for c in _coolers().values():
        scale, unit = (1e-3, "kW/m²/K") if c.figure == "conductance" else (1.0, "K/W")
        figures = (c.value.low * scale, c.value.typical * scale, c.value.high * scale)
        rows.append((c.name, *figures, unit, c.contains_plate, c.reference, c.source, c.notes))
    columns = (
        Column("cooler", "cooling"),
        Column("low", "low", ".3g"),
        Column("typical", "typical", ".3g"),
        Column("high", "high", ".3g"),
        Column("unit", "unit"),
        Column("contains_plate", "contains the plate"),
        Column("reference", "refers to"),
        Column("source", "source", wrap=40),
        Column("notes", "notes", wrap=40),
    )
    return Table(columns, tuple(rows), title="Cooling by class")
