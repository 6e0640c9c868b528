"""Do the stated intervals of a drop and of calibrated inputs hold the truth? 2,000 synthetic parts.

Run it as ``python tests/studies/coverage_of_prediction.py`` to renew ``results/coverage_of_prediction.json`` (about half
an hour on one core); a share of it runs with the tests (test_coverage_of_prediction.py).

Simulation-based calibration: each part is drawn from what its description says of it (inputs, mounts, offset of the
sensor, gain of the power meter, errors of the reading), its reading is what the solver itself, not the emulator, says
of the drawn part, and so is the true drop of its mod, whose mounts and new joint are drawn afresh. Then it is
calibrated on the reading, and the drop predicted, as a user would. Which inputs the mod shares is written down here
a second time, by path, and not asked of the product. Where the truth lies among the draws is its rank: uniform, if all
is right, and 95 % of the truths lie in the 95 % intervals. All parts are invented.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import binomtest, chisquare

import thermostack as ts
from thermostack.ensemble import ensemble_of
from thermostack.errors import SolveError
from thermostack.field import model_with_hot_points
from thermostack.local import answer
from thermostack.propagate import distribution_of, mount_factor
from thermostack.propagate.distributions import Lognormal

RESULTS = Path(__file__).parent / "results" / "coverage_of_prediction.json"
BINS = 20
DRAWS, SAMPLES = 1000, 1000


@dataclass(frozen=True)
class Kind:
    """A part with what is read of it and its mod.

    Attributes
    ----------
    stack : Stack
    mod : callable
        From stack to stack.
    new : tuple of str
        Parts whose inputs the mod does not share.
    solver : str
    readings : tuple of (power, mount)
        What is read of each sensor. [W]
    common : bool
        Whether the sensors have an offset, and the power meter a gain.
    parts : int
        How many are drawn.
    draws : int
        From each posterior, at first. A thousand were too few with two levels: the ranks of the paste's resistance
        came out U-shaped (p = 0.0007, 226 of 250 inside); with the four thousand that `calibrate` draws they are even.
    """

    stack: ts.Stack
    mod: object
    new: tuple[str, ...]
    solver: str
    readings: tuple[tuple[float, str], ...]
    common: bool
    parts: int
    draws: int = DRAWS


def regions():
    """Four cores of an uneven die."""
    return [
        ts.Region(f"core {i}", f"{40 - 6 * i} W", corner=(f"{1 + 5.5 * (i % 2)} mm", f"{1.5 + 8 * (i // 2)} mm"),
                  size=("4.6 mm", "6.4 mm"))
        for i in range(4)
    ]  # fmt: skip


DIE = ("12.4 mm", "17.6 mm")


def part(joint, *, lid=True, cores=(), centre=("0 mm", "0 mm"), flush=False):
    """An invented part under a water block; `flush` has all footprints alike, so that no heat spreads."""
    power = ts.PowerMap("220 W (sd 4 W)", regions=list(cores)) if cores else "220 W (sd 4 W)"
    die = ts.Die("die", "silicon", "0.72 mm (sd 0.02 mm)", DIE, power, joint, centre=centre)
    layers = [ts.Layer("cold plate", "copper", "3 mm", footprint=DIE if flush else ("50 mm", "50 mm"))]
    if lid:
        lid_ = ts.Layer("lid", "copper", "2.4 mm (limits 0.2 mm)", footprint=DIE if flush else ("36 mm", "36 mm"))
        layers = [lid_, ts.Interface("paste", "ceramic paste"), *layers]
    conductance = f"{100 if flush else 35} kW/m^2/K (x/ 1.2)"
    return ts.Stack("invented part", die, layers, ts.Coolant("26 degC (sd 0.3 K)", conductance=conductance))


def kinds():
    """Return each kind of part."""
    solder = ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)")
    metal = ts.Interface("liquid metal", "gallium alloy")
    factory = ts.Interface("joint", "factory polymer paste")
    return {
        "relid, no spreading, one-dimensional": Kind(
            part(solder, flush=True), lambda s: s.replace("solder", metal), ("liquid metal",), "one-dimensional", ((220.0, ""),),
            True, 1200),
        "lid off, two levels, one-dimensional": Kind(
            part(factory), lambda s: s.replace("joint", metal).without("lid", "paste"), ("liquid metal",),
            "one-dimensional", ((220.0, "full"), (90.0, "half")), True, 250, 4000),
        "bad mounts, two mounts, one-dimensional": Kind(
            part(metal, lid=False), lambda s: s.remounted("liquid metal"), (), "one-dimensional",
            ((220.0, "mount 1"), (215.0, "mount 2")), False, 250),
        "relid, layered, four cores off the centre": Kind(
            part(solder, cores=regions(), centre=("2 mm", "-1.5 mm")), lambda s: s.replace("solder", metal),
            ("liquid metal",), "layered", ((220.0, ""),), True, 300),
    }  # fmt: skip


NOISE = {"sensor": 0.25, "power": 2.5, "coolant": 0.15}
"""Standard uncertainty of what is read. [K, W, K]"""
OFFSET, GAIN = 0.8, 0.015
"""Of each sensor's offset [K], and of the power meter's gain."""


def prior(entry):
    """Return the distribution of an input as described."""
    law = distribution_of(entry.value, entry.path)
    if entry.bad is not None:
        law = mount_factor(law.factor, entry.bad.share, Lognormal(entry.bad.factor.si, entry.bad.factor.spread_si))
    return law


def drawn(stack, rng, count):
    """Return independent draws of each input of a stack, by path."""
    return {entry.path: np.asarray(prior(entry).ppf(rng.random(count))) for entry in stack.inputs()}


def solved(stack, solver, values):
    """Return die or core means and the junction by the solver itself. [K]"""
    model = model_with_hot_points(stack, solver)
    found = [answer(model, solver, model.values({p: x[i : i + 50] for p, x in values.items()}))
             for i in range(0, len(next(iter(values.values()))), 50)]  # fmt: skip
    means = {}
    for name in [name for name, _, _ in found[0].readings()]:
        means[name] = np.concatenate([dict((n, t) for n, _, t in point.readings())[name] for point in found])
    return means, np.concatenate([point.coolant + point.junction_rise for point in found])


@dataclass(frozen=True)
class Truth:
    """True inputs by path (of the described mount), what was read, and what the mod brings. Each (parts,)."""

    inputs: dict[str, np.ndarray]
    readings: list[dict[str, np.ndarray]]
    before: np.ndarray
    drop: np.ndarray


def truth(kind, count, seed):
    """Return `count` parts of a kind, drawn from what is said of it."""
    rng = np.random.default_rng(seed)
    stack, mod = kind.stack, kind.mod(kind.stack)
    inputs = drawn(stack, rng, count)
    sensors = [region.name for region in stack.dies[0].power.regions] or ["die"]
    errors = {f"{name}.offset": OFFSET * rng.standard_normal(count) for name in sensors}
    errors["power.gain"] = GAIN * rng.standard_normal(count)
    if not kind.common:
        errors = {path: 0 * x for path, x in errors.items()}
    readings, mounts = [], {}
    for power, label in kind.readings:
        mount = label if label.startswith("mount") else ""
        if mount not in mounts:  # the first is the one that the stack describes
            again = drawn(stack, rng, count) if mounts else inputs
            mounts[mount] = {path: x for path, x in again.items() if path.endswith(".mount")}
        # what is read is where the experiment stands; the truth is that less its error
        watts = (power - NOISE["power"] * rng.standard_normal(count)) / (1 + errors["power.gain"])
        coolant = 299.15 - NOISE["coolant"] * rng.standard_normal(count)
        at = {**inputs, **mounts[mount], "die.power": watts, "coolant.temperature": coolant}
        means, _ = solved(stack, kind.solver, at)
        read = {name: means[f"{name} mean"] + errors[f"{name}.offset"]
                + NOISE["sensor"] * rng.standard_normal(count) for name in sensors}  # fmt: skip
        readings.append(read)
    _, before = solved(stack, kind.solver, inputs)
    fresh = drawn(mod, rng, count)
    shared = {path: x for path, x in inputs.items()
              if path in fresh and not path.endswith(".mount") and path.partition(".")[0] not in kind.new}  # fmt: skip
    _, after = solved(mod, kind.solver, {**fresh, **shared})
    if kind.common:
        inputs = {**inputs, **errors}
    spread = {p: x for p, x in inputs.items() if np.ptp(x) > 0 and not p.startswith(("die.power", "coolant.temp"))}
    return Truth(spread, readings, before, before - after)


def rank(draws, value):
    """Return the share of draws below a value."""
    return float((np.sum(draws < value) + 0.5 * np.sum(draws == value)) / len(draws))


def calibrated(kind, readings, seed):
    """Return the calibrated stack, and whether more draws were needed, as the message of the first attempt says."""
    for draws in (kind.draws, 4 * kind.draws, 16 * kind.draws):
        try:
            return ts.calibrate(
                kind.stack, *readings, draws=draws, seed=seed, solver=kind.solver, even_if_contradicted=True
            ), draws > kind.draws
        except SolveError as error:
            if "has not converged" not in str(error) or draws == 16 * kind.draws:
                raise
    raise AssertionError


def score(kind, found, i, seed):
    """Return the rank of the truth of part `i` by quantity, and whether the 95 % interval of the drop holds it.

    Also the width of that interval [K], how the posterior was drawn, and whether more draws were needed.
    """
    given = {f"{name}.offset": f"0 K (sd {OFFSET} K)" for name in found.readings[0]}
    given["power.gain"] = f"0 (sd {GAIN})"
    readings = [
        ts.Reading.of(
            {name: f"{x[i] - 273.15:.9f} degC (sd {NOISE['sensor']} K)" for name, x in read.items()},
            power=f"{power} W (sd {NOISE['power']} W)", coolant=f"26 degC (sd {NOISE['coolant']} K)",
            common=given if kind.common else None, level="" if label.startswith("mount") else label,
            mount=label if label.startswith("mount") else "", source=f"reading {number}",
        )
        for number, ((power, label), read) in enumerate(zip(kind.readings, found.readings, strict=True))
    ]  # fmt: skip
    stack, again = calibrated(kind, readings, seed)
    samples = stack.learned.posterior.samples
    path_of = {path: path for path in samples}
    for path in found.inputs:  # of several mounts, the first is that of the stack
        named = [p for p in samples if p.startswith(f"{path} (")]
        path_of[path] = path if path in samples else named[0]
    ranks = {path: rank(samples[path_of[path]], x[i]) for path, x in found.inputs.items()}
    ensemble = ensemble_of([stack, kind.mod(stack)], kind.solver, SAMPLES, seed=seed)
    ranks["junction before"] = rank(ensemble.samples("junction"), found.before[i])
    ranks["drop"] = rank(ensemble.drops(1), found.drop[i])
    summary = ensemble.drop(1)
    held = summary.low.value <= found.drop[i] <= summary.high.value
    width = summary.high.value - summary.low.value
    return ranks, bool(held), float(width), stack.learned.posterior.method, again


def run(kind, count, seed, first=0):
    """Return what the ranks of `count` parts of a kind come to."""
    found = truth(kind, count, seed)
    scores = []
    for i in range(first, count):
        scores.append(score(kind, found, i, seed + i))
        if __name__ == "__main__" and i % 50 == 49:
            print(i + 1, "parts", flush=True)
    quantities = {}
    for path in scores[0][0]:
        ranks = np.array([ranks[path] for ranks, *_ in scores])
        quantities[path] = {
            "inside": int(np.sum((ranks >= 0.025) & (ranks <= 0.975))),
            "ranks": np.histogram(np.clip(ranks, 0, 1), BINS, (0, 1))[0].tolist(),
        }
    quantities["drop"]["inside"] = int(sum(held for _, held, *_ in scores))
    return {
        "parts": len(scores),
        "tempered": sum(method == "tempering" for *_, method, _ in scores),
        "with_more_draws": sum(again for *_, again in scores),
        "median_width_of_drop_K": round(float(np.median([width for _, _, width, *_ in scores])), 3),
        "sd_of_true_drop_K": round(float(found.drop.std()), 3),
        "quantities": quantities,
    }


def p_values(result):
    """Return for each kind and quantity the chance of a count inside as far off (exact), and of such ranks (χ²)."""
    return {
        (kind, path): (
            float(binomtest(row["inside"], found["parts"], 0.95).pvalue),
            float(chisquare(row["ranks"]).pvalue),
        )
        for kind, found in result.items()
        for path, row in found["quantities"].items()
    }


def holm(p):
    """Return p-values multiplied as Holm (1979) does, for a family of tests."""
    order = np.argsort(p)
    steps = np.maximum.accumulate((len(p) - np.arange(len(p))) * np.asarray(p)[order])
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(steps, 1.0)
    return adjusted


if __name__ == "__main__":
    result: dict = {}
    for number, (name, kind) in enumerate(kinds().items()):
        print(name, flush=True)
        result[name] = run(kind, kind.parts, 10_000 * (number + 1))
        RESULTS.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    p = p_values(result)
    for (name, path), (inside, ranks) in p.items():
        n, row = result[name]["parts"], result[name]["quantities"][path]
        print(f"{name:40s} {path:28s} {row['inside']}/{n}  p {inside:.3f}  ranks p {ranks:.3f}")
    for which in (0, 1):
        print("least after Holm:", math.floor(1e4 * holm([each[which] for each in p.values()]).min()) / 1e4)
