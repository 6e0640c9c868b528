"""Which columns of a log make a reading: sensors, power and coolant, each checked and cleaned once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, UnknownNameError, suggest
from ..units import Value, ValueLike, parse
from .blocks import Blocks
from .faults import stuck_all_along, without_outliers
from .flags import Flag, SteadyError
from .log import Log, Role
from .resolution import step_of

__all__ = ["Columns", "choose"]

CELLS = 20_000
"""A whole log is looked at in at most so many cells to find its steps."""


@dataclass(frozen=True, eq=False)
class Columns:
    """What a reading is made of.

    Attributes
    ----------
    log : Log
    sensors : tuple of str
    temperatures : tuple of ndarray, shape (N,)
        Of the sensors, without outliers. [K]
    power, coolant : ndarray, shape (N,), or Value
        As logged, or as given by hand.
    coolant_name, power_name : str
        Of the columns; empty where given by hand.
    step : mapping of str to float
        Of sensors and ``"coolant"`` where they have one that matters. [K]
    truncating : frozenset of str
        Those that cut off what is below a step.
    flags : tuple of Flag
    """

    log: Log
    sensors: tuple[str, ...]
    temperatures: tuple[NDArray[np.float64], ...]
    power: NDArray[np.float64] | Value
    coolant: NDArray[np.float64] | Value
    power_name: str
    coolant_name: str
    step: Mapping[str, float]
    truncating: frozenset[str]
    flags: tuple[Flag, ...]

    @cached_property
    def cells(self) -> Blocks:
        """The whole log in at most 20,000 blocks: sensors, coolant and power where they were logged, and what may
        change.
        """
        logged = [column for column in (self.coolant, self.power) if isinstance(column, np.ndarray)]
        return Blocks.of(
            self.log.time, [*self.temperatures, *logged, *(self.log.values[w] for w in self.watched)], CELLS
        )

    @cached_property
    def watched(self) -> tuple[str, ...]:
        """Columns of fans, pumps and clocks."""
        return tuple(name for role in ("fan", "pump", "clock") for name in self.log.of_role(role))

    def row(self, name: str) -> int:
        """Return where a sensor, "coolant", "power" or watched column stands in `cells`."""
        logged = [n for n, c in (("coolant", self.coolant), ("power", self.power)) if isinstance(c, np.ndarray)]
        return [*self.sensors, *logged, *self.watched].index(name)


def choose(
    log: Log, power: ValueLike | None, coolant: ValueLike | None, resolution: Mapping[str, ValueLike] | None,
    truncating: Iterable[str],
) -> Columns:  # fmt: skip
    """Return the columns of a reading; see `steady` for the parameters and errors."""
    if len(log.time) < 8:
        raise SteadyError(f"{len(log.time)} rows", where=log.source, expected="a log of some minutes")
    watts, power_name = _one(log, power, "power", ("power",))
    cold, coolant_name = _one(log, coolant, "coolant", ("coolant", "ambient"))
    sensors = [name for name in log.of_role("sensor") if _recorded(log.values[name])]
    empty = [name for name in log.of_role("sensor") if name not in sensors]
    whole = float(log.time[0]), float(log.time[-1])
    flags = [Flag("missing", f"{name} holds no value; it is left out", *whole, name) for name in empty]
    moved = 0.0
    if isinstance(watts, np.ndarray):
        low, high = np.nanquantile(watts[:: max(1, len(watts) // 20_000)], [0.02, 0.98])
        moved = float((high - low) / max(high, 1e-9))
    stuck = stuck_all_along(log, tuple(sensors), moved)
    sensors = [name for name in sensors if name not in {flag.column for flag in stuck}]
    flags += stuck
    if not sensors:
        what = "no sensor that moves" if stuck else "no temperature of the package"
        raise SteadyError(what, where=log.source, expected="a column with the role sensor that follows the load")
    temperatures = []
    for name in sensors:
        clean, found = without_outliers(log, name, watts if isinstance(watts, np.ndarray) else None)
        temperatures.append(clean)
        flags += found
    known = (*sensors, "coolant")
    steps: dict[str, float] = {}
    for name, value in (resolution or {}).items():
        if name not in (*known, *log.of_role("sensor")):
            raise UnknownNameError(f"{name!r} is not known", where="resolution", expected=suggest(name, known))
        steps[name] = parse(value, "temperature difference", f"resolution.{name}").si
        if steps[name] <= 0:
            raise InputError(f"{value} is not a step", where=f"resolution.{name}", expected="such as '1 K'")
    if isinstance(cold, np.ndarray) and coolant_name:
        cold, found = without_outliers(log, coolant_name, None)
        flags += found
    for name, column in zip(known, (*temperatures, cold), strict=True):
        if name not in steps and isinstance(column, np.ndarray):
            step = step_of(column)
            steps |= {} if step is None else {name: step}
    cut = frozenset(truncating)
    for name in cut:
        if name not in known:
            raise UnknownNameError(f"{name!r} is not known", where="truncating", expected=suggest(name, known))
        if name not in steps:
            raise InputError(
                f"the step of {name} is not seen in the log", where=f"resolution.{name}", expected="such as '1 K'"
            )
    return Columns(
        log, tuple(sensors), tuple(temperatures), watts, cold, power_name, coolant_name, steps, cut, tuple(flags)
    )


def _one(
    log: Log, given: ValueLike | None, what: str, roles: tuple[Role, ...]
) -> tuple[NDArray[np.float64] | Value, str]:
    """Return the column of a role, or the value that was given by hand in place of one."""
    dimension = "power" if what == "power" else "temperature"
    example = "'231 W (sd 2 W)'" if what == "power" else "'26.1 degC (sd 0.2 K)'"
    if isinstance(given, str) and given in log.values:
        return log.values[given], given
    if given is not None:
        value = parse(given, dimension, what)
        if value.kind == "exact":
            raise InputError(f"{value} has no uncertainty", where=what, expected=f"a column of the log, or {example}")
        if what == "power" and value.si <= 0:
            raise InputError(f"power is {value}", where=what, expected="above zero")
        return value, ""
    for role in roles:
        names = [name for name in log.of_role(role) if _recorded(log.values[name])]
        if len(names) > 1:
            raise InputError(
                f"{len(names)} columns of {role}: {', '.join(names)}", where=log.source,
                expected=f"one of them named: {what}={names[0]!r}",
            )  # fmt: skip
        if names:
            return log.values[names[0]], names[0]
    raise SteadyError(f"no column of {what}", where=log.source, expected=f"one with that role, or {what}={example}")


def _recorded(column: NDArray[np.float64]) -> bool:
    """Return whether a column holds any value; nearly always one of the first rows tells."""
    return bool(np.isfinite(column[:100]).any() or np.isfinite(column).any())
