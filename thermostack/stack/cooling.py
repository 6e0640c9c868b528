"""What the coolant flows through: a fin-channel plate, a jet plate, an air tower, and a radiator that cools a loop.

A description only: sizes with units. What follows from them is worked out in `model.cooling`, by the laws of `laws`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, TypeAlias

from ..catalogue import material
from ..errors import InputError
from ..units import DIMENSIONS, Value, ValueLike, convert, parse
from . import fields

__all__ = ["MODELS", "AirTower", "ChannelPlate", "CoolingModel", "JetPlate", "Radiator", "unwritten"]

PRACTICE = "common practice, no source"
WIDEST = 0.5
"""A fin wider than this is asked back. [m]"""


@dataclass(frozen=True, init=False)
class ChannelPlate:
    """A plate with straight fins over the wetted area, between which a liquid flows.

    The laws are those of ideal fins; `factor` says how much of that the plate reaches.

    Parameters
    ----------
    gap, fin_thickness, fin_height : value
        Gap between two fins, their thickness and their height, for instance 0.2, 0.2 and 2 mm.
    split : bool
        The coolant enters in the middle and leaves at both ends: channels of half the length, with half the flow each.
    along : {"x", "y"}
        Direction of the channels.
    fin_conductivity : value, optional
        Copper's if not given.
    factor : value, optional
        Share of the ideal conductance that the plate reaches, since flow is shared unevenly and fins are joined
        imperfectly; 0.6 within a factor of 1.4 if not given, which is shown as *assumed*.
    """

    gap: Value
    fin_thickness: Value
    fin_height: Value
    split: bool
    along: str
    fin_conductivity: Value | None
    factor: Value | None

    kind: ClassVar[str] = "channel plate"
    sizes: ClassVar[dict[str, str]] = {
        "gap": "length",
        "fin_thickness": "length",
        "fin_height": "length",
        "fin_conductivity": "conductivity",
        "factor": "fraction",
    }
    fluid: ClassVar[str] = "water"
    fin_material: ClassVar[str] = "copper"
    usual_factor: ClassVar[tuple[float, float]] = (0.6, 1.4)

    def __init__(
        self,
        gap: ValueLike,
        fin_thickness: ValueLike,
        fin_height: ValueLike,
        *,
        split: bool = False,
        along: str = "x",
        fin_conductivity: ValueLike | None = None,
        factor: ValueLike | None = None,
    ) -> None:
        if not isinstance(split, bool):
            raise InputError(f"{split!r} is not true or false", where="coolant.split", expected="True or False")
        if along not in ("x", "y"):
            raise InputError(f"{along!r} is no direction", where="coolant.along", expected="'x' or 'y'")
        fields.put(
            self,
            gap=_length(gap, "gap"),
            fin_thickness=_length(fin_thickness, "fin_thickness"),
            fin_height=_length(fin_height, "fin_height"),
            split=split,
            along=along,
            fin_conductivity=fields.optional(fin_conductivity, "conductivity", "coolant.fin_conductivity"),
            factor=fields.optional(factor, "fraction", "coolant.factor"),
        )


@dataclass(frozen=True, init=False)
class JetPlate:
    """A flat face struck by a square array of round jets over the wetted area.

    Parameters
    ----------
    jet_diameter, pitch, stand_off : value
        Of the nozzles, from nozzle to nozzle, and from the nozzles to the face.
    factor : value, optional
        Measured conductance over that of the law; 1 within a factor of 1.2 if not given, shown as *assumed*.
    """

    jet_diameter: Value
    pitch: Value
    stand_off: Value
    factor: Value | None

    kind: ClassVar[str] = "jet plate"
    sizes: ClassVar[dict[str, str]] = {
        "jet_diameter": "length",
        "pitch": "length",
        "stand_off": "length",
        "factor": "fraction",
    }
    fluid: ClassVar[str] = "water"
    fin_material: ClassVar[str] = ""
    usual_factor: ClassVar[tuple[float, float]] = (1.0, 1.2)

    def __init__(
        self, jet_diameter: ValueLike, pitch: ValueLike, stand_off: ValueLike, *, factor: ValueLike | None = None
    ) -> None:
        fields.put(
            self,
            jet_diameter=_length(jet_diameter, "jet_diameter"),
            pitch=_length(pitch, "pitch"),
            stand_off=_length(stand_off, "stand_off"),
            factor=fields.optional(factor, "fraction", "coolant.factor"),
        )


@dataclass(frozen=True, init=False)
class AirTower:
    """Fins on heat pipes, through which a fan blows: from the upper face of the plate to the air of the room.

    Parameters
    ----------
    fins : value
        Number of fins, such as ``50``.
    fin_width, fin_depth : value
        Sides of a fin, across and along the air.
    gap, fin_thickness : value
        Between two fins, and of a fin.
    pipes : value
        Number of times a heat pipe passes through each fin: a bent pipe counts twice.
    pipe_diameter : value
    pipe_resistance : value
        From the plate's upper face through all pipes to the roots of the fins, for instance ``"0.02 .. 0.04 K/W"``
        (common practice, no source). [K/W]
    fin_conductivity : value, optional
        Aluminium's if not given.
    factor : value, optional
        Share of the ideal conductance of the fins that is reached; 0.8 within a factor of 1.2 if not given, shown as
        *assumed*.
    """

    fins: Value
    fin_width: Value
    fin_depth: Value
    gap: Value
    fin_thickness: Value
    pipes: Value
    pipe_diameter: Value
    pipe_resistance: Value
    fin_conductivity: Value | None
    factor: Value | None

    kind: ClassVar[str] = "air tower"
    sizes: ClassVar[dict[str, str]] = {
        "fins": "fraction",
        "fin_width": "length",
        "fin_depth": "length",
        "gap": "length",
        "fin_thickness": "length",
        "pipes": "fraction",
        "pipe_diameter": "length",
        "pipe_resistance": "resistance",
        "fin_conductivity": "conductivity",
        "factor": "fraction",
    }
    fluid: ClassVar[str] = "air"
    fin_material: ClassVar[str] = "aluminium 1050"
    usual_factor: ClassVar[tuple[float, float]] = (0.8, 1.2)

    def __init__(
        self,
        fins: ValueLike,
        fin_width: ValueLike,
        fin_depth: ValueLike,
        gap: ValueLike,
        fin_thickness: ValueLike,
        pipes: ValueLike,
        pipe_diameter: ValueLike,
        pipe_resistance: ValueLike,
        *,
        fin_conductivity: ValueLike | None = None,
        factor: ValueLike | None = None,
    ) -> None:
        fields.put(
            self,
            fins=_count(fins, "fins"),
            fin_width=_extent(fin_width, "fin_width"),
            fin_depth=_extent(fin_depth, "fin_depth"),
            gap=_length(gap, "gap"),
            fin_thickness=_length(fin_thickness, "fin_thickness"),
            pipes=_count(pipes, "pipes"),
            pipe_diameter=_length(pipe_diameter, "pipe_diameter"),
            pipe_resistance=fields.positive(pipe_resistance, "resistance", "coolant.pipe_resistance"),
            fin_conductivity=fields.optional(fin_conductivity, "conductivity", "coolant.fin_conductivity"),
            factor=fields.optional(factor, "fraction", "coolant.factor"),
        )


@dataclass(frozen=True, init=False)
class Radiator:
    """Where a loop gives its heat to the air of the room, so that the coolant warms with the power.

    Parameters
    ----------
    resistance : value, optional
        Coolant into the radiator less air into it, per watt: 350 W per 10 K are ``"0.0286 K/W"``. [K/W]
    conductance : value, optional
        In place of it, with `air_flow`: conductance UA between coolant and air. [W/K] As it is at the described flows;
        it does not follow them.
    air_flow : value, optional
        Air through the core, of all fans together.
    pump_heat : value, optional
        What the pump adds to the loop, usually 5 to 20 W (common practice, no source); none if not given.
    """

    resistance: Value | None
    conductance: Value | None
    air_flow: Value | None
    pump_heat: Value | None

    sizes: ClassVar[dict[str, str]] = {
        "resistance": "resistance",
        "conductance": "exchanger conductance",
        "air_flow": "flow",
        "pump_heat": "power",
    }

    def __init__(
        self,
        *,
        resistance: ValueLike | None = None,
        conductance: ValueLike | None = None,
        air_flow: ValueLike | None = None,
        pump_heat: ValueLike | None = None,
    ) -> None:
        if (resistance is None) == (conductance is None) or (conductance is None) != (air_flow is None):
            raise InputError(
                "what the radiator passes is given not at all, by halves or twice",
                where="coolant.radiator",
                expected="resistance='0.03 K/W', or conductance='60 W/K' with air_flow='120 m^3/h'",
            )
        fields.put(
            self,
            resistance=fields.optional(resistance, "resistance", "coolant.radiator_resistance"),
            conductance=fields.optional(conductance, "exchanger conductance", "coolant.radiator_conductance"),
            air_flow=fields.optional(air_flow, "flow", "coolant.radiator_air_flow"),
            pump_heat=fields.optional(pump_heat, "power", "coolant.radiator_pump_heat", zero=True),
        )


CoolingModel: TypeAlias = "ChannelPlate | JetPlate | AirTower"
MODELS: dict[str, type[ChannelPlate] | type[JetPlate] | type[AirTower]] = {
    model.kind: model for model in (ChannelPlate, JetPlate, AirTower)
}
"""The models by the name that stands for them in a file."""


def unwritten(model: CoolingModel) -> Iterator[tuple[str, Value, str]]:
    """Yield field, value and source of what a model was not told, and which is assumed."""
    if not isinstance(model, JetPlate) and model.fin_conductivity is None:
        metal = material(model.fin_material)
        k = metal.conductivity
        number = float(f"{convert(k.typical, 'conductivity'):.15g}")
        value = Value(number, DIMENSIONS["conductivity"].shown_in, "conductivity", "lognormal", round(k.factor, 4))
        yield "fin_conductivity", value, f"{metal.name}: {metal.source} ({metal.provenance})"
    if model.factor is None:
        middle, spread = model.usual_factor
        yield "factor", Value(middle, "", "fraction", "lognormal", spread), PRACTICE


def _length(value: ValueLike, field: str) -> Value:
    return fields.positive(value, "length", f"coolant.{field}")


def _extent(value: ValueLike, field: str) -> Value:
    """Return a side of a fin, which may be larger than anything in a stack."""
    parsed = parse(value, "length", f"coolant.{field}")
    if not 0 < parsed.si <= WIDEST:
        right = f"above 0 and at most {WIDEST:g} m, such as '120 mm'"
        raise InputError(f"{str(parsed)!r} is not possible", where=f"coolant.{field}", expected=right)
    return parsed


def _count(value: ValueLike, field: str) -> Value:
    parsed = parse(value, "fraction", f"coolant.{field}")
    if parsed.si < 1:
        raise InputError(f"{str(parsed)!r} is no number of them", where=f"coolant.{field}", expected="1 or more")
    return parsed
