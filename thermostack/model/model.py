"""A stack made ready for solving: its graph, and its arrays for any samples of its inputs."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from ..errors import InputError, ThermostackWarning
from ..laws.conduction import slab_specific_resistance
from ..laws.kirchhoff import kirchhoff_linear, kirchhoff_power
from ..laws.leakage import exponential_leakage, linear_leakage
from ..solvers.graph import Arrays, Graph
from ..stack.inputs import Input
from ..stack.stack import Stack
from .build import Plan, Row, Slab, plan
from .check import check_dies, check_order, check_sensors
from .cooling import CoolantLine, Film, check_class, check_liquid, coolant_line, film_of
from .rects import SAME, Float, Values, area, columns, point_within, rectangle

__all__ = ["Model", "Row", "Values", "contact_areas", "model_of"]


@dataclass(frozen=True, eq=False)
class Model:
    """A stack made ready: graph, names and indices, and the arrays for any samples of its inputs.

    Made by `model_of`, which keeps the last ones; a model is never changed.

    Attributes
    ----------
    stack : Stack
    inputs : mapping of str to Input
        By path.
    graph : Graph
    slabs : tuple of Slab
        In the order of the solver's slabs.
    rows : mapping of str to tuple of Row
        Breakdown of each die, from its active face up to the coolant.
    sources, probes : tuple of str, mapping
        Names of the sources (a die's whole face, then its regions), and index of each probe: ``("mean", name)``
        or ``("centre", name)`` of a die or region, ``("face", slab, side)``, ``("sensor", name)``.
    notes : tuple of str
        What was assumed.
    """

    stack: Stack
    inputs: Mapping[str, Input]
    graph: Graph
    slabs: tuple[Slab, ...]
    rows: Mapping[str, tuple[Row, ...]]
    sources: tuple[str, ...]
    probes: Mapping[tuple[str, ...], int]
    coolant_contact: int
    board_contacts: Mapping[str, int]
    notes: tuple[str, ...]
    _plan: Plan
    _centres: Mapping[str, float]
    points: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    """Probes put on active faces by `with_points`."""

    def values(self, samples: Mapping[str, Float] | None = None) -> Values:
        """Return the inputs in SI, with samples in place of centres where they are given."""
        return Values(self._centres, samples)

    def arrays(self, values: Values | None = None) -> Arrays:
        """Return the arrays of the solver contract for samples of the inputs, with conductivities at 300 K."""
        v, p = values or self.values(), self._plan
        lowest = [p.slabs[first].rect for first in self.graph.first_slab[:-1]]
        names = [slab.part.name for slab in p.slabs]
        through = [v(f"{name}.conductivity") for name in names]
        along = [
            v(f"{name}.conductivity_in_plane") if f"{name}.conductivity_in_plane" in v else k
            for name, k in zip(names, through, strict=True)
        ]
        contact_rect = columns([[edge(v) for edge in rect] for rect in p.contact_rects])
        self._check_contacts(contact_rect)
        return Arrays(
            size=columns([[x1(v) - x0(v), y1(v) - y0(v)] for x0, y0, x1, y1 in lowest]),
            centre=columns([[0.5 * (x0(v) + x1(v)), 0.5 * (y0(v) + y1(v))] for x0, y0, x1, y1 in lowest]),
            thickness=columns([v(f"{name}.thickness") for name in names]),
            k_through=columns(through),
            k_in_plane=columns(along),
            r_above=columns([0.0 if r is None else r(v) for r in p.r_above]),
            contact_rect=contact_rect,
            contact_r=columns([0.0 if r is None else r(v) for r in p.contact_r]),
            source_rect=columns([[edge(v) for edge in rect] for rect in p.source_rects]),
            probe_rect=columns([[edge(v) for edge in rect] for rect in p.probe_rects]),
        )

    def _check_contacts(self, rects: Float) -> None:
        """Refuse samples in which a piece of a contact is turned inside out: its patches or faces have moved past."""
        extent = rects[..., 2:] - rects[..., :2]
        bad = np.flatnonzero(np.any(extent < -SAME, axis=(0, 2)))
        if bad.size:
            names = [self.slabs[s].part.name for s in self._plan.contact_slabs[bad[0]] if s is not None]
            raise InputError(
                f"the rectangles of the joint at {' and '.join(map(repr, names))} overlap or part in some samples",
                where=self.stack.name,
                expected="sizes and places that keep edges in their order",
            )

    def at_temperature(self, arrays: Arrays, temperature: Float) -> Arrays:
        """Return the arrays (as made by `arrays`) with each slab's conductivity at its temperature.

        Parameters
        ----------
        temperature : ndarray, shape (S, slabs)
            Mean temperature of each slab. [K]
        """
        relative = np.stack([s.part.material.relative(temperature[:, i]) for i, s in enumerate(self.slabs)], axis=1)
        return replace(arrays, k_through=arrays.k_through * relative, k_in_plane=arrays.k_in_plane * relative)

    def powers(self, values: Values | None = None) -> Float:
        """Return the power of each source, shape (S, sources). [W]

        What the regions do not make is spread over the whole face; a die's total scales its map.
        """
        v = values or self.values()
        made: list[Float | float] = []
        for die in self.stack.dies:
            total = v(f"{die.name}.power")
            regions = [v(f"{region.name}.power") * (total / die.power.total.si) for region in die.power.regions]
            made += [total - sum(regions), *regions]
        return columns(made)

    def coolant_line(self, values: Values | None = None) -> CoolantLine:
        """Return the temperatures of the coolant over the heat that it takes."""
        return coolant_line(self.stack.coolant, values or self.values())

    def check_liquid(self, values: Values, heat: Float) -> None:
        """Refuse a coolant that boils with so much heat, shape (S,). [W] Raises InputError."""
        check_liquid(self.stack.coolant, values, heat)

    def film(self, values: Values | None = None) -> Film:
        """Return the film over the wetted area, and the figures it came from."""
        return film_of(self.stack, self._plan.contact_rects[self.coolant_contact], values or self.values())

    def board_powers(self, coolant: Float, values: Values | None = None) -> Float:
        """Return what a board warmer than the coolant adds to each source, shape (S, sources). [W]

        A convective face at θ_b passes h (θ_b − θ): the path to zero that the solver has, and an even source h θ_b.

        Parameters
        ----------
        coolant : ndarray, shape (S,)
            Temperature of the coolant. [K]
        values : Values, optional
        """
        v, board = values or self.values(), self.stack.board
        warmer = 0.0 if board is None or board.temperature is None else v("board.temperature") - coolant
        return np.asarray(self.board_conductances(v) * np.atleast_1d(warmer)[:, None])

    def board_conductances(self, values: Values | None = None) -> Float:
        """Return the conductance to the board of each source that is a whole die, else zero, (S, sources). [W/K]"""
        v = values or self.values()
        found: list[Float | float] = []
        for die in self.stack.dies:
            share = self.die_area(die.name, v) / self.die_area(None, v)
            found += [share / v("board.resistance") if self.stack.board else 0.0, *([0.0] * len(die.power.regions))]
        return columns(found)

    def die_area(self, name: str | None = None, values: Values | None = None) -> Float:
        """Return the area of a die, or of all dies together. [m²]"""
        v = values or self.values()
        dies = [die.name for die in self.stack.dies] if name is None else [name]
        return np.asarray(sum(area(rectangle(die))(v) for die in dies))

    def with_points(self, points: Mapping[str, Sequence[tuple[float, float]]]) -> Model:
        """Return the model with further probes on the active faces, under the keys ``("hot", die, number)``.

        Parameters
        ----------
        points : mapping of die name to points
            As fractions of the die's sides from its lower left corner, so that a point moves with its die.
        """
        p = replace(self._plan, probes=[*self._plan.probes], probe_rects=[*self._plan.probe_rects],
                    probe_index=dict(self._plan.probe_index))  # fmt: skip
        for die, fractions in points.items():
            for number, (x, y) in enumerate(fractions):
                p.add_probe(("hot", die, str(number)), self.slab_of_die(die), 0, point_within(rectangle(die), x, y))
        put = {die: tuple(fractions) for die, fractions in points.items()}
        return replace(self, graph=p.graph, probes=p.probe_index, _plan=p, points=put)

    def hot_probes(self, die: str) -> list[int]:
        """Return the probes whose hottest is taken for the junction of a die: those put there, or all middles."""
        put = [index for key, index in self.probes.items() if key[:2] == ("hot", die)]
        regions = next(d.power.regions for d in self.stack.dies if d.name == die)
        return put or [self.probes["centre", name] for name in (die, *(region.name for region in regions))]

    @property
    def dies(self) -> tuple[str, ...]:
        """Names of the dies."""
        return tuple(die.name for die in self.stack.dies)

    @property
    def leaks(self) -> bool:
        """Whether any die's power grows with its temperature."""
        return any(die.leakage is not None for die in self.stack.dies)

    def leakage(self, v: Values, temperature: Float | None) -> tuple[Float, Float]:
        """Return leakage power of each die and its slope, shape (S, dies). [W, W/K]

        Parameters
        ----------
        temperature : ndarray, shape (S, dies), or None
            Mean temperature of each die; None for the temperature at which its power is described. [K]
        """
        power, slope = [], []
        for i, die in enumerate(self.stack.dies):
            if die.leakage is None:
                power.append(np.zeros(1))
                slope.append(np.zeros(1))
                continue
            P0, T0, Te = (v(f"{die.name}.leakage_{field}") for field in ("power", "at", "e_fold"))
            T = T0 if temperature is None else temperature[:, i]
            if die.leakage.law == "linear":
                power.append(linear_leakage(T, P0, T0, Te))
                slope.append(P0 / Te)
            else:
                power.append(exponential_leakage(T, P0, T0, Te))
                slope.append(power[-1] / Te)
        return columns(power), columns(slope)

    def kirchhoff(self, slab: int, reference: Float, step: Float) -> Float:
        """Return the temperature behind a Kirchhoff step from a reference temperature in a slab. [K]"""
        law = self.slabs[slab].part.material.law
        if law.kind == "power":
            return kirchhoff_power(reference, step, law.exponent)
        if law.kind == "linear":
            return kirchhoff_linear(reference, step, law.slope / (1.0 + law.slope * (reference - law.reference)))
        return reference + step

    def slab_of_die(self, name: str) -> int:
        """Return the slab of a die."""
        return next(i for i, slab in enumerate(self.slabs) if slab.part.name == name)

    def block_of_die(self, name: str) -> int:
        """Return the block of a die."""
        return next(slab.block for slab in self.slabs if slab.part.name == name)

    def one_dimensional(self, row: Row, arrays: Arrays) -> Float:
        """Return the one-dimensional resistance of a breakdown row: t/(kA) or r/A, shape (S,). [K/W]"""
        block = self.graph.block_of_slab[row.slab]
        whole = arrays.size[:, block, 0] * arrays.size[:, block, 1]
        if row.solid:
            return np.asarray(
                slab_specific_resistance(arrays.thickness[:, row.slab], arrays.k_through[:, row.slab]) / whole
            )
        if not row.contacts:
            return np.asarray(arrays.r_above[:, row.slab] / whole)
        contacts = list(row.contacts)
        conductance = contact_areas(arrays, contacts) / arrays.contact_r[:, contacts]
        return np.asarray(1.0 / conductance.sum(axis=1))


def contact_areas(arrays: Arrays, contacts: list[int]) -> Float:
    """Return the areas of contacts, shape (S, contacts). [m²]"""
    rect = arrays.contact_rect[:, contacts, :]
    return np.asarray((rect[..., 2] - rect[..., 0]) * (rect[..., 3] - rect[..., 1]))


@lru_cache(maxsize=64)
def _made_ready(stack: Stack) -> Model:
    check_order(stack)
    inputs = {entry.path: entry for entry in stack.inputs()}
    centres = {path: entry.value.si for path, entry in inputs.items()}
    values = Values(centres)
    check_dies(stack, values)
    check_sensors(stack)
    check_class(stack.coolant)
    p = plan(stack, values)
    return Model(
        stack,
        inputs,
        p.graph,
        tuple(p.slabs),
        p.rows,
        tuple(p.source_names),
        p.probe_index,
        p.coolant_contact,
        p.board_contacts,
        tuple(p.notes),
        p,
        centres,
    )


def model_of(stack: Stack) -> Model:
    """Return the stack made ready for solving; warn of what is assumed.

    Raises
    ------
    InputError
        The stack as a whole makes no sense: nothing in it, a die off the lid, dies that overlap, faces that do not
        meet. The message names the parts.
    """
    model = _made_ready(stack)
    for note in model.notes:
        warnings.warn(note, ThermostackWarning, stacklevel=3)
    return model
