"""An emulator of a model's response: a solver in a fraction of a millisecond a sample, with its error.

The influence matrix is exactly linear in the powers and smooth in all else. A few hundred solves over the box that the
variables span, with conductivities at every temperature that may be asked for, train a Gaussian process on the
coordinates of `features`, above a trend that is linear in them and in the one-dimensional resistances of all layers and
joints. The emulator is called as any solver, so the operating point (k(T), leakage, warm board), new power maps and
headroom are algebra on it.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.stats import qmc

from ..errors import InputError, SolveError, ThermostackWarning
from ..model import Model
from ..operating import operate
from ..solvers.graph import Arrays, Graph, Response, Solver
from ..solvers.layered.solve import one_blas_thread
from ..stack.stack import Stack
from .features import Features, features_of, take
from .kriging import Kriging, fit_kriging
from .variables import Variable

__all__ = ["Emulator", "emulator_of"]

Float = NDArray[np.float64]

STRETCH = 1.5
"""The design is spread by this factor wider than the variables, so that their tails are not extrapolated…"""
REACH = 5.0
"""…but no further than this many standard scores, which is where the box ends."""
INSIDE = 3.0
"""Held-out errors are stated for points within so many standard scores of every variable."""
POOL = 2048
LEAST = 64
GROWTH = 1.2
SHRINK = 0.5
"""The error is taken to shrink as this power of the kriging standard deviation: amid the design it falls more slowly
than the covariance promises, since the response is not quite as smooth as that."""
COVERED = 0.95
"""Share of the held-out errors of an output that its error estimate covers."""
FLOOR = 1e-6
"""Least error, as a share of the hottest probe of the source: rounding, and principal outputs that are left out."""
WARMTH = 2.0
"""Temperatures are covered up to this multiple of the rises at the centres, unless a hotter junction is asked for."""
CHUNK = 1024
"""Samples evaluated at once, so that what is between stays in the cache."""


@dataclass(frozen=True, eq=False)
class Emulator:
    """A solver for one model and the box of its variables. Made by `emulator_of`.

    Attributes
    ----------
    graph : Graph
        Of the model; no other is answered.
    features : Features
    kriging : Kriging
        Of influence and flow, side by side.
    error_scale : ndarray, shape (probes, sources)
        Error of the influence for unit kriging standard deviation. [K/W]
    least_error : ndarray, shape (probes, sources)
        Own error of the solver at the design (95 % of the points have less), and rounding. [K/W]
    held_out : float
        Worst error at points of the design that were left out and lie within ±3 standard scores, as a share of the
        hottest probe of the same source.
    held_out_rms : float
        Root of the mean square of the same.
    solves : int
        How many it was trained on.
    name : str
    lenient : bool
        Return NaN for samples outside the box instead of raising: for those who ask far into the tails, and give what
        is not answered no weight.
    """

    graph: Graph
    features: Features
    kriging: Kriging
    error_scale: Float
    least_error: Float
    held_out: float
    held_out_rms: float
    solves: int
    name: str
    lenient: bool = False

    def __call__(self, graph: Graph, arrays: Arrays) -> Response:
        """Return the response for every sample, with the error of emulator and solver together.

        Raises
        ------
        SolveError
            Another graph, or arrays outside the box; the message names what lies outside and by how much.
        """
        if graph is not self.graph and graph != self.graph:
            raise SolveError("emulator: it was built for another stack, or for other probes; build one for this model")
        x = self.features.of(arrays, lenient=self.lenient)
        trend = self.features.trend(arrays, x)
        shape = (len(graph.probes), len(graph.sources))
        outputs = np.empty((len(x), self.kriging.middle.size))
        spread = np.empty(len(x))
        with one_blas_thread():  # so that the digits do not depend on how many there are
            for start in range(0, len(x), CHUNK):
                rows = slice(start, start + CHUNK)
                outputs[rows], spread[rows] = self.kriging.predict(x[rows], trend[rows])
        if self.lenient:
            outputs[self.features.outside(x)] = np.nan
        cut = math.prod(shape)
        influence, flow = outputs[:, :cut], outputs[:, cut:]
        return Response(
            influence.reshape(-1, *shape),
            flow.reshape(-1, len(graph.contacts), len(graph.sources)),
            self.least_error + (spread**SHRINK)[:, None, None] * self.error_scale,
            self.name,
        )


@dataclass(frozen=True)
class _Request:
    """What an emulator is built from; equal requests share one."""

    stack: Stack
    graph: Graph
    centres: bytes
    variables: tuple[Variable, ...]
    solver: Solver
    size: int
    seed: int
    hottest: float | None
    target: float
    limit: float
    model: Model = field(compare=False)


def emulator_of(
    model: Model,
    variables: Sequence[Variable],
    *,
    solver: Solver,
    size: int = 300,
    seed: int = 0,
    hottest: float | None = None,
    target: float = 1e-3,
    limit: float = 2e-3,
) -> Emulator:
    """Return an emulator of a model over the box of its variables; built once and kept.

    Parameters
    ----------
    model : Model
        With all probes that will be wanted.
    variables : sequence of Variable
        What will be sampled or swept, with distributions that are at least as wide. Those that do not enter the
        response (powers, coolant temperature, sensors) cost nothing and may be left out.
    solver : Solver
        Trains it; must be hashable.
    size : int
        Largest number of solves. Fewer are used where they suffice for the target.
    seed : int
        Of the design: the same seed gives the same emulator.
    hottest : float, optional
        Hottest junction that will be asked for, such as the limit of a headroom. [K]
    target : float
        Solves are added until the held-out error is below this share of the hottest probe…
    limit : float
        …and the emulator is refused if it is still above this share when `size` is reached.

    Returns
    -------
    Emulator
        A solver for ``operate(model, emulator, values)``.

    Raises
    ------
    SolveError
        The held-out error is above the limit.
    InputError
        Numbers that make no sense, or spreads so wide that the design holds stacks that cannot be.
    """
    if not 0.0 < target <= limit:
        raise InputError(
            f"a target of {target:g} with a limit of {limit:g}", where="target", expected="0 < target <= limit"
        )
    if size < 2:
        raise InputError(f"{size} solves", where="size", expected="at least 2; a few hundred are usual")
    centre = model.arrays()
    centres = b"".join(np.ascontiguousarray(getattr(centre, name)).tobytes() for name in centre.__dataclass_fields__)
    return _build(
        _Request(model.stack, model.graph, centres, tuple(variables), solver, size, seed, hottest, target, limit, model)
    )


@lru_cache(maxsize=32)
def _build(asked: _Request) -> Emulator:
    model, solver = asked.model, asked.solver
    arrays, inside = _design(asked)
    features = features_of(model, arrays)
    least = _least(features)
    if asked.size < least:
        raise InputError(
            f"{asked.size} solves for {len(features.names)} independent directions",
            where="size",
            expected=f"at least {least}",
        )
    x = features.of(arrays)
    trend = features.trend(arrays, x)
    responses: list[Response] = []
    kriging, done, count = None, 0, least
    while True:
        responses.append(solver(model.graph, take(arrays, slice(done, count))))
        done = count
        with one_blas_thread():
            kriging, emulator = _fit(asked, features, x[:done], trend[:done], responses, inside[:done], kriging)
        if emulator.held_out <= asked.target or done == asked.size:
            break
        count = min(asked.size, math.ceil(GROWTH * done))
    if emulator.held_out > asked.limit:
        raise SolveError(
            f"{model.stack.name}: an emulator of {done} solves is still off by {100 * emulator.held_out:.2g} % of the "
            f"hottest rise (held-out points), above the limit of {100 * asked.limit:.2g} %; allow more solves (size=), "
            f"narrow the spread of what it is most curved in ({_most_curved(features, kriging)}), or solve directly"
        )
    return emulator


def _least(features: Features) -> int:
    """Return how many solves to begin with: three times the coefficients of the trend."""
    if not features.names:
        return 2
    return max(LEAST, 3 * (1 + len(features.names) + len(features.parts)))


def _design(asked: _Request) -> tuple[Arrays, NDArray[np.bool_]]:
    """Return the pool of design points, and which of them lie within ±3 standard scores."""
    model = asked.model
    acting = _acting(model, asked.variables)
    low, high = _temperatures(asked)
    points = qmc.Sobol(len(acting) + len(model.slabs), seed=asked.seed).random(POOL)
    score = np.clip(STRETCH * special.ndtri(np.clip(points[:, : len(acting)], 1e-12, 1 - 1e-12)), -REACH, REACH)
    warmth = points[:, len(acting) :]
    # the ends of every variable, cold and hot, so that they lie in the box; nothing is solved there
    ends = REACH * np.concatenate([np.eye(len(acting)), -np.eye(len(acting)), np.zeros((1, len(acting)))])
    score = np.concatenate([score, ends, ends])
    cold = np.zeros((len(ends), len(model.slabs)))
    warmth = np.concatenate([warmth, cold, 1.0 - cold])
    values = model.values({v.path: v.distribution.ppf(special.ndtr(score[:, j])) for j, v in enumerate(acting)})
    with warnings.catch_warnings():  # a design may reach beyond what a law holds for; who asks there is warned then
        warnings.simplefilter("ignore", ThermostackWarning)
        arrays = model.at_temperature(model.arrays(values), low + (high - low) * warmth)
    return arrays, np.all(np.abs(score) <= INSIDE, axis=1)


def _acting(model: Model, variables: Sequence[Variable]) -> list[Variable]:
    """Return the variables that enter the arrays."""
    at_centre, acting = model.arrays(), []
    for variable in variables:
        moved = model.arrays(model.values({variable.path: variable.distribution.ppf(np.array([0.3, 0.7]))}))
        fields = ((getattr(moved, name), getattr(at_centre, name)) for name in at_centre.__dataclass_fields__)
        if any(not np.array_equal(np.broadcast_to(b, a.shape), a) for a, b in fields):
            acting.append(variable)
    return acting


def _temperatures(asked: _Request) -> tuple[Float, Float]:
    """Return the lowest and highest mean temperature of each slab that is covered. [K]"""
    model = asked.model
    point = operate(model, asked.solver)
    faces = np.array([[model.probes["face", str(i), str(side)] for side in (0, 1)] for i in range(len(model.slabs))])
    rise = point.rise[0, faces].max(axis=1)
    coolant = np.array(
        [
            v.distribution.ppf(special.ndtr(np.array([-REACH, REACH])))
            for v in asked.variables
            if v.path == "coolant.temperature"
        ]
    )
    cold, warm = coolant[0] if len(coolant) else (point.coolant_at_rest[0], point.coolant_at_rest[0])
    warm = warm + (point.coolant - point.coolant_at_rest)[0]  # by what the described power warms a loop
    factor = WARMTH
    if asked.hottest is not None:
        factor = max(factor, 1.1 * (asked.hottest - cold) / float(point.junction_rise[0]))
    return np.full(len(rise), cold), warm + factor * rise


def _fit(
    asked: _Request,
    features: Features,
    x: Float,
    trend: Float,
    responses: list[Response],
    inside: NDArray[np.bool_],
    start: Kriging | None,
) -> tuple[Kriging, Emulator]:
    influence, flow, error = (
        np.concatenate([getattr(response, name) for response in responses]) for name in ("influence", "flow", "error")
    )
    n, shape = len(x), influence.shape[1:]
    hottest = np.abs(influence).max(axis=1)
    scale = np.concatenate([np.broadcast_to(hottest.mean(axis=0), shape).ravel(), np.ones(flow[0].size)])
    y = np.concatenate([influence.reshape(n, -1), flow.reshape(n, -1)], axis=1)
    kriging = fit_kriging(x, trend, y, scale, start)
    left, spread = kriging.left_out
    left = np.abs(left[:, : math.prod(shape)].reshape(influence.shape))
    shares = (left / hottest[:, None, :]).max(axis=(1, 2))
    shares = shares[inside] if inside.any() else shares
    error_scale = np.quantile(left / (spread**SHRINK)[:, None, None], COVERED, axis=0)
    return kriging, Emulator(
        asked.graph,
        features,
        kriging,
        error_scale,
        np.quantile(error, COVERED, axis=0) + FLOOR * hottest.mean(axis=0),
        float(shares.max()),
        float(np.sqrt(np.mean(shares**2))),
        n,
        f"emulator of {responses[0].solver}",
    )


def _most_curved(features: Features, kriging: Kriging | None) -> str:
    """Return the names of the directions with the shortest length scales."""
    assert kriging is not None
    return ", ".join(features.names[j] for j in np.argsort(-kriging.covariance.weights)[:3])
