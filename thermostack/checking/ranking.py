"""What to measure next: each possible measurement by how much it is expected to tell about the causes.

Everything is taken as straight about the most probable point (the linear twin): what a new measurement would show is
then normal for each cause at each size, given all that was read, and the expected information follows
(`expected_information`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from ..errors import UnknownNameError, suggest
from ..tables import Column, Table
from .besides import points_of
from .candidates import Candidate, candidates_of
from .causes import DESCRIBED, UNLISTED, Causes
from .information import Broad, Information, expected_information

__all__ = ["NextMeasurement", "NextMeasurements", "next_measurements_of"]

Float = NDArray[np.float64]
When = Literal["possible now", "only before the mod", "needs a second part"]

WORTH = 0.01
"""Share of what is open below which a measurement is named only."""
TOLD, LEAST, MOVED = 3, 0.01, 0.005
"""For so many causes is said how they would come out: of those that have this probability, the ones whose probability
the outcome would move most; none by less than the last."""
BESIDES = 0.02
"""What came besides a cause with less probability is left out."""
RARE = 1e-3
"""The least probable components, with so much of the probability together, are neither drawn nor judged."""
SETTLED = 0.02
"""Entropy below which there is nothing left to tell. [nat]"""


@dataclass(frozen=True, eq=False)
class NextMeasurement:
    """One measurement, by what it is expected to tell.

    Attributes
    ----------
    name, takes : str
        What it is, and what it takes.
    when : {"possible now", "only before the mod", "needs a second part"}
    information : Information
        Over the causes.
    outcomes : tuple of (str, float, float, float)
        For the most probable causes: name, what the new data would show more than as described, on the mean [K, or in
        the unit of what is measured], probability of it now, and then on the mean, if it is the case.
    unit : str
    """

    name: str
    takes: str
    when: When
    information: Information
    outcomes: tuple[tuple[str, float, float, float], ...]
    unit: str

    @property
    def meaning(self) -> str:
        """What each outcome would mean."""
        if not self.outcomes:
            return "no probable cause becomes much more or less so"
        return "; ".join(
            f"if {name}: {_signed(more)} {self.unit}, then {100 * after:.0f} % for it (now {100 * now:.0f} %)"
            for name, more, now, after in self.outcomes
        )


def _signed(x: float) -> str:
    """Return a change to two digits, with its sign; in no unit here is anything smaller than a thousandth."""
    return f"{x if abs(x) >= 1e-3 else 0.0:+.2g}".replace("-", "−")


@dataclass(frozen=True, eq=False)
class NextMeasurements:
    """What to measure next, most telling first. Made by `check`.

    Attributes
    ----------
    ranked : tuple of NextMeasurement
    first : str
        The most probable cause now.
    """

    ranked: tuple[NextMeasurement, ...]
    first: str

    @property
    def open(self) -> bool:
        """Whether there is anything left to tell."""
        return any(m.information.entropy > SETTLED for m in self.ranked)

    @property
    def table(self) -> Table:
        """A row a measurement."""
        columns = (
            Column("name", "measure next", wrap=40), Column("when", "when"),
            Column("information", "tells of what is open", ".0%"), Column("nats", "information [nat]", ".3f"),
            Column("error", "error", ".3f"), Column("takes", "it takes", wrap=44),
            Column("meaning", "what it would mean", wrap=60),
        )  # fmt: skip
        rows = tuple(
            (m.name, m.when, max(m.information.share, 0.0), m.information.nats, m.information.error, m.takes, m.meaning)
            for m in self.ranked
            if self.open and m.information.share >= WORTH
        )
        if not self.open:
            settled = (
                "No cause that is listed explains the readings, and no measurement would change that: look for what is "
                "wrong in the description of the part, in the logs, or for a cause of your own (causes=[...])."
                if self.first == UNLISTED
                else "What was read settles which cause it is, if it is one of these: nothing further is asked for."
            )
            return Table(columns, (), "What to measure next", (settled,))
        rest = [m.name for m in self.ranked if m.information.share < WORTH]
        notes = ["Expected fall of the uncertainty (entropy) about which cause it is, as a share of all there is."]
        notes += [f"Next to nothing would tell: {'; '.join(rest)}."] if rest else []
        return Table(columns, rows, "What to measure next", tuple(notes))

    def __iter__(self) -> Any:
        return iter(self.ranked)

    def __getitem__(self, name: str) -> NextMeasurement:
        """Return a measurement by its name."""
        known = [each.name for each in self.ranked]
        if name not in known:
            raise UnknownNameError(f"no measurement is named {name!r}; {suggest(str(name), known)}")
        return self.ranked[known.index(name)]

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()

    def to_dict(self) -> dict[str, Any]:
        """Return a row a measurement as plain data, all of them."""
        return {
            "name": [m.name for m in self.ranked], "when": [m.when for m in self.ranked],
            "nats": [m.information.nats for m in self.ranked], "error": [m.information.error for m in self.ranked],
            "share": [m.information.share for m in self.ranked], "takes": [m.takes for m in self.ranked],
            "outcomes": [[list(o) for o in m.outcomes] for m in self.ranked],
        }  # fmt: skip


def next_measurements_of(causes: Causes, seed: int = 0, *, draws: int = 600) -> NextMeasurements:
    """Return what to measure next, most telling first.

    Parameters
    ----------
    causes : Causes
    seed : int
    draws : int
        Simulated outcomes of each measurement.
    """
    found = []
    for candidate in candidates_of(causes):
        parts = components_of(causes, candidate)
        information = parts.information(draws, seed)
        outcomes = _outcomes(causes, parts, information, candidate.rows)
        found.append(
            NextMeasurement(candidate.name, candidate.takes, candidate.when, information, outcomes, candidate.unit)
        )
    return NextMeasurements(tuple(sorted(found, key=lambda each: -each.information.nats)), causes.ranked[0].name)


@dataclass(frozen=True, eq=False)
class Components:
    """Causes at their sizes, with what each lets expect of new data, given what was read.

    Attributes
    ----------
    weights, means, steps, covariance, labels
        As `expected_information` takes them.
    unlisted : Broad
    names : tuple of str
        Of the labels.
    """

    weights: Float
    means: Float
    steps: Float
    covariance: Float
    labels: NDArray[np.intp]
    unlisted: Broad
    names: tuple[str, ...]

    def information(self, draws: int, seed: int) -> Information:
        """Return what the new data are expected to tell; what is next to impossible is left out."""
        order = np.argsort(self.weights)
        rare = np.cumsum(self.weights[order]) < RARE * (self.weights.sum() + self.unlisted.weight)
        rare[-1] = False  # where nothing that is listed is probable, one of them stands for all
        kept = np.sort(order[~rare])
        w, m, v, g = (each[kept] for each in (self.weights, self.means, self.steps, self.labels))
        return expected_information(
            w, m, self.covariance, g, steps=v, broad=(self.unlisted,), draws=draws, seed=seed
        )  # fmt: skip


def components_of(causes: Causes, candidate: Candidate) -> Components:
    """Return what each cause lets expect of a candidate's data, given all that was read.

    What probably came besides a cause, such as a bad mount, is there in further readings of that mount as well. That a
    mount which is still to be made may be bad is not counted, nor that effects are known to some per cent only.
    """
    scored, evidence = causes.scored, causes.evidence
    observed = scored.model.observed
    D = len(observed)
    C = candidate.slopes @ candidate.slopes.T + candidate.noise
    factor = linalg.cho_factor(C[:D, :D], lower=True)
    K = linalg.cho_solve(factor, C[:D, D:]).T
    residual = observed - candidate.base[:D]
    known = candidate.base[D:] + K @ residual
    covariance = C[D:, D:] - K @ C[:D, D:]
    names = [*(c.name for c in causes.effects.causes), DESCRIBED, UNLISTED]
    probability = np.array([causes[name].probability for name in names])
    weights, means, steps, labels = [], [], [], []
    for c in range(len(names) - 2):
        mine = [i for i, e in enumerate(causes.active) if e.cause == c]
        log_way = np.array([evidence.log_evidence[i, 1] + np.log(causes.active[i].share) for i in mine])
        of_way = np.exp(log_way - np.logaddexp.reduce(log_way))
        for i, share in zip(mine, of_way, strict=True):
            chain = candidate.shifts[i]
            moved = known + chain[:, D:] - chain[:, :D] @ K.T
            for part, pieces, came in _with_besides(causes, candidate, i):
                weights.append(probability[c] * share * part * pieces)
                means.append(moved[:-1] + came[D:] - K @ came[:D])
                steps.append(np.diff(moved, axis=0))
                labels.append(np.full(len(pieces), c))
    weights.append(probability[-2:-1])
    means.append(known[None])
    steps.append(np.zeros((1, len(known))))
    labels.append(np.array([len(names) - 2]))
    joined = [np.concatenate(each) for each in (weights, means, steps, labels)]
    mean, own = _conditional(C + candidate.unlisted, residual)
    unlisted = Broad(float(probability[-1]), candidate.base[D:] + mean, own, len(names) - 1)
    return Components(joined[0], joined[1], joined[2], covariance, joined[3].astype(np.intp), unlisted, tuple(names))


def _with_besides(causes: Causes, candidate: Candidate, way: int) -> Iterator[tuple[float, Float, Float]]:
    """Yield what may have come besides a way, nothing first: its share, the pieces of the way with it, its mean shift.

    What is improbable is left out.
    """
    linear, besides = causes.evidence.linear[way], causes.besides[way]
    joint, of = linear.joint[1], besides.of
    chances = [i for i, e in enumerate(causes.active) if causes.effects.causes[e.cause].chance]
    shares = np.bincount(of, linear.points)
    kept = [b for b, share in enumerate(shares) if share >= BESIDES]
    for b in kept:
        mine = np.flatnonzero(of == b)
        came = np.zeros(len(candidate.base))
        if b:
            chain = candidate.shifts[chances[b - 1]]
            points = points_of(chain)
            came = linear.points[mine] @ points / shares[b]
        yield shares[b] / shares[kept].sum(), joint[mine].sum(axis=0) / shares[b], came


def _conditional(C: Float, residual: Float) -> tuple[Float, Float]:
    """Return mean and covariance of new rows given the residual of the first ones, all about their base."""
    D = len(residual)
    gain = linalg.cho_solve(linalg.cho_factor(C[:D, :D], lower=True), C[:D, D:]).T
    return gain @ residual, C[D:, D:] - gain @ C[:D, D:]


def _outcomes(
    causes: Causes, parts: Components, information: Information, rows: Sequence[int]
) -> tuple[tuple[str, float, float, float], ...]:
    """Return for the causes whose probability it would move most how they would come out."""
    described = parts.means[parts.labels == parts.names.index(DESCRIBED)][0]
    told = []
    for ranked in (r for r in causes.ranked if r.name != DESCRIBED and r.probability >= LEAST):
        label = parts.names.index(ranked.name)
        mine = parts.labels == label
        w = parts.weights[mine]
        middle = parts.means[mine] + 0.5 * parts.steps[mine]
        mean = parts.unlisted.mean if ranked.name == UNLISTED else (w / max(w.sum(), 1e-300)) @ middle
        if label not in information.groups:
            continue
        place = information.groups.index(label)
        then = float(information.outcomes[place, place])
        if abs(then - ranked.probability) >= MOVED:
            more = float(np.mean((mean - described)[list(rows)]))
            told.append((ranked.name, more, ranked.probability, then))
    return tuple(sorted(told, key=lambda each: -each[2] * abs(each[3] - each[2]))[:TOLD])
