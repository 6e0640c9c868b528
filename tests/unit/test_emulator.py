"""The emulator against direct layered solves: accuracy, honest errors, refusals, linearity, seeds."""

import pickle
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import thermostack as ts
from thermostack.errors import InputError, SolveError
from thermostack.field import model_with_hot_points
from thermostack.model import model_of
from thermostack.operating import operate
from thermostack.propagate import Rectangular, Sampler, Variable, variables_of
from thermostack.propagate.emulator import emulator_of
from thermostack.propagate.features import features_of
from thermostack.propagate.kriging import fit_kriging
from thermostack.solvers.layered import layered
from thermostack.solvers.series import one_dimensional

TARGET = 1e-3


def soldered():
    """An invented soldered part with an off-centre die and two regions."""
    regions = [
        ts.Region("core 0", "60 W", corner=("1 mm", "1.5 mm"), size=("4 mm", "5 mm")),
        ts.Region("core 1", "40 W", corner=("6.5 mm", "9 mm"), size=("4 mm", "5 mm")),
    ]
    die = ts.Die(
        "die", "silicon", "0.72 mm (sd 0.02 mm)", footprint=("12 mm", "16 mm"), centre=("2 mm (sd 0.2 mm)", "-1.5 mm"),
        power=ts.PowerMap("180 W (sd 6 W)", regions=regions),
        joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"),
    )  # fmt: skip
    return ts.Stack(
        "invented part",
        dies=[die],
        layers=[
            ts.Layer("lid", "copper", "2.4 mm (sd 0.1 mm)", footprint=("36 mm", "36 mm")),
            ts.Interface("paste", "ceramic paste"),
            ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm")),
        ],
        coolant=ts.Coolant("26 degC (sd 0.3 K)", conductance="35 kW/m^2/K (x/ 1.2)"),
    )


@cache
def made():
    """Model, variables and emulator; built once for all tests."""
    model = model_with_hot_points(soldered(), "layered")
    variables = variables_of(model.inputs.values())
    return model, variables, emulator_of(model, variables, solver=layered, seed=3)


@cache
def fresh(count=120):
    """Fresh samples: values, the operating point by direct solves, the emulator's response for the same arrays."""
    model, variables, emulator = made()
    values = model.values(Sampler(variables, 11).draw(0, count))
    direct = operate(model, layered, values)
    return values, direct, emulator(direct.graph, direct.arrays)


def test_it_agrees_with_direct_solves():
    model, _, emulator = made()
    values, direct, response = fresh()
    hottest = np.abs(direct.response.influence).max(axis=1, keepdims=True)
    share = np.abs(response.influence - direct.response.influence) / hottest
    assert emulator.held_out <= TARGET
    # beyond ±3 sd of an input a sample may exceed what is stated within; rms is of the worst probe and source
    assert np.sqrt(np.mean(share.max(axis=(1, 2)) ** 2)) < TARGET / 2
    assert np.quantile(share.max(axis=(1, 2)), 0.95) < TARGET
    point = operate(model, emulator, values)
    np.testing.assert_allclose(point.junction_rise, direct.junction_rise, rtol=2 * TARGET)
    np.testing.assert_allclose(point.flow, direct.flow, atol=2 * TARGET * point.total.max())


def test_its_own_error_is_honest():
    """It holds the true error in 95 % of all, and is not more than ten times it in the median."""
    _, _, emulator = made()
    _, direct, response = fresh()
    true = np.abs(response.influence - direct.response.influence)
    # the solver's own part is no error against the solver itself
    own = np.quantile(direct.response.error, 0.95, axis=0)
    assert np.mean(true <= np.maximum(response.error - own, 0)) >= 0.95
    assert np.median(response.error - own) <= 10 * np.median(true)
    assert np.all(response.error >= emulator.least_error)
    assert np.all(emulator.least_error > 0)


def test_symmetry_and_balance_are_kept():
    """What is linear in the responses holds as well as for the solver: reciprocity, and heat that leaves."""
    model, _, _ = made()
    _, direct, response = fresh()
    means = [model.probes["mean", name] for name in model.sources]
    for found in (direct.response, response):
        own = found.influence[:, means]
        np.testing.assert_allclose(own, own.transpose(0, 2, 1), rtol=1e-6)
        np.testing.assert_allclose(found.flow[:, model.coolant_contact], 1.0, rtol=1e-9)


def test_it_is_exactly_linear_in_power():
    model, _, emulator = made()
    values, direct, response = fresh()
    doubled = values.with_samples({"die.power": 2 * values("die.power")})
    rises = [np.einsum("spk,sk->sp", response.influence, model.powers(v)) for v in (values, doubled)]
    np.testing.assert_allclose(rises[1], 2 * rises[0], rtol=1e-12)
    one = emulator(direct.graph, direct.arrays)
    np.testing.assert_array_equal(one.influence, response.influence)


def test_powers_and_coolant_do_not_enter():
    """Only what stands in the arrays costs a dimension: four inputs of the solder are one resistance."""
    _, variables, emulator = made()
    assert len(variables) > 13
    assert set(emulator.features.names) == {
        "resistance of solder", "resistance of paste", "resistance of coolant", "die.thickness", "lid.thickness",
        "die.conductivity", "lid.conductivity", "cold plate.conductivity", "die.centre_x",
    }  # fmt: skip


def test_built_once_and_the_same_by_seed():
    _, variables, emulator = made()
    again = model_with_hot_points(soldered(), "layered")
    assert emulator_of(again, variables, solver=layered, seed=3) is emulator
    few = [v for v in variables if v.path in ("solder.bond_line", "coolant.conductance")]
    plain = model_of(soldered())
    builds = [emulator_of(plain, few, solver=one, seed=s) for one, s in ((flat, 1), (flat_again, 1), (flat, 2))]
    arrays = plain.at_temperature(plain.arrays(), np.full((1, 3), 302.0))
    first, same, other = (e(plain.graph, arrays).influence for e in builds)
    np.testing.assert_array_equal(first, same)
    assert not np.array_equal(first, other)


def flat(graph, arrays):
    """A fast solver for tests of the machinery: whole-die responses spread over regions."""
    response = one_dimensional(
        replace(graph, sources=graph.sources[:1]), replace(arrays, source_rect=arrays.source_rect[:, :1])
    )
    return replace(
        response,
        **{
            name: np.repeat(getattr(response, name), len(graph.sources), axis=2)
            for name in ("influence", "flow", "error")
        },
    )


def flat_again(graph, arrays):
    """The same under another name, so that nothing is taken from the cache."""
    return flat(graph, arrays)


def test_refused_outside_its_box():
    model, _, emulator = made()
    centre = operate(model, layered).arrays
    thick = replace(centre, thickness=centre.thickness * [[1.0, 1.5, 1.0]])
    with pytest.raises(
        SolveError, match=r"1 of 1 samples lie outside its box; lid\.thickness is asked at 3\.6 mm, by .* % of"
    ):
        emulator(model.graph, thick)
    swept = replace(centre, thickness=centre.thickness * [[1.0, 1.0, 1.01]])
    with pytest.raises(SolveError, match=r"cold plate\.thickness differs by 0\.03 mm from the only value"):
        emulator(model.graph, swept)
    moved = replace(centre, source_rect=centre.source_rect + 1e-4)
    with pytest.raises(
        SolveError, match=r"(lower|upper) edge of (die|core [01]) differs by 0\.1 mm from the only value"
    ):
        emulator(model.graph, moved)
    aside = replace(centre, source_rect=centre.source_rect + np.array([1e-5, 0, 1e-5, 0]))
    with pytest.raises(SolveError, match="do not follow one another"):
        emulator(model.graph, aside)
    hot = replace(centre, k_through=0.7 * centre.k_through, k_in_plane=0.7 * centre.k_in_plane)
    with pytest.raises(SolveError, match=r"conductivity is asked at .* `hottest`"):
        emulator(model.graph, hot)
    with pytest.raises(SolveError, match="another stack"):
        emulator(model_of(soldered()).graph, centre)


def test_refused_above_the_limit():
    model, variables, _ = made()
    with pytest.raises(
        SolveError, match=r"invented part: an emulator of 64 solves is still off by .* allow more solves \(size="
    ):
        emulator_of(model, variables, solver=layered, size=64, target=1e-6, limit=1e-5)
    with pytest.raises(InputError, match="at least 64"):
        emulator_of(model, variables, solver=layered, size=20)
    with pytest.raises(InputError, match="0 < target <= limit"):
        emulator_of(model, variables, solver=layered, target=0.01, limit=0.001)


def test_a_rectangular_variable_is_covered_to_its_ends():
    model = model_of(soldered())
    swept = Variable("solder.bond_line", Rectangular(10e-6, 400e-6))
    emulator = emulator_of(model, [swept], solver=flat)
    values = model.values({"solder.bond_line": np.linspace(10e-6, 400e-6, 7)})
    point, direct = operate(model, emulator, values), operate(model, flat, values)
    np.testing.assert_allclose(point.rise, direct.rise, atol=TARGET * direct.rise.max())


def test_a_hotter_junction_can_be_asked_for():
    model = model_of(soldered())
    hot = {"die.power": np.array([600.0])}
    cool, warm = (emulator_of(model, [], solver=flat, hottest=t) for t in (None, 273.15 + 150.0))
    with pytest.raises(SolveError, match="conductivity"):
        operate(model, cool, model.values(hot))
    at, direct = operate(model, warm, model.values(hot)), operate(model, flat, model.values(hot))
    assert 100 < direct.junction_rise[0] < 124
    np.testing.assert_allclose(at.junction_rise, direct.junction_rise, rtol=TARGET)


def test_it_travels_to_other_processes():
    _, _, emulator = made()
    _, direct, response = fresh()
    there = pickle.loads(pickle.dumps(emulator))
    np.testing.assert_array_equal(there(direct.graph, direct.arrays).influence, response.influence)


def test_features_say_what_they_are():
    model, variables, _ = made()
    values = model.values(Sampler(variables, 2).draw(0, 200))
    features = features_of(model, model.arrays(values))
    assert all(re.fullmatch(r"[a-z ]+\.[a-z_]+|resistance of [a-z ]+", name) for name in features.names)
    x = features.of(model.arrays(values))
    np.testing.assert_allclose(x.std(axis=0), 1.0)
    assert np.linalg.matrix_rank(features.trend(model.arrays(values), x)) == 1 + x.shape[1] + len(features.parts)


# -- kriging by itself


def kriged(rows, noise=0.0):
    rng = np.random.default_rng(5)
    x = rng.uniform(-1, 1, (rows, 3))
    y = np.stack([np.exp(0.6 * x[:, 0] + 0.2 * x[:, 1]), np.sin(x[:, 1]) + x[:, 2]], axis=1)
    y = y + noise * rng.standard_normal(y.shape)
    trend = np.concatenate([np.ones((rows, 1)), x], axis=1)
    return x, trend, y


def test_kriging_leaves_one_out_as_if_it_were_not_there():
    """The closed form against fits without the point, by the plain equations of universal kriging."""
    x, trend, y = kriged(25, noise=1e-3)
    fit = fit_kriging(x, trend, y, np.ones(2))
    errors, deviation = fit.left_out
    w, g = fit.covariance.weights, fit.covariance.nugget
    for i in (0, 7, 24):
        rest = np.delete(np.arange(25), i)
        K = np.exp(-0.5 * (((x[:, None] - x[None]) * w) ** 2).sum(axis=2)) + g * np.eye(25)
        A = np.block([[K[np.ix_(rest, rest)], trend[rest]], [trend[rest].T, np.zeros((4, 4))]])
        row = np.concatenate([K[i, rest], trend[i]])
        solution = np.linalg.solve(A, np.concatenate([y[rest], np.zeros((4, 2))]))
        np.testing.assert_allclose(errors[i], y[i] - row @ solution, rtol=1e-5, atol=1e-12)
        np.testing.assert_allclose(deviation[i] ** 2, 1 + g - row @ np.linalg.solve(A, row), rtol=1e-5)


def test_kriging_by_the_plain_equations():
    """Prediction and variance by the whole matrix [[K, P], [Pᵀ, 0]]."""
    x, trend, y = kriged(25, noise=1e-3)
    fit = fit_kriging(x, trend, y, np.ones(2))
    w, g = fit.covariance.weights, fit.covariance.nugget
    K = np.exp(-0.5 * (((x[:, None] - x[None]) * w) ** 2).sum(axis=2)) + g * np.eye(25)
    A = np.block([[K, trend], [trend.T, np.zeros((4, 4))]])
    at = np.random.default_rng(1).uniform(-2, 2, (6, 3))
    base = np.concatenate([np.ones((6, 1)), at], axis=1)
    row = np.concatenate([np.exp(-0.5 * (((at[:, None] - x[None]) * w) ** 2).sum(axis=2)), base], axis=1)
    found, deviation = fit.predict(at, base)
    solution = np.linalg.solve(A, np.concatenate([y, np.zeros((4, 2))]))
    np.testing.assert_allclose(found, row @ solution, rtol=1e-6, atol=1e-9)
    variance = 1 + g - np.einsum("ij,ij->i", row, np.linalg.solve(A, row.T).T)
    np.testing.assert_allclose(deviation**2, variance, rtol=1e-5)


def test_kriging_predicts_and_is_least_sure_far_away():
    x, trend, y = kriged(60)
    fit = fit_kriging(x, trend, y, np.ones(2))
    at = np.array([[0.1, -0.3, 0.2], [3.0, 3.0, 3.0]])
    found, deviation = fit.predict(at, np.concatenate([np.ones((2, 1)), at], axis=1))
    np.testing.assert_allclose(found[0], [np.exp(0.06 - 0.06), np.sin(-0.3) + 0.2], atol=1e-5)
    assert deviation[1] > 100 * deviation[0]


def test_kriging_gives_a_linear_function_exactly():
    x, trend, _ = kriged(20)
    y = trend @ np.array([[1.0, 0.0], [2.0, -1.0], [0.5, 3.0], [0.0, 4.0]])
    fit = fit_kriging(x, trend, y, np.ones(2))
    at = np.array([[2.0, -3.0, 1.0]])
    found, _ = fit.predict(at, np.concatenate([np.ones((1, 1)), at], axis=1))
    np.testing.assert_allclose(found, [[1 + 4 - 1.5, -2 - 9 + 4]], rtol=1e-6)
