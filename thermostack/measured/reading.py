"""A reading: steady means of sensors, power and coolant with their covariance, from a log or typed by hand."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, UnknownNameError, suggest
from ..tables import Column, Table
from ..units import Value, ValueLike, convert, parse
from .flags import Flag

__all__ = ["COMMON", "IDLE", "Basis", "Reading", "common_inputs"]

Basis = Literal["estimate", "bound", "typed"]
"""Where the covariance comes from: the log, the log with too few correlation times in it, or the user."""
COMMON = {"offset": "temperature difference", "slope": "fraction", "pivot": "temperature", "gain": "fraction"}
"""Inputs that all readings of a part share, by the last part of their path: ``"die.offset"``, ``"power.gain"``."""
IDLE = 30.0
"""A package below this is idle, unless its level is named otherwise (*common practice, no source*). [W]"""


def common_inputs(
    given: Mapping[str, ValueLike] | None, sensors: tuple[str, ...], where: str = "common"
) -> dict[str, Value]:
    """Return the inputs common to all readings of a part, checked.

    Raises
    ------
    UnknownNameError, InputError, UnitError
        A path that is not ``"<sensor>.offset"``, ``".slope"``, ``".pivot"`` or ``"power.gain"``; a value without a
        unit; a slope without its pivot.
    """
    allowed = [f"{name}.{kind}" for name in (*sensors, "coolant") for kind in ("offset", "slope", "pivot")]
    allowed.append("power.gain")
    values = {}
    for path, value in (given or {}).items():
        if path not in allowed:
            raise UnknownNameError(f"{path!r} is not known", where=where, expected=suggest(path, allowed))
        values[path] = parse(value, COMMON[path.rpartition(".")[2]], f"{where}.{path}")
    for path in values:
        if path.endswith(".slope") and path.replace(".slope", ".pivot") not in values:
            pivot = path.replace(".slope", ".pivot")
            raise InputError("a slope without a pivot", where=f"{where}.{pivot}", expected="such as '100 degC'")
    return values


@dataclass(frozen=True, eq=False)
class Reading:
    """Steady means with their covariance.

    Attributes
    ----------
    sensors : tuple of str
        Temperatures that were read, besides the coolant.
    means : ndarray, shape (S + 2,)
        Of the sensors [K], power [W] and coolant [K], in this order.
    covariance : ndarray, shape (S + 2, S + 2)
        Of the means, SI; normal. What all readings of a part share (offset, slope, gain) is not in it: see `common`.
    common : mapping of str to Value
        Inputs that all readings of a part share, by path: ``"die.offset"``, ``"die.slope"`` with ``"die.pivot"``,
        ``"power.gain"``.
    basis : {"estimate", "bound", "typed"}
        Where the covariance comes from.
    level, mount : str
        Readings of one state differ by power level (``"idle"``) and by mount; readings with one label share them.
    source : str
        For messages.
    start : datetime or None
        Of the log.
    window : pair of float or None
        In seconds from the first row of the log.
    rows : int
        In the window.
    degrees : int
        Cosines that the covariance rests on; Student's factor for so many is in it.
    correlation_times : float
        In the window; nan where typed.
    resolution : mapping of str to float
        Standard uncertainty by the step of each sensor, as it is in the covariance. [K]
    why : str
        Why the window was called steady.
    flags : tuple of Flag
        What was noticed.
    """

    sensors: tuple[str, ...]
    means: NDArray[np.float64]
    covariance: NDArray[np.float64]
    common: Mapping[str, Value] = field(default_factory=dict)
    basis: Basis = "typed"
    level: str = ""
    mount: str = ""
    source: str = "typed"
    start: datetime | None = None
    window: tuple[float, float] | None = None
    rows: int = 0
    degrees: int = 0
    correlation_times: float = math.nan
    resolution: Mapping[str, float] = field(default_factory=dict)
    why: str = ""
    flags: tuple[Flag, ...] = ()

    def __post_init__(self) -> None:
        size = len(self.sensors) + 2
        where = self.source
        if not self.sensors:
            raise InputError(
                "no sensor", where=where, expected="one temperature at least, such as {'die': '71 degC (sd 0.3 K)'}"
            )
        for name in self.sensors:
            if name in ("power", "coolant") or self.sensors.count(name) > 1:
                raise InputError(f"a sensor cannot be called {name!r} here", where=where, expected="a name of its own")
        if self.means.shape != (size,) or self.covariance.shape != (size, size):
            shapes = f"{self.means.shape} and {self.covariance.shape}"
            raise InputError(
                f"means and covariance have shapes {shapes}", where=where, expected=f"({size},) and ({size}, {size})"
            )
        if not (np.isfinite(self.means).all() and np.isfinite(self.covariance).all()):
            raise InputError("a mean or covariance is not finite", where=where, expected="numbers")
        if self.power <= 0:
            raise InputError(
                f"power is {self.power:.4g} W", where=f"{where}.power", expected="the power of the package, above zero"
            )
        self._check_below_coolant()

    def _check_below_coolant(self) -> None:
        """Refuse a sensor below the coolant under load, flag it at idle."""
        flags = list(self.flags)
        for i, name in enumerate(self.sensors):
            below = -float(self.rise[i])
            if below <= 2 * math.sqrt(max(float(self.rise_covariance[i, i]), 0.0)):
                continue
            text = f"{name} reads {below:.2g} K below the coolant"
            if not self.idle:
                raise InputError(
                    f"{text} at {self.power:.4g} W", where=f"{self.source}.{name}",
                    expected="a sensor above the coolant under load: is a column mapped wrongly, or a sensor offset?",
                )  # fmt: skip
            start, end = self.window or (0.0, 0.0)
            if not any(flag.kind == "below coolant" and flag.column == name for flag in flags):
                flags.append(Flag("below coolant", f"{text} at idle: its offset is at least that", start, end, name))
        object.__setattr__(self, "flags", tuple(flags))

    @classmethod
    def of(
        cls, sensors: Mapping[str, ValueLike], *, power: ValueLike, coolant: ValueLike,
        common: Mapping[str, ValueLike] | None = None, level: str = "", mount: str = "", source: str = "typed",
        start: datetime | None = None,
    ) -> Reading:  # fmt: skip
        """Return a reading that was written down by hand.

        Parameters
        ----------
        sensors : mapping of str to value
            Such as ``{"die": "71.2 degC (sd 0.3 K)"}``. Each value needs its standard uncertainty or limits.
        power, coolant : value
        common : mapping of str to value, optional
            See the class.
        level, mount, source, start : optional
            See the class.

        Raises
        ------
        UnitError, InputError
            A value without a unit or an uncertainty, no sensor, no power, a sensor below the coolant under load.
        """
        values = [parse(value, "temperature", f"{source}.{name}") for name, value in sensors.items()]
        values += [parse(power, "power", f"{source}.power"), parse(coolant, "temperature", f"{source}.coolant")]
        names = (*sensors, "power", "coolant")
        for name, value in zip(names, values, strict=True):
            if value.kind == "exact":
                spread = "sd 2 W" if name == "power" else "sd 0.3 K"
                raise InputError(
                    f"{value} has no uncertainty",
                    where=f"{source}.{name}",
                    expected=f"for example '{value} ({spread})'",
                )
            if value.kind == "lognormal":
                raise InputError(f"{value} is not normal", where=f"{source}.{name}", expected="an sd or limits")
        means = np.array([value.si for value in values])
        covariance = np.diag([value.standard_uncertainty**2 for value in values])
        shared = common_inputs(common, tuple(sensors))
        return cls(tuple(sensors), means, covariance, shared, level=level, mount=mount, source=source, start=start)

    def labelled(self, *, level: str | None = None, mount: str | None = None) -> Reading:
        """Return the same reading with another level or mount."""
        return replace(self, level=self.level if level is None else level, mount=self.mount if mount is None else mount)

    # -- figures

    @property
    def names(self) -> tuple[str, ...]:
        """Sensors, "power" and "coolant", as in `means`."""
        return (*self.sensors, "power", "coolant")

    def __getitem__(self, name: str) -> tuple[float, float]:
        """Return mean and standard uncertainty of a sensor, "power" or "coolant", SI."""
        if name not in self.names:
            raise UnknownNameError(f"{name!r} is not known", where=self.source, expected=suggest(name, self.names))
        i = self.names.index(name)
        return float(self.means[i]), math.sqrt(float(self.covariance[i, i]))

    @property
    def power(self) -> float:
        """Mean power. [W]"""
        return float(self.means[-2])

    @property
    def coolant(self) -> float:
        """Mean temperature of the coolant. [K]"""
        return float(self.means[-1])

    @property
    def idle(self) -> bool:
        """Whether the package was idle: by its level's name, or below 30 W."""
        return self.level.casefold() == "idle" or (not self.level and self.power < IDLE)

    def _rises(self) -> NDArray[np.float64]:
        rows = len(self.sensors)
        return np.hstack([np.eye(rows), np.zeros((rows, 1)), -np.ones((rows, 1))])

    @property
    def rise(self) -> NDArray[np.float64]:
        """Sensors minus coolant, shape (S,). [K]"""
        return self._rises() @ self.means

    @property
    def rise_covariance(self) -> NDArray[np.float64]:
        """Covariance of `rise`, shape (S, S). [K²]"""
        return self._rises() @ self.covariance @ self._rises().T

    @property
    def resistance(self) -> NDArray[np.float64]:
        """Sensors minus coolant over power, shape (S,). [K/W]"""
        return self.rise / self.power

    @property
    def resistance_covariance(self) -> NDArray[np.float64]:
        """Covariance of `resistance`, shape (S, S), to first order. [K²/W²]"""
        slopes = self._rises() / self.power
        slopes[:, -2] = -self.rise / self.power**2
        return slopes @ self.covariance @ slopes.T

    def draw(self, number: int, seed: int | np.random.Generator = 0) -> NDArray[np.float64]:
        """Return `number` draws of the means, shape (number, S + 2), without what is common to all readings."""
        generator = np.random.default_rng(seed)
        return generator.multivariate_normal(self.means, self.covariance, size=number, method="eigh")

    # -- as people read it

    @property
    def title(self) -> str:
        """What was read, in a line."""
        labels = [f"level {self.level}"] * bool(self.level) + [f"mount {self.mount}"] * bool(self.mount)
        return ", ".join([f"Reading of {self.source}", *labels])

    @property
    def table(self) -> Table:
        """A row a sensor, power and coolant."""
        columns = (
            Column("quantity", "quantity"), Column("mean", "mean", ".3f"), Column("unit", "unit"),
            Column("u", "standard uncertainty", ".3f"), Column("resolution", "of it by resolution", ".3f"),
            Column("rise", "above coolant [K]", ".3f"), Column("u_rise", "u [K]", ".3f"),
            Column("resistance", "resistance [K/W]", ".5f"), Column("u_resistance", "u [K/W]", ".5f"),
        )  # fmt: skip
        rows: list[tuple[Any, ...]] = []
        for i, name in enumerate(self.names):
            mean, u = self[name]
            if name == "power":
                rows.append((name, mean, "W", u, None, None, None, None, None))
                continue
            own: tuple[Any, ...] = (None, None, None, None)
            if name != "coolant":
                variances = self.rise_covariance[i, i], self.resistance_covariance[i, i]
                own = (float(self.rise[i]), math.sqrt(variances[0]), float(self.resistance[i]), math.sqrt(variances[1]))
            rows.append((name, float(convert(mean, "temperature")), "°C", u, self.resolution.get(name), *own))
        return Table(columns, tuple(rows), self.title, tuple(self._notes()))

    def _notes(self) -> list[str]:
        notes = []
        if self.window is not None:
            first, last = self.window
            notes.append(f"Window {first:.0f} to {last:.0f} s, {self.rows} rows: {self.why}.")
        if self.basis == "bound":
            notes.append(
                f"The window holds {self.correlation_times:.0f} correlation times, fewer than 50: the uncertainties "
                "are bounds, not estimates."
            )
        elif self.basis == "estimate":
            notes.append(f"Uncertainties rest on {self.degrees} degrees of freedom; Student's factor is in them.")
        shared = [f"{path} {value}" for path, value in self.common.items()]
        notes += (
            [f"Common to all readings of the part, not in the uncertainties: {', '.join(shared)}."] if shared else []
        )
        return notes + [f"{flag}." for flag in self.flags]

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()

    def to_dict(self) -> dict[str, Any]:
        """Return everything as plain data, SI."""
        plain: dict[str, Any] = {
            "names": list(self.names), "means": self.means.tolist(), "covariance": self.covariance.tolist(),
            "units": ["K"] * len(self.sensors) + ["W", "K"],
        }  # fmt: skip
        for key in ("basis", "level", "mount", "source", "rows", "degrees", "why"):
            plain[key] = getattr(self, key)
        plain["correlation_times"] = None if math.isnan(self.correlation_times) else self.correlation_times
        plain["window"] = None if self.window is None else list(self.window)
        plain["start"] = None if self.start is None else self.start.isoformat()
        plain["common"] = {path: str(value) for path, value in self.common.items()}
        plain["resolution"] = dict(self.resolution)
        plain["flags"] = [vars(flag).copy() for flag in self.flags]
        return plain
