"""A plan before the mod: mounts, logs, soak, what to hold fixed, the checklist."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import entr, rel_entr
from scipy.stats import kstest, multivariate_normal

import thermostack as ts
from thermostack.checking import Broad, foresee
from thermostack.checking.candidates import candidates_of
from thermostack.checking.causes import causes_of
from thermostack.checking.effect import effects_of
from thermostack.checking.foresight import _records, _usual, components
from thermostack.checking.further import Outcomes
from thermostack.checking.listed import listed
from thermostack.checking.ranking import Components
from thermostack.checking.scored import Scored
from thermostack.errors import InputError, UnitError
from thermostack.measured.remounts import posterior
from thermostack.planning import plan
from thermostack.planning.holding import held_fixed
from thermostack.planning.lengths import Noise, log_length, noise_of
from thermostack.planning.mounts import _factors, mounts_of, remade
from thermostack.planning.power import pooled, trials
from thermostack.planning.recording import RECORDS, what_to_record
from thermostack.planning.soaking import duration, soak_of, stack_time
from thermostack.propagate import Lognormal, mount_factor
from thermostack.states import State, states_model

FAST = "one-dimensional"


def part(**coolant):
    die = ts.Die(
        "die", "silicon", "0.72 mm", footprint=("12.4 mm", "17.6 mm"), power="230 W",
        joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"),
    )  # fmt: skip
    layers = [
        ts.Layer("lid", "copper", "2.4 mm", footprint=("36 mm", "36 mm")), ts.Interface("paste", "ceramic paste"),
        ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm")),
    ]  # fmt: skip
    given = {"conductance": "35 kW/m^2/K"} | coolant
    return ts.Stack("part", die, layers, ts.Coolant("26 degC", **given))


@pytest.fixture(scope="module")
def stack():
    return part()


@pytest.fixture(scope="module")
def relid(stack):
    return stack.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")


@pytest.fixture(scope="module")
def bare(relid):
    return relid.without("lid", "paste").named("bare die")


@pytest.fixture(scope="module")
def planned(stack, relid):
    return plan(stack, relid, solver=FAST, tests=200)


# -- mounts


def test_a_remount_makes_the_cold_plates_joint_anew(stack, relid, bare):
    assert [entry.path for entry in remade(stack)] == ["paste.mount"]
    assert [entry.path for entry in remade(relid)] == ["paste.mount"]
    assert [entry.path for entry in remade(bare)] == ["liquid metal.mount"]
    pressed = stack.change("paste.pressure", "150 kPa (sd 20 kPa)")
    assert [entry.path for entry in remade(pressed)] == ["paste.mount"]  # factors alone; a pressure is no factor


def test_scatter_is_the_joints_own(stack):
    """A lognormal factor of σ on a joint of which ∂θ/∂ln f is known by solving twice."""
    found = mounts_of(stack, FAST, 1)
    paste = stack.part("paste")

    def mean(factor):
        r = next(e.value.magnitude for e in stack.inputs() if e.path == "paste.resistance")
        changed = stack.swap("paste", [ts.Interface("paste", resistance=f"{r * factor} mm^2*K/W", mount=paste.mount)])
        return float(ts.predict(changed, solver=FAST).mean.magnitude)

    slope = (mean(1.02) - mean(0.98)) / (np.log(1.02) - np.log(0.98))
    sigma = np.log(remade(stack)[0].value.spread)
    assert found.scatter == pytest.approx(slope * sigma, rel=0.02)  # lognormal: exp(σ²/2) and sampling of 2e4
    assert found.rise == pytest.approx(mean(1.0) - 26.0, rel=1e-9)


def test_bad_mounts_are_those_of_the_class(bare):
    """The drawn factors are `propagate.mount_factor` of the class's share, within Kolmogorov and Smirnov's test."""
    (entry,) = remade(bare)
    assert entry.bad is not None
    factors, bad = _factors(entry, 20_000, np.random.default_rng(3))
    law = mount_factor(entry.value.spread, entry.bad.share, Lognormal(entry.bad.factor.si, entry.bad.factor.spread))
    assert kstest(factors, law.cdf).pvalue > 0.01
    assert bad.mean() == pytest.approx(0.10, abs=0.01)
    found = mounts_of(bare, FAST, 3)
    assert found.assumed == ()
    assert found.bad_share == pytest.approx(0.10, abs=0.01)
    assert found.bad_rise > 3 * found.scatter


def test_a_class_without_a_share_has_one_bad_mount_in_eight(stack):
    found = mounts_of(stack, FAST, 1)
    assert found.assumed == ("paste",)
    assert found.bad_share == pytest.approx(1 / 8, abs=0.01)


def test_several_joints_made_anew_at_once():
    plain = part()
    two = plain.insert_after("cold plate", ts.Interface("pad", "graphite sheet"))
    two = two.insert_after("pad", ts.Layer("block", "copper", "2 mm", footprint=("50 mm", "50 mm")))
    lower = two.remounted("paste")
    assert {entry.path for entry in remade(lower)} == {"pad.mount"}
    found = mounts_of(two, FAST, 0)
    assert found.scatter > 0


# -- how many


def test_pooling_many_is_the_posterior_of_each():
    """Against `measured.remounts.posterior`, on a finer grid: within 3 % of the uncertainty, 10 % for a single mount."""
    rng = np.random.default_rng(1)
    for n, share in ((1, 0.12), (2, 0.03), (3, 0.03), (5, 0.03), (8, 0.03)):
        values = 0.8 * rng.standard_normal((5, n))
        values[0, 0] += 5
        mean, u = pooled(values, 0.7, 0.2)
        exact = np.array([posterior(each, np.full(n, 0.04), 0.7)[:2] for each in values]).T
        assert (np.abs(mean - exact[0]) < share * exact[1]).all()
        assert u == pytest.approx(exact[1], rel=share)


def test_without_bad_mounts_the_simulation_comes_near_theory(stack, relid):
    """Scatter of the bench alone, normal: the measured drop scatters as √2 s/√n (a robust mean costs up to a tenth)."""
    plain = [replace(mounts_of(s, FAST, 0), joints=()) for s in (stack, relid)]
    found = trials(*plain, [1.0], [4, 8], bench=0.7, reading=0.07, number=1000, seed=2)
    for trial in found:
        ideal = np.sqrt(2 * (0.7**2 + 0.07**2) / trial.mounts)
        assert ideal * 0.96 < trial.uncertainty < ideal * 1.12
        assert trial.normal < trial.smallest < 1.25 * trial.student
        assert trial.false_alarm < 0.06
        assert trial.chances[0] <= trial.normal_chances[0] + 0.03


def test_more_mounts_tell_more(planned):
    smallest = [trial.smallest for trial in planned.trials]
    assert smallest[0] > 2 * smallest[2] > 2.5 * smallest[-1]
    chances = np.array([trial.chances for trial in planned.trials])
    assert (chances >= 0).all()
    assert (chances <= 1).all()
    assert (np.diff(chances, axis=0) > -0.08).all()  # Monte Carlo error of a chance: 3.5 % at 200 tests
    # the larger of two drops is always told at least as often
    assert (chances[:, 2] >= chances[:, 1]).all()


def test_a_bad_mount_costs_mounts(planned):
    """With bad mounts a drop needs more mounts than normal theory says."""
    for drop in (1.0, 2.0):
        by_simulation = planned.mounts_for(drop) or 99
        assert by_simulation > planned.mounts_by_theory(drop)


def test_mounts_needed_are_where_four_of_five_are_told(planned):
    drop = planned.drops[2]
    need = planned.mounts_for(drop)
    told = {trial.mounts: trial.chances[2] for trial in planned.trials}
    assert told[need] >= 0.79
    assert all(chance < 0.81 for mounts, chance in told.items() if mounts < need)


def test_chance_at_the_smallest_drop(stack, relid):
    state = [mounts_of(s, FAST, 0) for s in (stack, relid)]
    kwargs = {"bench": 0.5, "reading": 0.07, "number": 400, "seed": 2}
    (first,) = trials(*state, [1.0], [4], **kwargs)
    (again,) = trials(*state, [first.smallest], [4], **kwargs)
    assert again.chances[0] == pytest.approx(0.8, abs=0.005)


# -- logs


def test_length_of_a_log():
    noise = Noise(0.5, 20.0, "as told")
    assert log_length(0.05, noise) == pytest.approx(20 * 100)
    assert noise.uncertainty(2000.0) == pytest.approx(0.05)
    assert log_length(1.0, noise) == 50 * 20  # no shorter than what makes an estimate
    with pytest.raises(InputError, match="above zero"):
        log_length(0.0, noise)


def test_noise_from_an_autoregressive_log():
    """AR(1) of known variance and correlation time (1 + φ)/(1 − φ): u of the mean for another length, within 35 %.

    A reading knows its variance from at most 12 cosines: its relative standard error is 0.2.
    """
    from thermostack.measured.log import Log

    rng, n, phi, sd = np.random.default_rng(12), 3600, 0.9, 0.3
    shocks = rng.standard_normal(n + 500) * sd * np.sqrt(1 - phi**2)
    series = np.zeros(n + 500)
    for i in range(1, n + 500):
        series[i] = phi * series[i - 1] + shocks[i]
    coolant = 300 + 0.001 * rng.standard_normal(n)
    log = Log(np.arange(n, dtype=float), {"die": coolant + 40 + series[500:], "coolant": coolant, "power": np.full(n, 200.0)},
              {"die": "sensor", "coolant": "coolant", "power": "power"})  # fmt: skip
    reading = log.steady()
    noise = noise_of(reading, None, None)
    tau = (1 + phi) / (1 - phi)
    block = (reading.window[1] - reading.window[0]) / 128
    assert 0.6 * tau < noise.correlation_time < 1.6 * max(tau, block)
    assert noise.uncertainty(1800.0) == pytest.approx(sd * np.sqrt(tau / 1800), rel=0.35)
    assert "from log" in noise.source


def test_noise_is_assumed_and_said_so():
    assert noise_of(None, None, None).source == "noise and correlation time assumed"
    assert noise_of(None, "0.3 K", None).source == "correlation time assumed"
    assert noise_of(None, "0.3 K", "12 s") == Noise(0.3, 12.0, "as told")
    typed = ts.Reading.of({"die": "70 degC (sd 0.3 K)"}, power="200 W (sd 2 W)", coolant="30 degC (sd 0.1 K)")
    with pytest.raises(InputError, match="nothing of how a log wanders"):
        noise_of(typed, None, None)
    with pytest.raises(UnitError):
        noise_of(None, 0.3, None)


# -- soak


def test_soak_of_a_loop(stack):
    point = ts.predict(stack, solver=FAST).point
    soak = soak_of(stack, point, volume="1.2 L", conductance="25 W/K", within="0.1 K")
    tau = 1.2e-3 * 996.8 * 4181 / 25  # water at 26 °C
    assert soak.loop == pytest.approx(tau, rel=2e-3)
    assert soak.loop_upper == soak.loop
    assert soak.step == pytest.approx(230 / 25)
    assert soak.coolant == pytest.approx(tau * np.log(92), rel=2e-3)
    assert soak.drift == pytest.approx(tau * np.log(9.2 / (tau / 600)), rel=2e-3)
    assert soak.difference < 60 < soak.drift < soak.coolant
    wide = soak_of(stack, point, volume=None, conductance=None, within="0.1 K")
    assert wide.loop_upper == pytest.approx(wide.loop * 1.5 ** (2 * np.sqrt(2)))
    assert wide.source.count("assumed") == 2


def test_soak_takes_the_stacks_radiator():
    warm = part(reference="ambient", flow="4 L/min", radiator=ts.Radiator(resistance="0.04 K/W"))
    point = ts.predict(warm, solver=FAST).point
    soak = soak_of(warm, point, volume="1 L", conductance=None, within="0.1 K")
    assert soak.step == pytest.approx(230 * 0.04)
    assert "radiator" in soak.source


def test_soak_of_an_air_cooler():
    die = part().dies
    tower = ts.Stack("tower", die, part().layers[:-1], ts.Coolant("25 degC", resistance="0.12 K/W", contains_plate=True, reference="ambient"))  # fmt: skip
    point = ts.predict(tower, solver=FAST).point
    soak = soak_of(tower, point, volume=None, conductance=None, within="0.1 K")
    assert soak.tower
    assert soak.advice == soak.coolant > 300
    with pytest.raises(InputError, match="no loop"):
        soak_of(tower, point, volume="1 L", conductance=None, within="0.1 K")


def test_time_of_the_stack(stack):
    """Σ C R by hand: copper 8960 · 385, silicon 2330 · 700 J/(m³ K), each over the rise at its lower face."""
    prediction = ts.predict(stack, solver=FAST)
    rows = prediction.breakdown.to_dict()
    below = dict(zip(rows["part"], rows["below_degC"], strict=True))
    sizes = {"die": (12.4e-3, 17.6e-3, 0.72e-3), "lid": (36e-3, 36e-3, 2.4e-3), "cold plate": (50e-3, 50e-3, 3e-3)}
    total = 0.0
    for name, (x, y, t) in sizes.items():
        metal = stack.part(name).material
        total += x * y * t * metal.density * metal.heat_capacity * (below[name] - 26.0) / 230
    assert stack_time(stack, prediction.point) == pytest.approx(total, rel=1e-6)


def test_durations_as_people_say_them():
    assert [duration(s) for s in (1.63, 45.2, 150, 1300)] == ["1.6 s", "45 s", "2.5 min", "22 min"]


# -- what to hold fixed


def test_a_change_that_feigns_a_drop_does(stack):
    """Solved anew with the change that the table gives: die minus coolant is lower by that drop, within 2 %."""
    table = held_fixed(stack, FAST, 0.5)
    rows = {row[0]: row for row in table.rows}
    power = float(rows["package power (clocks, voltage, workload)"][3].split()[0]) / 100
    before = ts.predict(stack, solver=FAST)
    less = ts.predict(stack.change("die.power", f"{230 * (1 - power)} W"), solver=FAST)
    assert float(before.mean.magnitude - less.mean.magnitude) == pytest.approx(0.5, rel=0.04)  # two digits are printed
    (film,) = [row for name, row in rows.items() if name.startswith("conductance")]
    better = ts.predict(stack.change("coolant.conductance", "35.35 kW/m^2/K"), solver=FAST)
    assert film[2] / 10 == pytest.approx(float(before.mean.magnitude - better.mean.magnitude), rel=0.02)


# -- what to record


def two_groups(mean, spread, first=0.0):
    """One group of a fixed outcome and one of broad ones; first datum and further one, noises 1."""
    means, steps = np.array([[0.0, 0.0]]), np.array([[first, 0.0]])
    unlisted = Broad(0.4, np.array([0.0, mean]), np.array([[1.0, 0.2], [0.2, spread**2]]), 1)
    C = np.array([[1.0, 0.2], [0.2, 1.0]])

    def parts(rows):
        return Components(np.array([0.6]), means[:, rows], steps[:, rows], C[rows, rows], np.array([0]),
                          replace(unlisted, mean=unlisted.mean[rows], covariance=unlisted.covariance[rows, rows]), ("a", "b"))  # fmt: skip

    return parts(slice(1)), parts(slice(2))


@pytest.mark.parametrize(("mean", "spread"), [(1.5, 1.0), (0.0, 2.5), (0.4, 1.2)])
def test_what_further_data_tell_by_quadrature(mean, spread):
    """The first datum tells nothing, so that what is left is one integral over the further one given the first."""
    first, both = two_groups(mean, spread)
    outcomes = Outcomes(first, 200_000, 3)
    told = outcomes.further(both)
    x, y = np.meshgrid(np.linspace(-7, 7, 501), np.linspace(-12, 14, 1001), indexing="ij")
    points = np.stack([x, y], axis=-1)
    f = multivariate_normal([0, 0], both.covariance).pdf(points)
    g = multivariate_normal([0, mean], both.unlisted.covariance).pdf(points)
    cell = (14 / 500) * (26 / 1000)

    def information(p):
        mixed = p * f + (1 - p) * g
        return float(np.sum(rel_entr(p * f, p * mixed) + rel_entr((1 - p) * g, (1 - p) * mixed)) * cell)

    assert told.nats == pytest.approx(information(0.6), abs=3 * told.error)
    assert told.error < 0.01 * told.nats
    assert told.own == pytest.approx([told.nats] * 2)  # of two groups, either question is the same
    assert told.splits[0, 1] == pytest.approx(information(0.5), rel=0.03)
    assert outcomes.entropy == pytest.approx(-0.6 * np.log(0.6) - 0.4 * np.log(0.4))


def test_what_measures_nothing_new_tells_nothing():
    first, both = two_groups(0.0, 1.0, first=3.0)
    bent = replace(
        both, covariance=np.diag([1.0, 1.0]), unlisted=replace(both.unlisted, covariance=np.diag([1.0, 1.0]))
    )
    assert Outcomes(first, 1000, 0).further(bent).nats < 1e-12
    assert Outcomes(first, 1000, 0).further(both).nats > 1e-3  # the same noise in both: the first is known better


@pytest.fixture(scope="module")
def foreseen(stack, relid):
    """What foresee asks, in the linear twin."""
    states = [State(s, _usual(s, FAST, name, 0.0)) for s, name in ((stack, "before"), (relid, "after"))]
    model = states_model(states, FAST)
    causes = causes_of(Scored(model), model.observed, effects_of(model, listed(model)), draws=0)
    return causes, candidates_of(causes, planned=True), len(model.observed)


def test_two_records_together_tell_no_less_than_each(foreseen):
    causes, candidates, D = foreseen
    outcomes = Outcomes(components(causes, candidates[0], D), 1000, 0)
    named = {c.name: outcomes.further(components(causes, c)) for c in candidates}
    pairs = [record for record, _ in _records(candidates, D) if record.when == "before and after"]
    assert {"idle", "a second power level", "remount the cold plate", "a thermocouple on the lid"} <= {
        record.name for record in pairs
    }
    for record in pairs:
        both = outcomes.further(components(causes, record))
        for word in ("before", "after"):
            one = named[f"{record.name}, {word}"]
            assert both.nats > one.nats - 2 * np.hypot(both.error, one.error)


def test_a_record_by_plain_monte_carlo(foreseen, stack, relid):
    """Outcomes drawn at random, sizes as a fine grid, densities by scipy: the nats of foresee within 4 errors."""
    causes, candidates, D = foreseen
    record = next(r for r, _ in _records(candidates, D) if r.name == "a thermocouple on the lid")
    parts = components(causes, record)
    rng, fine = np.random.default_rng(5), (np.arange(6) + 0.5) / 6
    means = (parts.means[:, None] + fine[:, None] * parts.steps[:, None]).reshape(-1, len(record.base))
    labels, weights = np.repeat(parts.labels, 6), np.repeat(parts.weights / 6, 6)
    total = np.append(weights, parts.unlisted.weight) / (weights.sum() + parts.unlisted.weight)
    draws = 4000
    drawn = rng.choice(len(total), draws, p=total)
    x = means[np.minimum(drawn, len(means) - 1)] + rng.multivariate_normal(np.zeros(D + 2), parts.covariance, draws)
    broad = drawn == len(means)
    x[broad] = rng.multivariate_normal(parts.unlisted.mean, parts.unlisted.covariance, broad.sum())

    def left(rows):
        """Return the entropy over the causes after each outcome."""
        C = parts.covariance[rows, rows]
        P = np.linalg.inv(C)
        off = x[:, None, rows] - means[None, :, rows]
        log = -0.5 * np.einsum("nki,ij,nkj->nk", off, P, off) - 0.5 * np.linalg.slogdet(C)[1]
        other = multivariate_normal(parts.unlisted.mean[rows], parts.unlisted.covariance[rows, rows]).logpdf(x[:, rows])
        log = np.column_stack([log, other + 0.5 * len(C) * np.log(2 * np.pi)]) + np.log(total)
        p = np.exp(log - log.max(axis=1, keepdims=True))
        p /= p.sum(axis=1, keepdims=True)
        names = np.append(labels, parts.unlisted.group)
        return sum(entr(p[:, names == name].sum(axis=1)) for name in np.unique(names))

    fall = left(slice(D)) - left(slice(None))
    found = next(r for r in foresee(stack, relid, solver=FAST).records if r.name == record.name)
    error = np.hypot(found.error, fall.std() / np.sqrt(draws))
    assert found.more == pytest.approx(fall.mean(), abs=4 * error)
    assert error < 0.1 * found.more


def test_every_core_beyond_their_mean():
    """A corner that is void shows in single cores: alone before a mod as well, and better with them after it."""
    die = ts.Die(
        "die", "silicon", "0.72 mm", footprint=("12 mm", "12 mm"),
        power=ts.PowerMap("200 W", regions=[ts.Region(f"core {i}", "60 W", corner=(f"{1 + 6 * i} mm", "2 mm"), size=("4 mm", "6 mm")) for i in range(2)]),
        joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"),
    )  # fmt: skip
    two = part().swap("die", [die]).named("two cores")
    mod = two.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")
    found = foresee(two, mod)
    cores = next(r for r in found.records if r.name.startswith("every core"))
    assert cores.when == "before and after"
    assert cores.more > cores.later - 2 * cores.error
    assert cores.more > 5 * cores.error
    assert "void in a corner of the first joint" in cores.words
    with pytest.raises(InputError, match="no voids"):
        foresee(two, mod, solver="axisymmetric")


def test_ranked_by_what_it_would_tell(planned):
    rows = planned.record.to_dict()
    n = sum(nats is not None for nats in rows["nats"])
    assert 10 < n < len(rows["rank"]), "some cannot be ranked"
    assert rows["rank"] == [*range(1, n + 1), *[None] * (len(rows["rank"]) - n)]
    assert rows["nats"][:n] == sorted(rows["nats"][:n], reverse=True)
    assert 0.05 < rows["nats"][0] < np.log(20)  # no more than there is to know about some twenty causes
    told = dict(zip(rows["what"], rows["apart"], strict=True))
    assert told["a second power meter"].startswith("“power-meter error or change” from “")
    assert told["a second coolant probe beside the first"].startswith("“coolant probe or its drift” from “")
    later = dict(zip(rows["what"], rows["later_nats"], strict=True))
    assert later["contact print of the solder"] == 0
    when = dict(zip(rows["what"], rows["when"], strict=True))
    assert when["contact print of the solder"] == "only before the mod"
    assert when["contact print of the liquid metal"] == "after"
    assert when["idle"] == "before and after"
    checklist = str(planned.checklist.to_dict())
    assert "most telling first: " + rows["what"][0] in checklist
    assert all(what in checklist for what, w in when.items() if w == "only before the mod")


def test_unranked_by_common_practice(stack, relid, bare):
    rows = plan(stack, relid, solver=FAST, tests=50, counts=[3], rank=False).record.to_dict()
    assert "nats" not in rows
    assert rows["what"][0].startswith("every core")
    assert {r.ranked_as for r in RECORDS if r.ranked_as} >= {"idle", "remount", "contact print"}
    told = str(what_to_record(bare))
    assert "temperature of the lid" not in told
    assert "temperature of the lid" in str(what_to_record(stack))


# -- the plan as a whole


def test_same_seed_same_figures(stack, relid, planned):
    again = plan(stack, relid, solver=FAST, tests=200)
    assert again.to_dict() == planned.to_dict()
    other = plan(stack, relid, solver=FAST, tests=200, seed=1, rank=False)
    assert other.trials != planned.trials


def test_plain_data(planned):
    kept = json.loads(json.dumps(planned.to_dict(), allow_nan=True))
    assert kept["drops_K"][1:] == [1.0, 2.0]
    assert kept["predicted_drop_K"] == pytest.approx(planned.before.rise - planned.after.rise)


def test_words_hold_the_figures(planned):
    text = str(planned)
    assert f"{planned.predicted:.1f} K at 230 W" in text
    assert "one mount in eight bad (assumed" in text
    assert "noise and correlation time assumed" in text
    assert f"until there are {planned.mounts} mounts of the state before" in str(planned.checklist)
    assert planned.mounts >= 3
    assert "☐" in str(planned.checklist)
    assert any(caution.kind == "person" for caution in planned.checklist.cautions)
    assert "Danger to a person" in str(planned.checklist)


def test_names_cannot_break_the_page(stack):
    nasty = "<script>alert(1)</script>"
    mod = stack.replace("solder", ts.Interface(nasty, "gallium alloy"))
    found = plan(stack, mod, solver=FAST, tests=50, counts=[3], rank=False)
    for shown in (found._repr_html_(), found.checklist._repr_html_()):
        assert "<script" not in shown
        assert "&lt;script" in shown


def test_own_drops_and_counts(stack, relid):
    found = plan(stack, relid, drops=["0.5 K", "3 K"], counts=[2, 4], solver=FAST, tests=50, bench="0.2 K", rank=False)
    assert found.drops == (0.5, 3.0)
    assert [trial.mounts for trial in found.trials] == [2, 4]
    assert plan(stack, relid, drops="3 K", counts=[2], solver=FAST, tests=50, rank=False).drops == (3.0,)
    assert plan(stack, relid, drops=(3.0, "K"), counts=[2], solver=FAST, tests=50, rank=False).drops == (3.0,)


def test_picture(planned):
    from matplotlib import pyplot

    axes = planned.plot()
    assert "mounts" in axes.get_xlabel()
    lines = [line.get_ydata() for line in axes.lines if len(line.get_ydata()) == len(planned.trials)]
    assert any(np.allclose(line, [100 * t.chances[0] for t in planned.trials]) for line in lines)
    pyplot.close(axes.figure)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"mod_stack": "part"}, "is no stack"),
        ({"tests": 3}, "at least 50"),
        ({"drops": "-1 K"}, "above zero"),
        ({"drops": 2.0}, "2.0"),
        ({"counts": []}, "1 to 50"),
        ({"counts": [0]}, "1 to 50"),
        ({"bench": "-0.5 K"}, "no scatter"),
        ({"within": "0 K"}, "no distance"),
        ({"loop_volume": "0 L"}, "not possible"),
        ({"loop_conductance": "-3 W/K"}, "not possible"),
        ({"noise": "0 K"}, "above zero"),
    ],
)
def test_bad_input(stack, relid, change, words):
    given = {"stack": stack, "mod_stack": relid, "solver": FAST, "tests": 50, "counts": [3], **change}
    with pytest.raises(InputError, match=words):
        plan(given.pop("stack"), given.pop("mod_stack"), **given)


def test_the_same_stack_twice(stack):
    with pytest.raises(InputError, match="changes nothing"):
        plan(stack, stack)


def test_nothing_that_scatters():
    die = ts.Die(
        "die", "silicon", "0.7 mm", ("10 mm", "10 mm"), "100 W", ts.Interface("joint", resistance="5 mm^2*K/W")
    )
    plate = ts.Layer("plate", "copper", "3 mm", ("30 mm", "30 mm"))
    first = ts.Stack("s", die, [plate], ts.Coolant("25 degC", conductance="30 kW/m^2/K"))
    mod = first.replace("joint", ts.Interface("better", resistance="2 mm^2*K/W"))
    with pytest.raises(InputError, match="the bench adds nothing"):
        plan(first, mod, bench="0 K", solver=FAST, tests=50)
    found = plan(first, mod, bench="0.7 K", solver=FAST, tests=400, counts=[3], rank=False)
    assert found.trials[0].normal == pytest.approx(1.6, abs=0.05)
