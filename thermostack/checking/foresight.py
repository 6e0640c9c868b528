"""Before a mod: what each further record could later tell about causes, beyond a log before and one after."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from ..errors import InputError
from ..measured.reading import Reading
from ..prediction import DEFAULT_SOLVER, predict
from ..solvers.layered.solve import one_blas_thread
from ..stack.stack import Stack
from ..states import State, StatesModel, states_model
from ..tables import Column, Table
from .candidates import Candidate, candidates_of
from .causes import DESCRIBED, UNLISTED, Causes, causes_of, prior_probabilities
from .effect import SCALES, effects_of
from .further import Further, Outcomes
from .information import Broad, Information
from .listed import listed
from .ranking import Components
from .scored import Scored

__all__ = ["Foreseen", "Foresight", "foresee"]

Float = NDArray[np.float64]

SENSOR, POWER, COOLANT = 0.3, 0.01, 0.2
"""Standard uncertainties that readings are taken to have: sensor [K], power (share), coolant [K] (assumed)."""
BOTH = "before and after"
NAMED = 0.5
"""A third cause is named if it is split so well as this share of the second."""
WORTH = 0.01
"""Share of what is open below which a record tells next to nothing."""
RARE = 1e-4
"""Sizes of a cause that are less probable than this together are left out."""


@dataclass(frozen=True, eq=False)
class Foreseen:
    """A record that could be taken.

    Attributes
    ----------
    name, takes : str
    when : {"only before the mod", "before and after", "after", "any time"}
    more : float
        What it is expected to tell about the causes beyond a log before and one after. [nat]
    error : float
        Monte Carlo standard error. [nat]
    later : float
        What it would tell if it were taken only after the mod; 0 for what cannot be taken then. [nat]
    apart : tuple of str
        Causes that it splits best: the first from each of the others. Empty where it tells next to nothing.
    """

    name: str
    takes: str
    when: str
    more: float
    error: float
    later: float
    apart: tuple[str, ...]

    @property
    def words(self) -> str:
        """What it could later tell apart; empty for next to nothing."""
        return f"“{self.apart[0]}” from {' and '.join(f'“{name}”' for name in self.apart[1:])}" if self.apart else ""


@dataclass(frozen=True, eq=False)
class Foresight:
    """What to record, most telling first. Made by `foresee`.

    Attributes
    ----------
    records : tuple of Foreseen
    plain : Information
        What a log before and one after are expected to tell by themselves.
    """

    records: tuple[Foreseen, ...]
    plain: Information

    @property
    def note(self) -> str:
        """What the figures are beyond."""
        cores = any(record.name.startswith("every ") for record in self.records)
        return (
            f"A log before and one after tell {self.plain.nats:.2f} of {self.plain.entropy:.2f} nat about which cause "
            f"it may be, one at a time; a record tells so much more{', single sensors more than their mean' * cores}."
        )

    @property
    def table(self) -> Table:
        """A row a record."""
        columns = (
            Column("name", "record", wrap=38), Column("when", "when"), Column("more", "tells more [nat]", ".3f"),
            Column("error", "error", ".3f"), Column("later", "only after [nat]", ".3f"),
            Column("apart", "could later tell apart", wrap=50), Column("takes", "it takes", wrap=36),
        )  # fmt: skip
        rows = tuple((r.name, r.when, r.more, r.error, r.later, r.words or None, r.takes) for r in self.records)
        return Table(columns, rows, "What to record, by what it could later tell apart", (self.note,))

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()

    def to_dict(self) -> dict[str, Any]:
        """Return the rows as plain data."""
        return self.table.to_dict()


def foresee(
    stack: Stack, mod: Stack, *, solver: str = DEFAULT_SOLVER, scatter: float = 0.0, draws: int = 1000, seed: int = 0
) -> Foresight:
    """Return what to record before a mod (and after it), by what it could later tell apart.

    Nothing has been read yet: every outcome is weighed by how probable it is beforehand. What can be taken before and
    after is ranked as one record, taken twice. Causes act one at a time: neither a bad mount besides another cause nor
    one among the remounts that are asked about is foreseen.

    Parameters
    ----------
    stack, mod : Stack
        As it is, and as it is to be.
    solver : str
    scatter : float
        From log to log, of all sensors alike, that no joint makes. [K]
    draws : int
        Simulated outcomes, at least 200.
    seed : int

    Returns
    -------
    Foresight

    Raises
    ------
    InputError
        The axisymmetric solver, which knows no voids.
    """
    if solver == "axisymmetric":
        raise InputError(
            "it knows no voids, nor corners of a die",
            where="foresee, solver",
            expected="'layered' or 'one-dimensional'",
        )
    states = [State(each, _usual(each, solver, name, scatter)) for each, name in ((stack, "before"), (mod, "after"))]
    model = states_model([State(s.stack.uncalibrated, *s.readings) for s in states], solver)
    with one_blas_thread():
        causes = causes_of(Scored(model), model.observed, effects_of(model, listed(model)), draws=0, seed=seed)
        candidates = candidates_of(causes, planned=True)
        D = len(model.observed)
        plain = components(causes, candidates[0], D)
        outcomes = Outcomes(plain, draws, seed)
        asked = list(_records(candidates, D))

        def told(candidate: Candidate) -> Further:
            return outcomes.further(components(causes, candidate))

        wanted = {id(one): one for pair in asked for one in pair if one is not None}
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            found = dict(zip(wanted, pool.map(told, wanted.values()), strict=True))
        if max(len(each.probes) for each in model.measured) > 1:
            cores = _cores(model, candidates[0], False), _cores(model, candidates[0], True)
            means = Outcomes(components(causes, cores[0], len(model.measured)), draws, seed)
            asked.append(cores)
            found |= {id(one): means.further(components(causes, one)) for one in cores}
        records = [
            _foreseen(record, found[id(record)], None if after is None else found[id(after)], outcomes)
            for record, after in asked
        ]
        return Foresight(tuple(sorted(records, key=lambda each: -each.more)), plain.information(2 * draws, seed))


def _foreseen(record: Candidate, told: Further, later: Further | None, outcomes: Outcomes) -> Foreseen:
    apart = _apart(told, outcomes.names) if told.nats > WORTH * outcomes.entropy else ()
    alone = 0.0 if later is None else later.nats
    return Foreseen(record.name, record.takes, record.when, told.nats, told.error, alone, apart)


def _apart(told: Further, names: Sequence[str]) -> tuple[str, ...]:
    """Return the cause of which most is told, then one or two from which it is split best.

    The described stack and what is not listed are none of them.
    """
    named = [i for i, name in enumerate(names) if name not in (DESCRIBED, UNLISTED)]
    if len(named) < 2:
        return ()
    c = max(named, key=lambda i: float(told.own[i]))
    first, *others = sorted((i for i in named if i != c), key=lambda i: -float(told.splits[c, i]))
    others = [i for i in others[:1] if told.splits[c, i] > NAMED * told.splits[c, first]]
    return tuple(names[i] for i in (c, first, *others))


# -- what can be recorded


def _records(candidates: Sequence[Candidate], D: int) -> Iterator[tuple[Candidate, Candidate | None]]:
    """Yield each record, taken before and after where that is possible, with what is left of it after the mod."""
    sides: dict[str, dict[str, Candidate]] = {}
    for candidate in candidates:
        word = next((word for word in ("before", "after") if candidate.name.endswith(f", {word}")), "")
        sides.setdefault(candidate.name.removesuffix(f", {word}"), {})[word] = candidate
    for name, side in sides.items():
        match side:
            case {"before": before, "after": after}:
                yield _together(name, before, after, D), after
            case {"before": before}:
                yield replace(before, name=name), None
            case {"after": after}:
                record = replace(after, name=name, when="after")  # type: ignore[arg-type]
                yield record, record
            case {"": plain}:  # of an input, which no mod changes
                record = replace(plain, when="any time")  # type: ignore[arg-type]
                yield record, record


def _together(name: str, one: Candidate, other: Candidate, D: int) -> Candidate:
    """Return two measurements, of different states, as one: their noise is independent."""
    n = len(one.base) - D

    def joined(a: Float, b: Float) -> Float:
        whole = linalg.block_diag(a, b[D:, D:])
        whole[len(a) :, :D], whole[:D, len(a) :] = b[D:, :D], b[:D, D:]
        return np.asarray(whole)

    takes = one.takes if one.takes == other.takes else f"before: {one.takes}; after: {other.takes}"
    return Candidate(
        name, takes, BOTH, one.unit,  # type: ignore[arg-type]
        np.concatenate([one.base, other.base[D:]]),
        np.vstack([one.slopes, other.slopes[D:]]),
        joined(one.noise, other.noise),
        joined(one.unlisted, other.unlisted),
        tuple(np.hstack([a, b[:, D:]]) for a, b in zip(one.shifts, other.shifts, strict=True)),
        (*one.rows, *(n + row for row in other.rows)),
    )  # fmt: skip


def _cores(model: StatesModel, plain: Candidate, after: bool) -> Candidate:
    """Return the logs with every sensor by itself (of the last state alone), the means of the sensors first."""
    last, D = len(model.states) - 1, len(model.observed)
    mean = np.zeros((len(model.measured), D))
    kept: list[int] = []
    for i, (each, rows) in enumerate(zip(model.measured, model.rows, strict=True)):
        mean[i, rows] = 1.0 / len(each.probes)
        if each.state == last or not after:
            kept += range(rows.start + 1, rows.stop)  # the first follows from the mean
    T = np.vstack([mean, np.eye(D)[kept]])
    one = "core" if any(die.power.regions for die in model.states[0].stack.dies) else "sensor"
    return Candidate(
        f"every {one} by itself, not only their mean", "the same logs", BOTH, "K",  # type: ignore[arg-type]
        T @ plain.base[:D], T @ plain.slopes[:D], T @ plain.noise[:D, :D] @ T.T, T @ plain.unlisted[:D, :D] @ T.T,
        tuple(shift[:, :D] @ T.T for shift in plain.shifts), tuple(range(len(kept))),
    )  # fmt: skip


def _usual(stack: Stack, solver: str, source: str, scatter: float) -> Reading:
    """Return a reading as it is to be expected, with uncertainties as they usually are."""
    found = predict(stack.uncalibrated, solver)
    point = found.point
    temperatures = {
        place if name.endswith(" mean") else name: float(t[0])
        for name, place, t in point.readings()
        if place != "coolant"
    }
    size = len(temperatures) + 2
    power = float(point.total[0])
    spread = np.full(size, SENSOR)
    # all sensors of a log off by the same is as if the coolant had been misread
    spread[-2:] = POWER * power, np.hypot(COOLANT, scatter)
    means = np.array([*temperatures.values(), power, float(point.coolant[0])])
    return Reading(tuple(temperatures), means, np.diag(spread**2), source=source)


# -- what they are expected to tell


def components(causes: Causes, candidate: Candidate, rows: int | None = None) -> Components:
    """Return what each cause lets expect of a candidate's data (of the first rows of them), nothing read yet."""
    kept = slice(rows)
    prior = prior_probabilities(causes.effects.causes)
    covariance = (candidate.slopes @ candidate.slopes.T + candidate.noise)[kept, kept]
    plain = candidate.base[kept]
    weights, means, steps, labels = (
        [prior[-2:-1]],
        [plain[None]],
        [np.zeros((1, len(plain)))],
        [np.array([len(prior) - 2])],
    )
    for i, effect in enumerate(causes.active):
        chain = plain + candidate.shifts[i][:, kept]
        masses = effect.masses[len(SCALES) // 2]
        likely = masses > RARE
        weights.append(prior[effect.cause] * effect.share * masses[likely])
        means.append(chain[:-1][likely])
        steps.append(np.diff(chain, axis=0)[likely])
        labels.append(np.full(np.count_nonzero(likely), effect.cause))
    unlisted = Broad(float(prior[-1]), plain, covariance + candidate.unlisted[kept, kept], len(prior) - 1)
    w, m, v, g = (np.concatenate(each) for each in (weights, means, steps, labels))
    names = (*(cause.name for cause in causes.effects.causes), DESCRIBED, UNLISTED)
    return Components(w, m, v, covariance, g.astype(np.intp), unlisted, names)
