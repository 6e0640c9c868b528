"""Measurements that could be made next, as rows of the linear twin: what they would show, and what each cause adds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from ..measured.reading import Reading
from ..stack.parts import Layer
from ..states import Measured, State, StatesModel, states_model
from .cause import Departure, Misreading, Where, acts_on
from .causes import Causes
from .departed import UPPER
from .effect import Effect, unlisted
from .scored import EDGE, STEP, Scored

__all__ = ["Candidate", "candidates_of"]

Float = NDArray[np.float64]
When = Literal["possible now", "only before the mod", "needs a second part"]

HALF, IDLE_SHARE = 0.5, 0.1
"""Power of a second level, and at idle, as a share of the first."""
LONGER = 4.0
"""A longer log holds so many times as many independent rows."""
LID_PROBE, PROBE, METER, MICROMETER = 0.3, 0.1, 0.01, 5.0
"""Standard uncertainties: of a thermocouple on the lid [K], of a coolant probe calibrated beside another [K], of a
second power meter (share), of a micrometer [µm] (*common practice, no source*)."""
PRINT = 0.5
"""Of a contact print: what it shows of a cause, in standard deviations of its size (assumed)."""
FLOW, FLOW_ERROR = 0.7, 0.05
"""Conductance at a lower flow as a share, and to what share of its effect that is known."""
AGAIN = "not taken"
"""Mount label of a mount that was not made."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """A measurement that could be made, in the linear twin. Rows: what was read (D), then what would be (n).

    Attributes
    ----------
    name, takes, unit : str
    when : str
    base : ndarray, shape (D + n,)
        What is shown with all scores zero.
    slopes : ndarray, shape (D + n, scores)
    noise, unlisted : ndarray, shape (D + n, D + n)
        Covariances by noise, and by what is not listed.
    shifts : tuple of ndarray, shape (K + 1, D + n)
        For each effect.
    rows : tuple of int
        Which of the n rows tell most plainly, for words.
    """

    name: str
    takes: str
    when: When
    unit: str
    base: Float
    slopes: Float
    noise: Float
    unlisted: Float
    shifts: tuple[Float, ...]
    rows: tuple[int, ...]


def candidates_of(causes: Causes, *, planned: bool = False) -> tuple[Candidate, ...]:
    """Return the measurements that make sense for the states of a check.

    Parameters
    ----------
    causes : Causes
    planned : bool
        The mod is not made yet, nor any log taken: instruments and contact prints before it are possible too, what is
        read on the lid is in the same log, and no second part is asked about.
    """
    twin = _Twin(causes)
    if planned:
        return (*_readings(twin, planned), *_bench(twin, "before"), *_bench(twin, "after"), *_thicknesses(twin))
    return (*_readings(twin), *_bench(twin), *_thicknesses(twin), *_second_part(twin))


class _Twin:
    """What was read, straight about the most probable point, with the readings that could be taken beside it."""

    def __init__(self, causes: Causes) -> None:
        self.causes = causes
        scored, best = causes.scored, causes.ranked[0].linear
        self.model, self.active = scored.model, causes.active
        self.D = len(self.model.observed)
        self.z = dict(zip(scored.latent.identities, np.clip(best.z, -EDGE + STEP, EDGE - STEP), strict=True))
        self.asked = [*_asked(self.model)]
        self.wide = _with(self.model, [(state, reading) for _, state, reading, *_ in self.asked])
        self.scored = Scored(self.wide)
        self.point = np.array([self.z.get(name, 0.0) for name in self.scored.latent.identities])
        y, slopes = self.scored.linearised(self.point[None])
        self.base, self.slopes = y[0] - slopes[0] @ self.point, slopes[0]
        self.y = y[0]
        mounts = frozenset(each.mount for each in self.model.measured)
        self.effects = causes.effects.on(self.wide, mounts)
        last = len(self.model.states) - 1
        self.after = np.concatenate([np.full(len(each.probes), each.state == last) for each in self.wide.measured])
        self.sensor = [probe for each in self.wide.measured for probe in each.probes]
        self.own = np.concatenate([np.arange(r.start, r.stop) for r in self._rows_of_taken()])

    def _rows_of_taken(self) -> Iterator[slice]:
        for each in self.model.measured:
            yield self.rows_of(each.reading)

    def rows_of(self, reading: Reading) -> slice:
        return next(
            rows for each, rows in zip(self.wide.measured, self.wide.rows, strict=True) if each.reading is reading
        )

    def number_of(self, reading: Reading) -> int:
        return next(i for i, each in enumerate(self.wide.measured) if each.reading is reading)

    def extra(self, function: Callable[[Mapping[str, Float]], Float]) -> tuple[Float, Float]:
        """Return base (n,) and slopes (n, J) of a further function of samples that gives (S, n)."""
        J = len(self.point)
        z = self.point + np.concatenate([np.zeros((1, J)), STEP * np.eye(J), -STEP * np.eye(J)])
        y = function(self.scored.latent.values(np.clip(z, -EDGE, EDGE)))
        slopes = (y[1 : J + 1] - y[J + 1 :]).T / (2 * STEP)
        return y[0] - slopes @ self.point, slopes

    def candidate(
        self, name: str, takes: str, when: When, rows: Float, *, base: Float | None = None, slopes: Float | None = None,
        noise: Float | None = None, shifts: Callable[[Effect], Float] | None = None, unit: str = "K",
        tells: tuple[int, ...] | None = None, like: Like | None = None,
    ) -> Candidate:  # fmt: skip
        """Return a candidate of rows of `wide`, and of further rows with what they show and what effects add.

        `like` gives rise, state and sensor of the further rows, where what is not listed moves them as well.
        """
        n = 0 if base is None else len(base)
        index = np.concatenate([self.own, rows]).astype(int)
        plain = self.scored.noise[np.ix_(index, index)]
        chains = []
        for i, effect in enumerate(self.effects):
            further = np.zeros((len(effect.edges), n)) if shifts is None else shifts(self.active[i])
            chain = effect.starts(self.y - self.scored.coolant)
            chains.append(np.hstack([chain[:, index], further]))
        J = self.slopes.shape[1]
        return Candidate(
            name, takes, when, unit,
            np.concatenate([self.base[index], np.zeros(0) if base is None else base]),
            np.vstack([self.slopes[index], np.zeros((n, J)) if slopes is None else slopes]),
            linalg.block_diag(plain, np.zeros((0, 0)) if noise is None else noise),
            self._unlisted(index, n, like),
            tuple(chains),
            tuple(range(len(rows) + n)) if tells is None else tells,
        )  # fmt: skip

    def _unlisted(self, index: NDArray[np.intp], n: int, like: Like | None) -> Float:
        rise, sensor = (self.y - self.scored.coolant)[index], [self.sensor[i] for i in index]
        if like is None:
            return np.asarray(linalg.block_diag(unlisted(rise, self.after[index], sensor), np.zeros((n, n))))
        further, after, names = like
        state = np.concatenate([self.after[index], np.full(n, after)])
        return unlisted(np.concatenate([rise, further]), state, [*sensor, *names])


Like = tuple[Float, bool, tuple[str, ...]]
Asked = tuple[str, int, Reading, str, When]


def _asked(model: StatesModel) -> Iterator[Asked]:
    """Yield readings that could be taken: what they are for, state, reading, what it takes, when."""
    last = len(model.states) - 1
    places: tuple[tuple[int, When, str], ...] = ((last, "possible now", "after"), (0, "only before the mod", "before"))
    for state, when, word in places:
        mine = [each for each in model.measured if each.state == state]
        one = max(mine, key=lambda each: each.reading.power).reading
        levels = {each.reading.level for each in mine}
        source = f"{AGAIN}, {word}"

        def at(share: float, text: str, one: Reading = one, source: str = source) -> Reading:
            means = one.means.copy()
            means[:-2] = one.coolant + share * one.rise
            means[-2] *= share
            scale = np.ones(len(means))
            scale[-2] = share
            return replace(
                one,
                means=means,
                covariance=one.covariance * np.outer(scale, scale),
                level=text,
                source=source,
                flags=(),
            )

        yield (
            f"remount the cold plate, {word}", state,
            replace(one, mount=AGAIN, source=source, level=f"{one.level} again"),
            "new paste, the same load and soak; no other joint is opened", when,
        )  # fmt: skip
        if not any(each.reading.power < 0.7 * one.power for each in mine):
            yield (
                f"a second power level, {word}",
                state,
                at(HALF, f"half, {AGAIN}"),
                "half the load, the same soak",
                when,
            )
        if "idle" not in levels:
            yield f"idle, {word}", state, at(IDLE_SHARE, "idle"), "ten minutes without load", when
        yield (
            f"a longer log, {word}", state,
            replace(one, covariance=one.covariance / LONGER, level=f"{one.level} longer", source=source),
            f"{LONGER:.0f} times as long, probes and meter read anew", when,
        )  # fmt: skip


def _with(model: StatesModel, further: list[tuple[int, Reading]]) -> StatesModel:
    """Return the model of the same states with further readings."""
    states = [
        State(state.stack, *state.readings, *(reading for where, reading in further if where == i))
        for i, state in enumerate(model.states)
    ]
    return states_model(states, model.variants[0].solver, emulate=model.variants[0].emulator is not None)


def _readings(twin: _Twin, planned: bool = False) -> Iterator[Candidate]:
    """Yield what a further log would tell, as it is, with a thermocouple on the lid, and at another flow."""
    for name, state, reading, takes, when in twin.asked:
        rows = twin.rows_of(reading)
        yield twin.candidate(name, takes, when, np.arange(rows.start, rows.stop))
        if not name.startswith("a longer log"):
            continue
        word = name.rpartition(", ")[2]
        number = twin.number_of(reading)
        lid = next((e for e in twin.wide.states[state].stack.layers[:-1] if isinstance(e, Layer)), None)
        if lid is not None:
            title = f"a thermocouple on the {lid.name}, {word}"
            if planned:
                own = next(i for i, each in enumerate(twin.wide.measured) if each.state == state)
                yield _lid(twin, title, own, lid.name, when, slice(0, 0), "in the same log")
            else:
                yield _lid(twin, title, number, lid.name, when, rows)
        if "coolant.conductance" in {u.variable.path for u in twin.wide.unknowns}:
            yield _flow(twin, f"a lower flow, {word}", number, when, rows)


def _lid(
    twin: _Twin, name: str, number: int, lid: str, when: When, rows: slice,
    log: str = "the same load and soak, logged again",
) -> Candidate:  # fmt: skip
    each = twin.wide.measured[number]

    def shown(samples: Mapping[str, Float]) -> Float:
        point = twin.wide.point(samples, number, *twin.wide.true(samples, number))
        slab = next(i for i, s in enumerate(point.model.slabs) if s.part.name == lid)
        return np.asarray((point.coolant + point.probe("face", str(slab), "1"))[:, None])

    last = len(twin.model.states) - 1

    def shifts(effect: Effect) -> Float:
        c = effect.cause
        ways = twin.causes.effects.causes[c].ways
        w = [i for i, e in enumerate(twin.active) if e.cause == c].index(twin.active.index(effect))
        way = ways[w]
        out = np.zeros((len(effect.edges), 1))
        if not acts_on(way, each, last):
            return out
        if isinstance(way, Departure):
            column = twin.causes.effects.sensors[each.state].index(UPPER + lid)
            out[:, 0] = twin.causes.effects.excess[c, w, each.state](effect.edges, each.reading.power)[:, column]
        elif way.of == "power":
            out[:, 0] = (1.0 / (1.0 + effect.edges) - 1.0) * (rise - each.reading.coolant)
        elif way.of == "coolant":
            out[:, 0] = -effect.edges
        return out

    base, slopes = twin.extra(shown)
    rise = float(base[0] + slopes[0] @ twin.point)
    return twin.candidate(
        name, f"a thin thermocouple in a groove; {log}", when,
        np.arange(rows.start, rows.stop), base=base, slopes=slopes, noise=np.array([[LID_PROBE**2]]), shifts=shifts,
        tells=(rows.stop - rows.start,),
        like=(np.array([rise - each.reading.coolant]), each.state == last, (UPPER + lid,)),
    )  # fmt: skip


def _flow(twin: _Twin, name: str, number: int, when: When, rows: slice) -> Candidate:
    """Return a log at a lower flow: it tells the coolant's side from the joints."""
    model = twin.wide

    def shown(samples: Mapping[str, Float]) -> Float:
        less = {**samples, "coolant.conductance": samples["coolant.conductance"] * FLOW}
        return model.sensed(less, number, model.point(less, number, *model.true(less, number)))

    base, slopes = twin.extra(shown)
    index = np.arange(rows.start, rows.stop)
    more = base + slopes @ twin.point - twin.y[index]
    own = model.covariance[np.ix_(index, index)]
    order = {id(effect): i for i, effect in enumerate(twin.active)}

    def shifts(effect: Effect) -> Float:
        wide = twin.effects[order[id(effect)]]
        chain = wide.starts(twin.y - twin.scored.coolant)
        return chain[:, index]

    return twin.candidate(
        name, "pump or valve down to a known flow, the same load and soak", when, np.zeros(0), base=base, slopes=slopes,
        noise=own + FLOW_ERROR**2 * np.outer(more, more) + 1e-6 * np.eye(len(index)), shifts=shifts,
        like=(base + slopes @ twin.point - twin.scored.coolant[index], bool(twin.after[index[0]]),
              tuple(twin.sensor[i] for i in index)),
    )  # fmt: skip


def _bench(twin: _Twin, word: str = "") -> Iterator[Candidate]:
    """Yield what instruments tell of single inputs and causes, before the mod or after it (and then of what is now)."""
    J = len(twin.point)
    ways = [way for cause in twin.causes.effects.causes for way in cause.ways]
    by_effect = {id(effect): way for effect, way in zip(twin.active, ways, strict=True)}
    now: tuple[Where, ...] = ("before" if word == "before" else "after", "both")
    when: When = "only before the mod" if word == "before" else "possible now"
    suffix = f", {word}" if word else ""
    first = twin.model.measured[0 if word == "before" else -1]

    def error_of(instrument: str) -> Callable[[Effect], Float]:
        def shifts(effect: Effect) -> Float:
            way = by_effect[id(effect)]
            if not isinstance(way, Misreading) or way.of != instrument or way.where not in now:
                return np.zeros((len(effect.edges), 1))
            return effect.edges[:, None] * _share(way, first)

        return shifts

    nothing = np.zeros(0)
    gain_base, gain = np.zeros(1), np.zeros((1, J))
    if "power.gain" in twin.wide.common:
        gain_base, gain = twin.extra(lambda samples: np.asarray(samples["power.gain"])[:, None])
    yield twin.candidate(
        f"a second coolant probe beside the first{suffix}", "a probe calibrated together with it in stirred water",
        when, nothing, base=np.zeros(1), slopes=np.zeros((1, J)), noise=np.array([[PROBE**2]]),
        shifts=error_of("coolant"),
    )  # fmt: skip
    yield twin.candidate(
        f"a second power meter{suffix}", "a clamp meter on the supply, times the converter's efficiency", when, nothing,
        base=gain_base, slopes=gain, noise=np.array([[METER**2]]), shifts=error_of("power"), unit="of the power",
    )  # fmt: skip

    def off(effect: Effect) -> Float:
        return error_of("sensors")(effect) - error_of("coolant")(effect)

    yield twin.candidate(
        f"power off, coolant running: sensors against coolant{suffix}",
        "standby readings of the sensors after half an hour", when, nothing, base=np.zeros(1),
        slopes=_offsets(twin, first.reading),
        noise=np.array([[LID_PROBE**2]]), shifts=off,
    )  # fmt: skip
    opened: tuple[Where, ...] = ("before",) if word == "before" else now  # what a mod leaves as it was stays closed
    yield from _prints(twin, by_effect, opened, when, suffix)


def _share(way: Misreading, each: Measured) -> float:
    """Return the share of a reading's sensors that misread."""
    if not way.sensors:
        return 1.0
    return float(
        np.mean([{s, p} & set(way.sensors) != set() for s, p in zip(each.reading.sensors, each.probes, strict=True)])
    )


def _thicknesses(twin: _Twin) -> Iterator[Candidate]:
    """Yield what a micrometer tells of dies."""
    for die in twin.model.states[-1].stack.dies:
        path = f"{die.name}.thickness"
        if path in {u.variable.path for u in twin.wide.unknowns}:
            base, slopes = twin.extra(lambda samples, path=path: 1e6 * np.asarray(samples[path])[:, None])  # type: ignore[misc]
            yield twin.candidate(
                f"thickness of the {die.name} by micrometer", "the part out of the socket, its lid off", "possible now",
                np.zeros(0), base=base, slopes=slopes, noise=np.array([[MICROMETER**2]]), unit="µm",
            )  # fmt: skip


def _offsets(twin: _Twin, reading: Reading) -> Float:
    """Return slopes of the mean error that the sensors share, at the coolant's temperature."""

    def off(samples: Mapping[str, Float]) -> Float:
        total = np.zeros((len(next(iter(samples.values()))), 1))
        for sensor in reading.sensors:
            offset, slope, pivot = (
                twin.wide.shared(samples, f"{sensor}.{kind}") for kind in ("offset", "slope", "pivot")
            )
            total[:, 0] += (offset + slope * (reading.coolant - pivot)) / len(reading.sensors)
        return total

    return twin.extra(off)[1]


def _prints(
    twin: _Twin, by_effect: Mapping[int, Departure | Misreading], now: tuple[Where, ...], when: When, suffix: str
) -> Iterator[Candidate]:
    """Yield contact prints of the joints that are there then: what a cause left to be seen."""
    J = len(twin.point)
    joints = dict.fromkeys(
        way.joint for way in by_effect.values() if isinstance(way, Departure) and way.joint and way.where in now
    )
    sizes = [cause.size.si for cause in twin.causes.effects.causes]
    takes = "photograph both faces when the joint is opened"
    if when == "possible now":
        takes = "opens the joint, which is then made anew: photograph both faces"
    for joint in joints:

        def shifts(effect: Effect, joint: str = joint) -> Float:
            way = by_effect[id(effect)]
            seen = isinstance(way, Departure) and way.joint == joint and way.where in now
            return effect.edges[:, None] / sizes[effect.cause] * float(seen)

        yield twin.candidate(
            f"contact print of the {joint}{suffix}", takes, when, np.zeros(0), base=np.zeros(1),
            slopes=np.zeros((1, J)), noise=np.array([[PRINT**2]]), shifts=shifts, unit="usual sizes",
        )  # fmt: skip


def _second_part(twin: _Twin) -> Iterator[Candidate]:
    """Yield the same mod on another part of the kind: what is of the bench or of the kind is there again."""
    own, D = twin.own, twin.D
    slopes = twin.slopes[own]
    J = slopes.shape[1]
    last = len(twin.model.states) - 1
    tied = {id(effect): way for effect, way in zip(
        twin.active, (way for cause in twin.causes.effects.causes for way in cause.ways), strict=True)}  # fmt: skip

    def shifts(effect: Effect) -> Float:
        i = next(k for k, each in enumerate(twin.active) if each is effect)
        wide = twin.effects[i]
        chain = wide.starts(twin.y - twin.scored.coolant)
        return chain[:, own] * float(tied[id(effect)].tied == "bench")

    # all inputs are another part's: independent of this one's, so that they count as noise
    noise = slopes @ slopes.T + twin.scored.noise[np.ix_(own, own)]
    central = twin.scored(np.zeros((1, J)))[0][own]
    rows = [i for i, each in enumerate(twin.model.measured) if each.state == last]
    tells = tuple(k for i in rows for k in range(twin.model.rows[i].start, twin.model.rows[i].stop))
    yield twin.candidate(
        "the same mod on a second part", "a part of the same kind, read before and after in the same way",
        "needs a second part", np.zeros(0), base=central, slopes=np.zeros((D, J)), noise=noise, shifts=shifts,
        tells=tells,
    )  # fmt: skip
