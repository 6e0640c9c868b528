"""The linear uncertainty budget of JCGM 100:2008 (the GUM), and whether Monte Carlo bears it out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from ..errors import InputError, UnknownNameError, suggest
from ..tables import Column, Table, format_number
from ..units import convert, unit_text
from .distributions import Scale
from .evaluate import Model
from .linear import STEP, linearise
from .summary import Summary, numerical_tolerance
from .variables import Variable, correlation_matrix

__all__ = [
    "Agreement",
    "Budget",
    "BudgetRow",
    "agreement",
    "budget_of",
    "effective_degrees_of_freedom",
    "linear_budget",
]

Float = NDArray[np.float64]
Correlations = Mapping[tuple[str, str], float]

_NUMERICAL_SHARE = 0.05
"""A numerical error of a contribution above this share of the combined standard uncertainty is told."""

_ERRORS_OF_DOUBT = 3.0


@dataclass(frozen=True)
class BudgetRow:
    """What one input contributes.

    Attributes
    ----------
    path, dimension : str
        Of the input; the dimension is a key of `units.DIMENSIONS`, or empty.
    scale : {"linear", "log"}
        Natural scale: on the log scale, uncertainty and sensitivity are those of ln x.
    centre : float
        Where the budget expands: mean, or median of a lognormal value. SI.
    uncertainty : float
        Standard uncertainty of x in SI, or of ln x.
    sensitivity : float
        Sensitivity coefficient ∂y/∂x or ∂y/∂ln x; y in the unit of the result.
    contribution : float
        Sensitivity times uncertainty, with its sign.
    share : float
        Of the variance of the result; all add up to 1. With correlated inputs it may be negative.
    """

    path: str
    dimension: str
    scale: Scale
    centre: float
    uncertainty: float
    sensitivity: float
    contribution: float
    share: float

    def texts(self, unit: str) -> tuple[str, str, str]:
        """Return value, standard uncertainty and sensitivity as text, in the units that tables show."""
        shown = unit_text(self.dimension) if self.dimension else ""
        one = float(convert(1.0, self.dimension) - convert(0.0, self.dimension)) if self.dimension else 1.0
        value = float(convert(self.centre, self.dimension)) if self.dimension else self.centre
        of_difference = "K" if shown == "°C" else shown
        value_text = f"{format_number(value)} {shown}".rstrip()
        if self.scale == "log":
            spread = f"×/ {math.exp(self.uncertainty):.3g}"
            return value_text, spread, f"{format_number(self.sensitivity)} {unit} per factor e"
        spread = f"{format_number(self.uncertainty * one)} {of_difference}".rstrip()
        per = f" per {of_difference}" if of_difference else ""
        return value_text, spread, f"{format_number(self.sensitivity / one)} {unit}{per}"


@dataclass(frozen=True)
class Budget:
    """A linear uncertainty budget.

    Attributes
    ----------
    value : float
        Result at the centres of all inputs.
    standard_uncertainty : float
        Combined, u_c.
    degrees_of_freedom : float
        Effective (Welch and Satterthwaite); infinite unless an input has few.
    coverage, coverage_factor : float
        Probability, and the Student factor k for it at the effective degrees of freedom, cut to an integer (G.4.1).
    rows : tuple of BudgetRow
        Largest contribution first.
    unit : str
        Of the result.
    notes : tuple of str
        What to know of the budget.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float
    coverage: float
    coverage_factor: float
    rows: tuple[BudgetRow, ...]
    unit: str = ""
    notes: tuple[str, ...] = ()

    @property
    def expanded_uncertainty(self) -> float:
        """U = k u_c."""
        return self.coverage_factor * self.standard_uncertainty

    @property
    def interval(self) -> tuple[float, float]:
        """Value ∓ expanded uncertainty."""
        return self.value - self.expanded_uncertainty, self.value + self.expanded_uncertainty

    def table(self, title: str = "") -> Table:
        """Return the budget as a table, a row an input, largest contribution first."""
        change = "K" if self.unit == "°C" else self.unit  # of a temperature the contributions are differences
        u = f" [{change}]" if change else ""
        columns = (
            Column("path", "input"),
            Column("value", "value", align="right"),
            Column("standard_uncertainty", "standard uncertainty", align="right"),
            Column("sensitivity", "sensitivity", align="right"),
            Column("contribution", f"contribution{u}", ".3g"),
            Column("share", "share of variance [%]", ".1f"),
        )
        rows = tuple((r.path, *r.texts(change), r.contribution, 100 * r.share) for r in self.rows)
        dof = "" if math.isinf(self.degrees_of_freedom) else f", {self.degrees_of_freedom:.1f} degrees of freedom"
        result = (
            f"{format_number(self.value, 6)} {self.unit}".rstrip()
            + f", combined standard uncertainty {format_number(self.standard_uncertainty, 3)} {change}".rstrip()
            + f"; {100 * self.coverage:g} %: ± {format_number(self.expanded_uncertainty, 3)} {change}".rstrip()
            + f" (k = {self.coverage_factor:.2f}{dof})"
        )
        return Table(columns, rows, title, (result, *self.notes))

    def _repr_html_(self) -> str:
        return self.table()._repr_html_()

    def __str__(self) -> str:
        return str(self.table())


def effective_degrees_of_freedom(contributions: Float, degrees_of_freedom: Float) -> float:
    """Return ν_eff = u_c⁴ / Σ uᵢ⁴/νᵢ (JCGM 100:2008, equation (G.2b), Welch and Satterthwaite).

    Parameters
    ----------
    contributions : ndarray (J,)
        cᵢ uᵢ of independent inputs.
    degrees_of_freedom : ndarray (J,)
        Of each; may be infinite.
    """
    denominator = float(np.sum(contributions**4 / degrees_of_freedom))
    return float(np.sum(contributions**2)) ** 2 / denominator if denominator > 0 else math.inf


def budget_of(
    variables: Sequence[Variable],
    value: float,
    sensitivities: Mapping[str, float],
    *,
    correlations: Correlations | None = None,
    degrees_of_freedom: Mapping[str, float] | None = None,
    coverage: float = 0.95,
    unit: str = "",
) -> Budget:
    """Return the linear budget of a result whose sensitivities are known.

    Parameters
    ----------
    variables : sequence of Variable
        The inputs.
    value : float
        Result at their centres.
    sensitivities : mapping of path to float
        ∂y/∂x of each input, per SI unit; ∂y/∂ln x for a lognormal one.
    correlations : mapping of (path, path) to float, optional
        As `correlation_matrix`.
    degrees_of_freedom : mapping of path to float, optional
        Of the standard uncertainties, where they differ from those of the distributions.
    coverage : float
        Of the expanded uncertainty.
    unit : str
        Of the result, for the table.

    Raises
    ------
    UnknownNameError
        If a path is not among the variables.
    InputError
        If a sensitivity is missing or not finite, degrees of freedom are not above zero, an input of few degrees of
        freedom is correlated (Welch and Satterthwaite's formula does not hold then), or as `correlation_matrix`.
    """
    if not 0.0 < coverage < 1.0:
        raise InputError(f"a coverage of {coverage:g}", where="coverage", expected="a probability such as 0.95")
    paths = [variable.path for variable in variables]
    for given, kind in ((sensitivities, "sensitivity"), (degrees_of_freedom or {}, "degrees of freedom")):
        for path in given:
            if path not in paths:
                raise UnknownNameError(
                    f"no uncertain input of this path; {suggest(path, paths)}", where=f"{kind} of {path}"
                )
    for path in paths:
        if not math.isfinite(sensitivities.get(path, math.nan)):
            raise InputError("no finite sensitivity", where=path, expected="∂y/∂x of every uncertain input")
    R = correlation_matrix(variables, correlations)
    u = np.array([v.distribution.natural_sd for v in variables], dtype=np.float64)
    cu = np.array([sensitivities[path] for path in paths], dtype=np.float64) * u
    with_others = cu * (R @ cu)  # Σⱼ rᵢⱼ cᵢuᵢ cⱼuⱼ, whose sum is u_c² (equation (16))
    variance = max(float(with_others.sum()), 0.0)
    nu = _degrees(variables, degrees_of_freedom or {}, R)
    effective = effective_degrees_of_freedom(cu, nu) if np.any(np.isfinite(nu)) else math.inf
    if not math.isinf(effective):
        # correlated inputs have infinite degrees of freedom here, and belong to u_c alone
        effective *= (variance / float(np.sum(cu**2))) ** 2
    upper = 0.5 + coverage / 2
    k = special.ndtri(upper) if math.isinf(effective) else special.stdtrit(max(math.floor(effective), 1), upper)
    rows = [
        BudgetRow(
            v.path, v.dimension, v.distribution.scale, v.distribution.centre, float(u[i]), float(sensitivities[v.path]),
            float(cu[i]), float(with_others[i]) / variance if variance > 0 else 0.0,
        )
        for i, v in enumerate(variables)
    ]  # fmt: skip
    rows.sort(key=lambda row: -abs(row.contribution))
    notes = () if variance > 0 else ("no input changes this result to first order",)
    return Budget(float(value), math.sqrt(variance), effective, coverage, float(k), tuple(rows), unit, notes)


def _degrees(variables: Sequence[Variable], given: Mapping[str, float], R: Float) -> Float:
    """Return the degrees of freedom of each variable, checked."""
    nu = np.array([given.get(v.path, v.distribution.degrees_of_freedom) for v in variables], dtype=np.float64)
    correlated = (R != 0).sum(axis=0) > 1
    for variable, degrees, tied in zip(variables, nu, correlated, strict=True):
        if not degrees > 0:
            raise InputError(f"{degrees:g} degrees of freedom", where=variable.path, expected="a number above zero")
        if tied and math.isfinite(degrees):
            raise InputError(
                f"{degrees:g} degrees of freedom and a correlation: no effective degrees of freedom are defined",
                where=variable.path,
                expected="one or the other; or Monte Carlo",
            )
    return nu


def linear_budget(
    model: Model,
    variables: Sequence[Variable],
    *,
    correlations: Correlations | None = None,
    degrees_of_freedom: Mapping[str, float] | None = None,
    coverage: float = 0.95,
    unit: str = "",
    step: float = STEP,
) -> Budget:
    """Return the linear budget of a model's result, with sensitivities by central differences (`linearise`).

    Parameters
    ----------
    model : callable
        Takes a mapping of path to samples (S,) and returns an array (S,); it is asked for 4 J + 1 samples once.
    variables : sequence of Variable
        J inputs.
    correlations, degrees_of_freedom, coverage, unit
        As in `budget_of`.
    step : float
        As in `linearise`.

    Raises
    ------
    InputError, UnknownNameError
        As `linearise` and `budget_of`; also if the model returns several results.
    """
    found = linearise(model, variables, step=step)
    if found.value.ndim:
        raise InputError(f"results of shape {found.value.shape}", where="model", expected="one result, shape (S,)")
    sensitivities = {
        v.path: float(cu) / v.distribution.natural_sd for v, cu in zip(variables, found.contributions, strict=True)
    }
    budget = budget_of(
        variables,
        float(found.value),
        sensitivities,
        correlations=correlations,
        degrees_of_freedom=degrees_of_freedom,
        coverage=coverage,
        unit=unit,
    )
    limit = _NUMERICAL_SHARE * budget.standard_uncertainty
    rough = [v.path for v, error in zip(variables, found.errors, strict=True) if error > limit > 0]
    if rough:
        return replace(
            budget,
            notes=(*budget.notes, f"not straight, or not smooth, within a fraction of its spread: {', '.join(rough)}"),
        )
    return budget


@dataclass(frozen=True)
class Agreement:
    """Whether a linear budget and Monte Carlo give the same coverage interval.

    Attributes
    ----------
    agrees : bool or None
        None where the samples are too few to tell.
    tolerance : float
        Numerical tolerance δ that both ends must keep.
    low, high : float
        Differences between the ends of the intervals, d_low and d_high.
    note : str
        The same in words.
    """

    agrees: bool | None
    tolerance: float
    low: float
    high: float
    note: str


def agreement(budget: Budget, summary: Summary, *, digits: int = 1) -> Agreement:
    """Compare a linear budget with Monte Carlo by the criterion of JCGM 101:2008, 8.1.

    The budget is validated when both ends of its interval y ∓ U lie within δ of those of the (probabilistically
    symmetric) Monte Carlo interval; δ is `numerical_tolerance` of the standard uncertainty.

    Parameters
    ----------
    budget : Budget
        With the same coverage as the summary.
    summary : Summary
        Where three of its Monte Carlo errors make a difference, the comparison cannot be made.
    digits : int
        Significant digits of the standard uncertainty that are meant.

    Raises
    ------
    InputError
        If the coverages differ, or as `numerical_tolerance`.
    """
    if not math.isclose(budget.coverage, summary.coverage):
        raise InputError(
            f"coverage {budget.coverage:g} against {summary.coverage:g}", where="coverage", expected="the same for both"
        )
    tolerance = numerical_tolerance(summary.standard_uncertainty.value, digits)
    ends = list(zip(budget.interval, (summary.low, summary.high), strict=True))
    d_low, d_high = (abs(linear - monte_carlo.value) for linear, monte_carlo in ends)
    doubt = [_ERRORS_OF_DOUBT * mc.error for _, mc in ends]
    if d_low + doubt[0] <= tolerance and d_high + doubt[1] <= tolerance:
        agrees: bool | None = True
    else:
        agrees = False if d_low - doubt[0] > tolerance or d_high - doubt[1] > tolerance else None
    unit = f" {budget.unit}".rstrip()
    told = {
        True: "the linear budget and Monte Carlo agree",
        False: "the linear budget and Monte Carlo disagree: the response is not straight over these spreads, or the "
        "result not normal; use Monte Carlo's interval, and the budget for the order of the inputs only",
        None: f"{summary.samples} samples are too few to tell whether the linear budget and Monte Carlo agree",
    }[agrees]
    note = (
        f"{told} (ends of the {100 * budget.coverage:g} % intervals differ by {d_low:.2g} and {d_high:.2g}{unit}; "
        f"{tolerance:g}{unit} allowed, JCGM 101:2008, 8.1)"
    )
    return Agreement(agrees, tolerance, d_low, d_high, note)
