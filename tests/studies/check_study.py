"""Does the check find what was planted? Pairs of readings before and after, from a second forward model.

The check predicts by emulators and straight effects of causes about the centres of all inputs. The pairs come from
direct layered solves of the departed stack itself, with every input drawn from its prior, more polynomials, local
readings that are truncated to a step and drift, and errors of power and coolant drawn as they are stated.

Run it as ``python tests/studies/check_study.py none|planted|twin|information|neglect|all [--pairs 200] [--bad-mounts]``; the
results go to ``results/check_<what>.json``.
"""

from __future__ import annotations

import argparse
import json
import time
import warnings
from functools import partial
from pathlib import Path

import numpy as np
from scipy import linalg, special, stats

import thermostack as ts
from thermostack.checking.candidates import candidates_of
from thermostack.checking.cause import Departure, acts_on, resistance_at_centre
from thermostack.checking.causes import DESCRIBED, UNLISTED, causes_of, prior_probabilities
from thermostack.checking.effect import effects_of, unlisted_covariance
from thermostack.checking.evidence import Scored
from thermostack.checking.formulas import two_sided_p
from thermostack.checking.listed import listed
from thermostack.checking.predictive import coolant_rows, drawn
from thermostack.checking.ranking import components_of
from thermostack.checking.segments import log_segment_density
from thermostack.errors import ThermostackWarning
from thermostack.model import model_of
from thermostack.operating import operate
from thermostack.propagate import Sampler
from thermostack.solvers.layered import layered
from thermostack.solvers.layered.settings import LayeredSettings
from thermostack.stack.parts import Interface
from thermostack.states import State, states_model

RESULTS = Path(__file__).parent / "results"
FINER = partial(layered, settings=LayeredSettings(polynomials=12))
STEP, ROWS, NOISE, DRIFT = 1.0, 600, 0.5, 0.1
"""Of the synthetic sensors: truncated to so many kelvin, rows of the mean, noise of a row [K], drift over the log [K]."""
BAD_MOUNT = 1.0 / 8.0
BATCH = 200
CLEAR = 4.0


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


class Bench:
    """The states, ready: what the check predicts of them, and what causes do."""

    def __init__(self):
        before, after = part()
        self.states = (
            State(before, reading(68, 230, source="b"), reading(47, 115, level="half")),
            State(after, reading(64, 230, source="a1", mount="1"), reading(45, 115, level="half", mount="1"),
                  reading(64, 230, source="a2", mount="2")),
        )  # fmt: skip
        self.model = states_model(self.states)
        self.effects = effects_of(self.model, listed(self.model))
        self.scored = Scored(self.model)
        self.last = len(self.states) - 1
        self.drawn = drawn(self.model, 4000, 1)
        self.causes = self.effects.causes
        self.prior = prior_probabilities(self.causes)
        y, slopes = self.scored.linearised(np.zeros((1, self.scored.latent.size)))
        self.y, self.slopes = y[0], slopes[0]
        self.active = self.effects.on(self.model)
        self.whiten = np.linalg.cholesky(self.slopes @ self.slopes.T + self.scored.noise)

    def drop(self, observed):
        """Return the mean drop at equal power."""
        return float(self.drawn.drops.of(observed, coolant_rows(self.model))[0, 0].mean())

    def p(self, observed):
        """Return the two-sided tail probability of the drop."""
        return two_sided_p(self.drawn.figure(self.drawn.repeated)[:, 0].mean(axis=1), self.drop(observed))

    def foreseen(self, c, way, size):
        """Return d′ of a cause by its straight effect."""
        effect = next(e for e in self.active if (e.cause, e.told) == (c, way.told))
        chain = effect.starts(self.y - self.scored.coolant)
        return self.detectability(np.array([np.interp(size, effect.edges, column) for column in chain.T]))

    def detectability(self, shift):
        """Return d′ of a shift of the readings."""
        return float(np.linalg.norm(linalg.solve_triangular(self.whiten, shift, lower=True)))


# -- the second forward model


def solved(bench, samples, way=None, size=0.0):
    """Return what all sensors truly are (S, D) for some draws, with an error of a size each; direct solves.

    A departed stack is solved for one draw at a time.
    """
    model = bench.model
    out = []
    for number, each in enumerate(model.measured):
        variant = model.variants[each.variant]
        values = {p: np.atleast_1d(x) for p, x in model.values(samples, each.variant).items()}
        power, coolant = model.true(samples, number)
        acts = way is not None and acts_on(way, each, bench.last)
        stack = variant.stack.uncalibrated
        if acts and isinstance(way, Departure):
            stack, values = departed(variant, stack, values, way, float(size))
        of = way.of if acts and not isinstance(way, Departure) else ""
        power = power / (1.0 + size) if of == "power" else power
        coolant = coolant - size if of == "coolant" else coolant
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ThermostackWarning)
            ready = model_of(stack)
        v = {p: x for p, x in values.items() if p in ready.inputs}
        point = operate(ready, FINER, ready.values({**v, "die.power": power, "coolant.temperature": coolant}))
        shown = {name: t for name, _, t in point.readings()}
        out += [shown[p] + (size if of == "sensors" else 0.0) for p in each.probes]
    return np.stack(out, axis=1)


def departed(variant, stack, values, way, size):
    """Return the departed stack, its joints' resistances as drawn and not as central."""
    other = way.change(stack, size)
    for element in other.parts():
        old = next((e for e in stack.parts() if e.name == element.name), None)
        if isinstance(element, Interface) and isinstance(old, Interface) and element != old and old.resistance is None:
            here = resistance_at_centre(stack, old.name)
            extra = resistance_at_centre(other, old.name) - here
            model = model_of(stack)
            arrays = model.arrays(model.values(values))
            row = next(row for row in next(iter(model.rows.values())) if row.part == old.name and not row.solid)
            r = arrays.contact_r[0, row.contacts[0]] if row.contacts else arrays.r_above[0, row.slab]
            values = {**values, f"{old.name}.resistance": np.array([max(r + extra, 0.05 * r)])}
    return other, values


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


def with_bad_mounts(bench, rng, true):
    """Add what one bad mount in eight does: about twice the paste's resistance."""
    c = next(i for i, cause in enumerate(bench.causes) if cause.name == "one bad mount")
    for way in bench.causes[c].ways:
        if rng.random() < BAD_MOUNT:
            extra = 12e-6 * float(np.exp(0.4 * rng.standard_normal()))
            shift = next(e for i, e in enumerate(bench.effects.on(bench.model)) if (e.cause, e.told) == (c, way.told))
            true = true + np.array([np.interp(extra, shift.edges, column) for column in shift.shifts.T])
    return true


def drawn_size(rng, cause):
    return float(cause.prior().ppf(rng.random()))


# -- the studies


def none(bench, pairs, seed=1000):
    """Return p of pairs without a cause, and how far they are from uniform."""
    p = []
    for start in range(0, pairs, BATCH):
        count = min(BATCH, pairs - start)
        true = solved(bench, drawn_for(bench, seed + start, count))
        p += [bench.p(sensors(np.random.default_rng([seed, start + k]), true[k])) for k in range(count)]
    p = np.array(p)
    test = stats.kstest(p, "uniform")
    return {
        "pairs": pairs, "below_0.05": float(np.mean(p < 0.05)), "below_0.5": float(np.mean(p < 0.5)),
        "kolmogorov_smirnov": float(test.statistic), "ks_p": float(test.pvalue),
        "first": p[:40].round(5).tolist(),
        "fifths": (np.histogram(p, np.linspace(0, 1, 6))[0] / pairs).round(4).tolist(),
    }  # fmt: skip


def judged(bench, found, name, d, p):
    """Return what a check said where `name` was true."""
    groups = [[m.name for m in g.members] for g in found.groups]
    place = next(i for i, g in enumerate(groups) if name in g)
    return {
        "cause": name, "d": d, "p": p, "place": place, "size": len(groups[place]), "top": groups[0][0],
        "cause_place": [r.name for r in sorted(found.ranked, key=lambda r: -r.probability)].index(name),
        "pointed": None if found.pointed_to is None else name in [m.name for m in found.pointed_to.members],
        "stated": [[g.probability, float(i == place)] for i, g in enumerate(found.groups)],
        "range": [found.groups[0].low, found.groups[0].high],
    }  # fmt: skip


def planted(bench, pairs, seed=2000, *, bad_mounts=False, draws=0, names=None, clear=False):
    """Return a row a pair: every cause planted from its own prior, none, and something not listed.

    `clear` asks for sizes of which a detectability of 4 or more is to be expected: the prior, given that.
    """
    rows = []
    todo = [*enumerate(bench.causes), (-2, None), (-1, None)]
    for c, cause in todo:
        name = cause.name if cause else (DESCRIBED, UNLISTED)[c + 2]
        if (names is not None and name not in names) or (clear and cause is None):
            continue
        started = time.time()
        draws_of = drawn_for(bench, seed + 1000 * (c + 3), pairs)
        plains = solved(bench, draws_of)
        for k in range(pairs):
            rng = np.random.default_rng([seed, c + 2, k])
            plain = plains[k]
            true = plain
            if cause is not None:
                way = cause.ways[rng.integers(len(cause.ways))]
                size = drawn_size(rng, cause)
                for _ in range(1000 if clear else 0):
                    if bench.foreseen(c, way, size) >= CLEAR:
                        break
                    way, size = cause.ways[rng.integers(len(cause.ways))], drawn_size(rng, cause)
                if clear and bench.foreseen(c, way, size) < CLEAR:
                    break  # it never gets so large
                for _ in range(20):
                    try:
                        true = solved(bench, one_of(draws_of, k), way, size)[0]
                        break
                    except ts.InputError:  # a size that this stack cannot have
                        size = 0.7 * size
            elif c == -1:
                true = plain + rng.multivariate_normal(np.zeros(len(plain)), unlisted_covariance(bench.model))
            d = bench.detectability(true - plain)
            if bad_mounts:
                true = with_bad_mounts(bench, rng, true)
            observed = sensors(rng, true)
            found = causes_of(bench.scored, observed, bench.effects, draws=draws, seed=k)
            rows.append(judged(bench, found, name, d, bench.p(observed)))
        print(f"{name}: {pairs} pairs in {time.time() - started:.0f} s", flush=True)
    return rows


def twin(bench, pairs, seed=2000, *, clear=False):
    """Return the same rows for data that are straight and normal, judged by the exact evidence."""
    from thermostack.checking import evidence as module

    rows, rounds = [], module.ROUNDS
    module.ROUNDS = 0
    active = bench.effects.on(bench.model)
    try:
        for c, cause in [*enumerate(bench.causes), (-2, None), (-1, None)]:
            name = cause.name if cause else (DESCRIBED, UNLISTED)[c + 2]
            if clear and cause is None:
                continue
            ways = [e for e in active if e.cause == c]
            for k in range(pairs):
                rng = np.random.default_rng([seed, c + 2, k, 7])
                shift = np.zeros(len(bench.y))
                if cause is not None:
                    effect = ways[rng.integers(len(ways))]
                    size = np.clip(drawn_size(rng, cause), effect.edges[0], effect.edges[-1])
                    chain = effect.starts(bench.y - bench.scored.coolant)
                    shift = np.array([np.interp(size, effect.edges, column) for column in chain.T])
                    for _ in range(1000 if clear else 0):
                        if bench.detectability(shift) >= CLEAR:
                            break
                        effect = ways[rng.integers(len(ways))]
                        size = np.clip(drawn_size(rng, cause), effect.edges[0], effect.edges[-1])
                        chain = effect.starts(bench.y - bench.scored.coolant)
                        shift = np.array([np.interp(size, effect.edges, column) for column in chain.T])
                    if clear and bench.detectability(shift) < CLEAR:
                        break
                elif c == -1:
                    shift = rng.multivariate_normal(shift, unlisted_covariance(bench.model))
                z = rng.standard_normal(bench.slopes.shape[1])
                noise = np.linalg.cholesky(bench.scored.noise) @ rng.standard_normal(len(shift))
                observed = bench.y + bench.slopes @ z + shift + noise
                found = causes_of(Frozen(bench), observed, bench.effects, draws=0, seed=k)
                rows.append(judged(bench, found, name, bench.detectability(shift), bench.p(observed)))
    finally:
        module.ROUNDS = rounds
    return rows


class Frozen:
    """The straight model in the place of the true one."""

    def __init__(self, bench):
        self.bench, self.model, self.latent = bench, bench.scored.model, bench.scored.latent
        self.coolant, self.noise = bench.scored.coolant, bench.scored.noise

    def linearised(self, z):
        b = self.bench
        return np.array([b.y + b.slopes @ each for each in z]), np.repeat(b.slopes[None], len(z), axis=0)

    def __call__(self, z):
        return self.bench.y + z @ self.bench.slopes.T


def summary(bench, rows):
    """Return the figures that are asked for."""
    listed_rows = [r for r in rows if r["cause"] not in (DESCRIBED, UNLISTED)]
    clear = [r for r in listed_rows if r["d"] >= 4]
    faint = [r for r in listed_rows if r["d"] < 2]
    weight = dict(zip([*(c.name for c in bench.causes), DESCRIBED, UNLISTED], bench.prior, strict=True))
    count = {name: sum(r["cause"] == name for r in rows) for name in weight}
    stated = np.array([[p, hit, weight[r["cause"]] / count[r["cause"]]] for r in rows for p, hit in r["stated"]])
    fifths = []
    for low in np.arange(0, 1, 0.2):
        mine = stated[(stated[:, 0] >= low) & (stated[:, 0] < low + 0.2 + 1e-12 * (low == 0.8))]
        w = mine[:, 2].sum()
        fifths.append(
            [float(mine[:, 2] @ mine[:, 0] / w), float(mine[:, 2] @ mine[:, 1] / w), len(mine)] if len(mine) else None
        )
    per_cause = {}
    for name in dict.fromkeys(r["cause"] for r in rows):
        own = [r for r in rows if r["cause"] == name and (r["d"] >= 4 or name in (DESCRIBED, UNLISTED))]
        per_cause[name] = {
            "clear_pairs": len(own), "first": _mean([r["place"] == 0 for r in own]),
            "first_two": _mean([r["place"] <= 1 for r in own]), "group_size": _mean([r["size"] for r in own]),
        }  # fmt: skip
    described = [r for r in rows if r["cause"] == DESCRIBED]
    return {
        "pairs": len(rows), "clear_pairs": len(clear), "faint_pairs": len(faint),
        "clear_group_first": _mean([r["place"] == 0 for r in clear]),
        "clear_group_first_two": _mean([r["place"] <= 1 for r in clear]),
        "clear_group_size": _mean([r["size"] for r in clear]),
        "clear_pointed_rightly": _mean([r["pointed"] is True for r in clear]),
        "clear_pointed_wrongly": _mean([r["pointed"] is False for r in clear]),
        "faint_cannot_tell": _mean([r["pointed"] is None for r in faint]),
        "described_cannot_tell": _mean([r["pointed"] is None for r in described]),
        "stated_mean_and_true_share_by_fifth": fifths, "by_cause": per_cause,
        "confusion_of_clear_pairs": confusion(clear),
    }  # fmt: skip


def confusion(rows):
    """Return for each true cause how often which one came first."""
    table = {}
    for r in rows:
        own = table.setdefault(r["cause"], {})
        own[r["top"]] = own.get(r["top"], 0) + 1
    return table


def compact(rows):
    """Return cause, d′, p, place of its group, what was pointed to, and what came first, a list a pair."""
    return [[r["cause"], round(r["d"], 3), round(r["p"], 5), r["place"], r["pointed"], r["top"]] for r in rows]


def _mean(values):
    return float(np.mean(values)) if values else None


def information(bench, pairs, seed=4000):
    """Return the expected information of the top-ranked measurement and what it then told, in the linear twin."""
    active = bench.effects.on(bench.model)
    told, expected = [], []
    names = [*(c.name for c in bench.causes), DESCRIBED, UNLISTED]
    for k in range(pairs):
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
        one, parts = best
        member = told_by(parts, shown_next(parts, c, rng), len(names))
        told.append(one.entropy - float(special.entr(member).sum()))
        expected.append(one.nats)
    expected, told = np.array(expected), np.array(told)
    return {
        "pairs": pairs, "expected_nats": float(expected.mean()), "realised_nats": float(told.mean()),
        "ratio": float(told.mean() / expected.mean()), "error_of_realised": float(told.std(ddof=1) / np.sqrt(pairs)),
    }  # fmt: skip


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
    """Return how far a departure's effect with other inputs is from its effect at the centres, relative to it."""
    rows = {}
    active = bench.effects.on(bench.model)
    for c, cause in enumerate(bench.causes):
        for way in cause.ways:
            if not isinstance(way, Departure):
                continue
            effect = next(e for e in active if e.cause == c and e.told == way.told)
            off = []
            size = min(cause.size.si, effect.edges[-1])
            straight = np.array([np.interp(size, effect.edges, column) for column in effect.shifts.T])
            for k in range(draws):
                samples = drawn_for(bench, seed + k, 1)
                true = (solved(bench, samples, way, size) - solved(bench, samples))[0]
                off.append(np.linalg.norm(true - straight) / np.linalg.norm(straight))
            rows[f"{cause.name}, {way.told}".rstrip(", ")] = [
                float(np.sqrt(np.mean(np.square(off)))),
                float(np.linalg.norm(straight) / np.sqrt(np.count_nonzero(straight))),
            ]
            break
    return {"relative_rms_and_effect_K": rows, "worst": max(v[0] for v in rows.values())}


def as_text(result):
    """Return a result as JSON, its rows a line each."""
    rows = result.pop("rows", None)
    text = json.dumps(result, indent=1, ensure_ascii=False)
    if rows is not None:
        lines = ",\n".join("  " + json.dumps(row, ensure_ascii=False) for row in rows)
        text = text.removesuffix("\n}") + ',\n "rows": [\n' + lines + "\n ]\n}"
    return text + "\n"


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("what", choices=["none", "planted", "twin", "information", "neglect"])
    ask.add_argument("--pairs", type=int, default=200)
    ask.add_argument("--draws", type=int, default=0)
    ask.add_argument("--bad-mounts", action="store_true")
    ask.add_argument("--clear", action="store_true")
    asked = ask.parse_args()
    warnings.simplefilter("ignore", ThermostackWarning)
    started = time.time()
    bench = Bench()
    if asked.what == "planted":
        rows = planted(bench, asked.pairs, bad_mounts=asked.bad_mounts, draws=asked.draws, clear=asked.clear)
        result = summary(bench, rows) | {"rows": compact(rows)}
    elif asked.what == "twin":
        rows = twin(bench, asked.pairs, clear=asked.clear)
        result = summary(bench, rows) | {"rows": compact(rows)}
    elif asked.what == "neglect":
        result = neglect(bench)
    else:
        result = {"none": none, "information": information}[asked.what](bench, asked.pairs)
    result |= {"what": asked.what, "asked": vars(asked), "seconds": time.time() - started}
    name = asked.what + ("_clear" if asked.clear else "") + ("_bad_mounts" if asked.bad_mounts else "")
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / f"check_{name}.json").write_text(as_text(result))
    print(json.dumps({key: value for key, value in result.items() if key != "rows"}, indent=1))


if __name__ == "__main__":
    main()
