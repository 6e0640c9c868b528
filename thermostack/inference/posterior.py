"""What comes out: samples of all variables given the data, the evidence, and how far to trust them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..errors import SolveError
from ..propagate import Variable
from ..tables import Cell, Column, Table, format_number
from ..units import convert, unit_text
from .conflict import Conflict
from .undetermined import Undetermined, undetermined_of

__all__ = ["Posterior", "PosteriorMode"]

Float = NDArray[np.float64]
Method: TypeAlias = Literal["importance sampling", "tempering"]


@dataclass(frozen=True, eq=False)
class PosteriorMode:
    """A way in which the data can be explained.

    Attributes
    ----------
    weight : float
        Its share of the posterior: of the samples nearest to it.
    values : mapping of path to float
        All variables there, in SI.
    scores : ndarray (J,)
        The same as scores.
    log_posterior : float
        ln(likelihood × prior density of the scores) there.
    """

    weight: float
    values: Mapping[str, float]
    scores: Float
    log_posterior: float


@dataclass(frozen=True, eq=False)
class Posterior:
    """The joint posterior of all variables.

    Attributes
    ----------
    variables : tuple of Variable
        As asked.
    samples : mapping of path to ndarray (N,)
        Equally weighted, SI. Some stand more than once; what counts is `effective_size`.
    scores : ndarray (N, J)
        The same samples as standard-normal scores of `identities`.
    identities : tuple of str
        J of them.
    predicted : ndarray (N, D)
        What the model gave for them.
    log_likelihood : ndarray (N,)
        Of the data.
    log_evidence, log_evidence_error : float
        ln of the density of the data, and its standard error.
    effective_size : float
        As many independent samples they are worth.
    khat : float
        Shape of the tail of importance weights, good below 0.7; NaN for tempering.
    modes : tuple of PosteriorMode
        Heaviest first.
    mean_errors : mapping of path to float
        Monte Carlo standard error of the mean of each variable, in its posterior standard deviations.
    conflict : Conflict
        Prior predictive check.
    method : {"importance sampling", "tempering"}
        How the samples were drawn.
    evaluations : int
        Samples that the model was asked for.
    converged : bool
        Whether the figures can be trusted.
    notes : tuple of str
        What to know of them.
    """

    variables: tuple[Variable, ...]
    samples: Mapping[str, Float]
    scores: Float
    identities: tuple[str, ...]
    predicted: Float
    log_likelihood: Float
    log_evidence: float
    log_evidence_error: float
    effective_size: float
    khat: float
    modes: tuple[PosteriorMode, ...]
    mean_errors: Mapping[str, float]
    conflict: Conflict
    method: Method
    evaluations: int
    converged: bool
    notes: tuple[str, ...]
    scores_of_variables: Float
    """Scores of each uncertain variable (N, variables): those of identities, turned by the correlations."""
    prior_correlation: Float
    """Of those scores (variables, variables)."""

    @property
    def paths(self) -> tuple[str, ...]:
        """Paths of the uncertain variables, in the order of `scores_of_variables`."""
        return tuple(path for path in self.samples if path in self.mean_errors)

    def checked(self) -> Posterior:
        """Return the posterior if it has converged.

        Raises
        ------
        SolveError
            If not; the message says what the figures were.
        """
        if not self.converged:
            raise SolveError("the posterior has not converged: " + "; ".join(self.notes))
        return self

    @cached_property
    def undetermined(self) -> Undetermined:
        """What the data do not inform, and what they cannot tell apart."""
        return undetermined_of(self.paths, self.scores_of_variables, self.prior_correlation)

    def table(self, title: str = "Posterior of the inputs") -> Table:
        """Return a row an input: prior, posterior, and how the data moved it.

        `shift` is that of the mean score, in prior standard deviations; `shrinkage` is 1 − its posterior standard
        deviation, 0 where the data say nothing; the Monte Carlo error is that of the posterior mean.
        """
        columns = (
            Column("path", "input"),
            Column("unit", "unit"),
            Column("prior_median", "prior median"),
            Column("prior_sd", "prior sd", ".3g"),
            Column("median", "median"),
            Column("sd", "sd", ".3g"),
            Column("low", "95 % from"),
            Column("high", "to"),
            Column("shift", "shift [prior sd]", ".2f"),
            Column("shrinkage", "shrinkage", ".2f"),
            Column("error", "error of mean [sd]", ".3f"),
        )
        y = dict(zip(self.paths, self.scores_of_variables.T, strict=True))
        rows: list[tuple[Cell, ...]] = []
        for variable in self.variables:
            path, law, dimension = variable.path, variable.distribution, variable.dimension
            if path not in y:
                continue
            x = self.samples[path]
            one = float(convert(1.0, dimension) - convert(0.0, dimension)) if dimension else 1.0
            places = [float(law.ppf(0.5)), *(float(q) for q in np.quantile(x, [0.5, 0.025, 0.975]))]
            prior, median, low, high = (float(convert(each, dimension)) if dimension else each for each in places)
            rows.append(
                (
                    path,
                    unit_text(dimension) if dimension else "",
                    prior,
                    law.sd * one,
                    median,
                    float(x.std(ddof=1)) * one,
                    low,
                    high,
                    float(y[path].mean()),
                    1.0 - float(y[path].std(ddof=1)),
                    self.mean_errors[path],
                )
            )
        evidence = (
            f"ln evidence {format_number(self.log_evidence, 5)} ± {format_number(self.log_evidence_error, 2)}; "
            f"worth {self.effective_size:.0f} independent samples, by {self.method}"
            + ("" if math.isnan(self.khat) else f" (shape of the weights {self.khat:.2f})".replace("-", "−"))
        )
        return Table(columns, tuple(rows), title, (evidence, f"{self.conflict}", *self.notes))

    def __str__(self) -> str:
        return str(self.table())

    def _repr_html_(self) -> str:
        return self.table()._repr_html_()
