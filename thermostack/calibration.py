"""Calibrate a stack on what was measured: the joint posterior of all its inputs."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .errors import InputError
from .inference import Posterior, Problem, posterior_of
from .measured.reading import Reading
from .prediction import DEFAULT_SOLVER
from .solvers.layered.solve import one_blas_thread
from .stack.learned import Learned
from .stack.stack import Stack
from .states import State, StatesModel, inputs_by_identity, states_model
from .tables import Cell, Column, Table, format_number
from .units import DIMENSIONS, Value, convert, unit_text

__all__ = ["calibrate", "problem_of"]

Float = NDArray[np.float64]

CONTRADICTION = 0.001
"""Chance below which readings are said to contradict the description, and nothing is calibrated."""


def problem_of(model: StatesModel) -> Problem:
    """Return what the readings of states say of their unknowns as a problem of inference."""
    return Problem(
        model.variables,
        model,
        model.observed,
        model.covariance,
        model_error=np.maximum(model.numerical_error, 1e-9),
        names=model.names,
    )


def calibrate(
    stack: Stack,
    *readings: Reading,
    draws: int = 4000,
    seed: int = 0,
    solver: str = DEFAULT_SOLVER,
    emulate: bool = True,
    even_if_contradicted: bool = False,
) -> Stack:
    """Calibrate a stack on readings of it.

    All inputs are moved together, each within what was known of it: none is forced to fit. What the readings cannot
    tell apart stays uncertain, tied together; ``stack.learned`` says so. A stack that was calibrated before is
    calibrated on all its readings together.

    Parameters
    ----------
    stack : Stack
        In the state in which it was read. Its power and coolant temperature come from the readings.
    *readings : Reading
        Of one state of the stack; they may differ in level and mount.
    draws : int
        From the posterior.
    seed : int
        The same seed gives the same figures.
    solver : str
    emulate : bool
        As in `predict`.
    even_if_contradicted : bool
        Calibrate also where readings and description contradict each other.

    Returns
    -------
    Stack
        The same, with the joint posterior for its inputs; mods of it keep what they do not make anew. Its ``learned``
        is a table of what moved, remembers the readings, and says what was not told apart.

    Raises
    ------
    InputError
        No reading, one that was used before, or readings that the description cannot explain: the message says by how
        much.
    UnknownNameError
        A reading has a sensor that nothing in the stack predicts.
    SolveError
        The posterior did not converge; the message says how far it got.
    """
    state = State(stack.uncalibrated, *readings)
    before = () if stack.learned is None else stack.learned.states
    used = [reading for old in before for reading in old.readings]
    for number, reading in enumerate(readings):
        if any(_same(reading, other) for other in (*used, *readings[:number])):
            raise InputError("it was calibrated on before", where=reading.source, expected="a reading not yet used")
    model = states_model(_joined(before, state), solver, emulate=emulate)
    with one_blas_thread():  # small matrices: threads would wait for one another, and the digits depend on them
        posterior = posterior_of(problem_of(model), draws=draws, seed=seed)
    conflict = posterior.conflict
    p = conflict.p if conflict.p > conflict.least_p else min(conflict.p, conflict.p_normal)
    if p < CONTRADICTION and not even_if_contradicted:
        raise InputError(
            f"readings and description contradict each other: {_in_words(posterior, model)}",
            where=stack.label,
            expected="wider or other inputs (see stack.inputs_table), or a reading that holds; "
            "even_if_contradicted=True calibrates nevertheless",
        )
    return replace(stack, learned=_learned(model, posterior.checked()))


def _same(one: Reading, other: Reading) -> bool:
    """Tell whether two readings are one, perhaps under other labels; typed ones may well agree to the last digit."""
    if one is other:
        return True
    windows = (one.source, one.start, one.window) == (other.source, other.start, other.window)
    return one.basis != "typed" and windows and np.array_equal(one.means, other.means)


def _joined(before: tuple[State, ...], new: State) -> tuple[State, ...]:
    """Return states with the readings of a new one, which may be further readings of one that is among them."""
    states = list(before)
    for number, old in enumerate(states):
        if old.stack == new.stack:  # labels of mounts count within a state
            states[number] = State(old.stack, *old.readings, *new.readings)
            return tuple(states)
    return (*before, new)


def _in_words(posterior: Posterior, model: StatesModel) -> str:
    c = posterior.conflict
    worst = int(np.argmax(np.abs(c.standardised)))
    expected, read = (float(convert(x, "temperature")) for x in (c.expected[worst], model.observed[worst]))
    chance = f"p = {format_number(c.p, 2)}" if c.p > c.least_p else f"p about {c.p_normal:.1g}"
    return (
        f"{model.names[worst]} reads {read:.1f} °C where {expected:.1f} °C (sd {c.sd[worst]:.1f} K) was expected; "
        f"all {c.data} together lie {format_number(c.distance, 3)} standard deviations off ({chance})"
    )


def _learned(model: StatesModel, posterior: Posterior) -> Learned:
    runs = {v.path for each in model.measured for v in each.run}
    kept = [v for v in model.variables if v.path not in runs]
    draws = np.stack([posterior.samples[v.path] for v in kept], axis=1)
    known = inputs_by_identity(variant.stack for variant in model.variants)
    values: dict[str, Value] = {}
    for variable, x in zip(kept, draws.T, strict=True):
        prior = known[variable.identity].value if variable.identity in known else None
        values[variable.identity] = _as_value(x, variable.dimension, prior, variable.distribution.scale == "log")
    key = hashlib.blake2b(np.ascontiguousarray(draws).tobytes(), digest_size=8).hexdigest()
    return Learned(
        tuple(v.identity for v in kept), draws, values, model.states, posterior, _table(posterior, model, runs), key
    )


def _as_value(x: Float, dimension: str, prior: Value | None, lognormal: bool) -> Value:
    """Return draws as a value, in the unit in which it was written before."""
    dimension = dimension or "fraction"
    unit = DIMENSIONS[dimension].shown_in if prior is None else prior.unit
    zero, one = (Value(each, unit, dimension).si for each in (0.0, 1.0))
    median = (float(np.median(x)) - zero) / (one - zero)
    if lognormal:
        return Value(_short(median), unit, dimension, "lognormal", _short(math.exp(float(np.log(x).std(ddof=1)))))
    spread = float(x.std(ddof=1))
    sd = spread if DIMENSIONS[dimension].absolute else spread / (one - zero)
    return Value(_short(median), unit, dimension, "normal", _short(sd))


def _short(x: float) -> float:
    return float(f"{x:.6g}")


def _table(posterior: Posterior, model: StatesModel, runs: Iterable[str]) -> Table:
    """Return a row an input that was calibrated: before, after, and how far it moved."""
    scores = dict(zip(posterior.paths, posterior.scores_of_variables.T, strict=True))
    rows: list[tuple[Cell, ...]] = []
    for v in model.variables:
        if v.path in runs or v.path not in scores:
            continue
        places = [float(v.distribution.ppf(0.5)), *np.quantile(posterior.samples[v.path], [0.5, 0.025, 0.975])]
        shown = [float(convert(float(x), v.dimension)) if v.dimension else float(x) for x in places]
        y = scores[v.path]
        unit = unit_text(v.dimension) if v.dimension else ""
        rows.append((v.path, unit, *shown, float(y.mean()), 1.0 - float(y.std(ddof=1))))
    rows.sort(key=lambda row: -max(abs(float(row[6] or 0)), float(row[7] or 0)))
    columns = (
        Column("path", "input"),
        Column("unit", "unit"),
        Column("before", "median before"),
        Column("after", "median after"),
        Column("low", "95 % from"),
        Column("high", "to"),
        Column("moved", "moved [sd]", ".2f"),
        Column("narrowed", "narrowed by", ".2f"),
    )
    read = ", ".join(each.name for each in model.measured)
    notes = [
        f"calibrated on {len(model.measured)} readings ({read}), which no check of it may use again"
        if len(model.measured) > 1
        else f"calibrated on the reading {read}, which no check of it may use again",
        f"{len(posterior.scores)} draws, worth {posterior.effective_size:.0f} independent ones",
        f"readings and description: {_in_words(posterior, model)}",
        *model.assumed,
        *posterior.undetermined.sentences(),
    ]
    return Table(columns, tuple(rows), "What the readings taught", tuple(notes))
