"""Before a mod: what each further record could later tell about causes, beyond a log before and one after."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..measured.reading import Reading
from ..prediction import DEFAULT_SOLVER, predict
from ..solvers.layered.solve import one_blas_thread
from ..stack.stack import Stack
from ..states import State, states_model
from ..tables import Column, Table
from .candidates import Candidate, candidates_of
from .causes import Causes, causes_of, prior_probabilities
from .effect import effects_of
from .evidence import Scored
from .information import Broad, Information, expected_information
from .listed import listed

__all__ = ["Foreseen", "Foresight", "foresee"]

Float = NDArray[np.float64]

SENSOR, POWER, COOLANT = 0.3, 0.01, 0.2
"""Standard uncertainties that readings are taken to have: sensor [K], power (share), coolant [K] (assumed)."""


@dataclass(frozen=True, eq=False)
class Foreseen:
    """A record that could be taken.

    Attributes
    ----------
    name, takes, when : str
    more : float
        What it is expected to tell about the causes beyond a log before and one after. [nat]
    error : float
        Monte Carlo standard error. [nat]
    """

    name: str
    takes: str
    when: str
    more: float
    error: float


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
    def table(self) -> Table:
        """A row a record."""
        columns = (
            Column("name", "record", wrap=44), Column("when", "when"), Column("more", "tells more [nat]", ".3f"),
            Column("error", "error", ".3f"), Column("takes", "it takes", wrap=50),
        )  # fmt: skip
        rows = tuple((r.name, r.when, r.more, r.error, r.takes) for r in self.records)
        note = (
            f"A log before and one after tell {self.plain.nats:.3f} of {self.plain.entropy:.3f} nat about which cause "
            "it may be, should there be one; a record tells so much more."
        )
        return Table(columns, rows, "What to record, by what it could later tell apart", (note,))

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()

    def to_dict(self) -> dict[str, Any]:
        """Return the rows as plain data."""
        return self.table.to_dict()


def foresee(stack: Stack, mod: Stack, *, solver: str = DEFAULT_SOLVER, draws: int = 2000, seed: int = 0) -> Foresight:
    """Return what to record before a mod (and after it), by what it could later tell apart.

    Nothing has been read yet: every outcome is weighed by how probable it is beforehand.

    Parameters
    ----------
    stack, mod : Stack
        As it is, and as it is to be.
    solver : str
    draws : int
        Simulated outcomes of each record.
    seed : int

    Returns
    -------
    Foresight
    """
    states = [State(each, _usual(each, solver, name)) for each, name in ((stack, "before"), (mod, "after"))]
    model = states_model([State(s.stack.uncalibrated, *s.readings) for s in states], solver)
    with one_blas_thread():
        causes = causes_of(Scored(model), model.observed, effects_of(model, listed(model)), draws=0, seed=seed)
        candidates = candidates_of(causes)
        D = len(model.observed)
        plain = _information(causes, candidates[0], np.arange(D), draws, seed)
        found = []
        for candidate in candidates:
            if candidate.when == "needs a second part":
                continue
            both = _information(causes, candidate, np.arange(len(candidate.base)), draws, seed)
            # the same outcomes of causes are drawn for both: their difference is better known than either
            error = float(np.hypot(both.error, plain.error))
            found.append(Foreseen(candidate.name, candidate.takes, _when(candidate), both.nats - plain.nats, error))
    return Foresight(tuple(sorted(found, key=lambda each: -each.more)), plain)


def _when(candidate: Candidate) -> str:
    return "after" if candidate.when == "possible now" else candidate.when


def _usual(stack: Stack, solver: str, source: str) -> Reading:
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
    spread[-2:] = POWER * power, COOLANT
    means = np.array([*temperatures.values(), power, float(point.coolant[0])])
    return Reading(tuple(temperatures), means, np.diag(spread**2), source=source)


def _information(causes: Causes, candidate: Candidate, rows: NDArray[np.intp], draws: int, seed: int) -> Information:
    """Return what these rows are expected to tell of the causes, nothing read yet."""
    prior = prior_probabilities(causes.effects.causes)
    covariance = (candidate.slopes @ candidate.slopes.T + candidate.noise)[np.ix_(rows, rows)]
    weights, means, steps, labels = [], [], [], []
    for i, effect in enumerate(causes.active):
        chain = candidate.base[rows] + candidate.shifts[i][:, rows]
        weights.append(prior[effect.cause] * effect.share * effect.masses[1])
        means.append(chain[:-1])
        steps.append(np.diff(chain, axis=0))
        labels.append(np.full(len(chain) - 1, effect.cause))
    plain = candidate.base[rows]
    weights.append(prior[-2:-1])
    means.append(plain[None])
    steps.append(np.zeros((1, len(rows))))
    labels.append(np.array([len(prior) - 2]))
    unlisted = Broad(float(prior[-1]), plain, covariance + candidate.unlisted[np.ix_(rows, rows)], len(prior) - 1)
    w, m, v, g = (np.concatenate(each) for each in (weights, means, steps, labels))
    return expected_information(w, m, covariance, g, steps=v, broad=(unlisted,), draws=draws, seed=seed)
