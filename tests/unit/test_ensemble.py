"""Stacks sampled together: what is shared, closed forms of the drop, who computes, what is left out, what is refused."""

import multiprocessing
import re
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from functools import cache

import distributed
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

import thermostack as ts
from thermostack.ensemble import JointModel, ensemble_of, joint_model_of, unknowns_of, variables_of_stack, variant_of
from thermostack.errors import InputError, SolveError, UnknownNameError
from thermostack.measured.reading import Reading
from thermostack.operating import HOTTEST
from thermostack.propagate import Sampler

AREA = 1e-4
SIDES = ("10 mm", "10 mm")
PLAIN = ts.Material.of("plain silicon", 120.0), ts.Material.of("plain copper", 400.0)
METAL = ts.Interface("liquid metal", "gallium alloy")


def flush(paste="12 mm^2*K/W (x/ 1.4)", power="100 W", leakage=None, conductance="50 kW/m^2/K (x/ 1.2)", solder=None):
    """A part whose footprints are all alike, of constant conductivity: one-dimensional, and linear in the power."""
    die = ts.Die(
        "die", PLAIN[0], "0.6 mm", SIDES, power,
        solder or ts.Interface("solder", resistance="5 mm^2*K/W (x/ 1.2)"), leakage=leakage,
    )  # fmt: skip
    layers = [ts.Layer("lid", PLAIN[1], "2 mm (sd 0.1 mm)", footprint=SIDES), ts.Interface("paste", "ceramic paste", resistance=paste),
              ts.Layer("plate", PLAIN[1], "3 mm")]  # fmt: skip
    return ts.Stack("flush part", die, layers, ts.Coolant("30 degC", conductance=conductance))


def one(*stacks, samples=2000, **more):
    return ensemble_of(stacks, "one-dimensional", samples, **more)


def drawn(ensemble):
    """Return the samples of the unknowns by path."""
    return ensemble.sampler.draw(0, len(ensemble.run.numbers))


def resistance(x, solder="solder.resistance", paste="paste.mount"):
    """Return the sum over the flush part, r/A, by hand. [K/W]"""
    r = 0.6e-3 / 120 + x[solder] + x["lid.thickness"] / 400 + x["paste.resistance"] * x[paste] + 3e-3 / 400
    return (r + 1 / x["coolant.conductance"]) / AREA


# -- what is shared


def shared_by(*stacks):
    """Return path to the variants that have it."""
    return {unknown.variable.path: unknown.variants for unknown in unknowns_of(stacks)}


def test_a_mod_shares_what_lasts_and_mounts_afresh(soldered, relid, bare):
    relid, bare = relid.named("relid"), bare.named("bare")
    found = shared_by(soldered, relid, bare)
    assert found["die.conductivity"] == found["cold plate.conductivity"] == (0, 1, 2)
    assert found["lid.conductivity"] == (0, 1)
    assert found["paste.resistance"] == (0, 1)  # which paste it is lasts, in another mount
    assert found["paste.mount (workstation part)"] == (0,)
    assert found["paste.mount (relid)"] == (1,)
    assert found["solder.bond_line"] == (0,)
    assert found["liquid metal.resistance"] == (1, 2)  # one class, under the lid and on the bare die
    assert found["liquid metal.mount (relid)"] == (1,)
    assert found["liquid metal.mount (bare)"] == (2,)


def test_a_part_put_in_anothers_place_is_another(soldered):
    another = soldered.replace("paste", ts.Interface("paste", "ceramic paste"))
    thicker = soldered.replace("lid", ts.Layer("lid", "copper", "3 mm", footprint=("36 mm", "36 mm"))).named("thick")
    found = shared_by(soldered, another.named("new tub"), thicker)
    assert found["paste.resistance (workstation part)"] == (0, 2)
    assert found["paste.resistance (new tub)"] == (1,)
    assert found["lid.conductivity (workstation part)"] == (0, 1)
    assert found["lid.conductivity (thick)"] == (2,)
    assert sum(path.startswith("paste.mount") for path in found) == 3


def test_a_pressure_is_of_one_mount():
    pressed = flush().replace("paste", ts.Interface("paste", "ceramic paste", pressure="200 kPa (sd 20 kPa)"))
    pressed = pressed.named("pressed")
    warmer = pressed.change("coolant.temperature", "40 degC").named("warmer")  # nothing is opened
    relid = pressed.replace("solder", METAL).named("relid")
    found = shared_by(pressed, warmer, relid)
    assert found["paste.pressure (pressed)"] == (0, 1)
    assert found["paste.pressure (relid)"] == (2,)
    assert found["paste.yield_stress"] == (0, 1, 2)  # which paste it is lasts
    assert {e.path: e.scope for e in pressed.inputs()}["paste.pressure"] == "mount"
    ensemble = one(pressed, warmer, relid, samples=200)
    first, again = (drawn(ensemble)[f"paste.pressure ({label})"] for label in ("pressed", "relid"))
    assert first.std() == pytest.approx(20e3, rel=0.05)
    assert abs(np.corrcoef(first, again)[0, 1]) < 0.2
    harder = pressed.change("paste.pressure", "400 kPa (sd 20 kPa)").named("harder")  # described anew: its quantile
    assert shared_by(pressed, harder)["paste.pressure"] == (0, 1)


def test_what_is_described_differently_keeps_its_quantile():
    before = flush()
    after = before.change("paste.resistance", "20 mm^2*K/W (x/ 1.1)")
    model = joint_model_of([before, after], "one-dimensional")
    paths = {unknown.variable.path: unknown.variants for unknown in model.unknowns}
    assert paths["paste.resistance"] == paths["paste.mount"] == (0, 1)
    x = {v.path: v.distribution.ppf(np.array([0.1, 0.8])) for v in variables_of_stack(before)}
    expected = 20e-6 * np.exp(np.log(1.1) * norm.ppf([0.1, 0.8]))
    np.testing.assert_allclose(model.values(x, 1)["paste.resistance"], expected, rtol=1e-9)


def test_a_run_is_shared_and_listed():
    before = flush(power="100 W (sd 3 W)")
    ensemble = one(before, before.replace("solder", METAL).named("relid"), samples=100)
    x = drawn(ensemble)
    np.testing.assert_allclose(ensemble.samples("power"), x["die.power"])
    np.testing.assert_array_equal(ensemble.samples("power"), ensemble.samples("power", 1))
    rows = {row[0]: row[1:] for row in ensemble.shared.rows}
    assert rows["die.power"] == ("run", "all", "once for the comparison")
    assert rows["paste.resistance"][:2] == ("lasting", "all")
    assert rows["paste.mount (relid)"] == ("mount", "relid", "for each mount")


# -- closed forms


def test_the_samples_are_the_sum_by_hand():
    before = flush()
    ensemble = one(before, before.replace("solder", METAL).named("relid"))
    x = drawn(ensemble)
    first = resistance(x, paste="paste.mount (flush part)")
    x["metal"] = x["liquid metal.resistance"] * x["liquid metal.mount"]
    second = resistance(x, solder="metal", paste="paste.mount (relid)")
    np.testing.assert_allclose(ensemble.samples("junction"), 303.15 + 100 * first, rtol=1e-9)
    np.testing.assert_allclose(ensemble.samples("resistance"), first, rtol=1e-9)
    np.testing.assert_allclose(ensemble.drops(1), 100 * (first - second), atol=1e-9)
    np.testing.assert_allclose(ensemble.drops(1, at="as described"), 100 * (first - second), atol=1e-9)


FLUX, MEDIAN, S_CLASS, S_MOUNT = 100 / AREA, 12e-6, np.log(1.4), np.log(1.1052)
"""The mount factor of ceramic paste: 0.10 in ln R (its row in the catalogue, from memory), as a factor to 4 digits."""


def lognormal_variance(s):
    """Return the variance of exp(s z)."""
    return np.exp(s**2) * np.expm1(s**2)


REMOUNTED = {
    # mod, and the variance of its drop by hand, over (flux × median)²
    "shared": (lambda s: s.named("the same"), 0.0),
    "remounted": (lambda s: s.remounted(), np.exp(2 * S_CLASS**2) * 2 * lognormal_variance(S_MOUNT)),
    "redrawn whole": (
        lambda s: s.replace("paste", ts.Interface("paste", "ceramic paste", resistance="12 mm^2*K/W (x/ 1.4)")),
        2 * lognormal_variance(np.hypot(S_CLASS, S_MOUNT)),
    ),
}


@pytest.mark.parametrize(("mod", "variance"), REMOUNTED.values(), ids=REMOUNTED)
def test_cooler_remounting_alone_shows_in_the_drop(mod, variance):
    """Nothing else is opened: shared paste leaves no drop, a remount its mount factor, another tub all of its class."""
    before = flush()
    law = {unknown.variable.path: unknown.variable.distribution for unknown in unknowns_of([before])}["paste.mount"]
    assert law.ppf(norm.cdf(1.0)) == pytest.approx(np.exp(S_MOUNT), rel=1e-9)
    found = one(before, mod(before), samples=40_000).drop(1)
    expected = FLUX * MEDIAN * np.sqrt(variance)
    assert abs(found.standard_uncertainty.value - expected) <= 3.5 * found.standard_uncertainty.error
    assert abs(found.mean.value) <= 3.5 * found.mean.error
    assert found.standard_uncertainty.error <= 0.006 * expected + 1e-12  # fine enough to see one per cent
    if not variance:
        assert found.high.value == found.low.value == 0.0


def test_bad_mounts_have_their_share():
    """A gallium joint on the bare die: one mount in ten is bad, ×2 (×/ 1.5) on top of ×/ exp(0.25)."""
    die = ts.Die("die", PLAIN[0], "0.6 mm", SIDES, "100 W", METAL)
    plate = ts.Layer("plate", PLAIN[1], "3 mm", footprint=SIDES)
    stack = ts.Stack("bare", die, [plate], ts.Coolant("30 degC", conductance="50 kW/m^2/K"))
    ensemble = one(stack, samples=20_000)
    mount = drawn(ensemble)["liquid metal.mount"]
    good, bad = 0.25, np.hypot(0.25, np.log(1.5))
    for at in (0.8, 1.2, 1.6, 2.5, 4.0):
        chance = 0.9 * norm.cdf(np.log(at) / good) + 0.1 * norm.cdf(np.log(at / 2) / bad)
        law = {v.path: v.distribution for v in variables_of_stack(stack)}["liquid metal.mount"]
        assert law.cdf(at) == pytest.approx(chance, abs=1e-4)  # the factor is rounded to four digits
        assert abs(np.mean(mount < at) - chance) < 4 * np.sqrt(chance * (1 - chance) / 20_000) + 1e-4
    hot = ensemble.summary("junction")
    assert hot.high.value - hot.median.value > 1.5 * (hot.median.value - hot.low.value)


# -- equal power, equal workload, headroom


def test_equal_workload_by_the_assumed_saving_is_a_fixed_point():
    before = flush()
    ensemble = one(before, before.replace("solder", METAL).named("relid"), samples=200)
    share = drawn(ensemble)["power saved per kelvin"]
    assert 0.001 <= share.min() < share.max() <= 0.008
    first, still = ensemble.samples("junction"), ensemble.samples("junction at equal power", 1)
    found = ensemble.samples("junction at equal workload", 1)
    for s, T, at_power, at_workload in zip(share, first, still, found, strict=True):
        R = (at_power - 303.15) / 100  # linear: constant conductivities
        # power falls by s a kelvin of the drop that results
        new = brentq(lambda t, s=s, T=T, R=R: 303.15 + R * 100 * (1 - s * (T - t)) - t, 250, 600, xtol=1e-12)
        assert at_workload == pytest.approx(new, abs=1e-8)
    assert any("0.1 to 0.8 % a kelvin (assumed" in note for note in ensemble.notes)


def test_equal_workload_with_a_described_leakage_is_a_fixed_point():
    """P = P₀ − L + L exp((T − T₀)/Tₑ), T = T_c + R P by hand; the mod at equal power has the baseline's whole power."""
    leak = ts.Leakage("8 W (sd 0.5 W)", at="70 degC", e_fold="55 K (sd 3 K)")
    before = flush(leakage=leak)
    ensemble = one(before, before.replace("solder", METAL).named("relid"), samples=100, limit=273.15 + 90)
    x = drawn(ensemble)
    assert "power saved per kelvin" not in x

    def power(T, i):
        L, Te = x["die.leakage_power"][i], x["die.leakage_e_fold"][i]
        return 100 - L + L * np.exp((T - 343.15) / Te)

    x["metal"] = x["liquid metal.resistance"] * x["liquid metal.mount"]
    R = [resistance(x, paste="paste.mount (flush part)"), resistance(x, "metal", "paste.mount (relid)")]
    own = np.array(
        [[brentq(lambda T, i=i, r=r: 303.15 + r[i] * power(T, i) - T, 303, 430) for r in R] for i in range(100)]
    )
    watts = np.array([power(own[i, 0], i) for i in range(100)])
    # operate() stops when what is still to come is 5e-5 of the rise
    tolerance = 5e-5 * 60 * 2
    np.testing.assert_allclose(ensemble.samples("junction"), own[:, 0], atol=tolerance)
    np.testing.assert_allclose(ensemble.samples("junction at equal workload", 1), own[:, 1], atol=tolerance)
    np.testing.assert_allclose(ensemble.samples("power"), watts, atol=tolerance / 0.3)
    np.testing.assert_allclose(
        ensemble.samples("junction at equal power", 1), 303.15 + R[1] * watts, atol=2 * tolerance
    )
    # headroom: the described power that may be added, at a leakage of the limit's temperature
    assert ensemble.drop(1, at="equal workload").median.value > ensemble.drop(1).median.value


def test_headroom_is_what_a_direct_solve_needs():
    before = flush()
    ensemble = one(before, before.replace("solder", METAL).named("relid"), samples=500, limit=273.15 + 90)
    x = drawn(ensemble)
    R = resistance(x, paste="paste.mount (flush part)")
    np.testing.assert_allclose(ensemble.samples("headroom"), 60 / R - 100, rtol=1e-4)
    second = 100 * (ensemble.samples("resistance", 1))
    np.testing.assert_allclose(ensemble.gains(1), 60 / (second / 100) - 60 / R, rtol=2e-4)


# -- emulated


def layered_part():
    """An invented part, off the centre, with two regions."""
    cores = [ts.Region(f"core {i}", "60 W", corner=(f"{1 + 6 * i} mm", "2 mm"), size=("4 mm", "9 mm")) for i in (0, 1)]
    die = ts.Die("die", "silicon", "0.72 mm", ("12 mm", "16 mm"), ts.PowerMap("160 W (sd 4 W)", regions=cores),
                 ts.Interface("solder", "indium solder"), centre=("2 mm", "0 mm"))  # fmt: skip
    layers = [ts.Layer("lid", "copper", "2.4 mm", footprint=("34 mm", "34 mm")), ts.Interface("paste", "ceramic paste"),
              ts.Layer("plate", "copper", "3 mm", footprint=("46 mm", "46 mm"))]  # fmt: skip
    return ts.Stack("cores", die, layers, ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"))


@cache
def variants():
    before = layered_part()
    return before, before.replace("solder", METAL).named("relid")


@cache
def emulated():
    return ensemble_of(variants(), "layered", 3000, seed=4, limit=273.15 + 95)


def test_the_emulator_agrees_with_direct_solves():
    """Sample by sample within the stated held-out error; the direct road takes the local conductivity of 3 samples too."""
    emulated_ = emulated()
    direct = ensemble_of(variants(), "layered", 100, seed=4, emulate=False)
    assert direct.numerical_error == 0.0
    assert not any("emulator" in note for note in direct.notes)
    assert 0 < emulated_.numerical_error < 0.1
    for variant in (0, 1):
        for quantity in ("junction", "sensor core 0 mean", "sensor core 1 mean"):
            apart = emulated_.samples(quantity, variant)[:100] - direct.samples(quantity, variant)
            assert np.sqrt(np.mean(apart**2)) < emulated_.numerical_error
            assert np.mean(np.abs(apart) <= emulated_.numerical_error) >= 0.95
    assert any(re.search(r"emulators of \d+, \d+ solves; error at points left out up to", n) for n in emulated_.notes)


def test_built_once_and_reused():
    before, relid = variants()
    first, again = (variant_of(s, "layered", variables_of_stack(s), limit=None) for s in (before, layered_part()))
    assert first.emulator is again.emulator
    assert first.curvature is again.curvature
    other = variant_of(relid, "layered", variables_of_stack(relid), limit=None)
    assert other.emulator is not first.emulator


def test_outside_its_box_is_refused():
    before, _ = variants()
    variant = variant_of(before, "layered", variables_of_stack(before), limit=None)
    with pytest.raises(SolveError, match="resistance of solder is asked at"):
        variant.point({"solder.resistance": np.array([2e-4])})


def test_a_few_outside_its_box_are_solved_themselves():
    """Once in a million the product of two tails leaves the box: 2 of 400 samples here."""
    before, _ = variants()
    variables = variables_of_stack(before)
    variant = variant_of(before, "layered", variables, limit=273.15 + 95)
    some = Sampler(variables, 3, "latin hypercube").draw(0, 400)
    some["solder.resistance"][[7, 300]] = 6e-5
    direct = replace(variant, emulator=None)
    far = {path: x[[7, 300, 8]] for path, x in some.items()}
    found, expected = variant.point(some), direct.point(far)
    np.testing.assert_allclose(found.junction_rise[[7, 300]], expected.junction_rise[:2], rtol=1e-4)
    assert found.junction_rise[8] == pytest.approx(expected.junction_rise[2], rel=1e-3)
    np.testing.assert_allclose(found.error[[7, 300]], expected.error[:2], rtol=1e-3)


# -- who computes


def test_same_seed_same_figures_whatever_the_executor():
    here = emulated()
    context = multiprocessing.get_context("spawn")
    with ThreadPoolExecutor(2) as pool:
        threads = ensemble_of(variants(), "layered", 3000, seed=4, limit=273.15 + 95, executor=pool)
    with ProcessPoolExecutor(2, mp_context=context) as pool:
        processes = ensemble_of(variants(), "layered", 3000, seed=4, limit=273.15 + 95, executor=pool)
    for other in (threads, processes):
        np.testing.assert_array_equal(other.run.results, here.run.results)
        assert other.drop(1) == here.drop(1)
    other = ensemble_of(variants(), "layered", 3000, seed=5, limit=273.15 + 95)
    assert not np.array_equal(other.run.results, here.run.results)


def test_same_figures_on_a_cluster():
    here = emulated()
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        found = ensemble_of(variants(), "layered", 3000, seed=4, limit=273.15 + 95, executor=client.get_executor())
    np.testing.assert_array_equal(found.run.results, here.run.results)


def test_a_sample_depends_on_seed_and_number_only():
    """Neither how many samples nor which mods stand beside it change a figure."""
    before, relid = flush(), flush().replace("solder", METAL).named("relid")
    few, many = one(before, relid, samples=500), one(before, relid, flush().remounted().named("again"), samples=3000)
    np.testing.assert_array_equal(few.drops(1), many.drops(1)[:500])
    np.testing.assert_array_equal(one(before, samples=500).samples(), few.samples())


def test_an_interrupt_keeps_what_is_done(monkeypatch):
    whole = one(flush(), flush().remounted(), samples=5000)
    calls, plain = [], JointModel.__call__

    def interrupted(self, samples):
        calls.append(len(samples))
        if len(calls) > 2:
            raise KeyboardInterrupt
        return plain(self, samples)

    monkeypatch.setattr(JointModel, "__call__", interrupted)
    part = one(flush(), flush().remounted(), samples=5000)
    assert len(part.run.numbers) == 2000
    assert not part.run.complete
    np.testing.assert_array_equal(part.run.results, whole.run.results[:2000])
    assert "interrupted: 2000 of 5000 samples were finished and are used" in part.notes
    assert part.drop(1).samples == 2000


class Interrupting(Executor):
    """Computes two chunks, then the user has enough."""

    def __init__(self):
        self.count = 0

    def submit(self, function, /, *args, **kwargs):
        future = Future()
        self.count += 1
        if self.count > 2:
            future.set_exception(KeyboardInterrupt())
        else:
            future.set_result(function(*args, **kwargs))
        return future


def test_an_interrupt_of_an_executor_keeps_what_is_done():
    whole = one(flush(), samples=4000)
    part = one(flush(), samples=4000, executor=Interrupting())
    np.testing.assert_array_equal(part.run.results, whole.run.results[part.run.numbers])
    assert len(part.run.numbers) == 2000


def test_a_progress_bar_is_shown_if_asked_for(capsys):
    one(flush(), samples=100, progress=True)
    assert "100" in capsys.readouterr().err
    one(flush(), samples=100)
    assert capsys.readouterr().err == ""


# -- runaway


def test_samples_that_run_away_are_left_out_with_a_note():
    """Linear leakage runs away where R L/Tₑ reaches 1, and short of it leads beyond HOTTEST: by hand for each sample."""
    leak = ts.Leakage("60 W (x/ 1.3)", at="60 degC", e_fold="55 K", law="linear")
    before = flush(leakage=leak)
    ensemble = one(before, before.replace("solder", METAL).named("relid"), samples=400, limit=273.15 + 95)
    x = drawn(ensemble)
    R = resistance(x, paste="paste.mount (flush part)")
    per_kelvin = x["die.leakage_power"] / 55
    cold = before.coolant.temperature.si
    with np.errstate(divide="ignore"):
        T = (cold + R * (before.dies[0].power.total.si - per_kelvin * (273.15 + 60))) / (1 - R * per_kelvin)
    away = (R * per_kelvin >= 1) | (T > HOTTEST)
    assert 5 < np.sum(R * per_kelvin >= 1) < away.sum() < 80
    np.testing.assert_array_equal(np.isnan(ensemble.samples("junction")), away)
    found = ensemble.drop(1)
    assert found.samples == 400 - np.isnan(ensemble.drops(1)).sum()
    assert f"{np.isnan(ensemble.drops(1)).sum()} of 400 samples run away, and are left out" in found.notes
    assert np.isfinite(ensemble.summary("headroom").median.value)
    kept = ensemble.samples("junction")[~away]
    assert ensemble.summary("junction").median.value == pytest.approx(np.median(kept), rel=1e-3)


def test_nothing_but_runaway_is_an_error(soldered):
    leak = ts.Leakage("90 W (sd 1 W)", at="30 degC", e_fold="20 K")
    with pytest.raises((SolveError, InputError), match=r"run away|runs away|operating point"):
        one(flush(leakage=leak), samples=100).summary()


# -- calibrated stacks


def calibrated():
    reading = Reading.of({"die": "81 degC (sd 0.3 K)"}, power="100 W (sd 1 W)", coolant="30 degC (sd 0.1 K)")
    return ts.calibrate(flush(), reading, solver="one-dimensional", draws=2000)


def test_mods_of_a_calibrated_stack_draw_from_its_posterior():
    stack = calibrated()
    learned = stack.learned
    ensemble = one(stack, stack.replace("solder", METAL).named("relid"), samples=4000)
    x = drawn(ensemble)
    draws = dict(zip(learned.identities, learned.draws.T, strict=True))
    rows = {tuple(row) for row in np.stack([draws["paste.resistance"], draws["coolant.conductance"]], axis=1)}
    assert {(a, b) for a, b in zip(x["paste.resistance"], x["coolant.conductance"], strict=True)} <= rows
    # the mount that was read is known together with the paste, the new one is not
    old, new, paste = x["paste.mount (flush part)"], x["paste.mount (relid)"], x["paste.resistance"]
    assert (np.log(new).std(), np.log(new).mean()) == pytest.approx((S_MOUNT, 0), abs=0.003)
    assert np.corrcoef(np.log(old), np.log(paste))[0, 1] < -0.1
    assert abs(np.corrcoef(np.log(new), np.log(paste))[0, 1]) < 4 / np.sqrt(4000)
    # and the baseline is as sure as the reading: sd of die over coolant, its own error and those of power and coolant
    read = np.sqrt(0.3**2 + 0.1**2 + (51.0 / 100 * 1.0) ** 2)
    assert ensemble.summary("junction").standard_uncertainty.value == pytest.approx(read, rel=0.05)


def test_what_is_described_anew_after_a_calibration_is_as_described():
    stack = calibrated()
    thinner = stack.change("lid.thickness", "1 mm")
    assert {e.path: e.value.si for e in thinner.inputs()}["lid.thickness"] == pytest.approx(1e-3)
    found = one(stack, thinner, samples=1000)
    known = dict(zip(stack.learned.identities, stack.learned.draws.T, strict=True))["lid.thickness"]
    assert found.drop(1).mean.value == pytest.approx(100 / AREA * (known.mean() - 1e-3) / 400, rel=0.05)
    spread = one(stack, stack.change("lid.thickness", "1 mm (sd 0.2 mm)").named("thin"), samples=1000)
    assert np.std(drawn(spread)["lid.thickness (thin)"]) == pytest.approx(0.2e-3, rel=0.02)


# -- sweeps


def test_sweep_bands_are_those_of_compare_at_the_same_values():
    joint = ts.Interface("solder", "indium solder", bond_line="0.25 mm", conductivity="70 W/m/K (x/ 1.2)")
    stack = flush(solder=joint)
    swept = ts.sweep(stack, "solder.bond_line", "50 um", "400 um", points=3, samples=1000, seed=2,
                     solver="one-dimensional")  # fmt: skip
    low, median, high = swept.band()
    for i, at in enumerate(("50 um", "225 um", "400 um")):
        ensemble = one(stack.change("solder.bond_line", at), samples=1000, seed=2)
        expected = np.quantile(ensemble.samples("junction"), [0.025, 0.5, 0.975]) - 273.15
        np.testing.assert_allclose([low[i], median[i], high[i]], expected, atol=1e-9)
    compared = ts.compare(stack.change("solder.bond_line", "400 um"), stack, solver="one-dimensional", samples=1000,
                          seed=2)  # fmt: skip
    assert compared.sampled.summary().median.value - 273.15 == pytest.approx(median[2], abs=1e-9)


# -- refused


@pytest.mark.parametrize("samples", [0, -5, 0.5, True, "many"])
def test_counts_that_are_none(samples):
    with pytest.raises(InputError, match="samples"):
        ts.predict(flush(), samples=samples, solver="one-dimensional")
    with pytest.raises(InputError, match="samples"):
        ts.compare(flush(), flush(), samples=samples, solver="one-dimensional")
    with pytest.raises(InputError, match="samples"):
        ts.sweep(flush(), "lid.thickness", "1 mm", "2 mm", samples=samples, solver="one-dimensional")


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("lid.thickness", "2 mm (sd 1.5 mm)", r"spread larger than its bound allows.*lognormal value such as"),
        ("lid.thickness", "2 mm (limits 2.5 mm)", r"the lower limit of '-0\.5 \.\. 4\.5 mm' is below zero"),
        ("solder.void_fraction", "0.9 (sd 0.08)", r"spread larger than its bound allows"),
        ("die.power", "100 W (sd 60 W)", r"spread larger than its bound allows"),
    ],
)
def test_impossible_spreads_name_their_path(path, value, message):
    with pytest.raises(InputError, match=rf"{re.escape(path)}: {message}"):
        one(flush().change(path, value), samples=100)


def test_unknown_names_are_refused_with_the_nearest():
    ensemble = one(flush(), flush().remounted(), samples=100)
    with pytest.raises(UnknownNameError, match="junction"):
        ensemble.summary("juncton")
    with pytest.raises(UnknownNameError, match="equal power"):
        ensemble.drop(1, at="equal pwer")
    with pytest.raises(InputError, match="variant 0 has no drop"):
        ensemble.drop(0)
    with pytest.raises(InputError, match="variant 2 has no drop"):
        ensemble.gain(2)
    with pytest.raises(UnknownNameError, match="headroom"):
        ensemble.gain(1)
    with pytest.raises(InputError, match=r"lid\.thicknes|thickness"):
        flush().change("lid.thicknes", "2 mm")
