"""Calibration against exact posteriors: linear-Gaussian conditioning, quadrature, and what is refused."""

import re
from dataclasses import replace

import numpy as np
import pytest

import thermostack as ts
from thermostack import calibration
from thermostack.errors import InputError, SolveError, UnknownNameError
from thermostack.measured.reading import Reading
from thermostack.states import State, states_model

AREA = 1e-4
SIDES = ("10 mm", "10 mm")
SILICON, COPPER = ts.Material.of("plain silicon", 120.0), ts.Material.of("plain copper", 400.0)
FIXED = 0.6e-3 / 120 + 2e-3 / 400 + 3e-3 / 400 + 1 / 50e3
"""What is exact of the part below: die, lid, plate, coolant. [m²·K/W]"""


def flush(solder="5 mm^2*K/W (sd 0.5 mm^2*K/W)", paste=None, sensors=()):
    """A part whose footprints are all alike, of constant conductivity: its rise is P r/A."""
    die = ts.Die("die", SILICON, "0.6 mm", SIDES, "100 W", ts.Interface("solder", resistance=solder))
    paste = paste or ts.Interface("paste", resistance="14 mm^2*K/W (sd 1.5 mm^2*K/W)")
    layers = [ts.Layer("lid", COPPER, "2 mm", footprint=SIDES), paste, ts.Layer("plate", COPPER, "3 mm")]
    return ts.Stack("flush part", die, layers, ts.Coolant("30 degC", conductance="50 kW/m^2/K"), sensors=sensors)


def read(degrees, power=100.0, *, power_sd=1e-6, sd=0.2, coolant_sd=0.1, coolant=30.0, **more):
    """Return a reading of the die; by default its power is as good as exact, so that all is linear."""
    return Reading.of(
        {"die": f"{degrees} degC (sd {sd} K)"}, power=f"{power} W (sd {power_sd:.7f} W)",
        coolant=f"{coolant} degC (sd {coolant_sd} K)", **more,
    )  # fmt: skip


def calibrated(stack, *readings, draws=4000, **more):
    return ts.calibrate(stack, *readings, solver="one-dimensional", draws=draws, **more)


def log_density(x, covariance):
    """Return ln of the normal density of residuals (…, D)."""
    whitened = np.einsum("...i,ij,...j->...", x, np.linalg.inv(covariance), x)
    return -0.5 * (whitened + np.linalg.slogdet(2 * np.pi * covariance)[1])


def check(posterior, path, mean, sd):
    """Compare mean and sd of draws with exact ones, within four Monte Carlo errors."""
    x = posterior.samples[path]
    assert abs(x.mean() - mean) < 4 * posterior.mean_errors[path] * sd, path
    assert abs(x.std() / sd - 1) < 4 / np.sqrt(2 * min(posterior.effective_size, len(x))), path


# -- a linear-Gaussian twin


def twin(readings, offset_sd):
    """Return exact posterior means and covariance of solder, paste [m²·K/W] and offset [K], and ln evidence."""
    prior_mean = np.array([5e-6, 14e-6, 0.0])
    prior = np.diag(np.array([0.5e-6, 1.5e-6, offset_sd]) ** 2)
    J = np.array([[power / AREA, power / AREA, 1.0] for _, power in readings])
    known = np.array([30 + power * FIXED / AREA for _, power in readings])
    noise = (0.2**2 + 0.1**2) * np.eye(len(readings))  # of the sensor, and of the coolant of each reading
    residual = np.array([degrees for degrees, _ in readings]) - known - J @ prior_mean
    S = J @ prior @ J.T + noise
    gain = prior @ J.T @ np.linalg.inv(S)
    return prior_mean + gain @ residual, prior - gain @ J @ prior, log_density(residual, S)


@pytest.mark.parametrize("given", [[(88.0, 100.0)], [(88.0, 100.0), (53.5, 40.0), (35.9, 10.0)]], ids=["one", "three"])
def test_a_linear_gaussian_twin(given):
    """One reading, and three levels that separate the offset of the sensor from the joints."""
    readings = [read(*each, level=f"{each[1]:g} W", common={"die.offset": "0 K (sd 0.6 K)"}) for each in given]
    learned = calibrated(flush(), *readings).learned
    mean, covariance, evidence = twin(given, 0.6)
    for i, path in enumerate(("solder.resistance", "paste.resistance", "die.offset")):
        check(learned.posterior, path, mean[i], np.sqrt(covariance[i, i]))
    x = np.stack([learned.posterior.samples[p] for p in ("solder.resistance", "paste.resistance", "die.offset")])
    exact = covariance / np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    np.testing.assert_allclose(np.corrcoef(x), exact, atol=4 / np.sqrt(learned.posterior.effective_size))
    assert learned.posterior.log_evidence == pytest.approx(
        evidence, abs=4 * learned.posterior.log_evidence_error + 0.01
    )
    # what the stack then says of itself is the same
    value = {entry.path: entry.value for entry in calibrated(flush(), *readings).inputs()}["paste.resistance"]
    assert value.si == pytest.approx(mean[1], abs=0.1 * np.sqrt(covariance[1, 1]))
    assert value.spread_si == pytest.approx(np.sqrt(covariance[1, 1]), rel=0.08)


def test_sequential_is_joint():
    """Readings one after the other, or together: also where they are of two mounts."""
    paste = ts.Interface("paste", "ceramic paste", resistance="14 mm^2*K/W (x/ 1.2)")
    first, second = read(86.0, mount="1"), read(88.5, mount="2")
    joint = calibrated(flush(paste=paste), first, second).learned
    one_by_one = calibrated(calibrated(flush(paste=paste), first), second).learned
    assert len(one_by_one.readings) == 2
    assert joint.identities == one_by_one.identities
    np.testing.assert_array_equal(joint.draws, one_by_one.draws)
    assert sum(".mount" in path for path in joint.posterior.paths) == 2


def test_levels_one_after_the_other_agree_with_the_exact_posterior():
    common = {"die.offset": "0 K (sd 0.6 K)"}
    readings = [read(88.0, 100.0, level="full", common=common), read(53.5, 40.0, level="half", common=common)]
    posterior = calibrated(calibrated(flush(), readings[0]), readings[1]).learned.posterior
    mean, covariance, _ = twin([(88.0, 100.0), (53.5, 40.0)], 0.6)
    for i, path in enumerate(("solder.resistance", "paste.resistance", "die.offset")):
        check(posterior, path, mean[i], np.sqrt(covariance[i, i]))


# -- not linear: by quadrature


def test_correlated_errors_of_a_reading_are_exact():
    """Sensors, power and coolant of one reading with any covariance: given r, what was read is normal; r by quadrature.

    The error of the power is large here: power times resistance is not linear.
    """
    sensors = [ts.Sensor("a", at="die"), ts.Sensor("b", at="die")]
    sds = np.array([1.5, 1.8, 4.0, 0.8])  # a, b [K], power [W], coolant [K]
    R = np.array([[1, 0.7, 0.8, 0.5], [0.7, 1, 0.7, 0.4], [0.8, 0.7, 1, 0.3], [0.5, 0.4, 0.3, 1]])
    C = np.outer(sds, sds) * R
    means = np.array([273.15 + 88.0, 273.15 + 88.5, 100.0, 303.15])
    reading = Reading(("a", "b"), means, C)
    stack = flush(solder="5 mm^2*K/W", paste=ts.Interface("paste", resistance="14 mm^2*K/W (sd 3 mm^2*K/W)"),
                  sensors=sensors)  # fmt: skip
    posterior = calibrated(stack, reading, draws=8000).learned.posterior

    def moments(C):
        r = np.linspace(14 - 9 * 3, 14 + 9 * 3, 20001) * 1e-6
        r = r[r > 0]
        K = (FIXED + 5e-6 + r) / AREA
        residual = means[:2] - means[3] - K[:, None] * means[2]
        A = np.stack([np.tile([1.0, 0, 0, -1], (len(r), 1)), np.tile([0, 1.0, 0, -1], (len(r), 1))], axis=1)
        A[:, :, 2] = -K[:, None]
        S = A @ C @ A.transpose(0, 2, 1)
        whitened = np.einsum("si,sij,sj->s", residual, np.linalg.inv(S), residual)
        logs = -0.5 * (whitened + np.linalg.slogdet(2 * np.pi * S)[1]) + log_density(
            (r[:, None] - 14e-6) * 1e6, 9 * np.eye(1)
        )
        w = np.exp(logs - logs.max())
        mean = np.average(r, weights=w)
        evidence = np.log(w.sum() * (r[1] - r[0]) * 1e6) + logs.max()
        return mean, np.sqrt(np.average((r - mean) ** 2, weights=w)), evidence

    mean, sd, evidence = moments(C)
    check(posterior, "paste.resistance", mean, sd)
    assert posterior.log_evidence == pytest.approx(evidence, abs=4 * posterior.log_evidence_error + 0.01)
    # taken as independent it would be another answer by far more than that
    wrong, wrong_sd, _ = moments(np.diag(np.diag(C)))
    assert abs(wrong_sd / sd - 1) > 0.1 or abs(wrong - mean) > 0.3 * sd


def test_mounts_of_one_paste_by_quadrature():
    """R shared, m₁ and m₂ their own: three logarithms on a grid."""
    s_paste, s_mount = np.log(1.3), np.log(1.1052)
    paste = ts.Interface("paste", "ceramic paste", resistance="12 mm^2*K/W (x/ 1.3)")
    stack = flush(solder="5 mm^2*K/W", paste=paste)
    given = [80.0, 88.0]
    posterior = calibrated(stack, read(given[0], mount="1"), read(given[1], mount="2"), draws=8000).learned.posterior
    a, b = np.linspace(-6, 6, 1601), np.linspace(-6, 6, 3201)  # given the paste, the mounts are independent

    def likely(degrees):
        """Return the density of a reading times that of its mount's score, over paste and mount."""
        rise = 100 / AREA * (FIXED + 5e-6 + 12e-6 * np.exp(s_paste * a[:, None] + s_mount * b))
        return np.exp(-0.5 * (degrees - 30 - rise) ** 2 / (0.2**2 + 0.1**2) - 0.5 * b**2)

    one, two = (likely(degrees) for degrees in given)
    whole = np.exp(-0.5 * a**2) * one.sum(axis=1) * two.sum(axis=1)
    first = (np.exp(-0.5 * a**2) * two.sum(axis=1)) @ one
    second = (np.exp(-0.5 * a**2) * one.sum(axis=1)) @ two
    paths = (next(p for p in posterior.paths if p.startswith("paste.mount") and f"mount {i}" in p) for i in (1, 2))
    size = min(posterior.effective_size, 8000)
    for path, scores, w, s, median in (
        ("paste.resistance", a, whole, s_paste, 12e-6), (next(paths), b, first, s_mount, 1.0),
        (next(paths), b, second, s_mount, 1.0),
    ):  # fmt: skip
        mean = np.average(scores, weights=w)
        sd = np.sqrt(np.average((scores - mean) ** 2, weights=w))
        found = np.log(posterior.samples[path] / median) / s
        assert abs(found.mean() - mean) < 4 * sd / np.sqrt(size), path
        assert abs(found.std() / sd - 1) < 4 / np.sqrt(2 * size), path


# -- what a sensor shows, by hand


def test_what_the_sensors_show_by_hand():
    """Offset and slope about a pivot, gain of the meter, errors of power and coolant: every term, at one sample."""
    common = {"die.offset": "0.5 K (sd 0.5 K)", "die.slope": "0.01 (sd 0.01)", "die.pivot": "60 degC",
              "power.gain": "0 (sd 0.02)", "coolant.offset": "0.1 K (sd 0.1 K)"}  # fmt: skip
    plain = read(88.0, sd=0.3, power_sd=2.0, coolant_sd=0.2, common=common)
    C = plain.covariance.copy()
    C[0, 1] = C[1, 0] = 0.5 * 0.3 * 2.0
    C[1, 2] = C[2, 1] = -0.4 * 2.0 * 0.2
    reading = replace(plain, covariance=C)
    model = states_model([State(flush(), reading)], "one-dimensional")
    samples = {v.path: np.array([float(v.distribution.ppf(0.5))]) for v in model.variables}
    samples |= {"solder.resistance": np.array([5.3e-6]), "paste.resistance": np.array([13e-6]),
                "die.offset": np.array([0.7]), "die.slope": np.array([0.02]), "power.gain": np.array([0.03]),
                "coolant.offset": np.array([0.15])}  # fmt: skip
    z = np.array([0.8, -1.1])
    for path, score in zip(("power", "coolant"), z, strict=True):
        samples[f"flush part: {path} error"] = np.array([score])
    power_error, coolant_error = np.linalg.cholesky(C[1:, 1:]) @ z
    power, coolant = (100 - power_error) / 1.03, 303.15 - coolant_error - 0.15
    true = coolant + power * (FIXED + 5.3e-6 + 13e-6) / AREA
    off = C[0, 1:] @ np.linalg.inv(C[1:, 1:]) @ [power_error, coolant_error]
    expected = true + 0.7 + 0.02 * (true - 333.15) + off
    np.testing.assert_allclose(model(samples), [[expected]], rtol=1e-10)
    left = C[0, 0] - C[0, 1:] @ np.linalg.inv(C[1:, 1:]) @ C[1:, 0]
    np.testing.assert_allclose(model.covariance, [[left]], rtol=1e-9)
    assert model.names == ("flush part: die",)


# -- what a calibrated stack keeps


def test_a_mod_keeps_what_it_does_not_make_anew():
    paste = ts.Interface("paste", "ceramic paste")
    stack = calibrated(flush(paste=paste), read(86.0))
    metal = ts.Interface("liquid metal", "gallium alloy")
    for mod, kept in ((stack.remounted(), True), (stack.replace("solder", metal), True),
                      (stack.replace("paste", paste), False)):  # fmt: skip
        entries = {entry.path: entry for entry in mod.inputs()}
        assert entries["paste.resistance"].source.startswith("calibrated; before") is kept
        assert not entries["paste.mount"].source.startswith("calibrated")
        assert entries["paste.mount"].value.si == 1.0
    assert {e.path: e for e in stack.inputs()}["paste.mount"].source.startswith("calibrated")
    assert stack.uncalibrated == flush(paste=paste)
    assert stack.learned.readings[0].means[0] == pytest.approx(273.15 + 86)


def test_it_says_what_moved_and_what_is_not_told_apart():
    learned = calibrated(flush(), read(90.0)).learned
    rows = {row[0]: row for row in learned.table.rows}
    mean, covariance, _ = twin([(90.0, 100.0)], 1e-9)
    moved = (mean[1] - 14e-6) / 1.5e-6
    assert rows["paste.resistance"][6] == pytest.approx(moved, abs=0.1)
    assert rows["paste.resistance"][7] == pytest.approx(1 - np.sqrt(covariance[1, 1]) / 1.5e-6, abs=0.05)
    assert any("which no check of it may use again" in note for note in learned.table.notes)
    assert "paste.resistance" in " ".join(learned.posterior.undetermined.sentences())


def test_same_seed_same_draws():
    draws = [calibrated(flush(), read(88.0), seed=seed, draws=500).learned.draws for seed in (3, 3, 4)]
    np.testing.assert_array_equal(draws[0], draws[1])
    assert not np.array_equal(draws[0], draws[2])


# -- refused


def test_a_contradiction_is_said_with_its_figures():
    stack, reading = flush(), read(110.0)
    sd = np.sqrt(0.2**2 + 0.1**2 + (100 / AREA) ** 2 * (0.5e-6**2 + 1.5e-6**2))
    expected = 30 + 100 / AREA * (FIXED + 19e-6)
    with pytest.raises(InputError, match="contradict each other") as caught:
        calibrated(stack, reading)
    found = re.search(
        r"reads 110\.0 °C where ([\d.]+) °C \(sd ([\d.]+) K\) was expected; all 1 together lie ([\d.]+) standard",
        str(caught.value),
    )
    assert float(found[1]) == pytest.approx(expected, abs=0.15)
    assert float(found[2]) == pytest.approx(sd, abs=0.1)
    assert float(found[3]) == pytest.approx((110 - expected) / sd, rel=0.06)
    assert "p about" in str(caught.value)
    assert calibrated(stack, reading, even_if_contradicted=True).learned is not None


def test_a_reading_is_used_once():
    reading = read(88.0)
    once = calibrated(flush(), reading, draws=500)
    with pytest.raises(InputError, match="it was calibrated on before"):
        calibrated(once, reading)
    with pytest.raises(InputError, match="it was calibrated on before"):
        calibrated(flush(), reading, reading)
    logged = replace(reading, basis="estimate", source="before.csv", window=(100.0, 400.0))
    twice = calibrated(flush(), logged, draws=500)
    with pytest.raises(InputError, match="it was calibrated on before"):
        calibrated(twice, logged.labelled(level="again"))


def test_two_readings_need_names():
    with pytest.raises(InputError, match="two readings are named"):
        calibrated(flush(), read(88.0), read(88.1))


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: calibrated(flush()), InputError, "no reading"),
        (lambda: calibrated(flush(), "88 degC"), InputError, "str is no reading"),
        (lambda: State("stack", read(88.0)), InputError, "is no stack"),
        (
            lambda: calibrated(flush(), Reading.of({"dye": "88 degC (sd 1 K)"}, power="100 W (sd 1 W)", coolant="30 degC (sd 1 K)")),
            UnknownNameError,
            "predicts its sensor 'dye'; did you mean 'die'",
        ),
        (
            lambda: calibrated(
                flush(),
                read(88.0, level="a", common={"power.gain": "0 (sd 0.02)"}),
                read(60.0, 50.0, level="b", common={"power.gain": "0 (sd 0.03)"}),
            ),
            InputError,
            "readings of one part differ in it",
        ),
        (
            lambda: calibrated(
                flush(sensors=[ts.Sensor("probe", at="die", offset="0 K (sd 1 K)")]),
                Reading.of({"probe": "88 degC (sd 1 K)"}, power="100 W (sd 1 W)", coolant="30 degC (sd 1 K)",
                           common={"probe.offset": "0 K (sd 1 K)"}),
            ),
            InputError,
            "stands in the reading and in the stack",
        ),
        (lambda: calibrated(flush(), read(88.0), draws=10), InputError, "draws"),
        (lambda: calibrated(flush(), read(88.0), seed=-1), InputError, "seed"),
    ],
    ids=["none", "text", "stack", "sensor", "common", "twice", "draws", "seed"],
)  # fmt: skip
def test_bad_input(call, error, message):
    with pytest.raises(error, match=message):
        call()


def test_what_does_not_converge_is_not_used(monkeypatch):
    plain = calibration.posterior_of

    def lost(*args, **kwargs):
        return replace(plain(*args, **kwargs), converged=False, notes=("tempering in 9 steps: worth 12 samples",))

    monkeypatch.setattr(calibration, "posterior_of", lost)
    with pytest.raises(SolveError, match="has not converged: tempering in 9 steps: worth 12 samples"):
        calibrated(flush(), read(88.0))
