"""Propagation of uncertainty: distributions, samples, summaries, budgets, executors, and what is refused."""

from __future__ import annotations

import io
import math
import multiprocessing
import operator
import pickle
import subprocess
import sys
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import astuple, dataclass

import numpy as np
import pytest
import uncertainties
from scipy import integrate, stats
from uncertainties import umath

from thermostack import propagate as p
from thermostack.errors import InputError, SolveError, UnknownNameError
from thermostack.propagate import evaluate as evaluate_module
from thermostack.units import Value, parse

INF = math.inf


@dataclass(frozen=True)
class Given:
    """The least that an input must be."""

    path: str
    value: Value


def given(path, text, dimension):
    return Given(path, parse(text, dimension, path))


# Distributions --------------------------------------------------------------------------------------------------------

LAWS = {
    "normal": (p.Normal(3.0, 0.5), stats.norm(3.0, 0.5)),
    "student": (p.Student(3.0, 0.5, 5.0), stats.t(5.0, 3.0, 0.5)),
    "rectangular": (p.Rectangular(-1.0, 4.0), stats.uniform(-1.0, 5.0)),
    "lognormal": (p.Lognormal(3.0, 1.4), stats.lognorm(math.log(1.4), scale=3.0)),
    "above": (p.TruncatedNormal(3.0, 1.5, 0.0, INF), stats.truncnorm(-2.0, INF, 3.0, 1.5)),
    "below": (p.TruncatedNormal(3.0, 1.5, -INF, 4.0), stats.truncnorm(-INF, 2 / 3, 3.0, 1.5)),
    "between": (p.TruncatedNormal(0.1, 0.5, 0.0, 1.0), stats.truncnorm(-0.2, 1.8, 0.1, 0.5)),
    "half": (p.TruncatedNormal(0.0, 2.0, 0.0, INF), stats.halfnorm(0.0, 2.0)),
    "upper tail": (p.TruncatedNormal(0.0, 1.0, 4.0, INF), stats.truncnorm(4.0, INF)),
}


@pytest.mark.parametrize("name", LAWS)
def test_distribution_against_scipy(name):
    law, other = LAWS[name]
    u = np.linspace(0.001, 0.999, 41)
    x = other.ppf(u)
    np.testing.assert_allclose(law.ppf(u), x, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(law.cdf(x), u, rtol=1e-9)
    np.testing.assert_allclose(law.logpdf(x), other.logpdf(x), rtol=1e-9, atol=1e-9)
    assert law.mean == pytest.approx(other.mean(), rel=1e-9)
    assert law.sd == pytest.approx(other.std(), rel=1e-7)


MIXED = p.mount_factor(1.2, 0.1, p.Lognormal(2.0, 1.3))
TRUNCATED_LOG = p.Lognormal(0.3, 1.9, high=1.0)


@pytest.mark.parametrize(
    ("law", "low", "high"),
    [(p.Normal(3.0, 0.5), -2, 8), (MIXED, 1e-9, 12), (TRUNCATED_LOG, 1e-9, 1.0), (LAWS["between"][0], 0, 1)],
    ids=["normal", "mixture", "truncated lognormal", "truncated normal"],
)
def test_distribution_against_quadrature(law, low, high):
    """A second road to normalisation, moments and probabilities: integrals of the density."""

    def integral(f, upper=high):
        return integrate.quad(lambda x: f(x) * np.exp(law.logpdf(x)), low, upper, epsabs=1e-11, limit=400)[0]

    assert integral(lambda x: 1.0) == pytest.approx(1.0, abs=1e-8)
    assert integral(lambda x: x) == pytest.approx(law.mean, rel=1e-7)
    assert integral(lambda x: (x - law.mean) ** 2) == pytest.approx(law.sd**2, rel=1e-6)
    if law is MIXED:  # a linear budget works with the mean and the deviation of its logarithm
        assert integral(math.log) == pytest.approx(math.log(law.centre), rel=1e-7)
        assert integral(lambda x: math.log(x / law.centre) ** 2) == pytest.approx(law.natural_sd**2, rel=1e-6)
    for u in (0.03, 0.5, 0.93):
        x = law.ppf(u).item()
        assert integral(lambda x: 1.0, x) == pytest.approx(u, abs=1e-8)
        assert law.cdf(x).item() == pytest.approx(u, abs=1e-12)


def test_outside_the_support():
    for law in (p.Rectangular(0.0, 1.0), p.TruncatedNormal(0.5, 0.2, 0.0, 1.0), p.Lognormal(0.5, 1.2, 1.0)):
        np.testing.assert_array_equal(law.logpdf([-0.1, 1.1]), [-INF, -INF])
        np.testing.assert_array_equal(law.cdf([-0.1, 1.1]), [0.0, 1.0])
    np.testing.assert_array_equal(p.Lognormal(2.0, 1.5).cdf([-1.0, 0.0]), [0.0, 0.0])


def test_exact():
    law = p.Exact(2.0)
    np.testing.assert_array_equal(law.ppf([0.1, 0.9]), [2.0, 2.0])
    np.testing.assert_array_equal(law.cdf([1.9, 2.0]), [0.0, 1.0])
    np.testing.assert_array_equal(law.logpdf([1.9, 2.0]), [-INF, 0.0])
    assert (law.mean, law.sd) == (2.0, 0.0)


def test_mount_factor_against_drawing_mounts():
    """Good or bad is drawn, then a factor for each: the shares below some limits, within exact binomial bounds."""
    rng = np.random.default_rng(1)
    n = 200_000
    bad = rng.random(n) < 0.1
    factor = 1.2 ** rng.standard_normal(n) * np.where(bad, 2.0 * 1.3 ** rng.standard_normal(n), 1.0)
    for limit in (0.8, 1.0, 1.3, 1.8, 3.0):
        low, high = stats.binom.interval(0.9999, n, MIXED.cdf(limit).item())
        assert low <= np.sum(factor < limit) <= high
    about_two = np.abs(np.log(factor / 1.6)) < 0.02
    share = bad[about_two].mean()
    assert MIXED.membership(1.6)[1] == pytest.approx(share, abs=4 * math.sqrt(share * (1 - share) / about_two.sum()))
    np.testing.assert_allclose(MIXED.membership([0.5, 1.0, 4.0]).sum(axis=0), 1.0, rtol=1e-14)
    assert np.log(factor).mean() == pytest.approx(math.log(MIXED.centre), abs=4 * MIXED.natural_sd / math.sqrt(n))
    assert np.log(factor).std() == pytest.approx(MIXED.natural_sd, rel=0.02)


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: p.Normal(1.0, 0.0), "spread 0 is not possible"),
        (lambda: p.Normal(math.nan, 1.0), "not a finite number"),
        (lambda: p.Student(0.0, 1.0, 0.0), "degrees of freedom"),
        (lambda: p.Rectangular(1.0, 1.0), "the lower first"),
        (lambda: p.Lognormal(-1.0, 1.4), "cannot carry a factor"),
        (lambda: p.Lognormal(1.0, 1.0), "a factor above 1"),
        (lambda: p.Lognormal(1.0, 1.2, 0.9), "above the median"),
        (lambda: p.TruncatedNormal(0.0, 1.0, 1.0, 0.0), "the lower first"),
        (lambda: p.TruncatedNormal(-10.0, 1.0, 0.0), "truncation to 0 .. inf leaves 8e-24"),
        (lambda: p.mount_factor(1.2, 0.0, p.Lognormal(2.0, 1.3)), "a share between 0 and 1"),
        (lambda: p.Mixture((0.5, 0.6), (p.Lognormal(1.0, 1.2),) * 2), "add up to 1"),
        (lambda: p.Mixture((1.0,), ()), "one for each"),
    ],
)
def test_impossible_distributions(make, text):
    with pytest.raises(InputError, match=text):
        make()


# From inputs to variables ------------------------------------------------------------------------------------------


def test_values_become_distributions():
    cases = [
        ("die.power", "230 W", "power", p.Exact(230.0)),
        ("solder.bond_line", "0.25 mm (sd 0.04 mm)", "length", p.TruncatedNormal(2.5e-4, 4e-5, 0.0, INF)),
        ("lid.centre_x", "0 mm (sd 0.2 mm)", "length", p.Normal(0.0, 2e-4)),
        ("core 0.offset", "0 K (sd 0.5 K)", "temperature difference", p.Normal(0.0, 0.5)),
        ("paste.bond_line", "25 .. 60 um", "bond line", p.Rectangular(25e-6, 60e-6)),
        ("paste.resistance", "5 mm^2*K/W (x/ 1.4)", "specific resistance", p.Lognormal(5e-6, 1.4)),
        ("paste.void_fraction", "0.1 (x/ 2)", "fraction", p.Lognormal(0.1, 2.0, 1.0)),
        ("paste.mount", "1 (x/ 1.2)", "fraction", p.Lognormal(1.0, 1.2)),
        ("coolant.temperature", "26 degC (sd 1 K)", "temperature", p.TruncatedNormal(299.15, 1.0, 0.0, INF)),
    ]
    for path, text, dimension, law in cases:
        found = p.distribution_of(parse(text, dimension), path)
        assert type(found) is type(law), path
        assert astuple(found) == pytest.approx(astuple(law), rel=1e-12), path


@pytest.mark.parametrize(
    ("path", "text", "dimension", "problem", "said", "right"),
    [
        ("a.t", "0.05 mm (sd 0.03 mm)", "length", "4.8 % of '0.05 mm", "at most 0.0208 mm", "0.05 mm (sd 0.0208 mm)"),
        (
            "a.t",
            "0.05 mm (sd 0.03 mm)",
            "length",
            "larger than its bound",
            "'0.0429 mm (x/ 1.74)'",
            "0.0429 mm (x/ 1.74)",
        ),
        (
            "a.void_fraction",
            "0.02 (sd 0.02)",
            "fraction",
            "larger than its bound",
            "at most 0.00833",
            "0.02 (sd 0.00833)",
        ),
        ("a.void_fraction", "0.5 (x/ 3)", "fraction", "larger than its bound", "at most 1.33", "0.5 (x/ 1.33)"),
        ("a.T", "26 degC (sd 200 K)", "temperature", "larger than its bound", "at most 125 K", "26 degC (sd 125 K)"),
        ("a.t", "1 mm (limits 1.5 mm)", "length", "go beyond it", "limits above 0 mm", "1 mm (limits 1 mm)"),
        ("a.void_fraction", "0.9 (limits 0.2)", "fraction", "go beyond it", "between 0 and 1", "0.9 (limits 0.1)"),
        ("a.power", "-1 W (sd 1 W)", "power", "outside its bounds", "a value above 0 W", "10 W (sd 1 W)"),
        ("a.void_fraction", "1.5", "fraction", "outside its bounds", "a value between 0 and 1", "0.5"),
    ],
)
def test_spread_larger_than_its_bound(path, text, dimension, problem, said, right):
    with pytest.raises(InputError) as caught:
        p.distribution_of(parse(text, dimension), path)
    assert str(caught.value).startswith(f"{path}: ")
    assert problem in caught.value.problem
    assert said in caught.value.expected
    p.distribution_of(parse(right, dimension), path)  # what the message calls right is accepted


def test_largest_truncated_share_is_as_stated():
    z = stats.norm.ppf(0.99)  # one per cent is cut off
    kept = p.distribution_of(
        parse((1.0, "mm"), "length").__class__(1.0, "mm", "length", "normal", 1 / z * 0.9999), "a.t"
    )
    assert 1 - kept.kept == pytest.approx(0.01, rel=1e-2)
    assert (kept.mean - 1e-3) / kept.spread == pytest.approx(0.027, abs=5e-4)
    assert kept.sd / kept.spread == pytest.approx(0.97, abs=5e-3)
    with pytest.raises(InputError, match="spread larger"):
        p.distribution_of(Value(1.0, "mm", "length", "normal", 1 / z * 1.0001), "a.t")


def test_bounds_may_be_given():
    value = parse("0 mm (sd 0.2 mm)", "length")
    assert p.distribution_of(value, "a.thickness", (-INF, INF)) == p.Normal(0.0, 2e-4)
    found = p.variables_of([Given("a.thickness", value)], bounds=lambda _: (-1e-3, 1e-3))
    assert found[0].distribution == p.TruncatedNormal(0.0, 2e-4, -1e-3, 1e-3)


def test_variables_of_inputs(soldered):
    inputs = [
        given("die.power", "230 W", "power"),
        given("paste.mount", "1 (x/ 1.2)", "fraction"),
        given("lid.thickness", "2.4 mm (sd 0.05 mm)", "length"),
    ]
    found = p.variables_of(inputs, identity=lambda i: f"{i.path}@7" if i.path.endswith("mount") else i.path)
    assert [(v.path, v.identity, v.dimension) for v in found] == [
        ("paste.mount", "paste.mount@7", "fraction"),
        ("lid.thickness", "lid.thickness", "length"),
    ]
    with pytest.raises(InputError, match=r"paste\.mount: stands twice"):
        p.variables_of([inputs[1], inputs[1]])
    with pytest.raises(InputError, match="without a path"):
        p.Variable("", p.Normal(0.0, 1.0))
    real = p.variables_of(soldered.inputs())  # the inputs of a stack are inputs
    assert {"solder.bond_line", "paste.resistance", "paste.mount"} <= {v.path for v in real}


# Samples --------------------------------------------------------------------------------------------------------------

METHODS = ("monte carlo", "latin hypercube")
A = p.Variable("lid.conductivity", p.Lognormal(390.0, 1.05))
B = p.Variable("paste.resistance", p.Lognormal(12e-6, 1.4))
C = p.Variable("paste.mount", p.Lognormal(1.0, 1.2), "paste.mount@1")


@pytest.mark.parametrize("method", METHODS)
def test_a_sample_depends_on_seed_identity_and_number_only(method):
    whole = p.Sampler((A, B, C), 5, method).draw(0, 1000)
    alone = p.Sampler((B,), 5, method).draw(617, 893)
    np.testing.assert_array_equal(alone[B.path], whole[B.path][617:893])
    renamed = p.Variable("other.path", B.distribution, B.identity)
    np.testing.assert_array_equal(p.Sampler((renamed,), 5, method).draw(0, 9)["other.path"], whole[B.path][:9])
    remounted = p.Variable(C.path, C.distribution, "paste.mount@2")
    again = p.Sampler((A, B, remounted), 5, method).draw(0, 1000)
    np.testing.assert_array_equal(again[A.path], whole[A.path])
    assert abs(np.corrcoef(again[C.path], whole[C.path])[0, 1]) < 0.15
    other_seed = p.Sampler((A, B, C), 6, method).draw(0, 1000)
    assert abs(np.corrcoef(other_seed[A.path], whole[A.path])[0, 1]) < 0.15


def test_samples_are_the_same_as_ever():
    """The same seed gives the same figures on every machine and with every version: these were drawn once."""
    np.testing.assert_array_equal(p.uniforms(1, "paste.mount@1", 0, 3), FIRST_THREE)
    np.testing.assert_array_equal(p.uniforms(1, "paste.mount@1", 0, 2, "latin hypercube"), FIRST_TWO_OF_A_HYPERCUBE)


FIRST_THREE = [0.5378511177582425, 0.6804385935198854, 0.7733933475043872]
FIRST_TWO_OF_A_HYPERCUBE = [0.32418632182539237, 0.3517129468880241]


@pytest.mark.parametrize("method", METHODS)
def test_uniforms_are_uniform_and_independent(method):
    u = np.array([p.uniforms(2, name, 0, 20_000, method) for name in "abcd"])
    assert np.all((u > 0) & (u < 1))
    for row in u:
        assert stats.kstest(row, "uniform").pvalue > 1e-3
    r = np.corrcoef(u)[np.triu_indices(4, 1)]
    assert np.max(np.abs(r)) < 4 / math.sqrt(20_000)


def test_latin_hypercube_has_one_number_in_every_part():
    u = p.uniforms(3, "x", 0, 4 * p.BLOCK, "latin hypercube").reshape(4, p.BLOCK)
    for block in u:
        np.testing.assert_array_equal(np.sort(np.floor(block * p.BLOCK)), np.arange(p.BLOCK))
    assert not np.array_equal(np.argsort(u[0]), np.argsort(u[1]))


def test_correlated_samples():
    r = {(A.path, B.path): 0.8, (B.path, C.path): -0.3}
    variables = (A, B, C, p.Variable("lid.thickness", p.Normal(2.4e-3, 5e-5)))
    drawn = p.Sampler(variables, 1, correlations=r).draw(0, 40_000)
    logs = np.log([drawn[v.path] for v in variables[:3]])
    np.testing.assert_allclose(np.corrcoef(logs)[np.triu_indices(3, 1)], [0.8, 0.0, -0.3], atol=4 / math.sqrt(40_000))
    np.testing.assert_allclose(logs.std(axis=1), [v.distribution.natural_sd for v in variables[:3]], rtol=0.02)
    free = p.Sampler(variables[3:], 1).draw(0, 40_000)
    np.testing.assert_array_equal(free["lid.thickness"], drawn["lid.thickness"])
    turned = p.Sampler(variables[::-1], 1, correlations=r).draw(100, 200)
    np.testing.assert_allclose(turned[B.path], drawn[B.path][100:200], rtol=1e-12)
    tied = p.Sampler((A, B), 1, correlations={(A.path, B.path): 1.0}).draw(0, 100)
    za, zb = (np.log(tied[v.path] / v.distribution.median) / v.distribution.natural_sd for v in (A, B))
    np.testing.assert_allclose(za, zb, atol=1e-7)


@pytest.mark.parametrize(
    ("correlations", "error", "text"),
    [
        ({("lid.conductivity", "past.resistance"): 0.5}, UnknownNameError, "did you mean 'paste.resistance'"),
        ({(A.path, B.path): 1.2}, InputError, "between −1 and 1"),
        ({(A.path, B.path): math.nan}, InputError, "between −1 and 1"),
        ({(A.path, A.path): 0.2}, InputError, "stands twice, or is none"),
        ({(A.path, B.path): 0.2, (B.path, A.path): 0.2}, InputError, "stands twice, or is none"),
        (
            {(A.path, B.path): 0.9, (B.path, C.path): 0.9, (A.path, C.path): -0.9},
            InputError,
            r"cannot hold together \(smallest eigenvalue of their matrix -0.8",
        ),
    ],
)
def test_bad_correlations(correlations, error, text):
    with pytest.raises(error, match=text):
        p.Sampler((A, B, C), 1, correlations=correlations)
    with pytest.raises(error, match=text):
        p.linear_budget(lambda s: s[A.path], (A, B, C), correlations=correlations)


def test_bad_sampler():
    with pytest.raises(InputError, match="stands twice among the variables"):
        p.Sampler((A, A), 1)
    with pytest.raises(InputError, match=r"seed: 1\.5 is not a whole number"):
        p.Sampler((A,), 1.5)
    with pytest.raises(InputError, match="seed: -1 is too few"):
        p.Sampler((A,), -1)
    with pytest.raises(UnknownNameError, match="did you mean 'monte carlo'"):
        p.Sampler((A,), 1, "monte carl")


# Evaluation -----------------------------------------------------------------------------------------------------------


def stacked(s):
    """Two results a sample, of a kind that rounds differently in another order."""
    return np.stack([s[A.path] * s[B.path] / s[C.path], np.exp(-s[C.path]) + s[B.path] * 1e6], axis=1)


@pytest.mark.parametrize("method", METHODS)
def test_same_figures_whatever_the_executor(method):
    sampler = p.Sampler((A, B, C), 11, method)
    here = p.evaluate(stacked, sampler, 2150, chunk=300)
    assert here.results.shape == (2150, 2)
    assert here.complete
    assert here.block == sampler.block
    with ThreadPoolExecutor(3) as threads:
        there = p.evaluate(stacked, sampler, 2150, chunk=300, executor=threads)
    np.testing.assert_array_equal(here.results, there.results)
    np.testing.assert_array_equal(here.numbers, np.arange(2150))
    np.testing.assert_array_equal(p.evaluate(stacked, sampler, 2150, chunk=70).results, here.results)
    late = p.evaluate(stacked, sampler, 150, first=2000, chunk=64)
    np.testing.assert_array_equal(late.results, here.results[2000:])


def test_same_figures_from_other_processes():
    sampler = p.Sampler((A, B, C), 11, "latin hypercube", {(A.path, B.path): 0.4})
    model = operator.itemgetter(A.path)  # something every process knows
    here = p.evaluate(model, sampler, 1000, chunk=250)
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as processes:
        there = p.evaluate(model, sampler, 1000, chunk=250, executor=processes)
    np.testing.assert_array_equal(here.results, there.results)
    assert pickle.loads(pickle.dumps(sampler)).draw(0, 5).keys() == sampler.draw(0, 5).keys()


@pytest.mark.parametrize("threaded", [False, True])
def test_interrupt_keeps_what_is_done(threaded):
    sampler = p.Sampler((A, B, C), 11)
    stop_at = sampler.draw(300, 301)[A.path]

    def model(s):
        if s[A.path][0] == stop_at:
            raise KeyboardInterrupt
        return stacked(s)

    if threaded:
        with ThreadPoolExecutor(1) as threads:
            run = p.evaluate(model, sampler, 1000, chunk=100, executor=threads)
    else:
        run = p.evaluate(model, sampler, 1000, chunk=100)
    assert not run.complete
    assert set(range(300)) <= set(run.numbers.tolist())
    assert 300 not in run.numbers
    np.testing.assert_array_equal(run.results, p.evaluate(stacked, sampler, 1000).results[run.numbers])
    assert run.notes == (f"interrupted: {len(run.numbers)} of 1000 samples were finished and are used",)
    only = p.Run(run.results[:, 0], run.numbers, 1, 1000, run.notes)
    assert p.summarise(only).notes == run.notes


class Stalled(Executor):
    """Finishes the first seven chunks at once, the fourth with an interrupt; never begins the rest."""

    def __init__(self):
        self.futures = []

    def submit(self, function, /, *args, **kwargs):
        future = Future()
        number = len(self.futures)
        if number == 3:
            future.set_exception(KeyboardInterrupt())
        elif number < 7:
            future.set_result(function(*args, **kwargs))
        self.futures.append(future)
        return future


def test_interrupt_of_an_executor_keeps_all_finished_chunks_and_begins_no_other():
    executor = Stalled()
    run = p.evaluate(stacked, p.Sampler((A, B, C), 11), 1000, chunk=100, executor=executor)
    assert sorted({number // 100 for number in run.numbers.tolist()}) == [0, 1, 2, 4, 5, 6]
    assert all(future.cancelled() for future in executor.futures[7:])


def test_interrupt_before_anything_is_done():
    def model(s):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        p.evaluate(model, p.Sampler((A,), 1), 100)


@pytest.mark.parametrize("threaded", [False, True])
def test_an_error_of_the_model_is_raised(threaded):
    def model(s):
        raise SolveError("running away")

    with ThreadPoolExecutor(2) as threads, pytest.raises(SolveError, match="running away"):
        p.evaluate(model, p.Sampler((A,), 1), 3000, executor=threads if threaded else None)


@pytest.mark.parametrize(
    ("samples", "text"),
    [
        (0, "samples: 0 is too few; expected a whole number of 1 or more, such as 10_000"),
        (-5, "samples: -5 is too few"),
        (10.5, "samples: 10.5 is not a whole number"),
        (math.nan, "samples: nan is not a whole number"),
        ("100", "samples: '100' is not a whole number"),
        (True, "samples: True is not a whole number"),
    ],
)
def test_bad_number_of_samples(samples, text):
    with pytest.raises(InputError, match=text):
        p.evaluate(stacked, p.Sampler((A, B, C), 1), samples)


def test_hypercubes_come_whole():
    with pytest.raises(InputError, match=r"1234 is not a multiple of 50.*expected a number such as 1250"):
        p.evaluate(stacked, p.Sampler((A, B, C), 1, "latin hypercube"), 1234)


def test_wrong_shape_from_the_model():
    with pytest.raises(InputError, match=r"model: the model returned shape \(\) for 100 samples"):
        p.evaluate(lambda s: 1.0, p.Sampler((A,), 1), 100)
    with pytest.raises(InputError, match=r"the model returned shape \(4,\) for 5 samples"):
        p.linear_budget(lambda s: s[A.path][1:], (A,))
    with pytest.raises(InputError, match=r"results of shape \(2,\)"):
        p.linear_budget(stacked, (A, B, C))


def test_progress_bar(monkeypatch, capsys):
    sampler = p.Sampler((A, B, C), 1)
    p.evaluate(stacked, sampler, 2000)
    assert capsys.readouterr().err == ""  # not a terminal
    p.evaluate(stacked, sampler, 2000, progress=True)
    assert "2000/2000" in capsys.readouterr().err

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    monkeypatch.setattr(evaluate_module_of().sys, "stderr", Terminal())
    p.evaluate(stacked, sampler, 2000)
    assert "2000/2000" in sys.stderr.getvalue()


def evaluate_module_of():
    """Return the module, whose name the package gives to its function."""
    return sys.modules[evaluate_module.__module__]


def test_progress_bar_is_loaded_late():
    code = "import sys, thermostack.propagate; sys.exit('tqdm' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# Summaries ------------------------------------------------------------------------------------------------------------


def test_summary_by_hand():
    """Ranks of JCGM 101:2008, 7.7: of 1 … 200, 95 % is q = 190 steps, from rank r = 5."""
    y = np.random.default_rng(1).permutation(np.arange(1.0, 201.0))
    found = p.summarise(y, below=[20.5, 1000.0, -1.0])
    assert (found.low.value, found.high.value) == (5.0, 195.0)
    assert found.median.value == 100.5
    assert found.mean.value == 100.5
    assert found.mean.error == pytest.approx(math.sqrt(200 * 201 / 12 / 200), rel=1e-12)
    assert found.standard_uncertainty.value == pytest.approx(math.sqrt(200 * 201 / 12), rel=1e-12)
    # binomial bounds of the median: 86 and 115 of 200 at 95 % (rank 115 is the first above the upper one)
    assert (found.median.low, found.median.high) == (
        stats.binom.ppf(0.025, 200, 0.5),
        stats.binom.ppf(0.975, 200, 0.5) + 1,
    )
    exact = stats.binomtest(20, 200).proportion_ci(0.95, "exact")
    limit, chance = found.below[0]
    assert limit == 20.5
    assert chance.value == 0.1
    assert (chance.low, chance.high) == pytest.approx((exact.low, exact.high), rel=1e-9)
    assert (found.below[1][1].value, found.below[1][1].high) == (1.0, 1.0)
    none = found.below[2][1]
    assert (none.value, none.low) == (0.0, 0.0)
    assert none.high == pytest.approx(1 - 0.025 ** (1 / 200), rel=1e-9)


def test_shortest_interval_by_hand():
    y = np.concatenate([np.linspace(0.0, 1.0, 96), [3.0, 4.0, 5.0, 9.0]])
    found = p.summarise(y)
    assert (found.shortest_low.value, found.shortest_high.value) == (0.0, 1.0)
    assert found.high.value > 1.0


def test_few_samples_say_that_bounds_are_unknown():
    found = p.summarise(np.random.default_rng(1).normal(size=100))
    assert found.low.low == -INF
    assert p.summarise([1.0, 2.0, 3.0, 4.0]).low.error == INF
    assert math.isfinite(found.median.error)


def test_summary_table():
    found = p.summarise(np.random.default_rng(1).normal(5.0, 1.0, 1000), below=[4.0])
    table = found.table("K", "drop")
    assert str(table).startswith("drop\nfigure")
    assert len(table) == 8
    assert table.rows[-1][0] == "chance of less than 4 K"
    assert table.rows[-1][2] == pytest.approx(100 * found.below[0][1].value)
    assert "1000 samples" in table.notes[0]


@pytest.mark.parametrize(
    ("y", "options", "text"),
    [
        ([[1.0, 2.0]], {}, r"samples of shape \(1, 2\); expected one result at a time"),
        ([1.0], {}, "1 samples cannot be summarised; expected at least 2"),
        ([1.0, math.nan, math.inf], {}, r"2 of 3 samples are not finite \(first: number 1\)"),
        ([1.0, 2.0], {"coverage": 1.0}, "coverage: a coverage of 1"),
        ([1.0, 2.0], {"below": [math.nan]}, "nan is not a finite number"),
        (np.arange(50.0), {"block": 50}, "a multiple of 50, at least 100"),
        (np.arange(110.0), {"block": 50}, "a multiple of 50, at least 100"),
    ],
)
def test_what_cannot_be_summarised(y, options, text):
    with pytest.raises(InputError, match=text):
        p.summarise(y, **options)


def test_numerical_tolerance():
    """JCGM 101:2008, 7.9.2: examples 1 and 2 of its notes (recalled): 0.00035 g and 2 K."""
    assert p.numerical_tolerance(0.00035, 2) == 0.000005
    assert p.numerical_tolerance(2.0, 1) == 0.5
    assert p.numerical_tolerance(0.0996, 2) == 0.005  # rounds to 0.10
    assert p.numerical_tolerance(123.4, 2) == 5.0
    with pytest.raises(InputError, match="has no digits"):
        p.numerical_tolerance(0.0, 1)
    with pytest.raises(InputError, match="digits: 0 is too few"):
        p.numerical_tolerance(1.0, 0)


def gain(s):
    return 1e5 * s[B.path] * s[C.path] + s[A.path] / 390


def test_stabilised():
    sampler = p.Sampler((A, B, C), 3)
    found = p.stabilised(gain, sampler, digits=2)
    assert found.run.complete
    assert found.summary.samples == len(found.run.results) == found.batches * 10_000
    assert found.tolerance == p.numerical_tolerance(found.summary.standard_uncertainty.value, 2)
    truth = p.summarise(p.evaluate(gain, p.Sampler((A, B, C), 99), 1_000_000, chunk=100_000))
    for name in ("mean", "standard_uncertainty", "low", "high"):
        assert getattr(found.summary, name).value == pytest.approx(getattr(truth, name).value, abs=2 * found.tolerance)
    np.testing.assert_array_equal(found.run.results, p.evaluate(gain, sampler, found.summary.samples).results)
    rough = p.stabilised(gain, sampler, digits=1)
    assert rough.batches < found.batches
    with pytest.raises(SolveError, match=r"not stable to 4 digits .* after 30000 samples.*ask for fewer digits"):
        p.stabilised(gain, sampler, digits=4, most=30_000)
    with pytest.raises(InputError, match="most: 15000 samples; expected at least two batches of 10000"):
        p.stabilised(gain, sampler, most=15_000)
    with pytest.raises(InputError, match="does not vary"):
        p.stabilised(lambda s: np.ones_like(s[A.path]), sampler)


def test_stabilised_interrupted():
    calls = []

    def model(s):
        calls.append(1)
        if len(calls) > 25:
            raise KeyboardInterrupt
        return gain(s)

    found = p.stabilised(model, p.Sampler((A, B, C), 3), digits=3)
    assert found.summary.samples == 25_000
    assert "interrupted after 25000 samples" in found.summary.notes[0]


# Linear budget --------------------------------------------------------------------------------------------------------

NORMALS = (
    p.Variable("t", p.Normal(2.4e-3, 5e-5), dimension="length"),
    p.Variable("k", p.Normal(390.0, 12.0), dimension="conductivity"),
    p.Variable("h", p.Normal(35e3, 3e3), dimension="conductance"),
    p.Variable("T", p.Normal(299.15, 0.5), dimension="temperature"),
)


def rise(s, lib=np):
    return 1e6 * (s["t"] / s["k"] + 1 / s["h"]) * lib.exp(-s["t"] * 100) + s["T"]


@pytest.mark.parametrize("r", [0.0, 0.6])
def test_budget_against_uncertainties(r):
    """Exact derivatives of another library; differences of h⁴ leave an error of 1e-6."""
    nominal = [v.distribution.location for v in NORMALS]
    u = np.array([v.distribution.spread for v in NORMALS])
    matrix = np.eye(4)
    matrix[1, 2] = matrix[2, 1] = r
    numbers = uncertainties.correlated_values(nominal, matrix * np.outer(u, u))
    other = rise(dict(zip("tkhT", numbers, strict=True)), umath)
    budget = p.linear_budget(rise, NORMALS, correlations={("k", "h"): r} if r else None, unit="K")
    assert budget.value == pytest.approx(other.nominal_value, rel=1e-12)
    assert budget.standard_uncertainty == pytest.approx(other.std_dev, rel=2e-6)
    assert sum(row.share for row in budget.rows) == pytest.approx(1.0, rel=1e-12)
    independent = rise({v.path: uncertainties.ufloat(m, s) for v, m, s in zip(NORMALS, nominal, u, strict=True)}, umath)
    exact = {abs(contribution) for contribution in independent.error_components().values()}
    for row in budget.rows:
        assert min(abs(abs(row.contribution) - each) for each in exact) < 2e-6 * max(exact)
        assert row.contribution == pytest.approx(row.sensitivity * row.uncertainty, rel=1e-12)
    sizes = [abs(row.contribution) for row in budget.rows]
    assert sizes == sorted(sizes, reverse=True)
    assert budget.coverage_factor == pytest.approx(1.959963985, rel=1e-9)


def test_budget_of_a_product_of_lognormals_is_exact_on_the_log_scale():
    variables = (A, B, p.Variable("m", MIXED))
    budget = p.linear_budget(lambda s: np.log(s[B.path]) - 2 * np.log(s[A.path]) + np.log(s["m"]), variables)
    by_path = {row.path: row for row in budget.rows}
    assert by_path[A.path].sensitivity == pytest.approx(-2.0, rel=1e-9)
    assert by_path[A.path].contribution == pytest.approx(-2 * math.log(1.05), rel=1e-9)
    expected = math.sqrt((2 * math.log(1.05)) ** 2 + math.log(1.4) ** 2 + MIXED.natural_sd**2)
    assert budget.standard_uncertainty == pytest.approx(expected, rel=1e-9)
    assert budget.value == pytest.approx(math.log(12e-6) - 2 * math.log(390) + math.log(MIXED.centre), rel=1e-12)


def test_budget_from_sensitivities_and_table():
    sensitivities = {"t": 1000.0, "k": -0.01, "h": -2e-4, "T": 1.0}
    budget = p.budget_of(NORMALS, 42.0, sensitivities, unit="K")
    assert [row.path for row in budget.rows] == ["h", "T", "k", "t"]
    assert budget.standard_uncertainty == pytest.approx(math.sqrt(0.6**2 + 0.5**2 + 0.12**2 + 0.05**2), rel=1e-12)
    assert budget.interval == pytest.approx((42 - budget.expanded_uncertainty, 42 + budget.expanded_uncertainty))
    table = budget.table("drop")
    cells = dict(zip(table.to_dict()["path"], table.rows, strict=True))
    assert cells["t"][1:4] == ("2.4 mm", "0.05 mm", "1 K per mm")
    assert cells["T"][1:4] == ("26 °C", "0.5 K", "1 K per K")
    assert cells["h"][1:4] == ("35 kW/m²/K", "3 kW/m²/K", "−0.2 K per kW/m²/K")
    assert cells["h"][4] == pytest.approx(-0.6)
    assert table.notes[0] == "42 K, combined standard uncertainty 0.792 K; 95 %: ± 1.55 K (k = 1.96)"
    logs = p.budget_of((B,), 1.0, {B.path: 0.3}, unit="K").rows[0].texts("K")
    assert logs == ("1.200e-05", "×/ 1.4", "0.3 K per factor e")
    assert "<table" in budget._repr_html_()
    assert str(budget) == str(budget.table())


def test_effective_degrees_of_freedom():
    variables = (p.Variable("a", p.Student(0.0, 2.0, 4.0)), p.Variable("b", p.Normal(0.0, 1.0)))
    budget = p.budget_of(variables, 0.0, {"a": 1.0, "b": 1.0})
    assert budget.degrees_of_freedom == pytest.approx(25 / (16 / 4), rel=1e-12)
    assert budget.coverage_factor == pytest.approx(stats.t(6).ppf(0.975), rel=1e-12)  # cut to an integer
    assert "6.2 degrees of freedom" in budget.table().notes[0]
    given = p.budget_of(variables, 0.0, {"a": 1.0, "b": 1.0}, degrees_of_freedom={"b": 2.0})
    assert given.degrees_of_freedom == pytest.approx(25 / (16 / 4 + 1 / 2), rel=1e-12)
    # two further correlated inputs without limit belong to u_c, and to no term of the sum
    more = (*variables, p.Variable("c", p.Normal(0.0, 1.0)), p.Variable("d", p.Normal(0.0, 1.0)))
    tied = p.budget_of(more, 0.0, dict.fromkeys("abcd", 1.0), correlations={("c", "d"): 0.5})
    assert tied.standard_uncertainty**2 == pytest.approx(8.0, rel=1e-12)
    assert tied.degrees_of_freedom == pytest.approx(64 / 4, rel=1e-12)


@pytest.mark.parametrize(
    ("options", "error", "text"),
    [
        ({"sensitivities": {"a": 1.0}}, InputError, "b: no finite sensitivity"),
        ({"sensitivities": {"a": 1.0, "b": 1.0, "bb": 1.0}}, UnknownNameError, "did you mean 'b'"),
        ({"degrees_of_freedom": {"c": 1.0}}, UnknownNameError, "degrees of freedom of c"),
        ({"degrees_of_freedom": {"b": 0.0}}, InputError, "b: 0 degrees of freedom"),
        ({"correlations": {("a", "b"): 0.5}}, InputError, "a: 4 degrees of freedom and a correlation"),
        ({"coverage": 95}, InputError, "a coverage of 95"),
    ],
)
def test_bad_budgets(options, error, text):
    variables = (p.Variable("a", p.Student(0.0, 2.0, 4.0)), p.Variable("b", p.Normal(0.0, 1.0)))
    with pytest.raises(error, match=text):
        p.budget_of(variables, 0.0, **({"sensitivities": {"a": 1.0, "b": 1.0}} | options))


def test_a_kink_is_told():
    budget = p.linear_budget(lambda s: np.abs(s["x"] - 0.1), (p.Variable("x", p.Normal(0.0, 1.0)),))
    assert "not straight, or not smooth, within a fraction of its spread: x" in budget.notes
    none = p.linear_budget(lambda s: 0 * s["x"] + 3, (p.Variable("x", p.Normal(0.0, 1.0)),))
    assert none.notes == ("no input changes this result to first order",)
    with pytest.raises(InputError, match="not finite within a step"):
        p.linear_budget(lambda s: np.where(s["x"] > 0, np.nan, s["x"]), (p.Variable("x", p.Normal(0.0, 1.0)),))


def test_second_order_of_a_cubic():
    """u² of a x + b x² + c x³ + d x y² for normal x, y about 0: exact moments less the terms of higher order in u."""
    a, b, c, d, ux, uy = 1.3, 0.7, 0.2, 0.4, 0.5, 0.3

    def model(s):
        return a * s["x"] + b * s["x"] ** 2 + c * s["x"] ** 3 + d * s["x"] * s["y"] ** 2

    variables = (p.Variable("x", p.Normal(0.0, ux)), p.Variable("y", p.Normal(0.0, uy)))
    expected = a**2 * ux**2 + 2 * b**2 * ux**4 + 6 * a * c * ux**4 + 2 * a * d * ux**2 * uy**2
    assert p.second_order_uncertainty(model, variables) == pytest.approx(math.sqrt(expected), rel=1e-9)
    with pytest.raises(InputError, match="one result"):
        p.second_order_uncertainty(lambda s: np.ones((len(s["x"]), 2)), variables)


def test_agreement():
    x = (p.Variable("x", p.Normal(10.0, 1.0)),)
    straight = p.linear_budget(lambda s: s["x"], x, unit="K")
    even = x[0].distribution.ppf((np.arange(100_000) + 0.5) / 100_000)  # as representative as samples can be
    summary = p.summarise(even)
    found = p.agreement(straight, summary)
    assert found.agrees is True
    assert found.tolerance == 0.5
    assert found.note.startswith("the linear budget and Monte Carlo agree (ends of the 95 % intervals differ by")
    assert p.agreement(straight, summary, digits=3).agrees is None
    few = p.summarise(p.evaluate(lambda s: s["x"], p.Sampler(x, 1), 100))
    assert "100 samples are too few to tell" in p.agreement(straight, few).note

    def bent(s):
        return s["x"] + 0.5 * (s["x"] - 10) ** 2

    bent_summary = p.summarise(p.evaluate(bent, p.Sampler(x, 1), 100_000, chunk=10_000))
    found = p.agreement(p.linear_budget(bent, x), bent_summary)
    assert found.agrees is False
    assert found.high == pytest.approx(abs(11.96 - bent_summary.high.value), abs=1e-3)
    assert "use Monte Carlo's interval" in found.note
    with pytest.raises(InputError, match="the same for both"):
        p.agreement(p.linear_budget(bent, x, coverage=0.99), bent_summary)
