"""From a log to a steady reading, or a refusal that says what is missing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..units import Value, ValueLike, parse
from .blocks import Blocks
from .changes import gaps, level_changes
from .chosen import Columns, choose
from .faults import clock_drops, limits, not_fixed, stuck_in
from .flags import Flag, Kind, SteadyError, lasting
from .log import Log
from .mean import BLOCKS, covariance_of_mean
from .reading import IDLE, Reading, common_inputs
from .resolution import bias_seen
from .window import COOLANT_TOLD, STARTS, Judgement, judge

__all__ = ["steady", "steady_levels"]

POWER_STEP, POWER_LEAST, JUMP = 0.05, 3.0, 1.0
"""A lasting change of power that ends a window, as a share of the highest level and at least in W; and one of a sensor
against the coolant [K] (*common practice, no source*)."""
FEWEST_ROWS = 32
_NOT_FIXED: dict[str, Kind] = {"fan": "fan not fixed", "pump": "pump not fixed", "clock": "clock not fixed"}
WindowLike = tuple[ValueLike, ValueLike]


@dataclass(frozen=True)
class _Part:
    """A stretch between two changes, and the window in it, if there is one."""

    start: float
    end: float
    power: float
    window: tuple[float, float] | None
    verdict: Judgement


def steady(
    log: Log, *, soak: ValueLike = "3 min", window: WindowLike | None = None, power: ValueLike | None = None,
    coolant: ValueLike | None = None, resolution: Mapping[str, ValueLike] | None = None, truncating: Iterable[str] = (),
    common: Mapping[str, ValueLike] | None = None, level: str = "", mount: str = "",
) -> Reading:  # fmt: skip
    """Return the steady reading of a log, at its highest power.

    Die minus coolant is looked at, which settles in seconds while the coolant takes many minutes. The log is cut where
    the power or a sensor changes its level and where recording paused; of each part the soak is left out, and the
    longest rest to the part's end that neither drifts nor wanders is the window.

    Parameters
    ----------
    log : Log
    soak : value
        What is left out after each change, and at the start. A window lasts at least as long. [time]
    window : pair of values, optional
        From and to, since the first row of the log: taken instead of the one that is found. What the tests say of it
        becomes flags. [time]
    power, coolant : str or value, optional
        Name of the column, needed where several have the role; or a value with its uncertainty, where none was logged.
        Without a coolant, the ambient column stands for it.
    resolution : mapping of str to value, optional
        Step of sensors (and ``"coolant"``) by name; otherwise it is taken from the values.
    truncating : iterable of str, optional
        Sensors (or ``"coolant"``) that cut off what is below a step; their means are raised by half a step.
    common : mapping of str to value, optional
        Inputs that all readings of the part share; see `Reading`.
    level, mount : str, optional
        Labels of the reading.

    Returns
    -------
    Reading

    Raises
    ------
    SteadyError
        No part of the log is steady; the message says what is missing, `flags` what was noticed.
    InputError
        A column that is missing or not unique, power zero, a sensor below the coolant under load, a window outside the
        log or shorter than the soak.
    """
    columns = choose(log, power, coolant, resolution, truncating)
    shared = common_inputs(common, columns.sensors)
    seconds = _seconds(soak, "soak")
    if window is not None:
        part, own = _by_hand(columns, window, seconds)
        return _reading(columns, part, own, shared, level, mount)
    parts, noticed = _parts(columns, seconds)
    highest = max(part.power for part in parts)
    loaded = [part for part in parts if part.power >= 0.5 * highest]
    found = [part for part in loaded if part.window is not None]
    if not found:
        raise _refusal(columns, max(loaded, key=lambda part: part.end - part.start), seconds, noticed)
    return _reading(columns, max(found, key=_length), noticed, shared, level, mount)


def steady_levels(
    log: Log, *, soak: ValueLike = "3 min", power: ValueLike | None = None, coolant: ValueLike | None = None,
    resolution: Mapping[str, ValueLike] | None = None, truncating: Iterable[str] = (),
    common: Mapping[str, ValueLike] | None = None, mount: str = "",
) -> tuple[Reading, ...]:  # fmt: skip
    """Return a reading of every steady part of a log, in the order of time, with the power as its level.

    Parameters and errors are those of `steady`. Parts at powers within 5 % of the highest share a level; of them the
    longest is returned.
    """
    columns = choose(log, power, coolant, resolution, truncating)
    shared = common_inputs(common, columns.sensors)
    seconds = _seconds(soak, "soak")
    parts, noticed = _parts(columns, seconds)
    found = sorted((part for part in parts if part.window is not None), key=_length, reverse=True)
    if not found:
        raise _refusal(columns, max(parts, key=lambda part: part.end - part.start), seconds, noticed)
    near = POWER_STEP * max(part.power for part in parts)
    kept: list[_Part] = []
    for part in found:
        if all(abs(part.power - other.power) > near for other in kept):
            kept.append(part)
    return tuple(
        _reading(columns, part, noticed, shared, "idle" if part.power < IDLE else f"{part.power:.0f} W", mount)
        for part in sorted(kept, key=lambda part: part.start)
    )


def _length(part: _Part) -> float:
    return part.window[1] - part.window[0] if part.window else 0.0


def _seconds(value: ValueLike, where: str) -> float:
    seconds = parse(value, "time", where).si
    if seconds <= 0:
        raise InputError(f"{value} is no duration", where=where, expected="such as '3 min'")
    return seconds


# -- parts of a log


def _parts(columns: Columns, soak: float) -> tuple[list[_Part], list[Flag]]:
    """Return the stretches between changes, each with its window, and what was noticed in the whole log."""
    log = columns.log
    cells = columns.cells
    means = cells.means
    cold = means[columns.row("coolant")] if isinstance(columns.coolant, np.ndarray) else 0.0
    flags, breaks = gaps(log.time)
    flags = [*columns.flags, *flags, *limits(log)]
    steps: list[float] = []
    if isinstance(columns.power, np.ndarray):
        watts = means[columns.row("power")]
        highest = float(np.nanquantile(watts, 0.98))
        if highest <= 0:
            raise InputError(
                "power is zero throughout",
                where=f"{log.source}.{columns.power_name}",
                expected="the power of the package",
            )
        for when, change in level_changes(cells.time, watts, soak / 2, max(POWER_STEP * highest, POWER_LEAST)):
            steps.append(when)
            flags.append(
                Flag("power step", f"power changes by {change:+.3g} W", when, when, columns.power_name, "note")
            )
    jumps: list[float] = []
    for name, own in zip(columns.sensors, means, strict=False):
        for when, change in level_changes(cells.time, own - cold, soak / 6, max(JUMP, 2 * columns.step.get(name, 0.0))):
            if all(abs(when - step) > soak for step in (log.time[0], *steps, *breaks)):
                jumps.append(when)
                text = f"{name} jumps by {change:+.2g} K against the coolant, and the power does not"
                flags.append(Flag("jump", text, when, when, name))
    edge = 2 * cells.width
    bounds = sorted({float(log.time[0]), *steps, *breaks, *jumps})
    ends = [*(bound - (0.0 if bound in breaks else edge) for bound in bounds[1:]), math.inf]
    parts = []
    for start, end in zip(bounds, ends, strict=True):
        rows = _rows(log.time, start, end)
        if rows.stop - rows.start >= 2:
            parts.append(_part(columns, rows, soak))
    return parts, flags


def _rows(time: NDArray[np.float64], start: float, end: float) -> slice:
    first, last = np.searchsorted(time, [start, end])
    return slice(int(first), int(last))


def _part(columns: Columns, rows: slice, soak: float) -> _Part:
    """Return a stretch with the longest window in it that passes; one in which the coolant drifts less is preferred."""
    time = columns.log.time
    start, end = float(time[rows.start]), float(time[rows.stop - 1])
    cells = columns.cells
    if isinstance(columns.power, Value):
        power = columns.power.si
    else:
        power = float(np.nan_to_num(cells.part(start, end, BLOCKS).mean[columns.row("power")]))
    first = start + soak
    fallback: _Part | None = None
    verdict = Judgement(False, f"only {lasting(end - start)} without a change", "soak", 0.0)
    for share in STARTS:
        # cells are not cut: a window holds whole ones
        begin = cells.start + cells.width * math.ceil(
            (first + share * (end - first) - cells.start) / cells.width - 1e-9
        )
        chosen = _rows(time, begin, end + 1e-9)
        if end - begin < soak or chosen.stop - chosen.start < FEWEST_ROWS:
            break
        own = _judged(columns, chosen, again=share > 0 and not verdict.steady)
        verdict = own if share == 0 or own.steady else verdict
        if own.steady:
            part = _Part(start, end, power, (float(time[chosen.start]), end), own)
            if abs(own.coolant_drift) <= COOLANT_TOLD:
                return part
            fallback = fallback or part
    return fallback or _Part(start, end, power, None, verdict)


def _judged(columns: Columns, rows: slice, again: bool = False) -> Judgement:
    time = columns.log.time
    blocks = columns.cells.part(float(time[rows.start]), float(time[rows.stop - 1]), BLOCKS)
    means, number = blocks.means, len(columns.sensors)
    # a sensor that was recorded in part of the blocks only must not shift the mean of all
    die = (means - blocks.mean[:, None])[:number]
    here = np.isfinite(die)
    count = here.sum(axis=0)
    rise = np.divide(np.where(here, die, 0.0).sum(axis=0), count, out=np.full(die.shape[1], np.nan), where=count > 0)
    cold = means[columns.row("coolant")] if isinstance(columns.coolant, np.ndarray) else None
    rise = rise - (columns.coolant.si if isinstance(columns.coolant, Value) else cold)
    recorded = blocks.count[:number].sum(axis=1) > 0
    if not np.isfinite(rise).any():
        return Judgement(False, "sensors and coolant were never recorded together", "missing", 0.0)
    return judge(blocks, rise + float(blocks.mean[:number][recorded].mean()), cold, again)


def _by_hand(columns: Columns, window: WindowLike, soak: float) -> tuple[_Part, list[Flag]]:
    """Return the window that was given, and as flags what the tests say of it."""
    log = columns.log
    try:
        first, last = (parse(each, "time", "window").si for each in window)
    except ValueError as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{window!r} is no pair", where="window", expected="such as ('5 min', '20 min')") from error
    if not first < last:
        raise InputError(f"{window!r} is reversed or empty", where="window", expected="the earlier time first")
    if first < log.time[0] - 1e-9 or last > log.time[-1] + 1e-9:
        span = lasting(float(log.time[-1]))
        raise InputError(f"{window!r} reaches beyond the log", where="window", expected=f"times from 0 s to {span}")
    rows = _rows(log.time, first, last + 1e-9)
    number = rows.stop - rows.start
    if last - first < soak or number < FEWEST_ROWS:
        problem = f"the window lasts {lasting(last - first)} and holds {number} rows"
        raise SteadyError(
            problem, where="window", expected=f"at least the soak, {lasting(soak)}, and {FEWEST_ROWS} rows"
        )
    own = _judged(columns, rows)
    flags = list(columns.flags) + [
        flag for flag in [*gaps(log.time)[0], *limits(log)] if flag.end >= first and flag.start <= last
    ]
    if not own.steady:
        kind = own.kind if own.kind in ("drift", "wander", "coolant drift") else "missing"
        flags.append(Flag(kind, own.why, first, last))  # type: ignore[arg-type]
    return _Part(
        first, last, 0.0, (first, last), Judgement(own.steady, f"set by hand; {own.why}", own.kind, own.coolant_drift)
    ), flags


def _refusal(columns: Columns, part: _Part, soak: float, noticed: list[Flag]) -> SteadyError:
    """Return the error that says why the longest part is not steady, and what is missing."""
    if part.verdict.kind == "soak":
        short = 2 * soak - (part.end - part.start)
        need = lasting(soak)
        expected = (
            f"{need} of soak and {need} of window after it: log {lasting(max(short, 0.0))} longer without a change"
        )
    elif part.verdict.kind == "missing":
        expected = "rows with both"
    elif part.verdict.kind == "coolant drift":
        expected = "a coolant loop that has settled: log longer before the end, at fixed fans, pump and load"
    else:
        expected = "die minus coolant that has settled: a longer soak, fixed fans, pump, clock and load"
    where = f"{columns.log.source}, {part.start:.0f} to {part.end:.0f} s at {part.power:.3g} W"
    error = SteadyError(f"no steady part: {part.verdict.why}", where=where, expected=expected)
    error.flags = tuple(noticed)
    return error


# -- the reading of a window


def _reading(
    columns: Columns, part: _Part, noticed: list[Flag], common: Mapping[str, Value], level: str, mount: str
) -> Reading:
    assert part.window is not None
    log, (first, last) = columns.log, part.window
    rows = _rows(log.time, first, last + 1e-9)
    time, number = log.time[rows], rows.stop - rows.start
    blocks = columns.cells.part(float(time[0]), float(time[-1]), BLOCKS)
    counts = blocks.count.sum(axis=1)
    recorded = [float(counts[i] / number) for i in range(len(columns.sensors))]
    kept = [i for i, share in enumerate(recorded) if share * number >= FEWEST_ROWS]
    flags = list(noticed)
    for i, share in enumerate(recorded):
        if share < 0.8:
            left = "" if i in kept else "; it is left out"
            text = f"{columns.sensors[i]} was recorded in {100 * share:.0f} % of the rows of the window{left}"
            flags.append(Flag("missing", text, first, last, columns.sensors[i]))
    if not kept:
        raise SteadyError("no sensor was recorded in the window", where=log.source, expected="rows with temperatures")
    names = [columns.sensors[i] for i in kept]
    series = {name: columns.temperatures[i][rows] for name, i in zip(names, kept, strict=True)}
    for name, column in (("power", columns.power), ("coolant", columns.coolant)):
        if isinstance(column, np.ndarray):
            series[name] = column[rows]
            if counts[columns.row(name)] < FEWEST_ROWS:
                raise SteadyError(
                    f"{name} was hardly recorded in the window", where=log.source, expected="rows with it"
                )
    means, covariance, result = _means(columns, blocks, list(series))
    resolution: dict[str, float] = {}
    for i, name in enumerate(series):
        if name in columns.step:
            column = series[name] if counts[columns.row(name)] == number else series[name][np.isfinite(series[name])]
            variance = float(np.var(column[:: max(1, number // 20_000)]))
            size = float(np.clip(variance / covariance[i, i], 4, len(column))) if covariance[i, i] > 0 else 4.0
            bias, resolution[name] = bias_seen(column, columns.step[name], size)
            means[i] += (columns.step[name] / 2 if name in columns.truncating else 0.0) - bias
            covariance[i, i] += resolution[name] ** 2
    means, covariance = _with_given(columns, list(series), means, covariance)
    flags += _noticed_in(columns, part, time, blocks, list(zip(names, (series[name] for name in names), strict=True)))
    return Reading(
        tuple(names), means, covariance, common, "bound" if result[2] else "estimate", level, mount, log.source,
        log.start, (first, last), number, result[0], result[1], resolution, part.verdict.why, tuple(flags),
    )  # fmt: skip


def _means(
    columns: Columns, blocks: Blocks, names: list[str]
) -> tuple[NDArray[np.float64], NDArray[np.float64], tuple[int, float, bool]]:
    """Return means, their covariance, and cosines, correlation times and whether it is a bound."""
    at = [columns.row(name) for name in names]
    blocks = Blocks(blocks.time, blocks.count[at], blocks.total[at], blocks.pivot[at], blocks.start, blocks.width)
    means = blocks.mean
    # looked at are: each sensor minus coolant minus what follows the power; power; coolant
    basis = np.eye(len(names))
    for i, name in enumerate(names):
        if name in ("power", "coolant"):
            continue
        if "coolant" in names:
            basis[i, names.index("coolant")] = -1.0
        if "power" in names and means[names.index("power")] > 0:
            cold = columns.coolant.si if isinstance(columns.coolant, Value) else means[names.index("coolant")]
            basis[i, names.index("power")] = -(means[i] - cold) / means[names.index("power")]
    judged = np.array([name != "coolant" for name in names])
    result = covariance_of_mean(blocks, basis, judged)
    return means, result.covariance.copy(), (result.cosines, result.correlation_times, result.bound)


def _with_given(
    columns: Columns, names: list[str], means: NDArray[np.float64], covariance: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return means and covariance with the power or coolant that was given by hand in their places."""
    sensors = [name for name in names if name not in ("power", "coolant")]
    order = [*sensors, "power", "coolant"]
    all_means, all_covariance = np.zeros(len(order)), np.zeros((len(order), len(order)))
    places = [order.index(name) for name in names]
    all_means[places] = means
    all_covariance[np.ix_(places, places)] = covariance
    for place, value in ((-2, columns.power), (-1, columns.coolant)):
        if isinstance(value, Value):
            all_means[place] = value.si
            all_covariance[place, place] = value.standard_uncertainty**2
    return all_means, all_covariance


def _noticed_in(
    columns: Columns, part: _Part, time: NDArray[np.float64], blocks: Blocks,
    sensors: list[tuple[str, NDArray[np.float64]]],
) -> list[Flag]:  # fmt: skip
    """Return what is to be told of the window itself."""
    assert part.window is not None
    flags: list[Flag] = []
    for name, column in sensors:
        flags += stuck_in(time, column, name)
    slope = part.verdict.coolant_drift
    if abs(slope) > COOLANT_TOLD:
        text = f"the coolant drifts by {60 * slope:+.2g} K/min within the window"
        flags.append(Flag("coolant drift", text, *part.window, columns.coolant_name))
    means = blocks.means
    for name in columns.watched:
        role = columns.log.roles[name]
        own = means[columns.row(name)]
        flags += clock_drops(blocks.time, own, name) if role == "clock" else []
        flags += not_fixed(blocks.time, own, name, _NOT_FIXED[role])
    if isinstance(columns.power, np.ndarray):
        flags += not_fixed(blocks.time, means[columns.row("power")], columns.power_name, "power drift")
    return flags
