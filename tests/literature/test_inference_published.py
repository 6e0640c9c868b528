"""Posteriors and evidences against samplers and closed forms of others.

* emcee (Foreman-Mackey, Hogg, Lang and Goodman 2013), the affine-invariant ensemble sampler;
* dynesty (Speagle 2020), nested sampling;
* the normal integral for a straight model, and quadrature in one and two dimensions.

The samplers work on the inputs themselves with the densities of `propagate`, not on scores.
"""

import math

import emcee
import numpy as np
import pytest
from dynesty import NestedSampler
from scipy import integrate, special, stats

from thermostack.inference import Problem, linear_posterior, posterior_of
from thermostack.propagate import Lognormal, Mixture, Normal, Rectangular, Student, Variable, mount_factor

ERRORS = 4.5
"""Monte Carlo standard errors allowed: some 400 figures are compared, of which one goes beyond 4.5 in 1 of 400 runs."""


def of(*laws):
    return tuple(Variable(f"v{j}.x", law) for j, law in enumerate(laws))


def model(function):
    """Return a model of paths from one of a matrix (S, J)."""
    return lambda s: function(np.stack([s[f"v{j}.x"] for j in range(len(s))], axis=1))


def bound():
    """A rectangular input is pressed against its limit."""
    return Problem(of(Rectangular(0, 1), Normal(0, 1)), model(lambda x: x[:, :1] + 0.3 * x[:, 1:]), [1.4], [[0.05**2]])


def two_mounts():
    """One of two mounts is bad: which one, the data do not say."""
    mount = mount_factor(1.15, 0.125, Lognormal(2.5, 1.3))
    return Problem(
        of(mount, mount, Normal(10, 0.5)), model(lambda x: (x[:, 2] * (x[:, 0] + x[:, 1]))[:, None]), [34.0], [[1.0]]
    )


def heavy():
    """Student prior, and a covariance of the data from five readings."""
    return Problem(
        of(Student(0, 1, 3), Normal(0, 2)),
        model(lambda x: np.stack([x[:, 0] + x[:, 1], x[:, 0] - x[:, 1]], 1)),
        [4.0, 0.5],
        [[0.5, 0.1], [0.1, 0.5]],
        degrees_of_freedom=4,
    )


def banana():
    """One datum on a parabola."""
    return Problem(
        of(Normal(0, 1), Normal(0, 1)), model(lambda x: (x[:, 1] + 2 * x[:, 0] ** 2)[:, None]), [1.0], [[0.1**2]]
    )


def thirty():
    """Thirty inputs, four data, not straight."""
    rng = np.random.default_rng(5)
    A, B = rng.standard_normal((4, 30)) * 0.5, rng.standard_normal((4, 30)) * 0.3
    laws = [Normal(0, 1) if j % 3 else Lognormal(1, 1.3) for j in range(30)]
    log = np.array([isinstance(law, Lognormal) for law in laws])

    def f(x):
        y = np.where(log, np.log(np.maximum(x, 1e-300)) / math.log(1.3), x)
        return y @ A.T + 0.1 * np.sin(y @ B.T) + 0.05 * (y @ A.T) ** 2

    at = f(np.array([[float(law.ppf(0.8)) for law in laws]]))[0]
    return Problem(of(*laws), model(f), at, 0.2**2 * np.eye(4))


def ratios():
    """Eight wide lognormal inputs in ratios, two data: a strongly curved ridge."""

    def f(x):
        x = x.T
        return np.stack([x[0] / x[1] + x[2] / x[3], x[4] * x[0] + x[5] / (x[1] + x[6]) * x[7]], 1)

    return Problem(of(*[Lognormal(1, 1.6)] * 8), model(f), [3.5, 1.2], np.diag([0.05**2, 0.05**2]))


def log_density(problem, x):
    """Return ln(likelihood × prior) of inputs (N, J) by scipy's own densities."""
    prior = sum(v.distribution.logpdf(x[:, j]) for j, v in enumerate(problem.variables))
    possible = np.isfinite(prior)
    out = np.full(len(x), -np.inf)
    if possible.any():
        residual = problem.predict({v.path: x[possible, j] for j, v in enumerate(problem.variables)}) - problem.observed
        nu = problem.degrees_of_freedom
        zero = np.zeros(len(problem.observed))
        noise = (
            stats.multivariate_normal(zero, problem.covariance)
            if math.isinf(nu)
            else stats.multivariate_t(zero, problem.covariance, df=nu, allow_singular=False)
        )
        out[possible] = prior[possible] + np.atleast_1d(noise.logpdf(residual))
    return out


def by_emcee(problem, steps, seed):
    """Return samples (N, J) and their number of independent ones (J,)."""
    rng = np.random.default_rng(seed)
    J = len(problem.variables)
    walkers = max(40, 3 * J)
    x = np.stack([v.distribution.ppf(rng.random(5000)) for v in problem.variables], axis=1)
    start = x[np.argsort(-log_density(problem, x))[:walkers]]  # all different, and not too far out
    moves = [(emcee.moves.DEMove(), 0.7), (emcee.moves.DESnookerMove(), 0.1), (emcee.moves.StretchMove(), 0.2)]
    sampler = emcee.EnsembleSampler(walkers, J, lambda x: log_density(problem, x), vectorize=True, moves=moves)
    sampler.random_state = np.random.RandomState(seed).get_state()
    sampler.run_mcmc(start, steps)
    chain = sampler.get_chain(discard=steps // 4)
    tau = emcee.autocorr.integrated_time(chain, quiet=True, tol=0)
    return chain.reshape(-1, J), chain.shape[0] * walkers / tau


def error_of_sd(x, size):
    """Return the relative error of a standard deviation from so many independent samples."""
    return math.sqrt((stats.kurtosis(x, fisher=False) - 1) / (4 * size))


@pytest.mark.parametrize(
    ("case", "steps"), [(bound, 1000), (two_mounts, 1000), (heavy, 1000), (banana, 3000), (thirty, 4000)]
)
@pytest.mark.filterwarnings("ignore:The chain is shorter")
def test_samples_are_those_of_emcee(case, steps):
    problem = case()
    found = posterior_of(problem, draws=8000, seed=1).checked()
    theirs, size = by_emcee(problem, steps, 2)
    for j, variable in enumerate(problem.variables):
        x, y = found.samples[variable.path], theirs[:, j]
        own = 1 / found.mean_errors[variable.path] ** 2
        assert size[j] > 500
        if np.isfinite(variable.distribution.sd):  # moments of few degrees of freedom have no error to go by
            error = x.std() * math.sqrt(1 / own + 1 / size[j])
            assert abs(x.mean() - y.mean()) < ERRORS * error
            error = math.hypot(error_of_sd(x, own), error_of_sd(y, size[j]))
            assert abs(math.log(x.std() / y.std())) < ERRORS * error
        for p in (0.025, 0.25, 0.5, 0.75, 0.975):
            error = math.sqrt(p * (1 - p) * (1 / own + 1 / size[j]))
            assert abs(np.mean(y < np.quantile(x, p)) - p) < ERRORS * error


@pytest.mark.parametrize("case", [two_mounts, ratios])
def test_evidence_is_that_of_nested_sampling(case):
    problem = case()
    laws = [v.distribution for v in problem.variables]
    mixtures = [j for j, law in enumerate(laws) if isinstance(law, Mixture)]
    noise = np.sqrt(np.diag(problem.covariance))  # both cases have independent data

    def likelihood(x):
        predicted = problem.predict({v.path: x[j : j + 1] for j, v in enumerate(problem.variables)})[0]
        return float(
            np.sum(-0.5 * ((predicted - problem.observed) / noise) ** 2 - np.log(noise * math.sqrt(2 * math.pi)))
        )

    def transform(u):
        """Which component a mixture takes has a number of its own, after those of the values."""
        taken = list(laws)
        for j, which in zip(mixtures, u[len(laws) :], strict=True):
            taken[j] = laws[j].components[0 if which < laws[j].shares[0] else 1]
        x = [
            law.location + law.spread * z if isinstance(law, Normal) else law.median * law.factor**z
            for law, z in zip(taken, special.ndtri(u), strict=False)
        ]
        return np.array([*x, *u[len(laws) :]])

    sampler = NestedSampler(
        likelihood, transform, len(laws) + len(mixtures), nlive=250, sample="rwalk", rstate=np.random.default_rng(3)
    )
    sampler.run_nested(print_progress=False, dlogz=0.1)
    theirs = sampler.results
    found = posterior_of(problem, draws=4000, seed=1).checked()
    error = math.hypot(found.log_evidence_error, float(theirs.logzerr[-1]))
    assert error < 0.2
    assert found.log_evidence == pytest.approx(float(theirs.logz[-1]), abs=3 * error)


@pytest.mark.parametrize(("inputs", "data"), [(5, 1), (5, 3), (30, 4), (60, 40), (10, 40)])
@pytest.mark.parametrize("draws", [1000, 4000])
def test_a_straight_model_has_the_posterior_of_the_closed_form(inputs, data, draws):
    rng = np.random.default_rng(inputs + data)
    A = rng.standard_normal((data, inputs))
    noise = 0.3 * rng.standard_normal((data, data)) + 0.3 * np.eye(data)
    noise = noise @ noise.T + 0.01 * np.eye(data)
    d = A @ rng.standard_normal(inputs) + rng.multivariate_normal(np.zeros(data), noise)
    exact = linear_posterior(A, (np.zeros(inputs), np.eye(inputs)), d, noise)
    joint = stats.multivariate_normal(np.zeros(data), A @ A.T + noise)
    assert exact.log_evidence == pytest.approx(joint.logpdf(d), rel=1e-9)
    found = posterior_of(Problem(of(*[Normal(0, 1)] * inputs), model(lambda x: x @ A.T), d, noise), draws=draws)
    assert found.converged
    assert found.evaluations < 3000 or draws > 1000
    assert found.log_evidence_error < 0.03
    assert found.log_evidence == pytest.approx(exact.log_evidence, abs=4 * found.log_evidence_error)
    sd = np.sqrt(np.diag(exact.covariance))
    error = np.array(list(found.mean_errors.values()))
    assert np.all(np.abs(found.scores.mean(axis=0) - exact.mean) < ERRORS * error * sd)
    # 1.5: resampling adds to the scatter of a covariance
    covariance = np.cov(found.scores.T) / np.outer(sd, sd)
    allowed = 1.5 * ERRORS * math.sqrt(2) / math.sqrt(found.effective_size)
    assert np.all(np.abs(covariance - exact.covariance / np.outer(sd, sd)) < allowed)


@pytest.mark.parametrize("case", [bound, heavy, banana])
def test_evidence_is_that_of_quadrature_in_two_dimensions(case):
    problem = case()
    low, high = (0.0, 1.0) if case is bound else (-20.0, 20.0) if case is heavy else (-5.0, 5.0)
    x, y = np.linspace(low, high, 1001), np.linspace(-12, 12, 2001)
    grid = np.exp(log_density(problem, np.stack(np.meshgrid(x, y, indexing="ij"), -1).reshape(-1, 2)))
    exact = math.log(integrate.simpson(integrate.simpson(grid.reshape(x.size, y.size), x=y), x=x))
    for seed in (1, 2):
        found = posterior_of(problem, draws=4000, seed=seed).checked()
        assert found.log_evidence_error < 0.03
        assert found.log_evidence == pytest.approx(exact, abs=4 * found.log_evidence_error)


def test_evidence_is_that_of_quadrature_in_one_dimension():
    law = mount_factor(1.2, 0.1, Lognormal(2.0, 1.3))
    problem = Problem(of(law), model(lambda x: np.log1p(x) * 3), [2.9], [[0.2**2]], degrees_of_freedom=6)
    exact = integrate.quad(lambda x: float(np.exp(log_density(problem, np.array([[x]]))[0])), 0.05, 20, limit=400)[0]
    found = posterior_of(problem, seed=4)
    assert found.log_evidence == pytest.approx(math.log(exact), abs=4 * found.log_evidence_error)
