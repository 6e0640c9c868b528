"""For each input: the value that it would need to explain the measured drop by itself."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.special import ndtr

from ..errors import InputError, SolveError, ThermostackWarning
from ..inference import value_of
from ..propagate import Distribution, Exact, Lognormal, Normal, Variable, physical_bounds
from ..states import StatesModel
from ..tables import Column, Table, format_number
from ..units import convert, unit_text
from .predictive import Drawn

__all__ = ["Alone", "alone_of", "alone_table"]

Float = NDArray[np.float64]

REACH = 4.9
"""Scores within which the emulators answer."""
FACTORS = (1.6, 4.0, 16.0)
"""How far beyond that a positive input is followed, with the solver itself; others in so many double sds."""


LED = 0.05


@dataclass(frozen=True)
class Alone:
    """What one input would need.

    Attributes
    ----------
    path, dimension : str
    usual : float
        Its median. SI.
    value : float or None
        That with which the measured drop is predicted, all else at its centre; None: no physical value does.
    score : float
        How far that is from the median, in standard deviations of a normal of the same quantile; infinite if none.
    nearest : float
        Drop that is nearest to the measured one, over all values tried. [K]
    followed : bool
        Whether it was followed to its physical bounds; not where 5 sd led less than a twentieth of the way.
    """

    path: str
    dimension: str
    usual: float
    value: float | None
    score: float
    nearest: float
    followed: bool = True

    @property
    def chance(self) -> float:
        """Chance of a value as far out or farther, to either side."""
        return float(2.0 * ndtr(-abs(self.score)))

    @property
    def told(self) -> str:
        """In words."""
        if self.value is None:
            return "no physical value does" if self.followed else "5 sd of it do next to nothing"
        if abs(self.score) > 5:
            return "more than 5 sd: outside of all that was thought possible"
        return f"{abs(self.score):.1f} sd {'above' if self.score > 0 else 'below'}".replace("-", "−")

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, SI."""
        return {**vars(self), "chance": self.chance, "told": self.told}


def alone_of(drawn: Drawn, measured: float) -> tuple[Alone, ...]:
    """Return for each uncertain input what it would need, the most probable first.

    Parameters
    ----------
    drawn : Drawn
    measured : float
        The drop at equal power, mean over the sensors. [K]
    """
    model = drawn.model
    variables = [v for v in _as_known(drawn) if not isinstance(v.distribution, Exact)]
    scores = np.unique(np.concatenate([np.linspace(-REACH, REACH, 29), [0.0]]))
    drops = _drops(drawn, model, [(v, value_of(v.distribution, scores)) for v in variables])
    found, beyond = [], []
    for v, drop in zip(variables, drops, strict=True):
        at = _nearest_crossing(scores, drop - measured)
        if at is None:
            beyond.append((v, drop))
            continue
        value = float(value_of(v.distribution, np.array([at]))[0])
        found.append(_alone(v, value, at, measured))
    found += _beyond(drawn, measured, beyond)
    return tuple(sorted(found, key=lambda each: (each.value is None, abs(each.score), abs(each.nearest - measured))))


def _as_known(drawn: Drawn) -> tuple[Variable, ...]:
    """Return the unknowns as they were known before the last reading: after a calibration normal about what it taught.

    What one input was taught together with another is left out.
    """

    def known(v: Variable) -> Variable:
        x = drawn.learned.get(v.path)
        if x is None or isinstance(v.distribution, Exact) or np.ptp(x) == 0:
            return v
        if v.distribution.scale == "log" and np.all(x > 0):
            return replace(v, distribution=Lognormal(float(np.median(x)), math.exp(float(np.std(np.log(x))))))
        return replace(v, distribution=Normal(float(np.median(x)), float(np.std(x))))

    return tuple(known(v) for v in drawn.model.variables)


def _alone(v: Variable, value: float | None, score: float, nearest: float) -> Alone:
    return Alone(v.path, v.dimension, float(v.distribution.ppf(0.5)), value, score, nearest)


def _drops(drawn: Drawn, model: StatesModel, wanted: list[tuple[Variable, Float]]) -> list[Float]:
    """Return the drops for values of one variable at a time, all others at their medians."""
    count = sum(len(values) for _, values in wanted)
    samples = {v.path: np.full(count, float(v.distribution.ppf(0.5))) for v in _as_known(drawn)}
    place, places = 0, []
    for v, values in wanted:
        samples[v.path][place : place + len(values)] = values
        places.append(slice(place, place + len(values)))
        place += len(values)
    shown = model(samples)
    shown[:, drawn.known] = model.observed[drawn.known]
    drops = drawn.drops.of(shown, drawn.coolant)[:, 0].mean(axis=1)
    return [drops[each] for each in places]


def _nearest_crossing(x: Float, y: Float) -> float | None:
    """Return the root of y(x) that is nearest to zero, of a smooth curve through the points; None if there is none."""
    ok = np.isfinite(y)
    x, y = x[ok], y[ok]
    if len(x) < 2:
        return None
    roots = PchipInterpolator(x, y).roots(extrapolate=False)
    roots = roots[np.isfinite(roots)]
    return float(roots[np.argmin(np.abs(roots))]) if roots.size else None


def _beyond(drawn: Drawn, measured: float, left: list[tuple[Variable, Float]]) -> list[Alone]:
    """Follow inputs beyond what the emulators answer for, with the solver itself, up to physical bounds."""
    thermal = {unknown.variable.path for unknown in drawn.model.unknowns}
    direct = replace(drawn.model, variants=tuple(replace(v, emulator=None) for v in drawn.model.variants))
    far = {v.path: _far(v, drop, measured) for v, drop in left}
    asked = [(v, far[v.path]) for v, _ in left if v.path in thermal and len(far[v.path])]
    drops = _followed(drawn, direct, asked)
    found = []
    for v, drop in left:
        inside = value_of(v.distribution, np.linspace(-REACH, REACH, len(drop)))
        nearest = float(drop[np.nanargmin(np.abs(drop - measured))])
        if v.path not in drops:
            found.append(replace(_alone(v, None, math.inf, nearest), followed=len(far[v.path]) > 0))
            continue
        x = np.concatenate([inside, far[v.path]])
        y = np.concatenate([drop, drops[v.path]]) - measured
        x, order = np.unique(x, return_index=True)
        log = v.distribution.scale == "log" or float(x.min()) > 0
        middle = float(v.distribution.ppf(0.5))
        at = _nearest_crossing(np.log(x / middle) if log else x - middle, y[order])
        nearest = float(measured + y[np.nanargmin(np.abs(y))])
        if at is None:
            found.append(_alone(v, None, math.inf, nearest))
        else:
            value = middle * math.exp(at) if log else middle + at
            found.append(_alone(v, value, _score(v.distribution, value), measured))
    return found


def _followed(drawn: Drawn, direct: StatesModel, asked: list[tuple[Variable, Float]]) -> dict[str, Float]:
    """Return the drops by path, without those of stacks that cannot be."""
    if not asked:
        return {}
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ThermostackWarning)  # far beyond what laws hold for, on purpose
            return {v.path: drop for (v, _), drop in zip(asked, _drops(drawn, direct, asked), strict=True)}
    except (InputError, SolveError):
        if len(asked) == 1:
            return {}
    half = len(asked) // 2  # which of them it was
    return _followed(drawn, direct, asked[:half]) | _followed(drawn, direct, asked[half:])


def _far(v: Variable, drop: Float, measured: float) -> Float:
    """Return physical values beyond the reach of the emulators, towards the measured drop.

    None where the way within the reach has led less than a twentieth of the way.
    """
    middle = drop[len(drop) // 2]
    led = (drop[[0, -1]] - middle) / (measured - middle) if measured != middle else np.zeros(2)
    if not np.nanmax(led) > LED:
        return np.empty(0)
    up = bool(led[1] >= led[0])
    end = float(value_of(v.distribution, np.array([REACH if up else -REACH]))[0])
    bottom, top = physical_bounds(v.path, v.dimension)
    if end > 0 and bottom == 0.0:
        values = [end * f if up else end / f for f in FACTORS]
    else:
        values = [end + (1 if up else -1) * 2 * f * v.distribution.sd for f in FACTORS]
    return np.array([x for x in values if bottom < x < top])


def _score(distribution: Distribution, value: float) -> float:
    """Return how far a value beyond the reach lies, in standard deviations on its natural scale."""
    if distribution.scale == "log":
        return math.log(value / distribution.centre) / distribution.natural_sd
    return (value - distribution.centre) / distribution.natural_sd


def alone_table(found: tuple[Alone, ...], measured: float, given: bool = False) -> Table:
    """Return a row an input; `given`: after a calibration."""
    columns = (
        Column("path", "input"), Column("unit", "unit"), Column("usual", "median"), Column("value", "would need"),
        Column("told", "that is"), Column("nearest", "nearest drop [K]", ".2f"),
    )  # fmt: skip
    rows = []
    for each in found:
        unit = unit_text(each.dimension) if each.dimension else ""
        shown = [
            None if x is None else float(convert(x, each.dimension)) if each.dimension else x
            for x in (each.usual, each.value)
        ]
        rows.append((each.path, unit, *shown, each.told, each.nearest))
    note = "One input at a time, all others at their medians; errors of a reading in their standard deviations."
    if given:
        note += " Medians and deviations are those after what was read before."
    return Table(
        columns,
        tuple(rows),
        f"What each input would need to explain a drop of {format_number(measured, 3)} K alone",
        (note,),
    )
