"""The parts of a stack: frozen descriptions with units, each checked on its own when it is made."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from ..catalogue import InterfaceClass, Material, interface_class, material
from ..errors import InputError
from ..units import Value, ValueLike, parse
from . import fields
from .fields import Pair, PairLike

__all__ = [
    "Board",
    "Coolant",
    "Die",
    "Interface",
    "Joint",
    "Layer",
    "Leakage",
    "Part",
    "Patch",
    "PowerMap",
    "Region",
    "Sensor",
]

Reference = Literal["inlet", "mean", "ambient"]
Reading = Literal["rounding", "truncating", "exact"]
Law = Literal["exponential", "linear"]


def _set(part: object, **values: object) -> None:
    for field, value in values.items():
        object.__setattr__(part, field, value)


@dataclass(frozen=True, init=False)
class Region:
    """A rectangle of a die's active face that makes its own power, on top of what the whole face makes.

    Parameters
    ----------
    name : str
        Unique in the stack.
    power : value
        Power of the region. [W]
    corner : pair of values
        Its lower left corner, counted from the die's lower left, seen from the cooler looking down on the board.
    size : pair of values
        Extent along x and y.
    """

    name: str
    power: Value
    corner: Pair
    size: Pair

    def __init__(self, name: str, power: ValueLike, corner: PairLike, size: PairLike) -> None:
        name = fields.name_of(name, "region")
        _set(
            self,
            name=name,
            power=fields.positive(power, "power", f"{name}.power", zero=True),
            corner=fields.corner(corner, f"{name}.corner"),
            size=fields.footprint(size, f"{name}.size"),
        )


@dataclass(frozen=True, init=False)
class PowerMap:
    """Total power of a die and the regions that make part of it; the rest is spread evenly over the whole face.

    Parameters
    ----------
    total : value
        Power of the die. [W]
    regions : iterable of Region
        May overlap; together they make at most `total`. When the total is changed by its path (``die.power``), the
        shape of the map is kept.
    """

    total: Value
    regions: tuple[Region, ...]

    def __init__(self, total: ValueLike, regions: Iterable[Region] = ()) -> None:
        _set(self, total=fields.positive(total, "power", "power"), regions=tuple(regions))
        made = sum(region.power.si for region in self.regions)
        if made > self.total.si * (1 + 1e-9):
            raise InputError(
                f"the regions make {made:g} W, more than the whole die ({self.total})",
                where="power",
                expected=f"a total of at least {made:g} W, or less in the regions",
            )

    @property
    def rest(self) -> float:
        """Power that is spread evenly over the whole face. [W]"""
        return max(self.total.si - sum(region.power.si for region in self.regions), 0.0)


@dataclass(frozen=True, init=False)
class Leakage:
    """The part of a die's power that grows with its temperature, spread evenly over its face.

    Only for a power that is set by a workload: a power that was *measured* already contains its leakage.

    Parameters
    ----------
    power : value
        Leakage at the temperature `at`, contained in the die's power. [W]
    at : value
        Die mean temperature for which the die's power is stated.
    e_fold : value
        Kelvin in which it grows by a factor e; 40 to 70 K are usual (from memory, weak).
    law : {"exponential", "linear"}
        The linear law is the tangent of the exponential one at `at`.
    """

    power: Value
    at: Value
    e_fold: Value
    law: Law

    def __init__(self, power: ValueLike, at: ValueLike, e_fold: ValueLike = "55 K", law: Law = "exponential") -> None:
        if law not in ("exponential", "linear"):
            raise InputError(f"{law!r} is not known", where="leakage.law", expected="exponential or linear")
        _set(
            self,
            power=fields.positive(power, "power", "leakage_power"),
            at=fields.temperature(at, "leakage_at"),
            e_fold=fields.positive(e_fold, "temperature difference", "leakage_e_fold"),
            law=law,
        )


@dataclass(frozen=True, init=False)
class Patch:
    """A rectangle of a joint with a specific resistance of its own: a void, a delaminated corner, a dry spot.

    Parameters
    ----------
    name : str
        Unique in the stack.
    corner, size : pair of values
        Lower left corner, counted from the lower left of the joint, and extent.
    resistance : value
        Specific resistance. A gap of thickness t filled with air has t/k with k = 0.026 W/m/K: 0.25 mm of air is
        9600 mm²·K/W.
    """

    name: str
    corner: Pair
    size: Pair
    resistance: Value

    def __init__(self, name: str, corner: PairLike, size: PairLike, resistance: ValueLike) -> None:
        name = fields.name_of(name, "patch")
        _set(
            self,
            name=name,
            corner=fields.corner(corner, f"{name}.corner"),
            size=fields.footprint(size, f"{name}.size"),
            resistance=fields.positive(resistance, "specific resistance", f"{name}.resistance"),
        )


@dataclass(frozen=True, init=False)
class Interface:
    """A joint between two solids: solder, liquid metal, paste, a pad.

    Either by class alone (its specific resistance and spread come with the class and with the place in which the
    joint stands), or by `resistance`, or by `bond_line` with `conductivity` and `contact`, which default to the
    class's and are then shown as *assumed*.

    Parameters
    ----------
    name : str
        Unique in the stack.
    interface : str or InterfaceClass, optional
        Class, such as ``"indium solder"``; see ``thermostack.interfaces()``.
    resistance : value, optional
        Specific resistance of the whole joint. [mm²·K/W]
    bond_line : value, optional
        Thickness of the joint.
    conductivity, contact : value, optional
        Of the filling, and contact resistance of both faces together; `contact` is zero only when written so.
    void_fraction : value, optional
        Share of the area that is bridged by many small voids. Zero if not given.
    footprint, centre : pair of values, optional
        Area that the joint covers where it is smaller than the faces it joins, and where its centre lies.
    patches : iterable of Patch
        Rectangles with a resistance of their own.
    mount : str
        Which making of this joint it is; mods change it when they open the joint.
    """

    name: str
    interface: InterfaceClass | None
    resistance: Value | None
    bond_line: Value | None
    conductivity: Value | None
    contact: Value | None
    void_fraction: Value | None
    footprint: Pair | None
    centre: Pair
    patches: tuple[Patch, ...]
    mount: str

    def __init__(
        self,
        name: str,
        interface: str | InterfaceClass | None = None,
        *,
        resistance: ValueLike | None = None,
        bond_line: ValueLike | None = None,
        conductivity: ValueLike | None = None,
        contact: ValueLike | None = None,
        void_fraction: ValueLike | None = None,
        footprint: PairLike | None = None,
        centre: PairLike = ("0 mm", "0 mm"),
        patches: Iterable[Patch] = (),
        mount: str = "first",
    ) -> None:
        name = fields.name_of(name, "interface")
        try:
            known = interface_class(interface) if isinstance(interface, str) else interface
        except InputError as error:
            raise error.at(f"{name}.interface") from error
        _set(
            self,
            name=name,
            interface=known,
            resistance=_optional(
                resistance,
                "specific resistance",
                f"{name}.resistance",
                hint="a value above zero; leave the interface out for perfect contact",
            ),
            bond_line=_optional(bond_line, "bond line", f"{name}.bond_line"),
            conductivity=_optional(conductivity, "conductivity", f"{name}.conductivity"),
            contact=_optional(contact, "specific resistance", f"{name}.contact", zero=True),
            void_fraction=None if void_fraction is None else fields.fraction(void_fraction, f"{name}.void_fraction"),
            footprint=None if footprint is None else fields.footprint(footprint, f"{name}.footprint"),
            centre=fields.position(centre, f"{name}.centre"),
            patches=tuple(patches),
            mount=str(mount),
        )
        self._check_enough()

    def _check_enough(self) -> None:
        one_way = "either a resistance, or a bond line with conductivity and contact"
        by_bond_line = [f for f in ("bond_line", "conductivity", "contact") if getattr(self, f) is not None]
        if self.resistance is not None and by_bond_line:
            raise InputError(f"both resistance and {by_bond_line[0]} are given", where=self.name, expected=one_way)
        if self.resistance is not None or (self.interface is not None and not by_bond_line):
            return
        if self.bond_line is None:
            given = (
                f"{by_bond_line[0]} without a bond line"
                if by_bond_line
                else "neither a class nor a resistance is given"
            )
            raise InputError(given, where=self.name, expected=f"a class such as 'ceramic paste', or {one_way}")
        if self.interface is None and (self.conductivity is None or self.contact is None):
            lacking = "conductivity" if self.conductivity is None else "contact"
            raise InputError(
                f"a bond line without {lacking}, and no class that it could come from",
                where=self.name,
                expected=f"a class such as 'ceramic paste', or {lacking} (a contact may be '0 mm^2*K/W')",
            )


@dataclass(frozen=True, init=False)
class Layer:
    """A solid plate: a lid, a cold plate, a substrate, a plating.

    Parameters
    ----------
    name : str
        Unique in the stack.
    material : str or Material
        Such as ``"copper"``; see ``thermostack.materials()``.
    thickness : value
    footprint : pair of values, optional
        Sides along x and y. A layer without one is as wide as what lies below it (a plating).
    centre : pair of values
        Where its centre lies, from the centre of the stack.
    conductivity, conductivity_in_plane : value, optional
        At 300 K, in place of the material's: through the plate, and along it (the same where not given).
    """

    name: str
    material: Material
    thickness: Value
    footprint: Pair | None
    centre: Pair
    conductivity: Value | None
    conductivity_in_plane: Value | None

    def __init__(
        self,
        name: str,
        material: str | Material,
        thickness: ValueLike,
        footprint: PairLike | None = None,
        *,
        centre: PairLike = ("0 mm", "0 mm"),
        conductivity: ValueLike | None = None,
        conductivity_in_plane: ValueLike | None = None,
    ) -> None:
        name = fields.name_of(name, "layer")
        _set(
            self,
            name=name,
            material=_material(material, name),
            thickness=fields.positive(thickness, "length", f"{name}.thickness"),
            footprint=None if footprint is None else fields.footprint(footprint, f"{name}.footprint"),
            centre=fields.position(centre, f"{name}.centre"),
            conductivity=_optional(conductivity, "conductivity", f"{name}.conductivity"),
            conductivity_in_plane=_optional(conductivity_in_plane, "conductivity", f"{name}.conductivity_in_plane"),
        )


Joint: TypeAlias = "Interface | Layer"


@dataclass(frozen=True, init=False)
class Die:
    """A die: it makes its power on its lower, active face.

    Parameters
    ----------
    name : str
        Unique in the stack.
    material : str or Material
    thickness : value
    footprint : pair of values
    power : value or PowerMap
    joint : Interface, Layer or sequence of them
        What binds the die to what lies above, from the die upwards, for instance a plating and an interface.
    centre : pair of values
        Where its centre lies, from the centre of the stack.
    mirrored : bool
        The regions were read from a picture taken from the active side (from the board): x is turned round.
    conductivity : value, optional
        At 300 K, in place of the material's.
    leakage : Leakage, optional
        How part of the power grows with temperature; none if not given, as for a power that was measured.
    """

    name: str
    material: Material
    thickness: Value
    footprint: Pair
    power: PowerMap
    joint: tuple[Joint, ...]
    centre: Pair
    mirrored: bool
    conductivity: Value | None
    leakage: Leakage | None

    def __init__(
        self,
        name: str,
        material: str | Material,
        thickness: ValueLike,
        footprint: PairLike,
        power: ValueLike | PowerMap,
        joint: Joint | Sequence[Joint] = (),
        *,
        centre: PairLike = ("0 mm", "0 mm"),
        mirrored: bool = False,
        conductivity: ValueLike | None = None,
        leakage: Leakage | None = None,
    ) -> None:
        name = fields.name_of(name, "die")
        if not isinstance(mirrored, bool):
            raise InputError(f"{mirrored!r} is not true or false", where=f"{name}.mirrored", expected="True or False")
        try:
            power_map = power if isinstance(power, PowerMap) else PowerMap(power)
        except InputError as error:
            raise error.at(name) from error
        _set(
            self,
            name=name,
            material=_material(material, name),
            thickness=fields.positive(thickness, "length", f"{name}.thickness"),
            footprint=fields.footprint(footprint, f"{name}.footprint"),
            power=power_map,
            joint=(joint,) if isinstance(joint, Interface | Layer) else tuple(joint),
            centre=fields.position(centre, f"{name}.centre"),
            mirrored=mirrored,
            conductivity=_optional(conductivity, "conductivity", f"{name}.conductivity"),
            leakage=leakage,
        )
        if leakage is not None and leakage.power.si > power_map.total.si:
            raise InputError(
                f"{leakage.power} leak, more than the die's power of {power_map.total}",
                where=f"{name}.leakage_power",
                expected=f"at most {power_map.total}",
            )


@dataclass(frozen=True, init=False)
class Coolant:
    """What carries the heat away at the top face, and where its temperature is read.

    Parameters
    ----------
    temperature : value
        Coolant temperature, as read at `reference`.
    conductance : value, optional
        Heat flow per wetted area and kelvin. [kW/m²/K]
    resistance : value, optional
        Coolant to top face, over the wetted area, in place of a conductance. [K/W] It must not contain the plate
        itself, which is a layer.
    wetted : pair of values, optional
        Area that the coolant reaches; the whole top face if not given.
    centre : pair of values
        Where the centre of the wetted area lies.
    reference : {"inlet", "mean", "ambient"}
        Where the temperature is read.
    """

    temperature: Value
    conductance: Value | None
    resistance: Value | None
    wetted: Pair | None
    centre: Pair
    reference: Reference

    def __init__(
        self,
        temperature: ValueLike,
        *,
        conductance: ValueLike | None = None,
        resistance: ValueLike | None = None,
        wetted: PairLike | None = None,
        centre: PairLike = ("0 mm", "0 mm"),
        reference: Reference = "inlet",
    ) -> None:
        if (conductance is None) == (resistance is None):
            given = "neither" if conductance is None else "both"
            raise InputError(
                f"{given} of conductance and resistance given",
                where="coolant",
                expected="one of them, such as conductance='35 kW/m^2/K' or resistance='0.03 K/W'",
            )
        if reference not in ("inlet", "mean", "ambient"):
            raise InputError(
                f"{reference!r} is not known", where="coolant.reference", expected="inlet, mean or ambient"
            )
        _set(
            self,
            temperature=fields.temperature(temperature, "coolant.temperature"),
            conductance=_optional(conductance, "conductance", "coolant.conductance"),
            resistance=_optional(resistance, "resistance", "coolant.resistance"),
            wetted=None if wetted is None else fields.footprint(wetted, "coolant.wetted"),
            centre=fields.position(centre, "coolant.centre"),
            reference=reference,
        )

    name = "coolant"


@dataclass(frozen=True, init=False)
class Board:
    """The path from the active faces of all dies through the substrate to the board.

    Parameters
    ----------
    resistance : value
        From the active faces of all dies together to the board; dies share it by area. [K/W]
    temperature : value, optional
        Of the board; the coolant's if not given.
    """

    resistance: Value
    temperature: Value | None

    def __init__(self, resistance: ValueLike, temperature: ValueLike | None = None) -> None:
        _set(
            self,
            resistance=fields.positive(resistance, "resistance", "board.resistance"),
            temperature=None if temperature is None else fields.temperature(temperature, "board.temperature"),
        )

    name = "board"


@dataclass(frozen=True, init=False)
class Sensor:
    """Something a log holds and a stack predicts.

    Parameters
    ----------
    name : str
        Unique in the stack.
    at : str
        Name of a region or die (mean over its active face), of a layer (mean over its upper face, or the `point` on
        it: a lid thermocouple), or ``"coolant"``.
    point : pair of values, optional
        Where on the layer's upper face it sits, from the centre of the stack.
    offset : value, optional
        What it reads too high at `pivot`. [K]
    slope : value, optional
        By what fraction it reads too steep about `pivot`.
    pivot : value, optional
        Temperature at which only the offset acts; needed with a slope.
    step : value, optional
        Resolution. [K]
    reads : {"rounding", "truncating", "exact"}
        How it gets to a whole step.
    """

    name: str
    at: str
    point: Pair | None
    offset: Value | None
    slope: Value | None
    pivot: Value | None
    step: Value | None
    reads: Reading

    def __init__(
        self,
        name: str,
        at: str,
        *,
        point: PairLike | None = None,
        offset: ValueLike | None = None,
        slope: ValueLike | None = None,
        pivot: ValueLike | None = None,
        step: ValueLike | None = None,
        reads: Reading = "rounding",
    ) -> None:
        name = fields.name_of(name, "sensor")
        if reads not in ("rounding", "truncating", "exact"):
            raise InputError(f"{reads!r} is not known", where=f"{name}.reads", expected="rounding, truncating or exact")
        if slope is not None and pivot is None:
            raise InputError(
                "a slope without a pivot", where=f"{name}.pivot", expected="a temperature, such as '100 degC'"
            )
        _set(
            self,
            name=name,
            at=fields.name_of(at, f"{name}.at"),
            point=None if point is None else fields.position(point, f"{name}.point"),
            offset=None if offset is None else parse(offset, "temperature difference", f"{name}.offset"),
            slope=None if slope is None else parse(slope, "fraction", f"{name}.slope"),
            pivot=None if pivot is None else fields.temperature(pivot, f"{name}.pivot"),
            step=_optional(step, "temperature difference", f"{name}.step"),
            reads=reads,
        )


Part: TypeAlias = "Die | Layer | Interface | Coolant | Board | Sensor | Region | Patch"


def _optional(
    value: ValueLike | None, dimension: str, where: str, *, zero: bool = False, hint: str = ""
) -> Value | None:
    return None if value is None else fields.positive(value, dimension, where, zero=zero, hint=hint)


def _material(given: str | Material, name: str) -> Material:
    try:
        return material(given) if isinstance(given, str) else given
    except InputError as error:
        raise error.at(f"{name}.material") from error
