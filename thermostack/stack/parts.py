"""The parts of a stack: frozen descriptions with units, each checked on its own when it is made."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from ..catalogue import InterfaceClass, Material, interface_class, material
from ..errors import InputError
from ..units import Value, ValueLike
from . import fields
from .board import Board
from .coolant import Coolant
from .fields import Pair, PairLike
from .fields import optional as _optional
from .fields import put as _set
from .sensor import Sensor

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

Law = Literal["exponential", "linear"]


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
    class's and are then shown as *assumed*. In place of the bond line, the `pressure` that sets it may be given, with
    the `yield_stress` of the paste, which defaults to the class's where that is known.

    Parameters
    ----------
    name : str
        Unique in the stack.
    interface : str or InterfaceClass, optional
        Class, such as ``"indium solder"``; see ``thermostack.interfaces()``.
    resistance : value, optional
        Specific resistance of the whole joint. [mm²·K/W]
    bond_line : value, optional
        Thickness of the joint, where the faces are closest.
    pressure : value, optional
        Force over the area of the joint; sets the bond line of a paste (`laws.bond_line.pressed_bond_line`, from
        memory, to ±20 %, which is an input of its own). Its range, 70 kPa to 1 MPa, is warned of.
    yield_stress : value, optional
        Of the paste that the pressure squeezes.
    gap : value, optional
        What hard parts leave between the faces, such as a lid that stands on its rim: a bond line does not get
        thinner than that.
    bow : value, optional
        Gap at the corners of the joint minus gap in its middle, both faces together: above zero where they touch in
        the middle, below zero where they touch at the corners. Adds its mean over the die to the bond line. Of a
        spherical bow; see `laws.gaps`, also for one that was read over a larger face.
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
    pressure: Value | None
    yield_stress: Value | None
    gap: Value | None
    bow: Value | None
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
        pressure: ValueLike | None = None,
        yield_stress: ValueLike | None = None,
        gap: ValueLike | None = None,
        bow: ValueLike | None = None,
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
            pressure=_optional(pressure, "pressure", f"{name}.pressure"),
            yield_stress=_optional(yield_stress, "yield stress", f"{name}.yield_stress"),
            gap=_optional(gap, "bond line", f"{name}.gap", zero=True, hint="zero or more, such as '80 um'"),
            bow=None if bow is None else fields.bow(bow, f"{name}.bow"),
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
        one_way = "either a resistance, or a bond line (or the pressure that sets it) with conductivity and contact"
        wanted = ("bond_line", "pressure", "yield_stress", "gap", "bow", "conductivity", "contact")
        details = [f for f in wanted if getattr(self, f) is not None]
        if self.resistance is not None and details:
            raise InputError(f"both resistance and {details[0]} are given", where=self.name, expected=one_way)
        if self.resistance is not None or (self.interface is not None and not details):
            return
        if self.bond_line is not None and (self.pressure is not None or self.yield_stress is not None):
            pressed = "pressure" if self.pressure is not None else "yield_stress"
            raise InputError(
                f"both bond_line and {pressed} are given",
                where=self.name,
                expected="one of the two: the pressure sets the bond line",
            )
        if self.bond_line is None and self.pressure is None:
            lacking = "pressure" if "yield_stress" in details else "bond line"
            given = f"{details[0]} without a {lacking}" if details else "neither a class nor a resistance is given"
            right = f"a class such as 'ceramic paste', or {one_way}"
            if details and details[0] in ("gap", "bow"):
                right = "bond_line='30 um', or pressure='200 kPa' of a paste, beside it"
                if self.interface is not None:
                    right += ": the resistance of a class holds for joints of usual flatness"
            raise InputError(given, where=self.name, expected=right)
        self._check_without_class()

    def _check_without_class(self) -> None:
        needed = ("conductivity", "contact", *(("yield_stress",) if self.pressure is not None else ()))
        lacking = next((field for field in needed if getattr(self, field) is None), None)
        if self.interface is not None or lacking is None:
            return
        given = "bond line" if self.bond_line is not None else "pressure"
        raise InputError(
            f"a {given} without {lacking}, and no class that it could come from",
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


Part: TypeAlias = "Die | Layer | Interface | Coolant | Board | Sensor | Region | Patch"


def _material(given: str | Material, name: str) -> Material:
    try:
        return material(given) if isinstance(given, str) else given
    except InputError as error:
        raise error.at(f"{name}.material") from error
