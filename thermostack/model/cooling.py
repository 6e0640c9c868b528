"""What the coolant does, from the inputs: its film over the wetted area, and how its temperature grows with the heat.

Where the coolant flows through something that is described by its sizes, the film follows from the laws of ducts, fins
and jets, with the properties of the coolant at its temperature under the described power.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..catalogue import CoolerClass, fluid
from ..catalogue.coolant import Properties
from ..errors import InputError
from ..laws.ducts import duct_nusselt, duct_pressure_drop, hydraulic_diameter
from ..laws.exchangers import even_wall_effectiveness, exchanger_resistance
from ..laws.fins import (
    annular_fin_efficiency,
    fin_channel_conductance,
    finned_surface_resistance,
    straight_fin_efficiency,
)
from ..laws.interface import film_resistance
from ..laws.jets import martin_jet_array_nusselt
from ..stack.coolant import Coolant
from ..stack.cooling import ChannelPlate, JetPlate
from ..stack.stack import Stack
from ..units import show
from .rects import Expression, Float, Rect, Values, area

__all__ = ["CoolantLine", "Film", "check_class", "check_liquid", "coolant_line", "film_of", "film_resistance_of"]


@dataclass(frozen=True, eq=False)
class CoolantLine:
    """Temperatures of the coolant over the heat that it takes: `base` plus so many kelvin a watt.

    Attributes
    ----------
    base : ndarray, shape (S,) or ()
        Without heat. [K]
    inlet, film, outlet : ndarray, shape (S,) or ()
        Of the coolant into the block, of what the film refers to, and of the coolant out of it. [K/W]
    """

    base: Float
    inlet: Float
    film: Float
    outlet: Float


@dataclass(frozen=True, eq=False)
class Film:
    """Film over the wetted area, and what it came from.

    Attributes
    ----------
    resistance : ndarray
        Specific resistance. [m² K/W]
    figures : mapping of str to (ndarray, str)
        By name: numbers, and the key of `units.DIMENSIONS` or the unit in which they are shown.
    """

    resistance: Float
    figures: dict[str, tuple[Float, str]] = field(default_factory=dict)


def coolant_line(coolant: Coolant, v: Values) -> CoolantLine:
    """Return the temperatures of the coolant over the heat it takes.

    Raises
    ------
    InputError
        The coolant freezes or boils at its temperature, or the radiator would cool it below the air.
    """
    base, zero = np.asarray(v("coolant.temperature")), np.zeros(())
    if coolant.flow is None:
        return CoolantLine(base, zero, zero, zero)
    per_rate = 1 / (v("coolant.flow") * _rate_per_flow(coolant, base))
    if coolant.radiator is not None:
        outlet = _radiator_resistance(coolant, v, 1 / per_rate, base)
        if np.any(outlet < per_rate):
            raise InputError(
                f"the coolant would leave it colder than the air: {np.max(per_rate):.3g} K/W are its own rise",
                where="coolant.radiator_resistance",
                expected="a larger resistance, or more flow",
            )
        pump = v("coolant.radiator_pump_heat") if "coolant.radiator_pump_heat" in v else 0.0
        base, inlet = base + outlet * pump, outlet - per_rate
    else:
        inlet = -per_rate / 2 if coolant.reference == "mean" else zero
        outlet = inlet + per_rate
    return CoolantLine(base, inlet, _film_line(coolant, inlet, outlet), outlet)


def check_liquid(coolant: Coolant, v: Values, heat: Float) -> None:
    """Refuse a liquid that boils on its way out of the block, with so much heat, shape (S,). [W]"""
    if coolant.flow is not None and coolant.fluid != "air":
        line = coolant_line(coolant, v)
        _properties(coolant, np.asarray(line.base + line.outlet * heat)[np.isfinite(heat)])


def _film_line(coolant: Coolant, inlet: Float, outlet: Float) -> Float:
    """Return the rise of the temperature to which the film refers. [K/W]"""
    model = coolant.model
    if isinstance(model, ChannelPlate | JetPlate):
        return (inlet + outlet) / 2
    if isinstance(model, CoolerClass):
        return {"inlet": inlet, "mean": (inlet + outlet) / 2, "ambient": np.zeros(())}[model.reference]
    return np.zeros(()) if coolant.radiator is None else inlet


def _rate_per_flow(coolant: Coolant, temperature: Float) -> Float:
    """Return density times heat capacity. [J/(m³ K)]"""
    p = _properties(coolant, temperature)
    return np.asarray(p.density * p.heat_capacity)


def _properties(coolant: Coolant, temperature: Float) -> Properties:
    assert coolant.fluid is not None
    try:
        return fluid(coolant.fluid).at(temperature)
    except InputError as error:
        raise error.at("coolant.temperature") from error


def _radiator_resistance(coolant: Coolant, v: Values, rate: Float, air: Float) -> Float:
    if "coolant.radiator_resistance" in v:
        return np.asarray(v("coolant.radiator_resistance"))
    p = fluid("air").at(air)
    air_rate = v("coolant.radiator_air_flow") * p.density * p.heat_capacity
    return exchanger_resistance(v("coolant.radiator_conductance"), rate, air_rate)


def film_resistance_of(stack: Stack, wetted: Rect) -> Expression:
    """Return the specific resistance between the wetted face and the coolant, as an expression of the inputs."""
    return lambda v: film_of(stack, wetted, v).resistance


def film_of(stack: Stack, wetted: Rect, v: Values) -> Film:
    """Return the film over the wetted area.

    Raises
    ------
    InputError
        A size, the flow or the temperature lies where no law holds, or where the coolant freezes or boils.
    """
    coolant = stack.coolant
    if "coolant.conductance" in v:
        return Film(np.asarray(film_resistance(v("coolant.conductance"))))
    if "coolant.resistance" in v:
        return Film(np.asarray(v("coolant.resistance") * area(wetted)(v)))
    line = coolant_line(coolant, v)
    described = sum(v(f"{die.name}.power") for die in stack.dies)
    p = _properties(coolant, np.asarray(line.base + line.film * described))
    try:
        if isinstance(coolant.model, ChannelPlate):
            return _channels(coolant.model, wetted, v, p)
        return _jets(wetted, v, p) if isinstance(coolant.model, JetPlate) else _tower(wetted, v, p)
    except InputError as error:
        raise error.at("coolant") from error


def check_class(coolant: Coolant) -> None:
    """Refuse a class of cooling at a temperature for which it is not meant: its coolant would freeze or boil."""
    model, at = coolant.model, coolant.temperature.si
    if not isinstance(model, CoolerClass) or model.temperatures is None:
        return
    cold, warm = model.temperatures
    if not cold <= at <= warm:
        raise InputError(
            f"a {model.name} is not meant for {show(at, 'temperature')}",
            where="coolant.temperature",
            expected=f"{show(cold, 'temperature')} to {show(warm, 'temperature')}, or another class or a figure",
        )


def _input(name: str, v: Values) -> Float:
    return v(f"coolant.{name}")


def _channels(model: ChannelPlate, wetted: Rect, v: Values, p: Properties) -> Film:
    x0, y0, x1, y1 = (edge(v) for edge in wetted)
    length, width = (x1 - x0, y1 - y0) if model.along == "x" else (y1 - y0, x1 - x0)
    gap, thickness, height = (_input(name, v) for name in ("gap", "fin_thickness", "fin_height"))
    halves = 2 if model.split else 1
    channels = halves * width / (gap + thickness)
    velocity = _input("flow", v) / (channels * gap * height)
    D, aspect = hydraulic_diameter(gap, height), np.minimum(gap, height) / np.maximum(gap, height)
    reynolds, along = velocity * D / p.kinematic_viscosity, length / halves / D
    h = duct_nusselt(reynolds, p.prandtl, aspect, along) * p.conductivity / D
    efficiency = straight_fin_efficiency(h, 2.0, _input("fin_conductivity", v), thickness, height)
    conductance = fin_channel_conductance(h, gap, thickness, height, efficiency) * _input("factor", v)
    return Film(
        np.asarray(1 / conductance),
        {
            "Reynolds number in the channels": (reynolds, ""),
            "film on the fins": (h, "conductance"),
            "fin efficiency": (efficiency, ""),
            "conductance on the wetted area": (conductance, "conductance"),
            "pressure drop, channels alone": (
                duct_pressure_drop(reynolds, aspect, along, p.density, velocity),
                "pressure",
            ),
        },
    )


def _jets(wetted: Rect, v: Values, p: Properties) -> Film:
    D, pitch = _input("jet_diameter", v), _input("pitch", v)
    opening = np.pi * D**2 / 4
    velocity = _input("flow", v) / (area(wetted)(v) / pitch**2 * opening)
    reynolds = velocity * D / p.kinematic_viscosity
    nusselt = martin_jet_array_nusselt(reynolds, p.prandtl, _input("stand_off", v) / D, opening / pitch**2)
    conductance = nusselt * p.conductivity / D * _input("factor", v)
    return Film(
        np.asarray(1 / conductance),
        {
            "velocity of the jets": (velocity, "m/s"),
            "Reynolds number of the jets": (reynolds, ""),
            "conductance on the wetted area": (conductance, "conductance"),
            "pressure of the jets": (p.density * velocity**2 / 2, "pressure"),
        },
    )


def _tower(wetted: Rect, v: Values, p: Properties) -> Film:
    fins, width, depth, gap = (_input(name, v) for name in ("fins", "fin_width", "fin_depth", "gap"))
    pipes, root = _input("pipes", v), _input("pipe_diameter", v) / 2
    velocity = _input("flow", v) / (fins * gap * width)
    D, aspect = hydraulic_diameter(gap, width), np.minimum(gap, width) / np.maximum(gap, width)
    reynolds, along = velocity * D / p.kinematic_viscosity, depth / D
    h = duct_nusselt(reynolds, p.prandtl, aspect, along) * p.conductivity / D
    share = width * depth / pipes  # of a fin for each pipe, taken as round
    efficiency = annular_fin_efficiency(
        h, _input("fin_conductivity", v), _input("fin_thickness", v), root, np.sqrt(share / np.pi)
    )
    fin_area = 2 * fins * pipes * (share - np.pi * root**2)
    surface = _input("factor", v) / finned_surface_resistance(h, 0.0, fin_area, efficiency)
    rate = _input("flow", v) * p.density * p.heat_capacity
    to_air = 1 / (rate * even_wall_effectiveness(surface / rate))
    together = _input("pipe_resistance", v) + to_air
    return Film(
        np.asarray(together * area(wetted)(v)),
        {
            "Reynolds number between the fins": (reynolds, ""),
            "film on the fins": (h, "W/m²/K"),
            "fin efficiency": (efficiency, ""),
            "fins to air": (to_air, "resistance"),
            "plate to air": (together, "resistance"),
            "pressure drop, fins alone": (
                duct_pressure_drop(reynolds, aspect, along, p.density, velocity),
                "Pa",
            ),
        },
    )
