"""The inference engine: transforms, diagnostics, what the result says, bad input, and simulation-based calibration."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, special, stats

from thermostack.errors import InputError, SolveError, UnknownNameError
from thermostack.inference import Latent, Problem, linear_posterior, posterior_of, score_of, value_of
from thermostack.inference.importance import followed, importance_sampled, resampled
from thermostack.inference.modes import find_modes
from thermostack.inference.pareto import pareto_shape, smoothed
from thermostack.inference.problem import Target
from thermostack.inference.proposal import Hump, Proposal, latin_hypercube
from thermostack.inference.tempering import tempered
from thermostack.propagate import (
    Exact,
    Lognormal,
    Mixture,
    Normal,
    Rectangular,
    Sampler,
    Student,
    TruncatedNormal,
    Variable,
    mount_factor,
)

A, B, C = (Variable(f"{name}.x", Normal(0, 1)) for name in "abc")
MOUNT = mount_factor(1.15, 0.125, Lognormal(2.5, 1.3))
LAWS = [
    Normal(3, 0.5),
    Lognormal(2, 1.4),
    Lognormal(0.7, 1.3, 1.0),
    Rectangular(-1, 4),
    Student(1, 0.3, 4),
    TruncatedNormal(1, 0.5, 0.0),
    TruncatedNormal(1, 2.0, 0.5, 3.0),
    MOUNT,
    Mixture((0.5, 0.5), (Lognormal(1, 1.01), Lognormal(5, 1.01))),
]


def total(*paths):
    return lambda s: sum(s[path] for path in paths)[:, None]


def simple(**changes):
    given = {"variables": (A, B), "predict": total("a.x", "b.x"), "observed": [1.0], "covariance": [[0.01]]}
    return Problem(**{**given, **changes})


# --- scores ---


@pytest.mark.parametrize("law", LAWS, ids=repr)
def test_values_are_quantiles_and_scores_lead_back(law):
    z = np.linspace(-5, 5, 401)
    x = value_of(law, z)
    assert np.all(np.diff(x) >= 0)
    inside = np.abs(z) < 4  # beyond, probabilities next to 1 lose digits
    exact = law.ppf(special.ndtr(z[inside]))
    # in a gap of a mixture the quantile is as steep as its density is low: there, compare probabilities
    close = np.isclose(x[inside], exact, rtol=1e-9, atol=0) | (
        np.abs(law.cdf(x[inside]) - special.ndtr(z[inside])) < 1e-13
    )
    assert np.all(close)
    back = score_of(law, x[inside])
    assert np.allclose(back, z[inside], rtol=0, atol=1e-7)


@pytest.mark.parametrize("law", [Normal(3, 0.5), Student(1, 0.3, 4), TruncatedNormal(1, 0.2, -9.0), MOUNT], ids=repr)
def test_tails_keep_their_digits(law):
    z = np.array([9.0, 10.0, 12.0]) if not isinstance(law, Mixture) else np.array([6.0, 7.0, 8.0])
    assert np.allclose(score_of(law, value_of(law, z)), z, rtol=1e-9)
    assert np.allclose(score_of(law, value_of(law, -z)), -z, rtol=1e-6)


def test_scores_of_correlated_variables_are_those_of_the_sampler():
    variables = (A, Variable("b.x", Lognormal(2, 1.5)), C)
    latent = Latent(variables, {("a.x", "b.x"): 0.8})
    x = latent.values(np.random.default_rng(1).standard_normal((200_000, 3)))
    drawn = Sampler(variables, 1, correlations={("a.x", "b.x"): 0.8}).draw(0, 200_000)
    for each in (x, drawn):
        assert np.corrcoef(each["a.x"], np.log(each["b.x"]))[0, 1] == pytest.approx(0.8, abs=0.005)
    at = {"a.x": 0.3, "b.x": 2.5, "c.x": -1.0}
    there = latent.values(latent.scores(at)[None])
    assert {path: float(each[0]) for path, each in there.items()} == pytest.approx(at)


def test_one_identity_is_one_unknown():
    same = (
        Variable("a.x", Normal(0, 1), "shared"),
        Variable("b.x", Normal(5, 2), "shared"),
        C,
        Variable("d.x", Exact(7)),
    )
    latent = Latent(same)
    assert latent.identities == ("shared", "c.x")
    x = latent.values(np.array([[0.5, -1.0]]))
    assert {path: float(each[0]) for path, each in x.items()} == {"a.x": 0.5, "b.x": 6.0, "c.x": -1.0, "d.x": 7.0}
    # twice the same unknown: a + b = 5 + 3 z
    found = posterior_of(Problem(same, total("a.x", "b.x"), [8.0], [[0.1**2]]))
    exact = linear_posterior([[3.0]], ([0.0], [[1.0]]), [3.0], [[0.1**2]])
    assert found.log_evidence == pytest.approx(exact.log_evidence, abs=4 * found.log_evidence_error)
    assert np.array_equal(found.samples["b.x"], 5 + 2 * found.samples["a.x"])


# --- diagnostics ---


@pytest.mark.parametrize("k", [-0.3, 0.0, 0.3, 0.7, 1.2])
def test_shape_of_a_pareto_tail(k):
    x = stats.genpareto(k, scale=2.0).rvs(20_000, random_state=np.random.default_rng(1))
    shape, scale = pareto_shape(x)
    assert shape == pytest.approx(k, abs=4 * (1 + k) / math.sqrt(20_000))  # asymptotic error (1 + k)/√n
    assert scale == pytest.approx(2.0, rel=0.15)


def test_smoothing_keeps_order_and_scale():
    raw = stats.expon.rvs(size=2000, random_state=np.random.default_rng(2)) * 0.4  # weights of Pareto index 2.5
    out, k = smoothed(raw)
    assert k == pytest.approx(0.4, abs=0.25)
    assert np.array_equal(np.argsort(raw), np.argsort(out, kind="stable"))
    assert out.max() <= raw.max()
    assert np.exp(out).mean() == pytest.approx(np.exp(raw).mean(), rel=0.05)
    assert smoothed(np.zeros(1000))[1] == -math.inf
    assert smoothed(np.full(1000, -np.inf))[1] == math.inf


def test_a_hump_draws_from_its_density():
    rng = np.random.default_rng(3)
    basis = np.linalg.qr(rng.standard_normal((5, 2)))[0]
    hump = Hump(rng.standard_normal(5), basis, np.array([[0.3, 0.0], [0.2, 0.5]]))
    z = hump.draw(rng, 40_000)
    # E[N(z; m, S)/q(z)] = 1 for a normal distribution that q covers
    inside = basis @ hump.factor @ hump.factor.T @ basis.T
    normal = stats.multivariate_normal(hump.middle, inside + np.eye(5) - basis @ basis.T)
    w = np.exp(normal.logpdf(z) - hump.log_density(z))
    assert w.mean() == pytest.approx(1, abs=4 * w.std() / 200)
    assert 1 / np.mean(w**2) > 0.75


def test_a_refit_finds_where_the_samples_are():
    rng = np.random.default_rng(4)
    first = Proposal(0.05, np.array([0.95]), (Hump(np.zeros(6), np.eye(6)[:, :1], np.eye(1)),))
    z = np.concatenate([rng.standard_normal((4000, 6)), first.draw(rng, 4000)[0]])
    aim = stats.multivariate_normal(
        [1, -0.5, 0, 0, 0, 0], np.diag([0.1, 0.05, 1, 1, 1, 1])
    )  # second one not in the basis
    w = np.exp(aim.logpdf(z) - special.logsumexp(first.parts(z), axis=0))
    hump = first.refitted(z, w / w.sum()).humps[0]
    assert hump.rank == 2
    assert hump.middle[0] == pytest.approx(1, abs=0.1)
    assert abs(hump.basis[1, 1]) > 0.95


def test_a_hypercube_has_one_sample_in_each_part():
    z = latin_hypercube(np.random.default_rng(1), 50, 3)
    assert np.all(np.sort(np.floor(special.ndtr(z) * 50), axis=0) == np.arange(50)[:, None])


def test_resampling_takes_each_as_often_as_its_weight():
    w = np.random.default_rng(1).dirichlet(np.ones(40))
    counts = np.bincount(resampled(w, 1000, np.random.default_rng(2)), minlength=40)
    assert np.all(np.abs(counts - 1000 * w) < 1)


# --- evidence and posterior ---


def test_evidence_errors_are_honest():
    """Over 24 seeds the scatter is what is stated, and there is no bias. Either mount is bad."""
    problem = Problem((Variable("m.x", MOUNT), Variable("n.x", MOUNT)), total("m.x", "n.x"), [3.4], [[0.1**2]])
    x = np.linspace(0.3, 8, 2001)
    density = np.exp(MOUNT.logpdf(x))
    grid = density[:, None] * density * stats.norm(3.4, 0.1).pdf(x[:, None] + x)
    exact = math.log(np.trapezoid(np.trapezoid(grid, x), x))
    found = [posterior_of(problem, draws=500, seed=seed) for seed in range(24)]
    off = np.array([each.log_evidence - exact for each in found])
    stated = np.array([each.log_evidence_error for each in found])
    assert abs(off.mean()) < 4 * off.std() / math.sqrt(24)
    # stratified draws scatter less than independent ones, for which the error is
    assert off.std() < 1.4 * np.sqrt(np.mean(stated**2))
    both = np.array([[mode.weight for mode in each.modes[:2]] for each in found])
    assert both.mean() == pytest.approx(0.5, abs=0.03)


def test_model_error_adds_to_the_variance():
    constant = posterior_of(simple(model_error=[0.3]))
    called = posterior_of(simple(model_error=lambda s: np.full((len(s["a.x"]), 1), 0.3)))
    z = np.array([[0.4, 0.2], [0.0, 1.5]])
    for each in ([0.3], lambda s: np.full((len(s["a.x"]), 1), 0.3)):
        got = Target(simple(model_error=each)).evaluate(z).log_likelihood
        assert got == pytest.approx(stats.norm(1.0, math.sqrt(0.1)).logpdf([0.6, 1.5]))
    exact = linear_posterior([[1.0, 1.0]], (np.zeros(2), np.eye(2)), [1.0], [[0.01 + 0.09]])
    for each in (constant, called):
        assert each.log_evidence == pytest.approx(exact.log_evidence, abs=4 * each.log_evidence_error)
        assert each.samples["a.x"].var() == pytest.approx(exact.covariance[0, 0], rel=0.06)


def test_student_data_are_weighed_by_the_student_density():
    problem = simple(degrees_of_freedom=3, observed=[4.0])
    z = np.array([[0.4, 0.2]])
    got = Target(problem).evaluate(z).log_likelihood[0]
    assert got == pytest.approx(stats.t(3, 4.0, 0.1).logpdf(0.6))


def test_impossible_samples_have_no_weight():
    def f(s):
        return np.where(s["a.x"] > 0.2, np.nan, s["a.x"] + s["b.x"])[:, None]

    found = posterior_of(simple(predict=f), draws=4000)
    assert found.samples["a.x"].max() <= 0.2
    # a + b = 1 ± 0.1 leaves a ~ N(μ, s²); what lies below 0.2 is what is left of it
    exact = linear_posterior([[1.0, 1.0]], (np.zeros(2), np.eye(2)), [1.0], [[0.01]])
    below = stats.norm(exact.mean[0], math.sqrt(exact.covariance[0, 0])).cdf(0.2)
    assert found.log_evidence == pytest.approx(exact.log_evidence + math.log(below), abs=4 * found.log_evidence_error)
    assert any("gives nothing in" in note for note in found.notes)
    with pytest.raises(SolveError, match="gives nothing at 256 of 256"):
        posterior_of(simple(predict=lambda s: np.full((len(s["a.x"]), 1), np.nan)), draws=500)


def test_tempering_agrees_with_the_closed_form():
    rng = np.random.default_rng(7)
    jacobian = rng.standard_normal((3, 12))
    variables = tuple(Variable(f"v{j}.x", Normal(0, 1)) for j in range(12))
    d = np.array([2.0, -1.0, 0.5])
    problem = Problem(
        variables, lambda s: np.stack([s[v.path] for v in variables], 1) @ jacobian.T, d, 0.2**2 * np.eye(3)
    )
    exact = linear_posterior(jacobian, (np.zeros(12), np.eye(12)), d, 0.2**2 * np.eye(3))
    far = Proposal(0.5, np.array([0.5]), (Hump(np.full(12, 0.7), np.eye(12)[:, :2], np.eye(2)),))
    found = [tempered(Target(problem), np.random.default_rng(seed), 2000, far) for seed in range(4)]
    z = np.concatenate([each.scores.reshape(-1, 12) for each in found])
    off = [each.log_evidence - exact.log_evidence for each in found]
    assert abs(np.mean(off)) < 4 * np.mean([each.log_evidence_error for each in found]) / 2
    assert np.all(np.abs(z.mean(axis=0) - exact.mean) < 0.08)
    assert np.allclose(np.cov(z.T), exact.covariance, atol=0.08)


def test_what_importance_sampling_cannot_do_is_tempered(monkeypatch):
    import thermostack.inference.infer as infer

    monkeypatch.setattr(infer, "_ENOUGH", 50.0)  # more than there are
    monkeypatch.setattr(infer, "followed", lambda *given: None)
    found = posterior_of(simple(), draws=1000)
    exact = linear_posterior([[1.0, 1.0]], (np.zeros(2), np.eye(2)), [1.0], [[0.01]])
    assert found.method == "tempering"
    assert found.converged
    assert found.log_evidence == pytest.approx(exact.log_evidence, abs=4 * found.log_evidence_error)
    assert any("importance sampling did not do (worth" in note for note in found.notes)
    monkeypatch.setattr(infer, "_LARGEST_ERROR", 0.0)
    with pytest.raises(SolveError, match=r"has not converged: .*error of ln evidence 0\.\d+; at least 100"):
        posterior_of(simple(), draws=1000).checked()


@pytest.mark.parametrize("nu", [math.inf, 4.0])
def test_what_tempering_shows_is_then_importance_sampled(nu, monkeypatch):
    import thermostack.inference.infer as infer

    def fails(*given):
        return replace(importance_sampled(*given), khat=2.0)

    problem = simple(degrees_of_freedom=nu, observed=[1.5])
    straight = posterior_of(problem, draws=4000, seed=1)
    assert straight.notes == ()
    monkeypatch.setattr(infer, "importance_sampled", fails)
    monkeypatch.setattr(infer, "followed", lambda *given: None)
    found = posterior_of(problem, draws=4000, seed=2)
    assert any("it did after tempering" in note for note in found.notes)
    error = math.hypot(found.log_evidence_error, straight.log_evidence_error)
    assert found.log_evidence == pytest.approx(straight.log_evidence, abs=4 * error)


def test_draws_follow_the_bend_where_data_are_precise():
    """Twelve sums of two lognormals, each known to 1 %: thin curved sheets in 24 dimensions; evidence by quadrature.

    Importance sampling about the mode is worth one sample here.
    """
    sd, noise, D = 0.5, 0.02, 12
    rng = np.random.default_rng(0)
    variables = tuple(Variable(f"v{j}.x", Normal(0, 1)) for j in range(2 * D))

    def sums(s):
        return np.exp(sd * np.stack([s[v.path] for v in variables], 1).reshape(-1, D, 2)).sum(axis=2)

    observed = np.exp(sd * rng.standard_normal((D, 2))).sum(axis=1)
    found = posterior_of(Problem(variables, sums, observed, noise**2 * np.eye(D)), draws=4000, seed=1).checked()
    law = stats.lognorm(s=sd)
    steps, weights = np.polynomial.hermite_e.hermegauss(15)
    exact = 0.0
    for y in observed:
        densities = [
            integrate.quad(lambda a, t=t: law.pdf(a) * law.pdf(t - a), 0, t, epsrel=1e-9, limit=200)[0]
            for t in y - noise * steps
        ]
        exact += math.log(weights @ densities / weights.sum())
    assert found.log_evidence == pytest.approx(exact, abs=4 * found.log_evidence_error)
    assert found.log_evidence_error < 0.05
    assert any("draws that follow the bend of the model did" in note for note in found.notes)
    assert found.predicted.mean(axis=0) == pytest.approx(observed, abs=3 * noise)


@pytest.mark.parametrize("bottom", [0.0, 0.01])
def test_a_fold_is_not_counted_twice(bottom):
    """√(x² + c) + 0.3 y (or x² itself) has two modes, each the mirror image of the other; evidence by quadrature."""

    def folded(s):
        x = s["a.x"] ** 2
        return ((np.sqrt(x + bottom) if bottom else x) + 0.3 * s["b.x"])[:, None]

    problem = simple(predict=folded, observed=[1.2], covariance=[[0.02**2]])
    target = Target(problem)
    modes = find_modes(target, np.array([[1.0, 0.0], [-1.0, 0.0]]))
    assert len(modes) == 2
    found = followed(target, modes, np.random.default_rng(0), 8000)

    def given(x):
        y = math.sqrt(x * x + bottom) if bottom else x * x
        return stats.norm.pdf(x) * stats.norm.pdf(1.2, y, math.hypot(0.3, 0.02))

    exact = math.log(2 * integrate.quad(given, 0, 8, epsrel=1e-10, limit=200)[0])
    assert found is None or found.log_evidence == pytest.approx(exact, abs=5 * found.log_evidence_error + 0.005)


@pytest.mark.parametrize("nu", [math.inf, 3.0])
def test_a_likelihood_is_tempered_from_none_to_whole(nu):
    target = Target(simple(degrees_of_freedom=nu))
    found = target.evaluate(np.array([[0.4, 0.2], [2.0, -3.0]]))
    at = [target.tempered(found.log_likelihood, found.log_peak, t) for t in (0.0, 0.3, 1.0)]
    assert at[0] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert at[2] == pytest.approx(found.log_likelihood)
    if math.isinf(nu):
        assert at[1] == pytest.approx(0.3 * found.log_likelihood)
    else:  # squared distances 16 and 400
        square = np.array([16.0, 400.0])
        assert at[1] == pytest.approx(0.3 * stats.t(3, 0, 0.1).logpdf(0) - (3 + 0.3) / 2 * np.log1p(0.3 * square / 3))


def test_simulation_based_calibration():
    """Ranks of the truth among the posterior are uniform (Talts and others 2018): 200 data sets, 10 exact bins.

    A bad mount, a bound and a curved model. The chance that any of 30 bins goes beyond the limits is 1 in 1000.
    """
    variables = (Variable("m.x", MOUNT), Variable("r.x", Rectangular(0, 1)), Variable("k.x", Lognormal(1, 1.5)))

    def f(s):
        return np.stack([s["m.x"] / s["k.x"] + s["r.x"], s["m.x"] * np.exp(-s["r.x"])], 1)

    rng = np.random.default_rng(11)
    truths = Sampler(variables, 12).draw(0, 200)
    data = f(truths) + 0.15 * rng.standard_normal((200, 2))
    ranks = {v.path: np.zeros(10, dtype=int) for v in variables}
    for i in range(200):
        found = posterior_of(Problem(variables, f, data[i], 0.15**2 * np.eye(2)), draws=400, seed=i)
        for path, counts in ranks.items():
            counts[np.count_nonzero(found.samples[path][:9] < truths[path][i])] += 1
    low, high = stats.binom(200, 1 / 10).ppf([0.0005 / 30, 1 - 0.0005 / 30])
    for path, counts in ranks.items():
        assert np.all((counts >= low) & (counts <= high)), (path, counts)
        assert stats.chisquare(counts).pvalue > 1e-3 / 3, (path, counts)


def test_same_seed_same_figures():
    one, same, other = (posterior_of(simple(), draws=500, seed=seed) for seed in (5, 5, 6))
    assert one.log_evidence == same.log_evidence
    assert np.array_equal(one.scores, same.scores)
    assert one.log_evidence != other.log_evidence


# --- what the result says ---


def test_what_cannot_be_told_apart():
    found = posterior_of(Problem((A, B, C), total("a.x", "b.x"), [1.0], [[0.05**2]]))
    open_ = found.undetermined
    assert [{a, b} for a, b, _ in open_.pairs] == [{"a.x", "b.x"}]
    assert open_.pairs[0][2] == pytest.approx(-1 / (1 + 2 * 0.05**2 * 0.5 / 1), abs=0.02)
    assert open_.unmoved == ("c.x",)
    (combination,) = open_.combinations
    assert combination.sd == pytest.approx(0.05 / math.sqrt(2), rel=0.05)
    assert dict(combination.weights) == pytest.approx({"a.x": 0.707, "b.x": 0.707}, abs=0.01)
    assert "say nothing of c.x" in str(open_)
    assert "cannot tell b.x from a.x" in str(open_)


def test_a_contradiction_is_said_with_numbers():
    found = posterior_of(simple(observed=[12.0]))
    assert found.converged
    assert found.conflict.distance == pytest.approx(12 / math.sqrt(2.01), rel=0.1)  # sd of 500 draws: 3 %
    assert found.conflict.p == found.conflict.least_p
    assert found.conflict.p_normal < 1e-10
    assert "contradict the priors: they lie 8." in found.notes[0]
    assert "agree with the priors" in str(posterior_of(simple()).conflict)
    ordinary = posterior_of(simple(observed=[2 * math.sqrt(2.01)]), draws=20_000).conflict
    exact = 2 * stats.norm.sf(2)
    assert ordinary.p_normal == pytest.approx(exact, rel=0.15)  # sd of 2500 draws: 1.4 %, which is 7 % in p
    assert ordinary.p == pytest.approx(exact, abs=4 * math.sqrt(exact / 2500))


def test_prior_predictive_p_is_uniform():
    """Two-sided: p below 0.1, 0.5, 0.9 as often as it says, over 300 data sets from the prior (4 errors)."""
    rng = np.random.default_rng(9)
    x = rng.standard_normal((300, 2))
    p = []
    for i in range(300):
        d = x[i].sum() + 0.5 * rng.standard_normal()
        p.append(posterior_of(simple(observed=[d], covariance=[[0.25]]), draws=100, seed=i).conflict.p)
    for level in (0.1, 0.5, 0.9):
        assert np.mean(np.array(p) <= level) == pytest.approx(level, abs=4 * math.sqrt(level * (1 - level) / 300))


def test_the_table_shows_units_and_what_moved():
    variables = (Variable("paste.bond_line", Lognormal(40e-6, 1.4), dimension="bond line"), B)
    found = posterior_of(
        Problem(variables, lambda s: np.log(s["paste.bond_line"] / 40e-6)[:, None], [0.3], [[0.03**2]])
    )
    table = found.table().to_dict()
    assert table["path"] == ["paste.bond_line", "b.x"]
    assert table["unit"] == ["µm", ""]
    assert table["prior_median"][0] == pytest.approx(40)
    exact = linear_posterior([[math.log(1.4)]], ([0.0], [[1.0]]), [0.3], [[0.03**2]])
    assert table["shift"][0] == pytest.approx(exact.mean[0], abs=0.02)
    assert table["median"][0] == pytest.approx(40 * 1.4 ** exact.mean[0], rel=0.005)
    assert table["shrinkage"] == pytest.approx([1 - math.sqrt(exact.covariance[0, 0]), 0.0], abs=0.03)
    sd = 40 * 1.4 ** exact.mean[0] * math.log(1.4) * math.sqrt(exact.covariance[0, 0])
    assert table["sd"][0] == pytest.approx(sd, rel=0.05)
    assert table["high"][0] - table["low"][0] == pytest.approx(2 * 1.96 * sd, rel=0.05)
    assert "worth" in str(found)
    assert "importance sampling" in found._repr_html_()


def test_a_start_may_be_given():
    """A narrow well in the far prior that no other start sees."""
    f = lambda s: (s["a.x"] * np.exp(-((s["a.x"] - 3) ** 2)))[:, None] + 0.0 * s["b.x"][:, None]  # noqa: E731
    found = posterior_of(simple(predict=f, observed=[3.0], covariance=[[0.05**2]]), start={"a.x": 2.9}, draws=1000)
    assert found.modes[0].values["a.x"] == pytest.approx(3.0, abs=0.5)


# --- bad input ---


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"observed": [math.nan]}, "datum 0 is not finite"),
        ({"observed": []}, "data of shape"),
        ({"covariance": [[0.0]]}, "variance 0 of number 0; expected one above zero"),
        ({"covariance": [[-1.0]]}, "variance -1 of number 0"),
        ({"covariance": [[math.inf]]}, "finite square matrix"),
        ({"observed": [1.0, 1.0], "covariance": [[1.0, 1.0], [1.0, 1.0]]}, "singular: its correlation matrix"),
        ({"observed": [1.0, 1.0], "covariance": [[1.0, 0.5], [0.1, 1.0]]}, "not symmetric"),
        ({"observed": [1.0, 1.0]}, r"shape \(1, 1\) for 2 data"),
        ({"degrees_of_freedom": 0}, "degrees_of_freedom: 0"),
        ({"degrees_of_freedom": math.nan}, "degrees_of_freedom: nan"),
        ({"model_error": [-0.1]}, "negative or infinite standard uncertainty"),
        ({"model_error": [0.1, 0.1]}, r"model_error: shape \(2,\)"),
        ({"variables": ()}, "no uncertain input"),
        ({"variables": (A, A)}, "a.x: stands twice"),
        ({"variables": (Variable("a.x", Exact(1.0)),)}, "no uncertain input"),
        ({"correlations": {("a.x", "c.x"): 0.5}}, "no uncertain input 'c.x'"),
    ],
)
def test_a_problem_that_cannot_be(changes, message):
    with pytest.raises(InputError, match=message):
        simple(**changes)


@pytest.mark.parametrize(
    ("options", "error", "message"),
    [
        ({"draws": 0}, InputError, "draws: 0 is too few"),
        ({"draws": -5}, InputError, "too few"),
        ({"draws": 10.5}, InputError, "not a whole number"),
        ({"seed": -1}, InputError, "seed: -1 is too few"),
        ({"start": {"c.x": 1.0}}, UnknownNameError, "no uncertain input 'c.x'"),
        ({"start": {"a.x": math.inf}}, InputError, "a.x: inf lies on or outside the bounds"),
    ],
)
def test_a_question_that_cannot_be(options, error, message):
    with pytest.raises(error, match=message):
        posterior_of(simple(), **options)


def test_a_model_of_the_wrong_shape():
    with pytest.raises(InputError, match=r"the model returned shape \(256,\) for 256 samples and 1 data"):
        posterior_of(simple(predict=lambda s: s["a.x"]), draws=500)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"observed": [1.0, 2.0]}, "do not agree"),
        ({"jacobian": [[math.nan, 1.0]]}, "not finite"),
        ({"covariance": [[0.0]]}, "variance 0"),
    ],
)
def test_a_straight_model_that_cannot_be(changes, message):
    given = {"jacobian": [[1.0, 1.0]], "prior": (np.zeros(2), np.eye(2)), "observed": [1.0], "covariance": [[1.0]]}
    with pytest.raises(InputError, match=message):
        linear_posterior(**{**given, **changes})
