"""The operating point: temperatures that fit the conductivities they give, on top of any solver."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from .errors import SolveError
from .model import Model, Row, Values
from .solvers.graph import Arrays, Graph, Response, Solver

__all__ = ["OperatingPoint", "operate"]

Float: TypeAlias = NDArray[np.float64]

TOLERANCE = 1e-4
"""Largest change of a slab's mean temperature in the last step, relative to the hottest rise."""
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

    @property
    def flow(self) -> Float:
        """Heat through each contact upwards, shape (S, contacts). [W]

        A board warmer than the coolant gives heat back: the flow through its contact counts both ways.
        """
        acting = self.power + self.board_power
        flow = np.einsum("sck,sk->sc", self.response.flow, acting)
        for contact in self.model.board_contacts.values():
            block = self.graph.contacts[contact].above
            own = [i for i, source in enumerate(self.graph.sources) if source.block == block]
            flow[:, contact] += self.board_power[:, own].sum(axis=1)
        return np.asarray(flow)

    @property
    def imbalance(self) -> Float:
        """Heat made minus heat that leaves, relative to the heat made, shape (S,)."""
        out = self.flow[:, self.model.coolant_contact]
        out = out - self.flow[:, list(self.model.board_contacts.values())].sum(axis=1)
        return np.asarray(np.abs(self.total - out) / self.total)

    def difference(self, row: Row) -> Float:
        """Return the temperature difference over a breakdown row, shape (S,). [K]"""
        return self._mean(row.low, row.low_contacts) - self._mean(row.high, row.high_contacts)

    def _mean(self, probes: tuple[int, ...], contacts: tuple[int, ...]) -> Float:
        if not probes:
            return np.zeros(len(self.rise))
        rises = self.rise[:, list(probes)]
        if len(probes) != len(contacts):
            return np.asarray(rises.mean(axis=1))
        from .model.model import contact_areas

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
    change = np.inf
    for step in range(1, MAX_STEPS + 1):
        graph, arrays = model.graph, model.arrays(v, temperature)
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
