"""States: stacks with their readings, and what the readings should have been for any values of the unknowns.

A reading holds means with their covariance, e = (sensors, power, coolant). Its power and coolant errors are unknowns of
its own; what they say of the sensors' errors (the covariance between them) is taken off, so that what is left is
independent of them. The true power is what was read less the meter's gain, and contains all leakage.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..ensemble import Unknown, Variant, unknowns_of, variables_of_stack, variant_of
from ..ensemble.unknowns import LearnedSampler
from ..errors import InputError, UnknownNameError, suggest
from ..measured.reading import Reading
from ..operating import OperatingPoint
from ..propagate import Normal, Rectangular, Variable, distribution_of
from ..stack.inputs import Input
from ..stack.learned import Learned
from ..stack.stack import Stack
from ..units import Value, parse
from .state import State, mount_of, with_its_mount

__all__ = ["USUAL", "Measured", "StatesModel", "inputs_by_identity", "states_model"]

Float = NDArray[np.float64]

WARMER = 15.0
"""By how much hotter than what was read the emulators are to reach. [K]"""
STEP = 10.0
"""Ends of what the emulators are to reach are rounded outwards to it, so that the next reading finds them built. [K]"""


@dataclass(frozen=True, eq=False)
class Measured:
    """One reading as data of a problem.

    Attributes
    ----------
    reading : Reading
    state, variant : int
        Which state it is of, and which variant predicts it.
    name : str
        For lists: the state's label with level and mount.
    mount : str
        Names the mount by what was made anew for it: alike where the cold plate stayed on.
    probes : tuple of str
        Sensor of the stack (as its readings are named) for each sensor of the reading.
    regression : ndarray, shape (sensors, 2)
        What the scores of power and coolant errors say of the sensors' errors. [K]
    covariance : ndarray, shape (sensors, sensors)
        Of what is left. [K²]
    root : ndarray, shape (2, 2)
        Errors of power [W] and coolant [K] from their scores.
    """

    reading: Reading
    state: int
    variant: int
    name: str
    mount: str
    probes: tuple[str, ...]
    regression: Float
    covariance: Float
    root: Float

    @property
    def run(self) -> tuple[Variable, Variable]:
        """Scores of the errors of power and coolant of this reading."""
        return (
            Variable(f"{self.name}: power error", Normal(0.0, 1.0)),
            Variable(f"{self.name}: coolant error", Normal(0.0, 1.0)),
        )


@dataclass(frozen=True, eq=False)
class StatesModel:
    """What every sensor of every reading should have read, for any values of the unknowns. Travels to processes.

    Attributes
    ----------
    states : tuple of State
    variants : tuple of Variant
        One a mount of a state.
    unknowns : tuple of Unknown
        Of the stacks: lasting and mount inputs.
    measured : tuple of Measured
    common : mapping of str to Variable
        Errors that all readings share: sensors' offsets and slopes, the power meter's gain; and their fixed values.
    fixed : mapping of str to float
        Those without a spread, and pivots. SI.
    assumed : tuple of str
        Sentences: what was assumed of sensors and meter.
    """

    states: tuple[State, ...]
    variants: tuple[Variant, ...]
    unknowns: tuple[Unknown, ...]
    measured: tuple[Measured, ...]
    common: Mapping[str, Variable]
    fixed: Mapping[str, float]
    assumed: tuple[str, ...] = ()

    @cached_property
    def variables(self) -> tuple[Variable, ...]:
        """All that is unknown: inputs of the stacks, errors common to the readings, errors of each reading."""
        inputs = tuple(unknown.variable for unknown in self.unknowns)
        return (*inputs, *self.common.values(), *(v for each in self.measured for v in each.run))

    @property
    def of_sensors(self) -> frozenset[str]:
        """Paths of those that only change what a sensor shows of a temperature."""
        sensors = {sensor for each in self.measured for sensor in each.reading.sensors}
        return frozenset(path for path in self.common if path.rpartition(".")[0] in sensors)

    @cached_property
    def observed(self) -> Float:
        """What the sensors read, reading after reading, shape (D,). [K]"""
        return np.concatenate([each.reading.means[:-2] for each in self.measured])

    @cached_property
    def covariance(self) -> Float:
        """Of `observed`, without the errors of power and coolant and what is common, shape (D, D). [K²]"""
        total = np.zeros((len(self.observed), len(self.observed)))
        for each, rows in zip(self.measured, self.rows, strict=True):
            total[rows, rows] = each.covariance
        return total

    @cached_property
    def rows(self) -> tuple[slice, ...]:
        """Rows of `observed` that belong to each reading."""
        ends = np.cumsum([len(each.probes) for each in self.measured])
        return tuple(
            slice(int(end) - len(each.probes), int(end)) for each, end in zip(self.measured, ends, strict=True)
        )

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Reading and sensor of each row of `observed`."""
        return tuple(f"{each.name}: {sensor}" for each in self.measured for sensor in each.reading.sensors)

    def values(self, samples: Mapping[str, Float], variant: int) -> dict[str, Float]:
        """Return the samples of one variant by its own paths."""
        found = {}
        for unknown in self.unknowns:
            law, x = unknown.variable.distribution, samples[unknown.variable.path]
            for where, path, own in unknown.places:
                if where == variant:
                    found[path] = x if own == law else own.ppf(law.cdf(x))
        return found

    def true(self, samples: Mapping[str, Float], number: int) -> tuple[Float, Float]:
        """Return the true power [W] and coolant temperature [K] of a reading."""
        each = self.measured[number]
        scores = np.stack([np.asarray(samples[v.path]) for v in each.run], axis=-1)
        errors = scores @ each.root.T
        gain = self.shared(samples, "power.gain")
        power = (each.reading.power - errors[..., 0]) / (1.0 + gain)
        coolant = each.reading.coolant - errors[..., 1]
        offset, slope, pivot = (self.shared(samples, f"coolant.{kind}") for kind in ("offset", "slope", "pivot"))
        return power, (coolant - offset + slope * pivot) / (1.0 + slope)

    def shared(self, samples: Mapping[str, Float], path: str) -> Any:
        """Return an error that all readings share, such as ``"power.gain"``; 0 where there is none."""
        return samples[path] if path in self.common else self.fixed.get(path, 0.0)

    def point(self, samples: Mapping[str, Float], number: int, power: Float, coolant: Float) -> OperatingPoint:
        """Return the operating points of a reading's stack under a total power and a coolant temperature."""
        variant = self.variants[self.measured[number].variant]
        values = self.values(samples, self.measured[number].variant)
        described = {die.name: die.power.total.si for die in variant.stack.dies}
        whole = sum(described.values())
        values |= {f"{die}.power": power * (watts / whole) for die, watts in described.items()}
        return variant.point({**values, "coolant.temperature": coolant})

    def sensed(self, samples: Mapping[str, Float], number: int, point: OperatingPoint) -> Float:
        """Return what the sensors of a reading show at an operating point, shape (S, sensors). [K]"""
        each = self.measured[number]
        shown = {name: temperature for name, _, temperature in point.readings()}
        scores = np.stack([np.asarray(samples[v.path]) for v in each.run], axis=-1)
        off = scores @ each.regression.T
        columns = []
        for sensor, probe in zip(each.reading.sensors, each.probes, strict=True):
            offset, slope, pivot = (self.shared(samples, f"{sensor}.{kind}") for kind in ("offset", "slope", "pivot"))
            true = np.where(point.settled, shown[probe], np.nan)
            columns.append(true + offset + slope * (true - pivot))
        return np.stack(np.broadcast_arrays(*columns), axis=1) + off

    def __call__(self, samples: Mapping[str, Float]) -> Float:
        """Return what all sensors of all readings show, shape (S, D). [K]"""
        return np.concatenate([self.shown(samples, number) for number in range(len(self.measured))], axis=1)

    def shown(self, samples: Mapping[str, Float], number: int) -> Float:
        """Return what the sensors of one reading show, shape (S, sensors). [K]"""
        return self.sensed(samples, number, self.point(samples, number, *self.true(samples, number)))

    @cached_property
    def numerical_error(self) -> Float:
        """Held-out error of the emulators for each row of `observed`, shape (D,). [K]"""
        errors = []
        for each in self.measured:
            emulator = self.variants[each.variant].emulator
            share = 0.0 if emulator is None else emulator.held_out
            errors.append(np.maximum(each.reading.rise, 0.0) * share)
        return np.concatenate(errors)

    @cached_property
    def learned(self) -> tuple[Learned, ...]:
        """What earlier calibrations taught of the stacks."""
        return tuple(state.stack.learned for state in self.states if state.stack.learned is not None)

    def sampler(self, seed: int) -> LearnedSampler:
        """Return a sampler of the unknowns, from calibrations where there are any."""
        return LearnedSampler(self.variables, seed, "latin hypercube", learned=self.learned)


def states_model(states: Sequence[State], solver: str = "layered", *, emulate: bool = True) -> StatesModel:
    """Return what the readings of states should be, as a function of all that is unknown.

    Parameters
    ----------
    states : sequence of State
        The baseline first; stacks of one part, so that they share what lasts.
    solver : str
    emulate : bool
        As in `ensemble.variant_of`.

    Raises
    ------
    UnknownNameError
        A reading has a sensor that nothing in its stack predicts.
    InputError
        Inputs common to the readings that differ between them, or are described in the stack as well.
    """
    mounts = [
        (i, _without_radiator(stack), readings)
        for i, state in enumerate(states)
        for stack, readings in state.mounts(with_its_mount(states[:i], state.stack))
    ]
    _check_labels(states)
    stacks = [stack for _, stack, _ in mounts]
    readings = [reading for _, _, group in mounts for reading in group]
    coolants = [reading.coolant for reading in readings]
    spread = max(5.0, 0.2 * (max(coolants) - min(coolants)))
    cold, warm = _rounded(min(coolants) - spread, max(coolants) + spread)
    coolant = Variable("coolant.temperature", Rectangular(cold, warm))
    _, hottest = _rounded(0.0, max(float(reading.means[:-2].max()) for reading in readings) + WARMER)
    measured: list[Measured] = []
    variants: list[Variant] = []
    for variant, (state, stack, group) in enumerate(mounts):
        if variant and mounts[variant - 1][0] == state:  # another mount of the same: the same emulator answers
            made = replace(variants[-1], stack=stack)
        else:
            wide = tuple(v for v in variables_of_stack(stack) if v.path != coolant.path)
            made = variant_of(stack, solver, (*wide, coolant), limit=hottest, emulate=emulate)
        if made.emulator is not None:  # what inference asks far out in the tails has no weight
            made = replace(made, emulator=replace(made.emulator, lenient=True))
        variants.append(replace(made, limit=None).unleaking)
        label = states[state].stack.label
        measured += [_measured(reading, stack, label, state, variant, len(readings)) for reading in group]
    measured = _named_apart(measured)
    # total power and coolant come from each reading; how the power is spread over the regions is one unknown for all,
    # since a state is read under the workload that the stack describes
    regions = {f"{r.name}.power" for stack in stacks for die in stack.dies for r in die.power.regions}
    unknowns = tuple(
        unknown
        for unknown in unknowns_of(stacks)
        if unknown.scope in ("lasting", "mount") or any(path in regions for _, path, _ in unknown.places)
    )
    common, fixed, assumed = _common_inputs(readings, stacks)
    return StatesModel(tuple(states), tuple(variants), unknowns, tuple(measured), common, fixed, assumed)


def _rounded(low: float, high: float) -> tuple[float, float]:
    return STEP * math.floor(low / STEP), STEP * math.ceil(high / STEP)


def _without_radiator(stack: Stack) -> Stack:
    """Return the stack with its coolant as it was read: what the radiator made of it is in the reading."""
    coolant = stack.coolant
    return stack if coolant.radiator is None else stack.swap(coolant.name, [replace(coolant, radiator=None)])


def _check_labels(states: Sequence[State]) -> None:
    """Refuse two stacks under one label."""
    stacks = dict[str, Stack]()
    for state in states:
        if stacks.setdefault(state.stack.label, state.stack) != state.stack:
            raise InputError(
                f"two stacks are both called {state.stack.label!r}",
                where="states",
                expected="a name for each, such as stack.named('remounted')",
            )


def _named_apart(measured: Sequence[Measured]) -> list[Measured]:
    """Return readings by names of their own: with their source where level and mount are the same in two states."""
    names = [each.name for each in measured]
    found = [
        replace(each, name=f"{each.name}, {each.reading.source}") if names.count(each.name) > 1 else each
        for each in measured
    ]
    names = [each.name for each in found]
    for name in names:
        if names.count(name) > 1:
            raise InputError(
                f"two readings are named {name!r}",
                where="states",
                expected="readings of one state that differ in level, mount or source: reading.labelled(level='idle')",
            )
    return found


def _measured(reading: Reading, stack: Stack, label: str, state: int, variant: int, count: int) -> Measured:
    told = [text for text in (reading.level, f"mount {reading.mount}" if reading.mount else "") if text]
    name = ", ".join([label, *(told or [reading.source] * (count > 1))])
    C = reading.covariance
    run = slice(len(reading.sensors), None)
    root = np.asarray(np.linalg.cholesky(C[run, run]))
    # e_sensors given (e_power, e_coolant) = root z is (C_sr root⁻ᵀ) z, and what is left is independent of z
    regression = np.asarray(np.linalg.solve(root, C[run, : len(reading.sensors)]).T)
    left = np.asarray(C[: len(reading.sensors), : len(reading.sensors)] - regression @ regression.T)
    mount = ", ".join(f"{joint}@{token}" for joint, token in sorted(mount_of(stack).items()))
    return Measured(reading, state, variant, name, mount, _probes(reading, stack), regression, left, root)


def _probes(reading: Reading, stack: Stack) -> tuple[str, ...]:
    """Return which sensor of the stack stands for each sensor of a reading, by name."""
    if stack.sensors:
        known = {sensor.name: sensor.name for sensor in stack.sensors if sensor.at != "coolant"}
    else:
        places = [name for die in stack.dies for name in [r.name for r in die.power.regions] or [die.name]]
        known = {name: f"{place} mean" for place in places for name in (place, f"{place} mean")}
    for sensor in reading.sensors:
        if sensor not in known:
            raise UnknownNameError(
                f"nothing in {stack.label!r} predicts its sensor {sensor!r}; {suggest(sensor, known)}",
                where=reading.source,
                expected=f"Sensor({sensor!r}, at=…) in the stack, a region or die of this name, or no such sensor",
            )
    return tuple(known[sensor] for sensor in reading.sensors)


def _common_inputs(
    readings: Sequence[Reading], stacks: Iterable[Stack]
) -> tuple[dict[str, Variable], dict[str, float], tuple[str, ...]]:
    """Return what all readings share: variables of what has a spread, values of the rest, and what was assumed."""
    given: dict[str, Value] = {}
    for reading in readings:
        for path, value in reading.common.items():
            if given.setdefault(path, value) != value:
                raise InputError(
                    f"readings of one part differ in it: {given[path]} and {value}", where=path, expected="one value"
                )
    described: set[str] = {entry.path for stack in stacks for entry in stack.inputs()}
    for path in given:
        if path in described:
            raise InputError("stands in the reading and in the stack", where=path, expected="one of the two")
    assumed = _assumed(readings, {*given, *described})
    given |= assumed
    free = (-np.inf, np.inf)
    variables = {
        path: Variable(path, distribution_of(value, path, free), f"common {path}", value.dimension)
        for path, value in given.items()
        if value.kind != "exact"
    }
    told = [f"{kind} {value}" for kind, value in USUAL.items() if any(path.endswith(f".{kind}") for path in assumed)]
    sentences = (
        (f"Assumed of every sensor and the meter whose common= says nothing: {', '.join(told)}.",) if told else ()
    )
    return variables, {path: value.si for path, value in given.items() if path not in variables}, sentences


USUAL = {
    "offset": parse("0 K (sd 2 K)", "temperature difference"),
    "slope": parse("0 (sd 0.02)", "fraction"),
    "pivot": parse("60 degC", "temperature"),
    "gain": parse("0 (sd 0.05)", "fraction"),
}
"""What is assumed of sensors on dies and of the power meter that a log was read from, the same before and after:
absolute ±3 to 5 K, slope error 2 to 5 %, power ±5 % at best (trade practice, partly looked up, weak). What is typed by
hand has the uncertainty that is written."""


def _assumed(readings: Iterable[Reading], known: set[str]) -> dict[str, Value]:
    """Return what is assumed of the sensors and the meter of logs, where nobody said better."""
    found: dict[str, Value] = {}
    for reading in readings:
        if reading.basis == "typed":
            continue
        for sensor in reading.sensors:
            if f"{sensor}.offset" not in known:
                found[f"{sensor}.offset"] = USUAL["offset"]
            if f"{sensor}.slope" not in known:
                found |= {f"{sensor}.slope": USUAL["slope"], f"{sensor}.pivot": USUAL["pivot"]}
        if "power.gain" not in known:
            found["power.gain"] = USUAL["gain"]
    return found


def inputs_by_identity(stacks: Iterable[Stack]) -> dict[str, Input]:
    """Return the inputs of stacks by identity, as described before any calibration."""
    return {entry.identity: entry for stack in stacks for entry in stack.uncalibrated.inputs()}
