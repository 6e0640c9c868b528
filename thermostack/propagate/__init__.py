"""Propagation of uncertainty: from inputs with spreads to what a result is worth.

It knows inputs by path and value, and a model as any function of samples; neither stacks nor solvers.

* `variables_of` takes inputs to variables with a distribution and an identity;
* `Sampler` draws their samples, `evaluate` runs a model on them, `summarise` says what came out;
* `stabilised` does so with as many samples as it takes;
* `linear_budget` says which input matters, and `agreement` whether Monte Carlo bears it out.
"""

from .adaptive import Stabilised, stabilised
from .budget import (
    Agreement,
    Budget,
    BudgetRow,
    agreement,
    budget_of,
    effective_degrees_of_freedom,
    linear_budget,
)
from .distributions import (
    Distribution,
    Exact,
    Lognormal,
    Normal,
    Rectangular,
    Student,
    TruncatedNormal,
)
from .evaluate import Model, Run, evaluate
from .linear import Linearisation, linearise, propagated_covariance, second_order_uncertainty
from .mixture import Mixture, mount_factor
from .sampling import BLOCK, Sampler, uniforms
from .summary import Estimate, Summary, chance_below, numerical_tolerance, summarise
from .variables import (
    LARGEST_TRUNCATED,
    Variable,
    correlation_matrix,
    distribution_of,
    physical_bounds,
    variables_of,
)

__all__ = [
    "BLOCK",
    "LARGEST_TRUNCATED",
    "Agreement",
    "Budget",
    "BudgetRow",
    "Distribution",
    "Estimate",
    "Exact",
    "Linearisation",
    "Lognormal",
    "Mixture",
    "Model",
    "Normal",
    "Rectangular",
    "Run",
    "Sampler",
    "Stabilised",
    "Student",
    "Summary",
    "TruncatedNormal",
    "Variable",
    "agreement",
    "budget_of",
    "chance_below",
    "correlation_matrix",
    "distribution_of",
    "effective_degrees_of_freedom",
    "evaluate",
    "linear_budget",
    "linearise",
    "mount_factor",
    "numerical_tolerance",
    "physical_bounds",
    "propagated_covariance",
    "second_order_uncertainty",
    "stabilised",
    "summarise",
    "uniforms",
    "variables_of",
]
