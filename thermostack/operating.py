"""The operating point: temperatures that fit the conductivities they give, on top of any solver."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from .errors import SolveError
from .model import Model, Row, Values, contact_areas
from .solvers.graph import Arrays, Graph, Response, Solver

__all__ = ["OperatingPoint", "operate", "to_limit"]

Float: TypeAlias = NDArray[np.float64]

TOLERANCE = 5e-4
"""Largest change of a slab's mean temperature in the last step, relative to the hottest rise; what is left after that
step is smaller by as much again as one step gains, about tenfold."""
MAX_STEPS = 40


@dataclass(frozen=True, eq=False)
class OperatingPoint:
    """A model solved at its operating point, for all samples.

    Attributes
    ----------
    model, values : Model, Values
    graph, arrays : Graph, Arrays
        As last solved, with conductivities at their temperatures.
    response : Response
    power : ndarray, shape (S, sources)
        Power of each source. [W]
    rise : ndarray, shape (S, probes)
        Of each probe over the coolant. [K]
    error : ndarray, shape (S, probes)
        Estimated error of `rise`. [K]
    coolant : ndarray, shape (S,)
        Coolant temperature. [K]
    steps : int
        Solves that were needed.
    """

    model: Model
    values: Values
    graph: Graph
    arrays: Arrays
    response: Response
    power: Float
    board_power: Float
    rise: Float
    error: Float
    coolant: Float
    steps: int

    def probe(self, *key: str) -> Float:
        """Return the rise at a probe of the model, shape (S,). [K]"""
        return np.asarray(self.rise[:, self.model.probes[key]])

    @property
    def total(self) -> Float:
        """Power of all dies, shape (S,). [W]"""
        return np.asarray(self.power.sum(axis=1))

    def die_power(self, die: str) -> Float:
        """Return the power of one die, shape (S,). [W]"""
        return np.asarray(self.power[:, self._sources(self.model.block_of_die(die))].sum(axis=1))

    def _sources(self, block: int) -> list[int]:
        return [i for i, source in enumerate(self.graph.sources) if source.block == block]

    @cached_property
    def junction_rise(self) -> Float:
        """Rise of the hottest point of any active face, shape (S,). [K]"""
        return np.asarray(self._peaks.max(axis=1))

    @property
    def hottest_die(self) -> str:
        """Name of the die that is hottest in the first sample."""
        return self.model.stack.dies[int(np.argmax(self._peaks[0]))].name

    @cached_property
    def _peaks(self) -> Float:
        return np.stack([self.probe("centre", die.name) for die in self.model.stack.dies], axis=1)

    @cached_property
    def flow(self) -> Float:
        """Heat through each contact upwards, shape (S, contacts). [W]

        A board warmer than the coolant gives heat back: the flow through its contact counts both ways.
        """
        flow = np.einsum("sck,sk->sc", self.response.flow, self.power + self.board_power)
        for contact in self.model.board_contacts.values():
            flow[:, contact] += self.board_power[:, self._sources(self.graph.contacts[contact].above)].sum(axis=1)
        return np.asarray(flow)

    @property
    def board_share(self) -> Float:
        """Share of the power that leaves by the board, shape (S,); negative where a warm board gives heat."""
        down = self.flow[:, list(self.model.board_contacts.values())].sum(axis=1)
        return np.asarray(-down / self.total)

    @property
    def imbalance(self) -> Float:
        """Heat made minus heat that leaves, relative to the heat made, shape (S,)."""
        out = self.flow[:, self.model.coolant_contact] / self.total + self.board_share
        return np.asarray(np.abs(1.0 - out))

    def crossing(self, row: Row) -> Float:
        """Return the heat that crosses a part of the breakdown upwards, shape (S,). [W]"""
        if not row.solid and row.contacts:
            contacts = list(row.contacts)
        else:
            block = self.graph.block_of_slab[row.slab]
            contacts = [i for i, c in enumerate(self.graph.contacts) if c.below == block]
        return np.asarray(self.flow[:, contacts].sum(axis=1))

    def readings(self) -> Iterator[tuple[str, str, Float]]:
        """Yield name, place and temperature [K] of every sensor, as it would read."""
        stack = self.model.stack
        if not stack.sensors:
            for die in stack.dies:
                for name in [region.name for region in die.power.regions] or [die.name]:
                    yield f"{name} mean", name, self.coolant + self.probe("mean", name)
        for sensor in stack.sensors:
            key = ("sensor", sensor.name) if ("sensor", sensor.name) in self.model.probes else ("mean", sensor.at)
            true = self.coolant if sensor.at == "coolant" else self.coolant + self.probe(*key)
            offset, slope, pivot = (
                self.values(f"{sensor.name}.{field}") if f"{sensor.name}.{field}" in self.values else 0.0
                for field in ("offset", "slope", "pivot")
            )
            yield sensor.name, sensor.at, np.asarray(true + offset + slope * (true - pivot))

    def difference(self, row: Row) -> Float:
        """Return the temperature difference over a breakdown row, shape (S,). [K]"""
        return self._mean(row.low, row.low_contacts) - self._mean(row.high, row.high_contacts)

    def _mean(self, probes: tuple[int, ...], contacts: tuple[int, ...]) -> Float:
        if not probes:
            return np.zeros(len(self.rise))
        rises = self.rise[:, list(probes)]
        if len(probes) != len(contacts):
            return np.asarray(rises.mean(axis=1))
        area = contact_areas(self.arrays, list(contacts))
        return np.asarray((rises * area).sum(axis=1) / area.sum(axis=1))

    def below(self, row: Row) -> Float:
        """Return the temperature rise on the lower side of a row, shape (S,). [K]"""
        return self._mean(row.low, row.low_contacts)


def operate(model: Model, solver: Solver, values: Values | None = None) -> OperatingPoint:
    """Return the operating point of a model: each slab's conductivity at its own mean temperature.

    Parameters
    ----------
    model : Model
    solver : Solver
        Any function of a graph and its arrays.
    values : Values, optional
        Samples of the inputs; the centres if not given.

    Raises
    ------
    SolveError
        The temperatures did not settle; the message says by how much they still moved.
    """
    v = values or model.values()
    coolant = np.broadcast_to(np.atleast_1d(v("coolant.temperature")), (v.count,))
    power, board_power = model.powers(v), model.board_powers(v)
    acting = power + board_power
    faces = np.array([[model.probes["face", str(i), str(side)] for side in (0, 1)] for i in range(len(model.slabs))])
    temperature = np.repeat(coolant[:, None], len(model.slabs), axis=1)
    at_300 = model.arrays(v)
    for step in range(1, MAX_STEPS + 1):
        graph, arrays = model.graph, model.at_temperature(at_300, temperature)
        response = solver(graph, arrays)
        rise = np.einsum("spk,sk->sp", response.influence, acting)
        new = coolant[:, None] + rise[:, faces].mean(axis=2)
        change = float(np.max(np.abs(new - temperature)) / max(float(np.max(np.abs(rise))), 1e-12))
        temperature = new
        if change < TOLERANCE:
            error = np.einsum("spk,sk->sp", response.error, np.abs(acting))
            return OperatingPoint(model, v, graph, arrays, response, power, board_power, rise, error, coolant, step)
    raise SolveError(
        f"{model.stack.name}: conductivities and temperatures did not settle in {MAX_STEPS} steps; the last one still "
        f"moved a mean temperature by {change:.2g} of the hottest rise"
    )


def to_limit(point: OperatingPoint, solver: Solver, limit: float) -> Float:
    """Return the total power at which the junction is at a limit, in the same map, shape (S,). [W]

    Parameters
    ----------
    point : OperatingPoint
        The stack at its own power.
    solver : Solver
    limit : float
        Junction temperature, above the coolant's. [K]

    Raises
    ------
    SolveError
        The power did not settle.
    """
    wanted = limit - point.coolant
    scale, rise = np.ones_like(wanted), point.junction_rise
    for _ in range(MAX_STEPS):
        # the rise grows nearly in proportion to power, a little faster as silicon warms: this contracts about tenfold
        scale = scale * wanted / rise
        if np.all(np.abs(rise - wanted) < 1e-4 * wanted):
            return np.asarray(scale * point.total)
        rise = operate(point.model, solver, _at_power(point, scale)).junction_rise
    raise SolveError(
        f"{point.model.stack.name}: no power was found at which the junction is at {limit - 273.15:.1f} °C"
    )


def _at_power(point: OperatingPoint, scale: Float) -> Values:
    """Return the inputs with every die's power scaled."""
    paths = [f"{die.name}.power" for die in point.model.stack.dies]
    return point.values.with_samples({path: point.values(path) * scale for path in paths})
