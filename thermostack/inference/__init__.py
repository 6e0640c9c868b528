"""Inference: the joint posterior of all variables given data, and the evidence.

It knows variables by path and distribution, and a model as any function of samples; neither stacks nor solvers.

* `Problem` holds priors, model, data and their covariance;
* `posterior_of` gives its `Posterior`: samples, evidence, what moved, what is left open, and how far to trust it;
* `linear_posterior` is the exact twin for straight models.
"""

from .conflict import Conflict
from .infer import posterior_of
from .latent import Latent, score_of, value_of
from .linear_gaussian import LinearPosterior, linear_posterior
from .posterior import Posterior, PosteriorMode
from .problem import Problem
from .undetermined import Combination, Undetermined

__all__ = [
    "Combination",
    "Conflict",
    "Latent",
    "LinearPosterior",
    "Posterior",
    "PosteriorMode",
    "Problem",
    "Undetermined",
    "linear_posterior",
    "posterior_of",
    "score_of",
    "value_of",
]
