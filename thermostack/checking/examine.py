"""Check a result: predicted against measured, what could explain it, and what to measure next."""

from __future__ import annotations

import html
import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from ..calibration import problem_of
from ..errors import InputError, ThermostackWarning
from ..inference import Posterior, posterior_of
from ..measured.reading import Reading
from ..measured.swapped import warn_if_swapped
from ..prediction import DEFAULT_SOLVER
from ..propagate.sampling import check_count
from ..solvers.layered.solve import one_blas_thread
from ..stack.stack import Stack
from ..states import State, StatesModel, states_model
from ..tables import Table, format_number
from ..units import ValueLike, parse
from .alone import Alone, alone_of, alone_table
from .cause import Cause
from .causes import DESCRIBED, UNLISTED, Causes, causes_of
from .contradiction import Contradiction, contradiction_in
from .effect import effects_of
from .evidence import DRAWS
from .listed import listed
from .predictive import Drawn, Given, drawn
from .ranking import NextMeasurements, next_measurements_of
from .scored import Scored
from .verdict import Drop, Verdict, drop_at, drops_table, hottest, verdict_on

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Check", "check"]

LEAKAGE = (0.001, 0.008)
"""By what share of the power a part's draw falls with each kelvin of cooling, by leakage (*common practice*). [1/K]"""


@dataclass(frozen=True, eq=False)
class Check:
    """What a check found. Made by `check`.

    Attributes
    ----------
    drawn : Drawn
        What was to be expected of all readings, jointly.
    verdict : Verdict
    seed : int
    own : tuple of Cause
        Causes of the user, besides those that are always asked about.
    """

    drawn: Drawn
    verdict: Verdict
    seed: int
    own: tuple[Cause, ...] = ()
    draws: int = DRAWS
    with_pairs: bool = False
    _cache: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def model(self) -> StatesModel:
        """What all sensors of all readings should show, as a function of all that is unknown."""
        return self.drawn.model

    @property
    def states(self) -> tuple[State, ...]:
        """The states, the baseline first."""
        return self.model.states

    @cached_property
    def drops(self) -> Table:
        """Both drops, sensor by sensor, their mean, and that of the sensor that was hottest before."""
        return drops_table(
            [drop_at(self.drawn, at, s) for at in ("equal power", "equal workload") for s in self._figures]
        )

    @property
    def _figures(self) -> list[str]:
        sensors = self.drawn.drops.sensors
        return ["mean"] if len(sensors) == 1 else ["mean", "hottest", *sensors]

    def drop(self, at: str = "equal power", sensor: str = "mean") -> Drop:
        """Return one drop: at "equal power" or "equal workload"; of a sensor, their "mean", or the "hottest" before."""
        return drop_at(self.drawn, at, sensor)

    @cached_property
    def contradiction(self) -> Contradiction:
        """How far all readings together lie from what was to be expected, and which stands out."""
        return contradiction_in(self.drawn)

    @cached_property
    def causes(self) -> Causes:
        """What could explain the readings, with probabilities."""
        with one_blas_thread():  # small matrices
            own = {cause.name for cause in self.own}  # in place of what is listed under its name
            effects = effects_of(self.model, (*(c for c in listed(self.model) if c.name not in own), *self.own))
            return causes_of(
                Scored(self.model),
                self.model.observed,
                effects,
                draws=self.draws,
                seed=self.seed,
                pairs=self.with_pairs,
            )

    @cached_property
    def posterior(self) -> Posterior:
        """Joint posterior of all inputs given all readings, were all as described; look at ``.converged``."""
        with one_blas_thread():
            return posterior_of(problem_of(self.model), seed=self.seed)

    @cached_property
    def moved(self) -> Table:
        """What the readings moved in the inputs, and by how much."""
        table = self.posterior.table("What the readings moved, were all as described")
        if self.posterior.converged:
            return table
        return replace(table, notes=("Not converged: these figures cannot be trusted.", *table.notes))

    @cached_property
    def alone(self) -> tuple[Alone, ...]:
        """For each input, the value that it would need to explain the measured drop by itself."""
        return alone_of(self.drawn, self.verdict.drop.measured)

    @property
    def alone_table(self) -> Table:
        """The same as a table, the nearest first."""
        return alone_table(self.alone, self.verdict.drop.measured, bool(self.drawn.learned))

    @cached_property
    def next_measurements(self) -> NextMeasurements:
        """What to measure next, by how much it is expected to tell."""
        with one_blas_thread():
            return next_measurements_of(self.causes, self.seed)

    @property
    def leakage(self) -> str:
        """What became of the power, in a sentence: leakage that fell, or another power."""
        model, drops = self.model, self.drawn.drops
        power = [
            sum(share * model.measured[i].reading.power for i, share in group.items())
            for group in (drops.before, drops.after)
        ]
        u = [
            math.sqrt(sum((share * model.measured[i].reading["power"][1]) ** 2 for i, share in group.items()))
            for group in (drops.before, drops.after)
        ]
        cooler = self.drop("equal workload").measured
        change = 1.0 - power[1] / power[0]
        error = math.hypot(u[0] * power[1] / power[0], u[1]) / power[0]
        told = f"The power went from {format_number(power[0], 5)} to {format_number(power[1], 5)} W"
        if abs(change) < 2 * error or abs(cooler) < 1e-6:
            return f"{told}: no change beyond what it is known to."
        share, spread = change / cooler, error / abs(cooler)
        low, high = LEAKAGE
        figure = f"{told}, {format_number(100 * share, 2)} % a kelvin (sd {format_number(100 * spread, 1)} %)"
        if low - 2 * spread <= share <= high + 2 * spread:
            return f"{figure}: taken as leakage, which is 0.1 to 0.8 % a kelvin, not as an error."
        usual = "leakage, which is 0.1 to 0.8 % a kelvin"
        if share < 0:
            way = "hotter" if cooler < 0 else "cooler"
            return f"{told} although the part ran {way}: that is not {usual}; load, clock or the power meter changed."
        if share < low:
            return f"{figure}: less than {usual}."
        return f"{figure}: more than {usual}; load, clock or the power meter changed."

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was found, in words."""
        hot = f"Hottest before was {hottest(self.drawn)}." if len(self.drawn.drops.sensors) > 1 else ""
        found = [*self.verdict.sentences, hot, self.leakage, str(self.contradiction), self.causes.conclusion]
        return tuple(text for text in (*found, *self.drawn.model.assumed) if text)

    def __str__(self) -> str:
        return "\n\n".join(
            ["\n".join(self.sentences), str(self.drops), str(self.causes.table), str(self.next_measurements)]
        )

    def _repr_html_(self) -> str:
        said = "".join(f"<p>{html.escape(text)}</p>" for text in self.sentences)
        return said + self.drops._repr_html_() + self.causes.table._repr_html_() + self.next_measurements._repr_html_()

    def to_dict(self) -> dict[str, Any]:
        """Return everything as plain data, SI."""
        return {
            "verdict": self.verdict.to_dict(),
            "drops": self.drops.to_dict(),
            "contradiction": self.contradiction.to_dict(),
            "leakage": self.leakage,
            "causes": self.causes.to_dict(),
            "alone": [each.to_dict() for each in self.alone],
            "next_measurements": self.next_measurements.to_dict(),
            "posterior": self.moved.to_dict() | {"converged": self.posterior.converged},
            "seed": self.seed,
            "samples": len(self.drawn.true),
        }

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the distribution of drops that was to be expected, and the measured drop with its interval."""
        from ..plots import verdict

        return verdict(self, ax=ax)


def check(
    *states: State | Stack,
    samples: int = 4000,
    seed: int = 0,
    level: str | None = None,
    resolve: ValueLike | None = None,
    causes: Sequence[Cause] = (),
    pairs: bool = False,
    draws: int = DRAWS,
    solver: str = DEFAULT_SOLVER,
    emulate: bool = True,
) -> Check:
    """Check a measured drop against what was to be expected of it.

    Each state is predicted at the power and coolant that were read, everything unknown drawn jointly: what before and
    after share is the same number in both.

    Parameters
    ----------
    *states : State
        The baseline with its readings, then the mod with its readings. In place of the baseline a calibrated stack may
        stand (or a mod of one, alone): its readings are then those it was calibrated on, and the test is *after, given
        before*.
    samples : int
        Draws of what was to be expected.
    seed : int
        The same seed gives the same figures.
    level : str, optional
        Power level whose readings are compared; by default the highest power of each mount.
    resolve : temperature difference, optional
        What must be resolved, such as ``"2 K"``: "explained" is only said if 95 % of what was to be expected lies
        within such a width. By default the expected drop itself.
    causes : sequence of Cause
        Of your own, besides those that are always asked about.
    pairs : bool
        Ask about two causes at once as well.
    draws : int
        Samples for the evidence of the causes; 0 leaves it at Laplace's approximation.
    solver, emulate
        As in `predict`.

    Returns
    -------
    Check

    Raises
    ------
    InputError
        No baseline, states of two parts, a reading that was calibrated on or is given twice, no reading of the level or
        of about one load, no common sensor, causes of one name; a solver that knows no places.
    UnknownNameError
        A reading has a sensor that nothing in its stack predicts.
    SolveError
        An emulator is refused, or too many samples have no operating point.

    Warns
    -----
    ThermostackWarning
        The readings before and after look swapped, or the states do.
    """
    count = check_count(samples, "samples", least=200)
    wanted = None if resolve is None else parse(resolve, "temperature difference", "resolve").si
    if wanted is not None and wanted <= 0:
        raise InputError(f"{resolve} resolves nothing", where="resolve", expected="a width above zero, such as '2 K'")
    if solver == "axisymmetric":
        raise InputError(
            "it knows no voids, nor corners of a die", where="check, solver", expected="'layered' or 'one-dimensional'"
        )
    own = _own(causes)
    ready, given = _ready(states)
    warn_if_swapped([r for state in ready[:-1] for r in state.readings], list(ready[-1].readings))
    _warn_if_undone(ready[0].stack, ready[-1].stack)
    model = states_model(ready, solver, emulate=emulate)
    found = drawn(model, count, check_count(seed, "seed", least=0), level=level, given=given)
    verdict = verdict_on(drop_at(found, "equal power", "mean"), wanted, given is not None)
    return Check(found, verdict, seed, own, check_count(draws, "draws", least=0), pairs)


def _own(causes: Sequence[Cause]) -> tuple[Cause, ...]:
    """Return the user's causes, checked."""
    expected = "causes=[Cause(...), ...]"
    if isinstance(causes, Cause | str) or not all(isinstance(each, Cause) for each in causes):
        raise InputError("causes that are no list of Cause", where="check, causes", expected=expected)
    names = [DESCRIBED, UNLISTED, *(each.name for each in causes)]
    for name in names[2:]:
        if names.count(name) > 1:
            raise InputError(f"two causes are named {name!r}", where="check, causes", expected="names of their own")
    return tuple(causes)


def _warn_if_undone(before: Stack, after: Stack) -> None:
    """Warn where the state before was made from the one after by a mod."""
    if len(before.edits) > len(after.edits) and before.edits[: len(after.edits)] == after.edits:
        warnings.warn(
            f"{before.label} was made from {after.label} by a mod, and yet stands first: are the states swapped?",
            ThermostackWarning,
            stacklevel=3,
        )


def _ready(given: Sequence[State | Stack]) -> tuple[tuple[State, ...], Given | None]:
    """Return the states in order, uncalibrated; and the readings they were calibrated on, with what those taught."""
    expected = "check(State(stack, before), State(mod, after))"
    for each in given:
        if not isinstance(each, State | Stack):
            raise InputError(f"{type(each).__name__} is no state", where="check", expected=expected)
    stacks = [each.stack if isinstance(each, State) else each for each in given]
    learned = [stack.learned for stack in stacks if stack.learned is not None]
    for stack, each in zip(stacks, given, strict=True):
        if isinstance(each, Stack) and stack.learned is None:
            raise InputError(
                "no reading of it", where=stack.label, expected="a State with readings, or a calibrated stack"
            )
    if len({each.key for each in learned}) > 1:
        raise InputError(
            "the states were calibrated differently", where="check", expected="mods of one calibrated stack"
        )
    used: tuple[State, ...] = learned[0].states if learned else ()
    states = [each for each in given if isinstance(each, State)]
    if not states or len(states) + bool(used) < 2:
        raise InputError(
            "no baseline" if states else "no reading after a mod",
            where="check",
            expected=f"{expected}: the baseline first",
        )
    for state in states:
        for reading in state.readings:
            if any(_same(reading, old) for before in used for old in before.readings):
                raise InputError(
                    "the stack was calibrated on it", where=f"{state.stack.label}: {reading.source}",
                    expected="a reading that was not used; the calibrated stack itself stands for those that were",
                )  # fmt: skip
    _check_used_once(states)
    known = [old.stack for old in used]
    if states[-1].stack.uncalibrated in known and any(s.stack.uncalibrated not in known for s in states[:-1]):
        raise InputError(
            "the state after the mod is the one that was calibrated, and a baseline is given besides",
            where=states[-1].stack.label,
            expected=f"{expected} of stacks as described, or a calibrated baseline and a mod of it",
        )
    merged: list[State] = list(used)
    for state in states:
        plain = state.stack.uncalibrated
        same = next((i for i, old in enumerate(merged) if old.stack == plain), None)
        if same is not None and state is not states[-1]:
            merged[same] = State(merged[same].stack, *merged[same].readings, *state.readings)
        else:
            merged.append(State(plain, *state.readings))
    names = dict.fromkeys(state.stack.name for state in merged)
    if len(names) > 1:
        raise InputError(
            f"these are two parts: {' and '.join(map(repr, names))}", where="check",
            expected="mods of one stack, such as stack.replace(...)",
        )  # fmt: skip
    if not learned:
        return tuple(merged), None
    if not isinstance(learned[0].posterior, Posterior):
        raise InputError(
            "its calibration holds no posterior", where=merged[0].stack.label, expected="ts.calibrate(...)"
        )
    readings = tuple(reading for state in used for _, group in state.mounts() for reading in group)
    return tuple(merged), Given(learned[0].posterior, readings)


def _check_used_once(states: Sequence[State]) -> None:
    """Refuse a reading that is given twice."""
    readings = [(state, reading) for state in states for reading in state.readings]
    for n, (state, reading) in enumerate(readings):
        for other, old in readings[:n]:
            if reading is old or (reading.window is not None and _same(reading, old)):
                raise InputError(
                    f"this reading is given twice, as one of {other.stack.label} too",
                    where=f"{state.stack.label}: {reading.source}",
                    expected="each reading once, with the stack and mount that it was taken on",
                )


def _same(a: Reading, b: Reading) -> bool:
    """Tell whether two readings are one: the same object, or the same figures from the same source."""
    if a is b:
        return True
    return (
        a.sensors == b.sensors and a.source == b.source and a.start == b.start and np.array_equal(a.means, b.means)
        and np.array_equal(a.covariance, b.covariance)
    )  # fmt: skip
