"""What the readings should have been: drawn jointly from everything that was not known, before any of them is used.

A reading's power and coolant are as they were read; that each was read with an error is among the unknowns. The drops
are figures of the readings, and so have a predictive distribution of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, SolveError
from ..inference import Posterior
from ..measured.reading import Reading
from ..states import StatesModel

__all__ = ["Drawn", "Drops", "Given", "coolant_rows", "drawn", "drops_of"]

Float = NDArray[np.float64]

CHUNK = 2000
FULL = 0.75
"""Share of the highest power from which on a reading is of the same level, where levels are not asked for by name."""
COMPARABLE = 0.6
"""Share of the other state's power from which on two readings may be of one load: meters are up to 30 % off."""
LEAST_SETTLED = 0.95
"""Share of the samples that must have an operating point."""


@dataclass(frozen=True, eq=False)
class Drops:
    """The drops of readings, as linear figures of what the sensors show.

    Attributes
    ----------
    sensors : tuple of str
        That every reading used has.
    before, after : mapping of int to float
        Readings used, by number, with their shares of the mean.
    weights : ndarray, shape (2, sensors, D)
        Of the rises over the coolant as read: at equal power (rises per watt times the baseline's power), and at equal
        workload (coolants and powers as they were).
    """

    sensors: tuple[str, ...]
    before: Mapping[int, float]
    after: Mapping[int, float]
    weights: Float

    def of(self, shown: Float, coolant: Float) -> Float:
        """Return the drops (S, 2, sensors) for what all sensors show (S, D) over the coolants as read (D,). [K]"""
        return np.asarray(np.einsum("kmd,sd->skm", self.weights, np.atleast_2d(shown) - coolant))


def drops_of(model: StatesModel, level: str | None = None) -> Drops:
    """Return the drops between the readings of the first and of the last state.

    Readings of one power level are used: of each mount that of the highest power, unless a level is asked for, or the
    highest differs and a level of one name was read in both; mounts count alike. Where a mount was read before and
    after (the mod left the cold plate on), only such mounts are used.

    Raises
    ------
    InputError
        No reading of the level in one of the states, no readings at about the same load, or no sensor that all of them
        have.
    """
    ends = (0, len(model.states) - 1)
    under = _under_one_mount(model, ends)
    level = level or _level(model, under)
    groups = []
    for state, mine in zip(ends, under, strict=True):
        same = [i for i in mine if model.measured[i].reading.level == level] if level else _fullest(model, mine)
        if not same:
            levels = sorted({model.measured[i].reading.level for i in mine})
            raise InputError(
                f"no reading at level {level!r}; there are {levels}",
                where=model.states[state].stack.label,
                expected="readings before and after at one level: reading.labelled(level=…)",
            )
        groups.append(same)
    groups = _common_mounts(model, groups)
    shares = [_shares(model, group) for group in groups]
    probes = [set(model.measured[i].probes) for group in groups for i in group]
    common = [p for p in model.measured[groups[0][0]].probes if all(p in each for each in probes)]
    if not common:
        raise InputError("no sensor that was read before and after", where="check", expected="one sensor at least")
    names = dict(zip(model.measured[groups[0][0]].probes, model.measured[groups[0][0]].reading.sensors, strict=True))
    power = sum(s * model.measured[i].reading.power for i, s in zip(groups[0], shares[0], strict=True))
    weights = np.zeros((2, len(common), len(model.observed)))
    for group, own, sign in zip(groups, shares, (1.0, -1.0), strict=True):
        for i, share in zip(group, own, strict=True):
            each = model.measured[i]
            for m, probe in enumerate(common):
                row = model.rows[i].start + each.probes.index(probe)
                weights[0, m, row] = sign * share * power / each.reading.power
                weights[1, m, row] = sign * share
    before, after = (dict(zip(group, own, strict=True)) for group, own in zip(groups, shares, strict=True))
    return Drops(tuple(names[p] for p in common), before, after, weights)


def _under_one_mount(model: StatesModel, ends: tuple[int, int]) -> list[list[int]]:
    """Return the readings of two states; only those of mounts that both have, if there are any."""
    under = [[i for i, each in enumerate(model.measured) if each.state == state] for state in ends]
    return _common_mounts(model, under)


def _common_mounts(model: StatesModel, groups: list[list[int]]) -> list[list[int]]:
    """Return of two groups of readings those of mounts that both have, if there are any; else all."""
    mount = [each.mount for each in model.measured]
    kept = [
        [i for i in mine if any(mount[i] == mount[j] for j in other)]
        for mine, other in zip(groups, groups[::-1], strict=True)
    ]
    return kept if all(kept) else groups


def _shares(model: StatesModel, group: list[int]) -> list[float]:
    """Return by how much each reading of a group counts: mounts alike, and readings of a mount alike."""
    mount = [model.measured[i].mount for i in group]
    return [1.0 / (len(set(mount)) * mount.count(each)) for each in mount]


def _level(model: StatesModel, under: list[list[int]]) -> str | None:
    """Return the name of the level to compare: none where the highest powers are of one level anyway."""
    of = [each.reading for each in model.measured]
    power = [max(of[i].power for i in mine) for mine in under]
    alike = min(power) / max(power)
    if alike >= FULL:
        return None
    before, after = ({of[i].level: of[i].power for i in mine if of[i].level} for mine in under)
    named = [level for level in before if level in after]
    if named:
        return max(named, key=lambda level: before[level])
    if alike < COMPARABLE:
        raise InputError(
            f"the highest power was {power[0]:.4g} W before and {power[1]:.4g} W after: not one load",
            where="check",
            expected="readings before and after at one load, labelled alike: reading.labelled(level='half load')",
        )
    return None


def _fullest(model: StatesModel, mine: list[int]) -> list[int]:
    """Return of each mount the reading of the highest power, where that is near the highest of all."""
    power = {i: model.measured[i].reading.power for i in mine}
    best: dict[str, int] = {}
    for i in sorted(mine, key=lambda i: power[i]):
        best[model.measured[i].reading.mount] = i
    return sorted(i for i in best.values() if power[i] >= FULL * max(power.values()))


@dataclass(frozen=True, eq=False)
class Given:
    """Readings that are known already, and what they taught.

    Attributes
    ----------
    posterior : Posterior
    readings : tuple of Reading
        In the order in which the posterior has their errors, the last of its variables.
    """

    posterior: Posterior
    readings: tuple[Reading, ...]

    def has(self, reading: Reading) -> bool:
        """Tell whether a reading is one of them."""
        return any(reading is each for each in self.readings)


@dataclass(frozen=True, eq=False)
class Drawn:
    """Joint draws of what is true and what is shown.

    Attributes
    ----------
    model : StatesModel
    drops : Drops
    true, shown, repeated : ndarray, shape (S, D)
        True temperature at each sensor; with the errors that the reading shares with its power and coolant, and what
        all readings share; and with its own noise and the numerical error as well: another reading, had it been taken.
        [K]
    numerical : ndarray, shape (S, D)
        The numerical error in `repeated`. [K]
    centre : ndarray, shape (D,)
        Simulation with every input at its centre, at the power and coolant that were read: S. [K]
    lost : float
        Share of the samples without an operating point, left out.
    known : ndarray of bool, shape (D,)
        Which rows were read before, and are known.
    learned : mapping of str to ndarray
        Draws of what those taught, by path; empty where nothing was read before.
    """

    model: StatesModel
    drops: Drops
    true: Float
    shown: Float
    repeated: Float
    numerical: Float
    centre: Float
    lost: float
    known: NDArray[np.bool_]
    learned: Mapping[str, Float]

    @cached_property
    def coolant(self) -> Float:
        """Coolant as read, for each row. [K]"""
        return coolant_rows(self.model)

    def figure(self, what: Float) -> Float:
        """Return the drops (S, 2, sensors) of `true`, `shown` or `repeated`. [K]"""
        return self.drops.of(what, self.coolant)


def coolant_rows(model: StatesModel) -> Float:
    """Return the coolant temperature that was read beside each row of the observed. [K]"""
    return np.concatenate([np.full(len(each.probes), each.reading.coolant) for each in model.measured])


def drawn(
    model: StatesModel, samples: int, seed: int, *, level: str | None = None, given: Given | None = None
) -> Drawn:
    """Return joint draws from the priors, or given earlier readings: then only those that are new are drawn anew.

    Raises
    ------
    SolveError
        More than a twentieth of the samples has no operating point.
    """
    drops = drops_of(model, level)
    learned = {} if given is None else _learned(model, given, samples, seed)
    values = {**model.sampler(seed).draw(0, samples), **learned}
    parts = [_both(model, {p: x[i : i + CHUNK] for p, x in values.items()}) for i in range(0, samples, CHUNK)]
    true, shown = (np.concatenate(each) for each in zip(*parts, strict=True))
    kept = np.isfinite(shown).all(axis=1)
    if kept.mean() < LEAST_SETTLED:
        lost = ~np.isfinite(shown)
        worst = max(zip(model.measured, model.rows, strict=True), key=lambda each: float(lost[:, each[1]].sum()))[0]
        raise SolveError(
            f"{worst.name}: {np.sum(~kept)} of {samples} samples have no operating point at {worst.reading.power:.4g} W"
            f" (sd {worst.reading['power'][1]:.2g} W): was this power read, and is it known no better?"
        )
    true, shown = true[kept], shown[kept]
    rng = np.random.default_rng([seed, 20])
    numerical = rng.standard_normal(shown.shape) * model.numerical_error
    repeated = shown + numerical + _noise(model, rng, len(shown))
    # what was calibrated on is known: it would read what it read
    known = np.concatenate([np.full(len(e.probes), given is not None and given.has(e.reading)) for e in model.measured])
    shown[:, known] = repeated[:, known] = model.observed[known]
    numerical[:, known] = 0.0
    centre = model({v.path: np.atleast_1d(v.distribution.ppf(0.5)) for v in model.variables})[0]
    return Drawn(model, drops, true, shown, repeated, numerical, centre, 1.0 - float(kept.mean()), known, learned)


def _noise(model: StatesModel, rng: np.random.Generator, count: int) -> Float:
    factor = np.linalg.cholesky(model.covariance + np.diag(np.full(len(model.covariance), 1e-12)))
    return np.asarray(rng.standard_normal((count, len(factor))) @ factor.T)


def _both(model: StatesModel, samples: Mapping[str, Float]) -> tuple[Float, Float]:
    """Return true and shown temperatures of all sensors, (S, D) each. [K]"""
    true, shown = [], []
    for number, each in enumerate(model.measured):
        point = model.point(samples, number, *model.true(samples, number))
        shown.append(model.sensed(samples, number, point))
        at = {name: temperature for name, _, temperature in point.readings()}
        true.append(np.stack([np.broadcast_to(at[p], len(shown[-1])) for p in each.probes], axis=1))
    return np.concatenate(true, axis=1), np.concatenate(shown, axis=1)


def _learned(model: StatesModel, given: Given, samples: int, seed: int) -> dict[str, Float]:
    """Return draws of the variables that a posterior has, by identity, together."""
    posterior = given.posterior
    known = {v.identity: v.path for v in posterior.variables}
    # errors of each reading stand last, under names that differ from model to model
    last = [v.path for v in posterior.variables[-2 * len(given.readings) :]]
    for number, reading in enumerate(given.readings):
        mine = next(each for each in model.measured if each.reading is reading)
        known |= {v.identity: path for v, path in zip(mine.run, last[2 * number : 2 * number + 2], strict=True)}
    rows = np.random.default_rng([seed, 21]).integers(0, len(posterior.scores), samples)
    return {v.path: posterior.samples[known[v.identity]][rows] for v in model.variables if v.identity in known}
