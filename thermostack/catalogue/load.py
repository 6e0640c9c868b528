"""Reads the shipped values when they are first asked for, and finds them by name."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from functools import cache
from importlib import resources
from typing import TypeVar, cast

from thermostack.catalogue.interface import InterfaceClass, InterfaceRow, Place
from thermostack.catalogue.material import AluminiumAttack, Electrical, Material, Provenance, TemperatureLaw
from thermostack.catalogue.ranges import Range
from thermostack.errors import FileError, InputError, UnknownNameError, suggest
from thermostack.tables import Column, Table

__all__ = ["all_interfaces", "all_materials", "effects", "interface_class", "interfaces", "material", "materials"]

_ZERO_CELSIUS = 273.15
_MICRO = 1e6  # µm in a metre, and mm²·K/W in a m²·K/W

T = TypeVar("T", bound=Material | InterfaceClass)


class _Record:
    """One line of a data file, read field by field; a blank cell is an error, ``none`` is ``None``."""

    def __init__(self, file: str, line: int, cells: dict[str, str]) -> None:
        self.where = f"{file}, line {line}"
        for name, cell in cells.items():
            if name is None or cell is None or not cell.strip():
                raise FileError(
                    f"blank or surplus cell in column {name}", where=self.where, expected='a value or "none"'
                )
        self.cells = cells

    def text(self, name: str) -> str:
        """Return the text, empty for ``none``."""
        return "" if self.cells[name] == "none" else self.cells[name]

    def names(self, name: str) -> tuple[str, ...]:
        """Return the parts of a text between semicolons."""
        return tuple(part.strip() for part in self.text(name).split(";") if part.strip())

    def number(self, name: str) -> float | None:
        """Return the number, ``None`` for ``none``."""
        if self.cells[name] == "none":
            return None
        try:
            return float(self.cells[name])
        except ValueError:
            raise FileError(f"{self.cells[name]!r} in {name}", where=self.where, expected="a number or none") from None

    def needed(self, name: str) -> float:
        """Return a number that must be there."""
        value = self.number(name)
        if value is None:
            raise FileError(f"none in {name}", where=self.where, expected="a number")
        return value

    def kelvin(self, name: str) -> float | None:
        """Return a temperature given in °C as kelvin."""
        value = self.number(name)
        return None if value is None else value + _ZERO_CELSIUS

    def yes(self, name: str) -> bool:
        """Return a truth value."""
        if self.cells[name] not in ("yes", "no"):
            raise FileError(f"{self.cells[name]!r} in {name}", where=self.where, expected="yes or no")
        return self.cells[name] == "yes"

    def pair(self, low: str, high: str, per_si: float = 1.0) -> tuple[float, float] | None:
        """Return two numbers, or ``None`` where neither is given."""
        if self.number(low) is None and self.number(high) is None:
            return None
        return self.needed(low) / per_si, self.needed(high) / per_si

    def range(self, pattern: str, per_si: float = 1.0) -> Range | None:
        """Return the range in the columns that `pattern` names, or ``None`` where none of them is given."""
        names = [pattern.format(which) for which in ("low", "typical", "high")]
        if all(self.number(name) is None for name in names):
            return None
        return Range(*(self.needed(name) / per_si for name in names))

    def needed_range(self, pattern: str, per_si: float = 1.0) -> Range:
        """Return a range that must be there."""
        value = self.range(pattern, per_si)
        if value is None:
            raise FileError(f"none in {pattern}", where=self.where, expected="low, typical and high")
        return value


def _records(file: str) -> list[_Record]:
    """Return the lines of a shipped data file; those that begin with # are for its readers."""
    text = resources.files(__package__).joinpath("data", file).read_text(encoding="utf-8")
    lines = text.splitlines()
    skipped = sum(1 for line in lines if line.startswith("#"))
    reader = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [_Record(file, reader.line_num + skipped, cells) for cells in reader]


def _law(r: _Record) -> TemperatureLaw:
    kind = r.text("law")
    if kind not in ("constant", "power", "linear"):
        raise FileError(f"{kind!r} in law", where=r.where, expected="constant, power or linear")
    percent = r.number("fit_max_error_percent")
    return TemperatureLaw(
        kind="power" if kind == "power" else "linear" if kind == "linear" else "constant",
        reference=r.needed("law_reference_K"),
        exponent=r.needed("law_exponent") if kind == "power" else 0.0,
        slope=r.needed("law_slope_W_mK2") / r.needed("law_k_at_reference_W_mK") if kind == "linear" else 0.0,
        fit_range=r.pair("fit_low_K", "fit_high_K"),
        fit_error=None if percent is None else percent / 100,
        fit_note=r.text("fit_note"),
    )


@cache
def all_materials() -> tuple[Material, ...]:
    """Return every shipped material in the order of the file."""
    return tuple(
        Material(
            name=r.text("name"),
            key=r.text("key"),
            aliases=r.names("aliases"),
            family=r.text("family"),
            description=r.text("description"),
            conductivity=r.needed_range("k_{}_W_mK"),
            conductivity_in_plane=r.needed_range("k_in_plane_{}_W_mK"),
            range_meaning=r.text("range_meaning"),
            law=_law(r),
            density=r.number("density_kg_m3"),
            heat_capacity=r.number("heat_capacity_J_kgK"),
            solidus=r.kelvin("solidus_C"),
            liquidus=r.kelvin("liquidus_C"),
            max_service=r.kelvin("max_service_C"),
            electrical=cast(Electrical, r.text("electrical")),
            aluminium_attack=cast(AluminiumAttack, r.cells["aluminium_attack"]),
            is_aluminium=r.yes("is_aluminium"),
            hazards=r.text("hazards"),
            source=r.text("source"),
            provenance=cast(Provenance, r.text("provenance")),
            provenance_detail=r.text("provenance_detail"),
            cross_check=r.text("cross_check"),
            notes=r.text("notes"),
        )
        for r in _records("materials.csv")
    )


def _row(r: _Record, class_name: str, place: str, of: Material) -> InterfaceRow:
    several = len(r.names("place")) > 1
    return InterfaceRow(
        name=f"{class_name}, {place}",
        key=f"{r.text('key')}_{place.replace(' ', '_')}" if several else r.text("key"),
        place=cast(Place, place),
        description=r.text("description"),
        resistance=r.needed_range("R_{}_mm2K_W", _MICRO),
        range_meaning=r.text("range_meaning"),
        bond_line=r.range("bond_line_{}_um", _MICRO),
        conductivity=r.range("k_{}_W_mK"),
        contact_resistance=r.needed("contact_mm2K_W") / _MICRO,
        contact_factor=r.needed("contact_factor"),
        contact_basis=r.text("contact_basis"),
        mount_sigma_ln=r.needed("mount_sigma_ln"),
        mount_basis=r.text("mount_basis"),
        part_sigma_ln=r.number("part_sigma_ln"),
        bad_mounts=r.range("bad_mounts_{}"),
        demountable=r.yes("demountable"),
        pressure=r.pair("pressure_low_kPa", "pressure_high_kPa", 1e-3),
        pressure_note=r.text("pressure_note"),
        yield_stress=r.range("yield_stress_{}_Pa"),
        yield_stress_basis=r.text("yield_stress_basis"),
        ageing=r.text("ageing"),
        material=of,
        source=r.text("source"),
        provenance=cast(Provenance, r.text("provenance")),
        provenance_detail=r.text("provenance_detail"),
        notes=r.text("notes"),
    )


@cache
def all_interfaces() -> tuple[InterfaceClass, ...]:
    """Return every shipped interface class in the order of the file."""
    of_key = {m.key: m for m in all_materials()}
    records = _records("interfaces.csv")
    classes = []
    for c in _records("interface_classes.csv"):
        of = of_key[c.text("material")]
        rows = tuple(
            _row(r, c.text("name"), place, of)
            for r in records
            if r.text("class") == c.text("key")
            for place in r.names("place")
        )
        classes.append(
            InterfaceClass(
                name=c.text("name"),
                key=c.text("key"),
                aliases=c.names("aliases"),
                rows=rows,
                material=of.name,
                notes=c.text("notes"),
            )
        )
    return tuple(classes)


def _by_name(entries: Iterable[T]) -> dict[str, T]:
    """Return the entries by every name they go by, in small letters."""
    found: dict[str, T] = {}
    for entry in entries:
        for name in {each.casefold() for each in (entry.name, entry.key, *entry.aliases)}:
            if name in found:
                raise FileError(f"{name!r} is a name of {found[name].key!r} and of {entry.key!r}", where="materials")
            found[name] = entry
    return found


@cache
def _materials_by_name() -> dict[str, Material]:
    return _by_name(all_materials())


@cache
def _interfaces_by_name() -> dict[str, InterfaceClass]:
    classes = all_interfaces()
    return _by_name([*classes, *(c.pinned(row) for c in classes for row in c.rows)])


def _find(name: str, known: dict[str, T], shown: Iterable[str], kind: str) -> T:
    if not isinstance(name, str):
        raise InputError(f"{name!r} is no name of {kind}", expected="a text")
    entry = known.get(" ".join(name.split()).casefold())
    if entry is None:
        raise UnknownNameError(f"no {kind} is called {name!r}; {suggest(name, shown)}")
    return entry


def material(name: str) -> Material:
    """Return the shipped material of this name, key or alias; capitals do not matter, spelling does.

    Raises
    ------
    UnknownNameError
        Says what was asked for and suggests what there is.

    Examples
    --------
    >>> material("copper").conductivity
    Range(low=370.0, typical=390.0, high=398.0)
    """
    shown = [n for m in all_materials() for n in (m.name, *m.aliases)]
    return _find(name, _materials_by_name(), shown, "material")


def interface_class(name: str) -> InterfaceClass:
    """Return the shipped interface class of this name, key or alias; capitals do not matter, spelling does.

    The full name of a row, such as ``"ceramic paste, die to plate"``, gives a class that has this row for every place.

    Raises
    ------
    UnknownNameError
        Says what was asked for and suggests what there is.

    Examples
    --------
    >>> interface_class("ceramic paste").at("die to plate").resistance.typical
    8e-06
    """
    shown = [n for c in all_interfaces() for n in (c.name, *c.aliases)]
    shown += [row.name for c in all_interfaces() for row in c.rows]
    return _find(name, _interfaces_by_name(), shown, "interface class")


def _bounds(value: Range | None, per_si: float = 1.0) -> tuple[float | None, float | None, float | None]:
    """Return typical, low and high in a unit of which there are so many in the SI one."""
    if value is None:
        return None, None, None
    return value.typical * per_si, value.low * per_si, value.high * per_si


_SOURCED = (Column("source", "source", wrap=60), Column("provenance", "provenance"))
_LIMITS = "low and high are the 2.5 % and 97.5 % points, unless limits says otherwise"


def materials() -> Table:
    """Return a table of the shipped materials, for reading."""
    columns = (
        Column("name", "material"),
        Column("k", "k [W/(m K)]"),
        Column("k_low", "k low"),
        Column("k_high", "k high"),
        Column("k_in_plane", "in-plane k [W/(m K)]"),
        Column("k_in_plane_low", "in-plane low"),
        Column("k_in_plane_high", "in-plane high"),
        Column("limits", "limits", wrap=20),
        Column("reference", "at [K]"),
        Column("density", "density [kg/m³]"),
        Column("heat_capacity", "heat capacity [J/(kg K)]"),
        Column("solidus", "solidus [°C]"),
        Column("max_service", "max. service [°C]"),
        Column("electrical", "electrical"),
        Column("aluminium_attack", "attack on aluminium"),
        Column("hazards", "hazards", wrap=30),
        *_SOURCED,
    )
    rows = tuple(
        (
            m.name,
            *_bounds(m.conductivity),
            *_bounds(m.conductivity_in_plane),
            m.range_meaning,
            m.law.reference,
            m.density,
            m.heat_capacity,
            None if m.solidus is None else round(m.solidus - _ZERO_CELSIUS, 6),
            None if m.max_service is None else round(m.max_service - _ZERO_CELSIUS, 6),
            m.electrical,
            m.aluminium_attack,
            m.hazards or None,
            m.source,
            m.provenance,
        )
        for m in all_materials()
    )
    return Table(columns, rows, "Materials", (_LIMITS, "provenance is that of the typical k"))


def interfaces() -> Table:
    """Return a table of the shipped interface classes, a row a place, for reading."""
    columns = (
        Column("name", "interface"),
        Column("place", "place"),
        Column("r", "r [mm²·K/W]"),
        Column("r_low", "r low"),
        Column("r_high", "r high"),
        Column("bond_line", "bond line [µm]"),
        Column("bond_line_low", "bond line low"),
        Column("bond_line_high", "bond line high"),
        Column("k", "k [W/(m K)]"),
        Column("k_low", "k low"),
        Column("k_high", "k high"),
        Column("contact", "contact [mm²·K/W]"),
        Column("contact_basis", "contact from", wrap=30),
        Column("mount_sigma_ln", "mount sd of ln r"),
        Column("demountable", "demountable"),
        Column("hazards", "hazards", wrap=30),
        *_SOURCED,
    )
    rows = tuple(
        (
            c.name,
            row.place,
            *_bounds(row.resistance, _MICRO),
            *_bounds(row.bond_line, _MICRO),
            *_bounds(row.conductivity),
            row.contact_resistance * _MICRO,
            row.contact_basis,
            row.mount_sigma_ln,
            row.demountable,
            row.hazards or None,
            row.source,
            row.provenance,
        )
        for c in all_interfaces()
        for row in c.rows
    )
    return Table(columns, rows, "Interface classes", (_LIMITS, "r is the specific resistance of the whole joint"))


def effects() -> Table:
    """Return a table of documented effects on joints: facts with their sources."""
    columns = (
        Column("key", "effect"),
        Column("description", "of what", wrap=30),
        Column("formula", "what is known", wrap=70),
        Column("note", "note", wrap=30),
        *_SOURCED,
        Column("provenance_detail", "value by value", wrap=40),
    )
    rows = tuple(tuple(r.text(c.key) or None for c in columns) for r in _records("effects.csv"))
    return Table(columns, rows, "Effects on joints")
