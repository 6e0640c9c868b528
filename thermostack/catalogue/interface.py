"""What a joint of a trade family is worth, by the place in which it is made."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

from thermostack.catalogue.material import AluminiumAttack, Electrical, Material, Provenance
from thermostack.catalogue.ranges import Range, as_range, check_positive
from thermostack.errors import InputError

__all__ = ["PLACES", "InterfaceClass", "InterfaceRow", "Place"]

Place = Literal["die to lid", "die to plate", "lid to plate"]

PLACES: tuple[Place, ...] = get_args(Place)

_NEAREST: dict[str, tuple[Place, ...]] = {
    "die to lid": ("die to lid", "die to plate", "lid to plate"),
    "die to plate": ("die to plate", "die to lid", "lid to plate"),
    "lid to plate": ("lid to plate", "die to plate", "die to lid"),
}
"""Where to look for a row, best first: the place itself, then a joint that shares the die, then one that shares the
cold plate, then the last. A joint on a die is as bowed and as small as any other on a die; that counts for more than
what presses on it."""


@dataclass(frozen=True, kw_only=True)
class InterfaceRow:
    """A joint of one family in one place. SI. ``None`` means not known, or not applicable.

    Parameters
    ----------
    name, key : str
        Such as ``"ceramic paste, die to plate"``, and its short key.
    place : {"die to lid", "die to plate", "lid to plate"}
        Between what the joint is made.
    resistance : Range
        Specific resistance of the whole joint. [m² K/W]
    bond_line : Range, optional
        Bond line thickness. [m]
    conductivity : Range, optional
        Of what fills the joint. [W/(m K)]
    contact_resistance : float
        Both faces together, beside bond line over conductivity. [m² K/W]
    contact_factor : float
        Lognormal factor of one standard deviation of the contact resistance.
    contact_basis : str
        Where the contact resistance comes from, and what is assumed in it.
    mount_sigma_ln : float
        Standard deviation of ln(resistance) between mounts of one joint; 0 for a joint that is never remounted.
    mount_basis : str
        Where that comes from.
    part_sigma_ln : float, optional
        Standard deviation of ln(resistance) between parts, for a joint made in the factory; it is a share of the
        range of `resistance`, and does not add to it.
    bad_mounts : Range, optional
        Share of mounts that come out bad; ``None`` where none are expected beyond `mount_sigma_ln`.
    demountable : bool
        Whether it is made anew when the joint above or below it is opened.
    pressure : tuple of float, optional
        Lowest and highest usual pressure; ``None`` where pressure does not matter or is not known. [Pa]
    yield_stress : Range, optional
        Of a paste that pressure thins; ``None`` where it is not known, or does not set the bond line. [Pa]
    yield_stress_basis : str
        Where it comes from, and what is assumed in it.
    pressure_note, ageing : str
        What else to know; empty for nothing noted.
    material : Material, optional
        What the joint is made of: melting, service temperature, electrical behaviour and hazards are its own.
    source, provenance, provenance_detail, notes : str
        As in `Material`; `provenance` is that of the resistance.
    assumed : str
        Not empty when the row stands in for a place it was not written for: the sentence to show to the user.

    Raises
    ------
    InputError
        Names row and field.
    """

    name: str
    key: str
    place: Place
    resistance: Range
    bond_line: Range | None
    conductivity: Range | None
    contact_resistance: float
    contact_factor: float
    contact_basis: str
    mount_sigma_ln: float
    mount_basis: str
    part_sigma_ln: float | None = None
    bad_mounts: Range | None = None
    demountable: bool
    pressure: tuple[float, float] | None = None
    yield_stress: Range | None = None
    yield_stress_basis: str = ""
    pressure_note: str = ""
    ageing: str = ""
    description: str = ""
    range_meaning: str = "95 % limits"
    material: Material | None = None
    source: str
    provenance: Provenance
    provenance_detail: str = ""
    notes: str = ""
    assumed: str = ""

    def __post_init__(self) -> None:
        if self.place not in PLACES:
            raise InputError(
                f"{self.place!r} is no place", where=f"{self.name}.place", expected=" or ".join(map(repr, PLACES))
            )
        for field in ("resistance", "bond_line", "conductivity", "bad_mounts", "yield_stress"):
            value = getattr(self, field)
            if not isinstance(value, Range) and (field == "resistance" or value is not None):
                raise InputError(f"{value!r} is no Range", where=f"{self.name}.{field}")
        check_positive(self.contact_resistance, f"{self.name}.contact_resistance", zero=True)
        if not check_positive(self.contact_factor, f"{self.name}.contact_factor") >= 1:
            raise InputError(
                f"{self.contact_factor!r} is out of range", where=f"{self.name}.contact_factor", expected="≥ 1"
            )
        check_positive(self.mount_sigma_ln, f"{self.name}.mount_sigma_ln", zero=True)
        if self.part_sigma_ln is not None:
            check_positive(self.part_sigma_ln, f"{self.name}.part_sigma_ln", zero=True)
        if self.bad_mounts is not None and self.bad_mounts.high >= 1:
            raise InputError(f"{self.bad_mounts.high!r}", where=f"{self.name}.bad_mounts", expected="a share below 1")
        if self.pressure is not None:
            low, high = (check_positive(p, f"{self.name}.pressure") for p in self.pressure)
            if low > high:
                raise InputError(f"{self.pressure!r} does not rise", where=f"{self.name}.pressure")
        if self.provenance not in get_args(Provenance):
            raise InputError(f"{self.provenance!r} is not known", where=f"{self.name}.provenance")
        if not self.source.strip():
            raise InputError("no source", where=f"{self.name}.source", expected='a source, or the word "assumed"')

    @property
    def solidus(self) -> float | None:
        """Where what fills the joint begins to melt; a gallium alloy is meant to be above it. [K]"""
        return None if self.material is None else self.material.solidus

    @property
    def max_service(self) -> float | None:
        """Highest temperature of lasting use. [K]"""
        return None if self.material is None else self.material.max_service

    @property
    def electrical(self) -> Electrical | None:
        """Whether what fills the joint can short what it touches."""
        return None if self.material is None else self.material.electrical

    @property
    def conducts_electricity(self) -> bool | None:
        """Whether it conducts at all; ``None`` for not known."""
        return None if self.material is None else self.material.conducts_electricity

    @property
    def aluminium_attack(self) -> AluminiumAttack | None:
        """What it does to aluminium."""
        return None if self.material is None else self.material.aluminium_attack

    @property
    def attacks_aluminium(self) -> bool | None:
        """Whether it attacks aluminium at all; ``None`` for not known."""
        return None if self.material is None else self.material.attacks_aluminium

    @property
    def hazards(self) -> str:
        """Hazards of what fills the joint; empty for nothing noted."""
        return "" if self.material is None else self.material.hazards


@dataclass(frozen=True, kw_only=True)
class InterfaceClass:
    """A trade family of joints, with a row for each place in which it is known.

    Use `InterfaceClass.of` for a joint of your own.

    Parameters
    ----------
    name, key : str
        Such as ``"ceramic paste"``, and its short key.
    rows : tuple of InterfaceRow
        At least one, each of another place.
    aliases : tuple of str
        Further names.
    material : str, optional
        Name of the material, as `thermostack.catalogue.material` knows it.
    any_place : bool
        Whether its one row was chosen by name, and is used wherever the joint stands.
    notes : str
        What to know of the class.

    Raises
    ------
    InputError
        If there is no row, a place stands twice, or `any_place` goes with several rows.
    """

    name: str
    key: str
    rows: tuple[InterfaceRow, ...]
    aliases: tuple[str, ...] = ()
    material: str | None = None
    any_place: bool = False
    notes: str = ""

    def __post_init__(self) -> None:
        places = [row.place for row in self.rows]
        if not places:
            raise InputError("no rows", where=self.name, expected="at least one place")
        if len(set(places)) != len(places):
            raise InputError(f"the places {places} are not unique", where=self.name)
        if self.any_place and len(places) != 1:
            raise InputError(f"{len(places)} rows for any place", where=self.name, expected="one row")

    @classmethod
    def of(
        cls,
        name: str,
        resistance: Range | float | tuple[float, float, float],
        *,
        bond_line: Range | float | tuple[float, float, float] | None = None,
        conductivity: Range | float | tuple[float, float, float] | None = None,
        contact_resistance: float = 0.0,
        contact_factor: float = 1.0,
        mount_sigma_ln: float = 0.0,
        bad_mounts: Range | float | tuple[float, float, float] | None = None,
        demountable: bool = True,
        material: Material | None = None,
        source: str = "given by the user",
        notes: str = "",
    ) -> InterfaceClass:
        """Return a class of your own with one row for any place, from plain SI numbers.

        Parameters
        ----------
        resistance, bond_line, conductivity, bad_mounts : Range, float or (low, typical, high)
            As in `InterfaceRow`; a single number is taken as exact.

        Raises
        ------
        InputError
            Names class and field.
        """

        def ranged(value: Range | float | tuple[float, float, float] | None, field: str) -> Range | None:
            return None if value is None else as_range(value, f"{name}.{field}")

        row = InterfaceRow(
            name=name,
            key=name,
            place="lid to plate",
            resistance=as_range(resistance, f"{name}.resistance"),
            bond_line=ranged(bond_line, "bond_line"),
            conductivity=ranged(conductivity, "conductivity"),
            contact_resistance=contact_resistance,
            contact_factor=contact_factor,
            contact_basis="given by the user",
            mount_sigma_ln=mount_sigma_ln,
            mount_basis="given by the user",
            bad_mounts=ranged(bad_mounts, "bad_mounts"),
            demountable=demountable,
            material=material,
            source=source,
            provenance="given by the user",
            notes=notes,
        )
        return cls(
            name=name, key=name, rows=(row,), material=material.name if material else None, any_place=True, notes=notes
        )

    @property
    def places(self) -> tuple[Place, ...]:
        """Places for which the class has a row."""
        return tuple(row.place for row in self.rows)

    def at(self, place: Place) -> InterfaceRow:
        """Return the row for a place; one that stands in for it says so in its field `assumed`.

        Parameters
        ----------
        place : {"die to lid", "die to plate", "lid to plate"}
            Between what the joint is made.

        Raises
        ------
        InputError
            If there is no such place.

        Notes
        -----
        Without a row for the place, the nearest is taken: one that shares the die, else one that shares the cold
        plate, else the one there is. A class found by the full name of a row, or made by `InterfaceClass.of`, gives
        its row for every place, which the user then has chosen.
        """
        if place not in PLACES:
            raise InputError(
                f"{place!r} is no place", where=f"{self.name}.place", expected=" or ".join(map(repr, PLACES))
            )
        if self.any_place:
            return self.rows[0]
        by_place = {row.place: row for row in self.rows}
        row = next(by_place[p] for p in _NEAREST[place] if p in by_place)
        if row.place == place:
            return row
        return replace(row, assumed=f"no values for {self.name} {place}: those for {row.place} are assumed")

    def pinned(self, row: InterfaceRow) -> InterfaceClass:
        """Return a class that gives this row wherever the joint stands."""
        return replace(self, name=row.name, key=row.key, rows=(row,), aliases=(), any_place=True)
