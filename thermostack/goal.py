"""For any input: the value at which a goal is met, or that no value does."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np
import pint
from numpy.typing import NDArray

from .cautions import Caution, as_html, as_text, cautions
from .ensemble import ensemble_of
from .errors import InputError, SolveError
from .local import answer
from .model import Model
from .operating import OperatingPoint, to_limit
from .prediction import DEFAULT_SOLVER, predict
from .solvers import solver_named
from .stack.paths import dimension_of
from .stack.stack import Stack
from .sweeping import model_over
from .tables import Cell, Column, Table
from .units import ValueLike, convert, parse, quantity, show, unit_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Goal", "ValueFor", "value_for"]

Float: TypeAlias = NDArray[np.float64]
Of = Literal["junction", "mean"]
Scale = Literal["auto", "linear", "logarithmic"]

RESOLVED = 1e-7
"""To what share of the range (of its logarithm) a value is worked out."""


@dataclass(frozen=True)
class Goal:
    """What is to be reached.

    Attributes
    ----------
    figure : str
        In words, such as ``"drop of the junction against 'as delivered'"``.
    dimension : str
        Key of `units.DIMENSIONS`.
    wanted : float
        In SI.
    at_least : bool
        Whether more is better.
    quantity : str
        What is sampled for it: a quantity of `Ensemble`.
    limit : float or None
        Junction temperature for a headroom. [K]
    """

    figure: str
    dimension: str
    wanted: float
    at_least: bool
    quantity: str
    limit: float | None = None

    def margin(self, figure: Float) -> Float:
        """Return by how much the goal is met; negative where it is missed or there is no operating point."""
        return np.where(np.isnan(figure), -np.inf, (figure - self.wanted) * (1 if self.at_least else -1))

    def __str__(self) -> str:
        return f"{self.figure} of {'at least' if self.at_least else 'at most'} {show(self.wanted, self.dimension)}"


@dataclass(frozen=True, eq=False)
class ValueFor:
    """Where a goal is met over one input. Made by `value_for`.

    Attributes
    ----------
    stack, baseline : Stack
        `baseline` is None but for a drop.
    solver : str
    path, dimension : str
        The input, and its dimension.
    goal : Goal
    low, high : float
        Range that was looked at, in SI.
    crossings : tuple of float
        Values at which the goal is just met, ascending, in SI.
    met : tuple of (float, float)
        Stretches of the range over which it is met, in SI.
    best : float
        Value that comes nearest to the goal, or meets it best, in SI.
    scanned, figures : ndarray
        The curve behind it: values of the input and of the figure, in SI; NaN where there is no operating point.
    """

    stack: Stack
    baseline: Stack | None
    solver: str
    path: str
    dimension: str
    goal: Goal
    low: float
    high: float
    crossings: tuple[float, ...]
    met: tuple[tuple[float, float], ...]
    best: float
    best_figure: float
    scanned: Float
    figures: Float

    @property
    def values(self) -> tuple[pint.Quantity, ...]:
        """Values at which the goal is just met, ascending."""
        return tuple(quantity(at, self.dimension) for at in self.crossings)

    @property
    def value(self) -> pint.Quantity | None:
        """The value at which the goal is just met; None where it is met nowhere or everywhere.

        Raises
        ------
        InputError
            It is just met at several values: see `values`.
        """
        if len(self.crossings) > 1:
            raise InputError(
                f"the goal is just met at {len(self.crossings)} values", where=self.path, expected="a look at .values"
            )
        return self.values[0] if self.crossings else None

    @property
    def text(self) -> str:
        """The answer as a sentence."""
        span = f"from {self._shown(self.low)} to {self._shown(self.high)}"
        goal = f"a {self.goal}"
        if not self.met:
            if np.isnan(self.best_figure):
                return f"No {self.path} {span} does: nowhere is there an operating point."
            reached = show(self.best_figure, self.goal.dimension)
            return f"No {self.path} {span} brings {goal}; the best is {reached}, at {self._shown(self.best)}."
        if not self.crossings:
            return f"Any {self.path} {span} brings {goal}."
        return f"{goal[0].upper()}{goal[1:]} takes {self.path} {' or '.join(map(self._stretch, self.met))}."

    def _stretch(self, met: tuple[float, float]) -> str:
        low, high = met
        if low <= self.low:
            return f"up to {self._shown(high)}"
        return f"from {self._shown(low)}" + ("" if high >= self.high else f" to {self._shown(high)}")

    def _shown(self, si: float) -> str:
        return show(si, self.dimension)

    @property
    def notes(self) -> tuple[str, ...]:
        """For what it holds."""
        notes = [self.text, f"looked at: {self._shown(self.low)} to {self._shown(self.high)}; all else as described"]
        notes.append("centres of all inputs, no uncertainty: see chances()")
        if np.isnan(self.figures).any():
            lost = self.scanned[np.isnan(self.figures)]
            notes.append(
                f"no operating point (the die runs away, or no power reaches the limit) at {len(lost)} of the values "
                f"looked at, between {self._shown(lost.min())} and {self._shown(lost.max())}"
            )
        return tuple(notes)

    @cached_property
    def table(self) -> Table:
        """Return a row a stretch over which the goal is met."""
        unit = unit_text(self.dimension)
        columns = (
            Column("path", "input"),
            Column("from", f"from [{unit}]" if unit else "from"),
            Column("to", f"to [{unit}]" if unit else "to"),
            Column("edge", "just met at"),
        )
        rows = tuple(self._row(*stretch) for stretch in self.met)
        return Table(columns, rows, title=f"Where the goal is met, {self.stack.label}", notes=self.notes)

    def _row(self, low: float, high: float) -> tuple[Cell, ...]:
        edges = " and ".join(self._shown(at) for at in (low, high) if at in self.crossings)
        shown = [float(convert(at, self.dimension)) for at in (low, high)]
        return self.path, shown[0], shown[1], edges or "nowhere: met over the whole range"

    def chance(self, value: ValueLike, *, samples: int = 2_000, seed: int = 0) -> float:
        """Return the chance that the goal is met at a value of the input, over the spreads of all other inputs.

        Parameters
        ----------
        value : value
            Such as ``"25 um"``; taken as exact.
        samples, seed : int
            As in `predict`; stack and baseline share what they share.

        Returns
        -------
        float
            Its Monte Carlo error is at most 0.5/√samples. Samples without an operating point miss the goal.
        """
        at = replace(parse(value, self.dimension, self.path), kind="exact", spread=0.0)
        stacks = [self.stack.change(self.path, at)]
        if self.baseline is not None:
            stacks = [self.baseline.named("baseline"), stacks[0].named("at this value")]
        found = ensemble_of(stacks, self.solver, samples, seed=seed, limit=self.goal.limit, progress=False)
        if self.baseline is None:
            figures = found.samples(self.goal.quantity)
        else:
            figures = found.drops(1, self.goal.quantity, "as described")
        return float(np.mean(self.goal.margin(figures) >= 0))

    def chances(self, *values: ValueLike, samples: int = 2_000, seed: int = 0) -> Table:
        """Return a row a value with the chance that the goal is met there; by default over the whole range.

        Parameters
        ----------
        *values : value
        samples, seed : int
            As in `chance`.
        """
        unit = unit_text(self.dimension)
        given: list[ValueLike] = list(values)
        if not given:
            some = {float(x) for x in self.scanned[:: max((len(self.scanned) - 1) // 4, 1)]} | set(self.crossings)
            given = [quantity(x, self.dimension) for x in sorted(some)]
        rows = []
        for value in given:
            shown = convert(parse(value, self.dimension, self.path).si, self.dimension)
            chance = self.chance(value, samples=samples, seed=seed)
            rows.append((float(shown), 100 * chance, 100 * math.sqrt(chance * (1 - chance) / samples)))
        columns = (
            Column("value", f"{self.path} [{unit}]" if unit else self.path),
            Column("chance_percent", "chance that the goal is met [%]", ".0f"),
            Column("error_percent", "± [%]", ".1f"),
        )
        return Table(columns, tuple(rows), title=f"Chance of {self.goal}", notes=(f"{samples} samples, seed {seed}",))

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What to be careful about in the stack, and in the mod that leads to it."""
        return cautions(self.stack, baseline=self.baseline)

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as plain numbers, with units in the names, and the curve behind it."""
        return {
            "text": self.text,
            "rows": self.table.to_dict(),
            "curve": {
                f"{self.path} [{unit_text(self.dimension)}]": convert(self.scanned, self.dimension).tolist(),
                f"{self.goal.figure} [{unit_text(self.goal.dimension)}]": convert(
                    self.figures, self.goal.dimension
                ).tolist(),
            },
            "cautions": [c.text for c in self.cautions],
        }

    def to_pandas(self) -> Any:
        """Return the stretches as a pandas DataFrame."""
        return self.table.to_pandas()

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the figure over the input, and where the goal is met."""
        from .plots import goal as draw

        return draw(self, ax=ax)

    def __str__(self) -> str:
        return f"{self.table}\n\n{as_text(self.cautions)}"

    def _repr_html_(self) -> str:
        return self.table._repr_html_() + as_html(self.cautions)


def value_for(
    stack: Stack,
    path: str,
    *,
    between: tuple[ValueLike, ValueLike],
    drop: ValueLike | None = None,
    baseline: Stack | None = None,
    junction: ValueLike | None = None,
    mean: ValueLike | None = None,
    resistance: ValueLike | None = None,
    headroom: ValueLike | None = None,
    limit: ValueLike | None = None,
    of: Of = "junction",
    points: int = 33,
    scale: Scale = "auto",
    solver: str = DEFAULT_SOLVER,
) -> ValueFor:
    """Return the value of an input at which a goal is met: every such value, or that no value does.

    How thin must a joint be for 3 K? Which conductance keeps the junction below 80 °C? Which bow of the lid destroys
    the gain (``drop="0 K"``)?

    Parameters
    ----------
    stack : Stack
    path : str
        The input, such as ``"liquid metal.bond_line"``; all else stays as described.
    between : (value, value)
        Range to look at.
    drop : temperature difference, optional
        By how much the temperature shall be below that of `baseline` at least.
    baseline : Stack, optional
        Needed with `drop`; it stays as it is described.
    junction, mean : temperature, optional
        How hot the junction, or the mean of the hottest die, may be at most.
    resistance : value, optional
        Junction to coolant at most. [K/W]
    headroom : power, optional
        What may be added at least until the junction is at `limit`.
    limit : temperature, optional
        Needed with `headroom`.
    of : {"junction", "mean"}
        What drops.
    points : int
        Values looked at, all in one batch; between them the goal is followed to where it is just met.
    scale : {"auto", "linear", "logarithmic"}
        How they are spaced; by itself logarithmic where the range spans ten or more.
    solver : {"one-dimensional", "axisymmetric", "layered"}

    Returns
    -------
    ValueFor

    Raises
    ------
    InputError
        No goal or more than one, a goal without what it needs, an unknown path, a wrong unit, equal limits.
    """
    goal, figure = _goal(drop, baseline, junction, mean, resistance, headroom, limit, of, solver)
    low, high, spacing = _range(stack, path, between, points, scale)
    model = model_over(stack, [(path, *between)], solver)

    def figures(x: Float) -> Float:
        return _figures(figure, model, path, solver, x)

    to, back = (np.log, np.exp) if spacing == "logarithmic" else (np.positive, np.positive)
    u = np.linspace(to(low), to(high), points)
    x = np.clip(back(u), low, high)
    found = figures(x)

    def margin(at: float) -> float:
        return float(goal.margin(figures(np.clip(back(np.array([at])), low, high)))[0])

    u, g = _with_turns(u, goal.margin(found), margin)
    edges = [float(back(at)) for at in _crossings(u, g, margin)]
    best = float(np.clip(back(u[int(np.argmax(g))]), low, high))
    return ValueFor(
        stack,
        baseline if drop is not None else None,
        solver,
        path,
        dimension_of(stack, path),
        goal,
        low,
        high,
        tuple(edges),
        _met(low, high, edges, bool(g[0] >= 0)),
        best,
        float(figures(np.array([best]))[0]),
        x,
        found,
    )


# -- the goal

Figure: TypeAlias = Callable[[OperatingPoint], Float]


def _goal(
    drop: ValueLike | None,
    baseline: Stack | None,
    junction: ValueLike | None,
    mean: ValueLike | None,
    resistance: ValueLike | None,
    headroom: ValueLike | None,
    limit: ValueLike | None,
    of: Of,
    solver: str,
) -> tuple[Goal, Figure]:
    given = {"drop": drop, "junction": junction, "mean": mean, "resistance": resistance, "headroom": headroom}
    named = [name for name, value in given.items() if value is not None]
    if len(named) != 1:
        raise InputError(
            f"{' and '.join(named) or 'no goal'} {'are' if named else 'is'} given",
            where="value_for",
            expected=f"one of {', '.join(given)}, such as drop='3 K' with baseline=…",
        )
    if of not in ("junction", "mean"):
        raise InputError(f"{of!r} is not known", where="of", expected="junction or mean")
    if (headroom is None) != (limit is None):
        raise InputError(
            "headroom and limit belong together", where="limit", expected="headroom='40 W', limit='95 degC'"
        )
    if (drop is None) != (baseline is None):
        raise InputError(
            "a drop and the baseline that it counts from belong together",
            where="baseline",
            expected="drop='3 K', baseline=…, the stack before the mod",
        )
    if drop is not None and baseline is not None:
        wanted = parse(drop, "temperature difference", "drop").si
        before = predict(baseline, solver)
        from_ = _temperature(before.point, of)[0]
        return (
            Goal(
                f"drop of the {_words(of)} against {before.stack.label!r}",
                "temperature difference",
                wanted,
                True,
                _QUANTITY[of],
            ),
            lambda point: np.asarray(from_ - _temperature(point, of)),
        )
    if headroom is not None and limit is not None:
        at = parse(limit, "temperature", "limit").si
        wanted = parse(headroom, "power", "headroom").si
        return (
            Goal(f"headroom to {show(at, 'temperature')}", "power", wanted, True, "headroom", at),
            lambda point: np.asarray(to_limit(point, solver_named(solver), at) - point.total),
        )
    if resistance is not None:
        wanted = parse(resistance, "resistance", "resistance").si
        return (
            Goal("resistance from junction to coolant", "resistance", wanted, False, "resistance"),
            lambda point: np.asarray(point.junction_rise / point.total),
        )
    which: Of = "mean" if junction is None else "junction"
    hottest = mean if junction is None else junction
    assert hottest is not None  # one of the five is given
    wanted = parse(hottest, "temperature", which).si
    goal = Goal(f"temperature of the {_words(which)}", "temperature", wanted, False, _QUANTITY[which])
    return goal, lambda point: _temperature(point, which)


_QUANTITY: dict[Of, str] = {"junction": "junction", "mean": "die mean"}


def _words(of: Of) -> str:
    return "junction" if of == "junction" else "die's mean"


def _temperature(point: OperatingPoint, of: Of) -> Float:
    return np.asarray(point.coolant + (point.junction_rise if of == "junction" else point.hottest_mean_rise))


def _range(
    stack: Stack, path: str, between: tuple[ValueLike, ValueLike], points: int, scale: Scale
) -> tuple[float, float, Scale]:
    if not isinstance(between, tuple | list) or len(between) != 2:
        raise InputError(f"{between!r}", where="between", expected="two values, such as ('10 um', '300 um')")
    if isinstance(points, bool) or not isinstance(points, int) or points < 3:
        raise InputError(f"{points!r} points", where="points", expected="an integer of at least 3")
    if scale not in ("auto", "linear", "logarithmic"):
        raise InputError(f"{scale!r} is no scale", where="scale", expected="auto, linear or logarithmic")
    dimension = dimension_of(stack, path)
    low, high = (
        parse(v, dimension, f"{path}, {e} of the range").si for v, e in zip(between, ("start", "end"), strict=True)
    )
    if low >= high:
        raise InputError(f"{between!r} does not rise", where=path, expected="a lower and a higher value")
    if scale == "logarithmic" and low <= 0:
        raise InputError("a logarithmic scale cannot reach zero", where=path, expected="a range above zero")
    wide = low > 0 and high / low >= 10 and dimension != "temperature"
    return low, high, ("logarithmic" if wide else "linear") if scale == "auto" else scale


# -- the search


def _figures(figure: Figure, model: Model, path: str, solver: str, x: Float) -> Float:
    """Return the figure at each value; NaN where there is no operating point, which is then found one by one."""
    try:
        return np.broadcast_to(figure(answer(model, solver, model.values({path: x}))), x.shape).astype(float)
    except SolveError:
        if len(x) == 1:
            return np.array([np.nan])
        middle = len(x) // 2
        return np.concatenate([_figures(figure, model, path, solver, half) for half in (x[:middle], x[middle:])])


def _with_turns(u: Float, g: Float, margin: Callable[[float], float]) -> tuple[Float, Float]:
    """Return the scan with the turning points between its values: the best one, and those that may touch zero."""
    from scipy.optimize import minimize_scalar

    more: dict[float, float] = {}
    top = int(np.argmax(g))
    for i in range(1, len(u) - 1):
        left, here, right = g[i - 1 : i + 2]
        if not np.isfinite([left, here, right]).all() or (left < here) != (right < here):
            continue
        sign = 1 if left < here else -1
        # a parabola through the three stands out by at most an eighth of the larger step beyond the middle one
        near = sign * here <= 0 and abs(here) <= max(abs(here - left), abs(here - right))
        if near or (i == top and sign > 0):
            turn = minimize_scalar(
                lambda at, s=sign: -s * margin(at),
                bounds=(u[i - 1], u[i + 1]),
                method="bounded",
                options={"xatol": 1e-4 * (u[i + 1] - u[i - 1])},
            )
            more[float(turn.x)] = -sign * float(turn.fun)
    at = np.concatenate([u, list(more)])
    order = np.argsort(at)
    return at[order], np.concatenate([g, list(more.values())])[order]


def _crossings(u: Float, g: Float, margin: Callable[[float], float]) -> list[float]:
    """Return where the margin passes through zero, ascending."""
    from scipy.optimize import brentq

    def finite(at: float) -> float:  # where there is no operating point the goal is missed, by any amount
        return max(margin(at), -1e3 * max(1.0, float(np.abs(g[np.isfinite(g)]).max(initial=0.0))))

    found: list[float] = []
    for (a, at_a), (b, at_b) in pairwise(zip(u, g, strict=True)):
        if (at_a >= 0) == (at_b >= 0):
            continue
        # alone, a value is worked out a little more finely than within a batch: its sign may be the other one
        ends = {end: finite(end) for end in (float(a), float(b))}
        if (ends[a] >= 0) == (ends[b] >= 0):
            found.append(min(ends, key=lambda end: abs(ends[end])))
        else:
            found.append(float(brentq(finite, a, b, xtol=RESOLVED * (u[-1] - u[0]))))
    return found


def _met(low: float, high: float, edges: list[float], first: bool) -> tuple[tuple[float, float], ...]:
    """Return the stretches over which the goal is met, from whether it is at the low end and where that changes."""
    ends = [*([low] if first else []), *edges]
    ends += [high] if len(ends) % 2 else []
    return tuple(zip(ends[::2], ends[1::2], strict=True))
