"""How long to soak: the stack's own seconds, the loop's minutes, and what is left of them in die minus coolant."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..catalogue import fluid
from ..errors import InputError
from ..laws.soak import loop_time_constant, ramp_lag, slowest_time_bound, time_to_drift, time_to_within
from ..operating import OperatingPoint
from ..stack.cooling import AirTower
from ..stack.parts import Die, Layer
from ..stack.stack import Stack
from ..tables import Column, Table
from ..units import Value, ValueLike, parse

__all__ = ["Soak", "duration", "soak_of", "stack_time"]

VOLUME, CONDUCTANCE = "1.2 L (x/ 1.5)", "25 W/K (x/ 1.5)"
"""Of a loop of which nothing is told: 0.6 to 3 L, and 16 to 55 W/K (assumed; *common practice, no source*)."""
TOWER_CAPACITY = 800.0
"""Of an air tower, which stands for the loop (assumed; *common practice, no source*). [J/K]"""
LARGE = 3.6e6
"""Heat capacity of a volume where the material's is not known: nickel's 4.0e6, copper's 3.4e6, silicon's 1.6e6
bracket it (assumed). [J/(m³ K)]"""
DRIFT = 0.1 / 60
"""Drift of the coolant below which a log is usually begun (*common practice, no source*). [K/s]"""


def duration(seconds: float) -> str:
    """Return a time as people say it: in seconds below two minutes, else in minutes."""
    if seconds < 120:
        return f"{seconds:.1f} s" if seconds < 10 else f"{seconds:.0f} s"
    return f"{seconds / 60:.1f} min" if seconds < 600 else f"{seconds / 60:.0f} min"


@dataclass(frozen=True)
class Soak:
    """Times of a bench, and how long to wait after each change of the load.

    Attributes
    ----------
    loop, loop_upper : float
        Time constant of the loop: middle, and upper end of what is known of it (two standard deviations). [s]
    stack : float
        Upper bound for the slowest time constant of die, lid and plate. [s]
    rise : float
        Of the die over the coolant. [K]
    step : float
        By how much the coolant warms from cold, at the middle values. [K]
    within : float
        What counts as settled. [K]
    source : str
        Where volume and conductance come from.
    tower : bool
        Whether an air tower stands for the loop: it lies between die and air, and must settle itself.
    """

    loop: float
    loop_upper: float
    stack: float
    rise: float
    step: float
    within: float
    source: str
    tower: bool = False

    @property
    def settled(self) -> float:
        """Until the stack itself is within `within` of the end over a coolant that stands still. [s]"""
        return float(time_to_within(self.rise, self.within, self.stack))

    @property
    def coolant(self) -> float:
        """Until the coolant is within `within` of the end, for the upper end of the loop's time constant. [s]"""
        return float(time_to_within(self.step, self.within, self.loop_upper))

    @property
    def drift(self) -> float:
        """Until the coolant drifts less than 0.1 K a minute. [s]"""
        return float(time_to_drift(self.step, DRIFT, self.loop_upper))

    @property
    def difference(self) -> float:
        """Until die minus coolant is within `within`: the stack has settled, and lags the coolant by less. [s]"""
        if self.tower:
            return self.coolant
        lags = float(time_to_drift(self.step, self.within / self.stack, self.loop_upper))
        return max(self.settled, lags)

    @property
    def advice(self) -> float:
        """What to wait at most: until die minus coolant is settled and the coolant drifts less than 0.1 K/min. [s]"""
        if self.tower:
            return self.difference
        return max(self.difference, self.drift)

    @property
    def table(self) -> Table:
        """A row a wait."""
        x = f"{self.within:g} K"
        name = "air cooler" if self.tower else "coolant loop"
        rows: list[tuple[str, float]] = [
            ("slowest time constant of die, lid and plate (upper bound)", self.stack),
            (f"time constant of the {name}", self.loop),
        ]
        if not self.tower:
            rows += [
                ("… upper end of what is known of it", self.loop_upper),
                (f"die, lid and plate within {x} over a steady coolant", self.settled),
                ("coolant drifts below 0.1 K/min after a cold start", self.drift),
                (f"coolant within {x} after a cold start (what a temperature alone needs)", self.coolant),
            ]
        rows.append((f"die minus coolant within {x} after a cold start", self.difference))
        columns = Column("what", "what"), Column("seconds", "time", align="right")
        shown = tuple((what, duration(seconds)) for what, seconds in rows)
        if self.tower:
            return Table(columns, shown, "Soak", (self.source,))
        lag = float(ramp_lag(DRIFT, self.stack))
        notes = (
            f"loop: {self.source}; the coolant warms by {self.step:.1f} K from cold",
            f"at a drift of 0.1 K/min die minus coolant lags by at most {lag:.2g} K",
        )
        return Table(columns, shown, "Soak", notes)


def soak_of(
    stack: Stack, point: OperatingPoint, *, volume: ValueLike | None, conductance: ValueLike | None, within: ValueLike
) -> Soak:
    """Return the times of a bench.

    Parameters
    ----------
    stack : Stack
        An air tower has no loop: its own heat capacity and its resistance stand for it.
    point : OperatingPoint
        Of the stack.
    volume : value, optional
        Coolant in the loop.
    conductance : value, optional
        Heat to the room per kelvin of the coolant above it; a radiator's resistance in the stack stands for it.
    within : value
        What counts as settled.

    Raises
    ------
    InputError
        A volume, conductance or distance that is not above zero; a volume for an air tower.
    """
    x = parse(within, "temperature difference", "within").si
    if x <= 0:
        raise InputError(f"{within} is no distance", where="within", expected="such as '0.1 K'")
    own, rise, power = stack_time(stack, point), float(point.hottest_mean_rise[0]), float(point.total[0])
    coolant = stack.coolant
    tower = isinstance(coolant.model, AirTower) or (coolant.reference == "ambient" and coolant.radiator is None)
    if tower:
        if volume is not None:
            raise InputError("the stack has no loop", where="loop_volume", expected="nothing for an air cooler")
        # what the tower is over the air is part of the stack's own rise; its metal follows with C R
        tau = max(TOWER_CAPACITY * rise / power, own)
        told = "air cooler of 0.8 kJ/K (assumed; common practice, no source), at most the die's own K/W above the air"
        return Soak(tau, tau, own, rise, rise, x, told, tower=True)
    words = []
    litres = _positive(volume or VOLUME, "volume", "loop_volume")
    words.append(f"{litres}{'' if volume is not None else ' (assumed)'}")
    given, word = conductance, ""
    radiator = coolant.radiator
    if given is None and radiator is not None and radiator.resistance is not None:
        given, word = (1 / radiator.resistance.si, "W/K"), " (the stack's radiator)"
    if given is None:
        given, word = CONDUCTANCE, " (assumed)"
    G = _positive(given, "exchanger conductance", "loop_conductance")
    words.append(f"{G}{word}")
    liquid = fluid(coolant.fluid if coolant.fluid not in (None, "air") else "water").at(float(point.coolant[0]))
    tau = float(loop_time_constant(litres.si, liquid.density, liquid.heat_capacity, G.si))
    spread = math.hypot(_log_sd(litres), _log_sd(G))
    return Soak(tau, tau * math.exp(2 * spread), own, rise, power / G.si, x, ", ".join(words))


def _positive(value: ValueLike, dimension: str, where: str) -> Value:
    parsed = parse(value, dimension, where)
    if parsed.si <= 0:
        raise InputError(f"{parsed} is not possible", where=where, expected="above zero")
    return parsed


def _log_sd(value: Value) -> float:
    """Return the standard deviation of the logarithm, to first order where the value is not lognormal."""
    return math.log(value.spread) if value.kind == "lognormal" else value.standard_uncertainty / value.si


def stack_time(stack: Stack, point: OperatingPoint) -> float:
    """Return an upper bound for the slowest time constant of dies, lid and plate over the coolant. [s]

    Sum of heat capacity times resistance to the coolant (`laws.soak.slowest_time_bound`). A part's resistance is taken
    where the dies' heat enters it; its own heat, spread over it, would warm it less.
    """
    power = float(point.total[0])
    capacities, resistances, seen = [], [], set()
    for die, rows in point.model.rows.items():
        sides = [side.si for side in _die(stack, die).footprint]
        for row in rows:
            part = stack.part(row.part)
            if not isinstance(part, Die | Layer):
                continue
            if part.footprint is not None:  # a layer without one is as wide as what lies below
                sides = [side.si for side in part.footprint]
            if row.part in seen:
                continue
            seen.add(row.part)
            metal = part.material
            known = metal.density is not None and metal.heat_capacity is not None
            per_volume = metal.density * metal.heat_capacity if known else LARGE  # type: ignore[operator]
            capacities.append(sides[0] * sides[1] * part.thickness.si * per_volume)
            own = float(point.die_power(die)[0]) if isinstance(part, Die) else power
            resistances.append(float(point.below(row)[0]) / own)
    return slowest_time_bound(capacities, resistances)


def _die(stack: Stack, name: str) -> Die:
    return next(die for die in stack.dies if die.name == name)
