"""The check: verdict, drops, causes, groups, alone, next measurements, and what is refused. All parts are invented."""

import json
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import integrate, stats

import thermostack as ts
from thermostack.calibration import calibrate, problem_of
from thermostack.checking import Cause, Departure, Misreading, check, expected_information, with_extra_resistance
from thermostack.checking.aged import aged_paste
from thermostack.checking.besides import Besides
from thermostack.checking.candidates import candidates_of
from thermostack.checking.cause import resistance_at_centre
from thermostack.checking.causes import DESCRIBED, causes_of, prior_probabilities
from thermostack.checking.departed import Excess, Plain
from thermostack.checking.effect import SCALES, Effect, effects_of
from thermostack.checking.evidence import evidence_of
from thermostack.checking.foresight import foresee
from thermostack.checking.groups import angles, groups_of
from thermostack.checking.information import Broad
from thermostack.checking.listed import listed
from thermostack.checking.pairing import pairs_of
from thermostack.checking.ranking import NextMeasurement, NextMeasurements, _with_besides, components_of
from thermostack.checking.scored import PATTERN, Scored
from thermostack.checking.segments import log_segment_density
from thermostack.errors import InputError
from thermostack.inference import linear_posterior, posterior_of
from thermostack.inference.implicit import Implicit, drawn
from thermostack.states import State, states_model

FAST = {"solver": "one-dimensional", "draws": 0}


def make(regions=0, centre=("1.5 mm", "-2 mm")):
    cores = [
        ts.Region(f"core {i}", "45 W", corner=(f"{1.2 + 5.4 * (i % 2)} mm", f"{2 + 8 * (i // 2)} mm"),
                  size=("4.4 mm", "5 mm"))
        for i in range(regions)
    ]  # fmt: skip
    return ts.Stack(
        "invented part",
        dies=[
            ts.Die("die", "silicon", "0.72 mm (sd 0.02 mm)", footprint=("12.4 mm", "17.6 mm"),
                   power=ts.PowerMap("230 W", regions=cores), centre=centre,
                   joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"))
        ],
        layers=[
            ts.Layer("lid", "copper", "2.4 mm", footprint=("36 mm", "36 mm")),
            ts.Interface("paste", "ceramic paste"),
            ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm")),
        ],
        coolant=ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"),
    )  # fmt: skip


def mod(stack):
    return stack.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")


def read(temperature, power=230.0, coolant=26.0, sensors=("die",), sd=0.2, **labels):
    values = np.broadcast_to(temperature, len(sensors))
    return ts.Reading.of(
        {name: f"{t} degC (sd {sd} K)" for name, t in zip(sensors, values, strict=True)}, power=f"{power} W (sd 2 W)",
        coolant=f"{coolant} degC (sd 0.1 K)", **labels,
    )  # fmt: skip


@pytest.fixture(scope="module")
def stacks():
    before = make(centre=("0 mm", "0 mm"))
    return before, mod(before)


@pytest.fixture(scope="module")
def usual(stacks):
    """A check of readings that are about what is to be expected."""
    before, after = stacks
    rises = [float(ts.predict(s, "one-dimensional").mean.magnitude) for s in stacks]
    return check(State(before, read(rises[0], source="b")), State(after, read(rises[1], source="a")), **FAST)


# -- densities along segments, and information


def test_segment_density_is_its_integral():
    rng = np.random.default_rng(0)
    x, start = 3 * rng.normal(size=(2, 4)), rng.normal(size=(5, 4))
    step = rng.normal(size=(5, 4)) * np.array([0.0, 1e-6, 0.1, 3.0, 30.0])[:, None]
    found = log_segment_density(x, start, step)
    for n in range(2):
        for k in range(5):

            def density(s, n=n, k=k):
                return math.exp(-0.5 * float(np.sum((x[n] - start[k] - s * step[k]) ** 2))) / (2 * math.pi) ** 2

            peak = float((x[n] - start[k]) @ step[k] / max(step[k] @ step[k], 1e-9))
            whole = integrate.quad(density, 0, 1, points=[min(max(peak, 0), 1)], epsabs=0, epsrel=1e-10, limit=400)[0]
            assert found[n, k] == pytest.approx(math.log(whole), rel=1e-9)
    wide = log_segment_density(x, np.broadcast_to(start, (2, 5, 4)), np.broadcast_to(step, (2, 5, 4)))
    assert wide == pytest.approx(found, abs=1e-9)


def test_information_of_groups():
    far = expected_information([0.5, 0.5], [[0.0], [50.0]], [[1.0]], [0, 1])
    assert far.nats == pytest.approx(math.log(2), abs=1e-9)
    assert far.share == pytest.approx(1.0)
    assert far.outcomes == pytest.approx(np.eye(2))
    one_group = expected_information([0.3, 0.3, 0.4], [[0.0], [50.0], [0.0]], [[1.0]], [0, 0, 0])
    assert one_group.nats == 0.0
    assert one_group.share == 0.0
    none = expected_information([0.5, 0.5], [[1.0], [1.0]], [[1.0]], [0, 1])
    assert none.nats == pytest.approx(0.0, abs=1e-12)


def test_information_of_a_spread_component_is_that_of_many_points():
    points = np.linspace(0, 6, 200)[:, None]
    many = expected_information(
        np.r_[0.5, np.full(200, 0.5 / 200)],
        np.vstack([[[0.0]], points]),
        [[1.0]],
        np.r_[0, np.ones(200, int)],
        draws=8000,
    )
    spread = expected_information([0.5, 0.5], [[0.0], [0.0]], [[1.0]], [0, 1], steps=[[0.0], [6.0]], draws=8000)
    assert spread.nats == pytest.approx(many.nats, abs=3 * math.hypot(spread.error, many.error))
    assert spread.error < 0.008


def test_a_broad_component_is_that_of_many_points():
    """N(0, I + 9 I) as one component with its own covariance, and as 1,500 of unit covariance."""
    rng = np.random.default_rng(2)
    points = 3 * rng.standard_normal((1500, 2))
    weights = np.r_[0.5, np.full(1500, 0.5 / 1500)]
    many = expected_information(
        weights, np.vstack([[[0.0, 0.0]], points]), np.eye(2), np.r_[0, np.ones(1500, int)], draws=2500
    )
    broad = Broad(0.5, np.zeros(2), 10 * np.eye(2), 1)
    one = expected_information([0.5], [[0.0, 0.0]], np.eye(2), [0], broad=[broad], draws=2500)
    assert one.nats == pytest.approx(many.nats, abs=4 * math.hypot(one.error, many.error))
    assert one.nats > 0.2
    assert one.probabilities == pytest.approx([0.5, 0.5])


def test_information_refuses():
    with pytest.raises(ts.InputError, match="do not agree"):
        expected_information([1.0], [[0.0], [1.0]], [[1.0]], [0, 1])
    with pytest.raises(ts.InputError, match="a weight below zero"):
        expected_information([-1.0, 2.0], [[0.0], [1.0]], [[1.0]], [0, 1])
    with pytest.raises(ts.InputError, match="covariance"):
        expected_information([0.5, 0.5], [[0.0], [1.0]], [[0.0]], [0, 1])


# -- verdict


def test_the_terms_add_up_to_the_spread_of_e(usual):
    for at in ("equal power", "equal workload"):
        d = usual.drop(at)
        assert d.u_val == pytest.approx(float(np.std(d.samples, ddof=1)), rel=2e-3)
        assert d.u_val**2 == pytest.approx(d.u_input**2 + d.u_num**2 + d.u_D**2 - 2 * d.covariance)
        assert d.en == pytest.approx((d.expected - d.measured) / (2 * d.u_val))


def test_data_uncertainty_is_that_of_the_readings(usual):
    """u_D of a drop at equal workload: two sensors of 0.2 K; power and coolant enter by the simulation's inputs."""
    assert usual.drop("equal workload").u_D == pytest.approx(0.2 * math.sqrt(2), rel=0.03)


def test_a_usual_drop_is_no_surprise_and_what_would_have_been_is_said(usual):
    v = usual.verdict
    assert v.finding == "cannot tell"
    assert v.p > 0.05
    assert v.surprising_above == pytest.approx(np.quantile(v.drop.samples, 0.975))
    assert f"a drop above {v.surprising_above:.1f} K" in str(v)
    assert "Cannot tell: the measured drop of" in str(usual)


def test_explained_needs_enough_resolution(stacks, usual):
    states = usual.states
    wide = check(*states, resolve="20 K", **FAST)
    assert wide.verdict.finding == "explained"
    just = wide.verdict.drop.width
    assert check(*states, resolve=f"{just * 1.01} K", **FAST).verdict.finding == "explained"
    assert check(*states, resolve=f"{just * 0.99} K", **FAST).verdict.finding == "cannot tell"


def test_just_beyond_what_would_have_surprised_is_not_explained(stacks, usual):
    before, after = stacks
    first, second = (state.readings[0] for state in usual.states)
    for more, finding in ((0.15, "not explained"), (-0.15, "cannot tell")):
        shift = usual.verdict.surprising_above - usual.verdict.drop.measured + more
        moved = replace(second, means=second.means - np.array([shift, 0.0, 0.0]))
        assert check(State(before, first), State(after, moved), **FAST).verdict.finding == finding


def test_both_drops_sensor_by_sensor(stacks):
    before, after = make(2), mod(make(2))
    sensors = ("core 0", "core 1")
    b = read((70.0, 74.0), 230, 26, sensors, source="b")
    a = read((60.0, 68.0), 207, 27, sensors, source="a")
    found = check(State(before, b), State(after, a), **FAST)
    rows = found.drops.to_dict()
    workload = dict(zip(rows["sensor"][4:], rows["measured"][4:], strict=True))
    power = dict(zip(rows["sensor"][:4], rows["measured"][:4], strict=True))
    assert workload["core 0"] == pytest.approx((70 - 26) - (60 - 27))
    assert workload["mean"] == pytest.approx(0.5 * (11 + 7))
    assert power["core 1"] == pytest.approx(48 - 41 / 207 * 230)
    assert power["hottest"] == power["core 1"], "the sensor that was hottest before"
    assert "Hottest before was core 1." in str(found.sentences)


def test_mounts_count_alike_and_only_the_level_is_used(stacks):
    before, after = stacks
    found = check(
        State(before, read(70, source="b"), read(48, 115, level="half")),
        State(after, read(64, mount="1"), read(66, mount="2"), read(46, 115, mount="2", level="half")), **FAST,
    )  # fmt: skip
    assert found.verdict.drop.measured == pytest.approx(44 - 39)
    half = check(*found.states, level="half", **FAST)
    assert half.verdict.drop.measured == pytest.approx(2.0)
    with pytest.raises(ts.InputError, match="no reading at level 'idle'"):
        check(*found.states, level="idle", **FAST)


def test_samples_repeat_and_more_of_them_agree(usual):
    again = check(*usual.states, **FAST)
    assert again.verdict.p == usual.verdict.p
    other = check(*usual.states, seed=5, **FAST)
    assert other.verdict.drop.u_val == pytest.approx(usual.verdict.drop.u_val, rel=0.06)


@pytest.mark.parametrize(
    ("power", "words"), [(230.0, "no change beyond"), (218.0, "taken as leakage"), (180.0, "more than leakage")]
)
def test_power_that_fell(stacks, power, words):
    before, after = stacks
    a = read(26 + 34 * power / 230, power, source="a")
    assert words in check(State(before, read(70, source="b")), State(after, a), **FAST).leakage


# -- after a calibration


@pytest.fixture(scope="module")
def calibrated(stacks):
    reading = read(58.5, source="before.csv")
    return reading, calibrate(stacks[0], reading, solver="one-dimensional", draws=1000)


def test_after_given_before(stacks, calibrated):
    reading, stack = calibrated
    after = State(mod(stack), read(55.5, source="after"))
    given = check(stack, after, **FAST)
    alone = check(after, **FAST)
    plain = check(State(stacks[0], reading), State(stacks[1], after.readings[0]), **FAST)
    assert given.verdict.given
    assert "given what was read before" in str(given.verdict)
    assert alone.verdict.p == given.verdict.p, "the calibrated stack holds its readings already"
    assert given.verdict.drop.measured == pytest.approx(plain.verdict.drop.measured)
    assert np.all(given.drawn.repeated[:, 0] == given.model.observed[0]), "what was read is known"
    assert np.std(given.drawn.repeated[:, 1]) > 0.5
    assert given.verdict.drop.u_val < 0.97 * plain.verdict.drop.u_val


def test_given_before_is_conditioning(stacks, calibrated):
    """The mean and spread of the drop given before are those of the joint draws, conditioned (nearly normal)."""
    reading, stack = calibrated
    given = check(stack, State(mod(stack), read(55.5, source="after")), samples=8000, **FAST).drop("equal workload")
    plain = check(State(stacks[0], reading), State(stacks[1], read(55.5, source="after")), samples=8000, **FAST)
    y = plain.drawn.repeated
    mean, cov = y.mean(axis=0), np.cov(y.T)
    known = plain.model.observed[0]
    after = mean[1] + cov[1, 0] / cov[0, 0] * (known - mean[0])
    sd = math.sqrt(cov[1, 1] - cov[1, 0] ** 2 / cov[0, 0])
    assert given.expected == pytest.approx(known - after, abs=0.15)
    assert given.u_val == pytest.approx(sd, rel=0.06)


def test_a_reading_that_was_calibrated_on_is_refused(stacks, calibrated):
    reading, stack = calibrated
    copy = read(58.5, source="before.csv")
    for used in (reading, copy):
        with pytest.raises(ts.InputError, match=r"before\.csv: the stack was calibrated on it"):
            check(State(stack, used), State(mod(stack), read(55.5, source="after")), **FAST)


# -- what is refused


def test_bad_input(stacks):
    before, after = stacks
    b, a = read(70, source="b"), read(64, source="a")
    with pytest.raises(ts.InputError, match="no baseline"):
        check(State(after, a), **FAST)
    with pytest.raises(ts.InputError, match="Reading is no state"):
        check(b, a, **FAST)
    with pytest.raises(ts.InputError, match="no reading of it"):
        check(before, State(after, a), **FAST)
    other = replace(after, name="another part")
    with pytest.raises(ts.InputError, match="these are two parts: 'invented part' and 'another part'"):
        check(State(before, b), State(other, a), **FAST)
    with pytest.raises(ts.UnknownNameError, match="core 7"):
        check(State(before, b), State(after, read(64, sensors=("core 7",), source="a")), **FAST)
    with pytest.raises(ts.UnitError):
        check(State(before, b), State(after, a), resolve=2.0, **FAST)
    with pytest.warns(ts.ThermostackWarning, match="swapped"):
        check(State(before, read(64, source="after.csv")), State(after, read(70, source="before.csv")), **FAST)


def test_contradictory_readings_are_named(stacks):
    before, after = stacks
    found = check(
        State(before, read(58, source="b")), State(after, read(55, mount="1"), read(55.2, mount="2"), read(70, mount="3")),
        **FAST,
    )  # fmt: skip
    assert found.contradiction.clear
    assert found.contradiction.name == "relid, mount 3: die"
    assert "reads 70.0 °C where 5" in str(found.contradiction)
    assert found.contradiction.expected == pytest.approx(273.15 + 55, abs=1.0)


def test_causes_refuse():
    way = (Misreading("after", "coolant"),)
    with pytest.raises(ts.InputError, match="it acts in no way"):
        Cause("x", "x", size="1 K", largest="2 K", source="", ways=())
    with pytest.raises(ts.InputError, match="two plain values above zero"):
        Cause("x", "x", size="3 K", largest="2 K", source="", ways=way)
    with pytest.raises(ts.InputError, match="odds"):
        Cause("x", "x", size="1 K", largest="2 K", source="", ways=way, odds=0)
    with pytest.raises(ts.InputError, match="the unit"):
        Cause("x", "x", size="1 W", largest="2 W", source="", ways=way)


# -- alone


def test_alone_values_bring_the_measured_drop(stacks, usual):
    target = usual.verdict.drop.measured + 1.5
    first, second = (state.readings[0] for state in usual.states)
    moved = replace(second, means=second.means - np.array([1.5, 0.0, 0.0]))
    found = check(State(stacks[0], first), State(stacks[1], moved), **FAST)
    inputs = {each.path: each for each in found.alone}
    each = inputs["liquid metal.resistance"]
    model = found.model
    at = {v.path: np.atleast_1d(v.distribution.ppf(0.5)) for v in model.variables}
    shown = model({**at, each.path: np.array([each.value])})
    drop = found.drawn.drops.of(shown, found.drawn.coolant)[0, 0].mean()
    assert drop == pytest.approx(target, abs=5e-3)
    assert each.score < 0
    assert math.log(each.value / each.usual) / each.score == pytest.approx(
        next(v.distribution.natural_sd for v in model.variables if v.path == each.path), rel=1e-6
    )
    assert [a.value is None for a in found.alone] == sorted(a.value is None for a in found.alone)
    assert "liquid metal.resistance" in str(found.alone_table)


def test_no_physical_value_is_said(stacks):
    before, after = stacks
    found = check(State(before, read(90, source="b")), State(after, read(50, source="a")), **FAST)
    by_path = {each.path: each for each in found.alone}
    metal = by_path["liquid metal.resistance"]
    assert metal.value is None
    assert not metal.followed
    assert metal.told == "5 sd of it do next to nothing"
    told = {each.told for each in found.alone if each.value is None and each.followed}
    assert told <= {"no physical value does"}
    solder = by_path["solder.contact"]
    assert solder.value is not None
    assert solder.score > 5


# -- evidence


class Straight:
    """A straight, normal model in the place of the readings of states."""

    def __init__(self, scored, seed=0):
        rng = np.random.default_rng(seed)
        self.model, self.latent, self.coolant, self.noise = scored.model, scored.latent, scored.coolant, scored.noise
        self.y = scored.model.observed.copy()
        self.slopes = rng.normal(size=(len(self.y), scored.latent.size)) * 0.5

    def __call__(self, z):
        return self.y + z @ self.slopes.T

    def linearised(self, z):
        return self(z), np.repeat(self.slopes[None], len(z), axis=0)

    sloped = linearised

    def doubt(self, shift):
        return np.zeros((len(shift), len(shift)))


@pytest.fixture(scope="module")
def straight(usual):
    before, mod = usual.states
    after = State(mod.stack, mod.readings[0], mod.readings[0].labelled(mount="2"))  # three rows
    return Straight(Scored(states_model([before, after], "one-dimensional")))


def test_evidence_is_the_twins(straight):
    """A size that is normal and unbounded for all purposes: evidence and size in closed form."""
    rng = np.random.default_rng(1)
    observed = straight.y + rng.normal(size=len(straight.y)) * 2
    direction, sd = rng.normal(size=len(straight.y)), 1.7
    edges = sd * np.linspace(-8, 8, 401)
    masses = np.array([np.diff(stats.norm.cdf(edges, scale=scale * sd)) for scale in SCALES])
    effect = Effect(0, "", 1.0, edges, edges[:, None] * direction, masses, gain=False)
    for draws in (0, 400):
        found = evidence_of(straight, observed, [effect], draws=draws, seed=3)
        for k, scale in enumerate(SCALES):
            A = np.column_stack([straight.slopes, direction])
            P = np.diag([*np.ones(straight.slopes.shape[1]), (scale * sd) ** 2])
            twin = linear_posterior(A, (np.zeros(len(P)), P), observed, straight.noise, offset=straight.y)
            # the prior is flat within pieces of 4 % of an sd; at double scale its tails beyond 4 sd are cut
            off = 5e-4 if draws == 0 else 4 * found.error[0]
            assert found.log_evidence[0, k] == pytest.approx(twin.log_evidence, abs=off)
            if k == 1:
                assert found.linear[0].size == pytest.approx(twin.mean[-1], abs=0.01 * sd)
                assert found.linear[0].spread == pytest.approx(math.sqrt(twin.covariance[-1, -1]), rel=0.01)
        A, J = straight.slopes, straight.slopes.shape[1]
        plain = linear_posterior(A, (np.zeros(J), np.eye(J)), observed, straight.noise, offset=straight.y)
        off = 1e-9 if draws == 0 else 4 * found.error[1]
        assert found.log_evidence[1, 1] == pytest.approx(plain.log_evidence, abs=off)
        assert found.linear[1].square == pytest.approx(plain.distance**2)


def test_what_came_besides_is_the_twins(straight):
    """A normal size, and one that comes besides with a chance of 0.2: a mixture of two normal integrals."""
    rng = np.random.default_rng(6)
    sds, directions = (1.2, 2.5), rng.normal(size=(2, len(straight.y)))
    active = []
    for i, (sd, direction) in enumerate(zip(sds, directions, strict=True)):
        edges = sd * np.linspace(-7, 7, 281)
        masses = np.array([np.diff(stats.norm.cdf(edges, scale=scale * sd)) for scale in SCALES])
        active.append(Effect(i, "", 1.0, edges, edges[:, None] * direction, masses, gain=False))
    for size in (0.0, 1.0, 4.0, 12.0):
        observed = straight.y + rng.normal(size=len(straight.y)) + size * directions[1]
        besides = Besides((active[1],), (0.2,))
        plain, found = (evidence_of(straight, observed, active[:1], besides=[besides], draws=n) for n in (0, 600))
        for scale, of_scale, laplace in zip(SCALES, found.log_evidence[0], plain.log_evidence[0], strict=True):
            logs = []
            for k in (1, 2):
                A = np.column_stack([straight.slopes, *directions[:k]])
                P = np.diag([*np.ones(straight.slopes.shape[1]), *np.square(scale * np.array(sds[:k]))])
                logs.append(
                    linear_posterior(A, (np.zeros(len(P)), P), observed, straight.noise, offset=straight.y).log_evidence
                )
            whole = np.logaddexp(math.log(0.8) + logs[0], math.log(0.2) + logs[1])
            assert laplace == pytest.approx(whole, abs=0.03), "points of the second size, tails cut at double scale"
            assert of_scale == pytest.approx(whole, abs=5 * found.error[0] + 0.05), (size, scale)
            if scale == 1.0:
                share = 0.2 * math.exp(logs[1] - whole)
                assert plain.linear[0].points[1:].sum() == pytest.approx(share, abs=5e-3)


def test_doubt_is_of_the_pattern_and_between_levels(cores):
    """Of a shift that differs by sensor and reading, by hand; rows: four cores before, four after, one reading each."""
    _, _, scored = cores
    shift = np.array([3.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 2.0])
    found = scored.doubt(shift)
    assert found[:4, 4:] == pytest.approx(np.zeros((4, 4))), "nothing in common between states"
    assert found[0, 0] == pytest.approx((0.03 * 1.5) ** 2 + (0.01 * 1.5) ** 2)
    assert found[0, 1] == pytest.approx((0.01 * 1.5) ** 2), "sensors have the mean in common"
    assert scored.doubt(np.repeat([2.0, 1.0], 4))[:4, :4] == pytest.approx(np.full((4, 4), 0.02**2)), "even: no pattern"


def test_levels_begin_with_a_step_in_power(stacks):
    """199, 202 and 230 W are one level, each within a fifth of the next; 150 W is another."""
    before, after = stacks
    readings = [read(50, p, level=str(p)) for p in (199.0, 202.0, 230.0, 150.0)]
    scored = Scored(states_model([State(before, *readings), State(after, read(49, source="a"))], "one-dimensional"))
    found = scored.doubt(np.ones(5)) > 0
    assert found[:4, :4].astype(int).tolist() == [[1, 1, 1, 0], [1, 1, 1, 0], [1, 1, 1, 0], [0, 0, 0, 1]]


def test_one_sided_slopes_are_the_slopes(usual):
    scored = Scored(usual.model)
    z = np.random.default_rng(2).normal(size=(4, scored.latent.size))
    (y, slopes), (other_y, other) = scored.linearised(z), scored.sloped(z)
    assert other_y == pytest.approx(y, abs=1e-9)
    assert other == pytest.approx(slopes, abs=0.02 * np.abs(slopes).max())


def test_chances_are_beside_the_odds():
    causes = [cause_of("a", 3.0), cause_of("b", 1.0), cause_of("bad", 1.0, chance=1 / 8, ways=3)]
    p = prior_probabilities(causes)
    assert p.sum() == pytest.approx(1.0)
    assert p[0] / p[1] == pytest.approx(3.0)
    assert p[1] == pytest.approx(p[4]), "what is not listed counts as one cause"
    assert p[2] + p[3] == pytest.approx(0.5), "described, with a bad mount or without: even odds against the rest"
    assert p[2] / p[3] == pytest.approx(3 * (1 / 8) / (7 / 8)), "one of three to none"
    with pytest.raises(InputError, match=r"chance 1.*from 0 to below 1"):
        cause_of("x", 1.0, chance=1.0)


def cause_of(name, odds, chance=0.0, ways=1):
    return Cause(
        name, "x", size="1 K", largest="2 K", source="", odds=odds, chance=chance,
        ways=tuple(Misreading("after", "sensors", str(i)) for i in range(ways)),
    )  # fmt: skip


def test_draws_are_the_posterior_of_a_straight_model(straight):
    """Density by the normal formula, and no draw that weighs more than another."""
    observed = straight.y + np.array([3.0, -1.0, 2.0])
    place = Implicit.about(np.zeros(straight.latent.size), straight.slopes, observed, straight.noise)
    z = drawn([place], np.random.default_rng(0), 50, straight)
    y, slopes = straight.sloped(z)
    J = straight.latent.size
    twin = linear_posterior(straight.slopes, (np.zeros(J), np.eye(J)), observed, straight.noise, offset=straight.y)
    expected = stats.multivariate_normal(twin.mean, twin.covariance).logpdf(z)
    assert place.log_density(z, y, slopes) == pytest.approx(expected, rel=1e-6)


def test_an_effect_changes_with_the_power_level(cores):
    """A large void and a joint at full and at half power, against predictions of the departed stack itself.

    What the void's own heat does to the silicon around it is left out: it is 5 % too small at full power.
    """
    model, effects, _ = cores
    before = model.states[0].stack
    for name, size, share, whole in (("void in a corner of the first joint", 0.08, 0.06, 0.06),
                                     ("thicker or cracked first joint", 12e-6, 0.015, 0.03)):  # fmt: skip
        c = next(i for i, cause in enumerate(effects.causes) if cause.name == name)
        way = effects.causes[c].ways[0]
        excess, direct = [], []
        for watts in (230.0, 115.0):
            plain, other = (
                ts.predict(stack.change("die.power", f"{watts} W")) for stack in (before, way.change(before, size))
            )
            rises = [np.array([r for at, r in zip(*each, strict=True) if at.startswith("core")]) for each in (
                (d["at"], d["rise_K"]) for d in (plain.sensors.to_dict(), other.sensors.to_dict()))]  # fmt: skip
            direct.append(np.max(rises[1] - rises[0]))
            excess.append(np.max(effects.excess[c, 0, 0](np.array([size]), watts)))
        assert excess[1] / excess[0] == pytest.approx(direct[1] / direct[0], rel=share), name
        assert excess[0] == pytest.approx(direct[0], rel=whole), name


def test_a_bad_mount_besides_is_told(stacks):
    """A sensor that changed by 12 K, and one of two mounts that is bad: the first is found, the second is mentioned."""
    before, after = stacks
    rises = [float(ts.predict(s, "one-dimensional").mean.magnitude) for s in stacks]
    half = [26 + 0.49 * (rise - 26) for rise in rises]
    states = (
        State(before, read(rises[0], source="b"), read(half[0], 115, level="half")),
        State(after, read(rises[1] + 12, mount="1"), read(half[1] + 12, 115, level="half", mount="1"),
              read(rises[1] + 22, mount="2"), read(half[1] + 17, 115, level="half", mount="2")),
    )  # fmt: skip
    found = check(*states, **FAST).causes
    assert found.ranked[0].name == "sensor offset that changed"
    assert "besides one bad mount, after, mount 2" in found.ranked[0].told
    assert "by chance" in str(found)
    # the bad mount is no news for another log of the good one
    candidate = next(c for c in candidates_of(found) if c.name == "a longer log, after")
    parts = components_of(found, candidate)
    mine = parts.labels == parts.names.index(found.ranked[0].name)
    middle = parts.means[mine] + 0.5 * parts.steps[mine]
    expected = parts.weights[mine] @ middle[:, 0] / parts.weights[mine].sum()
    assert expected - 273.15 == pytest.approx(rises[1] + 12, abs=0.6)


def test_a_pair_is_the_twins(straight):
    """Two normal sizes at once, in closed form; the first is summed over points of its pieces."""
    rng = np.random.default_rng(4)
    observed = straight.y + rng.normal(size=len(straight.y)) * 3
    sds, directions = (1.2, 0.8), rng.normal(size=(2, len(straight.y)))
    active = []
    for i, (sd, direction) in enumerate(zip(sds, directions, strict=True)):
        edges = sd * np.linspace(-7, 7, 281)
        masses = np.array([np.diff(stats.norm.cdf(edges, scale=scale * sd)) for scale in SCALES])
        active.append(Effect(i, "", 1.0, edges, edges[:, None] * direction, masses, gain=False))
    found = evidence_of(straight, observed, active, draws=0)
    effects = SimpleNamespace(causes=[SimpleNamespace(name="a"), SimpleNamespace(name="b")])
    (pair,) = pairs_of(straight, observed, effects, active, found, [[0], [1]])
    A = np.column_stack([straight.slopes, *directions])
    P = np.diag([*np.ones(straight.slopes.shape[1]), *np.square(sds)])
    twin = linear_posterior(A, (np.zeros(len(P)), P), observed, straight.noise, offset=straight.y)
    assert pair.log_evidence == pytest.approx(twin.log_evidence, abs=1e-3)
    assert pair.gain == pytest.approx(pair.log_evidence - found.laplace[:2].max(), abs=1e-9)


def test_sampled_evidence_agrees_with_inference(usual):
    """Of the described stack, against `posterior_of` on the same readings, which are off by one to two sd."""
    scored = Scored(usual.model)
    observed = usual.model.observed + np.array([3.0, -0.5])
    ours = evidence_of(scored, observed, [], seed=1)
    theirs = posterior_of(replace(problem_of(usual.model), observed=observed), draws=2000, seed=2)
    assert np.isfinite(ours.effective_size[0])
    mode = ours.linear[0].mode
    y, slopes = scored.linearised(mode[None])
    white = np.linalg.solve(np.linalg.cholesky(scored.noise), np.column_stack([slopes[0], observed - y[0]]))
    gradient = mode - white[:, :-1].T @ white[:, -1]
    step = np.linalg.solve(np.eye(len(mode)) + white[:, :-1].T @ white[:, :-1], gradient)
    assert gradient @ step < 1e-3, "the most probable point is one"
    error = math.hypot(ours.error[0], theirs.log_evidence_error)
    assert ours.log_evidence[0, 1] == pytest.approx(theirs.log_evidence, abs=4 * error)
    assert error < 0.15
    assert ours.laplace[0] == pytest.approx(ours.log_evidence[0, 1], abs=0.3)


# -- groups


def test_angles_of_rays_and_lines():
    s = np.array([[1.0, 0.0], [2.0, 0.0], [-1.0, 0.0], [1.0, 1.0]])
    rays = angles(s, np.zeros(4, dtype=bool))
    assert rays[0] == pytest.approx([0, 0, 1, math.sqrt(0.5)])
    lines = angles(s, np.array([True, False, False, False]))
    assert lines[0, 2] == pytest.approx(0)
    assert groups_of(s, np.zeros(4, dtype=bool), 2.5).tolist() == [0, 0, 1, 0]
    assert groups_of(s, np.zeros(4, dtype=bool), 4.0).tolist() == [0, 0, 1, 2]
    assert len(set(groups_of(s, np.zeros(4, dtype=bool), 1.0).tolist())) == 1


def signatures(stacks, before, after, names):
    """Return unit signatures of causes, whitened by all that is uncertain; the first way of each."""
    model = states_model([State(stacks[0], *before), State(stacks[1], *after)], "one-dimensional")
    effects = effects_of(model, [c for c in listed(model) if c.name in names])
    scored = Scored(model)
    _, slopes = scored.linearised(np.zeros((1, scored.latent.size)))
    L = np.linalg.cholesky(slopes[0] @ slopes[0].T + scored.noise)
    out = {}
    for effect in effects.on(model):
        shift = effect.starts(model.observed - scored.coolant)
        middle = shift[np.searchsorted(effect.edges, effects.causes[effect.cause].size.si)]
        out.setdefault(effects.causes[effect.cause].name, np.linalg.solve(L, middle))
    return {name: s / np.linalg.norm(s) for name, s in out.items()}


def test_two_means_see_two_directions(stacks):
    names = {"thicker or cracked first joint", "paste badly seated before", "coolant probe or its drift",
             "lid standing on its rim", "power-meter error or change", "sensor offset that changed"}  # fmt: skip
    found = signatures(stacks, [read(58, source="b")], [read(55, source="a")], names)
    assert set(found) == names
    rank = np.linalg.matrix_rank(np.array(list(found.values())), tol=1e-6)
    assert rank == 2
    same = found["thicker or cracked first joint"] @ found["paste badly seated before"]
    assert same == pytest.approx(1.0, abs=1e-9), "both act before alone"


def test_a_second_level_separates_sensor_and_coolant_from_joints(stacks):
    names = {"thicker or cracked first joint", "coolant probe or its drift", "paste badly seated before"}
    one = signatures(stacks, [read(58, source="b")], [read(55, source="a")], names)
    two = signatures(
        stacks,
        [read(58, source="b"), read(32.4, 46, level="low")],
        [read(55, source="a"), read(31.8, 46, level="low")],
        names,
    )
    joint, probe, paste = sorted(names, key=lambda n: ("joint" not in n, "probe" not in n))
    assert abs(one[joint] @ one[probe]) > 0.99
    assert abs(two[joint] @ two[probe]) < 0.8
    assert two[joint] @ two[paste] > 0.999, "joints are not told from each other by a level"


@pytest.fixture(scope="module")
def cores():
    """Per-core readings, before with a void in the upper right corner; layered."""
    before, after = make(4), mod(make(4))
    sensors = tuple(f"core {i}" for i in range(4))
    model = states_model([
        State(before, read((60.0,) * 4, sensors=sensors, source="b")),
        State(after, read((57.0,) * 4, sensors=sensors, source="a")),
    ])  # fmt: skip
    wanted = ("void in a corner of the first joint", "thicker or cracked first joint", "coolant probe or its drift")
    effects = effects_of(model, [c for c in listed(model) if c.name in wanted])
    return model, effects, Scored(model)


def test_cores_isolate_a_void(cores):
    model, effects, scored = cores
    corner = next(e for e in effects.on(model) if e.told == "upper right corner")
    shift = np.array([np.interp(0.05, corner.edges, column) for column in corner.shifts.T])
    assert np.argmax(shift) == 3
    assert np.all(shift[4:] == 0)
    middle = model({v.path: np.atleast_1d(v.distribution.ppf(0.5)) for v in model.variables})[0]
    found = causes_of(scored, middle + shift, effects)
    best = found.ranked[0]
    assert (best.name, best.told) == ("void in a corner of the first joint", "upper right corner")
    assert found.groups[0].low > 0.9
    assert best.size == pytest.approx(0.05, abs=0.01)
    assert found.pointed_to is found.groups[0]
    assert found[DESCRIBED].high < 0.01
    total = sum(r.probability for r in found.ranked)
    assert total == pytest.approx(1.0)


def test_the_described_readings_point_to_nothing(cores):
    model, effects, scored = cores
    middle = model({v.path: np.atleast_1d(v.distribution.ppf(0.5)) for v in model.variables})[0]
    found = causes_of(scored, middle, effects, draws=0)
    assert found.pointed_to is None
    assert found.groups[0].members[0].name == DESCRIBED
    assert "Cannot tell" in found.conclusion


def test_errors_of_instruments_are_what_they_say(usual):
    """A probe, a meter and sensors that read too much by a size: against the model itself, with truth moved so."""
    model = usual.model
    effects = effects_of(
        model, [c for c in listed(model) if "coolant" in c.name or "power" in c.name or "sensor" in c.name]
    )
    at = {v.path: np.atleast_1d(v.distribution.ppf(0.5)) for v in model.variables}
    plain = model(at)[0]
    power, coolant = model.true(at, 1)
    moved = {
        "coolant": model.sensed(at, 1, model.point(at, 1, power, coolant - 1.5))[0, 0] - plain[1],
        "power": model.sensed(at, 1, model.point(at, 1, power / 1.04, coolant))[0, 0] - plain[1],
        "sensors": 1.5,
    }
    for effect in effects.on(model):
        way = next(w for w in effects.causes[effect.cause].ways if w.told == effect.told)
        if way.where != "after":
            continue
        chain = effect.starts(plain - np.array([299.15, 299.15]))
        size = 0.04 if way.of == "power" else 1.5
        found = [np.interp(size, effect.edges, column) for column in chain.T]
        assert found[0] == 0.0
        assert found[1] == pytest.approx(moved[way.of], rel=0.03), "to the change of k with temperature"


# -- causes of one's own, pairs, next measurements, results


def frame(stack, size):
    return with_extra_resistance(stack, "paste", size)


@pytest.fixture(scope="module")
def whole(stacks):
    """A check with everything asked for: a drop that is far too small, by the user's own cause."""
    own = Cause(
        "bent <frame>", "The frame held the cold plate off the lid.", size="20 mm^2*K/W", largest="90 mm^2*K/W",
        source="invented", ways=(Departure("after", frame, joint="paste"),), odds=4.0,
    )  # fmt: skip
    before, after = stacks
    return check(
        State(before, read(58, source="b"), read(42, 115, level="half")), State(after, read(66, source="a")),
        causes=[own], pairs=True, solver="one-dimensional",
    )  # fmt: skip


def test_a_cause_of_ones_own(whole):
    own = whole.causes["bent <frame>"]
    assert own.probability > whole.causes["lid flatness changed"].probability
    assert own.cause.odds == 4.0
    assert 5e-6 < own.size < 9e-5
    other = whole.causes["lid flatness changed"]
    odds = 4.0 * math.exp(own.log_evidence - other.log_evidence)
    assert own.probability / other.probability == pytest.approx(odds, rel=1e-9)
    described = whole.causes[DESCRIBED]
    bad = whole.causes["one bad mount"].cause
    assert (bad.chance, len(bad.ways)) == (1 / 8, 2)
    all_odds = (
        sum(c.odds for c in whole.causes.effects.causes if c is not bad) + 1.0
    )  # what is not listed counts as one
    good, one = (7 / 8) ** 2, 2 * (1 / 8) * (7 / 8)  # mounts; not both are bad
    odds = all_odds * good / (good + one) * math.exp(described.log_evidence - other.log_evidence)
    assert described.probability / other.probability == pytest.approx(odds, rel=1e-9), "even odds against all causes"
    assert "mm²·K/W" in own.sized


def test_a_paste_that_cycles_pumped_out(stacks):
    before, after = stacks
    aged = aged_paste(before, 400)
    low, high = (1 - math.exp(-400 / n) for n in (5000.0, 250.0))  # the least loss of 20 %, the greatest of 100 %
    assert aged.largest.si == pytest.approx(high, rel=1e-3)
    assert aged.size.si == pytest.approx((0.2 * low + high) / 2, rel=1e-3)
    (way,) = aged.ways
    fresh = resistance_at_centre(before, "paste")
    assert resistance_at_centre(way.change(before, 0.3), "paste") == pytest.approx(1.3 * fresh)
    found = check(
        State(before, read(61)), State(after, read(52.5)), causes=[aged], solver="one-dimensional", draws=0, samples=500
    )
    group = next(g for g in found.causes.groups if aged.name in [m.name for m in g.members])
    assert "paste badly seated before" in [m.name for m in group.members], "nothing in the readings tells them apart"
    assert 0 < found.causes[aged.name].size < high
    bare = after.without("lid", "paste").replace("liquid metal", ts.Interface("film", "ceramic paste"))
    assert aged_paste(bare, 400, "after").largest.si == pytest.approx(
        1 - math.exp(-8), rel=1e-3
    )  # on a bare die faster
    assert aged_paste(bare, 400, "after").ways[0].joint == "film"


@pytest.mark.parametrize(
    ("how", "match"),
    [
        (lambda before, after: aged_paste(before, 0), "0 cycles; expected such as 250"),
        (lambda before, after: aged_paste(before, -3), "cycles"),
        (lambda before, after: aged_paste(before, 100, "later"), "'before' or 'after'"),
        (lambda before, after: aged_paste(after.without("lid", "paste"), 100), "liquid metal: .* is no paste"),
    ],
)
def test_what_does_not_age_by_cycles(stacks, how, match):
    with pytest.raises(InputError, match=match):
        how(*stacks)


def test_extra_resistance_is_extra(stacks):
    for joint in ("solder", "paste"):
        here = resistance_at_centre(stacks[0], joint)
        assert resistance_at_centre(with_extra_resistance(stacks[0], joint, 3e-6), joint) == pytest.approx(here + 3e-6)
        assert resistance_at_centre(with_extra_resistance(stacks[0], joint, -1.0), joint) == pytest.approx(0.05 * here)
    base, more = (
        ts.predict(stack, "one-dimensional") for stack in (stacks[0], with_extra_resistance(stacks[0], "solder", 3e-6))
    )
    rise = float(more.mean.magnitude - base.mean.magnitude)
    straight = 230 * 3e-6 / (12.4e-3 * 17.6e-3)
    assert straight < rise < 1.03 * straight, "a warmer die conducts a little less"


def test_pairs_are_worth_what_they_gain(whole):
    pairs = whole.causes.pairs
    count = len(whole.causes.effects.causes)
    assert len(pairs) == count * (count - 1) // 2
    assert [p.log_evidence for p in pairs] == sorted((p.log_evidence for p in pairs), reverse=True)
    assert "Two causes at once" in str(whole.causes)


def test_next_measurements(whole):
    found = whole.next_measurements
    names = [m.name for m in found]
    assert {m.when for m in found} == {"possible now", "only before the mod", "needs a second part"}
    assert [m.information.nats for m in found] == sorted((m.information.nats for m in found), reverse=True)
    for part in ("remount the cold plate, after", "a second power level, after", "a thermocouple on the lid, after",
                 "a lower flow, after", "thickness of the die by micrometer", "a second coolant probe beside the first",
                 "a second power meter", "contact print of the paste", "a longer log, after",
                 "the same mod on a second part"):  # fmt: skip
        assert part in names, part
    assert "a second power level, before" not in names, "it was taken"
    first = found.ranked[0]
    assert 0 < first.information.share <= 1
    assert "if " in first.meaning
    assert found["contact print of the paste"].information.nats > found["a second power meter"].information.nats
    assert all(m.information.nats > -4 * m.information.error - 1e-9 for m in found)


def test_what_is_settled_asks_for_nothing():
    information = expected_information([1.0, 1e-6], [[0.0], [3.0]], [[1.0]], [0, 1])
    one = NextMeasurement("idle, after", "ten minutes", "possible now", information, (), "K")
    found = NextMeasurements((one,), "as described")
    assert not found.open
    assert found.table.rows == ()
    assert "nothing further is asked for" in str(found)
    assert "nothing further is asked for" in found._repr_html_()
    open_ = replace(one, information=expected_information([0.5, 0.5], [[0.0], [3.0]], [[1.0]], [0, 1]))
    assert "idle, after" in str(NextMeasurements((open_,), "as described"))


def test_new_data_are_conditioned_on_what_was_read(whole):
    """By the inverse of the joint covariance, another road than the gain."""
    causes = whole.causes
    candidate = next(c for c in candidates_of(causes) if c.name == "a thermocouple on the lid, after")
    parts = components_of(causes, candidate)
    D = len(whole.model.observed)
    residual = whole.model.observed - candidate.base[:D]
    C = candidate.slopes @ candidate.slopes.T + candidate.noise

    def conditional(C, residual):
        P = np.linalg.inv(C)
        own = np.linalg.inv(P[D:, D:])
        return candidate.base[D:] - own @ P[D:, :D] @ residual, own

    mean, own = conditional(C, residual)
    assert parts.covariance == pytest.approx(own, rel=1e-6, abs=1e-9)
    described = parts.labels == parts.names.index(DESCRIBED)
    assert parts.means[described][0] == pytest.approx(mean, abs=1e-6)
    mean, own = conditional(C + candidate.unlisted, residual)
    assert parts.unlisted.mean == pytest.approx(mean, abs=1e-6)
    assert parts.unlisted.covariance == pytest.approx(own, rel=1e-6, abs=1e-9)
    i = next(
        k
        for k, e in enumerate(causes.active)
        if causes.effects.causes[e.cause].name == "thicker or cracked first joint"
    )
    first = np.flatnonzero(parts.labels == causes.active[i].cause)[3]
    shift = candidate.shifts[i][3]
    _, _, came = next(_with_besides(causes, candidate, i))  # first what is probable besides
    mean, _ = conditional(C, residual - shift[:D] - came[:D])
    assert parts.means[first] == pytest.approx(mean + shift[D:] + came[D:], abs=1e-6)


def test_a_second_meter_tells_of_the_meter(stacks):
    """Only with a power-meter error in play is a second meter worth anything."""
    before, after = stacks
    found = check(State(before, read(58, source="b")), State(after, read(50.5, source="a")), **FAST)
    meter = found.next_measurements["a second power meter"].information
    assert meter.nats > 0.02
    assert found.causes["power-meter error or change"].probability > 0.01


def test_what_to_record_before_a_mod(stacks):
    found = foresee(*stacks, solver="one-dimensional")
    more = {r.name: r for r in found.records}
    assert 0 < found.plain.nats < found.plain.entropy
    assert [r.more for r in found.records] == sorted((r.more for r in found.records), reverse=True)
    lid = more["a thermocouple on the lid"]
    assert lid.when == "before and after"
    assert lid.more > lid.later > 0
    assert lid.more > 2 * more["a longer log"].more
    assert more["contact print of the solder"].when == "only before the mod"
    assert more["a second power meter"].apart[0] == "power-meter error or change"
    assert "it takes" in str(found)


def test_results_show_themselves(whole):
    text, page = str(whole), whole._repr_html_()
    assert "What could explain the readings" in text
    assert "What to measure next" in text
    assert "bent <frame>" not in page
    assert "bent &lt;frame&gt;" in page
    plain = json.loads(json.dumps(whole.to_dict()))
    assert plain["verdict"]["finding"] == "not explained"
    assert set(plain) >= {"verdict", "drops", "causes", "alone", "next_measurements", "posterior", "contradiction"}
    assert plain["posterior"]["converged"] is True
    assert "Causes and their sizes" in str(whole.causes.sizes)
    assert "paste.mount (relid)" in str(whole.moved)


def test_pictures(whole):
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    ax = whole.plot()
    assert ax.get_xlabel() == "drop at equal power [K]"
    assert "Not explained" in ax.get_title(loc="left")
    bars = whole.causes.plot()
    assert len(bars.get_yticklabels()) == 12
    pyplot.close("all")


def test_effects_between_the_sizes_that_are_solved(cores):
    """A void and a joint as a whole, against the same stacks solved with more polynomials.

    Of the pattern no more may be wrong than half of what counts as doubt (`scored.PATTERN`).
    """
    model, effects, _ = cores
    reading = model.measured[0].reading
    plain = Plain.of(model.variants[0], reading.power, reading.coolant)
    sensors = effects.sensors[0]
    for name, level in (("void in a corner of the first joint", 0.06), ("thicker or cracked first joint", 0.004)):
        c = next(i for i, cause in enumerate(effects.causes) if cause.name == name)
        way, largest = effects.causes[c].ways[0], effects.causes[c].largest.si
        sizes = largest * np.array([0.2, 0.3, 0.65, 0.8])
        stacks = [plain.stack, *(way.change(plain.stack, size) for size in sizes)]
        rises = plain.per_watt([plain.arrays(stack) for stack in stacks], sensors)
        for direct, ours in zip(rises[1:] - rises[0], effects.excess[c, 0, 0](sizes, reading.power), strict=True):
            size = ours @ direct / (direct @ direct) / reading.power
            assert size == pytest.approx(1, abs=level), name
            apart = np.linalg.norm(ours / reading.power / size - direct) / np.linalg.norm(direct)
            assert apart < 0.5 * PATTERN, name


@pytest.mark.parametrize(("power", "at"), [(1.8, 0.25), (1.0, 0.25), (-2.5, 0.7)])
def test_an_excess_between_its_sizes(power, at):
    """What grows with a power of the size is met in between; two sensors that share it keep their ratio."""
    sizes = np.array([0.0, 0.1, 0.42, 1.0])
    of_one = np.sign(power) * sizes ** abs(power)
    excess = Excess(sizes, np.stack([of_one, 0.3 * of_one], axis=1), np.zeros(2), 200.0)
    expected = np.sign(power) * at ** abs(power) * 200.0
    assert excess(np.array([at]), 200.0)[0] == pytest.approx([expected, 0.3 * expected], rel=1e-9)
    assert excess(np.zeros(1), 200.0)[0] == pytest.approx([0, 0], abs=1e-12)


def test_an_excess_of_either_sign_is_smooth_where_it_is_nearly_straight():
    sizes = np.array([-1.0, -0.42, -0.1, 0.0, 0.1, 0.42, 1.0])
    excess = Excess(sizes, (np.exp(0.2 * sizes) - 1)[:, None], np.zeros(1), 1.0)
    x = np.linspace(-1, 1, 41)
    np.testing.assert_allclose(excess(x, 1.0)[:, 0], np.exp(0.2 * x) - 1, atol=1e-3)
