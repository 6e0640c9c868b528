"""What each way of each cause does to the readings, over its size: a chain of straight pieces, with prior masses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..errors import UnknownNameError, suggest
from ..solvers import solver_named
from ..stack.parts import Layer
from ..states import StatesModel
from .cause import Cause, Departure, Misreading, Way, acts_on
from .departed import LEVEL, UPPER, Departed, Excess, Plain, excesses
from .predictive import coolant_rows

__all__ = ["SCALES", "Effect", "Effects", "effects_of", "unlisted", "unlisted_covariance"]

Float = NDArray[np.float64]

SCALES = (0.5, 1.0, 2.0)
"""Sizes of all causes as stated, half and double."""
NODES = (0.0, 0.1, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0)
"""Sizes between which an effect is straight, in standard deviations of its prior."""
UNLISTED = (0.10, 1.0, 0.03)
"""Standard deviations of what is not listed, for each state: a share of the rise, a shift [K], and a share of the rise
for each sensor by itself (assumed)."""


@dataclass(frozen=True, eq=False)
class Effect:
    """One way of one cause.

    Attributes
    ----------
    cause : int
        Number of the cause.
    told : str
        Which way; empty where there is one only.
    share : float
        Prior probability of the way, given the cause.
    edges : ndarray, shape (K + 1,)
        Sizes, ascending. SI.
    shifts : ndarray, shape (K + 1, D)
        What it adds to what is shown [K]; for a gain, to the rise as a share of it.
    masses : ndarray, shape (scales, K)
        Prior probability of each piece, for sizes as in `SCALES`.
    gain : bool
    departs : bool
        Whether it makes the stack another one, which is known to some per cent.
    """

    cause: int
    told: str
    share: float
    edges: Float
    shifts: Float
    masses: Float
    gain: bool
    departs: bool = False

    def starts(self, rise: Float) -> Float:
        """Return the shifts (K + 1, D) for rises (D,), or (N, K + 1, D) for rises (N, D). [K]"""
        if not self.gain:
            return self.shifts
        return np.asarray(rise[..., None, :] * self.shifts)


@dataclass(frozen=True, eq=False)
class Effects:
    """All ways of all causes, ready for any readings of the same states.

    Attributes
    ----------
    causes : tuple of Cause
        Those that can act.
    excess : mapping of (cause, way, variant's state) to Excess
        Of departures.
    left_out : tuple of str
        Causes that cannot act on these stacks, and why.
    """

    causes: tuple[Cause, ...]
    excess: Mapping[tuple[int, int, int], Excess]
    left_out: tuple[str, ...]
    sensors: Mapping[int, tuple[str, ...]]
    _cells: dict[tuple[int, int], tuple[Float, Float]] = field(default_factory=dict, repr=False)

    def on(self, model: StatesModel, mounts: frozenset[str] | None = None) -> tuple[Effect, ...]:
        """Return what every way of every cause does to the readings of a model of these states.

        Parameters
        ----------
        model : StatesModel
        mounts : frozenset of str, optional
            The mounts that were (`Measured.mount`), where the model holds readings that were not taken.
        """
        found = []
        for c, cause in enumerate(self.causes):
            for w, way in enumerate(cause.ways):
                edges, masses = self._pieces(c, w)
                shifts = self._shifts(c, w, way, edges, model, mounts)
                gain = not isinstance(way, Departure) and way.of == "power"
                departs = isinstance(way, Departure)
                found.append(Effect(c, way.told, 1.0 / len(cause.ways), edges, shifts, masses, gain, departs))
        return tuple(found)

    def _pieces(self, c: int, w: int) -> tuple[Float, Float]:
        """Return the edges of the pieces and their prior masses (scales, K)."""
        if (c, w) not in self._cells:
            cause = self.causes[c]
            low, high = -cause.largest.si if cause.two_sided else 0.0, cause.largest.si
            for (i, j, _), excess in self.excess.items():
                if (i, j) == (c, w):
                    low, high = max(low, excess.sizes[0]), min(high, excess.sizes[-1])
            nodes = np.array(NODES) * cause.size.si
            nodes = np.concatenate([-nodes[:0:-1], nodes]) if cause.two_sided else nodes
            edges = np.unique(np.concatenate([[low], nodes[(nodes > low) & (nodes < high)], [high]]))
            masses = np.array([np.diff(cause.prior(scale).cdf(edges)) for scale in SCALES])
            self._cells[c, w] = edges, masses / masses.sum(axis=1, keepdims=True)
        return self._cells[c, w]

    def _shifts(
        self, c: int, w: int, way: Way, edges: Float, model: StatesModel, mounts: frozenset[str] | None
    ) -> Float:
        shifts = np.zeros((len(edges), len(model.observed)))
        last = len(self.sensors) - 1
        for each, rows in zip(model.measured, model.rows, strict=True):
            if not acts_on(way, each, last, mounts):
                continue
            if isinstance(way, Departure):
                known = self.sensors[each.state]
                columns = [known.index(probe) for probe in each.probes]
                shifts[:, rows] = self.excess[c, w, each.state](edges, each.reading.power)[:, columns]
            elif way.of == "power":
                shifts[:, rows] = (1.0 / (1.0 + edges) - 1.0)[:, None]
            elif way.of == "coolant":  # was not as warm as was read
                shifts[:, rows] = -edges[:, None]
            else:
                names = zip(each.reading.sensors, each.probes, strict=True)
                own = [not way.sensors or not {*way.sensors}.isdisjoint(pair) for pair in names]
                shifts[:, rows] = edges[:, None] * np.array(own, dtype=float)
        return shifts


def effects_of(model: StatesModel, causes: Sequence[Cause]) -> Effects:
    """Return what causes do to the states of a model; departed stacks are solved here.

    Causes none of whose ways can act are left out, and said so.

    Raises
    ------
    InputError
        A cause changes the stack into something that is no stack.
    UnknownNameError
        A cause names a sensor that no reading has.
    """
    _check_sensors(model, causes)
    last = len(model.states) - 1
    sensors: dict[int, tuple[str, ...]] = {}
    plains: dict[int, tuple[Plain, Plain]] = {}
    for state in range(last + 1):
        readings = [each for each in model.measured if each.state == state]
        read = dict.fromkeys(probe for each in readings for probe in each.probes)
        sensors[state] = (
            *read,
            *(UPPER + layer.name for layer in model.states[state].stack.layers[:-1] if isinstance(layer, Layer)),
        )
        hot = max(readings, key=lambda each: each.reading.power)
        levels = (hot.reading.power * share for share in (1.0, LEVEL))
        full, cool = (Plain.of(model.variants[hot.variant], power, hot.reading.coolant) for power in levels)
        coarse = full.solver is solver_named("layered")
        plains[state] = (full.coarse(), cool.coarse()) if coarse else (full, cool)
    kept: list[Cause] = []
    left_out: list[str] = []
    asked: dict[int, dict[tuple[int, int], Departed]] = {state: {} for state in sensors}
    for cause in causes:
        ways: list[Way] = []
        refused = ""
        for way in cause.ways:
            if isinstance(way, Departure):
                states = [s for s in sensors if way.where == "both" or (way.where == "after") == (s == last)]
                own = {s: Departed.of(plains[s][0], way, cause) for s in states}
                impossible = [each.refused for each in own.values() if not each.sizes]
                if impossible:
                    refused = impossible[0]
                    continue
                for s, each in own.items():
                    asked[s][len(kept), len(ways)] = each
            ways.append(way)
        if not ways:
            left_out.append(f"{cause.name}: the stack cannot depart so ({refused})")
            continue
        kept.append(cause if len(ways) == len(cause.ways) else _with_ways(cause, tuple(ways)))
    excess: dict[tuple[int, int, int], Excess] = {}
    for state, mine in asked.items():
        keys = list(mine)
        first = [next(i for i, other in enumerate(keys) if other[0] == c) for c, _ in keys]
        found = excesses(*plains[state], sensors[state], list(mine.values()), first) if mine else []
        excess |= {(c, w, state): each for (c, w), each in zip(keys, found, strict=True)}
    return Effects(tuple(kept), excess, tuple(left_out), sensors)


def _check_sensors(model: StatesModel, causes: Sequence[Cause]) -> None:
    """Raise UnknownNameError where a misreading names a sensor that no reading has."""
    known = dict.fromkeys(name for each in model.measured for name in (*each.reading.sensors, *each.probes))
    for cause in causes:
        for way in cause.ways:
            for name in way.sensors if isinstance(way, Misreading) else ():
                if name not in known:
                    raise UnknownNameError(
                        f"no reading has a sensor {name!r}; {suggest(str(name), known)}", where=f"cause {cause.name!r}"
                    )


def _with_ways(cause: Cause, ways: tuple[Way, ...]) -> Cause:
    return Cause(
        cause.name, cause.sentence, size=cause.size, largest=cause.largest, source=cause.source, ways=ways,
        two_sided=cause.two_sided, odds=cause.odds, chance=cause.chance, dimension=cause.dimension,
    )  # fmt: skip


def unlisted_covariance(model: StatesModel, scale: float = 1.0) -> Float:
    """Return the covariance (D, D) of what is not listed: independent shifts of before and after, and of each sensor.

    Each lasts through all readings of a state. [K²]
    """
    last = len(model.states) - 1
    after = np.concatenate([np.full(len(each.probes), each.state == last) for each in model.measured])
    sensor = [probe for each in model.measured for probe in each.probes]
    return unlisted(model.observed - coolant_rows(model), after, sensor, scale)


def unlisted(rise: Float, after: NDArray[np.bool_], sensor: Sequence[str], scale: float = 1.0) -> Float:
    """Return the same for rows by their rise [K], state and sensor."""
    of_rise, shift, by_sensor = (scale * each for each in UNLISTED)
    rise, name = np.maximum(rise, 0.0), np.array(sensor)
    together = after[:, None] == after
    total = together * (of_rise**2 * np.outer(rise, rise) + shift**2)
    if len(set(sensor)) > 1:
        total = total + (together & (name[:, None] == name)) * by_sensor**2 * np.outer(rise, rise)
    return np.asarray(total)
