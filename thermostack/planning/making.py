"""Make a plan: from two stacks and what is known of the bench."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from ..cautions import cautions
from ..checking import foresee
from ..errors import InputError
from ..measured.log import Log
from ..measured.reading import Reading
from ..prediction import DEFAULT_SOLVER, predict
from ..propagate.sampling import check_count
from ..stack.stack import Stack
from ..units import ValueLike, parse
from .holding import held_fixed
from .lengths import log_length, noise_of
from .mounts import mounts_of
from .power import trials
from .recording import what_to_record
from .result import Plan
from .soaking import soak_of

__all__ = ["plan"]

BENCH = "0.5 K"
"""Scatter from log to log of a careful bench, without the joints: 0.5 to 1.5 K are reported with them (assumed; *common
practice, no source*)."""
COUNTS = (1, 2, 3, 4, 5, 6, 8, 10)
SMALL = (1.0, 2.0)
"""Drops that are always looked at, beside the predicted one. [K]"""
SHARE = 1 / 3
"""Of a mount's scatter, what a log may add: 5 % on top."""
LEAST = 0.05
"""Below this a predicted drop is nothing to plan for. [K]"""


def plan(
    stack: Stack,
    mod_stack: Stack,
    *,
    drops: Sequence[ValueLike] | ValueLike | None = None,
    counts: Sequence[int] = COUNTS,
    log: Reading | Log | None = None,
    noise: ValueLike | None = None,
    correlation_time: ValueLike | None = None,
    bench: ValueLike | None = None,
    loop_volume: ValueLike | None = None,
    loop_conductance: ValueLike | None = None,
    within: ValueLike = "0.1 K",
    rank: bool = True,
    tests: int = 500,
    seed: int = 0,
    solver: str = DEFAULT_SOLVER,
) -> Plan:
    """Plan the test of a mod before it is made: mounts, logs, soak, what to hold fixed, what to record.

    Parameters
    ----------
    stack, mod_stack : Stack
        Before and after the mod.
    drops : value or sequence of values, optional
        Drops of the die's mean that are to be told from scatter, such as ``"3 K"``; by default the predicted one, 1 K
        and 2 K.
    counts : sequence of int
        Mounts of each state to look at.
    log : Reading or Log, optional
        A first log on this bench, which shows how long a log must be.
    noise, correlation_time : value, optional
        Of a steady log of die minus coolant: standard deviation of a row, integrated correlation time. Left out
        without a first log, 0.5 K and 20 s are assumed.
    bench : value, optional
        Scatter from log to log that no joint makes: coolant, power, placing. Left out, 0.5 K is assumed.
    loop_volume, loop_conductance : value, optional
        Coolant in the loop, and watts to the room per kelvin of the coolant above it; assumed where left out, shown
        so.
    within : value
        What counts as settled.
    rank : bool
        Rank what to record by what it is expected to tell (`checking.foresee`): takes some eight seconds more for a
        part with one sensor, twice that for four cores. Otherwise, and for the axisymmetric solver of necessity, the
        list stands in the order of common practice.
    tests : int
        Tests simulated for each number of mounts.
    seed : int
        The same seed gives the same figures.
    solver : {"one-dimensional", "axisymmetric", "layered"}

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        Something else than two stacks of one part that differ, a drop or noise that is not above zero, fewer than 50
        tests, counts that are no numbers of mounts, a seed that is no whole number.
    """
    for name, given in (("stack", stack), ("mod_stack", mod_stack)):
        if not isinstance(given, Stack):
            raise InputError(f"{type(given).__name__} is no stack", where=f"plan, {name}", expected="a Stack")
    if stack == mod_stack:
        raise InputError("the mod changes nothing", where="plan, mod_stack", expected="a stack that differs")
    if stack.name != mod_stack.name:
        raise InputError(
            f"these are two parts: {stack.name!r} and {mod_stack.name!r}", where="plan, mod_stack",
            expected="a mod of the stack, such as stack.replace(...)",
        )  # fmt: skip
    if isinstance(tests, bool) or not isinstance(tests, int) or tests < 50:
        raise InputError(f"{tests!r} tests", where="plan, tests", expected="an integer of at least 50")
    if not isinstance(rank, bool):
        raise InputError(f"{rank!r} is no answer", where="plan, rank", expected="True or False")
    numbers, seed = _counts(counts), check_count(seed, "plan, seed", least=0)
    spread = parse(BENCH if bench is None else bench, "temperature difference", "bench").si
    if spread < 0:
        raise InputError(f"{bench} is no scatter", where="bench", expected=f"such as '{BENCH}'")
    reading = log.steady() if isinstance(log, Log) else log
    wander = noise_of(reading, noise, correlation_time)
    # independent draws for the two states, and for the tests
    seeds = [int(word) for word in np.random.SeedSequence(seed).generate_state(3)]
    before, after = mounts_of(stack, solver, seeds[0]), mounts_of(mod_stack, solver, seeds[1])
    wanted = _drops(drops, before.rise - after.rise)
    scatter = [float(np.hypot(state.scatter, spread)) for state in (before, after)]
    if min(scatter) <= 0:
        raise InputError(
            "no joint is made anew by a class that scatters, and the bench adds nothing",
            where="bench",
            expected=f"the scatter from log to log, such as '{BENCH}'",
        )
    length = log_length(SHARE * min(scatter), wander)
    found = trials(
        before, after, wanted, numbers, bench=spread, reading=wander.uncertainty(length), number=tests, seed=seeds[2]
    )
    first, last = predict(stack, solver), predict(mod_stack, solver)
    foresight = foresee(stack, mod_stack, solver=solver, scatter=spread, seed=seed) if rank else None
    return Plan(
        before,
        after,
        wanted,
        found,
        spread,
        wander,
        length,
        soak_of(stack, first.point, volume=loop_volume, conductance=loop_conductance, within=within),
        held_fixed(stack, solver, min(wanted)),
        what_to_record(stack, foresight),
        cautions(mod_stack, last.temperatures, baseline=stack),
        tests,
        seed,
        {"bench": "as told" if bench is not None else "assumed; common practice, no source"},
    )


def _counts(given: Sequence[int]) -> tuple[int, ...]:
    numbers = list(given) if isinstance(given, Iterable) else []
    if not numbers or not all(isinstance(n, int) and not isinstance(n, bool) and 1 <= n <= 50 for n in numbers):
        raise InputError(f"{given!r}", where="plan, counts", expected="numbers of mounts from 1 to 50, such as (3, 5)")
    return tuple(sorted({*numbers}))


def _drops(given: Sequence[ValueLike] | ValueLike | None, predicted: float) -> tuple[float, ...]:
    if given is None:
        size = abs(predicted)
        return (size, *SMALL) if size >= LEAST else SMALL
    several: Sequence[Any] = given if isinstance(given, list | tuple) and not _is_pair(given) else [given]
    found = tuple(parse(one, "temperature difference", "drops").si for one in several)
    if not found or min(found) <= 0:
        raise InputError(f"{given!r}", where="drops", expected="drops above zero, such as '3 K'")
    return found


def _is_pair(given: Sequence[object]) -> bool:
    """Tell a value written as a pair, (3, "K"), from two values."""
    return len(given) == 2 and isinstance(given[0], int | float) and isinstance(given[1], str)
