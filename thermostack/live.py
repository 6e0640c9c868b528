"""Answers while an input is being moved: the layered solver's, in about a millisecond, and by how much they may be off.

A panel asks for a prediction many times a second. What a layered solve needs is in an emulator of the influence matrix
over the box that the controls span (`propagate.emulator`), built in the background; the operating point, the headroom
and the breakdown are then computed as ever. What local conductivity adds (see `local`) costs most of an answer. Times
the temperature of the die's upper face, over the square of the junction's step above it, it is a pure number that is
smooth in the logs of the inputs: a plane through a few points, moved to go through the last exact answer. Its own
error, by leaving each point out, is added to the error of the answer.
"""

from __future__ import annotations

import math
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import product
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import qmc

from .errors import InputError, SolveError, ThermostackWarning
from .field import model_with_hot_points
from .laws.bond_line import PRESSURES
from .local import Curvature, answer, curvature_of
from .model import Model, Values, model_of
from .operating import OperatingPoint, curved, operate, steps_above_dies, to_limit
from .prediction import Prediction, predict
from .propagate.distributions import Distribution, Rectangular
from .propagate.emulator import Emulator, emulator_of
from .propagate.variables import Variable
from .solvers import solver_named
from .stack.cooling import MODELS
from .stack.inputs import class_row
from .stack.parts import Coolant, Die, Interface
from .stack.paths import FIELDS, dimension_of, split
from .stack.stack import Stack
from .units import DIMENSIONS, Value, ValueLike, convert, parse, quantity, unit_text

__all__ = ["Control", "Quick", "QuickPrediction", "controls", "moved"]

Float: TypeAlias = NDArray[np.float64]
Scale = Literal["linear", "logarithmic"]

SOLVER = "layered"
SIZE = 400
"""Most solves of an emulator."""
COVERED = 0.6
"""Temperatures are covered up to those where all controls have gone so far to their worst ends together."""
TARGET, LIMIT = 1e-3, 2e-2
"""Held-out error, as a share of the hottest rise, at which no more solves are added, and above which there is none."""
LOCAL_POINTS = 4
"""Points for the plane of local conductivity, per coefficient."""
BATCH = 3
"""`local.curvature_of` works out the coolest, middle and hottest sample of a batch: of three, all."""
SURE = 2.0
"""Standard errors of the plane that are added to the error of an answer."""
SMALL = 1e-6
"""Squares of steps that are too small to divide by. [K²]"""


@dataclass(frozen=True)
class Control:
    """An input that may be moved, and between which ends.

    Attributes
    ----------
    path, dimension : str
    described : float
        What the stack describes. [SI]
    low, high : float
        [SI]
    scale : {"linear", "logarithmic"}
    """

    path: str
    dimension: str
    described: float
    low: float
    high: float
    scale: Scale

    @property
    def unit(self) -> str:
        """Unit in which it is shown."""
        return unit_text(self.dimension)

    def shown(self, si: float) -> float:
        """Return a value in the unit in which it is shown."""
        return float(convert(si, self.dimension))

    def read(self, shown: float) -> float:
        """Return a value in SI from one in the unit in which it is shown, to the four digits that a slider has."""
        return parse((float(f"{shown:.4g}"), DIMENSIONS[self.dimension].shown_in), self.dimension, self.path).si


# -- which inputs, and how far


_ENDS: dict[tuple[type, str], tuple[Scale, float, float]] = {
    (Die, "power"): ("linear", 0.2, 1.6),
    (Die, "thickness"): ("linear", 0.4, 1.4),
    (Interface, "bond_line"): ("logarithmic", 0.3, 4.0),
    (Interface, "conductivity"): ("logarithmic", 0.5, 2.0),
    (Interface, "resistance"): ("logarithmic", 0.25, 4.0),
    (Interface, "pressure"): ("logarithmic", 0.33, 3.0),
    (Coolant, "conductance"): ("logarithmic", 0.33, 3.0),
    (Coolant, "resistance"): ("logarithmic", 0.33, 3.0),
    (Coolant, "flow"): ("logarithmic", 0.33, 3.0),
    (Coolant, "gap"): ("logarithmic", 0.5, 2.0),
    (Coolant, "fin_thickness"): ("logarithmic", 0.5, 2.0),
    (Coolant, "fin_height"): ("logarithmic", 0.5, 2.0),
    (Coolant, "jet_diameter"): ("logarithmic", 0.7, 1.4),
    (Coolant, "pitch"): ("logarithmic", 0.7, 1.4),
    (Coolant, "stand_off"): ("logarithmic", 0.7, 1.4),
    (Coolant, "fins"): ("linear", 0.5, 1.5),
    (Coolant, "pipe_resistance"): ("logarithmic", 0.5, 2.0),
    (Coolant, "factor"): ("logarithmic", 0.5, 1.6),
    (Coolant, "radiator_resistance"): ("logarithmic", 0.5, 2.0),
}
"""What matters most to the answer, or is under the hand of who mods: scale, and ends as multiples of what is now."""
MOST_VOIDS = 0.5
WIDEST_GAP, MOST_BOW = 150e-6, 80e-6
"""Of a joint, or twice what is described. [m]"""
COLDER, WARMER = 15.0, 20.0
"""Of the coolant, below and above what is described, and no colder than `COLDEST`. [K]"""
COLDEST = 278.15
COOLING = ("conductance", "conductivity", "pressure", "flow", "fin_height", "fins", "factor")
"""What makes the stack hotter where it is less; of other fields, where it is more."""
NARROWER = 5
"""How often the ends of the cooling side are brought nearer where the coolant would boil between them."""


def controls(stack: Stack) -> tuple[Control, ...]:
    """Return the inputs of a stack that matter most, with ends between which they may be moved, from the dies up.

    Power and thickness of the dies, bond line, conductivity and void fraction of the joints, temperature and
    conductance (or resistance) of the coolant. A joint that is described by its class is moved by the bond line that
    is typical of it, where that gives the resistance of the class; else by its resistance. Pressure, gap and bow of a
    joint, and flow and sizes of what cools, where they are described.
    """
    centres = {entry.path: entry.value.si for entry in _by_bond_line(stack).inputs()}
    found = []
    for part in stack.parts():
        for name in FIELDS[type(part)]:
            path = f"{part.name}.{name}"
            if (type(part), name) in _ENDS and centres.get(path, 0.0) > 0 and not _without_effect(part, name):
                scale, low, high = _ENDS[type(part), name]
                control = _control(path, dimension_of(stack, path), centres[path], low, high, scale)
                found.append(_within(control, *PRESSURES) if name == "pressure" else control)
        if isinstance(part, Interface):
            found += _of_joint(part.name, centres)
        if isinstance(part, Coolant):
            now = centres["coolant.temperature"]
            low, high = max(now - COLDER, min(COLDEST, now)), now + WARMER
            found.append(Control("coolant.temperature", "temperature", now, low, high, "linear"))
    return _liquid(stack, found) if stack.coolant.flow is not None else tuple(found)


def _of_joint(name: str, centres: Mapping[str, float]) -> Iterator[Control]:
    """Yield what of a joint begins at zero, or may lie on both sides of it."""
    now = centres.get(f"{name}.void_fraction", 0.0)
    yield Control(f"{name}.void_fraction", "fraction", now, 0.0, max(MOST_VOIDS, now), "linear")
    if (path := f"{name}.gap") in centres:
        yield Control(path, "bond line", centres[path], 0.0, max(WIDEST_GAP, 2 * centres[path]), "linear")
    if (path := f"{name}.bow") in centres:
        most = max(MOST_BOW, 2 * abs(centres[path]))
        yield Control(path, "bond line", centres[path], -most, most, "linear")


def _without_effect(part: object, name: str) -> bool:
    """Tell whether a field changes no more than the coolant's outlet: a flow beside a figure that holds for one."""
    sized = tuple(MODELS.values())
    return name == "flow" and isinstance(part, Coolant) and part.radiator is None and not isinstance(part.model, sized)


def _within(control: Control, low: float, high: float) -> Control:
    """Return a control whose ends lie within the range of a law, if what is described does."""
    now = control.described
    return replace(control, low=min(max(control.low, low), now), high=max(min(control.high, high), now))


def _liquid(stack: Stack, found: Sequence[Control]) -> tuple[Control, ...]:
    """Return controls between whose ends, all together, the coolant does not boil and its sizes are possible."""
    model, power = model_of(stack), [c for c in found if split(c.path)[1] == "power"]
    others, mine = ([c for c in found if (split(c.path)[0] == "coolant") == own] for own in (False, True))
    for _ in range(NARROWER):
        corners = np.array(list(product((0, 1), repeat=len(mine) + 1)))
        axes = [*enumerate(mine), *((len(mine), c) for c in power)]  # all dies are at their ends together
        ends = {c.path: np.array([c.low, c.high])[corners[:, axis]] for axis, c in axes}
        values = model.values(ends)
        try:
            with warnings.catch_warnings():  # whoever goes beyond a law's range is warned there
                warnings.simplefilter("ignore", ThermostackWarning)
                model.arrays(values)
                model.check_liquid(values, model.powers(values).sum(axis=1))
            break
        except InputError:
            mine = [_nearer(c) for c in mine]
    return (*others, *mine)


def _nearer(control: Control) -> Control:
    """Return a control with ends half as far from what is described."""
    now, ends = control.described, (control.low, control.high)
    if control.scale == "logarithmic":
        low, high = (float(f"{math.sqrt(end * now):.3g}") for end in ends)
    else:
        low, high = ((end + now) / 2 for end in ends)
    return replace(control, low=min(low, now), high=max(high, now))


def _control(path: str, dimension: str, now: float, low: float, high: float, scale: Scale) -> Control:
    """Return a control with ends of two digits in the unit that is shown."""
    unit = DIMENSIONS[dimension].shown_in
    ends = []
    for end, outward in ((low, math.floor), (high, math.ceil)):
        shown = float(convert(end * now, dimension))
        step = 10.0 ** (math.floor(math.log10(shown)) - 1) * 5
        ends.append(parse((float(f"{max(outward(shown / step), 1) * step:.6g}"), unit), dimension).si)
    return Control(path, dimension, now, ends[0], ends[1], scale)


def _by_bond_line(stack: Stack, parts: Iterable[str] | None = None) -> Stack:
    """Return the stack with joints of a class (the named ones, or all) described by their typical bond line.

    Only where the class has bond line, conductivity and contact resistance, and these make up its resistance.
    """
    for part in list(stack.parts()):
        if not isinstance(part, Interface) or any((part.bond_line, part.resistance, part.pressure)):
            continue
        if parts is not None and part.name not in parts:
            continue
        row = class_row(stack, part)
        if row is None or row.bond_line is None or row.conductivity is None:
            continue
        made_up = row.bond_line.typical / row.conductivity.typical + row.contact_resistance
        if math.isclose(made_up, row.resistance.typical, rel_tol=1e-3):
            typical = f"{1e6 * row.bond_line.typical:.6g} um"
            stack = stack.change(f"{part.name}.bond_line", typical)
    return stack


def moved(stack: Stack, values: Mapping[str, float]) -> Stack:
    """Return the stack with inputs moved to values [SI], under its own label.

    The spread of an input stays with it: a factor or a share of the value as it is, of a temperature in kelvin, of a
    bow in micrometres.

    Parameters
    ----------
    stack : Stack
    values : mapping of str to float
        By path; those of parts that the stack does not have, and those that are where they were, change nothing; nor
        do pressure, gap and bow of a joint, and what is the coolant's, where the stack does not describe them.
    """
    names = {part.name for part in stack.parts()}
    known = _known(stack)
    other = {
        path: si
        for path, si in values.items()
        if split(path)[0] in names
        and (path in known or not _only_described(path))
        and not math.isclose(si, known[path].si if path in known else 0.0, rel_tol=1e-6)
    }
    if not other:
        return stack
    joints = {split(path)[0] for path in other if split(path)[1] in ("bond_line", "conductivity")}
    general = _by_bond_line(stack, joints)
    changes: dict[str, ValueLike] = {
        path: _at(known.get(path), si, dimension_of(stack, path), split(path)[1] == "bow") for path, si in other.items()
    }
    return general.change(changes).named(stack.label)


def _only_described(path: str) -> bool:
    part, field = split(path)
    return part == "coolant" or field in ("pressure", "gap", "bow")


@lru_cache(maxsize=64)
def _known(stack: Stack) -> dict[str, Value]:
    """Return every input with the value that it has, joints of a class by their typical bond line."""
    return {entry.path: entry.value for entry in _by_bond_line(stack).inputs()}


def _at(value: Value | None, si: float, dimension: str, signed: bool = False) -> Value:
    """Return a value moved to another place, with the spread that it had; `signed`: it may cross zero."""
    unit = DIMENSIONS[dimension].shown_in
    new = Value(float(f"{convert(si, dimension):.6g}"), unit, dimension)
    absolute = signed or DIMENSIONS[dimension].absolute
    if value is None or value.kind == "exact" or (value.si == 0 and not absolute):
        return new
    spread = value.spread
    if value.kind != "lognormal":
        share = 1.0 if absolute else si / value.si
        per_unit = convert(1.0, dimension, unit) - convert(0.0, dimension, unit)
        spread = float(f"{value.spread_si * share * per_unit:.4g}")
    return replace(new, kind=value.kind, spread=spread)


# -- quick answers


@dataclass(frozen=True, eq=False)
class QuickPrediction(Prediction):
    """A prediction whose power at a limit comes by the same quick road as its temperatures."""

    quick: Quick | None = None
    values: Mapping[str, float] = field(default_factory=dict)

    def headroom(self, limit: ValueLike) -> object:  # type: ignore[override]
        """Return the power that may be added until the junction is at `limit`; see `Prediction.headroom`. [W]"""
        at = parse(limit, "temperature", "limit").si
        if at <= float(self.point.coolant_at_rest[0]):
            raise InputError(f"{limit!r} is not above the coolant", where="limit", expected="such as '95 degC'")
        if self.quick is not None and self.quick.ready:
            try:
                return quantity(self.quick.power_at(at, self.point, self.values) - self.point.total[0], "power")
            except SolveError:  # outside the emulator's box; it is solved instead, which takes longer
                pass
        return quantity(to_limit(self.point, solver_named(SOLVER), at)[0] - self.point.total[0], "power")


@dataclass(frozen=True, eq=False)
class _Local:
    """What local conductivity adds to each probe, as a pure number (see above): a plane over the controls.

    Attributes
    ----------
    weights : ndarray, shape (1 + controls, probes)
    error : ndarray, shape (probes,)
        Root of the mean square of points that were left out.
    """

    weights: Float
    error: Float


class Quick:
    """A stack whose inputs are moved.

    Parameters
    ----------
    stack : Stack
    moving : sequence of Control, optional
        What may be moved; by default those of `controls`.

    Notes
    -----
    `at` answers at once: by the layered solver, with local conductivity as in the last exact answer, until `prepare`
    has been through (call it in a thread), then by the emulator. `exact` is what `predict` says, and what local
    conductivity is anchored to. Safe for one thread that prepares beside one that asks.
    """

    def __init__(self, stack: Stack, moving: Sequence[Control] | None = None) -> None:
        self.stack = stack
        self.controls = tuple(controls(stack) if moving is None else moving)
        missing = {c.path: (float(f"{c.shown(c.described):.6g}"), DIMENSIONS[c.dimension].shown_in)
                   for c in self.controls}  # fmt: skip
        general = _by_bond_line(stack)
        present = {entry.path for entry in general.inputs()}
        self._general = general.change({path: value for path, value in missing.items() if path not in present})
        self.model: Model = model_with_hot_points(self._general, SOLVER)
        self.solver: Emulator | None = None
        self._local: _Local | None = None
        self._preparing = threading.Lock()
        self._at_limit: tuple[tuple[float, tuple[tuple[str, float], ...]], float] | None = None
        self._offset = np.zeros(len(self.model.probes))

    @property
    def ready(self) -> bool:
        """Whether answers come from the emulator."""
        return self.solver is not None

    def _values(self, values: Mapping[str, float]) -> Values:
        """Return the inputs of the model: controls, and what else of it was moved, such as the power of a region."""
        own = {c.path: c.described for c in self.controls}
        own |= {path: si for path, si in values.items() if path in self.model.inputs}
        return self.model.values({path: np.array([si]) for path, si in own.items()})

    def at(self, values: Mapping[str, float]) -> QuickPrediction:
        """Return the prediction with inputs at these values [SI]; those that are not given are as described.

        Raises
        ------
        SolveError
            No operating point was found.
        """
        v = self._values(values)
        point = None
        if self.solver is not None:
            try:
                point = operate(self.model, self.solver, v)
            except SolveError:  # outside the emulator's box: the solver itself is asked, and the answer says so
                point = None
        if point is None:
            point = operate(self.model, solver_named(SOLVER), v)
        made = self._with_local(point, values)
        return QuickPrediction(moved(self.stack, values), SOLVER, made, quick=self, values=dict(values))

    def power_at(self, limit: float, point: OperatingPoint, values: Mapping[str, float]) -> float:
        """Return the total power at which the junction is at a limit [K], the inputs at these values. [W]

        A die whose power does not leak reaches it at one power, whatever it is described with; the search begins at the
        last one that was found, and ends at once where only the die's power has been moved.

        Raises
        ------
        SolveError
            Outside the emulator's box, or there is no such power.
        """
        assert self.solver is not None
        path = f"{self.model.dies[0]}.power"
        if len(self.model.dies) > 1 or self.model.leaks or path not in self.model.inputs:
            return float(to_limit(point, self.solver, limit)[0])
        others = {where: si for where, si in values.items() if where != path}
        key = limit, tuple(sorted(others.items()))
        last = self._at_limit
        if last is not None and last[0] == key:
            return last[1]
        if last is not None:
            there = {**others, path: last[1]}
            point = self._with_local(operate(self.model, self.solver, self._values(there)), there)
        found = float(to_limit(point, self.solver, limit)[0])
        self._at_limit = key, found
        return found

    def over(self, path: str, at: Float, values: Mapping[str, float]) -> Float:
        """Return the junction temperature over one input, the others at these values, shape of `at`. [K]

        As quick as one answer once `ready`; before, or outside the emulator's box, it takes a solve for each value.
        """
        v = self._values(values).with_samples({path: np.asarray(at, dtype=float)})
        try:
            point = operate(self.model, self.solver or solver_named(SOLVER), v)
        except SolveError:
            point = operate(self.model, solver_named(SOLVER), v)
        moved_to = [{**values, path: float(x)} for x in at]
        pure = np.stack([self._plane(self._local, each) for each in moved_to]) + self._offset
        squares = steps_above_dies(point) ** 2
        added = np.divide(pure * _units(point), squares, out=np.zeros_like(squares), where=squares > SMALL)
        return np.asarray(point.coolant + curved(point, added).junction_rise)

    def exact(self, values: Mapping[str, float]) -> Prediction:
        """Return what `predict` says of the stack with inputs at these values, and take its local conductivity over."""
        prediction = predict(moved(self.stack, values), SOLVER)
        self.anchor(prediction, values)
        return prediction

    def anchor(self, prediction: Prediction, values: Mapping[str, float]) -> None:
        """Make quick answers meet this exact one, made at these values."""
        point = prediction.point
        known = np.zeros(len(self.model.probes))
        if point.curvature is not None:
            theirs = point.model.probes
            pure = point.curvature * steps_above_dies(point) ** 2 / _units(point)
            mine, other = zip(*((i, theirs[key]) for key, i in self.model.probes.items() if key in theirs), strict=True)
            known[list(mine)] = pure[0, list(other)]
        self._offset = known - self._plane(self._local, values)
        self._at_limit = None

    def _with_local(self, point: OperatingPoint, values: Mapping[str, float]) -> OperatingPoint:
        squares, unit, local = steps_above_dies(point) ** 2, _units(point), self._local
        added = (self._plane(local, values) + self._offset) * unit
        made = curved(point, np.divide(added, squares, out=np.zeros_like(squares), where=squares > SMALL))
        return made if local is None else replace(made, error=made.error + SURE * local.error * unit)

    def _plane(self, local: _Local | None, values: Mapping[str, float]) -> Float:
        if local is None:
            return np.zeros(len(self.model.probes))
        return np.asarray(
            self._coordinates([[values.get(c.path, c.described) for c in self.controls]])[0] @ local.weights
        )

    def _coordinates(self, values: ArrayLike) -> Float:
        """Return 1 and the place of each control between its ends, −1 to 1, shape (S, 1 + controls)."""
        given = np.asarray(values, dtype=float)
        columns = [np.ones(len(given))]
        for j, c in enumerate(self.controls):
            low, high, x = c.low, c.high, given[:, j]
            if c.scale == "logarithmic":
                low, high, x = math.log(low), math.log(high), np.log(x)
            columns.append(2.0 * (x - low) / (high - low) - 1.0)
        return np.stack(columns, axis=1)

    # -- in the background

    def prepare(self, stop: Callable[[], bool] = lambda: False) -> bool:
        """Build what quick answers come from; return whether it was finished before `stop` said so.

        Raises
        ------
        SolveError
            The emulator would be off by more than its limit; answers go on coming from the solver.
        """
        with self._preparing:
            return self.ready or self._prepare(stop)

    def _prepare(self, stop: Callable[[], bool]) -> bool:
        variables = [Variable(c.path, _spread(c)) for c in self.controls]
        emulator = emulator_of(
            self.model, variables, solver=solver_named(SOLVER), size=SIZE, target=TARGET, limit=LIMIT,
            hottest=self._hottest(),
        )  # fmt: skip
        local = self._learn_local(emulator, stop)
        if local is None:
            return False
        described: dict[str, float] = {}
        here = answer(self.model, SOLVER, self._values(described))
        self._local, self.solver = local, emulator
        self.anchor(Prediction(self.stack, SOLVER, here), described)
        return True

    def _learn_local(self, solver: Emulator, stop: Callable[[], bool]) -> _Local | None:
        count = LOCAL_POINTS * (1 + len(self.controls))
        count += -count % BATCH
        places = qmc.Sobol(len(self.controls), seed=0).random(2 ** math.ceil(math.log2(count)))[:count]
        samples = {c.path: np.asarray(_spread(c, 0.0).ppf(places[:, j])) for j, c in enumerate(self.controls)}
        rows, here = [], list[int]()
        for start in range(0, count, BATCH):
            if stop():
                return None
            part = {path: value[start : start + BATCH] for path, value in samples.items()}
            try:
                point = operate(self.model, solver, self.model.values(part))
            except SolveError:  # hotter than what the emulator covers
                continue
            added: Curvature | None = curvature_of(point)
            if added is None:  # conductivity is the same at all temperatures
                break
            order = np.argsort(point.junction_rise)
            pure = np.empty_like(point.rise)
            pure[order] = added.known
            rows.append(pure * steps_above_dies(point) ** 2 / _units(point))
            here += range(start, start + BATCH)
        coefficients, probes = 1 + len(self.controls), len(self.model.probes)
        if len(here) < 2 * coefficients:
            return _Local(np.zeros((coefficients, probes)), np.zeros(probes))
        y = np.concatenate(rows)
        A = self._coordinates(np.stack([samples[c.path] for c in self.controls], axis=1)[here])
        weights, *_ = np.linalg.lstsq(A, y, rcond=None)
        leverage = np.einsum("ij,ji->i", A, np.linalg.pinv(A))
        left = (y - A @ weights) / (1.0 - leverage)[:, None]
        return _Local(np.asarray(weights), np.asarray(np.sqrt(np.mean(left**2, axis=0)), dtype=np.float64))

    def _hottest(self) -> float:
        """Return a junction so hot that every slab is covered where all controls are near their worst. [K]

        What is hotter still is left to the solver itself: k(T) becomes doubtful there.
        """
        solver, model = solver_named(SOLVER), self.model
        described = operate(model, solver, self._values({}))
        worst = operate(model, solver, self._values({c.path: _towards(c, COVERED) for c in self.controls}))
        faces = [model.probes["face", str(i), str(side)] for i in range(len(model.slabs)) for side in (0, 1)]
        factor = float(np.max(worst.rise[0, faces] / described.rise[0, faces]))
        coldest = next((c.low for c in self.controls if c.path == "coolant.temperature"), None)
        coldest = float(described.coolant_at_rest[0]) if coldest is None else coldest
        return coldest + factor * float(described.junction_rise[0])


def _units(point: OperatingPoint) -> Float:
    """Return the square of the junction's step above the upper face of its die, over the temperature there. [K]

    Shape (S, 1); of the die with the largest step.
    """
    model, steps = point.model, steps_above_dies(point)
    found = []
    for die in model.dies:
        top = point.rise[:, model.probes["face", str(model.slab_of_die(die)), "1"]]
        found.append(steps[:, model.hot_probes(die)].max(axis=1) ** 2 / (point.coolant + top))
    return np.asarray(np.max(found, axis=0))[:, None]


def _towards(control: Control, share: float) -> float:
    """Return a control moved by a share of the way to the end where the stack is hottest."""
    end = control.low if split(control.path)[1] in COOLING else control.high
    if control.scale == "logarithmic":
        return float(control.described * (end / control.described) ** share)
    return control.described + share * (end - control.described)


@dataclass(frozen=True)
class _LogRectangular(Distribution):
    """All logarithms between two ends alike."""

    low: float
    high: float

    def ppf(self, u: ArrayLike) -> Float:
        return np.asarray(self.low * (self.high / self.low) ** np.asarray(u, dtype=float))

    def cdf(self, x: ArrayLike) -> Float:
        return np.clip(np.log(np.asarray(x) / self.low) / math.log(self.high / self.low), 0.0, 1.0)

    def logpdf(self, x: ArrayLike) -> Float:
        x = np.asarray(x, dtype=float)
        inside = (x >= self.low) & (x <= self.high)
        return np.where(inside, -np.log(x * math.log(self.high / self.low)), -np.inf)

    @property
    def mean(self) -> float:
        return (self.high - self.low) / math.log(self.high / self.low)

    @property
    def sd(self) -> float:
        square = (self.high**2 - self.low**2) / (2.0 * math.log(self.high / self.low))
        return math.sqrt(square - self.mean**2)


def _spread(control: Control, wider: float = 0.02) -> Distribution:
    """Return a distribution that fills the way between the ends, and by a share wider, so that they are well inside."""
    if control.scale == "logarithmic":
        room = (control.high / control.low) ** wider
        return _LogRectangular(control.low / room, control.high * room)
    room = wider * (control.high - control.low)
    low = control.low - room if control.low > room else control.low
    return Rectangular(low, control.high + room)
