"""Does the check find what was planted? Pairs of readings before and after, from a second forward model.

The check predicts by emulators of the layered solver and straight effects of causes about the centres of all inputs. The
pairs come from finite volumes in three dimensions (`second_forward`), solved for the departed stack itself: every input
drawn from its prior, conductivities by the temperature of each cell, every joint's gap bowed, one mount in eight bad,
sensors that truncate to a step and drift, errors of power and coolant as they are stated.

*Detectability* d′ of a cause at a size: how far the readings that it makes, free of noise and at the centres of all
inputs, lie from the nearest that the described stack can show, inputs as far from their centres as they must be:
d′² = min over z of |z|² + |y(z) − y(0) − Δ|² in units of the noise. For a straight model it is |Δ| whitened by noise and
inputs together; lognormal inputs, which reach further, make it less.

Beside the second model stand two that separate what a rate below the ideal is due to: *own*, readings from the check's
own model and effects with normal noise (what is left is the physics of the inputs, not the model); and *twin*, readings
that are straight and normal, judged by the exact evidence.

Run it as ``python tests/studies/check_study.py none|planted|own|twin|information|neglect|laplace [--pairs 200] [--part 0/2]``,
then ``gather``; the results go to ``results/check_<what>.json``.
"""

from __future__ import annotations

import argparse
import json
import time
import warnings
from collections import Counter
from pathlib import Path

import numpy as np
from scipy import linalg, special, stats
from second_forward import shown

import thermostack as ts
from thermostack.checking import evidence as evidence_module
from thermostack.checking.candidates import candidates_of
from thermostack.checking.cause import Departure, acts_on, resistance_at_centre
from thermostack.checking.causes import DESCRIBED, UNLISTED, causes_of, prior_probabilities
from thermostack.checking.effect import effects_of, unlisted_covariance
from thermostack.checking.evidence import DRAWS
from thermostack.checking.formulas import two_sided_p
from thermostack.checking.listed import listed
from thermostack.checking.predictive import coolant_rows, drawn
from thermostack.checking.ranking import components_of
from thermostack.checking.scored import Scored
from thermostack.checking.segments import log_segment_density
from thermostack.checking.straight import Kind
from thermostack.errors import ThermostackWarning
from thermostack.model import model_of
from thermostack.propagate import Sampler
from thermostack.stack.parts import Interface
from thermostack.states import State, states_model

__all__ = ["DESCRIBED", "UNLISTED", "Bench", "compact", "none", "planted"]
RESULTS = Path(__file__).parent / "results"
STEP, ROWS, NOISE, DRIFT = 1.0, 600, 0.5, 0.1
"""Of the synthetic sensors: truncated to so many kelvin, rows of the mean, noise of a row [K], drift over the log [K]."""
BAD_MOUNT, BOW = 1.0 / 8.0, 0.15
"""Chance of a bad mount; standard deviation of a joint's bow, as a share of its gap."""
SEED = 6000
CLEAR, FAINT = 4.0, 2.0


def part():
    """Return an invented part before and after a relid."""
    regions = [
        ts.Region(
            f"core {i}", "45 W", corner=(f"{1.2 + 5.4 * (i % 2)} mm", f"{2 + 8 * (i // 2)} mm"), size=("4.4 mm", "5 mm")
        )
        for i in range(4)
    ]
    soldered = ts.Stack(
        "invented part of the study",
        dies=[
            ts.Die("die", "silicon", "0.72 mm (sd 0.02 mm)", footprint=("12.4 mm", "17.6 mm"),
                   power=ts.PowerMap("230 W", regions=regions), centre=("1.5 mm", "-2 mm"),
                   joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"))
        ],
        layers=[
            ts.Layer("lid", "copper", "2.4 mm", footprint=("36 mm", "36 mm")),
            ts.Interface("paste", "ceramic paste"),
            ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm")),
        ],
        coolant=ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"),
    )  # fmt: skip
    return soldered, soldered.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")


def reading(mean, power, **labels):
    """Return a reading as it would be typed; what it read is put in later."""
    return ts.Reading.of(
        {f"core {i}": f"{mean} degC (sd 0.2 K)" for i in range(4)}, power=f"{power} W (sd 2 W)", coolant="26 degC (sd 0.1 K)",
        **labels,
    )  # fmt: skip


def states(read=reading):
    """Return the states with two levels before; two levels and a second mount after."""
    before, after = part()
    return (
        State(before, read(68, 230, source="b"), read(47, 115, level="half")),
        State(after, read(64, 230, source="a1", mount="1"), read(45, 115, level="half", mount="1"),
              read(64, 230, source="a2", mount="2")),
    )  # fmt: skip


class Bench:
    """The states, ready: what the check predicts of them, and what causes do."""

    def __init__(self, read=reading):
        self.states = states(read)
        self.model = states_model(self.states)
        self.effects = effects_of(self.model, listed(self.model))
        self.scored = Scored(self.model)
        self.last = len(self.states) - 1
        self.drawn = drawn(self.model, 40_000, 1)
        self.causes = self.effects.causes
        self.names = [*(c.name for c in self.causes), DESCRIBED, UNLISTED]
        self.bad = next(i for i, cause in enumerate(self.causes) if cause.chance)
        self.prior = prior_probabilities(self.causes)
        y, slopes = self.scored.linearised(np.zeros((1, self.scored.latent.size)))
        self.y, self.slopes = y[0], slopes[0]
        self.active = self.effects.on(self.model)
        self.whiten = np.linalg.cholesky(self.slopes @ self.slopes.T + self.scored.noise)
        figure = self.drawn.figure(self.drawn.repeated)[:, 0].mean(axis=1)
        self.figure = np.sort(figure)

    def drop(self, observed):
        """Return the mean drop at equal power."""
        return float(self.drawn.drops.of(observed, coolant_rows(self.model))[0, 0].mean())

    def p(self, observed):
        """Return the two-sided tail probability of the drop."""
        return two_sided_p(self.figure, self.drop(observed))

    def effect(self, c, way):
        """Return the effect of a way of a cause."""
        return next(e for e in self.active if (e.cause, e.told) == (c, way.told))

    def shift(self, c, way, size):
        """Return what a cause adds at a size, at the centres of all inputs."""
        effect = self.effect(c, way)
        chain = effect.starts(self.y - self.scored.coolant)
        return np.array([np.interp(size, effect.edges, column) for column in chain.T])

    def straight(self, shift):
        """Return d′ of a shift in the straight model."""
        return float(np.linalg.norm(linalg.solve_triangular(self.whiten, shift, lower=True)))

    def detectability(self, shift):
        """Return d′ of a shift."""
        if self.straight(shift) < 0.5:
            return self.straight(shift)
        start = np.zeros(self.scored.latent.size)
        found = evidence_module._climbed(self.scored, self.y + shift, start, [Kind()])
        return float(np.sqrt(found[0].square))


# -- the second forward model


def solved(bench, samples, departures, bows):
    """Return what all sensors truly are (D,) for one draw of everything unknown, with an error of a size each.

    Parameters
    ----------
    departures : sequence of (way, size)
    bows : mapping of joint to float
    """
    model = bench.model
    out = []
    for number, each in enumerate(model.measured):
        variant = model.variants[each.variant]
        values = {p: np.atleast_1d(x) for p, x in model.values(samples, each.variant).items()}
        power, coolant = (float(np.ravel(x)[0]) for x in model.true(samples, number))
        stack, over = variant.stack.uncalibrated, 0.0
        for way, size in departures:
            if not acts_on(way, each, bench.last):
                continue
            if isinstance(way, Departure):
                stack, values = departed(stack, values, way, float(size))
            else:
                power = power / (1.0 + size) if way.of == "power" else power
                coolant = coolant - size if way.of == "coolant" else coolant
                over += size if way.of == "sensors" else 0.0
        own = {p.name: bows[p.name] for p in stack.parts() if isinstance(p, Interface)}
        found = shown(stack, values, power, coolant, bows=own)
        offsets = [samples.get(f"{sensor}.offset", np.zeros(1))[0] for sensor in each.reading.sensors]
        out += [found[p] + over + offset for p, offset in zip(each.probes, offsets, strict=True)]
    return np.array(out)


def departed(stack, values, way, size):
    """Return the departed stack, its joints' resistances as drawn and not as central."""
    other = way.change(stack, size)
    for element in other.parts():
        old = next((e for e in stack.parts() if e.name == element.name), None)
        if isinstance(element, Interface) and isinstance(old, Interface) and element != old:
            r = resistance_as_drawn(stack, values, old.name)
            extra = resistance_at_centre(other, old.name) - resistance_at_centre(stack, old.name)
            values = {**values, f"{old.name}.resistance": np.array([max(r + extra, 0.05 * r)])}
    return other, values


def resistance_as_drawn(stack, values, joint):
    """Return the specific resistance of a joint, its patches left out."""
    model = model_of(stack)
    arrays = model.arrays(model.values({p: x for p, x in values.items() if p in model.inputs}))
    row = next(row for row in next(iter(model.rows.values())) if row.part == joint and not row.solid)
    return float(arrays.contact_r[0, row.contacts[0]] if row.contacts else arrays.r_above[0, row.slab])


def drawn_bows(bench, rng):
    """Return a bow for each joint; that of the paste is of lid and plate, and so the same for all mounts."""
    joints = [p.name for state in bench.states for p in state.stack.parts() if isinstance(p, Interface)]
    return {name: BOW * rng.standard_normal() for name in dict.fromkeys(joints)}


def bad_mounts(bench, rng):
    """Return what one bad mount in eight does: its own size each."""
    cause = bench.causes[bench.bad]
    return [(way, drawn_size(rng, cause)) for way in cause.ways if rng.random() < BAD_MOUNT]


def sensors(rng, true, truncating=True):
    """Return the means that truncating sensors show: noise dithers them, half a step is added back."""
    rows = true + NOISE * rng.standard_normal((ROWS, len(true))) + DRIFT * np.linspace(-0.5, 0.5, ROWS)[:, None]
    shown = np.floor(rows / STEP) * STEP + 0.5 * STEP if truncating else rows
    # errors that the stated 0.2 K stands for besides: placement in time, slow wander
    return shown.mean(axis=0) + 0.19 * rng.standard_normal(len(true))


def drawn_for(bench, seed, pairs):
    """Return independent draws of everything unknown, by path."""
    sampler = Sampler(bench.model.variables, seed, "monte carlo")
    return sampler.draw(0, pairs)


def one_of(samples, k):
    """Return one of some draws."""
    return {p: x[k : k + 1] for p, x in samples.items()}


def drawn_size(rng, cause):
    return float(cause.prior().ppf(rng.random()))


# -- the studies


def none(bench, pairs, part, seed=SEED):
    """Return p of pairs without a cause and without a bad mount."""
    draws, p = drawn_for(bench, seed, pairs), []
    for k in range(part[0], pairs, part[1]):
        rng = np.random.default_rng([seed, k])
        p.append((k, bench.p(sensors(rng, solved(bench, one_of(draws, k), (), drawn_bows(bench, rng))))))
    return p


def planted_as(bench, c, rng):
    """Return a way of a cause and a size from its own prior; none for as described and for what is not listed."""
    if c >= len(bench.causes):
        return None
    cause = bench.causes[c]
    return cause.ways[rng.integers(len(cause.ways))], drawn_size(rng, cause)


def planted(bench, pairs, part, *, draws, clear, own, names=None, most=None, save=None, seed=2 * SEED):
    """Return a row a pair: every cause planted from its own prior, none, and something not listed.

    `clear` asks for sizes that can be seen clearly: the prior, given a d′ of 4 or more. `own`: readings from the check's
    own model; `names`, `most`: only these causes, only pairs below this number.
    """
    rows = []
    for c, name in enumerate(bench.names):
        if (clear and c >= len(bench.causes)) or (names is not None and name not in names):
            continue
        started, inputs = time.time(), drawn_for(bench, seed + 1000 * c, pairs)
        for k in range(part[0], min(pairs, most or pairs), part[1]):
            rng = np.random.default_rng([seed, c, k])
            what = planted_as(bench, c, rng)
            shift = np.zeros(len(bench.y)) if what is None else bench.shift(c, *what)
            for _ in range(400 if clear else 0):
                if bench.straight(shift) >= CLEAR and bench.detectability(shift) >= CLEAR:
                    break
                what = planted_as(bench, c, rng)
                shift = bench.shift(c, *what)
            if clear and bench.detectability(shift) < CLEAR:
                break  # it hardly ever gets so large
            bad = [] if name == DESCRIBED or c == bench.bad else bad_mounts(bench, rng)
            true = np.zeros(len(bench.y))
            if name == UNLISTED:
                true = rng.multivariate_normal(true, unlisted_covariance(bench.model))
                shift = true
            sample = one_of(inputs, k)
            if own:
                observed = shown_by_itself(bench, sample, what, bad, true, c, rng)
            else:
                true = true + as_large_as_can_be(bench, sample, what, bad, drawn_bows(bench, rng))
                observed = sensors(rng, true)
            found = causes_of(bench.scored, observed, bench.effects, draws=draws, seed=k)
            rows.append(judged(found, name, bench.detectability(shift), bench.p(observed), len(bad), k))
        print(f"{name}: {time.time() - started:.0f} s", flush=True)
        if save is not None:
            save(rows)
    return rows


def as_large_as_can_be(bench, sample, what, bad, bows):
    """Return the true temperatures; a size that this stack cannot have (a die larger than its lid) is made smaller."""
    way, size = what or (None, 0.0)
    for _ in range(20):
        try:
            return solved(bench, sample, [*([(way, size)] if way else []), *bad], bows)
        except ts.InputError:
            size = 0.7 * size
    raise AssertionError(f"{way} is possible at no size")


def shown_by_itself(bench, sample, what, bad, true, c, rng):
    """Return readings by the check's own model, effects and noise."""
    y = bench.model(sample)[0] + true
    for cause, (way, size) in [*([(c, what)] if what else []), *((bench.bad, each) for each in bad)]:
        effect = bench.effect(cause, way)
        chain = effect.starts(y - bench.scored.coolant)
        y = y + np.array([np.interp(size, effect.edges, column) for column in chain.T])
    return y + np.linalg.cholesky(bench.scored.noise) @ rng.standard_normal(len(y))


def judged(found, name, d, p, bad, k):
    """Return what a check said where `name` was true."""
    groups = [[m.name for m in g.members] for g in found.groups]
    place = next(i for i, g in enumerate(groups) if name in g)
    return {
        "cause": name, "pair": k, "d": d, "p": p, "bad": bad, "place": place, "size": len(groups[place]),
        "top": found.groups[0].members[0].name,
        "pointed": None if found.pointed_to is None else name in [m.name for m in found.pointed_to.members],
        "stated": [[g.probability, float(i == place)] for i, g in enumerate(found.groups)],
    }  # fmt: skip


def twin(bench, pairs, part, *, clear, seed=3 * SEED):
    """Return the same rows for readings that are straight and normal, judged by the exact evidence."""
    rows, rounds, extra = [], evidence_module.ROUNDS, bench.y - bench.scored.coolant
    evidence_module.ROUNDS = 0
    noise = np.linalg.cholesky(bench.scored.noise)
    try:
        for c, name in enumerate(bench.names):
            if clear and c >= len(bench.causes):
                continue
            for k in range(part[0], pairs, part[1]):
                rng = np.random.default_rng([seed, c, k])
                what = planted_as(bench, c, rng)
                shift = np.zeros(len(bench.y)) if what is None else bench.shift(c, *what)
                for _ in range(400 if clear else 0):
                    if bench.straight(shift) >= CLEAR:
                        break
                    what = planted_as(bench, c, rng)
                    shift = bench.shift(c, *what)
                if clear and bench.straight(shift) < CLEAR:
                    break
                if name == UNLISTED:
                    shift = rng.multivariate_normal(shift, unlisted_covariance(bench.model))
                bad = [] if name == DESCRIBED or c == bench.bad else bad_mounts(bench, rng)
                z = rng.standard_normal(bench.slopes.shape[1])
                observed = bench.y + bench.slopes @ z + shift + noise @ rng.standard_normal(len(shift))
                for way, size in bad:
                    effect = bench.effect(bench.bad, way)
                    observed = observed + [np.interp(size, effect.edges, col) for col in effect.starts(extra).T]
                found = causes_of(Frozen(bench), observed, bench.effects, draws=0, seed=k)
                rows.append(judged(found, name, bench.straight(shift), bench.p(observed), len(bad), k))
    finally:
        evidence_module.ROUNDS = rounds
    return rows


class Frozen:
    """The straight model in the place of the true one."""

    def __init__(self, bench):
        self.bench, self.model, self.latent = bench, bench.scored.model, bench.scored.latent
        self.coolant, self.noise = bench.scored.coolant, bench.scored.noise

    def linearised(self, z):
        b = self.bench
        return np.array([b.y + b.slopes @ each for each in z]), np.repeat(b.slopes[None], len(z), axis=0)

    def doubt(self, shift):
        return np.zeros((len(shift), len(shift)))

    def __call__(self, z):
        return self.bench.y + z @ self.bench.slopes.T


def summary(prior, rows):
    """Return the figures that are asked for; `prior` by name."""
    listed_rows = [r for r in rows if r["cause"] not in (DESCRIBED, UNLISTED)]
    clear = [r for r in listed_rows if r["d"] >= CLEAR]
    faint = [r for r in listed_rows if r["d"] < FAINT]
    count = Counter(r["cause"] for r in rows)
    stated = np.array([[p, hit, prior[r["cause"]] / count[r["cause"]]] for r in rows for p, hit in r["stated"]])
    fifths = []
    for low in np.arange(0, 1, 0.2):
        mine = stated[(stated[:, 0] >= low) & (stated[:, 0] < low + 0.2 + 1e-12 * (low == 0.8))]
        w = mine[:, 2].sum()
        fifths.append(
            [float(mine[:, 2] @ mine[:, 0] / w), float(mine[:, 2] @ mine[:, 1] / w), len(mine)] if len(mine) else None
        )
    per_cause = {}
    for name in count:
        own = [r for r in rows if r["cause"] == name and (r["d"] >= CLEAR or name in (DESCRIBED, UNLISTED))]
        per_cause[name] = {"planted": count[name], "clear_pairs": len(own), **_found(own)}
    return {
        "pairs": len(rows), "clear_pairs": len(clear), "faint_pairs": len(faint), "clear": _found(clear),
        "clear_without_bad_mounts": _found([r for r in clear if not r["bad"]]),
        "clear_with_bad_mounts": _found([r for r in clear if r["bad"]]),
        "faint_cannot_tell": _mean([r["pointed"] is None for r in faint]),
        "described_cannot_tell": _mean([r["pointed"] is None for r in rows if r["cause"] == DESCRIBED]),
        "stated_mean_and_true_share_by_fifth": fifths, "by_cause": per_cause,
        "confusion_of_clear_pairs": confusion(clear),
    }  # fmt: skip


def _found(rows):
    return {
        "pairs": len(rows), "first": _mean([r["place"] == 0 for r in rows]),
        "first_two": _mean([r["place"] <= 1 for r in rows]), "group_size": _mean([r["size"] for r in rows]),
        "pointed_rightly": _mean([r["pointed"] is True for r in rows]),
        "pointed_wrongly": _mean([r["pointed"] is False for r in rows]),
    }  # fmt: skip


def confusion(rows):
    """Return for each true cause how often its group came first, and which causes were first instead."""
    table = {}
    for r in rows:
        own = table.setdefault(r["cause"], {})
        key = "its group" if r["place"] == 0 else r["top"]
        own[key] = own.get(key, 0) + 1
    return table


KEPT = 10
"""Rows of each cause that are stored one by one: a share is run again in tests."""


def compact(rows):
    """Return cause, pair, d′, p, place of its group, what was pointed to, and what came first; of the first pairs."""
    return [
        [r["cause"], r["pair"], round(r["d"], 3), round(r["p"], 5), r["place"], r["pointed"], r["top"]]
        for r in rows
        if r["pair"] < KEPT
    ]


def _mean(values):
    return float(np.mean(values)) if values else None


def information(bench, pairs, part, seed=4000):
    """Return a row a pair: expected information of the top-ranked measurement, and what it then told; linear twin."""
    active = bench.effects.on(bench.model)
    rows = []
    names = bench.names
    for k in range(part[0], pairs, part[1]):
        rng = np.random.default_rng([seed, k])
        c = int(rng.choice(len(names), p=bench.prior))
        shift = np.zeros(len(bench.y))
        if c < len(bench.causes):
            effect = rng.choice([e for e in active if e.cause == c])
            size = np.clip(drawn_size(rng, bench.causes[c]), effect.edges[0], effect.edges[-1])
            chain = effect.starts(bench.y - bench.scored.coolant)
            shift = np.array([np.interp(size, effect.edges, column) for column in chain.T])
        elif c == len(names) - 1:
            shift = rng.multivariate_normal(shift, unlisted_covariance(bench.model))
        noise = np.linalg.cholesky(bench.scored.noise) @ rng.standard_normal(len(shift))
        observed = bench.y + bench.slopes @ rng.standard_normal(bench.slopes.shape[1]) + shift + noise
        found = causes_of(bench.scored, observed, bench.effects, draws=0, seed=k)
        best = None
        for candidate in candidates_of(found):
            if candidate.when != "possible now":
                continue
            parts = components_of(found, candidate)
            one = parts.information(400, k)
            if best is None or one.nats > best[0].nats:
                best = one, parts
        parts = best[1]
        one = parts.information(1000, pairs + k)  # by other draws: the best of many estimates is one too high
        member = told_by(parts, shown_next(parts, c, rng), len(names))
        rows.append([one.nats, one.entropy - float(special.entr(member).sum())])
    return rows


def shown_next(parts, c, rng):
    """Draw new data where cause c is true: its size and the inputs as they are probable given what was read."""
    D = len(parts.covariance)
    if c == parts.unlisted.group:
        return parts.unlisted.mean + np.linalg.cholesky(parts.unlisted.covariance) @ rng.standard_normal(D)
    mine = np.flatnonzero(parts.labels == c)
    w = parts.weights[mine]
    k = mine[rng.choice(len(mine), p=w / w.sum())] if w.sum() > 0 else mine[0]
    mean = parts.means[k] + rng.random() * parts.steps[k]
    return mean + np.linalg.cholesky(parts.covariance) @ rng.standard_normal(D)


def told_by(parts, new, count):
    """Return the probabilities of all causes after new data."""
    L = np.linalg.cholesky(parts.covariance)
    m, v, x = (linalg.solve_triangular(L, each.T, lower=True).T for each in (parts.means, parts.steps, new[None]))
    with np.errstate(divide="ignore"):
        log_w = log_segment_density(x, m, v)[0] + np.log(parts.weights) - np.sum(np.log(np.diag(L)))
        own = stats.multivariate_normal(parts.unlisted.mean, parts.unlisted.covariance).logpdf(new)
        log_w = np.append(log_w, own + np.log(parts.unlisted.weight))
    w = np.exp(log_w - special.logsumexp(log_w))
    labels = np.append(parts.labels, parts.unlisted.group)
    return np.array([w[labels == g].sum() for g in range(count)])


def neglect(bench, draws=6, seed=5000):
    """Return how a departure's effect by the second model differs from the straight one at the centres.

    For each cause at its usual size: by which factor it is larger or smaller as a whole (mean and standard deviation over
    draws of the inputs), which is as good as another size, and what is left beside that, relative (rms), and the size of
    the effect. [K]
    """
    rows = {}
    bows = dict.fromkeys(drawn_bows(bench, np.random.default_rng(0)), 0.0)
    samples = [one_of(drawn_for(bench, seed, draws), k) for k in range(draws)]
    plains = [solved(bench, sample, (), bows) for sample in samples]
    for c, cause in enumerate(bench.causes):
        way = next((way for way in cause.ways if isinstance(way, Departure)), None)
        if way is None:
            continue
        size = min(cause.size.si, bench.effect(c, way).edges[-1])
        straight = bench.shift(c, way, size)
        true = [solved(bench, s, ((way, size),), bows) - p for s, p in zip(samples, plains, strict=True)]
        factors = np.array([each @ straight / (straight @ straight) for each in true])
        whole = np.linalg.norm(straight)
        left = [np.linalg.norm(each - f * straight) / (f * whole) for each, f in zip(true, factors, strict=True)]
        moved = float(np.linalg.norm(straight) / np.sqrt(np.count_nonzero(straight)))
        rows[f"{cause.name}, {way.told}".rstrip(", ")] = {
            "factor": float(factors.mean()), "factor_sd": float(factors.std(ddof=1)),
            "left": float(np.sqrt(np.mean(np.square(left)))), "effect_K": moved,
        }  # fmt: skip
    return {"draws": draws, "rows": rows}


def laplace(bench, pairs, part, seed=SEED):
    """Return a row a pair: how far Laplace's approximation lies from importance sampling, readings as of `own`."""
    rows = []
    for k in range(part[0], pairs, part[1]):
        rng = np.random.default_rng([seed, k])
        c = int(rng.integers(len(bench.names)))
        what = planted_as(bench, c, rng)
        sample = one_of(drawn_for(bench, seed + k, 1), 0)
        observed = shown_by_itself(bench, sample, what, bad_mounts(bench, rng), np.zeros(len(bench.y)), c, rng)
        quick, slow = (causes_of(bench.scored, observed, bench.effects, draws=n, seed=k) for n in (0, DRAWS))
        sampled = [r for r in slow.ranked if np.isfinite(r.effective_size)]
        off = {r.name: quick[r.name].probability - r.probability for r in slow.ranked}
        rows.append({
            "pair": k, "first_alike": quick.groups[0].members[0].name in [m.name for m in slow.groups[0].members],
            "most": max(map(abs, off.values())), "sampled": len(sampled),
            "error": float(np.median([r.error for r in sampled])) if sampled else None,
            "pointed_alike": (quick.pointed_to is None) == (slow.pointed_to is None),
        })  # fmt: skip
    return rows


def gathered(what, folder, asked):
    """Return the result of all parts of a study."""
    parts = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(folder.glob(f"{what}_[0-9]*_of_*.json"))]
    if not parts or len(parts) != parts[0]["of"]:
        raise SystemExit(f"{len(parts)} parts of {what} in {folder}")
    rows = [row for part in parts for row in part["rows"]]
    told = {"what": what, "asked": parts[0]["asked"], "seconds": sum(part["seconds"] for part in parts)}
    if what == "none":
        p = np.array([value for _, value in sorted(rows)])
        test = stats.kstest(p, "uniform")
        return {
            "pairs": len(p), "below_0.05": float(np.mean(p < 0.05)), "below_0.5": float(np.mean(p < 0.5)),
            "kolmogorov_smirnov": float(test.statistic), "ks_p": float(test.pvalue),
            "every_50th": p[::50].round(5).tolist(), "fifths": (np.histogram(p, np.linspace(0, 1, 6))[0] / len(p)).tolist(),
            **told,
        }  # fmt: skip
    if what == "laplace":
        most = np.array([row["most"] for row in rows])
        return {
            "pairs": len(rows), "first_alike": _mean([row["first_alike"] for row in rows]),
            "pointed_alike": _mean([row["pointed_alike"] for row in rows]),
            "probability_off": {f"{q}": float(np.quantile(most, q)) for q in (0.5, 0.9, 0.99)},
            "error_of_ln_evidence": _mean([row["error"] for row in rows if row["error"] is not None]), **told,
        }  # fmt: skip
    if what == "information":
        expected, told_by_it = np.array(rows).T
        mean, error = told_by_it.mean(), told_by_it.std(ddof=1) / np.sqrt(len(rows))
        return {
            "pairs": len(rows), "expected_nats": float(expected.mean()), "realised_nats": float(mean),
            "ratio": float(mean / expected.mean()), "error_of_ratio": float(error / expected.mean()), **told,
        }  # fmt: skip
    order = list(parts[0]["prior"])
    rows.sort(key=lambda row: (order.index(row["cause"]), row["pair"]))
    return summary(parts[0]["prior"], rows) | told | {"rows": compact(rows)}


def as_text(result):
    """Return a result as JSON, its rows a line each."""
    rows = result.pop("rows", None)
    text = json.dumps(result, indent=1, ensure_ascii=False)
    if isinstance(rows, list):
        lines = ",\n".join("  " + json.dumps(row, ensure_ascii=False) for row in rows)
        text = text.removesuffix("\n}") + ',\n "rows": [\n' + lines + "\n ]\n}"
    elif rows is not None:
        text = text.removesuffix("\n}") + ',\n "rows": ' + json.dumps(rows, indent=1, ensure_ascii=False) + "\n}"
    return text + "\n"


WHAT = ("none", "planted", "own", "twin", "laplace", "information", "neglect")


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("what", choices=[*WHAT, "gather"])
    ask.add_argument("--pairs", type=int, default=200)
    ask.add_argument("--draws", type=int, default=0)
    ask.add_argument("--clear", action="store_true")
    ask.add_argument("--part", default="0/1", help="such as 0/2: the first of two, to run side by side")
    ask.add_argument("--folder", type=Path, required=True, help="of the parts")
    asked = ask.parse_args()
    warnings.simplefilter("ignore", ThermostackWarning)
    asked.folder.mkdir(parents=True, exist_ok=True)
    RESULTS.mkdir(exist_ok=True)
    if asked.what == "gather":
        for what in dict.fromkeys(path.name.rsplit("_", 3)[0] for path in sorted(asked.folder.glob("*_of_*.json"))):
            result = gathered(what, asked.folder, asked)
            (RESULTS / f"check_{what}.json").write_text(as_text(result))
            print(what, json.dumps({key: value for key, value in result.items() if key != "rows"}, indent=1))
        return
    part = tuple(int(n) for n in asked.part.split("/"))
    started, bench = time.time(), Bench()
    told = {"pairs": asked.pairs, "draws": asked.draws, "clear": asked.clear}
    if asked.what == "neglect":
        (RESULTS / "check_neglect.json").write_text(as_text(neglect(bench)))
        return
    name = asked.what + ("_clear" if asked.clear else "")

    def save(rows):
        result = {
            "of": part[1], "asked": told, "seconds": time.time() - started,
            "prior": dict(zip(bench.names, bench.prior.tolist(), strict=True)), "rows": rows,
        }  # fmt: skip
        (asked.folder / f"{name}_{part[0]}_of_{part[1]}.json").write_text(json.dumps(result))

    if asked.what in ("planted", "own"):
        own = asked.what == "own"
        planted(bench, asked.pairs, part, draws=asked.draws, clear=asked.clear, own=own, save=save)
    elif asked.what == "twin":
        save(twin(bench, asked.pairs, part, clear=asked.clear))
    else:
        others = {"none": none, "laplace": laplace, "information": information}
        save(others[asked.what](bench, asked.pairs, part))


if __name__ == "__main__":
    main()
