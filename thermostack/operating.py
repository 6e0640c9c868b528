"""The operating point: temperatures that fit the conductivities and the leakage they give, on top of any solver.

*Conductivity.* Each slab has that of its mean temperature. A die has that of its upper face's mean, and the
temperatures of its active face follow by a Kirchhoff step from there: with k at the upper face the transformed
temperature U meets the joint above as the true one does (to first order in what differs along that face), and within
the die U is exact, also for a region that is much hotter than the die's mean.

*Leakage.* Each die's leakage follows its mean temperature, which is linear in all powers: Newton's method on that small
system, from the cold side, where the law is convex and the method climbs to the lower, stable point. Where heat begets
more heat than it takes (the spectral radius of dθ/dP · dP/dθ reaches 1) there is none: the die runs away.

*Coolant.* Where a radiator or a known flow ties its temperature to the heat, it is a straight line over that heat,
which is linear in all powers: every watt warms all probes alike, on top of the rise over the coolant.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from .errors import SolveError
from .model import Model, Row, Values, contact_areas
from .solvers.graph import Arrays, Graph, Response, Solver

__all__ = ["OperatingPoint", "curved", "operate", "steps_above_dies", "to_limit"]

Float: TypeAlias = NDArray[np.float64]

TOLERANCE = 5e-5
"""Largest change of a slab's mean temperature that is still to come, relative to the sample's hottest rise: the last
change times by how much each step shrinks it, a hundred to a thousandfold."""
MAX_STEPS = 40
LIMIT_TOLERANCE = 1e-4
"""How near to a limit the junction must be. [K]"""
HOTTEST = 1000.0
"""Temperature beyond which a sample is given up where not all are asked for. [K]"""
LARGEST_GAIN = 1e6
"""Beyond it a die has run away by any measure. [W/W]"""


@dataclass(frozen=True, eq=False)
class OperatingPoint:
    """A model solved at its operating point, for all samples.

    Attributes
    ----------
    model, values : Model, Values
    graph, arrays : Graph, Arrays
        As last solved, with conductivities at their temperatures.
    response : Response
    power, board_power : ndarray, shape (S, sources)
        Power of each source, with its leakage, and what a warm board adds. [W]
    rise : ndarray, shape (S, probes)
        Of each probe over the coolant. [K]
    error : ndarray, shape (S, probes)
        Estimated error of `rise`. [K]
    stretch : ndarray, shape (S, probes)
        On an active face, the rise above the die's upper face over what it would be at that face's conductivity.
    coolant : ndarray, shape (S,)
        Coolant temperature to which the film refers, warmed by the heat it takes. [K]
    steps : int
        Solves that were needed.
    settled : ndarray of bool, shape (S,)
        False where a sample ran away or did not settle; its rises are NaN.
    curvature : ndarray, shape (S, probes), or None
        What local conductivity adds to each probe (see `local`), per square of its step above the die's upper face,
        where that is contained in `rise`. [1/K]
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
    stretch: Float
    coolant: Float
    steps: int
    settled: NDArray[np.bool_]
    curvature: Float | None = None

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
    def own_junction_rise(self) -> Float:
        """Rise of the hottest point by the power of the dies alone, without a warm board, shape (S,). [K]"""
        hot = [probe for die in self.model.dies for probe in self.model.hot_probes(die)]
        return np.asarray(np.einsum("spk,sk->sp", self.response.influence[:, hot], self.power).max(axis=1))

    @property
    def hottest_die(self) -> str:
        """Name of the die that is hottest in the first sample."""
        return self.model.dies[int(np.argmax(self._peaks[0]))]

    @property
    def hottest_mean_rise(self) -> Float:
        """Mean rise of the active face of the hottest die, which may be another in each sample, shape (S,). [K]"""
        means = np.stack([self.probe("mean", name) for name in self.model.dies], axis=1)
        return np.asarray(np.take_along_axis(means, np.argmax(self._peaks, axis=1)[:, None], axis=1)[:, 0])

    @cached_property
    def _peaks(self) -> Float:
        return np.stack([self.rise[:, self.model.hot_probes(die)].max(axis=1) for die in self.model.dies], axis=1)

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

    @property
    def coolant_at_rest(self) -> Float:
        """Temperature of the coolant if it took no heat, shape (S,). [K]"""
        return np.broadcast_to(self.model.coolant_line(self.values).base, self.coolant.shape)

    @property
    def coolant_inlet(self) -> Float:
        """Temperature of the coolant into the block, shape (S,); as it is read where no flow is known. [K]"""
        line = self.model.coolant_line(self.values)
        return np.asarray(line.base + line.inlet * self.flow[:, self.model.coolant_contact])

    @property
    def coolant_outlet(self) -> Float:
        """Temperature of the coolant out of the block, shape (S,); as it is read where no flow is known. [K]"""
        line = self.model.coolant_line(self.values)
        return np.asarray(line.base + line.outlet * self.flow[:, self.model.coolant_contact])

    def _true(self, at: str, key: tuple[str, str]) -> Float:
        """Return the temperature at the place of a sensor. [K]"""
        if at == "coolant outlet":
            return self.coolant_outlet
        if at == "coolant":  # where the stack says that its temperature is read; of a loop with a radiator, the inlet
            return self.coolant_at_rest if self.model.stack.coolant.radiator is None else self.coolant_inlet
        return np.asarray(self.coolant + self.probe(*key))

    def readings(self) -> Iterator[tuple[str, str, Float]]:
        """Yield name, place and temperature [K] of every sensor, as it would read."""
        stack = self.model.stack
        if not stack.sensors:
            for die in stack.dies:
                for name in [region.name for region in die.power.regions] or [die.name]:
                    yield f"{name} mean", name, self.coolant + self.probe("mean", name)
        for sensor in stack.sensors:
            key = ("sensor", sensor.name) if ("sensor", sensor.name) in self.model.probes else ("mean", sensor.at)
            true = self._true(sensor.at, key)
            offset, slope, pivot = (
                self.values(f"{sensor.name}.{field}") if f"{sensor.name}.{field}" in self.values else 0.0
                for field in ("offset", "slope", "pivot")
            )
            yield sensor.name, sensor.at, np.asarray(true + offset + slope * (true - pivot))

    @property
    def limited(self) -> Float:
        """Temperature that a limit is set to: the highest reading of the stack's sensors on dies and regions, or that
        of the junction where the stack has none, shape (S,). [K]
        """
        read = [temperature for _, at, temperature in self._on_dies()]
        return np.asarray(np.max(read, axis=0)) if read else self.coolant + self.junction_rise

    @property
    def limited_by(self) -> str:
        """Name of the sensor that limits in the first sample; "junction" where the stack has none on its dies."""
        read = [(float(temperature[0]), name) for name, _, temperature in self._on_dies()]
        return max(read)[1] if read else "junction"

    def _on_dies(self) -> list[tuple[str, str, Float]]:
        stack = self.model.stack
        if not stack.sensors:
            return []
        places = {name for die in stack.dies for name in (die.name, *(region.name for region in die.power.regions))}
        return [found for found in self.readings() if found[1] in places]

    def difference(self, row: Row) -> Float:
        """Return the temperature difference over a breakdown row, shape (S,). [K]"""
        start, end = self._span(row)
        return np.asarray((end - start) * self._whole_difference(row))

    def _whole_difference(self, row: Row) -> Float:
        return self._mean(row.low, row.low_contacts) - self._mean(row.high, row.high_contacts)

    def _span(self, row: Row) -> tuple[Float | float, Float | float]:
        return (0.0, 1.0) if row.span is None else (row.span[0](self.values), row.span[1](self.values))

    def _mean(self, probes: tuple[int, ...], contacts: tuple[int, ...]) -> Float:
        if not probes:
            return np.zeros(len(self.rise))
        rises = self.rise[:, list(probes)]
        if len(probes) != len(contacts):
            return np.asarray(rises.mean(axis=1))
        area = contact_areas(self.arrays, list(contacts))
        return np.asarray((rises * area).sum(axis=1) / area.sum(axis=1))

    def one_dimensional(self, row: Row) -> Float:
        """Return the one-dimensional resistance of a row, t/(kA) or r/A at its temperatures, shape (S,). [K/W]"""
        straight = self.model.one_dimensional(row, self.arrays)
        if row.solid and row.slab in self._die_slabs:
            die = self.model.slabs[row.slab].part.name
            straight = straight * self.stretch[:, self.model.probes["mean", die]]
        start, end = self._span(row)
        return np.asarray((end - start) * straight)

    @property
    def _die_slabs(self) -> list[int]:
        return [self.model.slab_of_die(name) for name in self.model.dies]

    def below(self, row: Row) -> Float:
        """Return the temperature rise on the lower side of a row, shape (S,). [K]"""
        return np.asarray(self._mean(row.low, row.low_contacts) - self._span(row)[0] * self._whole_difference(row))


def operate(model: Model, solver: Solver, values: Values | None = None, *, partial: bool = False) -> OperatingPoint:
    """Return the operating point of a model.

    Parameters
    ----------
    model : Model
    solver : Solver
        Any function of a graph and its arrays.
    values : Values, optional
        Samples of the inputs; the centres if not given.
    partial : bool
        Return what settled, with NaN rises in the other samples and `settled` to tell them apart, instead of raising;
        a sample for which the solver returns NaN, or that becomes hotter than `HOTTEST`, is one of these.

    Raises
    ------
    SolveError
        The temperatures did not settle, or a die runs away; the message says by how much they still moved, or in how
        many of the samples.
    InputError
        The coolant freezes or boils, or its flow lies where no law holds.
    """
    v = values or model.values()
    lost = np.zeros(v.count, dtype=bool)
    line = model.coolant_line(v)
    base, per_watt = (np.broadcast_to(np.atleast_1d(each), (v.count,)) for each in (line.base, line.film))
    described, to_board, coolant = model.powers(v), model.board_conductances(v), base
    of_die = np.array([[float(name == source) for source in model.sources] for name in model.dies])
    faces = np.array([[model.probes["face", str(i), str(side)] for side in (0, 1)] for i in range(len(model.slabs))])
    at_300, active = model.arrays(v), _ActiveFaces(model)
    temperature = np.repeat(coolant[:, None], len(model.slabs), axis=1)
    heated = np.zeros((len(coolant), len(model.dies)))
    before = np.full(len(coolant), 1e-9)  # [K]
    for step in range(1, MAX_STEPS + 1):
        graph, arrays = model.graph, model.at_temperature(at_300, temperature)
        response = solver(graph, arrays)
        if partial:
            response, unanswered = _answered(response)
            lost = lost | unanswered
        # the board sees the true temperature of an active face, the solver's path to it the one before its stretch
        board_power = model.board_powers(coolant, v) - heated @ of_die * to_board
        power = described + board_power
        warms = per_watt[:, None] * response.flow[:, model.coolant_contact]  # the coolant, by each source [K/W]
        if model.leaks:
            added, away = _leaking(model, v, response.influence[:, active.means] + warms[:, None], power, base, heated)
            power, lost = power + added, lost | (away >= 1)
            if lost.any() and not partial:
                raise SolveError(_runs_away(model, away))
        coolant = base + np.sum(warms * power, axis=1)
        rise = np.einsum("spk,sk->sp", response.influence, power)
        if partial:  # so hot that no law holds: such samples are lost, and must not stop the others
            lost = lost | (coolant + rise.max(axis=1) > HOTTEST)
            rise, coolant = np.where(lost[:, None], 0.0, rise), np.where(lost, base, coolant)
        warmed, stretch = active.warmed(coolant, rise)
        heated_before, heated = heated, warmed[:, active.means] - rise[:, active.means]
        new = coolant[:, None] + warmed[:, faces].mean(axis=2)
        new[:, active.slabs] = coolant[:, None] + rise[:, faces[active.slabs, 1]]
        change = np.abs(new - temperature).max(axis=1)
        shrinks = np.clip(change / before, 0.0, 0.9)  # nearly constant from one step to the next
        to_come = change * shrinks / (1.0 - shrinks)
        if model.leaks or model.board_contacts:  # these were told of the step before how warm the active faces are
            to_come = np.maximum(to_come, np.abs(heated - heated_before).max(axis=1))
        left = np.where(lost, 0.0, to_come / np.maximum(np.abs(rise).max(axis=1), 1e-12))
        temperature, before = new, np.maximum(change, 1e-9)
        if left.max() < TOLERANCE or (partial and step == MAX_STEPS):
            settled = ~lost & (left < TOLERANCE)
            warmed[~settled] = np.nan
            heat = np.sum(response.flow[:, model.coolant_contact] * power, axis=1)
            model.check_liquid(v, np.where(settled, heat, np.nan))
            error = np.einsum("spk,sk->sp", response.error, np.abs(power)) * stretch
            return OperatingPoint(
                model,
                v,
                graph,
                arrays,
                response,
                power - board_power,
                board_power,
                warmed,
                error,
                stretch,
                coolant,
                step,
                settled,
            )
    raise SolveError(
        f"{model.stack.name}: conductivities and temperatures did not settle in {MAX_STEPS} steps; a mean "
        f"temperature is still to move by {left.max():.2g} of the hottest rise"
    )


def _answered(response: Response) -> tuple[Response, NDArray[np.bool_]]:
    """Return a response with zeros for the samples that the solver does not answer for (NaN), and which they are."""
    unanswered = np.asarray(~np.isfinite(response.influence).all(axis=(1, 2)))
    if not unanswered.any():
        return response, unanswered
    influence, flow, error = (
        np.where(unanswered[:, None, None], 0.0, each) for each in (response.influence, response.flow, response.error)
    )
    return replace(response, influence=influence, flow=flow, error=error), unanswered


def curved(point: OperatingPoint, curvature: Float | None) -> OperatingPoint:
    """Return a point as `operate` made it with what local conductivity adds, known per square of each probe's step."""
    if curvature is None:
        return point
    return replace(point, rise=point.rise + curvature * steps_above_dies(point) ** 2, curvature=curvature)


def steps_above_dies(point: OperatingPoint) -> Float:
    """Return by how much each probe of an active face is above its die's upper face, shape (S, probes). [K]

    Linear rises; 0 for the other probes.
    """
    steps = np.zeros_like(point.rise)
    linear = np.einsum("spk,sk->sp", point.response.influence, point.power + point.board_power)
    for name in point.model.dies:
        slab = point.model.slab_of_die(name)
        top = point.model.probes["face", str(slab), "1"]
        mine = [i for i, probe in enumerate(point.graph.probes) if (probe.slab, probe.side) == (slab, 0)]
        steps[:, mine] = linear[:, mine] - linear[:, top, None]
    return steps


class _ActiveFaces:
    """The Kirchhoff step of every probe on an active face."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self.slabs = [model.slab_of_die(name) for name in model.dies]
        self.means = [model.probes["mean", name] for name in model.dies]
        self._tops = [model.probes["face", str(slab), "1"] for slab in self.slabs]
        self._probes = [
            [i for i, probe in enumerate(model.graph.probes) if (probe.slab, probe.side) == (slab, 0)]
            for slab in self.slabs
        ]

    def warmed(self, coolant: Float, rise: Float) -> tuple[Float, Float]:
        """Return the rises with true temperatures on the active faces, and by how much each stretched (1 elsewhere)."""
        warmed, stretch = rise.copy(), np.ones_like(rise)
        for slab, top, probes in zip(self.slabs, self._tops, self._probes, strict=True):
            reference = (coolant + rise[:, top])[:, None]
            step = rise[:, probes] - rise[:, top, None]
            true = self._model.kirchhoff(slab, reference, step) - reference
            warmed[:, probes] = rise[:, top, None] + true
            stretch[:, probes] = np.where(np.abs(step) > 1e-9, true / np.where(step == 0, 1.0, step), 1.0)
        return warmed, stretch


def _leaking(
    model: Model, v: Values, influence: Float, power: Float, coolant: Float, heated: Float
) -> tuple[Float, Float]:
    """Return what leakage adds to each source over what is described, and how many watts a watt begets.

    Parameters
    ----------
    influence : ndarray, shape (S, dies, sources)
        Of each source on each die's mean, over the coolant as it is without heat. [K/W]
    coolant : ndarray, shape (S,)
        That coolant's temperature. [K]
    heated : ndarray, shape (S, dies)
        By how much each die's mean is above what the linear response says. [K]

    Returns
    -------
    added : ndarray, shape (S, sources)
        [W]; zero in a sample that runs away.
    begets : ndarray, shape (S,)
        Largest eigenvalue of the loop; 1 or more where a sample runs away (or does not settle).
    """
    whole = [model.sources.index(name) for name in model.dies]
    gain = influence[:, :, whole]
    still = coolant[:, None] + heated + np.einsum("sdk,sk->sd", influence, power)
    described = np.broadcast_to(model.leakage(v, None)[0], still.shape)
    temperature, begets = still - np.einsum("sde,se->sd", gain, described), np.zeros(len(still))
    for _ in range(MAX_STEPS):
        with np.errstate(over="ignore"):  # a step past the last stable point may lead anywhere; that is caught below
            leakage, slope = model.leakage(v, temperature)
        loop = np.minimum(gain * slope[:, None, :], LARGEST_GAIN)
        begets = np.maximum(begets, np.max(np.abs(np.linalg.eigvals(loop)), axis=1))
        stable = begets < 1
        residual = (
            still + np.einsum("sde,se->sd", gain, np.where(stable[:, None], leakage - described, 0.0)) - temperature
        )
        loop[~stable], residual[~stable] = 0.0, 0.0
        climb = np.linalg.solve(np.eye(len(whole)) - loop, residual[:, :, None])[:, :, 0]
        temperature = temperature + climb
        moving = np.max(np.abs(climb), axis=1) >= 1e-7
        if not moving.any():
            break
        if not stable.all():
            temperature[~stable] = still[~stable]
    begets[moving] = np.inf
    added = np.zeros_like(np.broadcast_to(power, (len(temperature), power.shape[1])))
    added[:, whole] = np.where((begets < 1)[:, None], model.leakage(v, temperature)[0] - described, 0.0)
    return added, begets


def _runs_away(model: Model, begets: Float) -> str:
    count = f"in {int(np.sum(begets >= 1))} of {len(begets)} samples " if len(begets) > 1 else ""
    return (
        f"{model.stack.name}: the die runs away {count}- each watt of leakage warms it enough for another one or more; "
        "cool it better, or lower the power or the leakage"
    )


def to_limit(point: OperatingPoint, solver: Solver, limit: float) -> Float:
    """Return the total power at which a part is at its limit, in the same map, shape (S,). [W]

    It is there when `OperatingPoint.limited` is: the sensor that limits, or the junction where there is none.
    Leakage, what a warm board adds and a coolant that warms follow; the described powers are scaled.

    Parameters
    ----------
    point : OperatingPoint
        The stack at its own power.
    solver : Solver
    limit : float
        Temperature, above the coolant's without heat. [K]

    Raises
    ------
    SolveError
        The power did not settle, or the part is above the limit even without power.
    """
    shown = f"{point.model.stack.name}: {{}} at which the {point.limited_by} is at {limit - 273.15:.1f} °C"
    scale, here, last = np.ones_like(point.coolant), point, point.limited
    # per unit of scale; of a constant conductivity without leakage it is exact
    slope = here.own_junction_rise + here.coolant - here.coolant_at_rest
    step = (limit - last) / slope
    for _ in range(MAX_STEPS):
        if np.all(np.abs(limit - last) < LIMIT_TOLERANCE):
            if np.any(here.total <= 0):
                raise SolveError(shown.format("there is no power"))
            return here.total
        try:
            here = curved(operate(point.model, solver, _at_power(point, scale + step)), point.curvature)
        except SolveError:  # a step too far, where the die runs away or the conductivity ends
            step = step / 2
            continue
        now = here.limited
        gained = now - last
        slope = np.where(np.abs(gained) > 0, gained / np.where(step == 0, 1.0, step), slope)
        scale, last = scale + step, now
        step = (limit - last) / slope
    raise SolveError(shown.format("no power was found"))


def _at_power(point: OperatingPoint, scale: Float) -> Values:
    """Return the inputs with every die's power scaled."""
    paths = [f"{die.name}.power" for die in point.model.stack.dies]
    return point.values.with_samples({path: point.values(path) * scale for path in paths})
