"""Evidence of causes in a check against nested sampling by a well-kept library: dynesty (Speagle 2020, MNRAS 493, 3132).

The part is invented: a die (of copper, whose conductivity hardly changes), a joint and a plate of one footprint, so that
what its sensor shows is the sum of resistances, written here once more by hand. Lognormal resistances make it far from straight. dynesty
integrates over all inputs and the size of the cause; the check integrates the size in closed form.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from dynesty import NestedSampler
from scipy import special

import thermostack as ts
from thermostack.checking import Cause, Departure, Misreading, with_extra_resistance
from thermostack.checking.besides import Besides
from thermostack.checking.effect import effects_of
from thermostack.checking.evidence import evidence_of
from thermostack.checking.scored import Scored
from thermostack.states import State, states_model

A = 15e-3 * 15e-3
DIE, PLATE = 0.7e-3 / 390.0, 3e-3 / 390.0
COOLANT = 299.15


def read(temperature, **labels):
    return ts.Reading.of(
        {"die": f"{temperature} degC (sd 0.3 K)"}, power="150 W (sd 2 W)", coolant="26 degC (sd 0.1 K)", **labels
    )


@pytest.fixture(scope="module")
def bench():
    """Two mounts after liquid metal took the place of paste, and one before; readings to be put in later."""
    square = ("15 mm", "15 mm")
    before = ts.Stack(
        "invented part, even all through",
        dies=[ts.Die("die", "copper", "0.7 mm", footprint=square, power="150 W", conductivity="390 W/m/K",
                     joint=ts.Interface("paste", "ceramic paste"))],
        layers=[ts.Layer("cold plate", "copper", "3 mm", footprint=square, conductivity="390 W/m/K")],
        coolant=ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"),
    )  # fmt: skip
    after = before.replace("paste", ts.Interface("gap filler", "ceramic paste")).named("filled anew")
    model = states_model(
        [
            State(before, read(75, source="b")),
            State(after, read(73, source="a1", mount="1"), read(73, source="a2", mount="2")),
        ],
        "one-dimensional",
    )  # fmt: skip
    thick = Cause(
        "thick", "x", size="8 mm^2*K/W", largest="40 mm^2*K/W", source="invented",
        ways=(Departure("before", lambda stack, r: with_extra_resistance(stack, "paste", r)),),
    )  # fmt: skip
    meter = Cause("meter", "x", size="6 %", largest="30 %", source="invented", two_sided=True,
                  ways=(Misreading("after", "power"),))  # fmt: skip
    bad = Cause(
        "bad mount", "x", size="12 mm^2*K/W", largest="60 mm^2*K/W", source="invented", chance=1 / 8,
        ways=tuple(
            Departure("after", lambda stack, r: with_extra_resistance(stack, "gap filler", r), m, m) for m in ("1", "2")
        ),
    )  # fmt: skip
    effects = effects_of(model, [thick, meter, bad])
    return model, Scored(model), effects.on(model)


ORDER = (
    "paste.resistance", "paste.mount", "coolant.conductance", "gap filler.resistance",
    "gap filler.mount (filled anew, mount 1)", "gap filler.mount (filled anew, mount 2)",
)  # fmt: skip


def shown(z):
    """Return what the sensor shows in each reading (3,) for scores of all inputs, by hand. [K]"""
    r_paste = 8e-6 * math.exp(z[0] * math.log(1.5077) + 0.1 * z[1])
    film = math.exp(-z[2] * math.log(1.2)) / 35e3
    filler = 8e-6 * math.exp(z[3] * math.log(1.5077))
    joints = np.array([r_paste, filler * math.exp(0.1 * z[4]), filler * math.exp(0.1 * z[5])])
    return COOLANT - 0.1 * z[7::2] + (150.0 - 2.0 * z[6::2]) * (DIE + joints + PLATE + film) / A


def test_the_model_is_the_sum_of_resistances(bench):
    model, scored, _ = bench
    assert scored.latent.identities == tuple(v.identity for v in model.variables)
    assert tuple(v.path for v in model.variables)[:6] == ORDER
    rng = np.random.default_rng(0)
    for z in rng.normal(size=(20, scored.latent.size)):
        y = shown(z)
        assert scored(z[None])[0] - COOLANT == pytest.approx(y - COOLANT, rel=1.5e-3), "copper conducts less when hot"


def nested(scored, observed, effect, besides, scale, seed):
    """Return ln evidence and its error by dynesty: scores of all inputs, the size, and what came besides."""
    J = scored.latent.size
    L = np.linalg.cholesky(scored.noise)
    constant = -0.5 * len(observed) * math.log(2 * math.pi) - float(np.sum(np.log(np.diag(L))))
    inverse = np.linalg.inv(L)
    cumulated = None if effect is None else np.concatenate([[0.0], np.cumsum(effect.masses[scale])])
    shares = np.cumsum(besides.shares)
    of_besides = [np.concatenate([[0.0], np.cumsum(e.masses[scale])]) for e in besides.effects]
    dimensions = J + (effect is not None) + 2 * bool(besides.effects)

    def transform(u):
        return np.concatenate([special.ndtri(u[:J]), u[J:]])

    def log_likelihood(x):
        y = shown(x[:J])
        left, rise = observed - y, y - COOLANT
        if effect is not None:
            size = np.interp(x[J], cumulated, effect.edges)
            left = left - [np.interp(size, effect.edges, column) for column in effect.starts(rise).T]
        if besides.effects:
            which = int(np.searchsorted(shares, x[-2]))
            if which:
                other = besides.effects[which - 1]
                size = np.interp(x[-1], of_besides[which - 1], other.edges)
                left = left - [np.interp(size, other.edges, column) for column in other.starts(rise).T]
        white = inverse @ left
        return constant - 0.5 * float(white @ white)

    sampler = NestedSampler(
        log_likelihood, transform, dimensions, nlive=250, sample="rwalk", rstate=np.random.default_rng(seed)
    )
    sampler.run_nested(dlogz=0.05, print_progress=False)
    return sampler.results.logz[-1], sampler.results.logzerr[-1]


@pytest.mark.parametrize(
    ("case", "shift", "scale"),
    [("described", (4.0, -1.0, 0.5), 1), ("meter", (0.0, -5.0, -5.0), 2),
     ("thick and a bad mount", (12.0, 9.0, -1.0), 1)],
)  # fmt: skip
def test_evidence_is_that_of_nested_sampling(bench, case, shift, scale):
    """As it is reported, within three standard errors; sizes as stated, or twice as large."""
    _, scored, (thick, meter, *bad) = bench
    observed = scored(np.zeros((1, scored.latent.size)))[0] + shift
    effect = {"described": None, "meter": meter}.get(case, thick)
    # known exactly: what dynesty is given has no noise of its own for it
    effect = effect and replace(effect, departs=False)
    besides = Besides(tuple(bad), (1 / 8, 1 / 8)) if "bad" in case else Besides()
    asked = [effect] if effect else []
    ours = evidence_of(scored, observed, asked, besides=[besides] * len(asked), draws=6000, seed=1)
    theirs, error = nested(scored, observed, effect, besides, scale, seed=2)
    total = math.hypot(error, ours.error[0])
    assert total < 0.3
    assert np.isfinite(ours.effective_size[0])
    assert ours.log_evidence[0, scale] == pytest.approx(theirs, abs=3 * total)
